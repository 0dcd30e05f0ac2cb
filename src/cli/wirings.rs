//! Loads and coils as options name them: looked up, read from their files.

use std::path::Path;

use super::inputs::{LoadArg, names_toml};
use crate::failure::{Failure, Result};
use crate::fileio::{self, stem};
use crate::network::{CoilFile, Load, Wiring, wirings};
use crate::quantity::{self, Unit, quoted};

const MOST_BYTES: u64 = 256 * 1024;

/// A coil file; without a name of its own it has the file's.
pub fn read_coil(path: &Path) -> Result<CoilFile> {
    let text = fileio::read_text_limited(path, MOST_BYTES)?;
    let mut file = CoilFile::parse(&path.display().to_string(), &text)?;
    file.name.get_or_insert_with(|| stem(path));
    Ok(file)
}

/// A load as it stands, or a wiring by its name or from its file.
pub fn resolve(arg: &LoadArg) -> Result<(String, Wiring)> {
    let name = match arg {
        LoadArg::Load(load) => {
            let text = load.to_string();
            let text = if text.is_empty() { "none".into() } else { text };
            return Ok((text, Wiring::from(load.clone())));
        }
        LoadArg::Wiring(name) => name,
    };
    if let Some(wiring) = wirings::built_in(name)? {
        return Ok((name.clone(), wiring));
    }
    let path = Path::new(name);
    if !names_toml(name) && !path.exists() {
        if let Some(hint) = meant(name) {
            return Err(Failure::new(format!("--load {} has no \"=\"", quoted(name)), hint));
        }
        return Err(Failure::new(
            format!("--load {} is neither a load nor a wiring nor a file", quoted(name)),
            "write a load as \"vol=250k cable=5m@100p/m\"; `coilwright loads --list` names the wirings",
        ));
    }
    let text = fileio::read_text_limited(path, MOST_BYTES)?;
    let folder = path.parent().unwrap_or(Path::new("")).to_path_buf();
    let coil = |file: &str| read_coil(&folder.join(file)).map(|f| f.coil());
    let wiring = Wiring::parse(&path.display().to_string(), &text, &coil)?;
    Ok((wiring.name.clone().unwrap_or_else(|| stem(path)), wiring))
}

/// A bare value may be that of a part: which one?
fn meant(text: &str) -> Option<String> {
    let is = |unit| quantity::parse(text, unit).is_ok();
    // "500k" could be both to a reader of units; the letter tells.
    let small = text.trim_end_matches(['F', 'f']).ends_with(['p', 'n', 'u', 'µ']);
    match (small && is(Unit::Farad), is(Unit::Ohm)) {
        (true, _) => Some(format!("write cap={text} for a capacitor")),
        (false, true) => Some(format!("write vol={text} for a volume pot, res={text} for a resistor")),
        (false, false) => None,
    }
}

/// A load on one pickup, as a take has it.
pub fn one_load(arg: &LoadArg) -> Result<Load> {
    let (name, wiring) = resolve(arg)?;
    wiring.as_load().ok_or_else(|| {
        Failure::new(
            format!("the wiring {name} is more than one pickup"),
            "a take is of one pickup: write what hangs on that one, as \"vol=250k cable=5m@100p/m\"",
        )
    })
}
