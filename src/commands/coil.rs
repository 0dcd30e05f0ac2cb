//! `coil`: the coil behind takes under several loads.

use super::outcome::{self, refuse_any, write_all};
use super::{anew, wanted};
use crate::cli::args::CoilArgs;
use crate::coil::against;
use crate::coil::against::Stated;
use crate::coil::basis::Basis;
use crate::coil::behind::{self, About, CoilDocument};
use crate::commands::prelude::*;
use crate::network::spice;
use crate::record::Record;
use crate::report::plot::Plot;
use crate::report::{coil_words, loads_plot, text};
use crate::shop::predicted;

pub fn run(args: &CoilArgs, console: &mut Console) -> Result<Status> {
    let records = anew::by_today(&wanted::all(&args.records)?, anew::today().as_ref(), console);
    let tolerance = args.tolerance.clone().unwrap_or_default();
    let about = About {
        ohms: args.ohms,
        room_c: args.room,
        ohmmeter: tolerance.ohmmeter,
        stated: tolerance.stated,
    };
    let mut coil = behind::find(&records, &about)?;
    coil_words::put(&mut coil);
    let stem = outcome::stem(args.out.as_ref().filter(|out| !is_file(out)), "coil")?;
    let files = write(args, &coil, stem.as_deref())?;
    outcome::tell((&coil, files), args.shown, console, text::coil_text, || {
        outcome::picture(stem, || picture(&records, &coil, &about))
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
    predicted::judge(&mut laid, &seen, &Defaults::here()?.matters());
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
