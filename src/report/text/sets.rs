//! What `book sets` shows on the screen.

use super::screen::{BOLD, DIM, Screen, Style};
use crate::quantity::signed;
use crate::record::about::About;
use crate::report::number::{self, PLUS_MINUS, per_cent_of_log, two};
use crate::report::{entry_words, words};
use crate::shop::sets::{Deviation, Member, Next, Out, PlaceAsked, Proof, Range, Set, Sets, WhyOut};
use crate::shop::yardstick::Quantity;
use crate::stats::grouped;

pub fn sets_text(d: &Sets, style: Style) -> String {
    let mut out = Screen::new(style);
    out.line_in(head(d), BOLD);
    out.stamp(d.simulated);
    out.lines(asked(d));
    for (i, set) in d.sets.iter().enumerate() {
        out.listed((i + 1).to_string().as_str(), line(set));
        if style.details {
            let as_well = set.members.iter().filter_map(as_well);
            as_well.for_each(|text| out.listed_in("", text, DIM));
        }
    }
    if !d.sets.is_empty() {
        let usual = deviations(d).any(|x| x.usual);
        let mark = number::level(usual);
        out.line_in(format!("off what the set was to be, with intervals {mark}"), DIM);
    }
    let close: Vec<String> = (1..)
        .zip(&d.sets)
        .filter(|(_, s)| s.members.iter().any(|m| m.as_well.is_some()))
        .map(|(i, _)| i.to_string())
        .collect();
    if !close.is_empty() && !style.details {
        let (s, which) = (words::plural(close.len()), close.join(", "));
        out.row(
            "As good",
            format!("in set{s} {which} another pickup would do as well, as far as was measured (--details)"),
        );
    }
    out.rows("", unproven(&d.proof, d.sets.len()));
    names(
        &mut out,
        "Left over",
        d.left_over.iter().map(|o| words::clean(&o.pickup)),
    );
    left_out(&mut out, &d.left_out);
    out.rows("Wind next", d.next.as_ref().map(next));
    if !d.not_counted.is_empty() {
        let which: Vec<&str> = d.not_counted.iter().map(|f| word(*f)).collect();
        out.row(
            "Note",
            format!("{} not counted: not known of all of these pickups", which.join(" and ")),
        );
    }
    out.text
}

fn deviations(d: &Sets) -> impl Iterator<Item = &Deviation> {
    d.sets.iter().flat_map(|s| &s.members).flat_map(|m| &m.deviations)
}

fn head(d: &Sets) -> String {
    let all = d.sets.iter().map(|s| s.members.len()).sum::<usize>() + d.left_over.len();
    let (n, s, p) = (d.sets.len(), words::plural(d.sets.len()), words::plural(all));
    let named = d.places.iter().all(|p| p.place != "any");
    let of = match named {
        true => d
            .places
            .iter()
            .map(|p| p.place.as_str())
            .collect::<Vec<_>>()
            .join(" + "),
        false => d.places.len().to_string(),
    };
    let best = if d.proof.best && n > 0 {
        ": nothing betters them"
    } else {
        ""
    };
    format!("{n} set{s} of {of} from {all} pickup{p}{best}")
}

/// "bridge to be level +1.5 dB, ohms +8 % beside the neck", and how much each figure counts.
fn asked(d: &Sets) -> Vec<String> {
    let first = d.places.first().map_or("first", |p| p.place.as_str());
    let first = if first == "any" { "first of its set" } else { first };
    let mut told: Vec<String> = Vec::new();
    for place in d.places.iter().skip(1) {
        let text = beside(place, first);
        if !told.contains(&text) {
            told.push(text);
        }
    }
    let limits = d.terms.iter().map(|t| {
        let limit = share(t.figure, t.limit);
        let usual = if t.limit_usual { ", usual" } else { "" };
        let weight = if t.weight == 1.0 {
            String::new()
        } else {
            format!(", weight {}", t.weight)
        };
        format!("{} {limit}{usual}{weight}", word(t.figure))
    });
    told.push(format!("off by no more than {}", limits.collect::<Vec<_>>().join("; ")));
    told
}

fn beside(place: &PlaceAsked, first: &str) -> String {
    let name = if place.place == "any" {
        "the others"
    } else {
        place.place.as_str()
    };
    let reversed = if place.reversed {
        "reversed in winding and magnet; "
    } else {
        ""
    };
    let alike = place.target.iter().all(|t| t.difference == 0.0);
    let each: Vec<String> = place
        .target
        .iter()
        .map(|t| match alike {
            true => word(t.figure).to_owned(),
            false => format!("{} {}", word(t.figure), size(t.figure, t.difference, 1)),
        })
        .collect();
    match alike {
        true => format!("{name}: {reversed}like the {first} in {}", each.join(", ")),
        false => format!("{name}: {reversed}{} against the {first}", each.join(", ")),
    }
}

fn line(set: &Set) -> String {
    let names: Vec<String> = set.members.iter().map(|m| words::clean(&m.pickup)).collect();
    let many = set.members.len() > 2;
    let off = set.members.iter().filter(|m| !m.deviations.is_empty()).map(|m| {
        let each: Vec<String> = m.deviations.iter().map(deviation).collect();
        let of = if many {
            format!("{} ", words::clean(&m.pickup))
        } else {
            String::new()
        };
        format!("{of}{}", each.join(", "))
    });
    format!("{}: {}", names.join(" + "), off.collect::<Vec<_>>().join("; "))
}

/// "peak -0.41 ± 0.22 %".
fn deviation(d: &Deviation) -> String {
    let half = if d.figure.is_relative() { 100.0 * d.half } else { d.half };
    let decimals = if half < 1.0 { 2 } else { 1 };
    let unit = unit(d.figure);
    format!(
        "{} {} {PLUS_MINUS} {half:.decimals$} {unit}",
        word(d.figure),
        bare(d.figure, d.off, decimals)
    )
}

fn as_well(m: &Member) -> Option<String> {
    let other = m.as_well.as_ref()?;
    let place = other.set.map_or("left over".to_owned(), |s| {
        format!("of set {s}, which would have {0}", words::clean(&m.pickup))
    });
    Some(format!(
        "{} ({place}) would do as well as {}, as far as was measured",
        words::clean(&other.pickup),
        words::clean(&m.pickup)
    ))
}

fn unproven(p: &Proof, found: usize) -> Vec<String> {
    if p.best {
        return Vec::new();
    }
    let mut out = vec!["too many pickups to try every choice: these are the best that were found".to_owned()];
    if p.sets_at_most > found {
        out.push(format!("no choice makes more than {} sets", p.sets_at_most));
    }
    if p.sum > 0.0 {
        let less = 100.0 * (1.0 - p.sum_at_least / p.sum);
        out.push(format!(
            "the squares of all deviations together could be less by {} % at most",
            two(less)
        ));
    }
    out
}

fn names(out: &mut Screen, label: &str, list: impl Iterator<Item = String>) {
    let list: Vec<String> = list.collect();
    if !list.is_empty() {
        out.row(label, list.join(", "));
    }
}

/// By their reasons.
fn left_out(out: &mut Screen, list: &[Out]) {
    let by_why = grouped(list.iter().map(|o| (why(o), words::clean(&o.pickup))));
    let each = by_why.iter().map(|(why, who)| format!("{} ({why})", who.join(", ")));
    let each: Vec<String> = each.collect();
    if !each.is_empty() {
        out.row("Left out", each.join("; "));
    }
    let untold = |o: &&Out| {
        o.what
            .iter()
            .any(|w| ["position", "winding", "magnet"].contains(&w.as_str()))
    };
    if let Some(one) = list.iter().find(untold) {
        let name = words::shell(&words::clean(&one.pickup));
        out.row("", format!("`coilwright note {name} --about` tells it"));
    }
}

fn why(o: &Out) -> String {
    match o.why {
        WhyOut::NoReading => "no reading that can be used".into(),
        WhyOut::OtherRig => "measured on another rig".into(),
        WhyOut::OtherLoad => "under another load".into(),
        WhyOut::OtherCoil => "over another coil".into(),
        WhyOut::Simulated => "simulated and real ones do not mix".into(),
        WhyOut::Definition => "read by another model: analyze its take again".into(),
        WhyOut::RigFile => format!("{} was not the same", o.what.join(", ")),
        WhyOut::NoPlace => "no place for it in such a set".into(),
        WhyOut::NotTold => format!("{} not told", o.what.join(", ")),
    }
}

fn next(n: &Next) -> String {
    let place = if n.place == "any" { "one" } else { n.place.as_str() };
    let ranges = n.ranges.iter().map(range);
    let own = About {
        spacing_m: n.spacing_m,
        winding: n.winding,
        magnet: n.magnet,
        ..About::default()
    };
    let all = ranges.map(Some).chain([entry_words::about(&own)]);
    let what = words::joined(all).unwrap_or_default();
    let does = match (n.completes, n.of) {
        (1, 1) => "it completes a set with what is left over".to_owned(),
        (k, of) => format!("it completes a set with any of {k} of the {of} that lack one"),
    };
    format!("a {place}: {what}; {does}")
}

/// "peak 4.90 to 5.10 kHz".
fn range(r: &Range) -> String {
    let [from, to] = [r.from, r.to].map(|v| number::short(v, words::unit(r.figure)));
    // One unit is enough where both have it.
    let bare = match (from.split_once(' '), to.split_once(' ')) {
        (Some((number, a)), Some((_, b))) if a == b => number.to_owned(),
        _ => from,
    };
    format!("{} {bare} to {to}", word(r.figure))
}

fn word(figure: Quantity) -> &'static str {
    if figure == Quantity::Q { "Q" } else { figure.code() }
}

fn unit(figure: Quantity) -> &'static str {
    if figure.is_relative() { "%" } else { "dB" }
}

fn bare(figure: Quantity, off: f64, decimals: usize) -> String {
    let value = if figure.is_relative() {
        per_cent_of_log(off)
    } else {
        off
    };
    signed(value, decimals)
}

fn size(figure: Quantity, off: f64, decimals: usize) -> String {
    format!("{} {}", bare(figure, off, decimals), unit(figure))
}

/// A limit, without a sign.
fn share(figure: Quantity, limit: f64) -> String {
    let scale = if figure.is_relative() { 100.0 } else { 1.0 };
    format!("{} {}", (1e3 * scale * limit).round() / 1e3, unit(figure))
}
