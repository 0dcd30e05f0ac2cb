//! A page of one of everything, and an index of them.

use super::harness;
use super::script::{COMPARISONS, INDEX, JOBS, PAGES, REJECTED};
use super::story::Made;
use crate::book::index::Fresh;
use crate::book::row::Filter;
use crate::cli::args::{PottingArgs, Surroundings};
use crate::cli::context::ready_folder;
use crate::commands::book::life::{Known, Recipe};
use crate::commands::outcome::write_all;
use crate::commands::page::of_rig;
use crate::commands::potting;
use crate::commands::prelude::*;
use crate::record::Record;
use crate::report::page::line::Line;
use crate::report::page::{Block, Page, simulated_notice};
use crate::report::pages::{self, Told};
use crate::shop::lot::Tray;
use crate::shop::wax::document::PottingDocument;

/// Writes them; the place of the index.
pub fn make(made: &Made, out: &Path, console: &mut Console) -> Result<PathBuf> {
    let (told, records) = (Told::default(), &made.records);
    let pair = COMPARISONS[0].1.map(|i| records[i].clone());
    let name = &records[COMPARISONS[1].1[0]].pickup.name;
    let life = Known::of(out, name, &Filter::default(), Fresh::Now, console)?;
    let sheet = (records[0].clone(), told.clone());
    let all = [
        ("reading", "One reading", pages::record::page(&records[0], &told)?),
        (
            "no-reading",
            "A take that cannot be used",
            pages::record::page(&records[REJECTED], &told)?,
        ),
        (
            "comparison",
            "Two readings laid over each other",
            pages::comparison::page(&pair, &made.comparisons[0])?,
        ),
        ("lot", "A lot", pages::lot::page(&lot(records), None)?),
        ("wax", "A dip of wax", pages::wax::page(&waxed(out, console)?)?),
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
    let folder = ready_folder(&out.join(PAGES))?;
    let mut files = Vec::new();
    for (name, words, page) in &all {
        links.push((format!("{PAGES}/{name}.html"), (*words).into()));
        files.push((folder.join(format!("{name}.html")), page.html().into_bytes()));
    }
    links.push((
        format!("{}/page.html", harness::FOLDER),
        "What pots and cables do".into(),
    ));
    index.put(Block::Links(links));
    let place = out.join(INDEX);
    files.push((place.clone(), index.html().into_bytes()));
    write_all(files)?;
    Ok(place)
}

/// The day's readings, as a lot that nothing is asked of.
fn lot(records: &[Record]) -> Tray {
    let mut tray = Tray::new("day-3", None, 1);
    for (number, (job, record)) in (1..).zip(JOBS.iter().zip(records)) {
        tray.take(number, record, job.folder.into(), None);
    }
    tray
}

fn waxed(out: &Path, console: &mut Console) -> Result<PottingDocument> {
    let [before, after] = COMPARISONS[1].1.map(|i| vec![out.join(JOBS[i].folder)]);
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
