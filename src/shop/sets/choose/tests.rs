use super::*;
use crate::record::about::{About, Position};
use crate::shop::sets::candidate::tests::made;
use crate::shop::yardstick::{Answer, Matters};

fn at(position: Position, spacing_m: f64) -> About {
    About {
        position: Some(position),
        spacing_m: Some(spacing_m),
        ..About::default()
    }
}

fn pool(candidates: Vec<Candidate>) -> Pool {
    Pool {
        candidates,
        ..Pool::default()
    }
}

fn plan(of: &str, targets: &[&str]) -> Plan {
    let targets: Vec<String> = targets.iter().map(|t| (*t).to_owned()).collect();
    Plan::new(of, &targets, &[]).unwrap()
}

fn usual() -> Terms {
    Terms::usual(&Matters::default())
}

fn names(s: &Set) -> String {
    let each: Vec<&str> = s.members.iter().map(|m| m.pickup.as_str()).collect();
    each.join(" ")
}

/// By hand: bridges are to have 8 % more ohms. n1 with b2 and n2 with b1 are both 0.1 % off; n1 with b1 would be perfect, and leave
/// n2 and b2 too far apart for a set.
#[test]
fn more_sets_go_before_better_ones() {
    let neck = |name, ohms| {
        made(
            name,
            at(Position::Neck, 0.052),
            [Some(4000.0), Some(2.5), None, Some(ohms)],
            0.0005,
        )
    };
    let bridge = |name, ohms| {
        made(
            name,
            at(Position::Bridge, 0.052),
            [Some(3800.0), Some(2.5), None, Some(ohms)],
            0.0005,
        )
    };
    let all = pool(vec![
        neck("n1", 6000.0),
        neck("n2", 6200.0),
        bridge("b1", 6480.0),
        bridge("b2", 6260.0),
        bridge("b3", 7400.0),
        made(
            "m1",
            at(Position::Middle, 0.052),
            [Some(4000.0), Some(2.5), None, Some(6000.0)],
            0.0005,
        ),
        made(
            "no ohms",
            at(Position::Neck, 0.052),
            [Some(4000.0), Some(2.5), None, None],
            0.0005,
        ),
    ]);
    let got = choose(&all, plan("2", &["bridge: ohms +8%"]), &usual()).unwrap();
    let mut sets: Vec<String> = got.sets.iter().map(names).collect();
    sets.sort();
    assert_eq!(sets, ["n1 b2", "n2 b1"]);
    assert!(got.proof.best && got.proof.sets_at_most == 2 && got.proof.sum_at_least == got.proof.sum);
    let off = |s: &str| got.sets.iter().find(|x| names(x) == s).unwrap().members[1].deviations[0].off;
    assert!((off("n1 b2") - (6260f64 / 6000.0 / 1.08).ln()).abs() < 1e-12);
    assert!((got.sets[0].sum - (off(&names(&got.sets[0])) / 0.02).powi(2)).abs() < 1e-9);
    // Only what was asked for counts: the peak does not.
    assert_eq!(got.terms.iter().map(|t| t.figure).collect::<Vec<_>>(), [Quantity::Ohms]);
    let left: Vec<&str> = got.left_over.iter().map(|o| o.pickup.as_str()).collect();
    assert_eq!(left, ["b3"]);
    let out: Vec<String> = got
        .left_out
        .iter()
        .map(|o| format!("{} {:?} {:?}", o.pickup, o.why, o.what))
        .collect();
    assert_eq!(out, ["m1 NoPlace []", "no ohms NotTold [\"ohms\"]"]);
    // A neck for the bridge that is left: 7400 less 8 %, and 4 % to either side.
    let next = got.next.unwrap();
    assert_eq!(
        (next.place.as_str(), next.completes, next.of, next.spacing_m),
        ("neck", 1, 1, Some(0.052))
    );
    let (from, to) = (next.ranges[0].from, next.ranges[0].to);
    assert!(
        (from - 7400.0 / 1.08 * (-0.04f64).exp()).abs() < 1e-6 && (to - 7400.0 / 1.08 * 0.04f64.exp()).abs() < 1e-6
    );
}

/// Three necks 1 % apart are left: the bridge for the one in the middle does for all, the one for an end only where it is wide.
#[test]
fn the_next_one_is_to_complete_most() {
    let neck = |name, peak| {
        made(
            name,
            at(Position::Neck, 0.05),
            [Some(peak), Some(2.5), None, None],
            0.0005,
        )
    };
    let all = pool(vec![
        neck("a", 4000.0),
        neck("b", 4060.0),
        neck("c", 4120.0),
        neck("far", 5000.0),
    ]);
    let got = choose(&all, plan("2", &["bridge: peak -5%"]), &usual()).unwrap();
    assert!(got.sets.is_empty() && got.proof.best);
    let next = got.next.unwrap();
    assert_eq!((next.place.as_str(), next.completes, next.of), ("bridge", 3, 4));
    let range = next.ranges[0];
    assert!((range.from - 4120.0 * 0.95 * (-0.02f64).exp()).abs() < 1e-6);
    assert!((range.to - 4000.0 * 0.95 * 0.02f64.exp()).abs() < 1e-6);
    // Of three places two have to be there: nothing that is wound alone makes a set.
    assert_eq!(choose(&all, plan("3", &[]), &usual()).unwrap().next, None);
}

#[test]
fn three_places_and_what_the_middle_lacks() {
    let own = |name, position, peak| made(name, at(position, 0.05), [Some(peak), Some(2.5), None, None], 0.0005);
    let (n, m, b) = (Position::Neck, Position::Middle, Position::Bridge);
    let all = pool(vec![
        own("n1", n, 4000.0),
        own("n2", n, 4400.0),
        own("m1", m, 4010.0),
        own("b1", b, 3990.0),
        own("b2", b, 4390.0),
    ]);
    let got = choose(&all, plan("3", &[]), &usual()).unwrap();
    assert_eq!(got.sets.iter().map(names).collect::<Vec<_>>(), ["n1 m1 b1"]);
    assert_eq!(got.not_counted, [Quantity::Level, Quantity::Ohms]);
    let next = got.next.unwrap();
    assert_eq!((next.place.as_str(), next.completes), ("middle", 1));
    let peak = next.ranges.iter().find(|r| r.figure == Quantity::Peak).unwrap();
    assert!(peak.from < 4400.0 && peak.to > 4400.0);
}

/// Two necks of which measuring does not tell which is the better one for the bridge, and one that is worse for sure.
#[test]
fn a_choice_within_measurement_is_said() {
    let about = |p| at(p, 0.05);
    let made = |name, p, peak| made(name, about(p), [Some(peak), Some(2.5), None, None], 0.0005);
    let all = pool(vec![
        made("n1", Position::Neck, 4000.0),
        made("n2", Position::Neck, 4004.0),
        made("n3", Position::Neck, 4070.0),
        made("b1", Position::Bridge, 4000.0),
    ]);
    let got = choose(&all, plan("2", &["bridge: peak 0%"]), &usual()).unwrap();
    assert_eq!(names(&got.sets[0]), "n1 b1");
    let as_well = got.sets[0].members[0].as_well.as_ref().unwrap();
    assert_eq!((as_well.pickup.as_str(), as_well.set), ("n2", None));
    assert!(got.sets[0].members[1].as_well.is_none());
    let d = &got.sets[0].members[1].deviations[0];
    assert!(d.half > 0.0 && d.usual && d.within == Answer::Same);
    let without = pool(all.candidates.iter().filter(|c| c.name != "n2").cloned().collect());
    let got = choose(&without, plan("2", &["bridge: peak 0%"]), &usual()).unwrap();
    assert_eq!(got.sets[0].members[0].as_well, None);
}

/// Six alike of twelve, in two spacings: each spacing makes its own, from any position.
#[test]
fn sets_of_six_are_of_one_spacing() {
    let own = |i: u32, spacing| {
        let peak = 4000.0 + f64::from(i);
        made(
            &format!("{spacing} {i}"),
            at(Position::Neck, spacing),
            [Some(peak), Some(2.5), Some(-60.0), None],
            0.0005,
        )
    };
    let all = pool(
        (0..6)
            .flat_map(|i| [own(i, 0.0103), own(i, 0.0105)])
            .chain([own(9, 0.0108)])
            .collect(),
    );
    let got = choose(&all, plan("6", &[]), &usual()).unwrap();
    assert_eq!(got.sets.len(), 2);
    assert!(
        got.sets
            .iter()
            .all(|s| s.members.iter().all(|m| m.pickup[..6] == s.members[0].pickup[..6]))
    );
    assert!(got.proof.best && got.left_over.len() == 1);
}

/// Prints what two hundred take, documents and all; asserts no time.
#[test]
fn how_long_two_hundred_take() {
    let own = |i: u32| {
        let position = if i.is_multiple_of(2) {
            Position::Neck
        } else {
            Position::Bridge
        };
        let spread = |k: u32, by: f64| 1.0 + by * (f64::from(i * k % 97) / 97.0 - 0.5);
        let values = [
            4000.0 * spread(31, 0.06),
            2.5 * spread(57, 0.2),
            -60.0 * spread(13, 0.02),
            6000.0 * spread(71, 0.06),
        ];
        made(&i.to_string(), at(position, 0.052), values.map(Some), 0.0005)
    };
    let all = pool((0..200).map(own).collect());
    for of in ["2", "any+any", "neck+neck", "any+any+any"] {
        let start = std::time::Instant::now();
        let got = choose(&all, plan(of, &[]), &usual()).unwrap();
        println!("{of}: {} sets of 200 pickups, {:.0?}", got.sets.len(), start.elapsed());
        assert!(
            got.sets.len() > 40 && (of.len() > 9 || got.proof.best),
            "{of}: {}",
            got.sets.len()
        );
    }
}
