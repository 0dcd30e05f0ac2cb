use super::document::{Cause, Why};
use super::*;
use crate::shop::figures::sample;
use crate::shop::yardstick::Question;

/// Half a per cent of scatter in the peak, on this day.
fn made(name: &str, day: u32, up: f64, recipe: &[(&str, &str)]) -> Made {
    let i = name.bytes().map(u32::from).sum::<u32>();
    let even = |k: u32| f64::from((i * k) % 7) / 3.0 - 1.0;
    let figures = [
        4000.0 * up * (1.0 + 0.005 * even(3)),
        2.5 * (1.0 + 0.01 * even(5)),
        8000.0 * (1.0 + 0.01 * even(2)),
    ];
    Made {
        recipe: recipe.iter().map(|(k, v)| ((*k).into(), (*v).into())).collect(),
        record: sample(name, day, figures),
    }
}

fn group(letter: char, day: u32, up: f64, recipe: &[(&str, &str)]) -> Vec<Made> {
    (0..7)
        .map(|i| made(&format!("{letter}-{i}"), day, up, recipe))
        .collect()
}

fn one(first: &[Made], second: &[Made]) -> Compared {
    of_groups(first, second, &How::default()).unwrap().comparisons.remove(0)
}

fn effect<'a>(c: &'a Compared, quantity: &str) -> &'a Effect {
    c.effects.iter().find(|e| e.judged.quantity.code() == quantity).unwrap()
}

const FEWER: &[(&str, &str)] = &[("turns", "7600"), ("wire", "0.063mm")];
const MORE: &[(&str, &str)] = &[("turns", "8000"), ("wire", "0.063mm")];

#[test]
fn one_word_did_it() {
    let c = one(&group('a', 2, 1.0, FEWER), &group('b', 2, 0.95, MORE));
    assert_eq!(
        (c.cause, c.answer, c.other_days, c.paired),
        (Cause::OneWord, Answer::Different, false, false)
    );
    assert_eq!(c.changed.iter().map(|w| w.word.as_str()).collect::<Vec<_>>(), ["turns"]);
    let peak = effect(&c, "peak");
    assert!((peak.judged.difference - 0.95f64.ln()).abs() < 0.005, "{peak:?}");
    assert_eq!((peak.judged.answer, peak.pickups), (Answer::Different, [7, 7]));
    assert!(!peak.by_measuring && effect(&c, "ohms").meter.as_deref() == Some("meter A"));
    // All are level alike, and yet no better known than measuring allows.
    let level = effect(&c, "level");
    assert!(level.by_measuring && level.judged.u > 0.1, "{level:?}");
}

#[test]
fn what_the_recipes_leave_open_is_said() {
    let cause = |a: &[(&str, &str)], b: &[(&str, &str)]| one(&group('a', 2, 1.0, a), &group('b', 2, 0.95, b)).cause;
    assert_eq!(
        cause(FEWER, &[("turns", "8000"), ("wire", "0.06mm")]),
        Cause::SeveralWords
    );
    assert_eq!(cause(FEWER, FEWER), Cause::NothingChanged);
    assert_eq!(cause(&[], &[]), Cause::NotTold);
    assert_eq!(cause(FEWER, &[("turns", "8000")]), Cause::Unclear);
    let mut mixed = group('b', 2, 0.95, MORE);
    mixed[3].recipe.insert("wire".into(), "0.06mm".into());
    let c = one(&group('a', 2, 1.0, FEWER), &mixed);
    assert_eq!((c.cause, c.mixed), (Cause::Unclear, vec!["wire".to_owned()]));
}

#[test]
fn days_and_benches_count_where_the_groups_have_them_not_alike() {
    let half = |c: &Compared| effect(c, "peak").judged.half;
    let a = group('a', 2, 1.0, FEWER);
    let alike = one(&a, &group('b', 2, 0.95, MORE));
    let days = one(&a, &group('b', 3, 0.95, MORE));
    assert!(days.other_days && half(&days) > half(&alike));
    let mut b = group('b', 2, 0.95, MORE);
    b.iter_mut()
        .for_each(|m| m.record.rig.name = Some("another bench".into()));
    let rigs = one(&a, &b);
    assert!(rigs.other_rigs && half(&rigs) > half(&days));
    assert!(rigs.effects.iter().all(|e| e.judged.quantity.code() != "level"));
    // One of seven on another day in both: equal shares.
    let spread = |letter, up, recipe| {
        let mut g = group(letter, 2, up, recipe);
        g[0].record.taken_at = "2026-03-04T10:00:00+01:00".into();
        g
    };
    let equal = one(&spread('a', 1.0, FEWER), &spread('b', 0.95, MORE));
    assert!(!equal.other_days && half(&equal) < half(&days));
    // The yardstick's own parts: a day each enters twice.
    let how = How::default();
    let (b, mut out) = (group('b', 3, 0.95, MORE), Vec::new());
    let groups = [&a, &b].map(|made| made.iter().collect());
    let sides = Sides::of(groups, &how, &mut out);
    let weighed = Weighed::of(&sides, super::TOLD[0], 0.01).unwrap();
    assert_eq!(weighed.asked.between.question, Question::OtherDay);
    let day = crate::shop::reading::parts(&a[0].record, super::TOLD[0])
        .unwrap()
        .days
        .sd;
    assert!((weighed.asked.between.first.days.sd / day - 2f64.sqrt()).abs() < 1e-9);
}

#[test]
fn other_loads_are_no_experiment() {
    let a = group('a', 2, 1.0, FEWER);
    let mut b = group('b', 2, 0.95, MORE);
    b.iter_mut().for_each(|m| m.record.load = None);
    let mut d = of_groups(&a, &b, &How::default()).unwrap();
    assert_eq!(d.left_out.len(), 7);
    let c = d.comparisons.remove(0);
    assert_eq!((c.answer, c.why), (Answer::CannotTell, Some(Why::NothingInCommon)));
    // Two of them under the load of the others: those are compared.
    b[..2].iter_mut().for_each(|m| m.record.load = a[0].record.load.clone());
    let c = one(&a, &b);
    assert_eq!((c.why, c.sides[1].pickups.len()), (None, 2));
}

#[test]
fn one_pickup_a_side_tells_nothing_of_pickups() {
    let (a, b) = (group('a', 2, 1.0, FEWER), group('b', 2, 0.9, MORE));
    let c = one(&a[..1], &b[..1]);
    assert_eq!(
        (c.answer, c.why, c.effects.len()),
        (Answer::CannotTell, Some(Why::OnePickup), 0)
    );
    // One against many scatters as they do.
    assert_eq!(effect(&one(&a, &b[..1]), "peak").judged.freedom, Some(6.0));
    assert!(of_groups(&a, &[], &How::default()).is_err());
}

#[test]
fn pickups_on_both_sides_are_held_against_themselves() {
    let before = group('a', 2, 1.0, &[("cover", "none")]);
    let mut after = group('a', 2, 0.98, &[("cover", "nickel")]);
    let c = one(&before, &after);
    assert!(c.paired);
    let peak = effect(&c, "peak");
    // Each moved alike: what is left is how they were laid down.
    assert!((peak.judged.difference - 0.98f64.ln()).abs() < 1e-9 && peak.by_measuring);
    assert_eq!((c.answer, c.cause), (Answer::Different, Cause::OneWord));
    after.extend(group('b', 2, 1.0, &[("cover", "nickel")]));
    let d = of_groups(&before, &after, &How::default()).unwrap();
    assert!(d.comparisons[0].paired && d.left_out.len() == 7 && d.left_out[0].why == WhyOut::OneSide);
}

#[test]
fn everything_that_differs_in_a_word_only() {
    let mut all = group('a', 2, 1.0, FEWER);
    all.extend(group('b', 2, 0.95, MORE).into_iter().take(5));
    all.extend(
        group('c', 2, 0.93, &[("turns", "8200"), ("wire", "0.063mm")])
            .into_iter()
            .take(4),
    );
    all.extend(group('d', 2, 0.8, &[("turns", "8200"), ("wire", "0.06mm")]));
    all.extend(group('e', 2, 0.8, &[("wire", "0.06mm")]));
    let d = of_word("turns", &all, &How::default()).unwrap();
    let changed: Vec<&str> = d.comparisons.iter().map(|c| c.changed[0].second.as_str()).collect();
    assert_eq!(changed, ["8000", "8200"]);
    assert!(
        d.comparisons
            .iter()
            .all(|c| c.cause == Cause::OneWord && c.sides[0].pickups.len() == 7)
    );
    let why = |letter: &str| d.left_out.iter().find(|l| l.name.starts_with(letter)).unwrap().why;
    assert_eq!((why("d"), d.left_out.len()), (WhyOut::NoCounterpart, 7));
    // Two questions share one risk.
    let alone = of_word("turns", &all[..12], &How::default()).unwrap();
    let half = |d: &ExperimentDocument| effect(&d.comparisons[0], "peak").judged.half_jointly;
    assert!(half(&d) > half(&alone));
    assert!(of_word("turns", &all[..7], &How::default()).is_err());
}
