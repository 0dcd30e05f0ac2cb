//! WAV files: takes and drives in, takes and drives out.
//!
//! The chunks are walked here, so that odd-length chunks, lying headers and files cut short do no harm; what is left are
//! whole frames of plain samples, which need no more than their bytes put together. hound writes.

use std::io::Cursor;
use std::path::Path;

use super::{Provenance, Take};
use crate::failure::{Failure, Result};
use crate::fileio;

const HINT_FORMAT: &str = "give a WAV file of 16, 24 or 32-bit integer or 32-bit float samples";
/// Beyond this a file is not a take; a transform of it would fill the memory.
const LONGEST_S: f64 = 180.0;
/// Three minutes of eight channels at 192 kHz and 32 bits, and some.
const MOST_BYTES: u64 = 2 << 30;
const MOST_CHANNELS: u16 = 64;

/// Decoded samples of some channels of a WAV file.
#[derive(Debug, Clone)]
pub struct Wave {
    pub rate_hz: u32,
    /// Channels in the file.
    pub channels: usize,
    /// The wanted channels, full scale = 1.0.
    pub samples: Vec<Vec<f32>>,
    /// Converter step as a fraction of full scale.
    pub step: f64,
    pub notes: Vec<String>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Coding {
    Int(u16),
    Float,
}

#[derive(Debug, Clone, Copy)]
struct Format {
    coding: Coding,
    channels: u16,
    rate_hz: u32,
    /// Bytes of one sample of one channel.
    width: u16,
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
    let (format, data, notes) = walk(&bytes, path)?;
    decode(format, data, &[0], notes, path)
}

/// As [`read_take`], from bytes; `path` only names the file in messages.
pub fn take_from_bytes(bytes: &[u8], path: &Path, channels: Option<Channels>) -> Result<Take> {
    let (format, data, mut notes) = walk(bytes, path)?;
    let there = usize::from(format.channels);
    let chosen = match channels {
        Some(c) => {
            for (n, what) in [(Some(c.pickup), "pickup"), (c.reference, "reference")] {
                if let Some(n) = n
                    && (n == 0 || n > there)
                {
                    return Err(Failure::new(
                        format!(
                            "{} has {} but the {what} is said to be channel {n}",
                            path.display(),
                            count(there)
                        ),
                        format!("give --channels {what}=N with N from 1 to {there}"),
                    ));
                }
            }
            c
        }
        None => {
            if there > 2 {
                notes.push(format!("{there} channels in the file: the first two were used"));
            }
            Channels {
                pickup: 1,
                reference: (there > 1).then_some(2),
            }
        }
    };
    let mut picks = vec![chosen.pickup - 1];
    picks.extend(chosen.reference.map(|c| c - 1));
    let mut wave = decode(format, data, &picks, notes, path)?;
    let reference = if picks.len() > 1 { wave.samples.pop() } else { None };
    let pickup = wave.samples.pop().unwrap_or_default();
    Ok(Take {
        rate_hz: wave.rate_hz,
        pickup,
        reference,
        step: wave.step,
        provenance: Provenance {
            file: Some(path.to_path_buf()),
            notes: wave.notes,
            ..Provenance::default()
        },
    })
}

fn count(n: usize) -> String {
    if n == 1 {
        "1 channel".into()
    } else {
        format!("{n} channels")
    }
}

/// Finds the format and the sample bytes that are really there.
fn walk<'a>(bytes: &'a [u8], path: &Path) -> Result<(Format, &'a [u8], Vec<String>)> {
    let name = path.display();
    if bytes.is_empty() {
        return Err(Failure::new(format!("{name} is empty"), "record the take again"));
    }
    let magic = bytes.get(..4).unwrap_or_default();
    if !(magic == b"RIFF" || magic == b"RF64") || bytes.get(8..12) != Some(b"WAVE") {
        let cut = bytes.len() < 12 && b"RIFF".starts_with(&magic[..magic.len().min(4)]);
        return Err(if cut {
            Failure::new(
                format!("{name} ends within its header"),
                "record or copy the take again",
            )
        } else {
            Failure::new(format!("{name} is not a WAV file"), HINT_FORMAT)
        });
    }
    let mut notes = Vec::new();
    let mut format = None;
    let mut long = Long::default();
    let mut at = 12usize;
    while let Some(head) = bytes.get(at..).filter(|rest| rest.len() >= 8) {
        let (short, body) = (u32_at(head, 4).unwrap_or_default(), &head[8..]);
        let size = match long.size(&head[..4]).filter(|_| short == u32::MAX) {
            Some(size) => usize::try_from(size).unwrap_or(usize::MAX),
            None => short as usize,
        };
        match &head[..4] {
            b"ds64" => long = Long(body.get(..size.min(body.len())).unwrap_or_default()),
            b"fmt " => {
                let chunk = body.get(..size).ok_or_else(|| {
                    Failure::new(
                        format!("{name} ends within its header"),
                        "record or copy the take again",
                    )
                })?;
                format = Some(read_format(chunk, path)?);
            }
            b"data" => {
                let format = format.ok_or_else(|| {
                    Failure::new(format!("{name} has samples before it says their format"), HINT_FORMAT)
                })?;
                // Some recorders that were interrupted write 0xFFFFFFFF or 0 here.
                let streaming = size == u32::MAX as usize || (size == 0 && body.len() > 8);
                let there = body.len().min(if streaming { body.len() } else { size });
                if there < size && !(magic == b"RF64" && streaming) {
                    notes.push("the file is shorter than its header says: what is there was used".into());
                }
                let frame = usize::from(format.width) * usize::from(format.channels);
                return Ok((format, &body[..there - there % frame], notes));
            }
            _ => {}
        }
        // Chunks are padded to even lengths.
        at = at.saturating_add(8).saturating_add(size).saturating_add(size % 2);
    }
    Err(if format.is_some() {
        Failure::new(
            format!("{name} has a header but no samples"),
            "record or copy the take again",
        )
    } else {
        Failure::new(
            format!("{name} ends within its header"),
            "record or copy the take again",
        )
    })
}

/// What the chunk `ds64` of a file of the kind RF64 says (EBU Tech 3306, recalled from memory): the lengths that 32 bits do not
/// hold.
#[derive(Default)]
struct Long<'a>(&'a [u8]);

impl Long<'_> {
    /// The length of a chunk that says 0xFFFFFFFF of itself. A recorder that was interrupted leaves 0: then nothing is known.
    fn size(&self, id: &[u8]) -> Option<u64> {
        let u64_at = |i: usize| Some(u64::from(u32_at(self.0, i)?) | u64::from(u32_at(self.0, i + 4)?) << 32);
        // The whole file's, the samples' and their number, then a table of other chunks.
        let size = match id {
            b"data" => u64_at(8),
            _ => self
                .0
                .get(28..)?
                .chunks_exact(12)
                .position(|row| row[..4] == *id)
                .and_then(|n| u64_at(32 + 12 * n)),
        };
        size.filter(|s| *s > 0)
    }
}

fn u32_at(bytes: &[u8], i: usize) -> Option<u32> {
    let b = bytes.get(i..i + 4)?;
    Some(u32::from_le_bytes([b[0], b[1], b[2], b[3]]))
}

fn read_format(chunk: &[u8], path: &Path) -> Result<Format> {
    let name = path.display();
    let short = || {
        Failure::new(
            format!("{name} ends within its header"),
            "record or copy the take again",
        )
    };
    let u16_at = |i: usize| {
        chunk
            .get(i..i + 2)
            .map(|b| u16::from_le_bytes([b[0], b[1]]))
            .ok_or_else(short)
    };
    let mut tag = u16_at(0)?;
    let channels = u16_at(2)?;
    let rate_hz = u32::from(u16_at(4)?) | u32::from(u16_at(6)?) << 16;
    let bits = u16_at(14)?;
    if tag == 0xFFFE {
        tag = u16_at(24)?;
    }
    let coding = match (tag, bits) {
        (1, 16 | 24 | 32) => Coding::Int(bits),
        (3, 32) => Coding::Float,
        (1, 8) => {
            return Err(Failure::new(
                format!("{name} has 8-bit samples: too coarse to measure with"),
                HINT_FORMAT,
            ));
        }
        (1, _) => {
            return Err(Failure::new(
                format!("{name} has {bits}-bit integer samples"),
                HINT_FORMAT,
            ));
        }
        (3, _) => {
            return Err(Failure::new(
                format!("{name} has {bits}-bit float samples"),
                HINT_FORMAT,
            ));
        }
        _ => {
            return Err(Failure::new(
                format!("{name} is compressed (format {tag})"),
                HINT_FORMAT,
            ));
        }
    };
    let width = bits / 8;
    if channels == 0 || channels > MOST_CHANNELS {
        return Err(Failure::new(format!("{name} claims {channels} channels"), HINT_FORMAT));
    }
    if u16_at(12)? != width * channels {
        return Err(Failure::new(
            format!("{name} has a header that contradicts itself (block size)"),
            HINT_FORMAT,
        ));
    }
    if !(44_100..=192_000).contains(&rate_hz) {
        return Err(Failure::new(
            format!("{name} claims a sampling rate of {rate_hz} Hz"),
            "record at 44.1 to 192 kHz",
        ));
    }
    Ok(Format {
        coding,
        channels,
        rate_hz,
        width,
    })
}

fn decode(format: Format, data: &[u8], picks: &[usize], notes: Vec<String>, path: &Path) -> Result<Wave> {
    let name = path.display();
    let channels = usize::from(format.channels);
    let frames = data.len() / (usize::from(format.width) * channels);
    if frames == 0 {
        return Err(Failure::new(
            format!("{name} has a header but no samples"),
            "record or copy the take again",
        ));
    }
    if frames as f64 > LONGEST_S * f64::from(format.rate_hz) {
        return Err(Failure::new(
            format!("{name} lasts longer than {LONGEST_S} s"),
            "cut the take to the test signal and a second on either side",
        ));
    }
    let mut samples: Vec<Vec<f32>> = picks.iter().map(|_| Vec::with_capacity(frames)).collect();
    let width = usize::from(format.width);
    let step = match format.coding {
        Coding::Int(bits) => {
            let full = (1u64 << (bits - 1)) as f64;
            for (pick, out) in picks.iter().zip(&mut samples) {
                let channel = data.chunks_exact(width * channels).map(|f| &f[pick * width..]);
                // Three bytes go to the upper end of four, so that the sign comes by itself.
                match bits {
                    16 => out.extend(channel.map(|b| (f64::from(i16::from_le_bytes([b[0], b[1]])) / full) as f32)),
                    24 => out.extend(
                        channel.map(|b| (f64::from(i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8) / full) as f32),
                    ),
                    _ => out.extend(
                        channel.map(|b| (f64::from(i32::from_le_bytes([b[0], b[1], b[2], b[3]])) / full) as f32),
                    ),
                }
            }
            1.0 / full
        }
        Coding::Float => {
            for (frame, f) in data.chunks_exact(width * channels).enumerate() {
                // Channels nobody asked for must be sound too: one that is not tells of a file that was damaged.
                for (channel, b) in f.chunks_exact(width).enumerate() {
                    let x = f32::from_le_bytes([b[0], b[1], b[2], b[3]]);
                    if !x.is_finite() || x.abs() > 1e6 {
                        return Err(Failure::new(
                            format!("{name} has a sample that is no number (frame {frame})"),
                            "record the take again",
                        ));
                    }
                    for (pick, out) in picks.iter().zip(&mut samples) {
                        if *pick == channel {
                            out.push(x);
                        }
                    }
                }
            }
            (2f64).powi(-24)
        }
    };
    Ok(Wave {
        rate_hz: format.rate_hz,
        channels,
        samples,
        step,
        notes,
    })
}

/// A WAV file in memory: 24-bit integer where the samples lie on that grid, else 32-bit float.
pub fn to_bytes(rate_hz: u32, channels: &[&[f32]]) -> Result<Vec<u8>> {
    const FULL: f32 = 8_388_608.0;
    let on_grid = |x: &f32| {
        let s = x * FULL;
        s.fract() == 0.0 && (-FULL..FULL).contains(&s)
    };
    let integer = channels.iter().all(|c| c.iter().all(on_grid));
    let spec = hound::WavSpec {
        channels: channels.len() as u16,
        sample_rate: rate_hz,
        bits_per_sample: if integer { 24 } else { 32 },
        sample_format: if integer {
            hound::SampleFormat::Int
        } else {
            hound::SampleFormat::Float
        },
    };
    let failed = |e: hound::Error| Failure::new(format!("cannot code the take as WAV: {e}"), "take a shorter one");
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).map_err(failed)?;
    let frames = channels.iter().map(|c| c.len()).min().unwrap_or(0);
    for i in 0..frames {
        for c in channels {
            if integer {
                writer.write_sample((c[i] * FULL) as i32).map_err(failed)?;
            } else {
                writer.write_sample(c[i]).map_err(failed)?;
            }
        }
    }
    writer.finalize().map_err(failed)?;
    Ok(bytes.into_inner())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chunk(id: &[u8], body: &[u8]) -> Vec<u8> {
        let mut v = id.to_vec();
        v.extend_from_slice(&(body.len() as u32).to_le_bytes());
        v.extend_from_slice(body);
        if body.len() % 2 == 1 {
            v.push(0);
        }
        v
    }

    fn fmt(tag: u16, channels: u16, rate: u32, bits: u16) -> Vec<u8> {
        let block = channels * bits / 8;
        let mut v = Vec::new();
        v.extend_from_slice(&tag.to_le_bytes());
        v.extend_from_slice(&channels.to_le_bytes());
        v.extend_from_slice(&rate.to_le_bytes());
        v.extend_from_slice(&(rate * u32::from(block)).to_le_bytes());
        v.extend_from_slice(&block.to_le_bytes());
        v.extend_from_slice(&bits.to_le_bytes());
        v
    }

    fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
        let body: Vec<u8> = chunks.concat();
        let mut v = b"RIFF".to_vec();
        v.extend_from_slice(&(body.len() as u32 + 4).to_le_bytes());
        v.extend_from_slice(b"WAVE");
        v.extend(body);
        v
    }

    fn read(bytes: &[u8]) -> Result<Take> {
        take_from_bytes(bytes, Path::new("t.wav"), None)
    }

    #[test]
    fn every_format_and_odd_chunks_are_read() {
        let odd = chunk(b"LIST", b"abc");
        let pcm16: Vec<u8> = [1000i16, -1000, 16384, -32768]
            .iter()
            .flat_map(|s| s.to_le_bytes())
            .collect();
        let t = read(&riff(&[
            chunk(b"fmt ", &fmt(1, 2, 48000, 16)),
            odd.clone(),
            chunk(b"data", &pcm16),
        ]))
        .unwrap();
        assert_eq!(t.pickup, [1000.0 / 32768.0, 0.5]);
        assert_eq!(t.reference.unwrap(), [-1000.0 / 32768.0, -1.0]);
        let pcm24 = [0x00, 0x00, 0x40, 0x00, 0x00, 0xC0];
        let t = read(&riff(&[
            odd.clone(),
            chunk(b"fmt ", &fmt(1, 1, 96000, 24)),
            chunk(b"data", &pcm24),
        ]))
        .unwrap();
        assert_eq!((t.pickup, t.reference), (vec![0.5, -0.5], None));
        let pcm32: Vec<u8> = [1i32 << 30].iter().flat_map(|s| s.to_le_bytes()).collect();
        assert_eq!(
            read(&riff(&[chunk(b"fmt ", &fmt(1, 1, 44100, 32)), chunk(b"data", &pcm32)]))
                .unwrap()
                .pickup,
            [0.5]
        );
        let mut ext = fmt(0xFFFE, 1, 192000, 32);
        ext.extend_from_slice(&[22, 0, 32, 0, 0, 0, 0, 0, 3, 0]);
        ext.extend_from_slice(&[0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71]);
        let t = read(&riff(&[chunk(b"fmt ", &ext), chunk(b"data", &0.25f32.to_le_bytes())])).unwrap();
        assert_eq!((t.pickup, t.rate_hz), (vec![0.25], 192000));
    }

    /// Lengths of 32 bits say nothing there; what lies behind the samples is none of them.
    #[test]
    fn long_files_say_their_lengths_elsewhere() {
        let (pcm, junk) = ([0u8, 1, 0, 2, 0, 3], chunk(b"LIST", &[9; 40]));
        let long = |ds64: Vec<Vec<u8>>, samples: u64, table: &[u8]| {
            let says = [&[0u8; 8][..], &samples.to_le_bytes(), &[0; 8], &[1, 0, 0, 0], table].concat();
            let mut big = chunk(b"junk", &[7; 6]);
            big[4..8].copy_from_slice(&u32::MAX.to_le_bytes());
            let mut data = chunk(b"data", &pcm);
            data[4..8].copy_from_slice(&u32::MAX.to_le_bytes());
            let head = [ds64.concat(), chunk(b"ds64", &says)].concat();
            let big = if table.is_empty() { Vec::new() } else { big };
            let mut file = riff(&[head, big, chunk(b"fmt ", &fmt(1, 1, 48000, 16)), data, junk.clone()]);
            file[..8].copy_from_slice(b"RF64\xff\xff\xff\xff");
            read(&file)
        };
        let rows = [&b"junk"[..], &6u64.to_le_bytes()].concat();
        for (before, table) in [(vec![], &[][..]), (vec![junk.clone()], &rows)] {
            let t = long(before, 6, table).unwrap();
            assert_eq!((t.pickup.len(), t.provenance.notes.len()), (3, 0));
        }
        // More than there is, and a recorder that was interrupted: what is there.
        let t = long(vec![], 1 << 40, &[]).unwrap();
        assert_eq!((t.pickup.len(), t.provenance.notes.len()), (27, 1));
        assert_eq!(long(vec![], 0, &[]).unwrap().pickup.len(), 27);
    }

    #[test]
    fn a_lying_header_is_noted_and_bad_files_are_named() {
        let mut lie = riff(&[chunk(b"fmt ", &fmt(1, 1, 48000, 16)), chunk(b"data", &[0, 1, 0, 2, 7])]);
        let at = lie.windows(4).position(|w| w == b"data").unwrap();
        lie[at + 4..at + 8].copy_from_slice(&0xF000_0000u32.to_le_bytes());
        let t = read(&lie).unwrap();
        assert_eq!(t.pickup.len(), 3);
        assert!(t.provenance.notes[0].contains("shorter"));
        let good = riff(&[chunk(b"fmt ", &fmt(1, 1, 48000, 16)), chunk(b"data", &[0, 1])]);
        for cut in 0..good.len() - 2 {
            assert!(read(&good[..cut]).is_err(), "{cut}");
        }
        let nan = riff(&[
            chunk(b"fmt ", &fmt(3, 1, 48000, 32)),
            chunk(b"data", &f32::NAN.to_le_bytes()),
        ]);
        for (bytes, word) in [
            (
                riff(&[chunk(b"fmt ", &fmt(1, 1, 48000, 8)), chunk(b"data", &[1, 2])]),
                "8-bit",
            ),
            (b"some words in a file".to_vec(), "not a WAV"),
            (nan, "no number"),
            (
                riff(&[chunk(b"fmt ", &fmt(1, 1, 48000, 16)), chunk(b"data", &[])]),
                "no samples",
            ),
        ] {
            let e = read(&bytes).unwrap_err().to_string();
            assert!(e.contains(word) && e.contains("t.wav"), "{e}");
        }
    }

    #[test]
    fn written_takes_come_back_bit_for_bit() {
        let a: Vec<f32> = (0..100).map(|i| (i as f32 * 1000.0).round() / 8_388_608.0).collect();
        let b: Vec<f32> = (0..100).map(|i| (i as f32 * 0.1).sin()).collect();
        let t = take_from_bytes(&to_bytes(48000, &[&a, &a]).unwrap(), Path::new("t"), None).unwrap();
        assert_eq!((t.pickup, t.step), (a, 1.0 / 8_388_608.0));
        let t = take_from_bytes(&to_bytes(48000, &[&b]).unwrap(), Path::new("t"), None).unwrap();
        assert_eq!(t.pickup, b);
    }
}
