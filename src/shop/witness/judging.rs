//! Is the rig still the rig? What control charts make of a check.
//!
//! The first checks are the baseline. From twenty on limits are believed: individuals charts (NIST/SEMATECH e-Handbook 6.3.2.2)
//! and moving averages (6.3.2.4), widened for being estimates, all of them together with at most one false alarm in a hundred
//! checks (Bonferroni, which holds whatever hangs on what).

use super::history::{BASELINE, Check, History, Quantity};
use super::warmth::Warmth;
use crate::stats::chart::{Ewma, Individuals, moving_range_freedom};
use crate::stats::{mean, sd, student};

/// Of all quantities together, per check.
pub const FALSE_ALARMS: f64 = 0.01;
/// Weight of the newest value in the moving average: slow drifts show, single days do not.
const LAMBDA: f64 = 0.2;
/// From so many good checks on one that has nothing in common with them is seen.
const EARLY: usize = 5;
/// A take whose own noise is so many times the usual one is a noisy day's.
const NOISY: f64 = 4.0;

/// One quantity of a check against its chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Charted {
    pub quantity: Quantity,
    pub value: f64,
    pub centre: f64,
    /// Half-width of the limits of a single value.
    pub half: f64,
    /// Moving average and the half-width of its limits.
    pub average: Option<(f64, f64)>,
}

impl Charted {
    pub fn off(&self) -> f64 {
        self.value - self.centre
    }

    pub fn jumped(&self) -> bool {
        let off = self.off();
        let off = if self.quantity.one_sided() { off } else { off.abs() };
        off > self.half
    }

    pub fn drifted(&self) -> bool {
        self.average.is_some_and(|(z, half)| (z - self.centre).abs() > half)
    }
}

/// What a check says of the rig.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// Good checks so far; below [`BASELINE`] only the sign is judged, and what is no reading of this rig at all.
    pub baseline: usize,
    pub charted: Vec<Charted>,
    /// The sign is not that of the baseline.
    pub turned: bool,
    /// More noise than the baseline's.
    pub noisy: bool,
    /// What has no chart, with how many good checks know it.
    pub unjudged: Vec<(Quantity, usize)>,
}

impl Judgement {
    pub fn believed(&self) -> bool {
        self.baseline >= BASELINE
    }

    pub fn go(&self) -> bool {
        !self.turned && !self.charted.iter().any(|c| c.jumped() || c.drifted())
    }

    pub fn get(&self, quantity: Quantity) -> Option<&Charted> {
        self.charted.iter().find(|c| c.quantity == quantity)
    }
}

/// One quantity along the checks, as it is charted.
struct Line<'a> {
    kind: Quantity,
    base: Vec<&'a Check>,
    warmth: Option<Warmth>,
}

impl<'a> Line<'a> {
    /// As a check is held against it: one without a room against a baseline with the rooms in it.
    fn of(history: &'a History, kind: Quantity, new: &Check) -> Self {
        let base: Vec<&Check> = history.good().filter(|c| kind.of(c).is_some()).take(BASELINE).collect();
        let by_room = kind == Quantity::Q && base.len() >= BASELINE && new.temperature_c.is_some();
        let warmth = Warmth::of(&base).filter(|_| by_room);
        Line { kind, base, warmth }
    }

    /// What the room's warmth does to Q is taken off.
    fn at(&self, c: &Check) -> Option<f64> {
        match &self.warmth {
            Some(w) => Some(w.freed(c)),
            None => self.kind.of(c),
        }
    }

    fn values(&self) -> Vec<f64> {
        self.base.iter().filter_map(|c| self.at(c)).collect()
    }

    fn charted(&self, history: &History, new: &Check, false_alarm: f64) -> Option<Charted> {
        let (kind, chart, value) = (self.kind, Individuals::of(&self.values())?, self.at(new)?);
        let t = student(1.0 - 0.5 * false_alarm, moving_range_freedom(chart.n));
        // What the slope of the rooms leaves open.
        let warmth = self.warmth;
        let doubt = |warmer: f64| t * warmth.map_or(0.0, |w| w.doubt(warmer));
        let average = kind.averaged().then(|| {
            // The good checks since the baseline, and this one.
            let later: Vec<&Check> = history.good().skip(BASELINE).chain([new]).collect();
            let run: Vec<f64> = later.iter().filter_map(|c| self.at(c)).collect();
            let ewma = |target: f64, sigma: f64| Ewma {
                lambda: LAMBDA,
                target,
                sigma,
            };
            let last = |e: Ewma, run: &[f64]| e.run(run).last().copied();
            // The rooms of those days are in the average.
            let warmer: Vec<f64> = warmth.map_or(Vec::new(), |w| later.iter().map(|c| w.warmer(c)).collect());
            let room = last(ewma(0.0, 0.0), &warmer).unwrap_or(0.0);
            let own = ewma(chart.centre, chart.sigma);
            let n = u32::try_from(run.len()).unwrap_or(u32::MAX).min(1000);
            let spread = own.limits_after(n, 1.0)[1] - chart.centre;
            let centre = chart.sigma / (chart.n as f64).sqrt();
            let z = last(own, &run).unwrap_or(value);
            (z, (t * spread.hypot(centre)).hypot(doubt(room)))
        });
        // What is too small to matter is no alarm, however quiet the baseline was.
        let least = kind.least();
        let room = doubt(warmth.map_or(0.0, |w| w.warmer(new)));
        Some(Charted {
            quantity: kind,
            value,
            centre: chart.centre,
            half: chart.half_width(false_alarm).hypot(room).max(least),
            average: average.map(|(z, half)| (z, half.max(least))),
        })
    }
}

impl History {
    /// Judges a new check, which is not in the history yet.
    pub fn judge(&self, new: &Check) -> Judgement {
        let base = self.baseline();
        let other_way = base.iter().filter(|c| !c.sense().same(new.sense())).count();
        let noise = |c: &Check| c.f0_hz.u_noise / c.f0_hz.value;
        let mut scatters: Vec<f64> = base.iter().map(|c| noise(c)).collect();
        scatters.sort_by(f64::total_cmp);
        let usual = scatters.get(scatters.len() / 2).copied();
        let (mut charted, mut unjudged) = (Vec::new(), Vec::new());
        if (EARLY..BASELINE).contains(&base.len()) {
            let kinds = [Quantity::F0, Quantity::Q, Quantity::Level];
            charted.extend(kinds.iter().filter_map(|k| self.early(*k, &base, new)));
            charted.retain(Charted::jumped);
        }
        if base.len() >= BASELINE {
            // Charts there are: one for each quantity that twenty checks have, one more where it is averaged.
            let lines: Vec<Line> = Quantity::ALL.into_iter().map(|k| Line::of(self, k, new)).collect();
            let (told, open): (Vec<_>, Vec<_>) = lines
                .into_iter()
                .partition(|l| l.base.len() >= BASELINE && l.kind.of(new).is_some());
            unjudged.extend(open.iter().map(|l| (l.kind, l.base.len())));
            let charts = told.len() + told.iter().filter(|l| l.kind.averaged()).count();
            let each = FALSE_ALARMS / charts.max(1) as f64;
            charted.extend(told.iter().filter_map(|l| l.charted(self, new, each)));
        }
        let noisy = match charted.iter().find(|c| c.quantity == Quantity::Noise) {
            Some(c) => c.jumped(),
            None => usual.is_some_and(|u| noise(new) > NOISY * u) && base.len() >= EARLY,
        };
        Judgement {
            baseline: base.len(),
            charted,
            turned: 2 * other_way > base.len(),
            noisy,
            unjudged,
        }
    }

    /// A check that has nothing in common with the few before it: a lead or a knob, no part of a baseline. The limits are wide,
    /// the next value of a normal sample at 1 in 1000, and ten times what matters at the least.
    fn early(&self, kind: Quantity, base: &[&Check], new: &Check) -> Option<Charted> {
        let values: Vec<f64> = base.iter().filter_map(|c| kind.of(c)).collect();
        let n = values.len() as f64;
        let (centre, s) = (mean(&values)?, sd(&values)?);
        let t = student(0.9995, n - 1.0);
        Some(Charted {
            quantity: kind,
            value: kind.of(new)?,
            centre,
            half: (t * s * (1.0 + 1.0 / n).sqrt()).max(10.0 * kind.least()),
            average: None,
        })
    }

    /// A quantity of every check, counted from the centre that the last one was judged by; nothing where no check has it.
    pub fn course(&self, kind: Quantity) -> Option<Vec<Option<f64>>> {
        let line = Line::of(self, kind, self.checks.last()?);
        let first = || self.checks.iter().find_map(|c| line.at(c));
        let centre = mean(&line.values()).or_else(first)?;
        Some(self.checks.iter().map(|c| line.at(c).map(|v| v - centre)).collect())
    }
}
