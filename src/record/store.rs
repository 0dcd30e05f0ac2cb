//! Reading records: any version that was ever written.

use std::path::Path;

use super::{Record, SCHEMA, notes};
use crate::failure::{Failure, Result};
use crate::fileio;

/// Reads a record from its file, or from the folder it lies in, with what was noted beside it.
pub fn read(path: &Path) -> Result<Record> {
    if path.symlink_metadata().is_err() {
        return Err(Failure::new(
            format!("cannot read {}: there is no such record", path.display()),
            "check the path; `coilwright measure` says where it wrote one",
        ));
    }
    let file = if path.is_dir() {
        path.join("record.json")
    } else {
        path.to_path_buf()
    };
    let mut record = parse(&fileio::read_limited(&file, fileio::DOCUMENT_BYTES)?, &file)?;
    if file.file_name().is_some_and(|n| n == "record.json") {
        let folder = file.parent().filter(|p| !p.as_os_str().is_empty());
        record.noted = notes::beside(folder.unwrap_or(Path::new(".")), &record.id)?;
    }
    Ok(record)
}

/// As [`read`], from bytes; `path` only names the file in messages.
pub fn parse(bytes: &[u8], path: &Path) -> Result<Record> {
    let name = path.display();
    if bytes.starts_with(b"RIFF") || bytes.starts_with(b"RF64") {
        return Err(Failure::new(
            format!("{name} is a recording, not a record"),
            "run `coilwright analyze` on it with --out, then give the record",
        ));
    }
    let no_record = |what: String| {
        Failure::new(
            format!("{name} is not a record{what}"),
            "give a record.json that coilwright wrote",
        )
    };
    let damaged = |what: String| {
        let hint = "measure again, or analyse its take again";
        Failure::new(format!("{name} is a damaged record: {what}"), hint)
    };
    let value: serde_json::Value = serde_json::from_slice(bytes).map_err(|e| no_record(format!(": {e}")))?;
    let schema = value.get("schema").and_then(|s| s.as_str()).unwrap_or_default();
    let version = schema.strip_prefix("coilwright/record/");
    match version.and_then(|v| v.parse::<u32>().ok()) {
        Some(1) => {}
        Some(v) if v > 1 => {
            return Err(Failure::new(
                format!("{name} was written by a newer coilwright (record version {v})"),
                format!("update coilwright; this one reads up to \"{SCHEMA}\""),
            ));
        }
        _ => return Err(no_record(" of a measurement".into())),
    }
    if let Some(bad) = unsound(&value) {
        return Err(damaged(format!("it holds {bad:e}, which no measurement gives")));
    }
    let record: Record = serde_json::from_value(value).map_err(|e| damaged(e.to_string()))?;
    Ok(record.with_fields_of_today())
}

/// Beyond any number of a pickup, and far from where squares overflow.
const HUGE: f64 = 1e100;

/// The first figure beside a value that is no uncertainty, or a value beyond all measure.
fn unsound(json: &serde_json::Value) -> Option<f64> {
    use serde_json::Value;
    match json {
        Value::Array(list) => list.iter().find_map(unsound),
        Value::Object(members) => {
            let number = |key: &str| members.get(key).and_then(Value::as_f64);
            let own = number("value").and_then(|value| {
                let uncertainties = [number("u"), number("u_noise")].into_iter().flatten();
                let bad = uncertainties.into_iter().find(|u| !(0.0..=HUGE).contains(u));
                bad.or((value.abs() > HUGE).then_some(value))
            });
            own.or_else(|| members.values().find_map(unsound))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn what_is_no_uncertainty() {
        let of = |value: f64, u: f64, u_noise: f64| {
            unsound(&json!({ "a": [{ "value": value, "u": u, "u_noise": u_noise }] }))
        };
        assert_eq!(of(4200.0, 0.1, 0.0), None);
        assert_eq!(of(4200.0, -1e308, 0.0), Some(-1e308));
        assert_eq!(of(4200.0, 0.1, 1e200), Some(1e200));
        assert_eq!(of(-1e200, 0.1, 0.1), Some(-1e200));
        assert_eq!(unsound(&json!({ "u": -1.0 })), None);
    }
}
