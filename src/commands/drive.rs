//! `drive`: writes a test signal and its description.

use std::path::{Path, PathBuf};

use crate::capture::wav;
use crate::cli::args::{DriveArgs, DriveCommand};
use crate::cli::console::Console;
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

/// The description's place: beside the WAV, under the same name.
pub fn description_path(wav: &Path) -> PathBuf {
    wav.with_extension("json")
}

pub fn run(args: &DriveCommand, console: &mut Console) -> Result<Status> {
    let drive = stimulus::make(&settings(&args.drive, 48_000)?)?;
    let beside = description_path(&args.out);
    if beside == args.out {
        return Err(Failure::new(
            format!("{} is where the description goes", args.out.display()),
            "give --out a name that ends in .wav",
        ));
    }
    for path in [&args.out, &beside] {
        if path.symlink_metadata().is_ok() {
            return Err(Failure::new(
                format!("{} is there already", path.display()),
                "choose another --out: nothing is overwritten",
            ));
        }
    }
    fileio::write_new(
        &args.out,
        &wav::to_bytes(drive.description.settings.rate_hz, &[&drive.samples])?,
    )?;
    fileio::write_new(
        &beside,
        &super::outcome::pretty(&drive.description, "the drive's description")?,
    )?;
    if args.shown.json {
        console.json(&drive.description)?;
    } else {
        console.words(&format!(
            "{}\nwritten to {} and {}\n",
            words(&drive),
            args.out.display(),
            beside.display()
        ))?;
    }
    Ok(Status::Done)
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
