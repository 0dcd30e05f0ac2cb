//! What has been noted beside a record.

use std::path::Path;

use super::screen::{BOLD, Screen, Style, WARN};
use crate::record::Record;
use crate::report::words;

pub fn notes_text(record: &Record, written: Option<&Path>, style: Style) -> String {
    let mut out = Screen::new(style);
    out.line_in(words::clean(&record.pickup.name), BOLD);
    if record.noted.is_empty() {
        out.line("nothing has been noted with it yet");
    }
    for n in &record.noted {
        let day: String = n.noted_at.chars().take(10).collect();
        out.line(format!("note {}, {day}", n.number));
        out.rows("", n.withdraws.map(|w| format!("takes back note {w}")));
        out.rows("", n.text.iter().map(|t| words::clean(t)));
        let room = words::of(n.temperature_c, |t| format!(", at {t:.0} °C"));
        for r in &n.readings {
            out.row("", words::by_meter(r) + &room);
            out.rows_in("", r.uneven(), WARN);
        }
    }
    if let Some(path) = written {
        out.path("Written", &path.display().to_string());
    }
    out.text
}
