//! On what a lot, or a dip of wax, is measured: as it was begun.

use crate::cli::args::{About, Surroundings};
use crate::cli::context::Bench;
use crate::cli::inputs::LoadArg;
use crate::commands::prelude::*;
use crate::rig::Rig;
use crate::shop::lot::Setting;

pub struct Set {
    pub about: About,
    pub bench: Bench,
    pub setting: Setting,
}

/// What is not said now was said when it was begun, and what is said now is the same. `what` names it in a message.
pub fn of(given: &Surroundings, defaults: &Defaults, begun: Option<&Setting>, what: &str) -> Result<Set> {
    let given = given.clone();
    let earlier = begun.and_then(|b| b.rig_file.clone());
    let about = About {
        on: Surroundings {
            rig: given.rig.or_else(|| defaults.rig.clone()).or(earlier),
            load: match (given.load, &defaults.load, begun.and_then(|b| b.load.as_ref())) {
                (None, None, Some(text)) => Some(LoadArg::Load(text.parse()?)),
                (load, ..) => load,
            },
            ..given
        },
        ..About::default()
    };
    let bench = Bench::plan(&about, defaults)?;
    let summary = bench.rig.as_ref().map(Rig::summary).unwrap_or_default();
    let setting = Setting {
        rig_file: about.on.rig.clone(),
        rig: summary.name.clone(),
        unit: summary.unit().map(str::to_owned),
        rig_hash: summary.told_chain(),
        load: bench.load.as_ref().map(ToString::to_string),
    };
    if let Some(begun) = begun.filter(|b| !b.same(&setting)) {
        return Err(Failure::new(
            format!("{what} was begun on {}, and this is {}", begun.words(), setting.words()),
            "measure it as it was begun, or give this one another name",
        ));
    }
    Ok(Set { about, bench, setting })
}
