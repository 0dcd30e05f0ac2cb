//! What to wind next: the pickup that makes one set more with what is left over, and would do so with most of it.

use super::candidate::Candidate;
use super::document::{Next, Range};
use super::figure;
use super::group::{Group, Rule, turned};
use super::plan::{Place, Plan, word};
use super::solve;
use crate::shop::yardstick::Quantity;

/// A set that lacks one pickup: what that has to be.
type Gap = Vec<Range>;

/// `left`: of each group what is in no set.
pub fn next(left: &[(&Group, Vec<&Candidate>)], rule: Rule) -> Option<Next> {
    let mut best: Option<Next> = None;
    for (group, pickups) in left {
        let mut positions = Vec::new();
        for (at, place) in rule.plan.places.iter().enumerate() {
            // The first and another of the same position are two questions; two others are one.
            if at > 0 && positions.contains(&place.position) {
                continue;
            }
            if at > 0 {
                positions.push(place.position);
            }
            let found = widest(gaps(pickups, rule, at)).map(|(ranges, completes, of)| Next {
                place: word(place.position).into(),
                completes,
                of,
                ranges,
                spacing_m: group.spacing_m,
                winding: sense(group, place).map(|s| s.0),
                magnet: sense(group, place).map(|s| s.1),
            });
            let more = |n: &Next| best.as_ref().is_none_or(|b| n.completes > b.completes);
            best = found.filter(more).or(best);
        }
    }
    best
}

fn sense(group: &Group, place: &Place) -> super::group::Sense {
    let first = group.sense?;
    Some(if place.reversed { turned(first) } else { first })
}

/// Sets without that place, made of what is left.
fn gaps(left: &[&Candidate], rule: Rule, at: usize) -> Vec<Gap> {
    let plan = rule.plan.without(at);
    let part = Rule { plan: &plan, ..rule };
    let parts: Vec<Vec<&Candidate>> = match plan.places.as_slice() {
        [one] => {
            let fits = |c: &&&Candidate| one.position.is_none() || c.about.position == one.position;
            left.iter().filter(fits).map(|c| vec![*c]).collect()
        }
        _ => {
            let (packing, _) = solve::best(&part.stars(left));
            let pickups = |s: &Vec<usize>| s.iter().map(|i| left[*i]).collect();
            packing.sets.iter().map(pickups).collect()
        }
    };
    parts.iter().filter_map(|part| gap(part, &plan, rule, at)).collect()
}

fn gap(part: &[&Candidate], plan: &Plan, rule: Rule, at: usize) -> Option<Gap> {
    let place = &rule.plan.places[at];
    if let (Some(target), Some(first)) = (&place.target, part.first()) {
        let range = |(figure, target): &(Quantity, f64)| Range::about(*figure, first, *target, rule);
        return target.iter().map(range).collect();
    }
    // The first is missing: each of the others says where it has to be.
    let mut out: Gap = Vec::new();
    let seats = Rule { plan, ..rule };
    for (c, seat) in part.iter().zip(seats.seats()) {
        let own = rule.plan.places.iter().skip(1).find(|p| p.position == seat.position)?;
        for (figure, target) in own.target.iter().flatten() {
            let range = Range::about(*figure, c, -target, rule)?;
            match out.iter_mut().find(|r| r.figure == *figure) {
                Some(r) => *r = r.and(&range)?,
                None => out.push(range),
            }
        }
    }
    Some(out)
}

/// The windows that most gaps have in common, how many those are, and of how many.
fn widest(gaps: Vec<Gap>) -> Option<(Gap, usize, usize)> {
    let fits = |g: &Gap, wanted: &Gap| {
        wanted.len() == g.len()
            && g.iter()
                .zip(wanted)
                .all(|(w, x)| w.from <= x.wanted && x.wanted <= w.to)
    };
    let counted = gaps.iter().map(|w| (gaps.iter().filter(|g| fits(g, w)).count(), w));
    // Of several the first.
    let (count, wanted) = counted.reduce(|a, b| if b.0 > a.0 { b } else { a })?;
    let common = gaps.iter().filter(|g| fits(g, wanted)).fold(wanted.clone(), |all, g| {
        let both = all.iter().zip(g).map(|(a, b)| Range {
            from: a.from.max(b.from),
            to: a.to.min(b.to),
            ..*a
        });
        both.collect()
    });
    Some((common, count, gaps.len()))
}

impl Range {
    /// What lies so far off one that is there.
    fn about(figure: Quantity, there: &Candidate, off: f64, rule: Rule) -> Option<Range> {
        let limit = rule.terms.of(figure).limit;
        let wanted = figure::at(figure, there.value(figure)?, off);
        Some(Range {
            figure,
            from: figure::at(figure, wanted, -limit),
            to: figure::at(figure, wanted, limit),
            wanted,
        })
    }

    /// What both allow; `None`: nothing.
    fn and(&self, other: &Range) -> Option<Range> {
        let (from, to) = (self.from.max(other.from), self.to.min(other.to));
        (from <= to).then_some(Range {
            from,
            to,
            wanted: 0.5 * (from + to),
            ..*self
        })
    }
}
