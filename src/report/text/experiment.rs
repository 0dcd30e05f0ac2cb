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
        if i == 0 {
            out.stamp(d.simulated);
        }
        compared(&mut out, c);
    }
    if d.comparisons.len() > 1 {
        out.line("");
        let n = d.comparisons.len();
        out.line_in(
            format!("{n} comparisons count together: each interval that says \"different\" is wider for it"),
            DIM,
        );
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
    let changed: Vec<String> = c
        .changed
        .iter()
        .map(|w| [&w.word, &w.first, &w.second].map(|t| words::clean(t)))
        .map(|[word, a, b]| format!("{word} {a} -> {b}"))
        .collect();
    match changed.is_empty() {
        true => "Two groups".into(),
        false => changed.join(", "),
    }
}

fn compared(out: &mut Screen, c: &Compared) {
    let [first, second] = &c.sides;
    out.row("First", side(first));
    out.row("Second", side(second));
    out.row_in(
        match c.cause {
            Cause::OneWord => "Changed",
            _ => "But",
        },
        cause(c),
        if c.cause == Cause::OneWord { PLAIN } else { WARN },
    );
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
    let n = names.len();
    let shown = listed(&names);
    let readings = match s.readings == n {
        true => String::new(),
        false => format!(", {} readings", s.readings),
    };
    let days = if s.days > 1 {
        format!(", {} days", s.days)
    } else {
        String::new()
    };
    format!("{n} pickup{}{readings}{days}: {shown}", words::plural(n))
}

fn cause(c: &Compared) -> String {
    let list = |words: &[String]| words.iter().map(|w| words::clean(w)).collect::<Vec<_>>().join(", ");
    let changed: Vec<String> = c.changed.iter().map(|w| w.word.clone()).collect();
    match c.cause {
        Cause::OneWord => format!("{} alone, as far as the recipes tell", list(&changed)),
        Cause::SeveralWords => format!(
            "{} were changed together: what they did together is below; nobody can tell which of them did it",
            list(&changed)
        ),
        Cause::Unclear => {
            let parts = [
                (!c.mixed.is_empty()).then(|| format!("{} is not one thing within a group", list(&c.mixed))),
                (!c.untold.is_empty()).then(|| format!("{} is not known of all of them", list(&c.untold))),
            ];
            format!(
                "{}: nobody can tell what did it",
                words::joined(parts).unwrap_or_default()
            )
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
        let head = match answer {
            Answer::Different => "different",
            Answer::CannotTell => "cannot tell",
            Answer::Same => "the same",
        };
        for e in c.effects.iter().filter(|e| e.judged.answer == answer) {
            let paint = if answer == Answer::Different { BOLD } else { PLAIN };
            out.row_in(label, format!("{head}: {}", effect(e)), paint);
            label = "";
        }
    }
}

fn effect(e: &Effect) -> String {
    let quantity = e.judged.quantity;
    let [a, b] = e.means.map(|v| number::short(v, words::unit(quantity)));
    let by = e
        .meter
        .as_ref()
        .map_or(String::new(), |m| format!(" by {}", words::clean(m)));
    format!(
        "{}{by} {a} -> {b} ({})",
        words::quantity(quantity),
        judged(quantity, &e.judged)
    )
}

fn notes(c: &Compared) -> Vec<String> {
    let mut out = Vec::new();
    if c.paired {
        out.push("the same pickups on both sides: each is held against itself".into());
    }
    if c.other_rigs {
        out.push("not on one bench as it was: what two rigs do is counted in the intervals".into());
    }
    if c.other_days {
        out.push("not on the same days: what days do is counted in the intervals".into());
    }
    let by_measuring = |e: &Effect| e.by_measuring && c.why.is_none();
    let named: Vec<&str> = c
        .effects
        .iter()
        .filter(|e| by_measuring(e))
        .map(|e| e.judged.quantity.code())
        .collect();
    if !named.is_empty() {
        out.push(format!(
            "{}: the pickups scatter less than measuring does, so measuring is counted",
            named.join(", ")
        ));
    }
    let open = |e: &&Effect| e.judged.answer == Answer::CannotTell;
    if c.why.is_none() && c.effects.iter().any(|e| open(&e)) {
        out.push("more pickups on both sides would tell more".into());
    }
    out.extend(usual(c.effects.iter().map(|e| &e.judged)));
    out
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
    for c in &d.comparisons {
        for e in &c.effects {
            let freedom = e
                .judged
                .freedom
                .map_or("known".to_owned(), |f| format!("{f:.1} degrees of freedom"));
            let [a, b] = e.pickups;
            out.line(format!(
                "{}: {a} and {b} pickups, difference {:+.5}, u {:.5}, {freedom}",
                e.judged.quantity.code(),
                e.judged.difference,
                e.judged.u
            ));
        }
    }
    out.line_in(RULE, DIM);
}
