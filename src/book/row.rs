//! Lists of readings: which ones, in which order, one for each pickup or all.

use std::path::{Path, PathBuf};

use jiff::ToSpan as _;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use rusqlite::types::Value;
use rusqlite::{Connection, Result as Asked};

use super::look::{self, Mark};
use crate::record::stage::Stage;
use crate::record::{Record, Verdict, is_at_the_jack};

/// A figure and its standard uncertainty.
pub type Figure = Option<(f64, f64)>;

/// A reading in a list.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Row {
    /// Its folder, from the notebook's; of one on paper its entry.
    pub path: PathBuf,
    pub id: String,
    pub name: String,
    pub over: Option<String>,
    pub stage: Option<String>,
    pub by: Option<String>,
    pub lot: Option<String>,
    /// RFC 3339; of one on paper as much of the day as was written.
    pub taken_at: String,
    pub rig: Option<String>,
    /// In the load notation; null: not told.
    pub load: Option<String>,
    pub channels: u32,
    pub f0_hz: Figure,
    pub q: Figure,
    pub peak_hz: Figure,
    pub peak_db: Figure,
    pub level_db: Figure,
    pub ohm20: Option<f64>,
    /// `None`: read by hand, in a notebook on paper.
    pub verdict: Option<Verdict>,
    pub simulated: bool,
    /// Measured again at the tray since, or taken back.
    pub replaced: bool,
    pub mark: Mark,
    /// Orders readings by their time.
    pub seq: i64,
}

/// What sets readings of one pickup apart: coil, load, rig.
pub type Kind<'a> = (Option<&'a str>, Option<&'a str>, Option<&'a str>);

impl Row {
    pub fn kind(&self) -> Kind<'_> {
        (self.over.as_deref(), self.load.as_deref(), self.rig.as_deref())
    }

    /// "over first coil, load none, rig north".
    pub fn described(&self) -> String {
        let parts = [
            self.over.as_ref().map(|o| format!("over {o}")),
            Some(match self.load.as_deref() {
                None => "no load told".into(),
                Some("") => "load none".into(),
                Some(l) => format!("load {l}"),
            }),
            self.rig.as_ref().map(|r| format!("rig {r}")),
        ];
        parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }

    /// Whether its file is as it was when the index read it.
    pub fn is_as_seen(&self, notebook: &Path) -> bool {
        self.verdict.is_none() || look::mark(&notebook.join(&self.path)) == Some(self.mark)
    }

    /// The record with the name and the stage that the notebook's entries give it.
    pub fn told(&self, mut record: Record) -> Record {
        record.pickup.name.clone_from(&self.name);
        record.pickup.stage = self.stage.as_deref().and_then(Stage::of);
        record
    }

    /// Whether it says what the pickup is: read without a fault, never again since, and not through a guitar's controls.
    pub fn is_its_own(&self) -> bool {
        let read = self.verdict.is_some_and(|v| v != Verdict::Rejected);
        read && !self.replaced && !is_at_the_jack(self.over.as_deref())
    }

    /// The day as written.
    pub fn day(&self) -> &str {
        self.taken_at.get(..10).unwrap_or(&self.taken_at)
    }
}

/// What a list is ordered by.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Sort {
    /// The newest first.
    #[default]
    Day,
    /// The oldest first, as in a life.
    Age,
    Name,
    /// The highest first, as all that follow; those without such a figure last.
    Peak,
    F0,
    Q,
    Height,
    Level,
    Ohms,
}

impl Sort {
    pub const NAMES: [(&'static str, Sort); 9] = [
        ("day", Sort::Day),
        ("age", Sort::Age),
        ("name", Sort::Name),
        ("peak", Sort::Peak),
        ("f0", Sort::F0),
        ("q", Sort::Q),
        ("height", Sort::Height),
        ("level", Sort::Level),
        ("ohms", Sort::Ohms),
    ];

    fn order(self) -> &'static str {
        match self {
            Sort::Day => "seq DESC, name",
            Sort::Age => "seq, name",
            Sort::Name => "name, seq",
            Sort::Peak => "peak_hz DESC NULLS LAST, name, seq",
            Sort::F0 => "f0_hz DESC NULLS LAST, name, seq",
            Sort::Q => "q DESC NULLS LAST, name, seq",
            Sort::Height => "peak_db DESC NULLS LAST, name, seq",
            Sort::Level => "level_db DESC NULLS LAST, name, seq",
            Sort::Ohms => "ohm20 DESC NULLS LAST, name, seq",
        }
    }
}

/// Which readings; what is `None` or empty asks for nothing.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Filter {
    /// Patterns of names, as [`pattern`] makes them.
    pub names: Vec<String>,
    pub lot: Option<String>,
    /// From this second since 1970 on.
    pub since: Option<i64>,
    /// Before this one.
    pub until: Option<i64>,
    pub stage: Option<String>,
    /// In the load notation; empty: none hung on it.
    pub load: Option<String>,
    pub rig: Option<String>,
    pub id: Option<String>,
    /// Every reading; else the latest of each pickup that is not rejected, nor made at the jack of a guitar.
    pub all: bool,
    /// Those of notebooks on paper as well.
    pub paper: bool,
    pub sort: Sort,
}

impl Filter {
    /// All readings.
    pub fn every() -> Filter {
        Filter {
            all: true,
            ..Filter::default()
        }
    }

    /// Those of one pickup, in order of their time.
    pub fn life(name: &str) -> Filter {
        Filter {
            names: vec![pattern_of(name)],
            sort: Sort::Age,
            ..Filter::every()
        }
    }

    fn words(&self) -> (String, Vec<Value>) {
        let (mut text, mut values) = (String::from("unread IS NULL AND again = 0"), Vec::new());
        let mut ask = |condition: &str, value: Value| {
            text.push_str(" AND ");
            text.push_str(condition);
            values.push(value);
        };
        let texts = [
            ("lot = ?", &self.lot),
            ("stage = ?", &self.stage),
            ("load = ?", &self.load),
            ("rig = ?", &self.rig),
            ("id = ?", &self.id),
        ];
        for (condition, value) in texts {
            if let Some(value) = value {
                ask(condition, value.clone().into());
            }
        }
        for (condition, value) in [("seq >= ?", self.since), ("seq < ?", self.until)] {
            if let Some(second) = value {
                ask(condition, second.saturating_mul(10_000).into());
            }
        }
        if !self.names.is_empty() {
            let one: Vec<&str> = self
                .names
                .iter()
                .map(|n| exact(n).map_or("name GLOB ?", |_| "name = ?"))
                .collect();
            text.push_str(&format!(" AND ({})", one.join(" OR ")));
            values.extend(self.names.iter().map(|n| exact(n).unwrap_or_else(|| n.clone()).into()));
        }
        if !self.all {
            text.push_str(" AND stands = 1");
        }
        if !self.paper {
            text.push_str(" AND size >= 0");
        }
        (text, values)
    }
}

/// Names as people write them, `*` for anything, as a pattern of the index.
pub fn pattern(names: &str) -> String {
    let one = |c: char| {
        if c == '*' {
            "*".to_owned()
        } else {
            pattern_of(&c.to_string())
        }
    };
    names.chars().map(one).collect()
}

/// A name as a pattern that means it alone.
pub fn pattern_of(name: &str) -> String {
    name.chars().fold(String::new(), |mut out, c| {
        match c {
            '*' | '?' | '[' => out.extend(['[', c, ']']),
            c => out.push(c),
        }
        out
    })
}

/// The one name that a pattern means, if it does.
fn exact(pattern: &str) -> Option<String> {
    let mut out = String::new();
    let mut rest = pattern.chars();
    while let Some(c) = rest.next() {
        match c {
            '*' | '?' => return None,
            '[' => {
                out.push(rest.next()?);
                (rest.next()? == ']').then_some(())?;
            }
            c => out.push(c),
        }
    }
    Some(out)
}

const COLUMNS: &str = "path, id, name, over, stage, made_by, lot, taken_at, rig, load, channels, f0_hz, u_f0_hz, q, u_q, peak_hz, \
                       u_peak_hz, peak_db, u_peak_db, level_db, u_level_db, ohm20, verdict, simulated, replaced, seq, size, changed, \
                       folder_changed";

/// The readings that a filter asks for, in its order.
pub fn rows(db: &Connection, filter: &Filter) -> Asked<Vec<Row>> {
    let (condition, values) = filter.words();
    let order = filter.sort.order();
    // The latest of each is found in an index that holds all that is asked for; only then rows are fetched. SQLite takes the other
    // column from the row that holds the maximum.
    let text = match filter.all {
        true => format!("SELECT {COLUMNS} FROM readings WHERE {condition} ORDER BY {order}"),
        false => format!(
            "SELECT {COLUMNS} FROM (SELECT rowid AS latest, max(seq) FROM readings WHERE {condition} GROUP BY name)
             CROSS JOIN readings ON readings.rowid = latest ORDER BY {order}"
        ),
    };
    let mut ask = db.prepare(&text)?;
    let rows = ask.query_map(rusqlite::params_from_iter(values), row)?;
    rows.collect()
}

fn row(r: &rusqlite::Row) -> Asked<Row> {
    let figure = |i: usize| -> Asked<Figure> {
        let pair: (Option<f64>, Option<f64>) = (r.get(i)?, r.get(i + 1)?);
        Ok(pair.0.zip(pair.1))
    };
    let path: String = r.get(0)?;
    let verdict: Option<String> = r.get(22)?;
    Ok(Row {
        path: path.into(),
        id: r.get(1)?,
        name: r.get(2)?,
        over: r.get(3)?,
        stage: r.get(4)?,
        by: r.get(5)?,
        lot: r.get(6)?,
        taken_at: r.get(7)?,
        rig: r.get(8)?,
        load: r.get(9)?,
        channels: r.get(10)?,
        f0_hz: figure(11)?,
        q: figure(13)?,
        peak_hz: figure(15)?,
        peak_db: figure(17)?,
        level_db: figure(19)?,
        ohm20: r.get(21)?,
        verdict: verdict.and_then(|v| serde_json::from_str(&v).ok()),
        simulated: r.get(23)?,
        replaced: r.get(24)?,
        seq: r.get(25)?,
        mark: Mark {
            size: r.get(26)?,
            changed: r.get(27)?,
            folder_changed: r.get(28)?,
        },
    })
}

/// The first second of a day, month or year as people write them: "2026-03-02", "2026-03", "2026".
pub fn second_of(day: &str) -> Option<i64> {
    span_of(day).map(|s| s.0)
}

/// The same, and the first second of the next one.
pub fn span_of(day: &str) -> Option<(i64, i64)> {
    let (whole, step) = match day.len() {
        4 => (format!("{day}-01-01"), 1.year()),
        7 => (format!("{day}-01"), 1.month()),
        10 => (day.to_owned(), 1.day()),
        _ => return None,
    };
    let date: Date = whole.parse().ok()?;
    let begin = |date: Date| {
        let midnight = date.to_zoned_datetime(TimeZone::system()).ok()?;
        Some(midnight.timestamp().as_second())
    };
    Some((begin(date)?, begin(date.checked_add(step).ok()?)?))
}

/// Readings of one pickup in the order of its life: by their time, and where a notebook on paper tells none, by the order of the
/// work.
pub fn in_order(mut rows: Vec<Row>) -> Vec<Row> {
    rows.sort_by_key(|r| (r.seq, r.stage.as_deref().and_then(Stage::of).and_then(|s| s.usual())));
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_months_and_years() {
        for (text, days) in [("2026-03-02", 1), ("2024-02", 29), ("2026", 365)] {
            let (from, until) = span_of(text).unwrap();
            // An hour more or less where clocks change.
            assert!(((until - from) - days * 86_400).abs() <= 3600, "{text}");
        }
        for none in ["", "March", "2026-13", "2026-02-30", "26-03-02", "2026-3"] {
            assert_eq!(span_of(none), None, "{none}");
        }
    }

    #[test]
    fn stages_of_one_day_are_in_the_order_of_the_work() {
        let read = |day: &str, seq, stage: &str| Row {
            stage: Some(stage.into()),
            taken_at: day.into(),
            seq,
            ..Row::default()
        };
        let rows = vec![
            read("2004-03-02", 1, "after wax"),
            read("2004-03-02", 1, "wound"),
            read("2004-03-01", 0, "cleaned"),
            read("2004-03-02", 1, "before wax"),
            read("2004-03-03", 2, "soldered"),
        ];
        let stages: Vec<String> = in_order(rows).into_iter().filter_map(|r| r.stage).collect();
        assert_eq!(stages, ["cleaned", "wound", "before wax", "after wax", "soldered"]);
    }

    #[test]
    fn a_name_with_a_star_in_it_is_itself() {
        assert_eq!(exact(&pattern_of("a*b[c]")).as_deref(), Some("a*b[c]"));
        assert_eq!(exact("neck-*"), None);
        assert_eq!(exact("neck-7").as_deref(), Some("neck-7"));
    }
}
