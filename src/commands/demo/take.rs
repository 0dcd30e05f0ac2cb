//! A take of the demonstration's bench, and its record, as `measure` makes them.

use crate::analysis::Choice;
use crate::capture::bench::{Bench as BuiltIn, Spec};
use crate::capture::{Capture, Take};
use crate::cli::context::Bench;
use crate::commands::kept;
use crate::commands::outcome::{Played, take_name};
use crate::failure::Result;
use crate::network::Load;
use crate::record::{Pickup, Record};
use crate::rig::Rig;

/// A take of what stands on the bench, and its record.
pub fn taken(
    (sim, seed): (&str, u64),
    (name, pickup): (&str, Pickup),
    (rig, load): (&Rig, Option<Load>),
    drive: &Played,
    taken_at: &str,
) -> Result<(Take, Record)> {
    let mut bench = BuiltIn::new(Spec::parse_words(sim)?, Some(rig), load.as_ref(), false, seed)?;
    let take = bench.take(&drive.request(), &mut |_| {})?;
    let about = Bench {
        load,
        ..Bench::new(Some(rig.clone()), pickup)
    };
    let context = about.context(&take, name, taken_at, "sim", take_name(0));
    let (record, _) = kept::read(&take, &about, Some(drive), Choice::Better, context)?;
    Ok((take, record))
}
