//! WAV files: takes and drives in, takes and drives out.
//!
//! The chunks are walked here, so that odd-length chunks, lying headers and files cut short do no harm; what is left are
//! whole frames of plain samples, which need no more than their bytes put together. hound writes.

use std::io::Cursor;
use std::path::Path;

use super::{Provenance, Take};
use crate::failure::{Failure, Result};
use crate::fileio;
use chunks::{Coding, Found, unfit};

mod chunks;
#[cfg(test)]
mod tests;

/// Beyond this a file is not a take; a transform of it would fill the memory.
const LONGEST_S: f64 = 180.0;
/// Three minutes of eight channels at 192 kHz and 32 bits, and some.
const MOST_BYTES: u64 = 2 << 30;

/// Decoded samples of some channels of a WAV file.
#[derive(Debug, Clone)]
pub struct Wave {
    pub rate_hz: u32,
    /// The wanted channels, full scale = 1.0.
    pub samples: Vec<Vec<f32>>,
    /// Converter step as a fraction of full scale.
    pub step: f64,
    pub notes: Vec<String>,
}

/// Which channels of a file are which, counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Channels {
    pub pickup: usize,
    pub reference: Option<usize>,
}

/// Reads a take. Without `channels`: the first as pickup, the second, if there is one, as reference.
pub fn read_take(path: &Path, channels: Option<Channels>) -> Result<Take> {
    let bytes = fileio::read_limited(path, MOST_BYTES)?;
    take_from_bytes(&bytes, path, channels)
}

/// Reads a drive file: its first channel.
pub fn read_drive(path: &Path) -> Result<Wave> {
    let bytes = fileio::read_limited(path, MOST_BYTES)?;
    decode(chunks::walk(&bytes, path)?, &[0], path)
}

/// As [`read_take`], from bytes; `path` only names the file in messages.
pub fn take_from_bytes(bytes: &[u8], path: &Path, channels: Option<Channels>) -> Result<Take> {
    let mut found = chunks::walk(bytes, path)?;
    let simulated = found.simulated;
    let there = usize::from(found.format.channels);
    if channels.is_none() && there > 2 {
        let note = format!("{there} channels in the file: the first two were used");
        found.notes.push(note);
    }
    let chosen = channels.unwrap_or(Channels {
        pickup: 1,
        reference: (there > 1).then_some(2),
    });
    let mut picks = Vec::new();
    for (n, what) in [(Some(chosen.pickup), "pickup"), (chosen.reference, "reference")] {
        let Some(n) = n else { continue };
        if !(1..=there).contains(&n) {
            let s = if there == 1 { "" } else { "s" };
            return Err(unfit(
                path,
                &format!("has {there} channel{s} but the {what} is said to be channel {n}"),
                &format!("give --channels {what}=N with N from 1 to {there}"),
            ));
        }
        picks.push(n - 1);
    }
    let mut wave = decode(found, &picks, path)?;
    let reference = if picks.len() > 1 { wave.samples.pop() } else { None };
    Ok(Take {
        rate_hz: wave.rate_hz,
        pickup: wave.samples.pop().unwrap_or_default(),
        reference,
        step: wave.step,
        provenance: Provenance {
            file: Some(path.to_path_buf()),
            simulated,
            notes: wave.notes,
            ..Provenance::default()
        },
    })
}

fn decode(found: Found, picks: &[usize], path: &Path) -> Result<Wave> {
    let Found {
        format, data, notes, ..
    } = found;
    let width = usize::from(format.width);
    let frame = width * usize::from(format.channels);
    let frames = data.len() / frame;
    if frames == 0 {
        return Err(chunks::silent(path));
    }
    if frames as f64 > LONGEST_S * f64::from(format.rate_hz) {
        let what = format!("lasts longer than {LONGEST_S} s");
        let hint = "cut the take to the test signal and a second on either side";
        return Err(unfit(path, &what, hint));
    }
    fn integer(x: i32, bits: i32) -> f32 {
        (f64::from(x) / (2f64).powi(bits - 1)) as f32
    }
    let (read, step): (fn(&[u8]) -> f32, f64) = match format.coding {
        Coding::Int16 => (
            |b| integer(i16::from_le_bytes([b[0], b[1]]).into(), 16),
            (2f64).powi(-15),
        ),
        // Three bytes go to the upper end of four, so that the sign comes by itself.
        Coding::Int24 => (
            |b| integer(i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8, 24),
            (2f64).powi(-23),
        ),
        Coding::Int32 => (
            |b| integer(i32::from_le_bytes([b[0], b[1], b[2], b[3]]), 32),
            (2f64).powi(-31),
        ),
        Coding::Float => (|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]), (2f64).powi(-24)),
    };
    // Channels nobody asked for must be sound too: one that is not tells of a file that was damaged.
    let broken = |b: &[u8]| !read(b).is_finite() || read(b).abs() > 1e6;
    if format.coding == Coding::Float
        && let Some(i) = data.chunks_exact(width).position(broken)
    {
        let what = format!("has a sample that is no number (frame {})", i * width / frame);
        return Err(unfit(path, &what, "record the take again"));
    }
    let channel = |pick: &usize| data.chunks_exact(frame).map(|f| read(&f[pick * width..])).collect();
    Ok(Wave {
        rate_hz: format.rate_hz,
        samples: picks.iter().map(channel).collect(),
        step,
        notes,
    })
}

/// A take as a file, which says so where the built-in bench made it.
pub fn of_take(take: &Take) -> Result<Vec<u8>> {
    let bytes = to_bytes(take.rate_hz, &take.channels())?;
    match take.provenance.simulated {
        true => Ok(chunks::simulated(bytes)),
        false => Ok(bytes),
    }
}

/// A WAV file in memory: 24-bit integer where the samples lie on that grid, else 32-bit float.
pub fn to_bytes(rate_hz: u32, channels: &[&[f32]]) -> Result<Vec<u8>> {
    const FULL: f32 = 8_388_608.0;
    let on_grid = |x: &f32| {
        let s = x * FULL;
        s.fract() == 0.0 && (-FULL..FULL).contains(&s)
    };
    let integer = channels.iter().all(|c| c.iter().all(on_grid));
    let (bits_per_sample, sample_format) = match integer {
        true => (24, hound::SampleFormat::Int),
        false => (32, hound::SampleFormat::Float),
    };
    let spec = hound::WavSpec {
        channels: channels.len() as u16,
        sample_rate: rate_hz,
        bits_per_sample,
        sample_format,
    };
    let failed = |e: hound::Error| Failure::new(format!("cannot code the take as WAV: {e}"), "take a shorter one");
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).map_err(failed)?;
    let frames = channels.iter().map(|c| c.len()).min().unwrap_or(0);
    for i in 0..frames {
        for c in channels {
            match integer {
                true => writer.write_sample((c[i] * FULL) as i32),
                false => writer.write_sample(c[i]),
            }
            .map_err(failed)?;
        }
    }
    writer.finalize().map_err(failed)?;
    Ok(bytes.into_inner())
}
