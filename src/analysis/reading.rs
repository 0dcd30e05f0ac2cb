//! The reading: from fits to the figures that a record keeps.

use std::collections::BTreeMap;

use super::budget::{self, Sums};
use super::curve::{self, DB, Misfit, Point};
use super::fits::Fits;
use super::prepare::Prepared;
use super::{Work, findings, open};
use crate::estimate::Estimate;
use crate::fit::kind::{Kind, Metal};
use crate::fit::model::Param;
use crate::fit::natural::{self, Meaning, Resonance as Resonant};
use crate::fit::{Fitted, peak};
use crate::record::knock;
use crate::record::{Code, Definition, Eddy, Fit, Level, Model, Nuisance, PeakFrom, Plain, Resonance};

/// Standard uncertainties above which a reading is called weak.
const WEAK_F0: f64 = 0.005;
const WEAK_Q: f64 = 0.04;
/// Half of the band, as a factor, from which the answer at 1 kHz is taken.
const ABOUT: f64 = 1.05;
/// A response with a narrow peak can follow chance by about twice the logarithm of the number of bins; this is far above.
const LEAST_EXPLAINED: f64 = 100.0;

/// All of a curve.
const WHOLE: [f64; 2] = [0.0, f64::INFINITY];

/// The measured curve, and how the model stands to it.
pub(super) struct Held<'a> {
    /// What is shown, and its natural resonance.
    pub shown: &'a Fitted,
    pub points: Vec<Point>,
    /// How the plain model misses the points.
    miss_plain: Misfit,
    /// Whether no model follows them.
    missed: bool,
    /// Level at low frequency, and its uncertainty in dB.
    pub low: (f64, f64),
}

impl<'a> Held<'a> {
    fn new(p: &Prepared, fits: &'a Fits, natural: &Resonant) -> Self {
        let shown = fits.best();
        let points = curve::measure(&p.bins, p.setup.band, shown);
        let missed = curve::misfit(&points, WHOLE, |hz| shown.shape(hz)).matters();
        Held {
            shown,
            miss_plain: curve::misfit(&points, WHOLE, |hz| fits.plain.shape(hz)),
            missed,
            // Where no model fits, its level is no level of this pickup: the curve's own lows are taken then.
            low: curve::low_level(&points, (natural.level.value, natural.f0.value), missed),
            points,
        }
    }

    /// How the model that is shown misses the points of a band.
    pub fn miss(&self, from: f64, to: f64) -> Misfit {
        curve::misfit(&self.points, [from, to], |hz| self.shown.shape(hz))
    }

    /// Frequency and height of the peak: the model's own; of the curve itself where no model follows it.
    fn peak(&self, band: [f64; 2], own: Option<&peak::Shown>) -> (Option<(Estimate, Estimate)>, PeakFrom) {
        match self.missed.then(|| self.curve_peak(band)).flatten() {
            Some(peak) => (Some(peak), PeakFrom::Curve),
            None => (own.map(|p| (p.hz, p.db)), PeakFrom::Model),
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
        let model = |f: f64| level(self.shown.shape(f).norm());
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
        let (plain, shown) = (&fits.plain, fits.best());
        if shown.explained(&p.bins) < LEAST_EXPLAINED {
            return self.raise(findings::no_signal());
        }
        if open::winding_is_open(p, plain) {
            return self.raise(findings::open_winding());
        }
        let Some(natural) = natural::of(shown) else {
            return self.raise(findings::no_fit(self.heard(p)));
        };
        let held = Held::new(p, fits, &natural);
        let own = peak::estimate(shown);
        let (peak, peak_from) = held.peak(p.setup.band, own.as_ref());
        let way = self.other_way(fits);
        let of_peak = budget::Top {
            own,
            shown: peak,
            from: peak_from,
        };
        let sums = budget::of(&fits.climb, &natural, &of_peak, way.as_ref());
        self.judge_ways(way.as_ref(), &natural);
        self.judge_fit(&held, &sums.next, sums.peak.map(|p| p.0.value));
        if peak.is_none() {
            self.raise(findings::no_peak());
        }
        self.judge_edge(p, sums.f0.value, sums.peak.map(|p| p.0.value));
        let (wf, wq) = (sums.f0.u_noise / sums.f0.value, sums.q.u_noise / sums.q.value);
        if wf > 0.1 || wq > 0.3 {
            self.raise(findings::no_fit(self.heard(p)));
        } else if wf > WEAK_F0 || wq > WEAK_Q {
            self.raise(findings::low_snr(100.0 * wf, 100.0 * wq));
        }
        self.judge_time(p, &fits.lines, shown);
        self.judge_noise(p, fits, shown, sums.f0.value);
        // A knock may bend the curve into any shape.
        let disturbed = (self.raised(Code::Transient) || self.raised(Code::Dropout)) && shown.scatter > 2.0;
        if let Some(at) = curve::dip(&held.points, held.low.0).filter(|_| !disturbed) {
            self.raise(findings::coils_cancel(at));
        }
        match self.options.chain.input_ohm {
            Some(ohm) if ohm < 200e3 => self.raise(findings::input_loading(ohm, Level::Warning)),
            Some(ohm) if ohm < 3e6 => self.raise(findings::input_loading(ohm, Level::Note)),
            _ => {}
        }
        self.say_chain(p, fits);
        self.out.resonance = Some(self.resonance(shown, &sums, &natural, peak_from));
        self.out.fit = Some(self.fit_of(p, fits, &held));
        self.out.budget = Some(sums.budget);
        self.out.curve = Some(curve::to_record(&held.points, held.low.0));
        self.out.answer_db = answer_at_reference(shown);
    }

    /// What the fit says of the chain and of metal, in a line each.
    fn say_chain(&mut self, p: &Prepared, fits: &Fits) {
        let shown = fits.best();
        // AC-coupling corners that ended at the end of their range are no corners: something else bends the lows.
        let wall = |p: &Param| matches!(p, Param::AcDifference | Param::AcSum);
        if shown.rung.kind.metal == Metal::None && shown.at_bound.iter().any(wall) {
            self.note(
                "the inputs' AC coupling came out at the end of its range: state ac_pickup_hz and ac_reference_hz in the rig file",
            );
        }
        if self.options.model.kind().is_some_and(|k| k != shown.rung.kind) {
            self.note("the model that was asked for is not to be had from this take: the second-order model is shown");
        }
        for n in &p.setup.nuisance {
            if let (Some(found), Some((said, _))) = (shown.contradicts(n), n.prior) {
                self.note(&contradiction(n.param, said, found));
            }
        }
        match chain_fault(shown) {
            // What two coils that cancel do to a curve is no skew.
            Some(Looks::Lead(_)) if self.raised(Code::CoilsCancel) => {}
            Some(Looks::Lead(seconds)) => {
                let doubtful = shown.rung.kind.metal > Metal::Turn && seconds.abs() > DOUBTFUL_S;
                let level = if doubtful { Level::Warning } else { Level::Note };
                self.raise(findings::inputs_apart(seconds, level));
            }
            Some(Looks::RollOff) => self.note("metal shapes this curve, or one input rolls off earlier than the other"),
            Some(Looks::Low) => {
                self.note("something below 200 Hz bends this curve: the pickup on the reference's input, or hum")
            }
            None if shown.rung.kind.metal != Metal::None => self.note("metal shapes this curve"),
            None => {}
        }
    }

    /// The reading.
    fn resonance(&self, shown: &Fitted, sums: &Sums, natural: &Resonant, peak_from: PeakFrom) -> Resonance {
        let chain = self.options.chain;
        let turned = shown.get(Param::Gain).is_some_and(|g| g < 0.0);
        let channels = chain.gain.1.unwrap_or(0.0);
        let of_gain = |v: f64| v / chain.gain.0;
        let level = natural.level;
        let gain = of_gain(level.value);
        let (u, un) = (of_gain(level.u).hypot(gain * channels), of_gain(level.u_noise));
        // Without a reference channel the level is that of the output's volume knob.
        let referred = self.take.reference.is_some();
        let level_db = Estimate::new(20.0 * gain.log10(), DB * u / gain, DB * un / gain);
        let mutual_h = chain.ohm.filter(|_| referred).and_then(|(ohm, rel)| {
            let value = gain * ohm;
            let tolerance = value * rel.unwrap_or(0.0);
            Estimate::new(value, (u * ohm).hypot(tolerance), un * ohm)
        });
        Resonance {
            f0_hz: sums.f0,
            q: sums.q,
            local: natural.meaning == Meaning::Local,
            corr_f0_q: sums.corr,
            peak_hz: sums.peak.map(|p| p.0),
            peak_db: sums.peak.map(|p| p.1),
            peak_from,
            mutual_h,
            polarity: if turned { -1 } else { 1 } * chain.sign.unwrap_or(1),
            polarity_referenced: chain.sign.is_some(),
            level_db: level_db.filter(|_| referred),
            definition: match natural.meaning {
                Meaning::Plain => Definition::Plain,
                Meaning::Natural => Definition::Pole,
                Meaning::Local => Definition::Local,
            },
            u_lay: None,
            u_day: None,
        }
    }

    fn fit_of(&self, p: &Prepared, fits: &Fits, held: &Held) -> Fit {
        let shown = held.shown;
        let plain = natural::of(&fits.plain).map(|n| Plain { f0_hz: n.f0, q: n.q });
        Fit {
            model: model_of(shown.rung.kind),
            plain,
            shift_s: shown.lead(),
            band_hz: p.setup.band,
            bins: fits.plain.bins as u64,
            reduced_chi2: fits.plain.reduced_chi2,
            rms_residual_db: held.miss_plain.rms_db,
            eddy: Some(shown)
                .filter(|f| f.rung.kind == Kind::of(Metal::Turn))
                .and_then(|f| eddy_record(f, &fits.plain)),
            nuisance: nuisance(shown, p),
            noise_from: if p.noise_from_silence { "silence" } else { "residuals" }.into(),
        }
    }
}

fn model_of(kind: Kind) -> Model {
    match (kind.metal, kind.other) {
        (Metal::None, false) => Model::SecondOrder,
        (Metal::Turn, false) => Model::Turn,
        (Metal::Core, false) => Model::Metal,
        (Metal::CoreAndSheet, false) => Model::MetalLoop,
        (Metal::None, true) => Model::SecondOrderOther,
        (Metal::Turn, true) => Model::TurnOther,
        (Metal::Core, true) => Model::MetalOther,
        (Metal::CoreAndSheet, true) => Model::MetalLoopOther,
    }
}

/// What a model of metal stands for where it is none.
enum Looks {
    /// The pickup's channel ahead of the reference's by so many seconds, or behind it where negative.
    Lead(f64),
    /// A turn so quick that a roll-off of one input does the same.
    RollOff,
    /// Something at the lowest frequencies.
    Low,
}

/// A lead or lag this long is said; clean metal alone gives up to half of it.
const SAID_S: f64 = 0.4e-6;
/// A lead or lag beyond this beside metal may be neither, but a coupling of the exciter into the coil.
const DOUBTFUL_S: f64 = 1e-6;
/// Time constants between which metal lies: below, a lag of the inputs looks like it; above, what happens below 200 Hz.
const QUICK_S: f64 = 5e-6;
const SLOW_S: f64 = 5e-3;
/// A share of all but all.
const NEARLY_ONE: f64 = 0.97;

/// What the rig file says against what the take asks for.
fn contradiction(param: Param, said: f64, found: f64) -> String {
    let (key, unit, scale) = match param {
        Param::AcPickup => ("ac_pickup_hz", "Hz", 1.0),
        Param::AcReference => ("ac_reference_hz", "Hz", 1.0),
        Param::AcOutput => ("ac_output_hz", "Hz", 1.0),
        Param::Delay => ("delay_s", "us", 1e6),
        _ => ("series_ohm or inductance_h (the exciter's corner)", "kHz", 1e-3),
    };
    let shown = |v: f64| match param {
        Param::InverseCorner => scale / v,
        _ => scale * v,
    };
    format!(
        "the rig file's {key} says {:.4} {unit}, this take asks for {:.4} {unit}: measure it again, or widen its tolerance",
        shown(said),
        shown(found)
    )
}

fn chain_fault(fit: &Fitted) -> Option<Looks> {
    if let Some(lead) = fit.lead().filter(|l| l.value.abs() > SAID_S) {
        return Some(Looks::Lead(lead.value));
    }
    if let Some(pole) = fit.get(Param::Pole) {
        let tau = pole / fit.model.w_ref();
        return match tau {
            _ if tau > SLOW_S => Some(Looks::Low),
            _ if tau < QUICK_S => Some(Looks::RollOff),
            _ => None,
        };
    }
    let tau = fit.get(Param::CoreLnTau)?.exp();
    let (l, emf) = (fit.get(Param::CoreL)?, fit.get(Param::CoreEmf)?);
    match (l > NEARLY_ONE, emf > NEARLY_ONE) {
        (true, _) if tau < QUICK_S => Some(Looks::Lead(tau)),
        (_, true) if tau < QUICK_S => Some(Looks::Lead(-tau)),
        _ => None,
    }
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

/// The shorted turn as one pole and one zero beside a second-order response.
fn eddy_record(turn: &Fitted, plain: &Fitted) -> Option<Eddy> {
    let n = natural::of(turn)?;
    let seconds = |p: Param| {
        let known = turn.known(p)?;
        let k = 1.0 / turn.model.w_ref();
        Estimate::new(known.value * k, known.u * k, known.u_noise * k)
    };
    let delta_bic = (turn.cost - plain.cost) / turn.excess() + 2.0 * plain.data.max(2.0).ln();
    Some(Eddy {
        f0_hz: n.f0,
        q: n.q,
        pole_s: seconds(Param::Pole)?,
        zero_s: seconds(Param::Zero)?,
        delta_bic: delta_bic.is_finite().then_some(delta_bic)?,
        reduced_chi2: turn.reduced_chi2,
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
    let total = fit.total();
    let row = |(name, param): (&str, Param)| {
        let turn = |v: f64| if param == Param::InverseCorner { 1.0 / v } else { v };
        let fitted = fit.model.index(param);
        let stated = Some(p.setup.fixed.get(param)).filter(|v| *v != 0.0);
        let value = turn(fitted.map(|i| fit.theta[i]).or(stated)?);
        let u = fitted.map(|i| (turn(fit.theta[i] + total[(i, i)].max(0.0).sqrt()) - value).abs());
        let u = u.filter(|u| u.is_finite());
        value.is_finite().then(|| (name.to_string(), Nuisance { value, u }))
    };
    table.into_iter().filter_map(row).collect()
}
