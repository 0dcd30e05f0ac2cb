//! The notebook on the screen: its list, and a pickup's life.

use std::collections::BTreeMap;

use super::grid;
use super::screen::{BOLD, DIM, PLAIN, Screen, Style, WARN};
use crate::book::entry::Entry;
use crate::book::life::Away;
use crate::book::row::{Filter, Row};
use crate::parallel;
use crate::quantity::{self, Unit as Typed};
use crate::record::about::About;
use crate::record::{Record, Verdict};
use crate::report::number::{self, Unit, db, hz};
use crate::report::{entry_words, words};
use crate::shop::yardstick::Quantity;

/// One line for each reading, what every line has in common said once below.
pub fn book_text(rows: &[Row], away: &BTreeMap<&str, Away>, filter: &Filter, style: Style) -> String {
    let mut out = Screen::new(style);
    if rows.is_empty() {
        let all = Filter {
            paper: true,
            ..Filter::default()
        };
        out.line(match *filter == all {
            true => "Nothing is in this notebook yet; `coilwright measure NAME` writes the first reading.",
            false => "Nothing in this notebook is like that.",
        });
        return out.text;
    }
    let cells = table(rows, away);
    let fits =
        grid::lines(&mut out, &cells, &[0, 1, 2, 7], 7) || grid::lines(&mut out, &without_loads(&cells), &[0, 1, 2], 0);
    for [name, stage, day, peak, q, ohms, level, load, verdict] in cells.iter().skip(1).filter(|_| !fits) {
        out.listed(name, "");
        out.listed(
            "",
            words::list([stage, day, peak, ohms].into_iter().filter(|c| !c.is_empty())),
        );
        let named = [("Q", q), ("level", level), ("load", load)]
            .into_iter()
            .filter(|c| !c.1.is_empty());
        let named = named.map(|(name, c)| format!("{name} {c}"));
        out.listed("", words::list(named.chain([verdict.clone()])));
    }
    let counted = match (rows.len(), filter.all) {
        (1, true) => "1 reading".into(),
        (n, true) => format!("{n} readings"),
        (1, false) => "1 pickup".into(),
        (n, false) => format!("{n} pickups, each by its latest reading"),
    };
    out.line_in(counted, DIM);
    let simulated = rows.iter().filter(|r| r.simulated).count();
    if simulated > 0 {
        let some = format!("{simulated} of them, marked *");
        let who = if simulated == rows.len() { "all" } else { &some };
        out.line(format!("SIMULATED, no real pickup: {who}"));
    }
    out.text
}

fn table(rows: &[Row], away: &BTreeMap<&str, Away>) -> Vec<[String; 9]> {
    let mark = rows.iter().any(|r| !r.simulated);
    let body = parallel::each(rows, |r| {
        let name = words::clean(&r.name);
        let peak = match (r.verdict, r.peak_hz, r.f0_hz) {
            (_, Some(p), _) => hz(p.0),
            (Some(Verdict::Rejected), ..) => "no reading".into(),
            (Some(_), None, Some(_)) => "no peak".into(),
            _ => String::new(),
        };
        // What is out of the shop is not measured again: where it is says more than how it read.
        let last = match (away.get(r.name.as_str()), r.verdict) {
            (Some(Away::Sent), _) => "sent",
            (Some(Away::Sold), _) => "sold",
            (None, None) => "by hand",
            (None, Some(Verdict::Ok)) => "ok",
            (None, Some(Verdict::Suspect)) => "see it",
            (None, Some(Verdict::Rejected)) => "rejected",
        };
        [
            if r.simulated && mark { format!("{name} *") } else { name },
            words::clean(r.stage.as_deref().unwrap_or_default()),
            words::clean(r.day()),
            peak,
            words::of(r.q, |q| number::sure(q.0, q.1, Unit::Ratio)),
            words::of(r.ohm20, |o| quantity::show(o, Typed::Ohm, 4)),
            words::of(r.level_db, |l| db(l.0)),
            match r.load.as_deref() {
                Some("") => "none".into(),
                load => words::clean(load.unwrap_or_default()),
            },
            last.into(),
        ]
    });
    let head = ["pickup", "stage", "day", "peak", "Q", "ohms", "level", "load", ""].map(String::from);
    std::iter::once(head).chain(body).collect()
}

/// Where the screen is narrow, and to no column's harm.
fn without_loads(cells: &[[String; 9]]) -> Vec<[String; 8]> {
    let without = |[name, stage, day, peak, q, ohms, level, _, verdict]: &[String; 9]| {
        [name, stage, day, peak, q, ohms, level, verdict].map(Clone::clone)
    };
    cells.iter().map(without).collect()
}

/// A pickup's life, in order.
#[derive(Debug)]
pub struct Lived {
    pub name: String,
    pub about: About,
    /// Words of its recipe, and the design they come from.
    pub recipe: Vec<String>,
    pub steps: Vec<LifeStep>,
}

#[derive(Debug)]
pub enum LifeStep {
    Reading(Box<Read>),
    Said(Box<Entry>),
}

/// A reading, and what changed against the one before it of the same coil under the same load.
#[derive(Debug)]
pub struct Read {
    pub row: Row,
    pub record: Record,
    /// Which one that is, and the difference in words.
    pub change: Option<(String, String)>,
}

impl Lived {
    pub fn readings(&self) -> impl Iterator<Item = &Read> + Clone {
        self.steps.iter().filter_map(|s| match s {
            LifeStep::Reading(read) => Some(&**read),
            LifeStep::Said(_) => None,
        })
    }

    /// No reading is of a pickup.
    pub fn is_simulated(&self) -> bool {
        self.readings().count() > 0 && self.readings().all(|r| r.record.is_simulated())
    }
}

pub fn life_text(life: &Lived, style: Style) -> String {
    let mut out = Screen::new(style);
    out.line_in(words::clean(&life.name), BOLD);
    out.stamp(life.is_simulated());
    out.lines(entry_words::about(&life.about));
    out.rows("Recipe", life.recipe.iter().map(|w| words::clean(w)));
    let mut stage: Option<Option<&str>> = None;
    for step in &life.steps {
        match step {
            LifeStep::Reading(read) => {
                let Read { row, record, change } = &**read;
                if stage != Some(row.stage.as_deref()) {
                    stage = Some(row.stage.as_deref());
                    out.line("");
                    out.line_in(words::clean(row.stage.as_deref().unwrap_or("no stage told")), BOLD);
                }
                reading(&mut out, row, record);
                let against = change.as_ref();
                out.rows(
                    "",
                    against.map(|(a, change)| format!("against {}: {change}", words::clean(a))),
                );
            }
            LifeStep::Said(entry) => out.row(&entry_words::day(entry), entry_words::sentence(entry)),
        }
    }
    let mark = words::mark(life.readings().map(|r| &r.record));
    out.line_in(format!("intervals {mark}"), DIM);
    out.text
}

fn reading(out: &mut Screen, row: &Row, record: &Record) {
    let head = match (words::down_interval(record), words::peak_intervals(record)) {
        (Some(down), _) => format!("no peak; 3 dB down at {down}"),
        (None, Some(peak)) => format!("peak {peak}"),
        (None, None) => "no reading".into(),
    };
    let shown = |name: &str, q| Some(format!("{name} {}", words::shown(record, q)?));
    let parts = [Some(head), shown("f0", Quantity::F0), shown("Q", Quantity::Q)];
    out.rows(row.day(), words::joined(parts));
    let ohms = row
        .ohm20
        .map(|o| format!("{} at 20 °C", number::four_digits(o, Unit::Ohm)));
    let place = words::clean(&row.path.display().to_string());
    out.rows(
        "",
        words::joined([ohms, Some(words::clean(&row.described())), Some(place)]),
    );
    out.rows("", record.pickup.note.iter().map(|n| words::clean(n)));
    for note in &record.noted {
        out.rows("", note.text.iter().map(|t| words::clean(t)));
        out.rows("", note.readings.iter().map(words::by_meter));
    }
    out.rows_in("", record.warnings().map(|f| &f.text), WARN);
    if record.verdict == Verdict::Rejected {
        out.row_in("", "measure again", PLAIN);
    }
}
