//! Changes values of a rig file in its text, so that comments, order and everything else stay as somebody wrote them.

use toml_edit::{DocumentMut, Item, Table, value};

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
    let mut text = text.to_owned();
    let mut file = parsed(place, &text)?;
    for (table, key, _) in changes.iter().filter(|c| c.2.is_some()) {
        let there = |file: &DocumentMut| {
            file.get(table)
                .and_then(Item::as_table_like)
                .map(|t| t.contains_key(key))
        };
        match there(&file) {
            Some(true) => continue,
            Some(false) => {
                let Some(with) = revived(&text, table, key) else {
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
        match new {
            Some(new) => {
                let place = file.entry(table).or_insert_with(|| Item::Table(Table::new()));
                let Some(place) = place.as_table_like_mut() else {
                    continue;
                };
                let mut item = value(match new {
                    Value::Number(v) => number(*v),
                    Value::Whole(v) => toml_edit::Value::from(*v),
                    Value::Text(v) => toml_edit::Value::from(v.as_str()),
                });
                // A remark behind the old value stays where it was.
                let old = place.get(key).and_then(Item::as_value).map(|v| v.decor().clone());
                if let (Some(old), Some(v)) = (old, item.as_value_mut()) {
                    *v.decor_mut() = old;
                }
                place.insert(key, item);
            }
            None => {
                if let Some(table) = file.get_mut(table).and_then(Item::as_table_like_mut) {
                    table.remove(key);
                }
            }
        }
    }
    Ok(file.to_string())
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
    let mut at = "";
    let mut out = String::with_capacity(text.len());
    let mut done = false;
    for line in text.split_inclusive('\n') {
        let bare = line.trim();
        if let Some(head) = bare.strip_prefix('[').and_then(|l| l.split(']').next()) {
            at = head.trim();
        }
        let remark = (at == table && !done)
            .then(|| {
                bare.strip_prefix('#')?
                    .trim_start()
                    .strip_prefix(key)?
                    .trim_start()
                    .strip_prefix('=')
            })
            .flatten();
        let Some(rest) = remark else {
            out.push_str(line);
            continue;
        };
        done = true;
        // Behind the sign there may stand an example of a value.
        let rest = rest.trim();
        let (first, words) = rest.split_once(char::is_whitespace).unwrap_or((rest, ""));
        let words = match first.parse::<f64>() {
            Ok(_) => words.trim(),
            Err(_) => rest,
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

/// A number of four significant digits more than its uncertainty asks for, so that the file is fit to be read.
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
        let text = "[exciter]\nseries_ohm = 1\n# sign = 1                      found with a known pickup\n\n[input]\n\
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
            "[exciter]\nseries_ohm = 1\nsign = -1  # found with a known pickup\n\n[input]\n\
             resistance_ohm = 1000000.0  # of the input\ngain_db = 1.5\n# the rest: later\n\n[mains]\n\
             # frequency_hz =  of the mains\n\n[interface]\nrate_hz = 48000\n"
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
