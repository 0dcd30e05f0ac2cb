//! What the numbers and the samples say about the take: findings, and the record's figures.

use num_complex::Complex64;

use super::curve::{self, DB, Misfit, Point};
use super::{Choice, Fits, Prepared, Work, estimate, findings, open};
use crate::estimate::Estimate;
use crate::fit::group::{self, Group};
use crate::fit::model::{Param, f0_q};
use crate::fit::{Fitted, Kind, peak};
use crate::record::{Code, Eddy, Fit, Level, Model, Nuisance, PeakFrom, Resonance};
use crate::transfer::faults::{self, Timeline};
use crate::transfer::lines;

/// An eddy model must be better by this much in the information criterion ("very strong", Kass and Raftery, JASA 90, 1995).
/// An event lies where the answer is strongest where it reaches this part of its peak within so many seconds.
const LOUDEST: f32 = 0.97;
const NEAR_S: f64 = 0.02;
/// Where the noise is told for comparing takes of one rig: clear of rumble and of the converter's filter.
const NOISE_HZ: [f64; 2] = [100.0, 10_000.0];
const CLEARLY_BETTER: f64 = -10.0;
/// Events this close after another belong to it.
const RINGS_S: f64 = 0.3;
/// Events this weak against the strongest are none of their own.
const STRAY: f64 = 0.01;
/// Coherence of an answer that nobody would call weak: about 20 dB over what is just heard.
const CLEARLY_HEARD: f64 = 100.0;
/// Standard uncertainties above which a reading is called weak.
const WEAK_F0: f64 = 0.005;
const WEAK_Q: f64 = 0.04;
/// Residual power while the drive is on over that in the silence: the answer is bent.
const DISTORTED: f64 = 6.0;
/// A signal that is this much weaker on one input than on the other leaks into it.
const LEAK_DB: f64 = 40.0;
/// Share of the answer's power that may be distortion before the take is refused.
const BADLY_BENT: f64 = 0.01;

/// f0 and Q of a fit with their uncertainties and correlation.
pub(super) struct Headline {
    pub f0: Estimate,
    pub q: Estimate,
    pub corr: f64,
}

pub(super) fn headline(fit: &Fitted) -> Option<Headline> {
    let (i1, i2) = (fit.model.index(Param::B1)?, fit.model.index(Param::B2)?);
    let (b1, b2) = (fit.theta[i1], fit.theta[i2]);
    let (f0, q) = f0_q(fit.model.f_ref, b1, b2);
    let df = [0.0, -0.5 * f0 / b2];
    let dq = [-q / b1, 0.5 * q / b2];
    let cov = |c: &nalgebra::DMatrix<f64>, a: [f64; 2], b: [f64; 2]| {
        a[0] * b[0] * c[(i1, i1)] + (a[0] * b[1] + a[1] * b[0]) * c[(i1, i2)] + a[1] * b[1] * c[(i2, i2)]
    };
    let sd = |c: &nalgebra::DMatrix<f64>, a: [f64; 2]| cov(c, a, a).max(0.0).sqrt();
    let corr = cov(&fit.total, df, dq) / (sd(&fit.total, df) * sd(&fit.total, dq)).max(f64::MIN_POSITIVE);
    Some(Headline {
        f0: estimate(f0, sd(&fit.total, df), sd(&fit.noise, df))?,
        q: estimate(q, sd(&fit.total, dq), sd(&fit.noise, dq))?,
        corr: if corr.is_finite() { corr.clamp(-1.0, 1.0) } else { 0.0 },
    })
}

/// Whether the eddy model is the better one: clearly so by the information criterion, and believable.
pub(super) fn eddy_is_better(eddy: &Fitted, delta_bic: Option<f64>) -> bool {
    delta_bic.is_some_and(|d| d < CLEARLY_BETTER) && sound(eddy)
}

/// Whether an eddy fit can be believed: inside its bounds, poles stable, and the pole told from the zero.
fn sound(eddy: &Fitted) -> bool {
    let known = |p: Param| {
        let i = eddy.model.index(p)?;
        Some((eddy.theta[i], eddy.total[(i, i)].max(0.0).sqrt()))
    };
    let (Some((pole, u_pole)), Some((zero, u_zero))) = (known(Param::Pole), known(Param::Zero)) else {
        return false;
    };
    // A loss beside the EMF makes a zero and no pole; its pole ends on the wall at nought, or as near as noise lets it.
    let alone = zero > 3.0 * u_zero;
    let free = eddy.at_bound.iter().all(|p| match p {
        Param::B1 | Param::B2 | Param::Zero => false,
        Param::Pole => pole == 0.0 && alone,
        _ => true,
    });
    let sure = u_pole < pole || alone;
    // A shorted turn cannot turn the EMF over: a zero clearly on the wrong side is no metal.
    free && sure && zero > -3.0 * u_zero
}

impl Work<'_> {
    pub(super) fn clipping(&mut self) {
        let take = self.take;
        // Noise after a flat top spreads it; 6 sigma of the quietest stretch, or a converter step.
        let channels = [("pickup", Some(&take.pickup)), ("reference", take.reference.as_ref())];
        for (name, x) in channels {
            let Some(x) = x else { continue };
            let c = faults::clipping_over_noise(x, self.step, self.rate);
            if c.runs == 0 {
                continue;
            }
            let active = crate::transfer::span::active(x, self.rate).map_or(x.len(), |a| a.len());
            let share = c.samples as f64 / active.max(1) as f64;
            let full = c.at > 0.98;
            self.capture.clipped_samples += c.samples;
            let live = take.provenance.file.is_none();
            self.findings.push(findings::clipped(
                name,
                c.samples,
                20.0 * c.at.log10(),
                full,
                share > 0.01,
                live,
            ));
        }
    }

    /// Whether the answer stands well above the noise: what cannot be read is then not too weak.
    pub(super) fn heard(&self, p: &Prepared) -> bool {
        coherence(p) > CLEARLY_HEARD
    }

    /// Whether the pickup channel answers to the reference at all; raises the finding if not.
    pub(super) fn something_there(&mut self, p: &Prepared) -> bool {
        let band = p.setup.band;
        let empty = p.bins.used_count() < 64 || band[1] < 2.0 * band[0];
        let coherent = if empty { 0.0 } else { coherence(p) };
        let take = self.take;
        let driven = take.reference.as_ref().is_none_or(|r| {
            // What is this weak leaks over from the pickup; and hum or noise alone never pauses.
            rms(r) > rms(&take.pickup) * 10f64.powf(-LEAK_DB / 20.0) && (p.active.is_some() || followed(p))
        });
        if driven && coherent > 1.0 {
            return true;
        }
        match &take.reference {
            Some(r) if !driven || p.active.is_none() || empty => {
                // Both silent, or nothing that looks like a drive: the reference is the first thing to look at.
                let pickup_alive = crate::transfer::span::active(&take.pickup, self.rate).is_some();
                if !pickup_alive && (rms(r) > 1e-3 && rms(r) > 10.0 * rms(&take.pickup)) {
                    self.findings.push(findings::no_signal());
                } else {
                    self.findings.push(findings::reference_missing());
                    if !pickup_alive {
                        self.findings.push(findings::no_signal());
                    }
                }
            }
            _ => self.findings.push(findings::no_signal()),
        }
        false
    }

    /// Whether the plugs show in the raw ratio: it stays where a pickup's rises, or falls; raises the finding if so.
    pub(super) fn misplugged(&mut self, p: &Prepared) -> bool {
        let [low, high] = p.setup.band;
        let groups: Vec<Group> = group::gather(&p.bins, [low, high.min(1000.0)])
            .into_iter()
            .filter(|g| g.coherence > 0.5)
            .collect();
        // The upper half alone must fall too: a knock or hum may bend the lower.
        let falls = |band: std::ops::Range<f64>| {
            let raw = groups.iter().map(|g| (g.f, g.h, g.weight));
            faults::slope_db_per_octave(raw, band).is_some_and(|(s, u)| s + 4.0 * u < -3.0)
        };
        let found = match faults::constant_db(groups.iter().map(|g| (g.f, g.h))) {
            // As little comes through a broken winding.
            Some(db) if db > -LEAK_DB => findings::same_on_both(),
            None if falls(80.0..900.0) && falls(300.0..900.0) => findings::channels_swapped(),
            _ => return false,
        };
        self.findings.push(found);
        true
    }

    pub(super) fn report(&mut self, p: &Prepared, fits: &Fits, one_channel: bool) {
        let second = &fits.second;
        if explained(p, second) < LEAST_EXPLAINED {
            self.findings.push(findings::no_signal());
            return;
        }
        if open::winding_is_open(p, second) {
            self.findings.push(findings::open_winding());
            return;
        }
        let Some(head) = headline(second) else {
            self.findings.push(findings::no_fit(self.heard(p)));
            return;
        };
        let eddy = fits.eddy.as_ref();
        let better = match self.options.model {
            Choice::SecondOrder => second,
            Choice::Eddy => eddy.unwrap_or(second),
            Choice::Better => fits.best(),
        };
        self.note_walls(better);
        if self.options.model == Choice::Eddy && eddy.is_none() {
            self.notes
                .push("the eddy model is not to be had from this take: the second-order model is shown".into());
        }
        let points = curve::measure(&p.bins, p.setup.band, better);
        let of = |f: &Fitted| curve::misfit(&points, |hz| f.model.shape(&f.theta, hz));
        let (miss_second, miss_better) = (of(second), of(better));
        // Where no model fits, its level at 0 Hz is no level of this pickup: the curve's own lows are taken then.
        let (dc, u_dc) = curve::low_level(&points, better, miss_better.matters());
        let model_peak = peak::estimate(better);
        let curve_peak = peak_of_points(&points, dc, u_dc, p.setup.band, better);
        // Where even the better model misses the curve, the curve itself is asked.
        let from_curve = miss_better.matters() && curve_peak.is_some();
        let (peak_hz, peak_db, peak_from) = match (from_curve, curve_peak, model_peak) {
            (true, Some((hz, db)), _) => (Some(hz), Some(db), PeakFrom::Curve),
            (_, _, Some((hz, db))) => (Some(hz), Some(db), PeakFrom::Model),
            _ => (None, None, PeakFrom::Model),
        };
        self.judge_fit(
            second,
            better,
            miss_second,
            miss_second.matters(),
            miss_better.matters(),
            &peak_hz.zip(peak_db),
        );
        if peak_hz.is_none() {
            self.findings.push(findings::no_peak());
        }
        self.judge_edge(p, &head, peak_hz.as_ref());
        let (wf, wq) = (head.f0.u_noise / head.f0.value, head.q.u_noise / head.q.value);
        if wf > WEAK_F0 || wq > WEAK_Q {
            if wf > 0.1 || wq > 0.3 {
                self.findings.push(findings::no_fit(self.heard(p)));
            } else {
                self.findings.push(findings::low_snr(100.0 * wf, 100.0 * wq));
            }
        }
        self.judge_time(p, fits, better);
        self.judge_noise(p, fits, better, head.f0.value);
        // A knock may bend the curve into any shape.
        let disturbed = (self.raised(Code::Transient) || self.raised(Code::Dropout)) && better.scatter > 2.0;
        if let Some(at) = curve::dip(&points, dc).filter(|_| !disturbed) {
            self.findings.push(findings::coils_cancel(at));
        }
        self.judge_input();
        let chain = self.options.chain;
        let gain = better.theta[0] / chain.gain.0;
        let u_gain = |c: &nalgebra::DMatrix<f64>| c[(0, 0)].max(0.0).sqrt() / chain.gain.0;
        let channels = gain.abs() * chain.gain.1.unwrap_or(0.0);
        let (u, un) = (u_gain(&better.total).hypot(channels), u_gain(&better.noise));
        // Without a reference channel the level is that of the output's volume knob.
        let level_db =
            estimate(20.0 * gain.abs().log10(), DB * u / gain.abs(), DB * un / gain.abs()).filter(|_| !one_channel);
        let mutual_h = chain.ohm.filter(|_| !one_channel).and_then(|(ohm, rel)| {
            let value = gain.abs() * ohm;
            let tolerance = value * rel.unwrap_or(0.0);
            estimate(value, (u * ohm).hypot(tolerance), un * ohm)
        });
        let sign = if gain < 0.0 { -1 } else { 1 };
        self.resonance = Some(Resonance {
            f0_hz: head.f0,
            q: head.q,
            corr_f0_q: head.corr,
            peak_hz,
            peak_db,
            peak_from,
            mutual_h,
            polarity: sign * chain.sign.unwrap_or(1),
            polarity_referenced: chain.sign.is_some(),
            level_db,
        });
        self.fit = Some(Fit {
            model: if better.kind == Kind::Eddy {
                Model::Eddy
            } else {
                Model::SecondOrder
            },
            band_hz: p.setup.band,
            bins: second.bins as u64,
            reduced_chi2: second.reduced_chi2,
            rms_residual_db: miss_second.rms_db,
            eddy: eddy
                .zip(fits.delta_bic)
                .filter(|(e, d)| (*d < 0.0 && sound(e)) || self.options.model == Choice::Eddy)
                .and_then(|(e, d)| eddy_record(e, d)),
            nuisance: nuisance(better, p),
            noise_from: if p.noise_from_silence { "silence" } else { "residuals" }.into(),
        });
        self.curve = Some(curve::to_record(&points, dc));
        self.answer_db = super::answer_at_reference(better);
    }

    fn judge_fit(
        &mut self,
        second: &Fitted,
        better: &Fitted,
        miss: Misfit,
        second_misses: bool,
        better_misses: bool,
        shown: &Option<(Estimate, Estimate)>,
    ) {
        let own = peak::of_model(&second.model, &second.theta, second.kind);
        // Peaks that differ by more than 3 % or 1 dB and more than their noise.
        let apart = own.zip(shown.as_ref()).map(|(a, (hz, db))| {
            let percent = 100.0 * (a.hz / hz.value - 1.0).abs();
            let decibel = (a.db - db.value).abs();
            let beyond = percent > 3.0 + 300.0 * hz.u / hz.value || decibel > 1.0 + 3.0 * db.u;
            (percent, decibel, beyond)
        });
        let disagree = apart.is_some_and(|a| a.2) || (own.is_some() != shown.is_some() && second_misses);
        if second_misses || disagree {
            let explained = better.kind == Kind::Eddy && !better_misses && !disagree;
            let peaks = apart.filter(|a| a.2).map(|a| (a.0, a.1));
            self.findings
                .push(findings::poor_fit(miss.beyond_noise_db, explained, peaks));
        }
    }

    /// AC-coupling corners that ended at the end of their range are no corners: something else bends the lows.
    fn note_walls(&mut self, fit: &Fitted) {
        if fit
            .at_bound
            .iter()
            .any(|p| matches!(p, Param::AcDifference | Param::AcSum))
        {
            self.notes.push(
                "the inputs' AC coupling came out at the end of its range: state ac_pickup_hz and ac_reference_hz in the rig file"
                    .into(),
            );
        }
    }

    fn judge_edge(&mut self, p: &Prepared, head: &super::judge::Headline, peak_hz: Option<&Estimate>) {
        let [low, high] = p.driven;
        let f = peak_hz.map_or(head.f0.value, |e| e.value);
        // Without a peak only a resonance far outside says anything.
        let (beyond, edge) = if peak_hz.is_some() { (1.0, 1.12) } else { (1.5, 1.5) };
        if f > high * beyond || f < low / beyond {
            self.findings.push(findings::peak_outside(f, p.driven, true));
        } else if f > high / edge || f < low * edge {
            self.findings.push(findings::peak_outside(f, p.driven, false));
        }
    }

    fn judge_noise(&mut self, p: &Prepared, fits: &Fits, better: &Fitted, f0: f64) {
        let bins = &p.bins;
        let half = std::f64::consts::SQRT_2;
        let octave = bins.index_of((f0 / half).max(p.setup.band[0]))..bins.index_of((f0 * half).min(p.setup.band[1]));
        let (mut signal, mut noise) = (0.0, 0.0);
        for i in octave.filter(|i| !fits.lines[*i]) {
            signal += (bins.y[i] - better.residuals[i]).norm_sqr();
            noise += bins.syy[i] * self.take.pickup.len() as f64;
        }
        if signal > 0.0 && noise > 0.0 {
            self.capture.snr_db = Some(10.0 * (signal / (noise * better.scatter.max(1.0))).log10());
        }
        // Mean square of what has this sum over its bins, one-sided, against that of a full-scale sine (AES17).
        let dbfs = |power: f64| 10.0 * (power * 2.0 / bins.length / 0.5).log10();
        let whole = bins.index_of(NOISE_HZ[0].max(p.setup.band[0]))..bins.index_of(NOISE_HZ[1].min(p.setup.band[1]));
        let floor: f64 = whole.filter(|i| !fits.lines[*i]).map(|i| bins.syy[i]).sum();
        self.capture.noise_dbfs = (floor > 0.0).then(|| dbfs(floor * better.scatter.max(1.0)));
        if let Some(h) = fits.hum {
            self.capture.hum_dbfs = (h.power > 0.0).then(|| dbfs(h.power / bins.energy));
            let band = bins.index_of(p.setup.band[0])..bins.index_of(p.setup.band[1]);
            let total: f64 = band.map(|i| (bins.y[i] - better.residuals[i]).norm_sqr()).sum();
            if total > 0.0 && h.power > 0.0 {
                // Hum goes on through the silences, the answer does not: both over the whole take.
                let ratio = h.power / total * self.take.pickup.len() as f64 / bins.energy;
                let db = 10.0 * ratio.log10();
                self.capture.hum_db = Some(db);
                self.capture.mains_hz = Some(h.mains_hz);
                // What a knock leaves at low frequency may pass for a comb.
                if (h.above_signal || ratio > 0.01) && !self.raised(Code::Transient) {
                    self.findings.push(findings::hum(h.mains_hz, db, ratio > 0.01));
                }
            }
        }
    }

    /// Whether the pickup's channel reaches its peak about this time of the take.
    fn loudest_near(&self, at_s: f64) -> bool {
        let x = &self.take.pickup;
        let at = |s: f64| ((s * self.rate).max(0.0) as usize).min(x.len());
        let top = |x: &[f32]| x.iter().fold(0f32, |m, v| m.max(v.abs()));
        top(&x[at(at_s - NEAR_S)..at(at_s + NEAR_S)]) >= LOUDEST * top(x)
    }

    fn judge_time(&mut self, p: &Prepared, fits: &Fits, better: &Fitted) {
        let bins = &p.bins;
        let n = bins.len();
        let inside = |i: usize| bins.freq(i) >= p.setup.band[0] && bins.freq(i) <= p.setup.band[1];
        let answer: Vec<Complex64> = (0..n)
            .map(|i| {
                if inside(i) {
                    bins.y[i] - better.residuals[i]
                } else {
                    Complex64::new(0.0, 0.0)
                }
            })
            .collect();
        let ringing = |i: usize| better.model.shape(&better.theta, bins.freq(i)) / better.theta[0];
        let origin = p.record.range.start as f64 / self.rate;
        // A smooth misfit of the model would look like events where a sweep passes it.
        let mut residuals = better.residuals.clone();
        if better.smooth_chi2 > 1.5 * better.scatter.max(1.0) {
            let (from, to) = (bins.index_of(p.setup.band[0]), bins.index_of(p.setup.band[1]) + 1);
            let to = to.min(n);
            residuals[from..to].copy_from_slice(&lines::without_misfit(bins, &better.residuals, from, to));
        }
        let timeline = Timeline {
            bins,
            residuals: &residuals,
            answer: &answer,
            lines: &fits.lines,
            ringing: &ringing,
            band: p.setup.band,
            origin_s: origin,
            length_s: p.record.range.len() as f64 / self.rate,
            taper_s: [
                p.record.taper_in as f64 / self.rate,
                p.record.taper_out as f64 / self.rate,
            ],
        };
        let frames = self.take.pickup.len() as f64 / self.rate;
        // Where the take is cut within the signal, the cut itself would look like an event.
        let margin = |tapered: usize| (tapered as f64 / self.rate).min(0.03) + 0.002;
        let span = match &p.active {
            Some(a) => {
                let start = if p.silences.first().is_some_and(|s| s.start == 0) {
                    a.start as f64 / self.rate
                } else {
                    origin + margin(p.record.taper_in)
                };
                let end = if a.end < self.take.pickup.len() {
                    a.end as f64 / self.rate
                } else {
                    frames - margin(p.record.taper_out)
                };
                start..end
            }
            None => origin + margin(p.record.taper_in)..frames - margin(p.record.taper_out),
        };
        let faults::Seen {
            mut events,
            loud_over_silent,
            loud_share,
        } = timeline.look(span);
        let bent = loud_over_silent.is_some_and(|x| x > DISTORTED) && better.scatter > 2.0;
        let badly = bent && loud_share > BADLY_BENT;
        if badly {
            // A residual that is nowhere calm holds no events.
            events.clear();
        }
        if bent && events.is_empty() && self.capture.clipped_samples == 0 {
            self.findings.push(findings::distorted(badly));
        }
        let splices: Vec<_> = events
            .iter()
            .filter(|e| e.splice && self.capture.clipped_samples == 0)
            .collect();
        let mut channels = vec![self.take.pickup.as_slice()];
        channels.extend(self.take.reference.as_deref());
        let held = p
            .active
            .as_ref()
            .map_or_else(Vec::new, |a| faults::held(&channels, a, self.step));
        let first_held = held.first().map(|i| *i as f64 / self.rate);
        let first = splices
            .first()
            .map(|e| e.start_s)
            .into_iter()
            .chain(first_held)
            .reduce(f64::min);
        if let Some(first) = first.filter(|_| !self.raised(Code::Dropout)) {
            let count = splices.len().max(held.len());
            self.capture.dropouts += count as u64;
            self.findings.push(findings::dropout(count, first, false));
        }
        // The edges of a stretch that stood still are no knocks either. Where tops are flat the residual is full of bursts, and they are no knocks.
        let clipped = self.capture.clipped_samples > 0;
        let knocks: Vec<_> = events
            .iter()
            .filter(|e| !e.splice && !clipped && held.is_empty())
            .collect();
        let strongest = knocks.iter().map(|e| e.strength).fold(0.0, f64::max);
        // One knock rings and comes back from the walls; and where one is strong, what the fit lost by it is seen elsewhere.
        let mut apart: Vec<f64> = Vec::new();
        let mut rung_out = f64::NEG_INFINITY;
        for e in knocks.iter().filter(|e| e.strength > STRAY * strongest) {
            if e.start_s > rung_out + RINGS_S {
                apart.push(e.start_s);
            }
            rung_out = e.end_s;
        }
        if let Some(first) = apart.first() {
            let loudest = self.loudest_near(*first);
            self.findings
                .push(findings::transient(*first, apart.len(), true, loudest));
        } else if let Some(at) = p.bursts.first() {
            self.findings.push(findings::transient(*at, 1, false, false));
        }
    }

    fn judge_input(&mut self) {
        if let Some(ohm) = self.options.chain.input_ohm
            && ohm < 3e6
        {
            self.findings.push(findings::input_loading(ohm, ohm < 200e3));
        }
    }

    /// Whether a finding of this kind has been raised, above a note.
    pub(super) fn raised(&self, code: Code) -> bool {
        self.findings
            .iter()
            .any(|f| f.code == code && f.level >= Level::Warning)
    }
}

fn rms(x: &[f32]) -> f64 {
    (x.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>() / x.len() as f64).sqrt()
}

/// Whether X looks like a drive: its power is spread over more than some mains lines, and Y follows it over most of the band.
fn followed(p: &Prepared) -> bool {
    const LINES: f64 = 100.0;
    // Of few bins chance makes as much.
    const ENOUGH: usize = 8;
    const FOLLOWS: f64 = 0.3;
    let power = (0..p.bins.len())
        .filter(|i| p.bins.used[*i])
        .map(|i| p.bins.x[i].norm_sqr());
    let (sum, squares) = power.fold((0.0, 0.0), |(s, q), x| (s + x, q + x * x));
    let mut coherence: Vec<f64> = group::gather(&p.bins, p.setup.band)
        .iter()
        .filter(|g| g.stop - g.start >= ENOUGH)
        .map(|g| g.coherence)
        .collect();
    coherence.sort_by(f64::total_cmp);
    sum * sum > LINES * squares && coherence.get(coherence.len() / 2).is_some_and(|c| *c > FOLLOWS)
}

/// How clearly Y follows X, in units of what chance gives: above 1 there is an answer.
fn coherence(p: &Prepared) -> f64 {
    // Sixths of an octave: wide enough to gather a weak answer, narrow enough that its phase holds.
    let groups = group::gather(&p.bins, p.setup.band);
    let (mut sum, mut n) = (0.0, 0.0);
    let mut at = 0;
    while at < groups.len() {
        let end = groups[at..]
            .iter()
            .position(|g| g.f > groups[at].f * 1.122)
            .map_or(groups.len(), |k| at + k);
        let (mut hw, mut w) = (Complex64::new(0.0, 0.0), 0.0);
        for g in &groups[at..end] {
            hw += g.h * g.weight;
            w += g.weight;
        }
        if w > 0.0 {
            sum += hw.norm_sqr() / w;
            n += 1.0;
        }
        at = end.max(at + 1);
    }
    if n < 4.0 {
        return 0.0;
    }
    // Each term is exponential with mean 1 under no answer; five standard deviations and a little for the noise's own error.
    (sum / n) / (1.3 + 5.0 / f64::sqrt(n))
}

/// How much of the pickup channel a fit explains, in units of chi-square.
fn explained(p: &Prepared, fit: &Fitted) -> f64 {
    let b = &p.bins;
    (0..b.len())
        .filter(|i| b.used[*i])
        .map(|i| 2.0 * (b.y[i].norm_sqr() - fit.residuals[i].norm_sqr()) / (b.syy[i] * b.length))
        .sum::<f64>()
        / fit.scatter.max(1.0)
}

/// A response with a narrow peak can follow chance by about twice the logarithm of the number of bins; this is far above.
const LEAST_EXPLAINED: f64 = 100.0;

/// Peak of the measured curve above its lows. `u_dc`: uncertainty of those in dB.
fn peak_of_points(
    points: &[Point],
    dc: f64,
    u_dc: f64,
    band: [f64; 2],
    better: &Fitted,
) -> Option<(Estimate, Estimate)> {
    let level = |g: f64| 20.0 * (g / dc).log10();
    let list: Vec<peak::Near> = points
        .iter()
        .map(|p| peak::Near {
            f: p.f,
            db: level(p.g.norm()),
            u_db: DB * p.u,
            model_db: level(p.model.norm()),
        })
        .filter(|p| p.db.is_finite() && p.model_db.is_finite() && p.u_db.is_finite() && p.u_db < 3.0)
        .collect();
    let model = |f: f64| level(better.model.shape(&better.theta, f).norm());
    let p = peak::of_curve(&list, band[0].max(300.0), band[1], model)?;
    (p.db > 0.0).then_some(())?;
    Some((
        estimate(p.hz, p.noise_hz.hypot(p.shape_hz), p.noise_hz)?,
        estimate(p.db, p.noise_db.hypot(p.shape_db).hypot(u_dc), p.noise_db)?,
    ))
}

fn eddy_record(e: &Fitted, delta_bic: f64) -> Option<Eddy> {
    let head = headline(e)?;
    let seconds = |p: Param| {
        let i = e.model.index(p)?;
        let k = 1.0 / (std::f64::consts::TAU * e.model.f_ref);
        let sd = |c: &nalgebra::DMatrix<f64>| c[(i, i)].max(0.0).sqrt() * k;
        estimate(e.theta[i] * k, sd(&e.total), sd(&e.noise))
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

fn nuisance(fit: &Fitted, p: &Prepared) -> std::collections::BTreeMap<String, Nuisance> {
    let mut out = std::collections::BTreeMap::new();
    let fixed = &p.setup.fixed;
    let mut put = |name: &str, param: Param, otherwise: Option<f64>, turn: &dyn Fn(f64) -> f64| {
        let fitted = fit.model.index(param);
        let value = fitted.map(|i| fit.theta[i]).or(otherwise);
        let Some(v) = value.map(turn).filter(|v| v.is_finite()) else {
            return;
        };
        let u = fitted.map(|i| {
            let sd = fit.total[(i, i)].max(0.0).sqrt();
            (turn(fit.theta[i] + sd) - v).abs()
        });
        out.insert(
            name.to_string(),
            Nuisance {
                value: v,
                u: u.filter(|u| u.is_finite()),
            },
        );
    };
    let same = |v: f64| v;
    put("ac_mean_hz", Param::AcMean, None, &same);
    put("ac_pickup_less_reference_hz", Param::AcDifference, None, &same);
    put(
        "ac_pickup_hz",
        Param::AcPickup,
        Some(fixed.ac_pickup_hz).filter(|v| *v > 0.0),
        &same,
    );
    put(
        "ac_reference_hz",
        Param::AcReference,
        Some(fixed.ac_reference_hz).filter(|v| *v > 0.0),
        &same,
    );
    put(
        "ac_output_hz",
        Param::AcOutput,
        Some(fixed.ac_output_hz).filter(|v| *v > 0.0),
        &same,
    );
    put("ac_sum_hz", Param::AcSum, None, &same);
    put("ac_product_hz2", Param::AcProduct, None, &same);
    put(
        "exciter_corner_hz",
        Param::InverseCorner,
        Some(fixed.inverse_corner).filter(|v| *v > 0.0),
        &|v| 1.0 / v,
    );
    put(
        "delay_s",
        Param::Delay,
        Some(fixed.delay_s).filter(|v| *v != 0.0),
        &same,
    );
    out
}
