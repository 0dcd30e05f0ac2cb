//! A recording of taps brought to its band and to the rate that the band needs, and the mains lines in it.

use num_complex::Complex64;

use crate::fft;

/// Taps are judged in this band: below lies what cables and tables do, above hardly anything of a tap.
pub const LOW_HZ: f64 = 100.0;
pub const HIGH_HZ: f64 = 10_000.0;
/// Where the band's raised-cosine edges begin and end, over its corners.
const EDGE: [f64; 2] = [0.8, 1.2];
const TOP_EDGE: [f64; 2] = [0.95, 1.05];
/// Within these nothing is taken off.
pub const WHOLE_HZ: [f64; 2] = [EDGE[1] * LOW_HZ, TOP_EDGE[0] * HIGH_HZ];
/// Zeros after the recording, so that its end does not run into its beginning.
const PAD_S: f64 = 0.25;
/// Harmonics of the mains that are looked at.
const HARMONICS: std::ops::RangeInclusive<u32> = 2..=40;
/// A line this far above its neighbours' median power is one.
const LINE: f64 = 40.0;
/// Neighbours on either side, in hertz.
const AROUND_HZ: f64 = 15.0;

/// The recording within its band.
pub struct Band {
    pub rate: f64,
    pub x: Vec<f64>,
    /// The same without the mains lines: smeared in time where a line is strong, but good for finding taps.
    pub bare: Vec<f64>,
    /// Mains frequency and the harmonics that stand out.
    pub mains_hz: f64,
    pub harmonics: Vec<u32>,
}

impl Band {
    /// `None` where the recording has no length.
    pub fn of(samples: &[f32], rate: f64) -> Option<Self> {
        let n = fft::good_length(samples.len() + (PAD_S * rate) as usize);
        let spacing = rate / n as f64;
        let keep = ((TOP_EDGE[1] * HIGH_HZ / spacing) as usize + 2).min(n / 2);
        if samples.is_empty() || keep < 16 {
            return None;
        }
        let mean = samples.iter().map(|v| f64::from(*v)).sum::<f64>() / samples.len() as f64;
        let mut bins = fft::forward(samples.iter().map(|v| f64::from(*v) - mean), n, keep);
        for (k, b) in bins.iter_mut().enumerate() {
            *b *= weight(k as f64 * spacing);
        }
        // Fewer samples hold the same band.
        let small = fft::good_length(2 * keep + keep / 8);
        let ratio = small as f64 / n as f64;
        let frames = ((samples.len() as f64 * ratio) as usize).min(small);
        let back = |bins: &[Complex64]| {
            let mut x = fft::inverse(bins, small);
            x.truncate(frames);
            x.iter_mut().for_each(|v| *v *= ratio);
            x
        };
        let x = back(&bins);
        let (mains_hz, harmonics) = comb(&bins, spacing);
        for k in &harmonics {
            let f = f64::from(*k) * mains_hz;
            // Mains wander by some hundredths of a hertz within a recording.
            let half = 0.5 + 0.05 * f64::from(*k);
            let low = ((f - half) / spacing) as usize;
            let high = ((f + half) / spacing) as usize + 1;
            if let Some(line) = bins.get_mut(low..high.min(keep)) {
                line.fill(Complex64::new(0.0, 0.0));
            }
        }
        let bare = if harmonics.is_empty() { x.clone() } else { back(&bins) };
        Some(Band {
            rate: rate * ratio,
            x,
            bare,
            mains_hz,
            harmonics,
        })
    }

    pub fn seconds(&self) -> f64 {
        self.x.len() as f64 / self.rate
    }

    /// `seconds` from `at_s` on, less the hum as it was in the flank before; `None` where that reaches beyond the recording.
    pub fn piece(&self, at_s: f64, seconds: f64) -> Option<Vec<f64>> {
        let at = (at_s * self.rate).round();
        let length = (seconds * self.rate).round() as usize;
        // Whole periods of the mains, over which its harmonics do not mix.
        let flank = ((FLANK_S * self.mains_hz).floor() / self.mains_hz * self.rate).round() as usize;
        if at < flank as f64 {
            return None;
        }
        let at = at as usize;
        let before = self.x.get(at - flank..at)?;
        let mut out = self.x.get(at..at.checked_add(length)?)?.to_vec();
        // Where lines stand out at all, those that the taps hide in the spectrum are there as well.
        let lines = HARMONICS.filter(|_| !self.harmonics.is_empty());
        for k in lines {
            let step = std::f64::consts::TAU * f64::from(k) * self.mains_hz / self.rate;
            let turn = Complex64::from_polar(1.0, step);
            let mut p = Complex64::from_polar(1.0, -step * flank as f64);
            let mut sum = Complex64::new(0.0, 0.0);
            for v in before {
                sum += p.conj() * v;
                p *= turn;
            }
            let amplitude = sum * (2.0 / flank as f64);
            let mut p = amplitude;
            for v in &mut out {
                *v -= p.re;
                p *= turn;
            }
        }
        Some(out)
    }
}

/// Before each piece, where the hum is taken from.
pub const FLANK_S: f64 = 0.22;

fn weight(f: f64) -> f64 {
    let rise =
        |x: f64, [a, b]: [f64; 2]| 0.5 - 0.5 * (std::f64::consts::PI * ((x - a) / (b - a)).clamp(0.0, 1.0)).cos();
    rise(f / LOW_HZ, EDGE) * (1.0 - rise(f / HIGH_HZ, TOP_EDGE))
}

/// The mains frequency within 1 % of 50 or 60 Hz that explains most lines, and its harmonics that stand out.
fn comb(bins: &[Complex64], spacing: f64) -> (f64, Vec<u32>) {
    let around = ((AROUND_HZ / spacing) as usize).max(8);
    let typical = |k: u32, centre: f64| {
        let middle = (f64::from(k) * centre / spacing) as usize;
        let near = bins.get(middle.saturating_sub(around)..(middle + around).min(bins.len()));
        let mut near: Vec<f64> = near.unwrap_or_default().iter().map(|b| b.norm_sqr()).collect();
        let half = near.len() / 2;
        if near.is_empty() {
            return f64::INFINITY;
        }
        let (_, median, _) = near.select_nth_unstable_by(half, f64::total_cmp);
        median.max(f64::MIN_POSITIVE)
    };
    // How far a line stands above its neighbours, its own bin and the next ones counted.
    let stands = |f: f64, typical: f64| {
        let i = (f / spacing).round() as usize;
        let line = bins.get(i.saturating_sub(1)..i + 2).unwrap_or_default();
        line.iter().map(|b| b.norm_sqr()).sum::<f64>() / typical
    };
    let mut best = (50.0, 0.0, Vec::new());
    for centre in [50.0, 60.0] {
        let levels: Vec<(u32, f64)> = HARMONICS.map(|k| (k, typical(k, centre))).collect();
        for step in -500..=500 {
            let mains = centre * (1.0 + 2e-5 * f64::from(step));
            let each = levels
                .iter()
                .map(|(k, t)| (1.0 + stands(f64::from(*k) * mains, *t)).ln());
            let score: f64 = each.sum();
            if score > best.1 {
                let found = levels.iter().filter(|(k, t)| stands(f64::from(*k) * mains, *t) > LINE);
                best = (mains, score, found.map(|l| l.0).collect());
            }
        }
    }
    (best.0, best.2)
}
