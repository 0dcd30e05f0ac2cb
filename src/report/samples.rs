//! Made-up records for the tests of this module.

use crate::estimate::Estimate;
use crate::record::*;

pub fn e(value: f64, u: f64, u_noise: f64) -> Estimate {
    Estimate { value, u, u_noise }
}

/// Even spread in -1...1, always the same.
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub fn roll(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }

    /// Nearly normal, standard deviation 1.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.roll()).sum::<f64>() / 2.0
    }
}

pub fn second_order_db(f: f64, f0: f64, q: f64) -> f64 {
    let x = f / f0;
    -10.0 * ((1.0 - x * x).powi(2) + (x / q).powi(2)).log10()
}

pub struct Recipe {
    pub name: &'static str,
    pub f0: f64,
    pub q: f64,
    /// Scatter of the curve at 1 kHz in dB.
    pub scatter_db: f64,
    /// Smooth misfit of the model in dB.
    pub bump_db: f64,
    pub seed: u64,
}

impl Default for Recipe {
    fn default() -> Self {
        Recipe {
            name: "Bridge, batch 4 no. 12",
            f0: 3512.4,
            q: 2.95,
            scatter_db: 0.01,
            bump_db: 0.0,
            seed: 1,
        }
    }
}

impl Recipe {
    pub fn record(&self) -> Record {
        let mut dice = Dice::new(self.seed);
        let mut curve = Curve::default();
        let mut f = 20.0;
        while f <= 20_000.0 * 1.0001 {
            let model = second_order_db(f, self.f0, self.q);
            // More noise where the pickup's signal is small.
            let u = self.scatter_db * (1.0 + 300.0 / f + 10f64.powf(-model / 20.0) * 0.5);
            let bump = self.bump_db * ((f / self.f0).ln() * 2.0).sin();
            curve.freq_hz.push(f);
            curve.mag_db.push(model + bump + u * dice.normal());
            curve.phase_deg.push(-90.0);
            curve.u_db.push(u);
            curve.model_db.push(model);
            f *= 2f64.powf(1.0 / 24.0);
        }
        let s = self.scatter_db;
        let (f0, q) = (self.f0, self.q);
        let has_peak = q > 0.5f64.sqrt();
        let peak_hz = has_peak.then(|| f0 * (1.0 - 0.5 / (q * q)).sqrt());
        let peak_db = has_peak.then(|| 20.0 * (q / (1.0 - 0.25 / (q * q)).sqrt()).log10());
        let findings = if has_peak {
            vec![]
        } else {
            vec![Finding {
                code: Code::NoPeak,
                level: Level::Note,
                text: "the response has no maximum: the load damps the coil too much".into(),
            }]
        };
        Record {
            schema: SCHEMA.into(),
            id: format!("{:016x}", self.seed),
            taken_at: "2026-01-31T14:05:09+01:00".into(),
            tool_version: "0.1.0".into(),
            pickup: Pickup {
                name: self.name.into(),
                ..Pickup::default()
            },
            rig: RigSummary {
                given: true,
                name: Some("north bench".into()),
                hash: Some("0123456789abcdef".into()),
                open: Vec::new(),
                values: [
                    ("input.resistance_ohm", 1.0e6),
                    ("input.capacitance_f", 60e-12),
                    ("input.lead_capacitance_f", 90e-12),
                ]
                .into_iter()
                .map(|(k, v)| (k.to_string(), serde_json::json!(v)))
                .collect(),
            },
            load: Some(LoadSummary {
                text: "vol=250k@1 tone=250k+22n@1 cable=5m@100p/m".into(),
            }),
            drive: None,
            capture: CaptureSummary {
                rate_hz: 96_000,
                channels: 2,
                frames: 480_000,
                peak_dbfs: Some(-9.1),
                snr_db: Some(52.0),
                hum_db: Some(-48.0),
                source: "live".into(),
                ..CaptureSummary::default()
            },
            resonance: Some(Resonance {
                f0_hz: e(f0, f0 * s * 0.05, f0 * s * 0.01),
                q: e(q, q * s * 0.2, q * s * 0.05),
                local: false,
                corr_f0_q: -0.2,
                peak_hz: peak_hz.map(|p| e(p, p * s * 0.05, p * s * 0.01)),
                peak_db: peak_db.map(|p| e(p, 1.8 * s, 0.5 * s)),
                peak_from: PeakFrom::Model,
                mutual_h: Some(e(5.123e-3, 0.035e-3, 0.002e-3)),
                polarity: 1,
                polarity_referenced: true,
                level_db: Some(e(-45.8, 0.06, 0.004)),
                definition: Definition::Plain,
                u_lay: None,
                u_day: None,
            }),
            fit: Some(Fit {
                model: Model::SecondOrder,
                plain: None,
                shift_s: None,
                band_hz: [300.0, 12_000.0],
                bins: 18_500,
                reduced_chi2: 1.02,
                rms_residual_db: 0.03,
                eddy: None,
                nuisance: [("ac_pickup_hz", 2.71, Some(0.02)), ("delay_s", 0.0, None)]
                    .into_iter()
                    .map(|(k, value, u)| (k.to_string(), Nuisance { value, u }))
                    .collect(),
                noise_from: "silence".into(),
            }),
            budget: None,
            curve: Some(curve),
            verdict: Verdict::from_findings(&findings),
            findings,
            notes: vec![],
            repeats: vec![],
            noted: vec![],
            knock: None,
        }
    }
}

/// A coil with a metal cover: the second-order model misses, the richer one fits.
pub fn eddy() -> Record {
    let mut r = Recipe {
        name: "Covered neck coil",
        f0: 2900.0,
        q: 1.4,
        scatter_db: 0.02,
        bump_db: 0.4,
        seed: 5,
    }
    .record();
    if let Some(f) = r.fit.as_mut() {
        f.model = Model::Eddy;
        f.reduced_chi2 = 37.2;
        f.rms_residual_db = 0.28;
        f.eddy = Some(Eddy {
            f0_hz: e(2950.0, 4.0, 0.6),
            q: e(1.61, 0.01, 0.002),
            pole_s: e(12.1e-6, 0.3e-6, 0.2e-6),
            zero_s: e(8.4e-6, 0.3e-6, 0.2e-6),
            delta_bic: -3521.2,
            reduced_chi2: 1.04,
        });
    }
    r.findings = vec![Finding {
        code: Code::PoorFit,
        level: Level::Warning,
        text: "the plain coil model misses the curve by 0.28 dB, a sign of metal near the winding".into(),
    }];
    r.verdict = Verdict::from_findings(&r.findings);
    r
}

/// Seven of eight taps, two peaks.
pub fn knock() -> knock::Knock {
    use knock::{Knock, KnockPeak, KnockSpectrum, LeftOut, Tap};
    let freq_hz: Vec<f64> = (0..160).map(|i| 100.0 * 2f64.powf(f64::from(i) / 24.0)).collect();
    let at = |f: f64, f0: f64, q: f64| second_order_db(f, f0, q);
    Knock {
        taps: 8,
        used: 7,
        level_db: e(-12.31, 0.62, 0.62),
        noise_db: -48.2,
        peaks: vec![
            KnockPeak {
                hz: e(621.3, 0.4, 0.2),
                level_db: e(-14.2, 0.7, 0.7),
                decay_s: Some(e(0.0182, 0.0003, 0.0003)),
            },
            KnockPeak {
                hz: e(2301.0, 2.1, 1.0),
                level_db: e(-21.0, 0.8, 0.8),
                decay_s: None,
            },
        ],
        single: (0..8)
            .map(|i| Tap {
                at_s: 1.0 + 1.1 * f64::from(i),
                level_db: (i != 3).then(|| e(-12.0 + 0.1 * f64::from(i), 0.02, 0.02)),
                left_out: (i == 3).then_some(LeftOut::Clipped),
            })
            .collect(),
        spectrum: KnockSpectrum {
            level_db: freq_hz
                .iter()
                .map(|f| -28.0 + at(*f, 621.3, 20.0).max(at(*f, 2301.0, 20.0) - 9.0).max(-35.0))
                .collect(),
            u_db: vec![0.7; freq_hz.len()],
            noise_db: vec![-66.0; freq_hz.len()],
            freq_hz,
        },
        take: Some("knock.wav".into()),
    }
}

pub fn rejected() -> Record {
    let mut r = Recipe::default().record();
    r.resonance = None;
    r.fit = None;
    r.curve = None;
    r.findings = vec![
        Finding {
            code: Code::Hum,
            level: Level::Warning,
            text: "mains hum carries 3 % of the signal's power".into(),
        },
        Finding {
            code: Code::NoSignal,
            level: Level::Reject,
            text: "the pickup channel holds no answer to the test signal; is the pickup connected and the exciter over it?"
                .into(),
        },
    ];
    r.verdict = Verdict::Rejected;
    r
}

pub fn simulated() -> Record {
    let mut r = Recipe::default().record();
    r.capture.source = "sim".into();
    r.capture.simulated = true;
    r.notes = vec!["simulated".into()];
    r
}
