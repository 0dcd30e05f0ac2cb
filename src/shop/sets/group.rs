//! Pickups that may be in one set at all: of one string spacing and, where one place is to be reversed, of windings and poles that
//! go together.

use super::candidate::Candidate;
use super::document::{Out, WhyOut};
use super::figure::Terms;
use super::plan::{Place, Plan};
use super::stars::{Kind, Stars};
use crate::failure::{Failure, Result};
use crate::record::about::{Pole, Winding};
use crate::shop::yardstick::Quantity;
use crate::stats::grouped;

/// Spacings nearer than this are one: what calipers tell over poles (common practice).
const ONE_SPACING_M: f64 = 0.2e-3;
/// Sums are counted in millionths, so that they are whole numbers.
pub const WHOLE: f64 = 1e6;

/// Winding and pole of the first of a set.
pub type Sense = Option<(Winding, Pole)>;

#[derive(Debug, Clone)]
pub struct Group<'a> {
    pub spacing_m: Option<f64>,
    pub sense: Sense,
    pub pickups: Vec<&'a Candidate>,
}

/// What a set is held to.
#[derive(Debug, Clone, Copy)]
pub struct Rule<'a> {
    pub plan: &'a Plan,
    pub terms: &'a Terms,
}

/// The pickups by groups, and those that fit in none.
pub fn groups<'a>(all: &'a [Candidate], plan: &Plan) -> (Vec<Group<'a>>, Vec<Out>) {
    let mut out = Vec::new();
    let mut fit: Vec<&Candidate> = Vec::new();
    for c in all {
        match unfit(c, plan) {
            None => fit.push(c),
            Some(left_out) => out.push(left_out),
        }
    }
    // By size, so that one chain of spacings is not cut at random.
    let size = |c: &Candidate| c.about.spacing_m.unwrap_or(0.0);
    fit.sort_by(|a, b| size(a).total_cmp(&size(b)));
    let mut begun: Option<f64> = None;
    let keyed = fit.into_iter().map(|c| {
        let spacing = c.about.spacing_m.map(|own| match begun {
            Some(b) if own - b <= ONE_SPACING_M => b,
            _ => own,
        });
        begun = spacing;
        ((spacing, of_the_first(c, plan)), c)
    });
    let groups = grouped(keyed).into_iter().map(|((spacing_m, sense), pickups)| Group {
        spacing_m,
        sense,
        pickups,
    });
    (groups.collect(), out)
}

fn unfit(c: &Candidate, plan: &Plan) -> Option<Out> {
    let named = plan.first().position.is_some();
    let mut missing = Vec::new();
    if named && c.about.position.is_none() {
        missing.push("position");
    }
    if plan.asks_for_sense() {
        missing.extend(c.about.winding.is_none().then_some("winding"));
        missing.extend(c.about.magnet.is_none().then_some("magnet"));
    }
    if missing.is_empty() {
        let Some(place) = plan.takes(c.about.position) else {
            return Some(Out::new(&c.name, WhyOut::NoPlace, Vec::new()));
        };
        let untold = asked(plan, place).into_iter().filter(|f| c.value(*f).is_none());
        missing = untold.map(Quantity::code).collect();
    }
    let missing: Vec<String> = missing.into_iter().map(str::to_owned).collect();
    (!missing.is_empty()).then(|| Out::new(&c.name, WhyOut::NotTold, missing))
}

/// The figures that a pickup of this place is held by: of the first all that any other is.
fn asked(plan: &Plan, place: &Place) -> Vec<Quantity> {
    let all = match place.target.is_some() {
        true => std::slice::from_ref(place),
        false => plan.places.as_slice(),
    };
    let targets = all.iter().flat_map(|p| p.target.iter().flatten());
    let mut out: Vec<Quantity> = targets.map(|t| t.0).collect();
    out.sort_unstable();
    out.dedup();
    out
}

/// Winding and pole that the first of its set has.
fn of_the_first(c: &Candidate, plan: &Plan) -> Sense {
    let own = c.about.winding.zip(c.about.magnet).filter(|_| plan.asks_for_sense())?;
    Some(match plan.takes(c.about.position)?.reversed {
        true => turned(own),
        false => own,
    })
}

pub fn turned((winding, pole): (Winding, Pole)) -> (Winding, Pole) {
    let winding = match winding {
        Winding::Clockwise => Winding::Anticlockwise,
        Winding::Anticlockwise => Winding::Clockwise,
    };
    let pole = match pole {
        Pole::North => Pole::South,
        Pole::South => Pole::North,
    };
    (winding, pole)
}

/// So many of one kind are chosen from at once: tables go with the square of it, time with the cube.
const MOST_AT_ONCE: usize = 2000;
/// Sums of all sets, and prices of all pickups, stay this far below what a whole number holds.
const ROOM: f64 = 32.0;

impl Rule<'_> {
    /// Refuses what would take too long, or more than whole numbers hold.
    pub fn bears(&self, pickups: usize) -> Result<()> {
        if pickups > MOST_AT_ONCE {
            return Err(Failure::new(
                format!("{pickups} pickups are too many to choose sets from at once: {MOST_AT_ONCE} can be"),
                "give names (\"neck-*\"), --lot or --since, and say what is sold: coilwright book sold NAME",
            ));
        }
        let dearest = |place: &Place| -> f64 {
            let terms = place.target.iter().flatten().map(|t| self.terms.of(t.0));
            terms.map(|t| t.weight * (t.limit / t.matters).powi(2)).sum()
        };
        let dearest = self.plan.places.iter().map(dearest).fold(0.0, f64::max);
        if dearest * WHOLE * ROOM * (pickups as f64).powi(2) < i64::MAX as f64 {
            return Ok(());
        }
        Err(Failure::new(
            "a limit lies too many times what matters away to be weighed against it",
            "give a nearer --limit, a smaller --weight, or more that matters (`coilwright use --matters`)",
        ))
    }

    /// What each deviation of the second beside the first adds to the sum, in units of what matters, squared and weighted; `None`: it
    /// is beyond a limit.
    pub fn sum(&self, first: &Candidate, second: &Candidate, place: &Place) -> Option<f64> {
        let mut sum = 0.0;
        for (figure, target) in place.target.iter().flatten() {
            let term = self.terms.of(*figure);
            let off = Candidate::off(first, second, *figure, *target)?;
            if off.abs() > term.limit {
                return None;
            }
            sum += term.weight * (off / term.matters).powi(2);
        }
        Some(sum)
    }

    /// Variance of that by what was measured: of the square of a deviation d with uncertainty u, 4 d^2 u^2 + 2 u^4.
    pub fn variance(&self, first: &Candidate, second: &Candidate, place: &Place) -> f64 {
        let each = place.target.iter().flatten().filter_map(|(figure, target)| {
            let term = self.terms.of(*figure);
            let off = Candidate::off(first, second, *figure, *target)? / term.matters;
            let u = Candidate::unsure(first, second, *figure)? / term.matters;
            Some(term.weight.powi(2) * (4.0 * (off * u).powi(2) + 2.0 * u.powi(4)))
        });
        each.sum()
    }

    /// What sets could be made of these.
    pub fn stars(&self, pickups: &[&Candidate]) -> Stars {
        let at = |c: &Candidate, place: &Place| place.position.is_none() || c.about.position == place.position;
        let cost = |first: &Candidate, second: &Candidate, place: &Place| {
            let fit = at(first, self.plan.first()) && at(second, place) && first.id != second.id;
            let sum = self.sum(first, second, place).filter(|_| fit)?;
            Some((WHOLE * sum).round() as i64)
        };
        let kinds = self.plan.kinds().into_iter().map(|(place, count)| Kind {
            count,
            cost: pickups
                .iter()
                .map(|a| pickups.iter().map(|b| cost(a, b, place)).collect())
                .collect(),
        });
        Stars {
            pickups: pickups.len(),
            kinds: kinds.collect(),
        }
    }

    /// The places in the order in which a packing has its pickups.
    pub fn seats(&self) -> Vec<&Place> {
        let kinds = self.plan.kinds().into_iter();
        let others = kinds.flat_map(|(p, n)| std::iter::repeat_n(p, n));
        std::iter::once(self.plan.first()).chain(others).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::about::{About, Position};
    use crate::shop::sets::candidate::tests::made;
    use crate::shop::yardstick::Matters;

    fn at(name: &str, position: Option<Position>, spacing_m: Option<f64>, sense: Sense) -> Candidate {
        let about = About {
            position,
            spacing_m,
            winding: sense.map(|s| s.0),
            magnet: sense.map(|s| s.1),
            by: None,
        };
        made(name, about, [Some(4000.0), None, None, None], 0.001)
    }

    #[test]
    fn spacings_are_never_mixed() {
        let neck = Some(Position::Neck);
        let all = [
            ("a", None),
            ("b", Some(0.052)),
            ("c", Some(0.0521)),
            ("d", Some(0.0495)),
        ]
        .map(|(name, s)| at(name, neck, s, None));
        let plan = Plan::new("2", &[], &[]).unwrap().alike_in(&[Quantity::Peak]);
        let (found, out) = groups(&all, &plan);
        let names = |g: &Group| g.pickups.iter().map(|c| c.name.as_str()).collect::<String>();
        assert_eq!(found.iter().map(names).collect::<Vec<_>>(), ["a", "d", "bc"]);
        assert!(out.is_empty());
    }

    #[test]
    fn the_reversed_one_is_so_in_both() {
        use {Pole::*, Position::*, Winding::*};
        let plan = Plan::new("3", &[], &["middle".into()])
            .unwrap()
            .alike_in(&[Quantity::Peak]);
        let all = [
            at("a", Some(Neck), None, Some((Clockwise, North))),
            at("b", Some(Middle), None, Some((Anticlockwise, South))),
            at("c", Some(Bridge), None, Some((Clockwise, North))),
            at("only its winding", Some(Middle), None, Some((Anticlockwise, North))),
            at("no word of it", Some(Middle), None, None),
            at("no place", None, None, Some((Clockwise, North))),
        ];
        let (found, out) = groups(&all, &plan);
        let names = |g: &Group| g.pickups.iter().map(|c| c.name.as_str()).collect::<Vec<_>>().join(" ");
        assert_eq!(
            found.iter().map(names).collect::<Vec<_>>(),
            ["a b c", "only its winding"]
        );
        assert_eq!(
            (out[0].why, out[0].what.join(" ")),
            (WhyOut::NotTold, "winding magnet".into())
        );
        assert_eq!(
            (out[1].why, out[1].what.join(" ")),
            (WhyOut::NotTold, "position".into())
        );
    }

    #[test]
    fn deviations_add_up_by_what_matters_and_end_at_the_limit() {
        let terms = Terms::usual(&Matters::default()).weighted("peak=3").unwrap();
        let plan = Plan::new("2", &["bridge: peak -5%".into()], &[]).unwrap();
        let rule = Rule {
            plan: &plan,
            terms: &terms,
        };
        let of = |peak: f64| made("x", About::default(), [Some(peak), None, None, None], 0.001);
        let place = &plan.places[1];
        let sum = |peak: f64| rule.sum(&of(4000.0), &of(peak), place);
        assert!((sum(4000.0 * 0.95 * 0.01f64.exp()).unwrap() - 3.0).abs() < 1e-9);
        assert_eq!(sum(4000.0), None);
        // By drawing instead: the variance of 3 (d/m)^2 with d 1 %, m 1 % and the uncertainty that it says.
        let (a, b) = (of(4000.0), of(4000.0 * 0.95 * 0.01f64.exp()));
        let u = Candidate::unsure(&a, &b, Quantity::Peak).unwrap() / 0.01;
        let mut dice = rand_chacha::ChaCha8Rng::from_seed([3; 32]);
        let draws: Vec<f64> = (0..40_000)
            .map(|_| 3.0 * (1.0 + u * normal(&mut dice)).powi(2))
            .collect();
        let drawn = crate::stats::sd(&draws).unwrap().powi(2);
        assert!((rule.variance(&a, &b, place) / drawn - 1.0).abs() < 0.05, "{drawn}");
    }

    #[test]
    fn what_would_run_over_is_refused() {
        let plan = Plan::new("2", &["bridge: peak 0%".into()], &[]).unwrap();
        let of = |matters: &str, limit: &str, pickups: usize| {
            let terms = Terms::usual(&Matters::parse(matters).unwrap()).limited(limit).unwrap();
            let rule = Rule {
                plan: &plan,
                terms: &terms,
            };
            rule.bears(pickups).map_err(|e| e.to_string())
        };
        assert_eq!(of("peak=1%", "peak=3%", MOST_AT_ONCE), Ok(()));
        assert!(
            of("peak=1%", "peak=3%", MOST_AT_ONCE + 1)
                .unwrap_err()
                .contains("at once: 2000 can be; ")
        );
        let far = of("peak=0.00001%", "peak=90%", 2).unwrap_err();
        assert!(far.contains("too many times what matters"), "{far}");
    }

    use rand_chacha::rand_core::{Rng, SeedableRng};

    /// Twelve even ones less six.
    fn normal(rng: &mut impl Rng) -> f64 {
        (0..12)
            .map(|_| f64::from(rng.next_u32()) / f64::from(u32::MAX))
            .sum::<f64>()
            - 6.0
    }
}
