//! The table that somebody typed from a notebook on paper: its columns by their names, its days and figures as people write them.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::entry::{Line, Words};
use super::word::sound_name;
use crate::failure::{Failure, Result};
use crate::quantity::{self, Unit};
use crate::record::stage::Stage;

/// What comes first where a day is written with slashes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DayFirst {
    Day,
    Month,
}

/// A table as understood.
#[derive(Debug, Default, PartialEq)]
pub struct Read {
    pub lines: Vec<Line>,
    /// "day: when; name: pickup; ohms: R (k)": which column is what, as found.
    pub columns: Vec<(&'static str, String)>,
    /// What is odd in it, and was taken all the same.
    pub remarks: Vec<String>,
}

/// What a column is for.
#[derive(Debug, Clone, Copy, PartialEq)]
enum What {
    Day,
    Name,
    Stage,
    Ohms,
    Henries,
}

/// Whatever it holds, and its headings.
const KNOWN: [(What, &str, &[&str]); 5] = [
    (What::Day, "day", &["day", "date"]),
    (What::Name, "name", &["name", "pickup"]),
    (What::Stage, "stage", &["stage"]),
    (What::Ohms, "ohms", &["ohms", "ohm", "dcr", "resistance"]),
    (What::Henries, "henries", &["henries", "henry", "inductance"]),
];

struct Column {
    /// With its name; any other holds words.
    what: Option<(What, &'static str)>,
    heading: String,
    /// Of plain numbers, as the heading has it.
    unit: String,
}

/// Where a figure looks like a slip.
const LEAST_OHM: f64 = 50.0;
const MOST_OHM: f64 = 1e6;
const LEAST_H: f64 = 1e-3;
const MOST_H: f64 = 1e3;

/// Reads a table; `file` names it in messages. `first`: for days with slashes, where the column itself does not tell.
pub fn read(text: &str, file: &str, first: Option<DayFirst>) -> Result<Read> {
    let (header, rows) = cells(text, file)?;
    let columns: Vec<Column> = header.iter().map(|h| column(h)).collect();
    let mut out = Read::default();
    for Column { what, heading, .. } in &columns {
        let Some((_, what)) = what else { continue };
        if let Some((_, other)) = out.columns.iter().find(|c| c.0 == *what) {
            return Err(Failure::new(
                format!("{file}: the columns {other:?} and {heading:?} are both the {what}"),
                "give one of them another heading",
            ));
        }
        out.columns.push((what, heading.clone()));
    }
    if place(&columns, What::Name).is_none() {
        return Err(Failure::new(
            format!("{file} has no column of names: its headings are {}", header.join(", ")),
            "call the columns day, name, ohms, henries, stage; any other goes into words",
        ));
    }
    let slashed = order(&rows, &columns, file, first)?;
    for (number, row) in &rows {
        let line = line(row, &columns, slashed).map_err(|f| f.at(format!("{file} line {number}")))?;
        out.remarks
            .extend(odd(&line).map(|why| format!("line {number}: {why}")));
        out.lines.push(line);
    }
    Ok(out)
}

/// Those that are not among these yet. What stands twice in one table is two readings.
pub fn new_ones(lines: Vec<Line>, known: &[&Line]) -> Vec<Line> {
    let key = |l: &Line| serde_json::to_string(l).unwrap_or_default();
    let mut there: BTreeMap<String, usize> = BTreeMap::new();
    for line in known {
        *there.entry(key(line)).or_default() += 1;
    }
    let mut out = lines;
    out.retain(|l| match there.get_mut(&key(l)) {
        Some(n) if *n > 0 => {
            *n -= 1;
            false
        }
        _ => true,
    });
    out
}

type Rows = Vec<(u64, Vec<String>)>;

/// Headings and rows, with their numbers in the file, by the mark that parts the first line most often.
fn cells(text: &str, file: &str) -> Result<(Vec<String>, Rows)> {
    let first = text.lines().next().unwrap_or_default();
    let marks = [b';', b'\t', b','];
    // A tie goes to the mark that is no decimal comma.
    let mark = marks
        .into_iter()
        .rev()
        .max_by_key(|m| first.bytes().filter(|b| b == m).count())
        .unwrap_or(b',');
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(mark)
        .flexible(true)
        .has_headers(false)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut all: Rows = Vec::new();
    for record in reader.records() {
        let record =
            record.map_err(|e| Failure::new(format!("{file} is no table: {e}"), "save it as CSV, and try again"))?;
        let number = record.position().map_or(0, csv::Position::line);
        let cells: Vec<String> = record.iter().map(str::to_owned).collect();
        if cells.iter().any(|c| !c.is_empty()) {
            all.push((number, cells));
        }
    }
    let mut all = all.into_iter();
    let Some((_, header)) = all.next() else {
        return Err(Failure::new(
            format!("{file} is empty"),
            "its first line has the headings: day, name, ohms, henries",
        ));
    };
    let rows: Rows = all.collect();
    if let Some((number, row)) = rows
        .iter()
        .find(|(_, r)| r.iter().skip(header.len()).any(|c| !c.is_empty()))
    {
        return Err(Failure::new(
            format!(
                "{file} line {number} has {} cells, and there are {} headings",
                row.len(),
                header.len()
            ),
            "decimal commas in a table parted by commas stand in quotes; or save it parted by semicolons",
        ));
    }
    Ok((header, rows))
}

fn column(heading: &str) -> Column {
    let (name, unit) = match heading.split_once(['(', '[']) {
        Some((name, unit)) => (name.trim(), unit.trim_end_matches([')', ']']).trim()),
        None => (heading.trim(), ""),
    };
    let name = name.to_lowercase();
    let known = KNOWN.iter().find(|(.., names)| names.contains(&name.as_str()));
    Column {
        what: known.map(|k| (k.0, k.1)),
        heading: heading.to_owned(),
        unit: unit.to_owned(),
    }
}

fn place(columns: &[Column], what: What) -> Option<usize> {
    columns.iter().position(|c| c.what.is_some_and(|w| w.0 == what))
}

fn line(row: &[String], columns: &[Column], slashed: DayFirst) -> Result<Line> {
    let mut out = Line {
        pickup: String::new(),
        day: String::new(),
        stage: None,
        ohm: None,
        henry: None,
        words: Words::new(),
    };
    for (cell, column) in row.iter().zip(columns).filter(|(c, _)| !c.is_empty()) {
        match column.what.map(|w| w.0) {
            Some(What::Day) => out.day = day(cell, slashed)?,
            Some(What::Name) => {
                sound_name(cell)?;
                cell.clone_into(&mut out.pickup);
            }
            Some(What::Stage) => {
                let stage = Stage::of(cell);
                let wrong = || {
                    Failure::new(
                        format!("{cell:?} is no stage"),
                        "a stage is a word or a few, and begins with a letter",
                    )
                };
                out.stage = Some(stage.ok_or_else(wrong)?);
            }
            Some(What::Ohms) => out.ohm = Some(figure(cell, &column.unit, Unit::Ohm)?),
            Some(What::Henries) => out.henry = Some(figure(cell, &column.unit, Unit::Henry)?),
            None => {
                out.words.insert(column.heading.clone(), cell.clone());
            }
        }
    }
    match out.pickup.is_empty() {
        true => Err(Failure::new("it has no name", "name the pickup, or take the line out")),
        false => Ok(out),
    }
}

/// "6,05k", "6.05 kOhm", "1.234,5": a comma or a point, whichever comes last, is the decimal mark.
fn figure(cell: &str, unit_of_column: &str, unit: Unit) -> Result<f64> {
    let plain = match (cell.rfind(','), cell.rfind('.')) {
        (Some(comma), Some(point)) if comma > point => cell.replace('.', "").replace(',', "."),
        (Some(_), Some(_)) => cell.replace(',', ""),
        (Some(_), None) if cell.matches(',').count() == 1 => cell.replace(',', "."),
        _ => cell.to_owned(),
    };
    let bare = plain.chars().all(|c| c.is_ascii_digit() || ".+- ".contains(c));
    match bare {
        true => quantity::parse(&format!("{} {unit_of_column}", plain.trim()), unit),
        false => quantity::parse(&plain, unit),
    }
}

/// Three numbers and what parts them, in the order in which they stand.
fn parts(cell: &str) -> Option<(char, [u32; 3])> {
    let mark = cell.chars().find(|c| !c.is_ascii_digit())?;
    let numbers: Vec<u32> = cell.split(mark).map(|p| p.trim().parse().ok()).collect::<Option<_>>()?;
    Some((mark, numbers.try_into().ok()?))
}

/// Which comes first in days with slashes: told, or by a number above 12.
fn order(rows: &Rows, columns: &[Column], file: &str, told: Option<DayFirst>) -> Result<DayFirst> {
    let at = place(columns, What::Day);
    let cells = rows.iter().filter_map(|(n, row)| Some((n, row.get(at?)?)));
    let slashed: Vec<(&u64, &String, [u32; 3])> = cells
        .filter_map(|(n, cell)| Some((n, cell, parts(cell).filter(|p| is_open(p.0, p.1))?.1)))
        .collect();
    if let Some(told) = told {
        return Ok(told);
    }
    let day = slashed.iter().find(|s| s.2[0] > 12);
    let month = slashed.iter().find(|s| s.2[1] > 12);
    match (day, month) {
        (Some(d), Some(m)) => Err(Failure::new(
            format!(
                "{file}: {} in line {} begins with the day, and {} in line {} with the month",
                d.1, d.0, m.1, m.0
            ),
            "write all days one way, such as 2006-05-31",
        )),
        (Some(_), None) => Ok(DayFirst::Day),
        (None, Some(_)) => Ok(DayFirst::Month),
        (None, None) => match slashed.iter().find(|s| s.2[0] != s.2[1]) {
            None => Ok(DayFirst::Day),
            Some(s) => Err(Failure::new(
                format!(
                    "{file}: {} in line {} may begin with the day or with the month, and no other line tells",
                    s.1, s.0
                ),
                "say --day dmy (day first) or --day mdy (month first)",
            )),
        },
    }
}

/// Points stand between day, month and year only; a year in front tells the order.
fn is_open(mark: char, numbers: [u32; 3]) -> bool {
    mark != '.' && numbers[0] < 1000
}

/// As records have it; a year or a month alone stays that.
fn day(cell: &str, slashed: DayFirst) -> Result<String> {
    let wrong = || {
        Failure::new(
            format!("{cell:?} is no day"),
            "write 2006-05-31, 31.5.2006, 2006-05 or 2006",
        )
    };
    let whole = match parts(cell) {
        Some((mark, [a, b, c])) => match () {
            () if a >= 1000 => (a, b, c),
            () if is_open(mark, [a, b, c]) && slashed == DayFirst::Month => (c, a, b),
            () => (c, b, a),
        },
        None => return super::row::second_of(cell).map(|_| cell.to_owned()).ok_or_else(wrong),
    };
    let number = |n: u32| i8::try_from(n).map_err(|_| wrong());
    let year = i16::try_from(whole.0)
        .ok()
        .filter(|y| (1000..=9999).contains(y))
        .ok_or_else(wrong)?;
    let date = Date::new(year, number(whole.1)?, number(whole.2)?).map_err(|_| wrong())?;
    Ok(date.to_string())
}

fn odd(line: &Line) -> Option<String> {
    if let Some(ohm) = line.ohm.filter(|o| !(LEAST_OHM..MOST_OHM).contains(o)) {
        let shown = quantity::show(ohm, Unit::Ohm, 4);
        return Some(format!(
            "{} has {shown}: does the heading say the unit, as ohms (k)?",
            line.pickup
        ));
    }
    let henry = line.henry.filter(|h| !(LEAST_H..MOST_H).contains(h))?;
    let shown = quantity::show(henry, Unit::Henry, 4);
    Some(format!(
        "{} has {shown}: does the heading say the unit, as henries (mH)?",
        line.pickup
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> Read {
        read(text, "old.csv", None).unwrap()
    }

    fn refused(text: &str) -> String {
        read(text, "old.csv", None).unwrap_err().to_string()
    }

    #[test]
    fn one_line_in_many_spellings() {
        let want = Line {
            pickup: "neck-7".into(),
            day: "2006-05-31".into(),
            stage: Stage::of("after wax"),
            ohm: Some(6050.0),
            henry: Some(2.4),
            words: Words::from([("Wire".into(), "old reel, the last".into())]),
        };
        for text in [
            "day,name,stage,ohms,henries,Wire\n2006-05-31,neck-7,After-Wax,6050,2.4,\"old reel, the last\"\n",
            "Date;Pickup;Stage;Ohms (k);Inductance;Wire\r\n31.5.2006;neck-7;after wax;6,05;2,4H;old reel, the last\r\n",
            "date\tname\tstage\tresistance [kOhm]\thenries (mH)\tWire\n31/5/2006\tneck-7\tafter_wax\t6.05\t2400\told reel, the last\n",
            "Wire;day;name;stage;ohm;henry\n\nold reel, the last;5/31/2006;neck-7;after wax;6.05 kOhm;2.4\n;;;;;\n",
            "day;name;stage;dcr;henries;Wire\n2006/5/31;neck-7;after wax;6,05k;2.4 H;old reel, the last\n",
            "day;name;stage;ohms;henries;Wire\n31-05-2006;neck-7;after wax;6.050,0;2400 mH;old reel, the last\n",
        ] {
            let read = of(text);
            assert_eq!(read.lines, std::slice::from_ref(&want), "{text}");
            assert!(read.remarks.is_empty(), "{:?}", read.remarks);
        }
    }

    #[test]
    fn the_whole_column_tells_the_order_of_day_and_month() {
        let days = |list: &str| {
            of(&format!("name;day\n{list}"))
                .lines
                .into_iter()
                .map(|l| l.day)
                .collect::<Vec<_>>()
        };
        assert_eq!(days("a;3/4/2006\nb;13/4/2006\n"), ["2006-04-03", "2006-04-13"]);
        assert_eq!(days("a;3/4/2006\nb;4/13/2006\n"), ["2006-03-04", "2006-04-13"]);
        assert_eq!(
            days("a;3.4.2006\nb;4/4/2006\nc;2006\nd;2006-05\ne;\n"),
            ["2006-04-03", "2006-04-04", "2006", "2006-05", ""]
        );
        let open = "name;day\na;3/4/2006\nb;4/5/2006\n";
        assert!(
            refused(open).contains("3/4/2006 in line 2 may begin"),
            "{}",
            refused(open)
        );
        assert!(refused(open).contains("--day mdy"));
        let read = read(open, "old.csv", Some(DayFirst::Month)).unwrap();
        assert_eq!(read.lines[1].day, "2006-04-05");
        assert!(refused("name;day\na;13/4/2006\nb;4/13/2006\n").contains("line 3 with the month"));
        for bad in ["31.2.2006", "soon", "1.2.06", "13/13/2006", "2006-13-01", "1/2"] {
            assert!(refused(&format!("name;day\na;{bad}\n")).contains("line 2"), "{bad}");
        }
    }

    #[test]
    fn what_cannot_be_told_is_asked_for() {
        assert!(refused("").contains("is empty"));
        assert!(refused("when;who\n2006;a\n").contains("no column of names"));
        assert!(refused("name;pickup\na;b\n").contains("both the name"));
        assert!(refused("name;ohms\n;6k\n").contains("line 2: it has no name"));
        assert!(refused("name;ohms\nneck #7;6k\n").contains("neck-7 for neck #7"));
        assert!(refused("name;ohms\na;6H\n").contains("is an inductance"));
        assert!(refused("name,ohms\na,6,05k\n").contains("in quotes"));
        assert!(refused("name;stage\na;7\n").contains("no stage"));
        // A unit that was forgotten is seen.
        assert!(of("name;ohms\na;6,05\n").remarks[0].contains("line 2: a has 6.05"));
        assert!(of("name;henries\na;2400\n").remarks[0].contains("(mH)"));
    }

    #[test]
    fn what_is_there_is_left_out_as_often_as_it_is_there() {
        let lines = |n: usize| of(&format!("name;ohms\n{}", "a;6k\n".repeat(n))).lines;
        let known = lines(2);
        let known: Vec<&Line> = known.iter().collect();
        assert_eq!(new_ones(lines(2), &known).len(), 0);
        assert_eq!(new_ones(lines(3), &known).len(), 1);
        assert_eq!(new_ones(of("name;ohms\na;6.1k\n").lines, &known).len(), 1);
    }
}
