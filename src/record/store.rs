//! Reading records: any version that was ever written.

use std::path::Path;

use super::{Record, SCHEMA};
use crate::failure::{Failure, Result};
use crate::fileio;

/// No record is near this large.
const MOST_BYTES: u64 = 16 << 20;

/// Reads a record from its file, or from the folder it lies in.
pub fn read(path: &Path) -> Result<Record> {
    let file = if path.is_dir() {
        path.join("record.json")
    } else {
        path.to_path_buf()
    };
    parse(&fileio::read_limited(&file, MOST_BYTES)?, &file)
}

/// As [`read`], from bytes; `path` only names the file in messages.
pub fn parse(bytes: &[u8], path: &Path) -> Result<Record> {
    let name = path.display();
    let value: serde_json::Value = serde_json::from_slice(bytes).map_err(|e| {
        Failure::new(
            format!("{name} is not a record: {e}"),
            "give a record.json that coilwright wrote",
        )
    })?;
    let schema = value.get("schema").and_then(|s| s.as_str()).unwrap_or_default();
    match schema
        .strip_prefix("coilwright/record/")
        .and_then(|v| v.parse::<u32>().ok())
    {
        Some(1) => {}
        Some(v) if v > 1 => {
            return Err(Failure::new(
                format!("{name} was written by a newer coilwright (record version {v})"),
                format!("update coilwright; this one reads up to \"{SCHEMA}\""),
            ));
        }
        _ => {
            return Err(Failure::new(
                format!("{name} is not a record of a measurement"),
                "give a record.json that coilwright wrote",
            ));
        }
    }
    serde_json::from_value(value).map_err(|e| {
        Failure::new(
            format!("{name} is a damaged record: {e}"),
            "measure again, or analyse its take again",
        )
    })
}
