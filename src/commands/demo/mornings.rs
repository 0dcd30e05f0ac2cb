//! The witness of the demonstration: checked every morning for two weeks, with a lead plugged elsewhere on one of them.

use std::time::{Duration, SystemTime};

use super::take::taken;
use crate::cli::context::stamp;
use crate::commands::outcome::Played;
use crate::commands::prelude::*;
use crate::commands::{known, outcome};
use crate::fileio;
use crate::parallel;
use crate::record::Pickup;
use crate::rig::Rig;
use crate::shop::witness::history::{Check, History};

/// Written beside the rig's file.
pub const FILE: &str = "rig.checks.json";
/// What the lead has more than usual from morning to morning, in picofarads: invented.
const MORE_PF: [f64; 14] = [
    0.3, -1.1, 0.8, 1.4, -0.4, 0.1, -0.9, 1.9, -1.3, 42.0, 0.6, -0.7, 1.0, -0.2,
];

/// Checks as `rig check` keeps them; `rig`: the file, which is there already.
pub fn check(rig: &Rig, file: &Path, drive: &Played, now: SystemTime) -> Result<()> {
    let witness = rig.witness.as_ref().ok_or_else(|| {
        Failure::new(
            "the demonstration's rig names no witness",
            "report this line as a fault of the program",
        )
    })?;
    let load = witness.load.as_deref().map(str::parse).transpose()?;
    let days: Vec<(usize, f64)> = MORE_PF.into_iter().enumerate().collect();
    let read = parallel::each(&days, |(i, more)| {
        let before = Duration::from_secs(86_400 * (days.len() - i) as u64);
        let sim = format!("r=6k l=2.2H cs={:.2}p loss=900k noise=-82dBFS", 110.0 + more);
        let pickup = Pickup {
            temperature_c: Some(21.0),
            ..Pickup::default()
        };
        let morning = stamp(now - before);
        let (_, record) = taken(
            (&sim, 100 + *i as u64),
            (&witness.name, pickup),
            (rig, load.clone()),
            drive,
            &morning,
        )?;
        Check::of(&record)
    });
    let mut history = History::new(&rig.summary(), &witness.name);
    let expected = known::beside(rig, file).0.expected(true);
    for check in read {
        let mut check = check?;
        check.go = history.judge(&check, &expected).go();
        history.checks.push(check);
    }
    fileio::write_new(&file.with_file_name(FILE), &outcome::pretty(&history, "the checks")?)
}
