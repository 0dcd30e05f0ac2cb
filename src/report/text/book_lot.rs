//! What `book lot` shows on the screen.

use super::grid;
use super::screen::{BOLD, DIM, PLAIN, Screen, Style, WARN};
use crate::estimate::Z95;
use crate::quantity::signed;
use crate::report::number::{self, two};
use crate::report::words;
use crate::shop::order::document::{LookFirst, LotDocument, OddOne, OfLot, Told, Trended, Why};
use crate::shop::yardstick::Quantity;

pub fn lot_text(d: &LotDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    let (n, s, lot) = (d.pickups.len(), words::plural(d.pickups.len()), words::clean(&d.lot));
    out.line_in(format!("Lot {lot}: {n} pickup{s}"), BOLD);
    out.stamp(d.simulated);
    if let Some(first) = &d.look_first {
        let paint = if first.why == Why::Farthest { PLAIN } else { WARN };
        out.row_in("Look first", look_first(d, first), paint);
    }
    if d.quantities.is_empty() {
        out.line("one pickup has nothing beside it to be held against");
    } else {
        out.line("");
        table(&mut out, d);
        out.line("");
    }
    odd(&mut out, d);
    drift(&mut out, d);
    chart(&mut out, d);
    out.rows("Note", notes(d));
    if style.details {
        details(&mut out, d);
    }
    out.text
}

fn name(q: &OfLot) -> String {
    let name = match q.quantity {
        // The column is narrow.
        Quantity::Level => "coupling",
        other => words::quantity(other),
    };
    match &q.meter {
        Some(meter) => format!("{name} by {}", words::clean(meter)),
        None => name.to_owned(),
    }
}

fn value(q: &OfLot, value: f64) -> String {
    number::short(value, words::unit(q.quantity))
}

/// "1.6 %", "0.4 dB": a size as it is compared. Below a ten-thousandth it is what sums leave over.
fn size(q: &OfLot, compared: f64) -> String {
    let (size, unit) = words::off_middle(q, if compared.abs() < 1e-4 { 0.0 } else { compared });
    format!("{} {unit}", two(size))
}

/// "7.2 % above", "0.4 dB below".
fn off(q: &OfLot, compared: f64) -> String {
    let (size, unit) = words::off_middle(q, compared);
    format!(
        "{} {unit} {}",
        two(size.abs()),
        if compared < 0.0 { "below" } else { "above" }
    )
}

/// "peak 4.21 kHz, 7.2 % above the middle": what one pickup of the lot has.
fn figure(q: &OfLot, number: u32, compared: f64) -> String {
    let of = q
        .values
        .iter()
        .find(|v| v.number == number)
        .map_or(f64::NAN, |v| v.value);
    format!("{} {}, {} the middle", name(q), value(q, of), off(q, compared))
}

fn called(d: &LotDocument, number: u32) -> String {
    let pickup = d.pickups.iter().find(|p| p.number == number);
    pickup.map_or_else(|| number.to_string(), |p| words::clean(&p.name))
}

/// Middle, ends, how far the lot scatters, and how far measuring does.
fn table(out: &mut Screen, d: &LotDocument) {
    let head = ["", "middle", "least", "most", "lot", "measuring"].map(str::to_owned);
    let within = |q: &OfLot, sd: f64| format!("± {}", size(q, Z95 * sd));
    let row = |q: &OfLot| {
        let [middle, least, most] = [q.middle, q.least, q.most].map(|v| value(q, v));
        [name(q), middle, least, most, within(q, q.sd), within(q, q.measuring)]
    };
    let rows: Vec<[String; 6]> = std::iter::once(head).chain(d.quantities.iter().map(row)).collect();
    if !grid::lines(out, &rows, &[0], 0) {
        let line = |[name, middle, least, most, lot, measuring]: &[String; 6]| {
            format!("{name} {middle}: {least} ... {most}, lot {lot}, measuring {measuring}")
        };
        out.lines(rows.iter().skip(1).map(line));
    }
    let usual = d.quantities.iter().any(|q| q.measuring_usual);
    let usual = if usual { ", usual" } else { "" };
    let what = "±: 19 of 20 lie this close to the middle; measuring: what laying down and noise do to one pickup";
    out.line_in(format!("{what}{usual}"), DIM);
}

fn look_first(d: &LotDocument, first: &LookFirst) -> String {
    let by = d.quantities.iter().filter(|q| first.quantities.contains(&q.quantity));
    let its = by.filter_map(|q| Some((q, q.values.iter().find(|v| v.number == first.number)?)));
    let figures = words::listed(its.map(|(q, v)| figure(q, v.number, v.off)), "; ");
    let who = words::clean(&first.name);
    let again = first.measure_again.as_ref().map(|why| words::clean(why));
    let again = words::of(again, |why| format!("; measure it again before anything else: {why}"));
    let why = match first.why {
        Why::Turned => {
            "its sign is the other one: leads swapped, wound the other way, or the exciter turned".to_owned()
        }
        Why::Odd => format!("it does not belong to the others: {figures}"),
        Why::OddALittle => format!("it stands off from the others, by less than matters: {figures}"),
        Why::Drift => format!("the lot drifts, and it is the last: {figures}"),
        Why::BeyondChart => format!("farther off than neighbours lie apart: {figures}"),
        Why::Farthest => format!("none stands out; the farthest from the middle: {figures}"),
    };
    format!("{who}: {why}{again}")
}

fn told(d: &LotDocument) -> impl Iterator<Item = (&OfLot, &Told)> {
    d.quantities.iter().filter_map(|q| Some((q, q.told.as_ref()?)))
}

fn odd(out: &mut Screen, d: &LotDocument) {
    if told(d).next().is_none() {
        let n = d.pickups.len();
        if n > 1 {
            out.row("Too few", format!(
                "with {n}, nobody can tell whether one is odd or the lot drifts: that takes {} with the same figure. How far each \
                 is from the middle is all there is",
                d.least
            ));
        }
        return;
    }
    let line = |q: &OfLot, o: &OddOne| {
        let matters = if o.matters { "" } else { ", less than matters" };
        format!("{}: {}{matters}", called(d, o.number), figure(q, o.number, o.off))
    };
    let odd = told(d).flat_map(|(q, t)| t.odd.iter().map(move |o| line(q, o)));
    let turned = d
        .turned
        .iter()
        .map(|n| format!("{}: its sign is the other one", called(d, *n)));
    found(out, "Odd", odd.chain(turned), "none");
}

/// What was found, or else this.
fn found(out: &mut Screen, label: &str, lines: impl Iterator<Item = String>, none: &str) {
    let mut lines = lines.peekable();
    match lines.peek() {
        Some(_) => out.under(label, lines),
        None => out.row(label, none),
    }
}

fn drift(out: &mut Screen, d: &LotDocument) {
    if told(d).next().is_none() {
        return;
    }
    let line = |q: &OfLot, t: &Trended| {
        let show = |v: f64| signed(words::off_middle(q, v).0, 1);
        let between = words::of(t.from.zip(t.to), |(a, b)| {
            format!(" ({} to {}, 95 %)", show(a), show(b))
        });
        let matters = t.over_all.abs() > q.matters;
        format!(
            "{} {} {} from the first to the last{}{}",
            name(q),
            show(t.over_all),
            words::off_middle(q, 0.0).1,
            between,
            if matters { "" } else { ", less than matters" }
        )
    };
    let drifting = told(d).filter(|(_, t)| t.trend.told).map(|(q, t)| line(q, &t.trend));
    found(out, "Drift", drifting, "none beyond what chance does");
}

fn chart(out: &mut Screen, d: &LotDocument) {
    let beyond = told(d).filter(|(_, t)| !t.chart.beyond.is_empty()).map(|(q, t)| {
        let numbers = words::list(t.chart.beyond.iter().map(u32::to_string));
        Some(format!("{} of number {numbers}", name(q)))
    });
    out.rows(
        "Chart",
        words::joined(beyond).map(|beyond| format!("beyond the limits: {beyond}")),
    );
}

fn notes(d: &LotDocument) -> Vec<String> {
    let mut out = Vec::new();
    let by_measuring = d.quantities.iter().filter(|q| q.own.is_none()).map(|q| Some(name(q)));
    out.extend(words::joined(by_measuring).map(|names| {
        format!("{names}: the lot scatters no more than measuring does, which says nothing of the windings")
    }));
    if d.days > 1 {
        out.push(format!("measured on {} days, which are counted in measuring", d.days));
    }
    if told(d).any(|(_, t)| t.trend.told) {
        out.push("a rig that drifts while a lot is measured looks the same: its witness, before and after, tells (coilwright rig check)".into());
    }
    let usual = d
        .quantities
        .iter()
        .filter(|q| q.matters_usual)
        .map(|q| Some(q.quantity.code().to_owned()));
    let usual = words::joined(usual).filter(|_| told(d).next().is_some());
    out.extend(usual.map(|u| format!("what matters is a usual value: {u} (coilwright use --matters)")));
    let left = d.left_out.iter().map(|l| [&l.name, &l.why].map(|t| words::clean(t)));
    out.extend(left.map(|[name, why]| format!("{name}: left out, {why}")));
    out
}

const RULE: &str = "Odd: Grubbs' test for several at once (generalised ESD), both sides. Drift: Mann-Kendall rank test, slope by \
                    Theil and Sen. All quantities together name either in at most one of twenty lots that have none (Bonferroni). \
                    Chart: individuals, 3 sigma from the mean moving range; in one quantity chance alone is beyond in 3 of 100 lots \
                    of 12, 6 of 24, 10 of 40.";

fn details(out: &mut Screen, d: &LotDocument) {
    out.line("");
    for (q, t) in told(d) {
        let [low, high] = [t.chart.low, t.chart.high].map(|v| off(q, v));
        let far = t
            .odd
            .iter()
            .map(|o| format!("{} G {:.2} > {:.2}", called(d, o.number), o.far, o.limit));
        let odd = words::of(words::joined(far.map(Some)), |far| format!("; {far}"));
        let own = q.own.map_or("not told".to_owned(), |s| format!("sd {}", size(q, s)));
        let (name, p) = (name(q), t.trend.p);
        out.line(format!(
            "{name}: windings {own}; limits {low}, {high}; drift p {p:.3}{odd}"
        ));
    }
    out.line_in(RULE, DIM);
}
