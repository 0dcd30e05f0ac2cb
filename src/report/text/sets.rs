//! What `book sets` shows on the screen.

use super::screen::{BOLD, DIM, Screen, Style};
use crate::quantity::signed;
use crate::record::about::About;
use crate::report::number::{self, PLUS_MINUS, two};
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
        out.listed(&(i + 1).to_string(), line(set));
        let as_well = set.members.iter().filter(|_| style.details).filter_map(as_well);
        as_well.for_each(|text| out.listed_in("", text, DIM));
    }
    let members = || d.sets.iter().flat_map(|s| &s.members);
    if !d.sets.is_empty() {
        let mark = number::level(members().flat_map(|m| &m.deviations).any(|x| x.usual));
        out.line_in(format!("off what the set was to be, with intervals {mark}"), DIM);
    }
    let close = (1..)
        .zip(&d.sets)
        .filter(|(_, s)| s.members.iter().any(|m| m.as_well.is_some()));
    let close: Vec<String> = close.map(|(i, _)| i.to_string()).collect();
    if !close.is_empty() && !style.details {
        let (s, which) = (words::plural(close.len()), close.join(", "));
        let text = format!("in set{s} {which} another pickup would do as well, as far as was measured (--details)");
        out.row("As good", text);
    }
    out.rows("", unproven(&d.proof, d.sets.len()));
    let left_over = d.left_over.iter().map(|o| Some(words::clean(&o.pickup)));
    out.rows("Left over", words::joined(left_over));
    left_out(&mut out, &d.left_out);
    out.rows("Wind next", d.next.as_ref().map(next));
    if !d.not_counted.is_empty() {
        let which = words::listed(d.not_counted.iter().map(|f| words::brief(*f)), " and ");
        out.row(
            "Note",
            format!("{which} not counted: not known of all of these pickups"),
        );
    }
    out.text
}

fn head(d: &Sets) -> String {
    let all = d.sets.iter().map(|s| s.members.len()).sum::<usize>() + d.left_over.len();
    let (n, s, p) = (d.sets.len(), words::plural(d.sets.len()), words::plural(all));
    let named = d.places.iter().all(|p| p.place != "any");
    let of = match named {
        true => words::listed(d.places.iter().map(|p| &p.place), " + "),
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
    for text in d.places.iter().skip(1).map(|place| beside(place, first)) {
        if !told.contains(&text) {
            told.push(text);
        }
    }
    let limits = d.terms.iter().map(|t| {
        let limit = share(t.figure, t.limit);
        let usual = if t.limit_usual { ", usual" } else { "" };
        let weight = words::of(Some(t.weight).filter(|w| *w != 1.0), |w| format!(", weight {w}"));
        format!("{} {limit}{usual}{weight}", words::brief(t.figure))
    });
    told.push(format!("off by no more than {}", words::listed(limits, "; ")));
    told
}

fn beside(place: &PlaceAsked, first: &str) -> String {
    let name = if place.place == "any" {
        "the others"
    } else {
        &place.place
    };
    let reversed = if place.reversed {
        "reversed in winding and magnet; "
    } else {
        ""
    };
    let figures = words::list(place.target.iter().map(|t| words::brief(t.figure)));
    let apart = |figure: Quantity, difference| {
        let (value, unit) = number::apart(figure.is_relative(), difference);
        format!("{} {} {unit}", words::brief(figure), signed(value, 1))
    };
    let apart = words::list(place.target.iter().map(|t| apart(t.figure, t.difference)));
    match place.target.iter().all(|t| t.difference == 0.0) {
        true => format!("{name}: {reversed}like the {first} in {figures}"),
        false => format!("{name}: {reversed}{apart} against the {first}"),
    }
}

fn line(set: &Set) -> String {
    let names = set.members.iter().map(|m| words::clean(&m.pickup));
    let off = set.members.iter().filter(|m| !m.deviations.is_empty()).map(|m| {
        let of = (set.members.len() > 2).then(|| format!("{} ", words::clean(&m.pickup)));
        of.unwrap_or_default() + &words::list(m.deviations.iter().map(deviation))
    });
    format!("{}: {}", words::listed(names, " + "), words::listed(off, "; "))
}

/// "peak -0.41 ± 0.22 %".
fn deviation(d: &Deviation) -> String {
    let (half, unit) = number::size(d.figure.is_relative(), d.half);
    let decimals = if half < 1.0 { 2 } else { 1 };
    let off = signed(number::apart(d.figure.is_relative(), d.off).0, decimals);
    format!("{} {off} {PLUS_MINUS} {half:.decimals$} {unit}", words::brief(d.figure))
}

fn as_well(m: &Member) -> Option<String> {
    let other = m.as_well.as_ref()?;
    let [its, this] = [&other.pickup, &m.pickup].map(|p| words::clean(p));
    let place = other.set.map_or("left over".to_owned(), |s| {
        format!("of set {s}, which would have {this}")
    });
    Some(format!(
        "{its} ({place}) would do as well as {this}, as far as was measured"
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
        let less = two(100.0 * (1.0 - p.sum_at_least / p.sum));
        out.push(format!(
            "the squares of all deviations together could be less by {less} % at most"
        ));
    }
    out
}

/// By their reasons.
fn left_out(out: &mut Screen, list: &[Out]) {
    let by_why = grouped(list.iter().map(|o| (why(o), words::clean(&o.pickup))));
    let each = by_why.iter().map(|(why, who)| format!("{} ({why})", who.join(", ")));
    if !list.is_empty() {
        out.row("Left out", words::listed(each, "; "));
    }
    let untold = |o: &&Out| {
        o.what
            .iter()
            .any(|w| ["position", "winding", "magnet"].contains(&w.as_str()))
    };
    let untold = list.iter().find(untold).map(|o| words::shell(&words::clean(&o.pickup)));
    out.rows(
        "",
        untold.map(|name| format!("`coilwright note {name} --about` tells it")),
    );
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
    let unit = words::unit(r.figure);
    let [from, to] = [r.from, r.to].map(|v| number::short(v, unit));
    // One unit is enough where both have it.
    let bare = match (from.split_once(' '), to.split_once(' ')) {
        (Some((number, a)), Some((_, b))) if a == b => number.to_owned(),
        _ => from,
    };
    format!("{} {bare} to {to}", words::brief(r.figure))
}

/// A limit, without a sign.
fn share(figure: Quantity, limit: f64) -> String {
    let (scale, unit) = number::size(figure.is_relative(), 1.0);
    format!("{} {unit}", (1e3 * scale * limit).round() / 1e3)
}
