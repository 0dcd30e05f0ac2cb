//! `coil`: the coil behind takes under several loads.

use std::path::{Path, PathBuf};

use super::outcome;
use crate::cli::args::CoilArgs;
use crate::cli::console::Console;
use crate::cli::context::ready_folder;
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::network::spice;
use crate::record::against::Stated;
use crate::record::behind::{self, About, CoilDocument};
use crate::record::loads::Basis;
use crate::record::{Record, against, store};
use crate::report::{loads_plot, text};

pub fn run(args: &CoilArgs, console: &mut Console) -> Result<Status> {
    let records: Vec<Record> = args.records.iter().map(|p| store::read(p)).collect::<Result<_>>()?;
    let tolerance = args.tolerance.clone().unwrap_or_default();
    let about = About {
        ohms: args.ohms,
        room_c: args.room,
        ohmmeter: tolerance.ohmmeter,
        tolerances: tolerance.parts,
        input: tolerance.input,
    };
    let coil = behind::find(&records, &about)?;
    let files = write(args, &records, &coil, &about)?;
    if args.shown.json {
        console.json(&coil)?;
    } else {
        console.result(&text::coil_text(&coil, &files, outcome::style(args.shown)))?;
    }
    Ok(Status::Done)
}

/// What a coil file says at its head, for whoever opens it.
fn remark(coil: &CoilDocument) -> String {
    let simulated = coil.notes.iter().find(|n| n.starts_with("simulated"));
    format!(
        "Coil behind {}, from {} takes. SI units; uncertainties are standard ones.{}{}",
        coil.pickup.name,
        coil.takes.len(),
        if simulated.is_some() { "\n" } else { "" },
        simulated.map_or("", String::as_str)
    )
}

fn write(args: &CoilArgs, records: &[Record], coil: &CoilDocument, about: &About) -> Result<Vec<PathBuf>> {
    let file = coil.file();
    let toml = file.to_toml(&remark(coil));
    let mut list: Vec<(PathBuf, Vec<u8>)> = Vec::new();
    match &args.out {
        Some(out) if out.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml")) => {
            list.push((out.clone(), toml.into_bytes()))
        }
        Some(out) => {
            let folder = ready_folder(out)?;
            let seen: Vec<Record> = records.iter().filter(|r| r.reading().is_some()).cloned().collect();
            let basis = Basis::of(file.clone())?;
            let stated = Stated {
                parts: about.tolerances.clone(),
                // The file that was just made knows these inputs.
                input: None,
            };
            let laid = against::against(&seen, &basis, &stated)?;
            let plot = loads_plot::against(&laid, &coil.pickup.name)?;
            list.push((folder.join("coil.toml"), toml.into_bytes()));
            list.push((folder.join("coil.svg"), plot.svg.into_bytes()));
            list.push((folder.join("coil.png"), plot.png));
            list.push((folder.join("coil.json"), outcome::pretty(coil, "the coil")?));
        }
        None => {}
    }
    if let Some(path) = &args.spice {
        let text = spice::subcircuit(&coil.pickup.name, &file.coil(), &[remark(coil)]);
        list.push((path.clone(), text.into_bytes()));
    }
    write_all(list)
}

/// Writes files none of which may be there yet.
pub fn write_all(list: Vec<(PathBuf, Vec<u8>)>) -> Result<Vec<PathBuf>> {
    refuse_any(list.iter().map(|f| f.0.as_path()))?;
    for (path, bytes) in &list {
        fileio::write_new(path, bytes)?;
    }
    Ok(list.into_iter().map(|f| f.0).collect())
}

fn refuse_any<'a>(mut paths: impl Iterator<Item = &'a Path>) -> Result<()> {
    match paths.find(|p| p.symlink_metadata().is_ok()) {
        Some(path) => Err(Failure::new(
            format!("{} is there already", path.display()),
            "choose another name: nothing is overwritten",
        )),
        None => Ok(()),
    }
}
