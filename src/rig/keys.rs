//! Checking hand-written TOML against a list of keys, before anything is taken from it.
//!
//! What stands in the file and cannot be right is named first, by its full key; only then what is missing: a misspelt key
//! is then not reported as the absence of the right one.

use std::ops::RangeInclusive;

use toml::{Table, Value};

use crate::failure::{Failure, Result};
use crate::quantity::quoted;

/// A key that may stand in the file.
pub struct Key {
    /// Name of its table; empty for the top.
    pub table: &'static str,
    pub name: &'static str,
    pub kind: Kind,
    pub required: bool,
}

/// What may stand after a key.
pub enum Kind {
    Text,
    OneOf(&'static [&'static str]),
    /// Integer or decimal, in words and as a range.
    Number(&'static str, RangeInclusive<f64>),
    /// Likewise, without a fraction.
    Whole(&'static str, RangeInclusive<f64>),
    /// +1 or -1.
    Sign,
}

impl Key {
    pub const fn new(table: &'static str, name: &'static str, kind: Kind) -> Self {
        Key {
            table,
            name,
            kind,
            required: false,
        }
    }

    pub const fn required(self) -> Self {
        Key { required: true, ..self }
    }

    /// "table.key", as messages and records call it.
    pub fn full_name(&self) -> String {
        join(self.table, self.name)
    }
}

fn join(table: &str, name: &str) -> String {
    match table {
        "" => name.to_owned(),
        t => format!("{t}.{name}"),
    }
}

/// Parses the text; `place` names the file in messages.
pub fn read(place: &str, text: &str) -> Result<Table> {
    let hint = "write keys and values in TOML, as key = 1.0 or key = \"text\"";
    text.parse::<Table>()
        .map_err(|e| Failure::toml(place, text, " cannot be read", &e, hint))
}

/// Everything in the file is known, of its type and possible; then: nothing required is missing.
pub fn check(place: &str, file: &Table, keys: &[Key]) -> Result<()> {
    for (name, value) in file {
        if let Some(key) = keys.iter().find(|k| k.table.is_empty() && k.name == name) {
            check_value(place, key, value)?;
            continue;
        }
        let mut of_table = keys
            .iter()
            .filter(|k| !k.table.is_empty() && k.table == name)
            .peekable();
        if of_table.peek().is_none() {
            return Err(unknown(place, "", name, keys));
        }
        let Value::Table(inner) = value else {
            return Err(Failure::new(
                format!("{place}: {name} is {}, not a table", said(value)),
                format!("write [{name}] on a line of its own and its keys below"),
            ));
        };
        for (inner_name, inner_value) in inner {
            match of_table.clone().find(|k| k.name == inner_name) {
                Some(key) => check_value(place, key, inner_value)?,
                None => return Err(unknown(place, name, inner_name, keys)),
            }
        }
    }
    for key in keys.iter().filter(|k| k.required) {
        if find(file, key.table, key.name).is_none() {
            return Err(Failure::new(
                format!("{place}: {} is missing", key.full_name()),
                match &key.kind {
                    Kind::OneOf(choices) => format!("give it as one of {}", choices.join(", ")),
                    kind => format!("give it as {}", kind.wanted()),
                },
            ));
        }
    }
    Ok(())
}

/// The value of a key, where the file has it.
pub fn find<'a>(file: &'a Table, table: &str, name: &str) -> Option<&'a Value> {
    match table {
        "" => file.get(name),
        t => file.get(t)?.as_table()?.get(name),
    }
}

impl Kind {
    /// Whether it can be this number.
    pub(super) fn holds(&self, v: f64) -> bool {
        match self {
            Kind::Number(_, range) => range.contains(&v),
            Kind::Whole(_, range) => range.contains(&v) && v.fract() == 0.0,
            _ => false,
        }
    }

    fn fits(&self, value: &Value) -> bool {
        let text = value.as_str();
        match self {
            Kind::Text => text.is_some_and(|s| !s.trim().is_empty() && !s.chars().any(char::is_control)),
            Kind::OneOf(choices) => text.is_some_and(|s| choices.contains(&s)),
            Kind::Number(..) | Kind::Whole(..) => number(value).is_some_and(|v| self.holds(v)),
            Kind::Sign => matches!(value.as_integer(), Some(1 | -1)),
        }
    }

    fn wanted(&self) -> String {
        match self {
            Kind::Text => "a line of text in quotes".into(),
            Kind::OneOf(choices) => format!("one of \"{}\"", choices.join("\", \"")),
            Kind::Number(allowed, _) | Kind::Whole(allowed, _) => format!("a number {allowed}"),
            Kind::Sign => "1 or -1".into(),
        }
    }
}

fn check_value(place: &str, key: &Key, value: &Value) -> Result<()> {
    match key.kind.fits(value) {
        true => Ok(()),
        false => Err(Failure::new(
            format!("{place}: {} is {}", key.full_name(), said(value)),
            format!("give {}", key.kind.wanted()),
        )),
    }
}

fn number(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|i| i as f64))
}

fn unknown(place: &str, table: &str, name: &str, keys: &[Key]) -> Failure {
    let mut known: Vec<&str> = Vec::new();
    for k in keys {
        let n = match table {
            "" if k.table.is_empty() => k.name,
            "" => k.table,
            t if t == k.table => k.name,
            _ => continue,
        };
        if !known.contains(&n) {
            known.push(n);
        }
    }
    let at = match table {
        "" => "at the top there are".to_owned(),
        t => format!("in [{t}] there are"),
    };
    // Quoted only where it is odd: keys are any text.
    let plain = name.chars().all(|c| c.is_ascii_alphanumeric() || "-_".contains(c)) && name.len() <= 60;
    let shown = if plain { name.to_owned() } else { quoted(name) };
    Failure::new(
        format!("{place}: {} is not known", join(table, &shown)),
        format!("{at} {}", known.join(", ")),
    )
}

/// A value as the message repeats it.
fn said(value: &Value) -> String {
    match value {
        Value::String(s) => quoted(s),
        Value::Integer(i) => i.to_string(),
        Value::Float(f) => f.to_string(),
        Value::Boolean(b) => b.to_string(),
        Value::Datetime(_) => "a date".into(),
        Value::Array(_) => "a list".into(),
        Value::Table(_) => "a table".into(),
    }
}
