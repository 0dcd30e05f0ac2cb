//! Sample formats: between what a device speaks and f32 with full scale = 1.0. Runs inside the audio callbacks: no lock,
//! no allocation.

use std::ops::Range;

use cpal::{Data, I24, SampleFormat, SizedSample, U24};

/// One sample as a device speaks it.
trait Wire: SizedSample {
    fn decode(self) -> f32;
    /// Rounds to the nearest step and saturates.
    fn encode(x: f32) -> Self;
}

/// Nearest step of a signed integer with `bits` bits.
fn step_of(x: f32, bits: u32) -> i64 {
    let full = (1_u64 << (bits - 1)) as f64;
    (f64::from(x) * full).round_ties_even().clamp(-full, full - 1.0) as i64
}

macro_rules! integers {
    ($($signed:ty, $unsigned:ty, $bits:expr;)*) => {$(
        impl Wire for $signed {
            fn decode(self) -> f32 {
                (f64::from(self) / f64::from(1_u32 << ($bits - 1))) as f32
            }
            fn encode(x: f32) -> Self {
                step_of(x, $bits) as $signed
            }
        }
        impl Wire for $unsigned {
            fn decode(self) -> f32 {
                (f64::from(self) / f64::from(1_u32 << ($bits - 1)) - 1.0) as f32
            }
            fn encode(x: f32) -> Self {
                (step_of(x, $bits) + (1_i64 << ($bits - 1))) as $unsigned
            }
        }
    )*};
}

integers! {
    i8, u8, 8;
    i16, u16, 16;
    i32, u32, 32;
}

const HALF_24: i32 = 1 << 23;

impl Wire for I24 {
    fn decode(self) -> f32 {
        // Drivers differ in what they leave in the unused top byte.
        ((self.inner() << 8) >> 8) as f32 / HALF_24 as f32
    }
    fn encode(x: f32) -> Self {
        I24::new(step_of(x, 24) as i32).unwrap_or_default()
    }
}

impl Wire for U24 {
    fn decode(self) -> f32 {
        ((self.inner() & 0x00ff_ffff) - HALF_24) as f32 / HALF_24 as f32
    }
    fn encode(x: f32) -> Self {
        U24::new(step_of(x, 24) as i32 + HALF_24).unwrap_or_default()
    }
}

impl Wire for f32 {
    fn decode(self) -> f32 {
        self
    }
    fn encode(x: f32) -> Self {
        x
    }
}

impl Wire for f64 {
    fn decode(self) -> f32 {
        self as f32
    }
    fn encode(x: f32) -> Self {
        f64::from(x)
    }
}

/// The formats spoken, best first: (format, converter step as a fraction of full scale).
const FORMATS: [(SampleFormat, f64); 10] = {
    const fn bits(n: u32) -> f64 {
        1.0 / (1_u64 << (n - 1)) as f64
    }
    [
        (SampleFormat::F32, bits(25)),
        (SampleFormat::I32, bits(32)),
        (SampleFormat::F64, bits(25)),
        (SampleFormat::I24, bits(24)),
        (SampleFormat::U32, bits(32)),
        (SampleFormat::U24, bits(24)),
        (SampleFormat::I16, bits(16)),
        (SampleFormat::U16, bits(16)),
        (SampleFormat::I8, bits(8)),
        (SampleFormat::U8, bits(8)),
    ]
};

/// Place in the order of preference, 0 the best; `None` for formats not spoken (one-bit streams, 64-bit integers).
pub(super) fn rank(format: SampleFormat) -> Option<usize> {
    FORMATS.iter().position(|(f, _)| *f == format)
}

/// Converter step as a fraction of full scale.
pub(super) fn step(format: SampleFormat) -> f64 {
    FORMATS
        .iter()
        .find(|(f, _)| *f == format)
        .map_or(FORMATS[0].1, |(_, s)| *s)
}

macro_rules! by_format {
    ($format:expr, $generic:ident($($arg:expr),*), $other:expr) => {
        match $format {
            SampleFormat::I8 => $generic::<i8>($($arg),*),
            SampleFormat::U8 => $generic::<u8>($($arg),*),
            SampleFormat::I16 => $generic::<i16>($($arg),*),
            SampleFormat::U16 => $generic::<u16>($($arg),*),
            SampleFormat::I24 => $generic::<I24>($($arg),*),
            SampleFormat::U24 => $generic::<U24>($($arg),*),
            SampleFormat::I32 => $generic::<i32>($($arg),*),
            SampleFormat::U32 => $generic::<u32>($($arg),*),
            SampleFormat::F32 => $generic::<f32>($($arg),*),
            SampleFormat::F64 => $generic::<f64>($($arg),*),
            _ => $other,
        }
    };
}

/// Puts `samples` on the channels `on` of each frame; other channels, and frames beyond the samples, are silent.
pub(super) fn play(data: &mut Data, channels: usize, on: &Range<usize>, samples: impl Iterator<Item = f32>) {
    fn typed<T: Wire>(data: &mut Data, channels: usize, on: &Range<usize>, samples: impl Iterator<Item = f32>) {
        let Some(slots) = data.as_slice_mut::<T>() else {
            return;
        };
        let silence = T::encode(0.0);
        slots.fill(silence);
        for (frame, x) in slots.chunks_exact_mut(channels).zip(samples) {
            if let Some(frame) = frame.get_mut(on.clone()) {
                frame.fill(T::encode(x));
            }
        }
    }
    by_format!(data.sample_format(), typed(data, channels, on, samples), ())
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
    fn typed<T: Wire>(
        data: &Data,
        channels: usize,
        pickup: usize,
        reference: Option<usize>,
        ring: &mut rtrb::Producer<f32>,
        frames: usize,
    ) -> usize {
        let (Some(slots), Ok(chunk)) = (data.as_slice::<T>(), ring.write_chunk_uninit(2 * frames)) else {
            return 0;
        };
        let pick = |frame: &[T], channel: usize| frame.get(channel).map_or(0.0, |s| s.decode());
        chunk.fill_from_iter(
            slots
                .chunks_exact(channels)
                .flat_map(|frame| [pick(frame, pickup), reference.map_or(0.0, |r| pick(frame, r))]),
        ) / 2
    }
    by_format!(
        data.sample_format(),
        typed(data, channels, pickup, reference, ring, frames),
        0
    )
}

#[cfg(test)]
mod tests {
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
        assert_eq!(i16::encode(0.6 / 32768.0), 1);
        assert_eq!(i16::encode(-0.6 / 32768.0), -1);
        assert_eq!(i16::encode(2.0), 32767);
        assert_eq!(i32::encode(-2.0), i32::MIN);
        assert_eq!(u16::encode(0.0), 32768);
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
