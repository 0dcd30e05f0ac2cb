//! What `book experiment` shows on the screen.

use super::screen::{BOLD, DIM, PLAIN, Screen, Style, WARN};
use crate::report::difference_words::{judged, usual};
use crate::report::number;
use crate::report::words;
use crate::shop::experiment::document::{Cause, Compared, Effect, ExperimentDocument, LeftOut, Side, Why, WhyOut};
use crate::stats::{Answer, grouped};

pub fn experiment_text(d: &ExperimentDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    for (i, c) in d.comparisons.iter().enumerate() {
        if i > 0 {
            out.line("");
        }
        out.line_in(head(c), BOLD);
        out.stamp(i == 0 && d.simulated);
        compared(&mut out, c);
    }
    let n = d.comparisons.len();
    if n > 1 {
        out.line("");
        let wider = format!("{n} comparisons count together: each interval that says \"different\" is wider for it");
        out.line_in(wider, DIM);
    }
    for (why, names) in grouped(d.left_out.iter().map(|l: &LeftOut| (l.why, words::clean(&l.name)))) {
        out.row("Left out", format!("{}: {}", listed(&names), left_out(why)));
    }
    if style.details {
        details(&mut out, d);
    }
    out.text
}

/// "turns 8000 -> 8400".
fn head(c: &Compared) -> String {
    let changed = c
        .changed
        .iter()
        .map(|w| [&w.word, &w.first, &w.second].map(|t| words::clean(t)));
    let changed = changed.map(|[word, a, b]| Some(format!("{word} {a} -> {b}")));
    words::joined(changed).unwrap_or("Two groups".into())
}

fn compared(out: &mut Screen, c: &Compared) {
    let [first, second] = &c.sides;
    out.row("First", side(first));
    out.row("Second", side(second));
    let (label, paint) = match c.cause {
        Cause::OneWord => ("Changed", PLAIN),
        _ => ("But", WARN),
    };
    out.row_in(label, cause(c), paint);
    match c.why {
        Some(why) => out.row_in("It did", nothing(why), WARN),
        None => effects(out, c),
    }
    out.rows("Note", notes(c));
}

/// All of a few names, of many the first and the last.
fn listed(names: &[String]) -> String {
    match names {
        [] => "none".into(),
        [first, second, .., last] if names.len() > 8 => format!("{first}, {second} ... {last}"),
        _ => names.join(", "),
    }
}

fn side(s: &Side) -> String {
    let names: Vec<String> = s.pickups.iter().map(|n| words::clean(n)).collect();
    let (n, plural, shown) = (names.len(), words::plural(names.len()), listed(&names));
    let readings = words::of(Some(s.readings).filter(|r| *r != n), |r| format!(", {r} readings"));
    let days = words::of(Some(s.days).filter(|d| *d > 1), |d| format!(", {d} days"));
    format!("{n} pickup{plural}{readings}{days}: {shown}")
}

fn cause(c: &Compared) -> String {
    let changed = words::names(c.changed.iter().map(|w| &w.word));
    match c.cause {
        Cause::OneWord => format!("{changed} alone, as far as the recipes tell"),
        Cause::SeveralWords => format!(
            "{changed} were changed together: what they did together is below; nobody can tell which of them did it"
        ),
        Cause::Unclear => {
            let parts = [
                (&c.mixed, "is not one thing within a group"),
                (&c.untold, "is not known of all of them"),
            ];
            let parts = parts.into_iter().filter(|p| !p.0.is_empty());
            let why = words::list(parts.map(|(list, what)| format!("{} {what}", words::names(list))));
            format!("{why}: nobody can tell what did it")
        }
        Cause::NothingChanged => "the recipes are the same: what differs below, no recipe tells".into(),
        Cause::NotTold => {
            "no recipe is told, so nothing says what was changed (coilwright note NAME --recipe \"turns=8000\")".into()
        }
    }
}

fn nothing(why: Why) -> &'static str {
    match why {
        Why::NothingInCommon => {
            "cannot tell: the groups were measured under other loads or over other coils, or one has no reading; measure both under \
             one load"
        }
        Why::OnePickup => {
            "cannot tell: one pickup a side says nothing of how pickups made alike scatter; two a side at the least, better five"
        }
    }
}

/// "different: peak 230 Hz lower ...", each answer in a row of its own.
fn effects(out: &mut Screen, c: &Compared) {
    let mut label = "It did";
    for answer in [Answer::Different, Answer::CannotTell, Answer::Same] {
        for e in c.effects.iter().filter(|e| e.judged.answer == answer) {
            let paint = if answer == Answer::Different { BOLD } else { PLAIN };
            out.row_in(label, format!("{}: {}", words::answer(answer), effect(e)), paint);
            label = "";
        }
    }
}

fn effect(e: &Effect) -> String {
    let quantity = e.judged.quantity;
    let [a, b] = e.means.map(|v| number::short(v, words::unit(quantity)));
    let by = words::of(e.meter.as_ref(), |m| format!(" by {}", words::clean(m)));
    let judged = judged(quantity, &e.judged);
    format!("{}{by} {a} -> {b} ({judged})", words::quantity(quantity))
}

fn notes(c: &Compared) -> Vec<String> {
    let told = || c.effects.iter().filter(|_| c.why.is_none());
    let by_measuring = told()
        .filter(|e| e.by_measuring)
        .map(|e| Some(e.judged.quantity.code().to_owned()));
    let by_measuring = words::joined(by_measuring)
        .map(|names| format!("{names}: the pickups scatter less than measuring does, so measuring is counted"));
    let open = told().any(|e| e.judged.answer == Answer::CannotTell);
    let where_so = |so: bool, what: &str| so.then(|| what.to_owned());
    let notes = [
        where_so(c.paired, "the same pickups on both sides: each is held against itself"),
        where_so(
            c.other_rigs,
            "not on one bench as it was: what two rigs do is counted in the intervals",
        ),
        where_so(
            c.other_days,
            "not on the same days: what days do is counted in the intervals",
        ),
        by_measuring,
        where_so(open, "more pickups on both sides would tell more"),
        usual(c.effects.iter().map(|e| &e.judged)),
    ];
    notes.into_iter().flatten().collect()
}

fn left_out(why: WhyOut) -> &'static str {
    match why {
        WhyOut::NoReading => "no reading",
        WhyOut::OtherKind => "under another load or over another coil than most of both sides",
        WhyOut::BothSides => "on both sides, and most are not",
        WhyOut::OneSide => "on one side only, and the others are held against themselves",
        WhyOut::NoCounterpart => "none differs from it in this word alone",
    }
}

const RULE: &str = "Means of the groups, of frequencies, Q and ohms of their logarithms; Welch's interval, of pairs Student's. Never \
                    finer than measuring allows. Different: beyond what matters by more than the interval of all quantities and all \
                    comparisons together (Bonferroni). The same: with its own interval within what matters. Both 95 %.";

fn details(out: &mut Screen, d: &ExperimentDocument) {
    out.line("");
    for e in d.comparisons.iter().flat_map(|c| &c.effects) {
        let (j, [a, b]) = (&e.judged, e.pickups);
        let freedom = j
            .freedom
            .map_or("known".to_owned(), |f| format!("{f:.1} degrees of freedom"));
        out.line(format!(
            "{}: {a} and {b} pickups, difference {:+.5}, u {:.5}, {freedom}",
            j.quantity.code(),
            j.difference,
            j.u
        ));
    }
    out.line_in(RULE, DIM);
}
