//! Changes values of a rig file in its text, so that comments, order and everything else stay as somebody wrote them.

use toml_edit::{DocumentMut, Item, value};

use crate::failure::{Failure, Result};

/// A value to be written.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    Number(f64),
    Whole(i64),
    Text(String),
}

/// One key and what it is to hold; `None` takes it out.
pub type Change = (&'static str, &'static str, Option<Value>);

/// The text with the changes made. `place` names the file in messages.
///
/// A remark such as `# sign = 1  found by hand` makes room for its value, so that nobody finds both, and keeps its words. A new
/// table comes last, behind whatever remarks end the file.
pub fn changed(place: &str, text: &str, changes: &[Change]) -> Result<String> {
    let windows = text.contains("\r\n");
    let mut text = text.to_owned();
    let mut file = parsed(place, &text)?;
    for (table, key, new) in changes {
        let there = |file: &DocumentMut| {
            let table = file.get(table).and_then(Item::as_table_like);
            table.map(|t| t.contains_key(key))
        };
        if new.is_none() {
            // By its line, so that the remarks above it stay; however else it is written, by its key.
            let gone = |t: &String| parsed(place, t).is_ok_and(|f| there(&f) == Some(false));
            if let Some(with) = without(&text, table, key).filter(gone) {
                text = with;
                file = parsed(place, &text)?;
            }
            continue;
        }
        match there(&file) {
            Some(true) => continue,
            Some(false) => {
                // A line that only looks like a remark, within a text of several lines, makes no key.
                let sound = |t: &String| parsed(place, t).is_ok_and(|f| there(&f) == Some(true));
                let Some(with) = revived(&text, table, key).filter(sound) else {
                    continue;
                };
                text = with;
            }
            None if file.contains_key(table) => continue,
            None => {
                let end = if text.is_empty() || text.ends_with('\n') {
                    ""
                } else {
                    "\n"
                };
                text = format!("{text}{end}\n[{table}]\n");
            }
        }
        file = parsed(place, &text)?;
    }
    for (table, key, new) in changes {
        // New tables have been made above.
        let Some(place) = file.get_mut(table).and_then(Item::as_table_like_mut) else {
            continue;
        };
        let Some(new) = new else {
            place.remove(key);
            continue;
        };
        let mut item = value(match new {
            Value::Number(v) => number(*v),
            Value::Whole(v) => toml_edit::Value::from(*v),
            Value::Text(v) => toml_edit::Value::from(v.as_str()),
        });
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
    let out = file.to_string();
    Ok(match windows {
        true => out.replace("\r\n", "\n").replace('\n', "\r\n"),
        false => out,
    })
}

/// The text without the line of a key in its table; `None` where no line begins with it.
fn without(text: &str, table: &str, key: &str) -> Option<String> {
    let mut done = false;
    let kept: String = lines(text)
        .filter(|(at, line)| {
            let bare = line.trim();
            let own = *at == table && bare.strip_prefix(key).is_some_and(|r| r.trim_start().starts_with('='));
            let out = own && !done;
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
        Failure::new(
            format!("rig {place} cannot be read: {}", e.message()),
            "correct the file",
        )
    })
}

/// The text with the remark on a key in its table turned into the key, its value yet to be put in; `None` where there is none.
fn revived(text: &str, table: &str, key: &str) -> Option<String> {
    let mut out = String::with_capacity(text.len());
    let mut done = false;
    for (at, line) in lines(text) {
        let bare = line.trim();
        let remark = (at == table && !done)
            .then(|| {
                bare.strip_prefix('#')?
                    .trim_start()
                    .strip_prefix(key)?
                    .trim_start()
                    .strip_prefix('=')
            })
            .flatten();
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
    let short = v.is_finite().then(|| super::template::number(v).parse().ok()).flatten();
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
        let out = changed(
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
        )
        .unwrap();
        assert_eq!(
            out,
            "# my bench\nname = \"north\" # the old one\n[exciter]\nseries_ohm = 100.5 # measured\nsign = -1\n\n[input]\n\n\
             [interface]\nlevel_dbfs = -12.5\ndelay_s = 4.9999e-6\noutput = 'a \"b\"'\n"
        );
        assert!(
            changed("x", "a = ", &[])
                .unwrap_err()
                .to_string()
                .contains("rig x cannot be read")
        );
    }

    /// Of the very file that `rig new` writes.
    #[test]
    fn a_remark_makes_room_for_its_value() {
        let text = "[exciter]\nseries_ohm = 1\n# sign = 1                      found with `coilwright rig polarity`\n\n[input]\n\
                    # resistance_ohm =  of the input\n# the rest: later\n\n[mains]\n# frequency_hz =  of the mains\n";
        let out = changed(
            "x",
            text,
            &[
                ("exciter", "sign", Some(Value::Whole(-1))),
                ("input", "resistance_ohm", Some(Value::Number(1e6))),
                ("input", "gain_db", Some(Value::Number(1.5))),
                ("interface", "rate_hz", Some(Value::Whole(48_000))),
                ("interface", "range", None),
            ],
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
        assert_eq!(changed("x", text, &changes).unwrap(), want);
        // As some editors save it.
        let windows = |t: &str| t.replace('\n', "\r\n");
        assert_eq!(changed("x", &windows(text), &changes).unwrap(), windows(want));
        let more = [("interface", "rate_hz", Some(Value::Whole(48_000)))];
        let out = changed("x", &windows(text), &more).unwrap();
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
            text = changed("x", &text, &[(table, key, Some(Value::Whole(1)))]).unwrap();
            assert_eq!(remarks(&text), before - n - 1, "{key}: {text}");
            assert!(text.contains(&format!("\n{key} = 1  # ")), "{key}: {text}");
        }
    }

    #[test]
    fn somebodys_note_of_an_old_value_stays() {
        let text = "[input]\n# gain_db = -2.1 dB with the old card\n";
        let out = changed("x", text, &[("input", "gain_db", Some(Value::Number(1.0)))]).unwrap();
        assert!(
            out.contains("# gain_db = -2.1 dB with the old card\n") && out.contains("\ngain_db = 1.0\n"),
            "{out}"
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
