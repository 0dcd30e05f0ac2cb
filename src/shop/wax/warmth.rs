//! Whether the coils had cooled, and what says so.

use super::about::About;
use super::document::{Pair, PotVerdict, Reason, Remark};
use super::sides::Sides;
use crate::copper::{self, PER_K};
use crate::record::Record;
use crate::record::ohms::Ohms;

/// Hours after which a coil is as cold as its room (choice: overnight).
pub const RESTED_H: f64 = 10.0;
/// From here on ohms are not back where they were, relative: the winding is warm (the shop's rule; 1.3 K of copper).
pub const BACK: f64 = 0.005;
const WARM_K: f64 = BACK / PER_K;
/// Time constant with which a potted coil cools, for a guess at when to come back (choice).
const COOLS_H: f64 = 1.0;
/// Wax is no hotter above a room than this, and no winding is colder than its room by so much.
const MOST_WARM_K: f64 = 100.0;
const COLDER_K: f64 = 15.0;
/// Copper: R goes with 234.5 + T in degrees Celsius (resistance method; IEC 60034-1, recalled, not verified).
const COPPER_C: f64 = 234.5;

/// What one ohmmeter read of a winding.
#[derive(Debug, Clone, Copy)]
pub(super) struct TwoOhms {
    before: f64,
    after: f64,
    /// Where both rooms are known.
    pub(super) rooms: Option<[f64; 2]>,
}

impl TwoOhms {
    /// At 20 degrees, where the rooms are known.
    pub(super) fn ohm(&self) -> [f64; 2] {
        let [tb, ta] = self.rooms.map_or([None; 2], |r| r.map(Some));
        [(self.before, tb), (self.after, ta)].map(|(ohm, t)| copper::r20(Some(ohm), t).unwrap_or(ohm))
    }

    /// Kelvins above the room; where nobody told the rooms they are taken for one.
    fn above_k(&self) -> f64 {
        let [tb, ta] = self.rooms.unwrap_or([20.0; 2]);
        self.celsius(tb) - ta
    }

    fn celsius(&self, before: f64) -> f64 {
        self.after / self.before * (COPPER_C + before) - COPPER_C
    }

    fn reason(&self) -> Reason {
        match self.rooms {
            Some([tb, _]) => Reason::WarmWinding {
                celsius: self.celsius(tb),
                above_k: self.above_k(),
            },
            None => Reason::OhmsNotBack {
                relative: self.after / self.before - 1.0,
            },
        }
    }
}

impl Sides<'_> {
    /// What the winding's resistance says of a reading after the wax; `None` where no ohmmeter has read on both sides: two may
    /// differ by more than warmth does. One with the rooms goes before one without.
    fn ohms_of(&self, after: &Record) -> Option<TwoOhms> {
        let both = |o: Ohms| {
            let before = self.before.iter().filter_map(|r| r.ohms_by(o.meter.as_deref()));
            let cold = before.min_by_key(|b| b.temperature_c.is_none())?;
            Some(TwoOhms {
                before: cold.ohm,
                after: o.ohm,
                rooms: cold.temperature_c.zip(o.temperature_c).map(|(b, a)| [b, a]),
            })
        };
        let all = after.ohms().into_iter().filter_map(both);
        all.min_by_key(|o| o.rooms.is_none())
    }

    /// Of the last reading after the wax of which it is known.
    pub(super) fn ohms(&self) -> Option<TwoOhms> {
        self.after.iter().rev().find_map(|r| self.ohms_of(r))
    }

    /// A reading of a warm day has no part in the mean of cold ones; `None` where all are warm, or none.
    pub(super) fn without_warm(&self) -> Option<Self> {
        let warm = |r: &Record| {
            let above = self.ohms_of(r).map(|o| o.above_k());
            above.is_some_and(|k| k > WARM_K && k <= MOST_WARM_K)
        };
        let after: Vec<&Record> = self.after.iter().copied().filter(|r| !warm(r)).collect();
        (!after.is_empty() && after.len() < self.after.len()).then(|| Sides { after, ..self.clone() })
    }

    /// Whether the coil is not judged by its response at all, and then why.
    pub(super) fn unfit(&self, about: &About, pair: &mut Pair) -> bool {
        let ohms = self.ohms();
        let above = ohms.map(|o| o.above_k());
        (pair.verdict, pair.reason) = match (about.rested_h, ohms.zip(above)) {
            (_, Some((_, above_k))) if !(-COLDER_K..=MOST_WARM_K).contains(&above_k) => {
                let relative = PER_K * above_k;
                (PotVerdict::Other, Reason::Resistance { relative })
            }
            (Some(rested_h), _) if rested_h < RESTED_H => {
                pair.again_at = self.in_hours(RESTED_H - rested_h);
                (PotVerdict::Warm, Reason::TooSoon { rested_h })
            }
            (None, Some((ohms, above_k))) if above_k > WARM_K => {
                pair.again_at = self.in_hours(COOLS_H * (above_k / WARM_K).ln().max(0.5));
                (PotVerdict::Warm, ohms.reason())
            }
            _ => return false,
        };
        true
    }

    /// By the clock that the last record was made by.
    fn in_hours(&self, hours: f64) -> Option<String> {
        let last = self.after.last()?.taken_at.as_str();
        let at = crate::record::when::moment(last)?;
        let offset = jiff::fmt::temporal::Pieces::parse(last).ok()?.to_numeric_offset();
        let zone = offset.map_or(jiff::tz::TimeZone::UTC, jiff::tz::TimeZone::fixed);
        let then = at.checked_add(jiff::SignedDuration::from_secs((3600.0 * hours) as i64));
        Some(then.ok()?.to_zoned_datetime(zone).strftime("%H:%M").to_string())
    }

    /// Whether one ohmmeter has read on both sides, or none on one.
    fn one_meter(&self) -> bool {
        let meters =
            |list: &[&Record]| -> Vec<Option<String>> { list.iter().flat_map(|r| r.ohms()).map(|o| o.meter).collect() };
        let (b, a) = (meters(&self.before), meters(&self.after));
        a.is_empty() || b.is_empty() || b.iter().any(|m| a.contains(m))
    }
}

/// Why a reading after the wax is of a warm winding, by its ohms; `None` where they are back, or not known.
pub fn not_back(before: &[Record], after: &Record) -> Option<Reason> {
    let own = before.iter().filter(|r| r.pickup.name == after.pickup.name);
    let sides = Sides {
        name: after.pickup.name.clone(),
        before: own.collect(),
        after: vec![after],
    };
    let warm = sides.ohms_of(after).filter(|o| o.above_k() > WARM_K)?;
    Some(warm.reason())
}

/// What is to be said of how cold the coils were.
pub(super) fn remarks(pairs: &[Sides], about: &About, simulated: bool) -> Vec<Remark> {
    let told: Vec<(&Sides, f64)> = pairs.iter().filter_map(|s| Some((s, s.ohms()?.above_k()))).collect();
    let warm = told
        .iter()
        .filter(|t| t.1 > WARM_K)
        .map(|(s, above)| (s.name.clone(), *above));
    let warm: Vec<(String, f64)> = warm.collect();
    let untold = pairs.len() - told.len();
    let Some(rested_h) = about.rested_h else {
        let said = match (untold, warm.is_empty()) {
            (0, true) => Some(Remark::ColdByResistance),
            (0, false) => None,
            _ if !pairs.iter().all(Sides::one_meter) => Some(Remark::TwoMeters),
            _ => Some(Remark::ColdUntold((!told.is_empty()).then_some(untold))),
        };
        return said.into_iter().collect();
    };
    let mut out = Vec::new();
    if !warm.is_empty() {
        out.push(Remark::RestedYetWarm(warm));
    }
    let apart = pairs.iter().filter_map(Sides::apart_h).filter(|h| *h >= 0.0);
    let apart_h = apart.fold(f64::INFINITY, f64::min);
    if apart_h < rested_h && !simulated {
        out.push(Remark::RestedTooLong { rested_h, apart_h });
    }
    out
}
