//! Taps on the pickup, for `measure` and `analyze`: recorded or read, and put into the record.

use super::progress;
use super::sound::{Sound, once_more};
use crate::capture::wav::{self, Channels};
use crate::capture::{Take, silence};
use crate::commands::prelude::*;
use crate::estimate::Estimate;
use crate::record::Record;
use crate::shop::knock;

/// The recording beside the take.
pub const NAME: &str = "knock.wav";

/// A recording of taps as a file: its pickup channel.
pub fn read(path: &Path, channels: Option<Channels>) -> Result<Take> {
    let whole = wav::read_take(path, None)?;
    match channels {
        // A recording of one channel is the pickup's, whatever the takes have.
        Some(c) if whole.reference.is_some() => wav::read_take(
            path,
            Some(Channels {
                pickup: c.pickup,
                reference: None,
            }),
        ),
        _ => Ok(Take {
            reference: None,
            ..whole
        }),
    }
}

/// Asks for taps and records them.
pub fn listen(sound: &mut Sound, count: u32, console: &mut Console) -> Result<Take> {
    let taps = once_more(console, |console| {
        if sound.live {
            ask(sound.rate_hz, count, console);
        }
        progress::shown(sound.live, |p| sound.capture.taps(sound.rate_hz, count, p))
    })?;
    Ok(Take {
        reference: None,
        ..taps
    })
}

fn ask(rate_hz: u32, count: u32, console: &mut Console) {
    let seconds = silence(rate_hz, count).drive.len() as f64 / f64::from(rate_hz);
    console.remark(&format!(
        "Tap now, {count} times, about once a second, within {seconds:.0} s."
    ));
    console.remark(
        "A light rod of wood or plastic, always the same place on the pickup's frame or cover, never on the windings, never \
         with metal near the magnets. The exciter is silent; keep headphones off and loudspeakers down.",
    );
}

/// Reads the taps and puts them, or why there are none, into the record.
pub fn put(record: &mut Record, taps: &Take, answer: Option<Estimate>, name: &str) {
    match knock::read(taps, answer) {
        Ok(mut read) => {
            read.take = Some(name.to_owned());
            record.knock = Some(read);
        }
        Err(note) => record.notes.push(note),
    }
}
