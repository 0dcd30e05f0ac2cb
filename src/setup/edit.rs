//! Changes values of a rig file in its text, so that comments, order and everything else stay as somebody wrote them.

use std::fmt;

use serde::{Deserialize, Serialize};
use toml_edit::{DocumentMut, Item, TableLike, value};

use crate::failure::{Failure, Result};
use crate::quantity::toml_number;

/// A value to be written.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Value {
    Whole(i64),
    Number(f64),
    Text(String),
}

/// One key and what it is to hold; `None` takes it out. A table of no name is the top of the file.
pub type Change = (&'static str, &'static str, Option<Value>);

/// A value that gave way to another, or to none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Replaced {
    /// As `table.key`.
    pub key: String,
    pub old: Value,
    pub new: Option<Value>,
}

/// Old values of one key that stay as remarks: the oldest, which somebody may have measured by hand, and the newest (choice).
const KEPT: usize = 3;

impl Value {
    fn of(v: &toml_edit::Value) -> Value {
        match (v.as_integer(), v.as_float(), v.as_str()) {
            (Some(w), ..) => Value::Whole(w),
            (_, Some(n), _) => Value::Number(n),
            (.., Some(t)) => Value::Text(t.to_owned()),
            _ => Value::Text(v.clone().decorated("", "").to_string()),
        }
    }

    /// 12 and 12.0 are one number.
    fn same(&self, other: &Value) -> bool {
        let number = |v: &Value| match v {
            Value::Whole(w) => Some(*w as f64),
            Value::Number(n) => Some(*n),
            Value::Text(_) => None,
        };
        match (number(self), number(other)) {
            (Some(a), Some(b)) => a == b,
            _ => self == other,
        }
    }

    fn toml(&self) -> toml_edit::Value {
        match self {
            Value::Number(v) => number(*v),
            Value::Whole(v) => toml_edit::Value::from(*v),
            Value::Text(v) => toml_edit::Value::from(v.as_str()),
        }
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Value::Number(v) => f.write_str(&toml_number(*v)),
            Value::Whole(v) => v.fmt(f),
            Value::Text(v) => v.fmt(f),
        }
    }
}

/// The text with the changes made, and what gave way. `place` names the file in messages.
///
/// With a day, an old value stays above its key as a remark that says until when it stood. A remark such as
/// `# sign = 1  found by hand` makes room for its value, so that nobody finds both, and keeps its words. A new table comes last,
/// behind whatever remarks end the file.
pub fn changed(place: &str, text: &str, changes: &[Change], day: Option<&str>) -> Result<(String, Vec<Replaced>)> {
    let windows = text.contains("\r\n");
    let mut text = text.to_owned();
    let mut file = parsed(place, &text)?;
    let (mut to_do, mut replaced) = (Vec::new(), Vec::new());
    for (i, change @ (table, key, new)) in changes.iter().enumerate() {
        let old = held(&file, table, key);
        let stands = match (&old, new) {
            (Some(old), Some(new)) => Value::of(old).same(new),
            (old, new) => old.is_none() && new.is_none(),
        };
        // Of several for one key the last holds.
        if stands
            || changes[i + 1..]
                .iter()
                .any(|later| (later.0, later.1) == (*table, *key))
        {
            continue;
        }
        to_do.push(change);
        if let Some(old) = old {
            if let Some(day) = day {
                let written = old.clone().decorated("", "").to_string();
                text = remembered(&text, table, key, &format!(" = {written}{UNTIL}{day}"));
            }
            replaced.push(Replaced {
                key: format!("{table}.{key}"),
                old: Value::of(old),
                new: new.clone(),
            });
        }
        text = with_room(place, text, change)?;
        file = parsed(place, &text)?;
    }
    for change in to_do {
        put(&mut file, change);
    }
    let out = file.to_string();
    let out = match windows {
        true => out.replace("\r\n", "\n").replace('\n', "\r\n"),
        false => out,
    };
    Ok((out, replaced))
}

/// A value into its place, or out of it.
fn put(file: &mut DocumentMut, (table, key, new): &Change) {
    // New tables have been made before.
    let Some(place) = table_mut(file, table) else { return };
    let Some(new) = new else {
        place.remove(key);
        return;
    };
    let mut item = value(new.toml());
    match place.get_mut(key) {
        Some(there) => {
            // The remark behind the old value stays where it was, and the key with those above it.
            if let (Some(old), Some(v)) = (there.as_value().map(|v| v.decor().clone()), item.as_value_mut()) {
                *v.decor_mut() = old;
            }
            *there = item;
        }
        None => {
            place.insert(key, item);
        }
    }
}

/// The text made ready for a change: the line of a key that goes is gone, that of a new one is there.
fn with_room(place: &str, text: String, (table, key, new): &Change) -> Result<String> {
    let there = |file: &DocumentMut| table_of(file, table).map(|t| t.contains_key(key));
    let reads = |text: &String, wanted: bool| parsed(place, text).is_ok_and(|f| there(&f) == Some(wanted));
    let file = parsed(place, &text)?;
    if new.is_none() {
        // By its line, so that the remarks above it stay; however else it is written, by its key.
        return Ok(without(&text, table, key).filter(|t| reads(t, false)).unwrap_or(text));
    }
    let end = if text.is_empty() || text.ends_with('\n') {
        ""
    } else {
        "\n"
    };
    Ok(match there(&file) {
        // Behind the remarks that begin a file, not before them.
        Some(false) if table.is_empty() && lines(&text).all(|l| l.0.is_empty()) => format!("{text}{end}{key} = 0\n"),
        // A line that only looks like a remark, within a text of several lines, makes no key.
        Some(false) => revived(&text, table, key).filter(|t| reads(t, true)).unwrap_or(text),
        None if !file.contains_key(table) => format!("{text}{end}\n[{table}]\n"),
        _ => text,
    })
}

fn table_of<'a>(file: &'a DocumentMut, table: &str) -> Option<&'a dyn TableLike> {
    match table {
        "" => Some(file.as_table()),
        t => file.get(t).and_then(Item::as_table_like),
    }
}

fn table_mut<'a>(file: &'a mut DocumentMut, table: &str) -> Option<&'a mut dyn TableLike> {
    match table {
        "" => Some(file.as_table_mut()),
        t => file.get_mut(t).and_then(Item::as_table_like_mut),
    }
}

/// The value that a key has.
fn held<'a>(file: &'a DocumentMut, table: &str, key: &str) -> Option<&'a toml_edit::Value> {
    table_of(file, table)?.get(key)?.as_value()
}

/// Between an old value and the day of its end.
const UNTIL: &str = "  until ";

/// The text with an old value above its key; where no line begins with that key, at the top of the file.
fn remembered(text: &str, table: &str, key: &str, old: &str) -> String {
    let own_line = lines(text).any(|(at, line)| is_of(at, line, table, key));
    let (table, name) = match own_line {
        true => (table, key.to_owned()),
        false => ("", format!("{table}.{key}")),
    };
    let is_old = |at: &str, line: &str| {
        let day = remark_on(line, &name).and_then(|r| Some(r.rsplit_once(UNTIL)?.1));
        at == table && day.is_some_and(|d| d.len() == "2026-01-31".len())
    };
    let all = lines(text).filter(|(at, line)| is_old(at, line)).count();
    let (mut out, mut put, mut olds) = (String::with_capacity(text.len() + 80), false, 0);
    for (at, line) in lines(text) {
        if is_old(at, line) {
            olds += 1;
            // One more comes.
            if olds > 1 && olds + KEPT <= all + 2 {
                continue;
            }
        }
        if !put && (!own_line || is_of(at, line, table, key)) {
            let indent = &line[..line.len() - line.trim_start().len()];
            out.push_str(&format!("{indent}# {name}{old}\n"));
            put = true;
        }
        out.push_str(line);
    }
    out
}

/// Whether a line that stands in the table `at` begins with the key.
fn is_of(at: &str, line: &str, table: &str, key: &str) -> bool {
    let rest = line.trim().strip_prefix(key);
    at == table && rest.is_some_and(|r| r.trim_start().starts_with('='))
}

/// What a remark such as `# key = 1` has behind the sign.
fn remark_on<'a>(line: &'a str, key: &str) -> Option<&'a str> {
    let text = line.trim().strip_prefix('#')?.trim_start();
    text.strip_prefix(key)?.trim_start().strip_prefix('=')
}

/// The text without the line of a key in its table; `None` where no line begins with it.
fn without(text: &str, table: &str, key: &str) -> Option<String> {
    let mut done = false;
    let kept: String = lines(text)
        .filter(|(at, line)| {
            let out = !done && is_of(at, line, table, key);
            done |= out;
            !out
        })
        .map(|l| l.1)
        .collect();
    done.then_some(kept)
}

/// Lines with their ends, each with the name of the table it stands in.
fn lines(text: &str) -> impl Iterator<Item = (&str, &str)> {
    let mut at = "";
    text.split_inclusive('\n').map(move |line| {
        if let Some(head) = header(line.trim()) {
            at = head;
        }
        (at, line)
    })
}

/// The name of the table that a line begins.
fn header(line: &str) -> Option<&str> {
    line.strip_prefix('[')?.split(']').next().map(str::trim)
}

fn parsed(place: &str, text: &str) -> Result<DocumentMut> {
    text.parse().map_err(|e: toml_edit::TomlError| {
        Failure::new(format!("{place} cannot be read: {}", e.message()), "correct the file")
    })
}

/// The text with the remark on a key in its table turned into the key, its value yet to be put in; `None` where there is none.
fn revived(text: &str, table: &str, key: &str) -> Option<String> {
    let mut out = String::with_capacity(text.len());
    let mut done = false;
    for (at, line) in lines(text) {
        let remark = remark_on(line, key).filter(|_| at == table && !done);
        // As a new file has it: two spaces and what the key is, or the sign with where it comes from. Somebody's own note of an
        // old value is left alone.
        let remark = remark.filter(|r| r.starts_with("  ") || r.contains("`coilwright rig"));
        let Some(rest) = remark else {
            out.push_str(line);
            continue;
        };
        done = true;
        let rest = rest.trim();
        let (first, behind) = rest.split_once(char::is_whitespace).unwrap_or((rest, ""));
        let words = if first.parse::<f64>().is_ok() {
            behind.trim()
        } else {
            rest
        };
        match words.trim_start_matches('#').trim() {
            "" => out.push_str(&format!("{key} = 0")),
            words => out.push_str(&format!("{key} = 0  # {words}")),
        }
        out.push_str(&line[line.trim_end_matches(['\r', '\n']).len()..]);
    }
    done.then_some(out)
}

/// Small and large ones by their power of ten: nobody counts noughts.
fn number(v: f64) -> toml_edit::Value {
    let short = v.is_finite().then(|| toml_number(v).parse().ok()).flatten();
    short.unwrap_or_else(|| toml_edit::Value::from(v))
}

/// A number to two places beyond the first of its uncertainty, so that the file is fit to be read.
pub fn rounded(value: f64, u: f64) -> f64 {
    if !(u > 0.0 && u.is_finite() && value.is_finite()) || value == 0.0 {
        return value;
    }
    let digits = (2.0 - u.log10().floor()) as i32;
    let scale = 10f64.powi(digits.clamp(-300, 300));
    let r = (value * scale).round() / scale;
    if r.is_finite() { r } else { value }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_somebody_wrote_stays() {
        let text = "# my bench\nname = \"north\" # the old one\n[exciter]\nseries_ohm = 100 # measured\n\n[input]\ngain_db = 1.0\n";
        let (out, replaced) = changed(
            "x",
            text,
            &[
                ("exciter", "series_ohm", Some(Value::Number(100.5))),
                ("exciter", "sign", Some(Value::Whole(-1))),
                ("input", "gain_db", None),
                ("interface", "level_dbfs", Some(Value::Number(-12.5))),
                ("interface", "delay_s", Some(Value::Number(0.0000049999))),
                ("interface", "output", Some(Value::Text("a \"b\"".into()))),
            ],
            None,
        )
        .unwrap();
        assert_eq!(
            out,
            "# my bench\nname = \"north\" # the old one\n[exciter]\nseries_ohm = 100.5 # measured\nsign = -1\n\n[input]\n\n\
             [interface]\nlevel_dbfs = -12.5\ndelay_s = 4.9999e-6\noutput = 'a \"b\"'\n"
        );
        assert!(
            changed("x", "a = ", &[], None)
                .unwrap_err()
                .to_string()
                .contains("x cannot be read")
        );
        let old: Vec<String> = replaced.iter().map(|r| format!("{} {}", r.key, r.old)).collect();
        assert_eq!(old, ["exciter.series_ohm 100", "input.gain_db 1.0"]);
    }

    /// Of the very file that `rig new` writes.
    #[test]
    fn a_remark_makes_room_for_its_value() {
        let text = "[exciter]\nseries_ohm = 1\n# sign = 1                      found with `coilwright rig polarity`\n\n[input]\n\
                    # resistance_ohm =  of the input\n# the rest: later\n\n[mains]\n# frequency_hz =  of the mains\n";
        let (out, _) = changed(
            "x",
            text,
            &[
                ("exciter", "sign", Some(Value::Whole(-1))),
                ("input", "resistance_ohm", Some(Value::Number(1e6))),
                ("input", "gain_db", Some(Value::Number(1.5))),
                ("interface", "rate_hz", Some(Value::Whole(48_000))),
                ("interface", "range", None),
            ],
            None,
        )
        .unwrap();
        assert_eq!(
            out,
            "[exciter]\nseries_ohm = 1\nsign = -1  # found with `coilwright rig polarity`\n\n[input]\n\
             resistance_ohm = 1000000.0  # of the input\ngain_db = 1.5\n# the rest: later\n\n[mains]\n\
             # frequency_hz =  of the mains\n\n[interface]\nrate_hz = 48000\n"
        );
    }

    /// Whatever stands above a key stays, whether it is changed or taken out.
    #[test]
    fn remarks_above_a_key_stay() {
        let text = "[exciter]\nseries_ohm = 1\n# looked at twice\n# (see page 3)\nsign = 1\n[input]\n# by hand\ngain_db = 1\n\
                    # the delay\ndelay_s = 0\n";
        let changes = [
            ("exciter", "sign", Some(Value::Whole(-1))),
            ("input", "gain_db", None),
            ("input", "delay_s", None),
        ];
        let want = "[exciter]\nseries_ohm = 1\n# looked at twice\n# (see page 3)\nsign = -1\n[input]\n# by hand\n# the delay\n";
        let changed = |text: &str, changes: &[Change]| super::changed("x", text, changes, None).unwrap().0;
        assert_eq!(changed(text, &changes), want);
        // As some editors save it.
        let windows = |t: &str| t.replace('\n', "\r\n");
        assert_eq!(changed(&windows(text), &changes), windows(want));
        let more = [("interface", "rate_hz", Some(Value::Whole(48_000)))];
        let out = changed(&windows(text), &more);
        assert_eq!(out, windows(&format!("{text}\n[interface]\nrate_hz = 48000\n")));
    }

    /// The template's own remarks, all of them, with the keys they are of.
    #[test]
    fn a_new_file_takes_its_values_one_by_one() {
        let answers = super::super::template::bare("x");
        let mut text = super::super::template::text(&answers);
        let remarks = |t: &str| t.lines().filter(|l| l.starts_with("# ")).count();
        let before = remarks(&text);
        for (n, (table, key)) in [
            ("exciter", "sign"),
            ("exciter", "source_ohm"),
            ("exciter", "inductance_tolerance"),
            ("input", "capacitance_f"),
            ("input", "resistance_ohm"),
        ]
        .into_iter()
        .enumerate()
        {
            text = changed("x", &text, &[(table, key, Some(Value::Whole(1)))], None)
                .unwrap()
                .0;
            assert_eq!(remarks(&text), before - n - 1, "{key}: {text}");
            assert!(text.contains(&format!("\n{key} = 1  # ")), "{key}: {text}");
        }
    }

    #[test]
    fn somebodys_note_of_an_old_value_stays() {
        let text = "[input]\n# gain_db = -2.1 dB with the old card\n";
        let (out, _) = changed("x", text, &[("input", "gain_db", Some(Value::Number(1.0)))], None).unwrap();
        assert!(
            out.contains("# gain_db = -2.1 dB with the old card\n") && out.contains("\ngain_db = 1.0\n"),
            "{out}"
        );
    }

    /// Beside its key, with the day on which it gave way: the first one that stood there, and the newest two.
    #[test]
    fn old_values_stay_as_remarks() {
        let mut text =
            "[exciter]\nsign = 1\n[input]\n# by hand\n  gain_db = 12 # bridge\nac_pickup_hz = 3.0\n".to_owned();
        let to = |gain: f64| ("input", "gain_db", Some(Value::Number(gain)));
        let on = |text: &str, change: Change, day: &str| changed("x", text, &[change], Some(day)).unwrap();
        // The same number is no change, however it is spelt.
        assert_eq!(on(&text, to(12.0), "2026-03-01"), (text.clone(), vec![]));
        for n in 1..=5 {
            let (new, replaced) = on(&text, to(f64::from(n)), &format!("2026-03-0{n}"));
            assert_eq!(replaced.len(), 1);
            text = new;
        }
        let (text, _) = on(&text, ("input", "ac_pickup_hz", None), "2026-03-06");
        assert_eq!(
            text,
            "[exciter]\nsign = 1\n[input]\n# by hand\n  # gain_db = 12  until 2026-03-01\n  # gain_db = 3.0  until 2026-03-04\n  \
             # gain_db = 4.0  until 2026-03-05\n  gain_db = 5.0 # bridge\n# ac_pickup_hz = 3.0  until 2026-03-06\n"
        );
        // However it is written.
        let sign = ("exciter", "sign", Some(Value::Whole(-1)));
        let (text, _) = on("exciter = { sign = 1 }\n", sign, "2026-03-07");
        assert_eq!(text, "# exciter.sign = 1  until 2026-03-07\nexciter = { sign = -1 }\n");
        // Of two changes of one key the last holds.
        let both = [("input", "gain_db", None), to(12.0)];
        let text = "[input]\ngain_db = 12\n";
        assert_eq!(
            changed("x", text, &both, Some("2026-03-08")).unwrap(),
            (text.to_owned(), vec![])
        );
    }

    #[test]
    fn numbers_keep_what_they_mean() {
        assert_eq!(rounded(1.234567891, 0.0123), 1.2346);
        assert_eq!(rounded(1_003_245.77, 1500.0), 1_003_250.0);
        assert_eq!(rounded(1.5e-10, 3.3e-13), 1.5e-10);
        assert_eq!(rounded(5.0, 0.0), 5.0);
    }
}
