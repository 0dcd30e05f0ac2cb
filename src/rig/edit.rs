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
pub fn changed(place: &str, text: &str, changes: &[Change]) -> Result<String> {
    let mut file: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| {
        Failure::new(
            format!("rig {place} cannot be read: {}", e.message()),
            "correct the file",
        )
    })?;
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

    #[test]
    fn numbers_keep_what_they_mean() {
        assert_eq!(rounded(1.234567891, 0.0123), 1.2346);
        assert_eq!(rounded(1_003_245.77, 1500.0), 1_003_250.0);
        assert_eq!(rounded(1.5e-10, 3.3e-13), 1.5e-10);
        assert_eq!(rounded(5.0, 0.0), 5.0);
    }
}
