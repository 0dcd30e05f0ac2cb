//! The chunks of a WAV file: its format and where its samples are.

use std::path::Path;

use crate::failure::{Failure, Result};

const HINT_FORMAT: &str = "give a WAV file of 16, 24 or 32-bit integer or 32-bit float samples";
const AGAIN: &str = "record or copy the take again";
const MOST_CHANNELS: u16 = 64;

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Coding {
    Int16,
    Int24,
    Int32,
    Float,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Format {
    pub coding: Coding,
    pub channels: u16,
    pub rate_hz: u32,
    /// Bytes of one sample of one channel.
    pub width: u16,
}

/// The format, and the sample bytes that are really there: whole frames.
pub(super) struct Found<'a> {
    pub format: Format,
    pub data: &'a [u8],
    pub notes: Vec<String>,
    /// It says of itself that the built-in bench made it.
    pub simulated: bool,
}

/// What is wrong with a file, its name first.
pub(super) fn unfit(path: &Path, what: &str, hint: &str) -> Failure {
    Failure::new(format!("{} {what}", path.display()), hint)
}

fn cut_short(path: &Path) -> Failure {
    unfit(path, "ends within its header", AGAIN)
}

pub(super) fn silent(path: &Path) -> Failure {
    unfit(path, "has a header but no samples", AGAIN)
}

pub(super) fn walk<'a>(bytes: &'a [u8], path: &Path) -> Result<Found<'a>> {
    if bytes.is_empty() {
        return Err(unfit(path, "is empty", "record the take again"));
    }
    let magic = bytes.get(..4).unwrap_or_default();
    if !(magic == b"RIFF" || magic == b"RF64") || bytes.get(8..12) != Some(b"WAVE") {
        let cut = bytes.len() < 12 && b"RIFF".starts_with(magic);
        return Err(match cut {
            true => cut_short(path),
            false => unfit(path, "is not a WAV file", HINT_FORMAT),
        });
    }
    let (mut format, mut simulated) = (None, false);
    let mut long = Long::default();
    let mut at = 12usize;
    while let Some(head) = bytes.get(at..).filter(|rest| rest.len() >= 8) {
        let (short, body) = (u32_at(head, 4).unwrap_or_default(), &head[8..]);
        let size = match long.size(&head[..4]).filter(|_| short == u32::MAX) {
            Some(size) => usize::try_from(size).unwrap_or(usize::MAX),
            None => short as usize,
        };
        match (&head[..4], format) {
            (b"ds64", _) => long = Long(body.get(..size.min(body.len())).unwrap_or_default()),
            (b"fmt ", _) => format = Some(read_format(body.get(..size).ok_or_else(|| cut_short(path))?, path)?),
            (b"data", None) => return Err(unfit(path, "has samples before it says their format", HINT_FORMAT)),
            (b"data", Some(format)) => {
                return Ok(Found {
                    simulated,
                    ..samples(format, magic, body, size)
                });
            }
            (b"LIST", _) => {
                let list = &body[..size.min(body.len())];
                simulated |= list.windows(SIMULATED.len()).any(|w| w == SIMULATED);
            }
            _ => {}
        }
        // Chunks are padded to even lengths.
        at = at.saturating_add(8).saturating_add(size).saturating_add(size % 2);
    }
    Err(format.map_or_else(|| cut_short(path), |_| silent(path)))
}

/// What is there of `size` bytes of samples.
fn samples<'a>(format: Format, magic: &[u8], body: &'a [u8], size: usize) -> Found<'a> {
    // Some recorders that were interrupted write 0xFFFFFFFF or 0 here.
    let streaming = size == u32::MAX as usize || (size == 0 && body.len() > 8);
    let there = if streaming { body.len() } else { size.min(body.len()) };
    let mut notes = Vec::new();
    if there < size && !(magic == b"RF64" && streaming) {
        notes.push("the file is shorter than its header says: what is there was used".into());
    }
    let frame = usize::from(format.width) * usize::from(format.channels);
    let data = &body[..there - there % frame];
    Found {
        format,
        data,
        notes,
        simulated: false,
    }
}

/// What a take of the built-in bench says of itself, wherever it is copied to.
const SIMULATED: &[u8] = b"simulated: made by the built-in bench";

/// A comment as RIFF files carry it: the list INFO with its chunk ICMT (recalled from memory).
fn comment(text: &[u8]) -> Vec<u8> {
    let length = |n: usize| (n as u32).to_le_bytes();
    let mut text = text.to_vec();
    // Ended by a zero, and of even length.
    text.resize(text.len() + 2 - text.len() % 2, 0);
    let list = length(text.len() + 12);
    [&b"LIST"[..], &list, b"INFOICMT", &length(text.len()), &text].concat()
}

/// A file that was just written, with the comment before its samples.
pub(super) fn simulated(mut bytes: Vec<u8>) -> Vec<u8> {
    let mut at = 12;
    while bytes.get(at..at + 4).is_some_and(|id| id != b"data") {
        at += 8 + u32_at(&bytes, at + 4).unwrap_or_default() as usize;
    }
    let at = at.min(bytes.len());
    bytes.splice(at..at, comment(SIMULATED));
    let whole = (bytes.len() as u32).saturating_sub(8);
    if let Some(length) = bytes.get_mut(4..8) {
        length.copy_from_slice(&whole.to_le_bytes());
    }
    bytes
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
            _ => {
                let mut rows = self.0.get(28..)?.chunks_exact(12);
                let row = rows.position(|row| row[..4] == *id)?;
                u64_at(32 + 12 * row)
            }
        };
        size.filter(|s| *s > 0)
    }
}

fn u32_at(bytes: &[u8], i: usize) -> Option<u32> {
    let b = bytes.get(i..i + 4)?;
    Some(u32::from_le_bytes([b[0], b[1], b[2], b[3]]))
}

fn read_format(chunk: &[u8], path: &Path) -> Result<Format> {
    let u16_at = |i: usize| {
        let b = chunk.get(i..i + 2).ok_or_else(|| cut_short(path))?;
        Ok(u16::from_le_bytes([b[0], b[1]]))
    };
    let refuse = |what: String| Err(unfit(path, &what, HINT_FORMAT));
    let mut tag = u16_at(0)?;
    let channels = u16_at(2)?;
    let rate_hz = u32::from(u16_at(4)?) | u32::from(u16_at(6)?) << 16;
    let bits = u16_at(14)?;
    if tag == 0xFFFE {
        tag = u16_at(24)?;
    }
    let coding = match (tag, bits) {
        (1, 16) => Coding::Int16,
        (1, 24) => Coding::Int24,
        (1, 32) => Coding::Int32,
        (3, 32) => Coding::Float,
        (1, 8) => return refuse("has 8-bit samples: too coarse to measure with".into()),
        (1, _) => return refuse(format!("has {bits}-bit integer samples")),
        (3, _) => return refuse(format!("has {bits}-bit float samples")),
        _ => return refuse(format!("is compressed (format {tag})")),
    };
    let width = bits / 8;
    if channels == 0 || channels > MOST_CHANNELS {
        return refuse(format!("claims {channels} channels"));
    }
    if u16_at(12)? != width * channels {
        return refuse("has a header that contradicts itself (block size)".into());
    }
    if !(44_100..=192_000).contains(&rate_hz) {
        let what = format!("claims a sampling rate of {rate_hz} Hz");
        return Err(unfit(path, &what, "record at 44.1 to 192 kHz"));
    }
    Ok(Format {
        coding,
        channels,
        rate_hz,
        width,
    })
}
