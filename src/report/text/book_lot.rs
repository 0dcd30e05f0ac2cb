//! What `book lot` shows on the screen.

use super::grid;
use super::screen::{BOLD, DIM, PLAIN, Screen, Style, WARN};
use crate::estimate::Z95;
use crate::quantity::signed;
use crate::report::number::{self, per_cent_of_log, two};
use crate::report::words;
use crate::shop::order::document::{LookFirst, LotDocument, OddOne, OfLot, Told, Trended, Why};
use crate::shop::yardstick::Quantity;

pub fn lot_text(d: &LotDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    let n = d.pickups.len();
    out.line_in(
        format!("Lot {}: {n} pickup{}", words::clean(&d.lot), words::plural(n)),
        BOLD,
    );
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
    let compared = if compared.abs() < 1e-4 { 0.0 } else { compared };
    match q.quantity.is_relative() {
        true => format!("{} %", two(per_cent_of_log(compared))),
        false => format!("{} dB", two(compared)),
    }
}

/// "7.2 % above", "0.4 dB below".
fn off(q: &OfLot, compared: f64) -> String {
    let way = if compared < 0.0 { "below" } else { "above" };
    let size = match q.quantity.is_relative() {
        true => format!("{} %", two(per_cent_of_log(compared).abs())),
        false => format!("{} dB", two(compared.abs())),
    };
    format!("{size} {way}")
}

fn called(d: &LotDocument, number: u32) -> String {
    let pickup = d.pickups.iter().find(|p| p.number == number);
    pickup.map_or_else(|| number.to_string(), |p| words::clean(&p.name))
}

/// Middle, ends, how far the lot scatters, and how far measuring does.
fn table(out: &mut Screen, d: &LotDocument) {
    let head = ["", "middle", "least", "most", "lot", "measuring"].map(str::to_owned);
    let within = |q: &OfLot, sd: f64| format!("± {}", size(q, Z95 * sd));
    let rows: Vec<[String; 6]> = std::iter::once(head)
        .chain(d.quantities.iter().map(|q| {
            [
                name(q),
                value(q, q.middle),
                value(q, q.least),
                value(q, q.most),
                within(q, q.sd),
                within(q, q.measuring),
            ]
        }))
        .collect();
    if !grid::lines(out, &rows, &[0], 0) {
        for [name, middle, least, most, lot, measuring] in rows.iter().skip(1) {
            out.line(format!(
                "{name} {middle}: {least} ... {most}, lot {lot}, measuring {measuring}"
            ));
        }
    }
    let usual = if d.quantities.iter().any(|q| q.measuring_usual) {
        ", usual"
    } else {
        ""
    };
    out.line_in(
        format!(
            "±: 19 of 20 lie this close to the middle; measuring: what laying down and noise do to one pickup{usual}"
        ),
        DIM,
    );
}

fn look_first(d: &LotDocument, first: &LookFirst) -> String {
    let by = |q: &OfLot| first.quantities.contains(&q.quantity);
    let at = |q: &OfLot| {
        q.values
            .iter()
            .find(|v| v.number == first.number)
            .map(|v| (v.value, v.off))
    };
    let figure = |q: &OfLot| {
        Some((q, at(q)?)).map(|(q, (v, o))| format!("{} {}, {} the middle", name(q), value(q, v), off(q, o)))
    };
    let figures: Vec<String> = d.quantities.iter().filter(|q| by(q)).filter_map(figure).collect();
    let figures = figures.join("; ");
    let who = words::clean(&first.name);
    let again = first.measure_again.as_ref().map_or(String::new(), |why| {
        format!("; measure it again before anything else: {}", words::clean(why))
    });
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
        let v = q
            .values
            .iter()
            .find(|v| v.number == o.number)
            .map_or(f64::NAN, |v| v.value);
        let matters = if o.matters { "" } else { ", less than matters" };
        format!(
            "{}: {} {}, {} the middle{matters}",
            called(d, o.number),
            name(q),
            value(q, v),
            off(q, o.off)
        )
    };
    let mut lines: Vec<String> = told(d)
        .flat_map(|(q, t)| t.odd.iter().map(move |o| line(q, o)))
        .collect();
    lines.extend(
        d.turned
            .iter()
            .map(|n| format!("{}: its sign is the other one", called(d, *n))),
    );
    let mut labels = std::iter::once("Odd").chain(std::iter::repeat(""));
    match lines.is_empty() {
        true => out.row("Odd", "none"),
        false => lines.iter().for_each(|l| out.row(labels.next().unwrap_or_default(), l)),
    }
}

fn drift(out: &mut Screen, d: &LotDocument) {
    if told(d).next().is_none() {
        return;
    }
    let line = |q: &OfLot, t: &Trended| {
        let show = |v: f64| match q.quantity.is_relative() {
            true => signed(per_cent_of_log(v), 1),
            false => signed(v, 1),
        };
        let unit = if q.quantity.is_relative() { "%" } else { "dB" };
        let between = match (t.from, t.to) {
            (Some(a), Some(b)) => format!(" ({} to {}, 95 %)", show(a), show(b)),
            _ => String::new(),
        };
        let small = if t.over_all.abs() > q.matters {
            ""
        } else {
            ", less than matters"
        };
        format!(
            "{} {} {unit} from the first to the last{between}{small}",
            name(q),
            show(t.over_all)
        )
    };
    let lines: Vec<String> = told(d)
        .filter(|(_, t)| t.trend.told)
        .map(|(q, t)| line(q, &t.trend))
        .collect();
    match lines.is_empty() {
        true => out.row("Drift", "none beyond what chance does"),
        false => {
            let mut labels = std::iter::once("Drift").chain(std::iter::repeat(""));
            lines.iter().for_each(|l| out.row(labels.next().unwrap_or_default(), l));
        }
    }
}

fn chart(out: &mut Screen, d: &LotDocument) {
    let beyond = told(d).filter(|(_, t)| !t.chart.beyond.is_empty()).map(|(q, t)| {
        let numbers: Vec<String> = t.chart.beyond.iter().map(u32::to_string).collect();
        Some(format!("{} of number {}", name(q), numbers.join(", ")))
    });
    if let Some(beyond) = words::joined(beyond) {
        out.row("Chart", format!("beyond the limits: {beyond}"));
    }
}

fn notes(d: &LotDocument) -> Vec<String> {
    let mut out = Vec::new();
    let by_measuring: Vec<String> = d.quantities.iter().filter(|q| q.own.is_none()).map(name).collect();
    if !by_measuring.is_empty() {
        out.push(format!(
            "{}: the lot scatters no more than measuring does, which says nothing of the windings",
            by_measuring.join(", ")
        ));
    }
    if d.days > 1 {
        out.push(format!("measured on {} days, which are counted in measuring", d.days));
    }
    if told(d).any(|(_, t)| t.trend.told) {
        out.push("a rig that drifts while a lot is measured looks the same: its witness, before and after, tells (coilwright rig check)".into());
    }
    let usual: Vec<&str> = d
        .quantities
        .iter()
        .filter(|q| q.matters_usual)
        .map(|q| q.quantity.code())
        .collect();
    if told(d).next().is_some() && !usual.is_empty() {
        out.push(format!(
            "what matters is a usual value: {} (coilwright use --matters)",
            usual.join(", ")
        ));
    }
    let left = d
        .left_out
        .iter()
        .map(|l| format!("{}: left out, {}", words::clean(&l.name), words::clean(&l.why)));
    out.extend(left);
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
        let far: Vec<String> = t
            .odd
            .iter()
            .map(|o| format!("{} G {:.2} > {:.2}", called(d, o.number), o.far, o.limit))
            .collect();
        let odd = if far.is_empty() {
            String::new()
        } else {
            format!("; {}", far.join(", "))
        };
        let own = q.own.map_or("not told".to_owned(), |s| format!("sd {}", size(q, s)));
        out.line(format!(
            "{}: windings {own}; limits {low}, {high}; drift p {:.3}{odd}",
            name(q),
            t.trend.p
        ));
    }
    out.line_in(RULE, DIM);
}
