//! What has been noted beside a record.

use std::path::Path;

use super::screen::Screen;
use super::{BOLD, PLAIN, Style, WARN, words};
use crate::record::Record;

pub fn notes_text(record: &Record, written: Option<&Path>, style: Style) -> String {
    let mut out = Screen::new(style);
    out.free(&words::clean(&record.pickup.name), BOLD);
    if record.noted.is_empty() {
        out.free("nothing has been noted with it yet", PLAIN);
    }
    for n in &record.noted {
        let day: String = n.noted_at.chars().take(10).collect();
        out.free(&format!("note {}, {day}", n.number), PLAIN);
        let say = |out: &mut Screen, text: &str, paint| out.row("", text, paint);
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
