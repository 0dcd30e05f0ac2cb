//! A take of the demonstration's bench, and its record, as `measure` makes them.

use crate::analysis::compose;
use crate::analysis::{self, Choice, Options};
use crate::capture::bench::{Bench as BuiltIn, Spec};
use crate::capture::{Capture, Request, Take};
use crate::cli::context::Bench;
use crate::commands::outcome::Played;
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
    let request = Request {
        rate_hz: drive.rate_hz,
        drive: drive.samples.clone(),
    };
    let take = bench.take(&request, &mut |_| {})?;
    let about = Bench {
        load,
        ..Bench::new(Some(rig.clone()), pickup)
    };
    let options = Options {
        chain: &about.chain,
        drive: Some(&drive.samples),
        model: Choice::Better,
    };
    let analysis = analysis::analyse(&take, &options)?;
    let mut context = about.context(name, false, taken_at.into());
    context.drive = drive.description.as_ref().map(Into::into);
    context.capture.source = "sim".into();
    context.capture.device = take.provenance.device.clone();
    context.capture.take = Some("take.wav".into());
    let record = compose::record(&take, analysis, context);
    Ok((take, record))
}
