//! One pickup before and after.

use super::lot::Change;
use super::*;

pub(super) struct Judged<'a> {
    pub(super) name: &'a str,
    pub(super) before: &'a [Record],
    pub(super) after: &'a [Record],
    pub(super) history: Option<&'a History>,
    /// What the rig's days and laying it down anew do to one pickup.
    pub(super) days: Option<BetweenDays>,
    /// The days alone, common to all pickups of a day and to the witness, which stays where it is.
    pub(super) bare: Option<BetweenDays>,
    pub(super) about: &'a About,
}

/// Readings of one pickup on one day, or over some days.
#[derive(Debug, Clone, Copy)]
struct Side {
    /// How many.
    days: f64,
    f0: Estimate,
    q: Estimate,
    peak_db: Option<Estimate>,
    level_db: Option<Estimate>,
    sense: Option<Sense>,
}

/// Of the difference of two means, in standard deviations of a single value.
fn over(before: f64, after: f64) -> f64 {
    (1.0 / before + 1.0 / after).sqrt()
}

fn mean_of(e: &[Estimate]) -> Option<Estimate> {
    let n = e.len() as f64;
    let noise = e.iter().map(|x| x.u_noise * x.u_noise).sum::<f64>().sqrt() / n;
    let value = e.iter().map(|x| x.value).sum::<f64>() / n;
    Estimate::new(value, noise, noise)
}

/// Mean of the days' means: within a day noise averages and the day does not.
fn side(records: &[Record]) -> Option<Side> {
    let mut days: Vec<(&str, Vec<&Resonance>)> = Vec::new();
    for r in records {
        let date = r.taken_at.get(..10).unwrap_or_default();
        let Some(x) = r.reading() else { continue };
        match days.iter_mut().find(|d| d.0 == date) {
            Some(d) => d.1.push(x),
            None => days.push((date, vec![x])),
        }
    }
    // What one day lacks is told on none.
    let mean = |of: &dyn Fn(&Resonance) -> Option<Estimate>| {
        let means: Vec<Estimate> = days
            .iter()
            .map(|d| mean_of(&d.1.iter().filter_map(|r| of(r)).collect::<Vec<_>>()))
            .collect::<Option<_>>()?;
        mean_of(&means)
    };
    Some(Side {
        days: days.len() as f64,
        f0: mean(&|r| Some(r.f0_hz))?,
        q: mean(&|r| Some(r.q))?,
        peak_db: mean(&|r| r.peak_db),
        level_db: mean(&|r| r.level_db),
        sense: records.iter().find(|r| r.reading().is_some()).and_then(Sense::of),
    })
}

impl Judged<'_> {
    pub(super) fn judge(&self) -> Result<(Pair, Option<Change>)> {
        let ids = |list: &[Record]| list.iter().map(|r| r.id.clone()).collect();
        let mut pair = Pair {
            pickup: self.name.into(),
            before: ids(self.before),
            after: ids(self.after),
            f0_hz: None,
            f0_before_hz: None,
            f0_relative: None,
            q: None,
            q_relative: None,
            peak_db: None,
            level_db: None,
            c_f: None,
            knock_db: None,
            knock_text: None,
            verdict: PotVerdict::CannotTell,
            p_equivalence: None,
            repeats_needed: None,
            usual: None,
            text: String::new(),
        };
        if let Some(text) = self.another_resistance() {
            pair.verdict = PotVerdict::Other;
            pair.text = text;
            return Ok((pair, None));
        }
        if let Some(text) = self.warm() {
            pair.verdict = PotVerdict::Warm;
            pair.text = text;
            return Ok((pair, None));
        }
        pair.knock_db = self.knock()?;
        pair.knock_text = pair.knock_db.as_ref().map(change::change_words);
        let Some(b) = side(self.before) else {
            pair.text = "no reading before, so nothing to compare with".into();
            return Ok((pair, None));
        };
        let dead = self.after.last().is_some_and(|r| r.reading().is_none());
        let Some(a) = side(self.after).filter(|_| !dead) else {
            pair.verdict = PotVerdict::Other;
            pair.text = "no reading any more: a broken wire, a joint, the plug?".into();
            return Ok((pair, None));
        };
        let days = self.days;
        let over_days = over(b.days, a.days);
        let between = |s: Option<f64>| s.map_or(0.0, |s| over_days * s);
        let minus = |a: Estimate, b: Estimate, day: f64| {
            let noise = a.u_noise.hypot(b.u_noise);
            Estimate::new(a.value - b.value, noise.hypot(day), noise)
        };
        pair.f0_hz = minus(a.f0, b.f0, between(days.map(|d| d.f0 * b.f0.value)));
        pair.f0_before_hz = Some(b.f0.value);
        pair.f0_relative = Some(a.f0.value / b.f0.value - 1.0);
        pair.q_relative = Some(a.q.value / b.q.value - 1.0);
        pair.q = minus(a.q, b.q, between(days.map(|d| d.q * b.q.value)));
        let both = |a: Option<Estimate>, b: Option<Estimate>, day: f64| minus(a?, b?, day);
        // The peak's height goes with Q.
        pair.peak_db = both(a.peak_db, b.peak_db, between(days.map(|d| 8.686 * d.q)));
        pair.level_db = both(a.level_db, b.level_db, between(days.and_then(|d| d.level_db)));
        let (load_f, load_u, same_load) = self.load()?;
        let df = (a.f0.value / b.f0.value).ln();
        let uf = pair.f0_hz.map_or(f64::INFINITY, |e| e.u / b.f0.value);
        let dq = (a.q.value / b.q.value).ln();
        let uq = pair.q.map_or(f64::INFINITY, |e| e.u / b.q.value);
        let (cs, cs_u) = match self.about.winding_f {
            Some(c) => (c, 0.0),
            None => (USUAL_C_F, USUAL_C_U_F),
        };
        let growth = (-2.0 * df).exp() - 1.0;
        let whole = cs + load_f;
        let dc = whole * growth;
        let noise = pair.f0_hz.map_or(0.0, |e| e.u_noise / b.f0.value);
        pair.c_f = Estimate::new(
            dc,
            (2.0 * whole * (1.0 + growth) * uf).hypot(growth * cs_u.hypot(load_u)),
            2.0 * whole * (1.0 + growth) * noise,
        );
        let lead = self.witness_moved();
        let change = Change {
            f0: df,
            q: dq,
            c_f: dc,
            over_days,
            c_by_f0: 2.0 * whole * (1.0 + growth),
            c_open: growth.abs() * cs_u.hypot(load_u),
            lead: lead.is_some(),
        };
        let rigs = self.one_rig();
        let own = self.of_the_history();
        let Some(days) = days.filter(|_| rigs && own && same_load) else {
            pair.text = match (rigs, own, same_load) {
                (false, ..) if self.before.iter().chain(self.after).all(|r| !r.rig.given) => {
                    "measured without a rig file".into()
                }
                (false, ..) => match self.unlike() {
                    keys if keys.is_empty() => format!("measured on two rigs ({})", self.rigs()),
                    keys => format!(
                        "{} is not the same in these readings, and a take is gone",
                        keys.join(", ")
                    ),
                },
                (_, false, _) => match self.history.map_or("another rig", |h| h.rig.as_str()) {
                    own if own == self.rigs() => {
                        format!("measured on another unit of {own}")
                    }
                    other => format!("measured on {}, and the days are those of {other}", self.rigs()),
                },
                (_, _, false) => "measured under two loads".into(),
                _ => match self.history.map_or(0, |h| h.checks.iter().filter(|c| c.go).count()) {
                    0 => "the rig has no history yet".into(),
                    n => format!("the rig has {n} of the {BASELINE} good checks that tell what its days do"),
                },
            };
            // Two rigs, or two loads, tell nothing of the wax.
            return Ok((pair, (rigs && own && same_load).then_some(change)));
        };
        let limits = self.about.limits;
        let p = equivalence(df, uf, days.freedom, limits.f0)
            .p
            .max(equivalence(dq, uq, days.freedom, limits.q).p);
        pair.p_equivalence = Some(p);
        let t = t_975(days.freedom);
        let (f_moved, q_moved) = (df.abs() > t * uf, dq.abs() > t * uq && dq.abs() > limits.q);
        (pair.verdict, pair.text) = if a.sense.zip(b.sense).is_some_and(|(a, b)| !a.same(b)) {
            (
                PotVerdict::Other,
                "the sign is the other one: leads swapped, or the exciter turned?".into(),
            )
        } else if p < ALPHA {
            (
                PotVerdict::Unchanged,
                format!(
                    "within the limits (f0 {} %, Q {} %)",
                    signed(100.0 * df.exp_m1(), 2),
                    signed(100.0 * dq.exp_m1(), 1)
                ),
            )
        } else if let Some(text) = lead {
            (PotVerdict::CannotTell, text)
        } else if q_moved
            || (f_moved && df > 0.0)
            || (f_moved && dc > WAX_MOST * (cs + 1.96 * cs_u) + t * 2.0 * whole * uf)
        {
            (PotVerdict::Other, other(df, dq, f_moved, q_moved))
        } else if f_moved {
            (
                PotVerdict::Wax,
                format!(
                    "f0 {} %, {:.0} pF more in the winding, Q hardly another",
                    signed(100.0 * df.exp_m1(), 2),
                    1e12 * dc
                ),
            )
        } else {
            // As if every side had as many days as both have together.
            let each = 2.0 / (over_days * over_days);
            pair.repeats_needed = needed(df, uf, (limits.f0, true), days.freedom, each).max(needed(
                dq,
                uq,
                (limits.q, false),
                days.freedom,
                each,
            ));
            let more = pair.repeats_needed.map_or(String::new(), |n| {
                format!(
                    "; readings on {n} day{} before and after would tell",
                    if n == 1 { "" } else { "s" }
                )
            });
            (
                PotVerdict::CannotTell,
                format!(
                    "neither unchanged for sure nor changed for sure (f0 {} %){more}",
                    signed(100.0 * df.exp_m1(), 2)
                ),
            )
        };
        Ok((pair, Some(change)))
    }

    /// Capacitance that hangs on the winding besides its own, with what the rig leaves open of it, and whether it is the same in
    /// all records.
    fn load(&self) -> Result<(f64, f64, bool)> {
        let whole = |r: &Record| -> Result<f64> { Ok(load_of(r).map_or(0.0, |l| l.capacitance()) + input_of(r).1) };
        let first = whole(&self.before[0])?;
        let text = |r: &Record| r.load.as_ref().map(|l| l.text.clone());
        let same = self
            .before
            .iter()
            .chain(self.after)
            .all(|r| text(r) == text(&self.before[0]));
        let (_, farad) = input_of(&self.before[0]);
        let u = input_u(&self.before[0], None)[1].map_or(0.0, |u| u * farad);
        Ok((first, u, same))
    }

    /// Levels count from the exciter's answer, which another rig or another load makes another one.
    fn knock(&self) -> Result<Option<Estimate>> {
        if !(self.one_rig() && self.load()?.2) {
            return Ok(None);
        }
        let day = self.days.and_then(|d| d.level_db).unwrap_or(0.0);
        let of = |r: &[Record]| side(r).map_or(1.0, |s| s.days);
        let over_days = over(of(self.before), of(self.after));
        Ok(change::change(self.before, self.after, over_days * day))
    }

    fn one_rig(&self) -> bool {
        let first = &self.before[0].rig;
        self.before.iter().chain(self.after).all(|r| same_rig(first, &r.rig)) && self.unlike().is_empty()
    }

    /// Keys of the rig's file by which the readings were worked out otherwise.
    fn unlike(&self) -> Vec<String> {
        let first = &self.before[0];
        let all = self.before.iter().chain(self.after);
        let of_it = all.filter(|r| same_rig(&first.rig, &r.rig));
        of_it
            .map(|r| unlike(first, r))
            .find(|keys| !keys.is_empty())
            .unwrap_or_default()
    }

    /// Whether the rig whose days are known is the one of the records.
    fn of_the_history(&self) -> bool {
        let Some(h) = self.history else { return true };
        self.before.iter().chain(self.after).all(|r| h.is_of(&r.rig))
    }

    fn rigs(&self) -> String {
        let mut names: Vec<&str> = Vec::new();
        for r in self.before.iter().chain(self.after) {
            let n = r.rig.name.as_deref().unwrap_or("none given");
            if !names.contains(&n) {
                names.push(n);
            }
        }
        names.join(", ")
    }

    /// The check of the witness that was made nearest to a reading, if within [`NEAR_H`].
    fn nearest(&self, record: &Record) -> Option<&Check> {
        let at = |s: &str| s.parse::<jiff::Timestamp>().ok();
        let read = at(&record.taken_at)?;
        let away = |c: &Check| Some((read.duration_since(at(&c.taken_at)?).as_secs_f64() / 3600.0).abs());
        let near = self.history?.checks.iter().filter_map(|c| Some((away(c)?, c)));
        near.filter(|(h, _)| *h <= NEAR_H)
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|n| n.1)
    }

    /// Nobody looked at the witness about one of the days.
    pub(super) fn unchecked(&self) -> bool {
        let mut all = self.before.iter().chain(self.after);
        all.any(|r| self.nearest(r).is_none())
    }

    /// A lead that moved between the days looks like wax: the witness tells, where it was checked about them.
    fn witness_moved(&self) -> Option<String> {
        let days = self.bare?;
        let about = |records: &[Record]| -> Vec<&Check> {
            let mut out: Vec<&Check> = Vec::new();
            for c in records.iter().filter_map(|r| self.nearest(r)) {
                if !out.iter().any(|o| o.id == c.id) {
                    out.push(c);
                }
            }
            out
        };
        let (before, after) = (about(self.before), about(self.after));
        // One check for both sides is of one state of the rig.
        if before.is_empty() || after.is_empty() || before.iter().any(|b| after.iter().any(|a| a.id == b.id)) {
            return None;
        }
        if let Some(bad) = before.iter().chain(&after).find(|c| !c.go) {
            return Some(format!(
                "the rig's check of {} was NO GO, so something else than wax may have done it",
                bad.taken_at.get(..10).unwrap_or("that day")
            ));
        }
        let ln = |list: &[&Check]| mean(&list.iter().map(|c| c.f0_hz.value.ln()).collect::<Vec<_>>());
        let moved = ln(&after)? - ln(&before)?;
        let over_days = over(before.len() as f64, after.len() as f64);
        (moved.abs() > t_975(days.freedom) * days.f0 * over_days).then(|| {
            format!(
                "the witness moved by {} % between the days as well, so a lead may have done it",
                signed(100.0 * moved.exp_m1(), 2)
            )
        })
    }

    /// Why the coil is too warm to be judged, and when to come back; `None` where nothing says so.
    fn warm(&self) -> Option<String> {
        let last = self.after.last().map(|r| r.taken_at.as_str());
        let at = last.and_then(|t| t.parse::<jiff::Timestamp>().ok());
        let zone = last.and_then(zone_of).unwrap_or(jiff::tz::TimeZone::UTC);
        let back = |hours: f64| {
            let then = at?
                .checked_add(jiff::SignedDuration::from_secs((3600.0 * hours) as i64))
                .ok()?;
            Some(format!(
                "; measure again after {}",
                then.to_zoned_datetime(zone.clone()).strftime("%H:%M")
            ))
        };
        if let Some(rested) = self.about.rested_h
            && rested < RESTED_H
        {
            let back = back(RESTED_H - rested).unwrap_or_default();
            return Some(format!(
                "too warm to judge: {rested:.1} h out of the wax, {RESTED_H:.0} h are wanted{back}"
            ));
        }
        let (temperature, above) = self.warmth()?;
        (above > WARM_K && self.about.rested_h.is_none()).then(|| {
            let back = back(COOLS_H * (above / WARM_K).ln().max(0.5)).unwrap_or_default();
            format!("too warm to judge: the winding's resistance says {temperature:.0} degrees, {above:.0} above the room{back}")
        })
    }

    /// A resistance that no warmth makes.
    fn another_resistance(&self) -> Option<String> {
        let (_, above) = self.warmth()?;
        let text = |share: f64| {
            format!(
                "{:.0} % {} resistance than before",
                100.0 * share.abs(),
                if share > 0.0 { "more" } else { "less" }
            )
        };
        let share = PER_K * above;
        if above > MOST_WARM_K {
            return Some(format!(
                "{}: a joint, a broken strand, another meter's range?",
                text(share)
            ));
        }
        (above < -COLDER_K).then(|| format!("{}: shorted turns, or another pickup?", text(share)))
    }

    /// What the winding's resistance says of its temperature during a reading after the wax, and how far that is above the room;
    /// `None` where there is no reading of one ohmmeter, with the room, on both sides: two may differ by more than warmth does.
    pub(super) fn warmth_of(&self, after: &Record) -> Option<(f64, f64)> {
        let known = |r: &Record, meter: Option<&str>| {
            let o = r.ohms_by(meter)?;
            Some((o.ohm, o.temperature_c?))
        };
        let cold = |meter: Option<&str>| self.before.iter().find_map(|r| known(r, meter));
        let ((rb, tb), (ra, ta)) = after
            .ohms()
            .into_iter()
            .find_map(|o| Some((cold(o.meter.as_deref())?, known(after, o.meter.as_deref())?)))?;
        let temperature = ra / rb * (COPPER_C + tb) - COPPER_C;
        Some((temperature, temperature - ta))
    }

    /// Of the last reading after the wax of which it is known.
    pub(super) fn warmth(&self) -> Option<(f64, f64)> {
        self.after.iter().rev().find_map(|r| self.warmth_of(r))
    }

    /// Hours between the last reading before and the first one after.
    pub(super) fn apart_h(&self) -> Option<f64> {
        let at = |r: &Record| r.taken_at.parse::<jiff::Timestamp>().ok();
        let last = self.before.iter().filter_map(at).max()?;
        let first = self.after.iter().filter_map(at).min()?;
        Some(first.duration_since(last).as_secs_f64() / 3600.0)
    }
}

/// The zone of an RFC 3339 time.
fn zone_of(time: &str) -> Option<jiff::tz::TimeZone> {
    let offset = jiff::fmt::temporal::Pieces::parse(time).ok()?.to_numeric_offset()?;
    Some(jiff::tz::TimeZone::fixed(offset))
}

/// What a change that is not wax looks like.
fn other(df: f64, dq: f64, f_moved: bool, q_moved: bool) -> String {
    let sizes = format!(
        "f0 {} %, Q {} %",
        signed(100.0 * df.exp_m1(), 2),
        signed(100.0 * dq.exp_m1(), 1)
    );
    let up = f_moved && df > 0.0;
    let guess = if q_moved && dq < 0.0 && up {
        "less inductance and more loss: shorted turns?"
    } else if q_moved && dq < 0.0 {
        "more loss: a cover, a plate, a joint, another resistor?"
    } else if up {
        "wax never raises f0: a lead unplugged, turns lost?"
    } else if q_moved {
        "less loss than before: was a resistor or a pot across it?"
    } else {
        "more than wax can do: a longer lead, a capacitor across it?"
    };
    format!("{sizes}; {guess}")
}

/// Days on either side after which the change at hand would most likely (80 %) be told, as none or as one; `None` where the
/// `days` there are (on either side) are enough. `u` is that of so many.
fn needed(change: f64, u: f64, (limit, some_tells): (f64, bool), freedom: f64, days: f64) -> Option<u32> {
    let t = |p: f64| student(p, freedom);
    let likely = t(0.8);
    let none = (t(1.0 - ALPHA) + likely) * u / (limit - change.abs()).max(0.0);
    // Within its limit a difference is none, however sure; `some_tells`: to be told from nothing is a verdict too.
    let some = match some_tells || change.abs() > limit {
        true => (t(1.0 - 0.5 * ALPHA) + likely) * u / change.abs(),
        false => f64::INFINITY,
    };
    let n = (days * none.min(some).powi(2)).ceil();
    (n >= days.round() + 1.0 && n < 1e4).then_some(n as u32)
}
