//! `drive`: writes a test signal and its description.

use super::outcome;
use crate::capture::wav;
use crate::cli::args::{DriveArgs, DriveCommand};
use crate::cli::console::Console;
use crate::cli::context::Bench;
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::stimulus::{self, Drive, Settings, Shape};

/// Settings from options; what is left out is as `Settings::at_rate` says.
pub fn settings(args: &DriveArgs, default_rate: u32) -> Result<Settings> {
    let rate_hz = match args.rate {
        None => default_rate,
        Some(r) if r.fract() == 0.0 && (1.0..=4e6).contains(&r) => r as u32,
        Some(r) => {
            return Err(Failure::new(
                format!("--rate {r} is no sampling rate"),
                "give a whole number of hertz, such as 48k or 96k",
            ));
        }
    };
    let plain = Settings::at_rate(rate_hz);
    Ok(Settings {
        shape: args.shape.unwrap_or(plain.shape),
        seconds: args.seconds.unwrap_or(plain.seconds),
        from_hz: args.from.unwrap_or(plain.from_hz),
        to_hz: args.to.unwrap_or(plain.to_hz),
        level_dbfs: args.level.unwrap_or(plain.level_dbfs),
        seed: args.seed.unwrap_or(plain.seed),
        tilt: args.tilt.unwrap_or(plain.tilt),
        ..plain
    })
}

/// At the level that is asked for, else the rig's own.
pub fn at_level(args: &DriveArgs, bench: &Bench) -> DriveArgs {
    let own = bench.rig.as_ref().and_then(|r| r.interface.as_ref()?.level_dbfs);
    DriveArgs {
        level: args.level.or(own),
        ..args.clone()
    }
}

pub fn run(args: &DriveCommand, console: &mut Console) -> Result<Status> {
    let drive = stimulus::make(&settings(&args.drive, 48_000)?)?;
    // Under the same name.
    let beside = args.out.with_extension("json");
    if beside == args.out {
        return Err(Failure::new(
            format!("{} is where the description goes", args.out.display()),
            "give --out a name that ends in .wav",
        ));
    }
    outcome::refuse_taken([&args.out, &beside], "choose another --out: nothing is overwritten")?;
    let Drive { description, samples } = &drive;
    fileio::write_new(&args.out, &wav::to_bytes(description.settings.rate_hz, &[samples])?)?;
    fileio::write_new(&beside, &outcome::pretty(description, "the drive's description")?)?;
    let (out, beside) = (args.out.display(), beside.display());
    let words = format!("{}\nwritten to {out} and {beside}\n", words(&drive));
    outcome::say_words(description, args.shown, console, &words)
}

/// A drive in one or two lines.
pub fn words(drive: &Drive) -> String {
    let (d, s) = (&drive.description, &drive.description.settings);
    let kind = match s.shape {
        Shape::Sweep => "Sweep, twice",
        Shape::Noise => "Periodic noise",
    };
    format!(
        "{kind}, {:.3} s, {:.0} to {:.0} Hz at {} Hz, peak {:.1} dBFS;\n{:.1} s of silence before and {:.1} s after it",
        s.seconds, s.from_hz, s.to_hz, s.rate_hz, s.level_dbfs, d.lead_s, d.tail_s
    )
}
