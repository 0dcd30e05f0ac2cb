//! Is the rig still the rig? What the checks before it make of a check.
//!
//! From the second check on there are limits: provisional ones to begin with, from what is known of such rigs, that grow tighter
//! with every good check, since the limits learn on from it ([`crate::stats::course`]). All charts together raise at most one false
//! alarm in a hundred checks of independent days (Bonferroni, which holds whatever hangs on what).

use serde::Serialize;

use super::history::{Check, History, Quantity};
use super::warmth::Warmth;
use crate::stats::course::{self, BASELINE, Course, LAMBDA};
use crate::stats::student;

/// Of all quantities together, per check.
pub const FALSE_ALARMS: f64 = 0.01;
/// So long a step among the first checks is told: then they have little part in the limits.
const STEP_TOLD: usize = 3 * BASELINE;

/// What a check is expected to scatter by before its rig tells: standard deviations from check to check.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// Relative.
    pub f0: f64,
    /// Relative.
    pub q: f64,
    pub level_db: f64,
}

impl Expected {
    fn of(&self, kind: Quantity) -> f64 {
        match kind {
            Quantity::F0 => self.f0,
            Quantity::Q => self.q,
            Quantity::Level => self.level_db,
            // Of a room in use (guesses of ours).
            Quantity::Noise => 1.5,
            Quantity::Hum => 3.0,
        }
    }
}

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

/// What has no chart, with how many good checks know it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Unjudged {
    pub quantity: Quantity,
    pub checks: usize,
}

/// From one of the first checks on a quantity is at another level: relative for f0 and Q.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stepped {
    pub quantity: Quantity,
    /// When the first check after the step was made.
    pub since: String,
    pub by: f64,
}

/// What a check says of the rig.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// Good checks so far; below [`BASELINE`] the limits are provisional.
    pub baseline: usize,
    pub charted: Vec<Charted>,
    /// The sign is not that of the checks before.
    pub turned: bool,
    pub unjudged: Vec<Unjudged>,
    pub stepped: Option<Stepped>,
}

impl Judgement {
    pub fn provisional(&self) -> bool {
        self.baseline < BASELINE
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
    /// Good ones that know it.
    base: Vec<&'a Check>,
    warmth: Option<Warmth>,
}

impl<'a> Line<'a> {
    /// As a check is held against it: one without a room against others with the rooms in them.
    fn of(history: &'a History, kind: Quantity, new: &Check) -> Self {
        let base: Vec<&Check> = history.good().filter(|c| kind.of(c).is_some()).collect();
        let by_room = kind == Quantity::Q && base.len() >= BASELINE && new.temperature_c.is_some();
        let warmth = base.get(..BASELINE).and_then(Warmth::of).filter(|_| by_room);
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

    /// So many charts it has: one more where it is averaged.
    fn charts(&self) -> usize {
        1 + usize::from(self.kind.averaged())
    }

    fn charted(&self, new: &Check, expected: &Expected, false_alarm: f64) -> Option<Charted> {
        let (kind, value, mut run) = (self.kind, self.at(new)?, self.values());
        let course = Course::of(&run, expected.of(kind))?;
        run.push(value);
        // What the slope of the rooms leaves open, in this one and in the average of all.
        let doubt = |warmer: f64| {
            let points = student(1.0 - 0.5 * false_alarm, BASELINE as f64);
            points * self.warmth.map_or(0.0, |w| w.doubt(warmer))
        };
        let warmer: Vec<f64> = self.base.iter().copied().chain([new]).map(|c| self.warmer(c)).collect();
        // What is too small to matter is no alarm, however quiet the checks were.
        let least = kind.least();
        let half = course.average_half_width(false_alarm).filter(|_| kind.averaged());
        let average = half.map(|half| {
            let z = course::average(LAMBDA, run[0], &run[1..]);
            (z, half.hypot(doubt(course::average(LAMBDA, 0.0, &warmer))).max(least))
        });
        let half = course.half_width(false_alarm).hypot(doubt(self.warmer(new)));
        Some(Charted {
            quantity: kind,
            value,
            centre: course.centre,
            half: half.max(least),
            average,
        })
    }

    fn warmer(&self, c: &Check) -> f64 {
        self.warmth.map_or(0.0, |w| w.warmer(c))
    }
}

impl History {
    /// Judges a new check, which is not in the history yet.
    pub fn judge(&self, new: &Check, expected: &Expected) -> Judgement {
        let good: Vec<&Check> = self.good().collect();
        let other_way = good.iter().filter(|c| !c.sense().same(new.sense())).count();
        let lines: Vec<Line> = Quantity::ALL.into_iter().map(|k| Line::of(self, k, new)).collect();
        let (told, open): (Vec<_>, Vec<_>) = lines
            .into_iter()
            .partition(|l| !l.base.is_empty() && l.kind.of(new).is_some());
        let unjudged = |l: &Line| Unjudged {
            quantity: l.kind,
            checks: l.base.len(),
        };
        let each = FALSE_ALARMS / told.iter().map(Line::charts).sum::<usize>().max(1) as f64;
        Judgement {
            baseline: good.len(),
            charted: told.iter().filter_map(|l| l.charted(new, expected, each)).collect(),
            turned: 2 * other_way > good.len(),
            // Of the first check that is no news.
            unjudged: open.iter().filter(|_| !good.is_empty()).map(unjudged).collect(),
            stepped: self.stepped(new),
        }
    }

    /// Each of the last so many checks, judged by those before it and by what is known today of such rigs.
    pub fn judged(&self, expected: &Expected, most: usize) -> Vec<Judgement> {
        let from = self.checks.len().saturating_sub(most);
        let mut before = History {
            checks: self.checks.get(..from).unwrap_or_default().to_vec(),
            ..self.clone()
        };
        let mut out = Vec::new();
        for check in self.checks.iter().skip(from) {
            out.push(before.judge(check, expected));
            before.checks.push(check.clone());
        }
        out
    }

    /// A step among the first checks, whether they were go or not: the limits stand on either side of it.
    fn stepped(&self, new: &Check) -> Option<Stepped> {
        let first: Vec<&Check> = self.checks.iter().chain([new]).take(STEP_TOLD).collect();
        if first.len() == STEP_TOLD {
            return None;
        }
        let of = |kind: &Quantity| {
            let values: Vec<f64> = first.iter().map(|c| kind.of(c)).collect::<Option<_>>()?;
            let step = course::step(&values)?;
            Some(Stepped {
                quantity: *kind,
                since: first.get(step.at)?.taken_at.clone(),
                by: step.by,
            })
        };
        Quantity::ALL.iter().filter(|k| k.averaged()).find_map(of)
    }

    /// A quantity of every check, counted from the centre that the last one was judged by; nothing where no check has it.
    pub fn course(&self, kind: Quantity) -> Option<Vec<Option<f64>>> {
        let last = self.checks.last()?;
        let mut line = Line::of(self, kind, last);
        let first = self.checks.iter().find_map(|c| line.at(c))?;
        line.base.retain(|c| c.id != last.id);
        let centre = Course::of(&line.values(), 0.0).map_or(first, |c| c.centre);
        Some(self.checks.iter().map(|c| line.at(c).map(|v| v - centre)).collect())
    }
}
