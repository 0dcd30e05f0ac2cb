//! `drive`: writes a test signal and its description.

use super::{outcome, sound};
use crate::capture::wav;
use crate::cli::args::DriveCommand;
use crate::commands::prelude::*;
use crate::fileio;
use crate::stimulus::{self, Drive, Shape};

pub fn run(args: &DriveCommand, console: &mut Console) -> Result<Status> {
    let drive = stimulus::make(&sound::settings(&args.drive, 48_000)?)?;
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
