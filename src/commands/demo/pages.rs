//! A page of one of everything, and an index of them.

use std::path::{Path, PathBuf};

use crate::book::index::Fresh;
use crate::book::row::Filter;
use crate::cli::args::{PottingArgs, Surroundings};
use crate::cli::console::Console;
use crate::cli::context::ready_folder;
use crate::commands::book::life::{Known, Recipe};
use crate::commands::outcome::write_all;
use crate::commands::page::of_rig;
use crate::commands::potting;
use crate::failure::Result;
use crate::record::Record;
use crate::report::page::line::Line;
use crate::report::page::{Block, Page, simulated_notice};
use crate::report::pages::{self, Told};
use crate::shop::difference::Comparison;
use crate::shop::lot::Tray;
use crate::shop::wax::document::PottingDocument;

pub const FOLDER: &str = "pages";
pub const INDEX: &str = "index.html";
const LOT: &str = "day-3";

/// What the pages are of.
pub struct Day<'a> {
    /// Each with its folder.
    pub readings: Vec<(&'static str, &'a Record)>,
    /// A comparison and what it lays over each other.
    pub compared: (&'a Comparison, [&'a Record; 2]),
    /// One pickup before and after, each with its folder.
    pub wax: [(&'static str, &'a Record); 2],
    pub rejected: &'a Record,
    /// The page on pots and cables, from the index.
    pub loads: String,
}

/// Writes them; the place of the index.
pub fn make(day: &Day, out: &Path, console: &mut Console) -> Result<PathBuf> {
    let told = Told::default();
    let first = day.readings.first().map_or(day.rejected, |r| r.1);
    let (comparison, [a, b]) = day.compared;
    let life = Known::of(out, &day.wax[0].1.pickup.name, &Filter::default(), Fresh::Now, console)?;
    let sheet = (first.clone(), told.clone());
    let all = [
        ("reading", "One reading", pages::record::page(first, &told)?),
        (
            "no-reading",
            "A take that cannot be used",
            pages::record::page(day.rejected, &told)?,
        ),
        (
            "comparison",
            "Two readings laid over each other",
            pages::comparison::page(&[a.clone(), b.clone()], comparison)?,
        ),
        ("lot", "A lot", pages::lot::page(&lot(day), None)?),
        ("wax", "A dip of wax", pages::wax::page(&waxed(day, out, console)?)?),
        (
            "life",
            "A pickup's life",
            pages::life::page(&life.shown(Recipe::Kept), &life.last_of_stages())?,
        ),
        ("rig", "The rig", of_rig(&out.join("rig.toml"), console)?),
        (
            "sheet",
            "A sheet to take home",
            pages::take_home::page("A sheet to take home".into(), &[sheet])?,
        ),
    ];
    let mut index = Page::new("A day at the Ebbingrove workshop".into());
    index.put(simulated_notice());
    index.say("The workshop does not exist. One page of everything that `coilwright page` makes:");
    let mut links: Vec<(String, Line)> = Vec::new();
    let folder = ready_folder(&out.join(FOLDER))?;
    let mut files = Vec::new();
    for (name, words, page) in &all {
        links.push((format!("{FOLDER}/{name}.html"), (*words).into()));
        files.push((folder.join(format!("{name}.html")), page.html().into_bytes()));
    }
    links.push((day.loads.clone(), "What pots and cables do".into()));
    index.put(Block::Links(links));
    let place = out.join(INDEX);
    files.push((place.clone(), index.html().into_bytes()));
    write_all(files)?;
    Ok(place)
}

/// The day's readings, as a lot that nothing is asked of.
fn lot(day: &Day) -> Tray {
    let mut tray = Tray::new(LOT, None, 1);
    for (number, (folder, record)) in (1..).zip(&day.readings) {
        tray.take(number, record, (*folder).into(), None);
    }
    tray
}

fn waxed(day: &Day, out: &Path, console: &mut Console) -> Result<PottingDocument> {
    let [before, after] = day.wax.map(|w| vec![out.join(w.0)]);
    let args = PottingArgs {
        before,
        after,
        on: Surroundings {
            rig: Some(out.join("rig.toml")),
            ..Surroundings::default()
        },
        rested: Some(14.0),
        ..PottingArgs::default()
    };
    potting::asked(&args, console)
}
