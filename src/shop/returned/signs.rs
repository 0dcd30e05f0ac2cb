//! What a change looks like: each thing that can happen to a pickup is tried on its stand-in, in whatever size explains best what was
//! seen.

use super::document::Look;
use super::stand_in::{After, Change, StandIn};

/// What was seen, each with its standard uncertainty: logarithms of ratios, of the level decibels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seen {
    pub f0: (f64, f64),
    pub q: (f64, f64),
    pub level_db: Option<(f64, f64)>,
    pub ohm: Option<(f64, f64)>,
}

/// What is explained lies within so many standard uncertainties of what was seen, everywhere.
const WITHIN: f64 = 3.0;
/// How well a stand-in tells what something does to the pickup itself, relative (a guess of ours).
const STAND_IN: f64 = 0.1;
/// Coupling of touching turns to the rest of the winding: layers of one bobbin, side by side or far apart.
const TURNS_K: [f64; 5] = [0.75, 0.82, 0.88, 0.93, 0.97];
/// The same of metal about a coil.
const METAL_K: [f64; 5] = [0.15, 0.25, 0.35, 0.5, 0.65];
/// Steps of a search, by ratio.
const STEPS: usize = 28;

/// What explains it, and how far off that is at worst, in standard uncertainties.
type Explained = (Look, f64);

impl Seen {
    /// How far off a change is from what was seen, in standard uncertainties, quantity by quantity.
    fn off(&self, change: &Change) -> [f64; 4] {
        let one = |seen: Option<(f64, f64)>, told: f64| {
            seen.map_or(0.0, |(value, u)| (value - told) / u.hypot(STAND_IN * told))
        };
        [
            one(Some(self.f0), change.f0),
            one(Some(self.q), change.q),
            one(self.level_db, change.level_db),
            one(self.ohm, change.ohm),
        ]
    }
}

struct Search<'a> {
    before: &'a StandIn,
    seen: &'a Seen,
}

impl Search<'_> {
    fn off(&self, after: &After) -> Option<[f64; 4]> {
        let off = self.seen.off(&after.against(self.before)?);
        off.iter().all(|z| z.is_finite()).then_some(off)
    }

    /// The size between two limits that explains all that was seen, and best.
    fn best(&self, limits: [f64; 2], made: impl Fn(f64) -> After) -> Option<(f64, f64)> {
        self.nearest(limits, made).filter(|f| f.1 <= WITHIN)
    }

    /// The size that comes nearest, and how far off that is at worst.
    fn nearest(&self, [low, high]: [f64; 2], made: impl Fn(f64) -> After) -> Option<(f64, f64)> {
        let squares = |ln: f64| {
            let off = self.off(&made(ln.exp()));
            off.map_or(f64::INFINITY, |z| z.iter().map(|z| z * z).sum())
        };
        let step = (high / low).ln() / STEPS as f64;
        let at = |i: usize| low.ln() + step * i as f64;
        let coarse = (0..=STEPS).map(|i| (i, squares(at(i))));
        let (i, least) = coarse.min_by(|a, b| a.1.total_cmp(&b.1))?;
        if !least.is_finite() {
            return None;
        }
        let (mut a, mut b) = (at(i) - step, at(i) + step);
        for _ in 0..14 {
            let (x, y) = (a + (b - a) / 3.0, b - (b - a) / 3.0);
            match squares(x) < squares(y) {
                true => b = y,
                false => a = x,
            }
        }
        let size = (0.5 * (a + b)).exp().clamp(low, high);
        let off = self.off(&made(size))?;
        let worst = off.iter().fold(0.0f64, |m, z| m.max(z.abs()));
        Some((size, worst))
    }
}

/// What explains all that was seen, the best first. `wax_f`: the most that wax can bring.
pub(super) fn looks(before: &StandIn, seen: &Seen, wax_f: f64) -> Vec<Look> {
    let search = Search { before, seen };
    let mut all: Vec<Explained> = [
        capacitance(&search, wax_f),
        search
            .best([10e3, 20e6], |ohm| before.with_resistor(ohm))
            .map(|(ohm, worst)| (Look::Resistor { ohm }, worst)),
        coupled(&search, TURNS_K, |share, k| before.with_turns_shorted(share, k))
            .map(|(share, worst)| (Look::TurnsShorted { share }, worst)),
        metal(&search),
        share(&search),
    ]
    .into_iter()
    .flatten()
    .collect();
    if all.is_empty() {
        all.extend(controls(&search));
    }
    all.sort_by(|a, b| a.1.total_cmp(&b.1));
    all.into_iter().map(|e| e.0).collect()
}

fn capacitance(search: &Search, wax_f: f64) -> Option<Explained> {
    let before = search.before;
    if search.seen.f0.0 < 0.0 {
        let (farad, worst) = search.best([1e-12, 5e-9], |c| before.with_capacitance(c))?;
        let look = match farad <= wax_f {
            true => Look::Wax { farad },
            false => Look::Capacitance { farad },
        };
        return Some((look, worst));
    }
    let most = 0.9 * before.whole_f();
    let (farad, worst) = search.best([1e-12, most], |c| before.with_capacitance(-c))?;
    Some((Look::LessCapacitance { farad }, worst))
}

/// A loop coupled to the winding: how closely nobody knows, and so what explains best.
fn coupled<const N: usize>(
    search: &Search,
    couplings: [f64; N],
    made: impl Fn(f64, f64) -> After,
) -> Option<(f64, f64)> {
    let each = couplings.map(|k| search.best([1e-4, 0.3], |share| made(share, k)));
    each.into_iter().flatten().min_by(|a, b| a.1.total_cmp(&b.1))
}

/// A loop of metal takes nothing from the winding's turns: an ohmmeter does not see it.
fn metal(search: &Search) -> Option<Explained> {
    coupled(search, METAL_K, |share, k| search.before.with_metal(share, k)).map(|(_, worst)| (Look::Metal, worst))
}

/// One of two coils is out. How far the level goes with it hangs on which of them lies under the exciter.
fn share(search: &Search) -> Option<Explained> {
    let seen = &Seen {
        level_db: None,
        ..*search.seen
    };
    let search = Search { seen, ..*search };
    let made = |share| search.before.with_share(share);
    if seen.f0.0 > 0.0 {
        let (share, worst) = search.best([0.35, 0.65], made)?;
        return Some((Look::CoilBridged { share }, worst));
    }
    let (share, worst) = search.best([1.6, 2.5], made)?;
    Some((Look::CoilOpen { share }, worst))
}

/// A resistance and a capacitance across it: two sizes for f0 and Q, so that only where nothing simpler explains them level and ohms
/// decide.
fn controls(search: &Search) -> Option<Explained> {
    let seen = search.seen;
    if seen.f0.0 >= 0.0 || seen.q.0 >= 0.0 {
        return None;
    }
    let made = |ohm: f64, farad: f64| {
        let mut after = search.before.with_resistor(ohm);
        after.coil.c_f += farad;
        after
    };
    let mut farad = search.before.whole_f() * (-2.0 * seen.f0.0).exp_m1();
    let mut found = None;
    // Each for itself in turn: a resistor hardly moves f0.
    for _ in 0..5 {
        let (ohm, worst) = search.nearest([5e3, 20e6], |ohm| made(ohm, farad))?;
        let change = made(ohm, farad).against(search.before)?;
        farad = ((search.before.whole_f() + farad) * (2.0 * (change.f0 - seen.f0.0)).exp() - search.before.whole_f())
            .max(0.0);
        found = Some((ohm, worst));
    }
    let (ohm, worst) = found.filter(|f| f.1 <= WITHIN && farad > 0.0)?;
    Some((Look::Controls { ohm, farad }, worst))
}
