//! Sample formats: between what a device speaks and f32 with full scale = 1.0. Runs inside the audio callbacks: no lock,
//! no allocation.

use std::ops::Range;

use cpal::{Data, SampleFormat};

/// How a device writes a sample.
#[derive(Debug, Clone, Copy)]
enum Coding {
    Float,
    /// An integer of so many bits.
    Signed(u32),
    /// The same, counted from the lowest value.
    Unsigned(u32),
}

/// The formats spoken, best first.
const FORMATS: [(SampleFormat, Coding); 10] = [
    (SampleFormat::F32, Coding::Float),
    (SampleFormat::I32, Coding::Signed(32)),
    (SampleFormat::F64, Coding::Float),
    (SampleFormat::I24, Coding::Signed(24)),
    (SampleFormat::U32, Coding::Unsigned(32)),
    (SampleFormat::U24, Coding::Unsigned(24)),
    (SampleFormat::I16, Coding::Signed(16)),
    (SampleFormat::U16, Coding::Unsigned(16)),
    (SampleFormat::I8, Coding::Signed(8)),
    (SampleFormat::U8, Coding::Unsigned(8)),
];

fn coding(format: SampleFormat) -> Option<Coding> {
    FORMATS.iter().find(|f| f.0 == format).map(|f| f.1)
}

/// Steps of an integer from nought to full scale.
fn steps(bits: u32) -> i64 {
    1 << (bits - 1)
}

impl Coding {
    /// Bits of an integer, and what turns them into one with a sign: its highest bit the other way round.
    fn integer(self) -> Option<(u32, i64)> {
        match self {
            Coding::Float => None,
            Coding::Signed(bits) => Some((bits, 0)),
            Coding::Unsigned(bits) => Some((bits, steps(bits))),
        }
    }

    fn decode(self, sample: &[u8]) -> f32 {
        let Some((bits, flip)) = self.integer() else {
            return match *sample {
                [a, b, c, d] => f32::from_ne_bytes([a, b, c, d]),
                [a, b, c, d, e, f, g, h] => f64::from_ne_bytes([a, b, c, d, e, f, g, h]) as f32,
                _ => 0.0,
            };
        };
        let raw = match *sample {
            [a] => a.into(),
            [a, b] => u16::from_ne_bytes([a, b]).into(),
            [a, b, c, d] => u32::from_ne_bytes([a, b, c, d]).into(),
            _ => 0i64,
        };
        // Drivers differ in what they leave in the unused top byte of 24 bits.
        let whole = (raw ^ flip) << (64 - bits) >> (64 - bits);
        (whole as f64 / steps(bits) as f64) as f32
    }

    /// Rounds to the nearest step and saturates.
    fn encode(self, x: f32, sample: &mut [u8]) {
        let Some((bits, flip)) = self.integer() else {
            return match sample.len() {
                4 => sample.copy_from_slice(&x.to_ne_bytes()),
                _ => sample.copy_from_slice(&f64::from(x).to_ne_bytes()),
            };
        };
        let full = steps(bits) as f64;
        let step = (f64::from(x) * full).round_ties_even().clamp(-full, full - 1.0) as i64;
        // With a sign it reaches into an unused top byte.
        let raw = if flip == 0 { step } else { step + flip };
        match sample.len() {
            1 => sample.copy_from_slice(&(raw as u8).to_ne_bytes()),
            2 => sample.copy_from_slice(&(raw as u16).to_ne_bytes()),
            _ => sample.copy_from_slice(&(raw as u32).to_ne_bytes()),
        }
    }
}

/// Place in the order of preference, 0 the best; `None` for formats not spoken (one-bit streams, 64-bit integers).
pub(super) fn rank(format: SampleFormat) -> Option<usize> {
    FORMATS.iter().position(|(f, _)| *f == format)
}

/// Converter step as a fraction of full scale.
pub(super) fn step(format: SampleFormat) -> f64 {
    let integer = coding(format).and_then(Coding::integer);
    1.0 / steps(integer.map_or(25, |i| i.0)) as f64
}

/// Puts `samples` on the channels `on` of each frame; other channels, and frames beyond the samples, are silent.
pub(super) fn play(data: &mut Data, channels: usize, on: &Range<usize>, mut samples: impl Iterator<Item = f32>) {
    let width = data.sample_format().sample_size();
    let Some(coding) = coding(data.sample_format()) else {
        return;
    };
    for frame in data.bytes_mut().chunks_exact_mut(width * channels) {
        let x = samples.next().unwrap_or(0.0);
        for (channel, sample) in frame.chunks_exact_mut(width).enumerate() {
            coding.encode(if on.contains(&channel) { x } else { 0.0 }, sample);
        }
    }
}

/// Appends (pickup, reference) of up to `frames` frames to the ring, which must have room for them; without a reference
/// channel its place holds zeros. Returns the number of frames written.
pub(super) fn record(
    data: &Data,
    channels: usize,
    pickup: usize,
    reference: Option<usize>,
    ring: &mut rtrb::Producer<f32>,
    frames: usize,
) -> usize {
    let width = data.sample_format().sample_size();
    let (Some(coding), Ok(chunk)) = (coding(data.sample_format()), ring.write_chunk_uninit(2 * frames)) else {
        return 0;
    };
    let pick = |frame: &[u8], channel: usize| {
        let sample = frame.chunks_exact(width).nth(channel);
        sample.map_or(0.0, |s| coding.decode(s))
    };
    let all = data.bytes().chunks_exact(width * channels);
    chunk.fill_from_iter(all.flat_map(|f| [pick(f, pickup), reference.map_or(0.0, |r| pick(f, r))])) / 2
}

#[cfg(test)]
mod tests {
    use cpal::{I24, SizedSample, U24};

    use super::*;

    fn data<T: SizedSample>(slots: &mut [T]) -> Data {
        // SAFETY: pointer, length and format all belong to `slots`, which outlives the use below.
        unsafe { Data::from_parts(slots.as_mut_ptr().cast(), slots.len(), T::FORMAT) }
    }

    fn there_and_back<T: SizedSample>(zero: T, tolerance: f32) {
        let samples = [0.0, 0.5, -0.5, 0.999, -1.0, 1.5, -1.5, 1e-9];
        let mut slots = vec![zero; 3 * 10];
        let mut data = data(&mut slots);
        play(&mut data, 3, &(0..2), samples.into_iter());
        let (mut ring, mut out) = rtrb::RingBuffer::new(64);
        assert_eq!(record(&data, 3, 1, Some(2), &mut ring, 10), 10);
        for i in 0..10 {
            let want = samples.get(i).copied().unwrap_or(0.0);
            let want = if T::FORMAT.is_float() {
                want
            } else {
                want.clamp(-1.0, 1.0 - tolerance)
            };
            let (pickup, other) = (out.pop().unwrap(), out.pop().unwrap());
            assert!((pickup - want).abs() <= tolerance, "{}: {pickup} for {want}", T::FORMAT);
            assert_eq!(other, 0.0, "{}: the channel not driven is silent", T::FORMAT);
        }
    }

    #[test]
    fn every_format_there_and_back() {
        there_and_back(0_i8, 1.0 / 128.0);
        there_and_back(0_u8, 1.0 / 128.0);
        there_and_back(0_i16, 1.0 / 32768.0);
        there_and_back(0_u16, 1.0 / 32768.0);
        there_and_back(I24::default(), 2_f32.powi(-23));
        there_and_back(U24::default(), 2_f32.powi(-23));
        there_and_back(0_i32, 2_f32.powi(-24));
        there_and_back(0_u32, 2_f32.powi(-24));
        there_and_back(0_f32, 0.0);
        there_and_back(0_f64, 0.0);
    }

    #[test]
    fn integers_round_to_the_nearest_step() {
        let encoded = |coding: Coding, x: f32| {
            let mut sample = [0; 2];
            coding.encode(x, &mut sample);
            i16::from_ne_bytes(sample)
        };
        assert_eq!(encoded(Coding::Signed(16), 0.6 / 32768.0), 1);
        assert_eq!(encoded(Coding::Signed(16), -0.6 / 32768.0), -1);
        assert_eq!(encoded(Coding::Signed(16), 2.0), 32767);
        assert_eq!(encoded(Coding::Unsigned(16), 0.0) as u16, 32768);
        let mut sample = [0; 4];
        Coding::Signed(32).encode(-2.0, &mut sample);
        assert_eq!(i32::from_ne_bytes(sample), i32::MIN);
    }

    #[test]
    fn unused_top_byte_of_24_bits_is_ignored() {
        let mut raw = [0x0080_0000_i32, 0x7f00_0001];
        // SAFETY: `I24` is stored as an `i32`.
        let data = unsafe { Data::from_parts(raw.as_mut_ptr().cast(), 2, SampleFormat::I24) };
        let (mut ring, mut out) = rtrb::RingBuffer::new(8);
        record(&data, 1, 0, None, &mut ring, 2);
        assert_eq!(out.pop(), Ok(-1.0));
        out.pop().unwrap();
        assert_eq!(out.pop(), Ok(2_f32.powi(-23)));
    }
}
