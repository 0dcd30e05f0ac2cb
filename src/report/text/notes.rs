//! What has been noted beside a record.

use std::path::Path;

use super::screen::{BOLD, PLAIN, Screen, Style, WARN};
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
        let say = |out: &mut Screen, text: &str, paint| out.row_in("", text, paint);
        if let Some(w) = n.withdraws {
            say(&mut out, &format!("takes back note {w}"), PLAIN);
        }
        if let Some(t) = &n.text {
            say(&mut out, &words::clean(t), PLAIN);
        }
        let room = n.temperature_c.map_or(String::new(), |t| format!(", at {t:.0} °C"));
        for r in &n.readings {
            say(
                &mut out,
                &format!("{} {}{room}", words::clean(&r.column().to_string()), r.shown()),
                PLAIN,
            );
            if let Some(u) = r.uneven() {
                say(&mut out, &u, WARN);
            }
        }
    }
    if let Some(path) = written {
        out.path("Written", &path.display().to_string());
    }
    out.text
}
