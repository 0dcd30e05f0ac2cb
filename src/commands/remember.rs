//! `use`: remembers defaults for the working folder, or shows them.

use std::collections::BTreeMap;

use super::outcome;
use crate::cli::args::{UseArgs, channels};
use crate::cli::defaults::{Defaults, FILE_NAME};
use crate::cli::wirings::one_load;
use crate::commands::prelude::*;
use crate::fileio;

pub fn run(args: &UseArgs, console: &mut Console) -> Result<Status> {
    let here = Path::new(".");
    let old = Defaults::read_from(here)?;
    let newer = Defaults {
        rig: args.rig.given().cloned(),
        load: args.load.as_ref().map(one_load).transpose()?,
        ..args.defaults.clone()
    };
    if let Some(c) = &newer.channels {
        channels(c).map_err(|e| Failure::new(format!("--channels {c} cannot be read"), e))?;
    }
    let asked = |old: &Defaults| old.updated(&newer, &args.forget);
    let mut all = asked(&old)?;
    let changed = all != old;
    if changed {
        all.check(here)?;
        // Of two at once neither loses what the other has written.
        all = fileio::alone(&here.join(FILE_NAME), || {
            let old = Defaults::read_from(here)?;
            let all = asked(&old)?;
            all.write_to(here, &old)?;
            Ok(all)
        })?;
    }
    let entries: BTreeMap<_, _> = all.entries()?.into_iter().collect();
    let document = serde_json::json!({ "schema": "coilwright/use/1", "defaults": entries });
    let mut text = String::new();
    if entries.is_empty() {
        text.push_str("Nothing is remembered for this folder yet; `coilwright use --help` shows how.\n");
    }
    for (key, value) in all.entries()? {
        text.push_str(&format!("{key:<10}{value}\n"));
    }
    let usual = all.matters().usual_ones();
    if all.matters.is_some() && !usual.is_empty() {
        text.push_str(&format!("{:<10}usual: {usual}\n", ""));
    }
    if changed {
        text.push_str(&format!("written to {FILE_NAME}\n"));
    }
    outcome::say_words(&document, args.shown, console, &text)
}
