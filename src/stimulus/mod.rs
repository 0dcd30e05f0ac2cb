//! Test signals: from settings to samples. No I/O; the same settings give the same samples, bit for bit.

use serde::{Deserialize, Serialize};

use crate::failure::Result;

mod noise;
pub mod probe;
mod settings;
mod sweep;

pub use settings::{Settings, Shape, Tilt};

pub const SCHEMA: &str = "coilwright/drive/1";

/// Silence before the signal: long enough to measure noise and hum from it.
pub const LEAD_S: f64 = 0.6;
/// Silence after it: the pickup rings out, and more noise is measured.
pub const TAIL_S: f64 = 0.4;

/// What was made: the description beside the WAV, from which the samples can be made again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Description {
    pub schema: String,
    /// Active signal as made: bent to the nearest synchronous duration, or to whole periods.
    #[serde(flatten)]
    pub settings: Settings,
    pub lead_s: f64,
    pub tail_s: f64,
    pub frames: u64,
    /// Samples in one of the two sweeps or in one period of the noise (as played, possibly fractional for a sweep).
    pub period_samples: f64,
    pub periods: u32,
}

/// A drive signal with its description.
#[derive(Debug, Clone)]
pub struct Drive {
    pub description: Description,
    /// Full scale = 1.0, quantised to 24 bits so that file and memory agree.
    pub samples: Vec<f32>,
}

/// Makes the drive signal, silences included.
pub fn make(settings: &Settings) -> Result<Drive> {
    settings.check()?;
    let rate = f64::from(settings.rate_hz);
    let body = match settings.shape {
        Shape::Sweep => sweep::twice(settings),
        Shape::Noise => noise::periodic(settings)?,
    };
    let lead = (LEAD_S * rate).round() as usize;
    let tail = (TAIL_S * rate).round() as usize;
    let amplitude = 10f64.powf(settings.level_dbfs / 20.0);
    let top = body.samples.iter().fold(0.0f64, |m, x| m.max(x.abs()));
    let scale = amplitude / top;
    let mut samples = vec![0f32; lead];
    samples.extend(body.samples.iter().map(|x| quantise(x * scale)));
    samples.resize(samples.len() + tail, 0.0);
    Ok(Drive {
        description: Description {
            schema: SCHEMA.into(),
            settings: Settings {
                seconds: body.seconds,
                ..*settings
            },
            lead_s: lead as f64 / rate,
            tail_s: tail as f64 / rate,
            frames: samples.len() as u64,
            period_samples: body.period_samples,
            periods: body.periods,
        },
        samples,
    })
}

/// Seconds of a round: its lines lie 5 Hz apart, so that both mains and their multiples fall on lines, which are left out, and on
/// nothing else.
const ROUND_S: f64 = 0.2;

/// Periodic noise that is played over and over: one period of it, and the lines that carry it.
#[derive(Debug, Clone)]
pub struct Round {
    pub rate_hz: u32,
    /// Full scale = 1.0.
    pub samples: Vec<f32>,
    /// Whether the line at so many cycles in a round is played.
    pub lines: Vec<bool>,
}

impl Round {
    pub fn seconds(&self) -> f64 {
        self.samples.len() as f64 / f64::from(self.rate_hz)
    }
}

/// Makes a round; of the settings' length and shape nothing counts.
pub fn round(settings: &Settings) -> Result<Round> {
    settings.check()?;
    let frames = 2 * (0.5 * ROUND_S * f64::from(settings.rate_hz)).round() as usize;
    let (x, lines) = noise::round(settings, frames)?;
    let top = x.iter().fold(0.0f64, |m, x| m.max(x.abs()));
    let scale = 10f64.powf(settings.level_dbfs / 20.0) / top;
    Ok(Round {
        rate_hz: settings.rate_hz,
        samples: x.iter().map(|x| quantise(x * scale)).collect(),
        lines,
    })
}

fn quantise(x: f64) -> f32 {
    const FULL: f64 = 8_388_608.0;
    ((x * FULL).round().clamp(-FULL, FULL - 1.0) / FULL) as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fft;

    #[test]
    fn a_drive_is_remade_bit_for_bit_from_its_description() {
        for shape in [Shape::Sweep, Shape::Noise] {
            for tilt in [Tilt::Flat, Tilt::Pink] {
                let s = Settings {
                    shape,
                    tilt,
                    seed: 7,
                    ..Settings::at_rate(48_000)
                };
                let a = make(&s).unwrap();
                let b = make(&a.description.settings).unwrap();
                assert_eq!(a.samples, b.samples);
                assert_eq!(a.description, b.description);
                let peak = a.samples.iter().fold(0f32, |m, x| m.max(x.abs()));
                assert!((20.0 * peak.log10() + 12.0).abs() < 1e-4);
                let lead = (LEAD_S * 48_000.0) as usize;
                assert!(
                    a.samples[..lead].iter().all(|x| *x == 0.0)
                        && a.samples[lead..lead + 500].iter().any(|x| *x != 0.0)
                );
            }
        }
    }

    /// Closed form of the spectrum of the synchronised sweep: Novak, Lotton, Simon, J. Audio Eng. Soc. 63 (2015) 786:
    /// (1/2) sqrt(L/f) exp(j 2 pi f L (1 - ln(f/f1)) - j pi/4).
    #[test]
    fn sweep_spectrum_follows_the_published_closed_form() {
        let s = Settings {
            seconds: 12.0,
            level_dbfs: 0.0,
            ..Settings::at_rate(96_000)
        };
        let (body, l) = sweep::once(&s);
        let rate = 96_000.0;
        let n = fft::good_length(body.len() + 96_000);
        let x = fft::forward(body.iter().copied(), n, n / 4);
        let mut worst: f64 = 0.0;
        for k in 1..x.len() {
            let f = k as f64 * rate / n as f64;
            if !(100.0..15_000.0).contains(&f) {
                continue;
            }
            let phase = std::f64::consts::TAU * f * l * (1.0 - (f / s.from_hz).ln()) - std::f64::consts::FRAC_PI_4;
            let want = num_complex::Complex64::from_polar(0.5 * (l / f).sqrt(), phase);
            worst = worst.max((x[k] / rate - want).norm() / want.norm());
        }
        // The closed form is the stationary-phase value; fades and the two ends leave a ripple of this size.
        assert!(worst < 0.02, "{worst}");
    }

    #[test]
    fn periodic_noise_repeats_itself_keeps_off_the_mains_and_has_a_low_crest() {
        let s = Settings {
            shape: Shape::Noise,
            ..Settings::at_rate(48_000)
        };
        let d = make(&s).unwrap();
        let p = d.description.period_samples as usize;
        let lead = (LEAD_S * 48_000.0) as usize;
        let mid = &d.samples[lead + p..lead + 2 * p];
        assert_eq!(mid, &d.samples[lead + 2 * p..lead + 3 * p]);
        let x = fft::forward(mid.iter().map(|x| f64::from(*x)), p, p / 2);
        let at = |f: f64| x[(f * p as f64 / 48_000.0).round() as usize].norm();
        for mains in [50.0, 60.0] {
            for k in 1..=25 {
                assert!(at(mains * f64::from(k)) < 1e-3 * at(333.0), "{mains} x {k}");
            }
        }
        let rms = (mid.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / p as f64).sqrt();
        let crest = 10f64.powf(-12.0 / 20.0) / rms;
        // Random phases give about 4.3 for this many lines.
        assert!(crest < 3.0, "{crest}");
    }

    #[test]
    fn a_round_has_its_level_and_no_line_on_the_mains() {
        for rate_hz in [44_100, 48_000, 96_000] {
            let r = round(&Settings::at_rate(rate_hz)).unwrap();
            let n = r.samples.len();
            assert!((r.seconds() - 0.2).abs() < 1e-3);
            let peak = r.samples.iter().fold(0f32, |m, x| m.max(x.abs()));
            assert!((20.0 * peak.log10() + 12.0).abs() < 1e-4);
            let x = fft::forward(r.samples.iter().map(|x| f64::from(*x)), n, n / 2);
            let power = |k: usize| x[k].norm_sqr();
            let played: f64 = (0..n / 2).filter(|k| r.lines[*k]).map(power).sum();
            let rest: f64 = (0..n / 2).filter(|k| !r.lines[*k]).map(power).sum();
            assert!(rest < 1e-9 * played, "{rest} {played}");
            // 5 Hz apart: 50, 60, 100, 120 Hz are lines 10, 12, 20, 24.
            assert!([10, 12, 20, 24].iter().all(|k| !r.lines[*k]) && r.lines[11] && r.lines[21]);
        }
    }

    #[test]
    fn impossible_drives_are_refused_by_name() {
        let ok = Settings::at_rate(48_000);
        for (s, word) in [
            (Settings { to_hz: 30_000.0, ..ok }, "--to"),
            (Settings { seconds: 0.0, ..ok }, "--seconds"),
            (Settings { level_dbfs: 3.0, ..ok }, "--level"),
            (Settings { from_hz: 0.0, ..ok }, "--from"),
            (Settings { rate_hz: 100, ..ok }, "--rate"),
            (
                Settings {
                    seconds: f64::NAN,
                    ..ok
                },
                "--seconds",
            ),
        ] {
            let e = make(&s).unwrap_err().to_string();
            assert!(e.contains(word), "{e}");
        }
    }
}
