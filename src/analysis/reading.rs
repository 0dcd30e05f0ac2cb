//! The reading: from fits to the figures that a record keeps.

use std::collections::BTreeMap;

use nalgebra::DMatrix;

use super::curve::{self, DB, Misfit, Point};
use super::fits::{Fits, sound};
use super::prepare::Prepared;
use super::{Choice, Work, findings, open};
use crate::estimate::Estimate;
use crate::fit::model::{Param, f0_q};
use crate::fit::{Fitted, Kind, peak};
use crate::record::knock;
use crate::record::{Code, Definition, Eddy, Fit, Level, Model, Nuisance, PeakFrom, Resonance};

/// Standard uncertainties above which a reading is called weak.
const WEAK_F0: f64 = 0.005;
const WEAK_Q: f64 = 0.04;
/// Half of the band, as a factor, from which the answer at 1 kHz is taken.
const ABOUT: f64 = 1.05;
/// A response with a narrow peak can follow chance by about twice the logarithm of the number of bins; this is far above.
const LEAST_EXPLAINED: f64 = 100.0;

/// f0 and Q of a fit with their uncertainties and correlation.
pub(super) struct Headline {
    pub f0: Estimate,
    pub q: Estimate,
    pub corr: f64,
}

fn headline(fit: &Fitted) -> Option<Headline> {
    let (i1, i2) = (fit.model.index(Param::B1)?, fit.model.index(Param::B2)?);
    let (b1, b2) = (fit.theta[i1], fit.theta[i2]);
    let (f0, q) = f0_q(fit.model.f_ref, b1, b2);
    let df = [0.0, -0.5 * f0 / b2];
    let dq = [-q / b1, 0.5 * q / b2];
    let cov = |c: &DMatrix<f64>, a: [f64; 2], b: [f64; 2]| {
        a[0] * b[0] * c[(i1, i1)] + (a[0] * b[1] + a[1] * b[0]) * c[(i1, i2)] + a[1] * b[1] * c[(i2, i2)]
    };
    let sd = |c: &DMatrix<f64>, a: [f64; 2]| cov(c, a, a).max(0.0).sqrt();
    let corr = cov(&fit.total, df, dq) / (sd(&fit.total, df) * sd(&fit.total, dq)).max(f64::MIN_POSITIVE);
    Some(Headline {
        f0: Estimate::new(f0, sd(&fit.total, df), sd(&fit.noise, df))?,
        q: Estimate::new(q, sd(&fit.total, dq), sd(&fit.noise, dq))?,
        corr: if corr.is_finite() { corr.clamp(-1.0, 1.0) } else { 0.0 },
    })
}

/// The measured curve, and how the models stand to it.
pub(super) struct Held<'a> {
    pub second: &'a Fitted,
    /// What is shown.
    pub better: &'a Fitted,
    pub points: Vec<Point>,
    pub miss_second: Misfit,
    pub miss_better: Misfit,
    /// Level at low frequency, and its uncertainty in dB.
    pub low: (f64, f64),
}

impl<'a> Held<'a> {
    fn new(p: &Prepared, second: &'a Fitted, better: &'a Fitted) -> Self {
        let points = curve::measure(&p.bins, p.setup.band, better);
        let of = |f: &Fitted| curve::misfit(&points, |hz| f.shape(hz));
        let (miss_second, miss_better) = (of(second), of(better));
        Held {
            second,
            better,
            miss_second,
            miss_better,
            // Where no model fits, its level at 0 Hz is no level of this pickup: the curve's own lows are taken then.
            low: curve::low_level(&points, better, miss_better.matters()),
            points,
        }
    }

    /// Frequency and height of the peak; of the curve itself where even the better model misses it.
    fn peak(&self, band: [f64; 2]) -> (Option<(Estimate, Estimate)>, PeakFrom) {
        match self.curve_peak(band).filter(|_| self.miss_better.matters()) {
            Some(peak) => (Some(peak), PeakFrom::Curve),
            None => (peak::estimate(self.better), PeakFrom::Model),
        }
    }

    /// Peak of the measured curve above its lows.
    fn curve_peak(&self, band: [f64; 2]) -> Option<(Estimate, Estimate)> {
        let level = |g: f64| 20.0 * (g / self.low.0).log10();
        let near = |p: &Point| peak::Near {
            f: p.f,
            db: level(p.g.norm()),
            u_db: DB * p.u,
            model_db: level(p.model.norm()),
        };
        let told = |p: &peak::Near| p.db.is_finite() && p.model_db.is_finite() && p.u_db < 3.0;
        let list: Vec<peak::Near> = self.points.iter().map(near).filter(told).collect();
        let model = |f: f64| level(self.better.shape(f).norm());
        let p = peak::of_curve(&list, band[0].max(300.0), band[1], model).filter(|p| p.db > 0.0)?;
        Some((
            Estimate::new(p.hz, p.noise_hz.hypot(p.shape_hz), p.noise_hz)?,
            Estimate::new(p.db, p.noise_db.hypot(p.shape_db).hypot(self.low.1), p.noise_db)?,
        ))
    }
}

impl Work<'_> {
    /// Judges what was fitted, and fills in the record's parts.
    pub(super) fn report(&mut self, p: &Prepared, fits: &Fits) {
        let second = &fits.second;
        if explained(p, second) < LEAST_EXPLAINED {
            return self.raise(findings::no_signal());
        }
        if open::winding_is_open(p, second) {
            return self.raise(findings::open_winding());
        }
        let Some(head) = headline(second) else {
            return self.raise(findings::no_fit(self.heard(p)));
        };
        let better = self.shown(fits);
        let held = Held::new(p, second, better);
        let (peak, peak_from) = held.peak(p.setup.band);
        self.judge_fit(&held, peak.as_ref());
        if peak.is_none() {
            self.raise(findings::no_peak());
        }
        self.judge_edge(p, &head, peak.as_ref());
        let (wf, wq) = (head.f0.u_noise / head.f0.value, head.q.u_noise / head.q.value);
        if wf > 0.1 || wq > 0.3 {
            self.raise(findings::no_fit(self.heard(p)));
        } else if wf > WEAK_F0 || wq > WEAK_Q {
            self.raise(findings::low_snr(100.0 * wf, 100.0 * wq));
        }
        self.judge_time(p, &fits.lines, better);
        self.judge_noise(p, fits, better, head.f0.value);
        // A knock may bend the curve into any shape.
        let disturbed = (self.raised(Code::Transient) || self.raised(Code::Dropout)) && better.scatter > 2.0;
        if let Some(at) = curve::dip(&held.points, held.low.0).filter(|_| !disturbed) {
            self.raise(findings::coils_cancel(at));
        }
        match self.options.chain.input_ohm {
            Some(ohm) if ohm < 200e3 => self.raise(findings::input_loading(ohm, Level::Warning)),
            Some(ohm) if ohm < 3e6 => self.raise(findings::input_loading(ohm, Level::Note)),
            _ => {}
        }
        self.out.resonance = Some(Resonance {
            peak_hz: peak.map(|p| p.0),
            peak_db: peak.map(|p| p.1),
            peak_from,
            ..self.resonance(head, better)
        });
        self.out.fit = Some(self.fit_of(p, fits, &held));
        self.out.curve = Some(curve::to_record(&held.points, held.low.0));
        self.out.answer_db = answer_at_reference(better);
    }

    /// The fit that plot and peak come from.
    fn shown<'f>(&mut self, fits: &'f Fits) -> &'f Fitted {
        let eddy = fits.eddy.as_ref();
        let better = match self.options.model {
            Choice::SecondOrder => &fits.second,
            Choice::Eddy => eddy.unwrap_or(&fits.second),
            Choice::Better => fits.best(),
        };
        // AC-coupling corners that ended at the end of their range are no corners: something else bends the lows.
        let wall = |p: &Param| matches!(p, Param::AcDifference | Param::AcSum);
        if better.at_bound.iter().any(wall) {
            self.note(
                "the inputs' AC coupling came out at the end of its range: state ac_pickup_hz and ac_reference_hz in the rig file",
            );
        }
        if self.options.model == Choice::Eddy && eddy.is_none() {
            self.note("the eddy model is not to be had from this take: the second-order model is shown");
        }
        better
    }

    /// The reading but for its peak.
    fn resonance(&self, head: Headline, better: &Fitted) -> Resonance {
        let chain = self.options.chain;
        let gain = better.theta[0] / chain.gain.0;
        let u_gain = |c: &DMatrix<f64>| c[(0, 0)].max(0.0).sqrt() / chain.gain.0;
        let channels = gain.abs() * chain.gain.1.unwrap_or(0.0);
        let (u, un) = (u_gain(&better.total).hypot(channels), u_gain(&better.noise));
        // Without a reference channel the level is that of the output's volume knob.
        let referred = self.take.reference.is_some();
        let level_db = Estimate::new(20.0 * gain.abs().log10(), DB * u / gain.abs(), DB * un / gain.abs());
        let mutual_h = chain.ohm.filter(|_| referred).and_then(|(ohm, rel)| {
            let value = gain.abs() * ohm;
            let tolerance = value * rel.unwrap_or(0.0);
            Estimate::new(value, (u * ohm).hypot(tolerance), un * ohm)
        });
        let sign = if gain < 0.0 { -1 } else { 1 };
        Resonance {
            f0_hz: head.f0,
            q: head.q,
            corr_f0_q: head.corr,
            peak_hz: None,
            peak_db: None,
            peak_from: PeakFrom::Model,
            mutual_h,
            polarity: sign * chain.sign.unwrap_or(1),
            polarity_referenced: chain.sign.is_some(),
            level_db: level_db.filter(|_| referred),
            definition: Definition::Plain,
            u_lay: None,
            u_day: None,
        }
    }

    fn fit_of(&self, p: &Prepared, fits: &Fits, held: &Held) -> Fit {
        let eddy = fits.eddy.as_ref().zip(fits.delta_bic);
        let asked = self.options.model == Choice::Eddy;
        Fit {
            model: match held.better.kind {
                Kind::Eddy => Model::Eddy,
                Kind::SecondOrder => Model::SecondOrder,
            },
            band_hz: p.setup.band,
            bins: held.second.bins as u64,
            reduced_chi2: held.second.reduced_chi2,
            rms_residual_db: held.miss_second.rms_db,
            eddy: eddy
                .filter(|(e, d)| (*d < 0.0 && sound(e)) || asked)
                .and_then(|(e, d)| eddy_record(e, d)),
            nuisance: nuisance(held.better, p),
            noise_from: if p.noise_from_silence { "silence" } else { "residuals" }.into(),
        }
    }
}

/// How much of the pickup channel a fit explains, in units of chi-square.
fn explained(p: &Prepared, fit: &Fitted) -> f64 {
    let b = &p.bins;
    let gain = |i: usize| 2.0 * (b.y[i].norm_sqr() - fit.residuals[i].norm_sqr()) / (b.syy[i] * b.length);
    (0..b.len()).filter(|i| b.used[*i]).map(gain).sum::<f64>() / fit.excess()
}

/// Size of the response at [`knock::REFERENCE_HZ`] in dB: the model's, brought to the lines measured about it.
fn answer_at_reference(fit: &Fitted) -> Option<Estimate> {
    let f = knock::REFERENCE_HZ;
    let (mut sum, mut weight) = (0.0, 0.0);
    for g in fit.groups.iter().filter(|g| g.f > f / ABOUT && g.f < f * ABOUT) {
        let h = fit.response(g.f).norm();
        let w = g.weight * h * h;
        sum += w * g.h.norm() / h;
        weight += w;
    }
    let value = fit.response(f).norm() * sum / weight;
    // Half of the complex variance lies along the answer.
    let u = (0.5 / weight).sqrt() / (sum / weight);
    Estimate::new(20.0 * value.log10(), 8.686 * u, 8.686 * u)
}

fn eddy_record(e: &Fitted, delta_bic: f64) -> Option<Eddy> {
    let head = headline(e)?;
    let seconds = |p: Param| {
        let known = e.known(p)?;
        let k = 1.0 / (std::f64::consts::TAU * e.model.f_ref);
        Estimate::new(known.value * k, known.u * k, known.u_noise * k)
    };
    Some(Eddy {
        f0_hz: head.f0,
        q: head.q,
        pole_s: seconds(Param::Pole)?,
        zero_s: seconds(Param::Zero)?,
        delta_bic: delta_bic.is_finite().then_some(delta_bic)?,
        reduced_chi2: e.reduced_chi2,
    })
}

/// What was fitted besides the pickup, or else stated; what is nought is not there.
fn nuisance(fit: &Fitted, p: &Prepared) -> BTreeMap<String, Nuisance> {
    let table = [
        ("ac_mean_hz", Param::AcMean),
        ("ac_pickup_less_reference_hz", Param::AcDifference),
        ("ac_pickup_hz", Param::AcPickup),
        ("ac_reference_hz", Param::AcReference),
        ("ac_output_hz", Param::AcOutput),
        ("ac_sum_hz", Param::AcSum),
        ("ac_product_hz2", Param::AcProduct),
        ("exciter_corner_hz", Param::InverseCorner),
        ("delay_s", Param::Delay),
    ];
    let row = |(name, param): (&str, Param)| {
        let turn = |v: f64| if param == Param::InverseCorner { 1.0 / v } else { v };
        let fitted = fit.model.index(param);
        let stated = Some(p.setup.fixed.get(param)).filter(|v| *v != 0.0);
        let value = turn(fitted.map(|i| fit.theta[i]).or(stated)?);
        let u = fitted.map(|i| (turn(fit.theta[i] + fit.total[(i, i)].max(0.0).sqrt()) - value).abs());
        let u = u.filter(|u| u.is_finite());
        value.is_finite().then(|| (name.to_string(), Nuisance { value, u }))
    };
    table.into_iter().filter_map(row).collect()
}
