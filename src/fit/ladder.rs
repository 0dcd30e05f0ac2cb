//! Which model follows a take: the first of a ladder of ever richer ones that misses it by no more than matters.
//!
//! The misfit that chooses is the mean of |G/model - 1|^2 over u^2 + 0.001^2, a twenty-fourth of an octave at a time: what is
//! below 0.009 dB or 0.06 degrees does not vote, since no converter is that flat. Where none comes below 1.4 the lowest BIC decides
//! (Schwarz, Annals of Statistics 6 (1978) 461; recalled from memory).

use num_complex::Complex64;

use super::attempt::Attempt;
use super::group::Group;
use super::kind::{Kind, Metal, Rung};
use super::model::{Model, Param};
use super::rival::{self, Chance, Rival};
use super::seed::Seed;
use super::{Fitted, Setup};
use crate::transfer::bins::Bins;

/// A misfit below this is followed well enough: six standard deviations above that of noise alone.
const FOLLOWED: f64 = 1.4;
/// A richer model is taken all the same where its BIC is better by this much ("very strong": Kass and Raftery, J. Amer. Statist.
/// Assoc. 90 (1995) 773).
const CLEARLY_BETTER: f64 = 10.0;
/// A rival of less odds is ruled out.
const UNLIKELY: f64 = 0.01;
/// What does not vote: 0.009 dB, 0.06 degrees.
const FLOOR: f64 = 0.001;
/// Neighbouring twenty-fourths of an octave that a smooth misfit bends alike.
const ALIKE: f64 = 4.0;
/// Groups drawn together for the search: 96 to 24 an octave.
const TOGETHER: usize = 4;

/// What the ladder came to.
pub struct Climb {
    pub chosen: Fitted,
    /// The next richer model, or the next best; and others that the take does not rule out.
    pub rivals: Vec<Rival>,
    /// Misfit of the chosen model.
    pub misfit: f64,
}

impl Climb {
    /// The same models fitted again to nearly the same bins; `None` where one leads nowhere.
    pub fn again(&self, bins: &Bins, setup: &Setup, plain: &Fitted) -> Option<Climb> {
        let fit = |f: &Fitted| match f.rung == Rung::PLAIN {
            true => Some(plain.clone()),
            false => super::again(bins, setup, f),
        };
        let mut chosen = fit(&self.chosen)?;
        let look = Look::new(bins, setup, plain);
        look.leave_open(&mut chosen);
        look.count_floor(&mut chosen);
        let rival = |r: &Rival| {
            let fit = fit(&r.fit)?;
            Some(Rival { fit, ..*r })
        };
        Some(Climb {
            chosen,
            rivals: self.rivals.iter().filter_map(rival).collect(),
            misfit: self.misfit,
        })
    }
}

/// A model as the search left it.
struct Step {
    rung: Rung,
    theta: Vec<f64>,
    /// What it says at each of the thinned groups.
    curve: Vec<Complex64>,
    misfit: f64,
    bic: f64,
}

/// A choice on the way up.
struct Doubt {
    /// The step that it went against.
    against: usize,
    /// How often other noise would have it the other way.
    turns: f64,
}

/// The take as the ladder sees it.
struct Look<'a> {
    bins: &'a Bins,
    setup: &'a Setup,
    plain: &'a Fitted,
    /// A twenty-fourth of an octave each; and with the floor counted in.
    bare: Vec<Group>,
    thin: Vec<Group>,
    steps: Vec<Step>,
}

/// Climbs from the plain fit until a model follows.
pub fn climb(bins: &Bins, setup: &Setup, plain: &Fitted) -> Climb {
    let mut look = Look::new(bins, setup, plain);
    let rungs = look.rungs();
    for rung in rungs {
        look.step(rung);
        if look.steps.last().is_some_and(|s| s.misfit < FOLLOWED) {
            break;
        }
    }
    look.end()
}

/// Fits one model, whatever speaks for it; with a lead or lag where it follows only so. The plain one where the other is not to
/// be had.
pub fn only(bins: &Bins, setup: &Setup, plain: &Fitted, kind: Kind) -> Climb {
    let mut look = Look::new(bins, setup, plain);
    // What is richer starts from what is plainer.
    let below = look.rungs().into_iter().filter(|r| !r.shift);
    for rung in below.take_while(|r| r.kind != kind) {
        look.step(rung);
    }
    let plainer = look.steps.len();
    for shift in [false, true] {
        if shift <= setup.shift.is_some() && !look.steps[plainer..].iter().any(|s| s.misfit < FOLLOWED) {
            look.step(Rung { kind, shift });
        }
    }
    // Where the model is not to be had, the plain one stands for it.
    match look.steps.len() > plainer {
        true => drop(look.steps.drain(..plainer)),
        false => look.steps.truncate(1),
    }
    look.end()
}

impl<'a> Look<'a> {
    fn new(bins: &'a Bins, setup: &'a Setup, plain: &'a Fitted) -> Self {
        let bare = thin(&plain.groups, plain);
        Look {
            bins,
            setup,
            plain,
            thin: bare.iter().map(|g| floored(g, plain)).collect(),
            bare,
            steps: Vec::new(),
        }
    }

    fn rungs(&self) -> Vec<Rung> {
        let ladder = [
            (Metal::None, false),
            (Metal::None, true),
            (Metal::Turn, false),
            (Metal::Core, false),
            (Metal::Core, true),
            (Metal::CoreAndSheet, false),
        ];
        let rungs = |other: bool| {
            ladder.into_iter().map(move |(metal, shift)| Rung {
                kind: Kind { metal, other },
                shift,
            })
        };
        let both = rungs(false).chain(rungs(true));
        both.filter(|r| !r.shift || self.setup.shift.is_some())
            .filter(|r| self.reaches(*r))
            .collect()
    }

    /// With one channel the ladder ends at the turn: a clock or lost samples bend a sweep's curve into whatever is richer.
    fn reaches(&self, rung: Rung) -> bool {
        self.bins.x_clock.is_none() || (rung.kind.metal <= Metal::Turn && !rung.kind.other)
    }

    /// Fits a rung to the thinned groups, from where the plainer ones ended.
    fn step(&mut self, rung: Rung) {
        let setup = self.setup.on(rung);
        let f_ref = self.plain.model.f_ref;
        let attempt = Attempt::new(self.bins, &setup, rung, f_ref);
        let nuisance = self.nuisance(&setup);
        let found = match rung == Rung::PLAIN {
            true => Some(self.plain.theta.clone()),
            false => attempt.look(&self.thin, self.starts(rung), &nuisance, FOLLOWED),
        };
        let Some(theta) = found else { return };
        let curve = self.curve(attempt.model(), &theta);
        let misfit = self.misfit(&curve, theta.len());
        let data = 2.0 * self.thin.len() as f64;
        let sum = misfit * (data - theta.len() as f64);
        self.steps.push(Step {
            rung,
            bic: sum + theta.len() as f64 * data.ln(),
            theta,
            curve,
            misfit,
        });
    }

    fn curve(&self, model: &Model, theta: &[f64]) -> Vec<Complex64> {
        let at = model.at(theta);
        self.thin.iter().map(|g| at.response(g.f)).collect()
    }

    /// Mean of |G - model|^2 over its variance, the floor's counted in.
    fn misfit(&self, curve: &[Complex64], params: usize) -> f64 {
        let square = |(g, h): (&Group, &Complex64)| (g.h - h).norm_sqr() * g.weight;
        let sum: f64 = self.thin.iter().zip(curve).map(square).sum();
        2.0 * sum / (2.0 * self.thin.len() as f64 - params as f64).max(1.0)
    }

    /// What is not the pickup's, where the plain fit left it.
    fn nuisance(&self, setup: &Setup) -> Vec<f64> {
        let known = |n: &super::Nuisance| self.plain.get(n.param).unwrap_or(n.start).clamp(n.lower, n.upper);
        setup.nuisance.iter().map(known).collect()
    }

    /// Starting values of the pickup's own parameters, from the best plainer model that was fitted.
    fn starts(&self, rung: Rung) -> Vec<Vec<f64>> {
        let plainer = self
            .steps
            .iter()
            .filter(|s| within(s.rung.kind, rung.kind) && s.rung != rung);
        let below = plainer.min_by(|a, b| a.misfit.total_cmp(&b.misfit));
        let seed = Seed {
            params: rung.kind.params(),
            below: below.map(|s| (s.rung.kind, s.theta.as_slice())),
            plain: self.plain,
        };
        seed.starts(rung.kind)
    }

    /// The chosen model with its last word on the raw bins, and its rivals.
    fn end(mut self) -> Climb {
        let first = self.steps.iter().position(|s| s.misfit < FOLLOWED);
        let (at, doubts) = match first {
            Some(first) => self.upward(first),
            None => (self.lowest(0..self.steps.len()).unwrap_or(0), Vec::new()),
        };
        let rivals = self.judged(at, &doubts);
        // One that has no last word leaves it to the next lowest, in the end to the plain one.
        let mut order: Vec<&Step> = self.steps.iter().collect();
        order.sort_by(|a, b| a.bic.total_cmp(&b.bic));
        let chosen = std::iter::once(&self.steps[at])
            .chain(order)
            .find_map(|s| Some((self.finish(s)?, s.misfit)));
        let plain = || {
            let curve = self.curve(&self.plain.model, &self.plain.theta);
            (self.plain.clone(), self.misfit(&curve, self.plain.theta.len()))
        };
        let (mut chosen, misfit) = chosen.unwrap_or_else(plain);
        self.leave_open(&mut chosen);
        self.count_floor(&mut chosen);
        Climb { chosen, rivals, misfit }
    }

    /// The rivals of one: the first of the richer ones, and of all others those that are not as good as ruled out.
    fn judged(&mut self, at: usize, doubts: &[Doubt]) -> Vec<Rival> {
        let others = |look: &Self| look.lowest((0..look.steps.len()).filter(|i| *i != at));
        let first = self.richer(at).or_else(|| others(self));
        let alone = self.metal_alone(at);
        let mut rivals = Vec::new();
        for i in first.into_iter().chain(alone).chain(doubts.iter().map(|d| d.against)) {
            if i != at && !rivals.contains(&i) {
                rivals.push(i);
            }
        }
        let best = rivals.iter().fold(self.steps[at].bic, |b, i| b.min(self.steps[*i].bic));
        let odds = |i: usize| (0.5 * (best - self.steps[i].bic)).exp();
        let all = odds(at) + rivals.iter().map(|i| odds(*i)).sum::<f64>();
        let chance = |i: usize| Chance {
            odds: odds(i) / all,
            turns: doubts.iter().find(|d| d.against == i).map_or(0.0, |d| d.turns),
        };
        let said = rivals.iter().map(|i| (*i, chance(*i)));
        said.filter(|(i, c)| Some(*i) == first || c.odds.max(c.turns) > UNLIKELY)
            .filter_map(|(i, chance)| {
                let fit = self.finish(&self.steps[i])?;
                Some(Rival { fit, chance })
            })
            .collect()
    }

    /// From one that follows up as long as a richer one is clearly better; with what might have been chosen instead.
    fn upward(&mut self, first: usize) -> (usize, Vec<Doubt>) {
        let (mut at, mut doubts) = (first, Vec::new());
        while let Some(next) = self.richer(at) {
            let (here, there) = (&self.steps[at], &self.steps[next]);
            let gain = here.bic - there.bic - CLEARLY_BETTER;
            let against = if gain > 0.0 { at } else { next };
            doubts.push(Doubt {
                against,
                turns: rival::turns(gain, self.swing(here, there)),
            });
            if against == next {
                break;
            }
            at = next;
        }
        (at, doubts)
    }

    /// Standard deviation, by noise, of the difference of two models' sums of squares.
    fn swing(&self, a: &Step, b: &Step) -> f64 {
        let apart = a.curve.iter().zip(&b.curve).map(|(a, b)| (a - b).norm_sqr());
        let groups = self.thin.iter().zip(&self.bare);
        let each = apart
            .zip(groups)
            .map(|(square, (thin, bare))| 8.0 * thin.weight.powi(2) * square / bare.weight);
        each.sum::<f64>().sqrt()
    }

    /// The one of lowest BIC.
    fn lowest(&self, among: impl Iterator<Item = usize>) -> Option<usize> {
        among.min_by(|a, b| self.steps[*a].bic.total_cmp(&self.steps[*b].bic))
    }

    fn finish(&self, step: &Step) -> Option<Fitted> {
        if step.rung == Rung::PLAIN {
            return Some(self.plain.clone());
        }
        let setup = self.setup.on(step.rung);
        let (own, nuisance) = step.theta.split_at(step.rung.kind.params().len());
        Attempt::new(self.bins, &setup, step.rung, self.plain.model.f_ref).best(
            self.plain.groups.clone(),
            vec![own.to_vec()],
            nuisance,
        )
    }

    /// The next richer model than one.
    fn richer(&mut self, at: usize) -> Option<usize> {
        let rung = self.steps[at].rung;
        let shift = !rung.shift && self.setup.shift.is_some();
        let next = match rung.kind.metal {
            Metal::None | Metal::CoreAndSheet if shift => Rung { shift, ..rung },
            Metal::CoreAndSheet => return None,
            metal => with(rung, more(metal)),
        };
        self.reached(next)
    }

    /// That in which more metal stands in the place of a lead or lag. It is never taken for one: what the inputs do may look alike.
    fn metal_alone(&mut self, at: usize) -> Option<usize> {
        let rung = self.steps[at].rung;
        let alone = Rung {
            shift: false,
            ..with(rung, more(rung.kind.metal))
        };
        (alone != rung).then(|| self.reached(alone)).flatten()
    }

    /// A rung's step: fitted now, unless it was before.
    fn reached(&mut self, rung: Rung) -> Option<usize> {
        let step = |look: &Self| look.steps.iter().position(|s| s.rung == rung);
        if step(self).is_none() && self.reaches(rung) {
            self.step(rung);
        }
        step(self)
    }

    /// Counts in what is too small to vote, where there is metal: such a misfit is smooth, so that neighbours err alike.
    fn count_floor(&self, chosen: &mut Fitted) {
        if chosen.rung.kind.is_plain() {
            return;
        }
        let setup = self.setup.on(chosen.rung);
        let attempt = Attempt::new(self.bins, &setup, chosen.rung, chosen.model.f_ref);
        let [with, without] = [&self.thin, &self.bare].map(|groups| attempt.covariance(groups, &chosen.theta));
        if let (Some(with), Some(without)) = (with, without) {
            chosen.misfit += (with - without) * ALIKE;
        }
    }

    /// Counts in what the rig does not say of a lead or lag where none was fitted: as much of it as the take leaves open.
    fn leave_open(&self, chosen: &mut Fitted) {
        let Some(usual) = self.setup.shift.filter(|_| !chosen.rung.shift).and_then(|s| s.usual_s) else {
            return;
        };
        let rung = Rung {
            shift: true,
            ..chosen.rung
        };
        let setup = self.setup.on(rung);
        let attempt = Attempt::new(self.bins, &setup, rung, chosen.model.f_ref);
        let mut theta = chosen.theta.clone();
        theta.push(chosen.model.fixed.get(Param::Delay));
        let Some(c) = attempt.covariance(&self.thin, &theta) else {
            return;
        };
        let p = chosen.theta.len();
        let by_shift = c.view((0, p), (p, 1)) / usual;
        chosen.unstated += &by_shift * by_shift.transpose();
    }
}

/// The next of more metal.
fn more(metal: Metal) -> Metal {
    match metal {
        Metal::None => Metal::Turn,
        Metal::Turn => Metal::Core,
        Metal::Core | Metal::CoreAndSheet => Metal::CoreAndSheet,
    }
}

fn with(rung: Rung, metal: Metal) -> Rung {
    Rung {
        kind: Kind { metal, ..rung.kind },
        ..rung
    }
}

/// Whether all parameters of one model are in the other.
fn within(a: Kind, b: Kind) -> bool {
    a.metal <= b.metal && a.other <= b.other
}

/// A group with the floor counted in: what is below it does not tell anything.
fn floored(g: &Group, fit: &Fitted) -> Group {
    let variance = fit.excess() / g.weight + FLOOR * FLOOR * fit.response(g.f).norm_sqr();
    Group {
        weight: 1.0 / variance,
        ..*g
    }
}

/// Neighbouring groups drawn together, along the plain model.
fn thin(groups: &[Group], plain: &Fitted) -> Vec<Group> {
    let together = |near: &[Group]| {
        let (mut ratio, mut weight, mut f, mut when) = (Complex64::new(0.0, 0.0), 0.0, 0.0, 0.0);
        let (mut plainly, mut shown) = (0.0, 0.0);
        for g in near {
            let h = plain.response(g.f);
            let w = g.weight * h.norm_sqr();
            ratio += g.h / h * w;
            weight += w;
            f += g.f * w;
            when += g.when_s * w;
            plainly += g.weight;
            shown += g.coherence * g.weight;
        }
        let f = f / weight;
        let h = plain.response(f);
        let (first, last) = (near.first()?, near.last()?);
        (weight > 0.0 && weight.is_finite()).then(|| Group {
            f,
            h: h * ratio / weight,
            weight: weight / h.norm_sqr(),
            when_s: when / weight,
            coherence: shown / plainly,
            start: first.start,
            stop: last.stop,
        })
    };
    groups.chunks(TOGETHER).filter_map(together).collect()
}
