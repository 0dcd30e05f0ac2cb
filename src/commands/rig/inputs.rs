//! `rig inputs`: the two inputs against each other, and what the pickup's input puts on a pickup.

use super::beside::of_one_kind;
use super::file::{open, rig_of, today, write_changes};
use crate::capture::Request;
use crate::cli::args::InputsArgs;
use crate::commands::prelude::*;
use crate::commands::{outcome, sound};
use crate::estimate::Estimate;
use crate::report::text;
use crate::rig::Rig;
use crate::setup::edit::Change;
use crate::setup::inputs::{self, Pair};
use crate::setup::interface::InputsDocument;
use crate::stimulus::{self, Settings};

/// From below the corners of the AC coupling on.
const FROM_HZ: f64 = 4.0;
const SECONDS: f64 = 5.0;

pub fn run(args: &InputsArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.rig.as_ref())?;
    of_one_kind(&path, &rig, args.sound.source.is_sim())?;
    // A part in line says something only beside the wire alone.
    let wire = args.through.is_some().then(|| stated(&rig)).transpose()?;
    let mut sound = open(&args.sound, &rig, !args.replace, console)?;
    if sound.used.reference_channel.is_none() {
        return Err(Failure::new(
            "a rig of one channel has no two inputs to compare",
            "leave --channels out, or give it both",
        ));
    }
    let drive = stimulus::make(&Settings {
        from_hz: FROM_HZ,
        seconds: SECONDS,
        level_dbfs: args.level,
        ..Settings::at_rate(sound.rate_hz)
    })?;
    sound::caution(console);
    console.remark(match args.through {
        None => "One plug's signal on both inputs, no pickup, no exciter between.",
        Some(_) => "The same signal on both inputs, the part in line at the pickup's end of the test lead.",
    });
    console.remark(&format!("Test signal of {SECONDS:.0} s, peak {:.0} dBFS.", args.level));
    let request = Request {
        rate_hz: sound.rate_hz,
        drive: drive.samples,
    };
    let take = sound.take(&request, console)?;
    let simulated = take.provenance.simulated;
    let mut document = match (args.through, wire) {
        (Some(part), Some(wire)) => {
            // Half a width, all of it as likely as any (JCGM 100:2008, 4.3.7).
            let found = inputs::loading(&take, &wire, part, args.tolerance / 3f64.sqrt())?;
            InputsDocument::through(&rig, &sound.used, simulated, part, &found)
        }
        _ => InputsDocument::wire(&rig, &sound.used, simulated, &inputs::pair(&take)?),
    };
    document.replaced = write_changes(&path, |rig| {
        let lead = rig.input.as_ref().and_then(|i| i.lead_capacitance_f);
        let mut changes = rig.foreign(&sound.used).map_or(Vec::new(), |_| of_the_old_one(rig));
        changes.extend(document.changes(&sound.used, lead, args.range.as_deref(), &today())?);
        Ok(changes)
    })?;
    outcome::say(&document, args.shown, console, |_, style| {
        text::inputs_text(&document, &path, style)
    })
}

/// What was measured with another interface, rate or channel says nothing of this one: it goes.
fn of_the_old_one(rig: &Rig) -> Vec<Change> {
    let input = "resistance_ohm resistance_tolerance capacitance_f capacitance_tolerance_f".split(' ');
    // A lead that was counted into the input goes with it.
    let lead = rig.input.as_ref().and_then(|i| i.lead_capacitance_f);
    let lead = lead.filter(|f| *f == 0.0).map(|_| "lead_capacitance_f");
    let interface = "level_dbfs level_measured loading_measured range reference_channel".split(' ');
    let input = input.chain(lead).map(|key| ("input", key, None));
    input.chain(interface.map(|key| ("interface", key, None))).collect()
}

/// What the wire alone has told, as the file keeps it.
fn stated(rig: &Rig) -> Result<Pair> {
    let i = rig.input.clone().unwrap_or_default();
    let told = rig.interface.as_ref().is_some_and(|f| f.inputs_measured.is_some());
    let value = |v: Option<f64>, u: Option<f64>| Estimate::new(v?, u?, u?);
    // Corners too alike to be told stay as open as in the take that did not tell them.
    let open = Estimate {
        value: 4.0,
        u: 8.0,
        u_noise: 8.0,
    };
    let corner = |v, u| value(v, u).unwrap_or(open);
    let pair = (|| {
        Some(Pair {
            gain_db: value(i.gain_db, i.gain_tolerance_db)?,
            delay_s: value(i.delay_s, i.delay_tolerance_s)?,
            ac_pickup_hz: corner(i.ac_pickup_hz, i.ac_pickup_tolerance_hz),
            ac_reference_hz: corner(i.ac_reference_hz, i.ac_reference_tolerance_hz),
            misfit_db: 0.0,
            reduced_chi2: 1.0,
            band_hz: [0.0, 0.0],
        })
    })();
    pair.filter(|_| told).ok_or_else(|| {
        let name = &rig.name;
        Failure::new(
            format!("the inputs of the rig {name} have not been measured against each other"),
            "do that first: `coilwright rig inputs` without --through, one signal on both inputs",
        )
    })
}
