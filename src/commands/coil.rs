//! `coil`: the coil behind takes under several loads.

use std::path::{Path, PathBuf};

use super::{anew, outcome};
use crate::cli::args::CoilArgs;
use crate::cli::console::Console;
use crate::cli::context::ready_folder;
use crate::cli::defaults::Defaults;
use crate::coil::against;
use crate::coil::against::Stated;
use crate::coil::basis::Basis;
use crate::coil::behind::{self, About, CoilDocument};
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::network::spice;
use crate::record::Record;
use crate::report::plot::Plot;
use crate::report::{coil_words, loads_plot, text};
use crate::shop::predicted;

pub fn run(args: &CoilArgs, console: &mut Console) -> Result<Status> {
    let records = anew::records(&args.records, anew::today(None).as_ref(), console)?;
    let tolerance = args.tolerance.clone().unwrap_or_default();
    let about = About {
        ohms: args.ohms,
        room_c: args.room,
        ohmmeter: tolerance.ohmmeter,
        stated: tolerance.stated,
    };
    let mut coil = behind::find(&records, &about)?;
    coil_words::put(&mut coil);
    let stem = match &args.out {
        Some(out) if !is_file(out) => Some(ready_folder(out)?.join("coil")),
        _ => None,
    };
    let files = write(args, &coil, stem.as_deref())?;
    outcome::Told {
        document: &coil,
        files,
        shown: args.shown.into(),
    }
    .tell(console, text::coil_text, || {
        let picture = |stem| Ok((stem, picture(&records, &coil, &about)?));
        stem.map(picture).into_iter().collect()
    })?;
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

/// The takes over what the coil says of them.
fn picture(records: &[Record], coil: &CoilDocument, about: &About) -> Result<Plot> {
    let seen: Vec<Record> = records.iter().filter(|r| r.reading().is_some()).cloned().collect();
    let stated = Stated {
        parts: about.stated.parts.clone(),
        // The file that was just made knows these inputs.
        ..Stated::default()
    };
    let mut laid = against::against(&seen, &Basis::of(coil.file())?, &stated)?;
    predicted::judge(&mut laid, &seen, &Defaults::read_from(Path::new("."))?.matters());
    loads_plot::against(&laid, &coil.pickup.name)
}

/// A coil file, and no folder.
fn is_file(out: &Path) -> bool {
    out.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml"))
}

/// `stem`: of what goes into a folder.
fn write(args: &CoilArgs, coil: &CoilDocument, stem: Option<&Path>) -> Result<Vec<PathBuf>> {
    let file = coil.file();
    let toml = file.to_toml(&remark(coil)).into_bytes();
    let mut list: Vec<(PathBuf, Vec<u8>)> = Vec::new();
    match (stem, &args.out) {
        (Some(stem), _) => {
            list.push((stem.with_extension("toml"), toml));
            list.push((stem.with_extension("json"), outcome::pretty(coil, "the coil")?));
        }
        (None, Some(out)) => list.push((out.clone(), toml)),
        (None, None) => {}
    }
    if let Some(path) = &args.spice {
        let text = spice::subcircuit(&coil.pickup.name, &file.coil(), &[remark(coil)]);
        list.push((path.clone(), text.into_bytes()));
    }
    refuse_any(stem.into_iter().flat_map(outcome::picture_files))?;
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

pub fn refuse_any(paths: impl IntoIterator<Item = impl AsRef<Path>>) -> Result<()> {
    let taken = |p: &_| AsRef::<Path>::as_ref(p).symlink_metadata().is_ok();
    match paths.into_iter().find(taken) {
        Some(path) => Err(Failure::new(
            format!("{} is there already", path.as_ref().display()),
            "choose another name: nothing is overwritten",
        )),
        None => Ok(()),
    }
}
