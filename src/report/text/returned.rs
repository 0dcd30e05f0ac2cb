//! What `book returned` shows.

use super::screen::{BOLD, Screen, Style, WARN};
use crate::report::{number, returned_words, words};
use crate::shop::returned::{Returned, Side, Verdict};

pub fn returned_text(it: &Returned, style: Style) -> String {
    let mut out = Screen::new(style);
    out.stamp(it.simulated);
    let paint = match it.verdict {
        Verdict::Unchanged => BOLD,
        Verdict::Changed | Verdict::CannotTell => WARN,
    };
    let verdict = returned_words::verdict(it.verdict);
    out.line_in(format!("{}: {verdict}", words::clean(&it.pickup)), paint);
    out.line(words::clean(&it.text));
    out.row("Left", side(&it.left));
    out.row("Today", side(&it.today));
    if let Some(d) = it.compared.as_ref().and_then(|c| c.differences.first()) {
        out.row("Compared", words::clean(&d.text));
    }
    if let Some(f) = &it.freed {
        out.row("Freed", words::clean(&returned_words::freed(f)));
        if style.details {
            out.rows("", f.notes.iter().map(|n| words::clean(n)));
        }
    }
    out.row("Magnet", words::clean(&returned_words::magnet(&it.magnet)));
    out.text
}

/// A pickup that leaves.
pub fn sent_text(pickup: &str, taken_at: &str) -> String {
    let (pickup, taken) = (words::clean(pickup), words::when(taken_at));
    format!("{pickup} is sent, with its reading of {taken}.\n")
}

/// Pickups that are another's from now on, or the shop's again.
pub fn sold_text(pickups: &[String], back: bool) -> String {
    let now = if back { "the shop's again" } else { "sold" };
    let line = |name: &String| format!("{} is {now}.\n", words::clean(name));
    pickups.iter().map(line).collect()
}

fn side(s: &Side) -> String {
    let peak = s.peak_hz.map(|hz| format!("peak {}", number::hz(hz)));
    let load = s.load.as_ref().map(|l| match l.as_str() {
        "" => "no load".to_owned(),
        l => format!("under {l}"),
    });
    let rig = s.rig.as_ref().map(|r| format!("on {r}"));
    let all = [Some(words::when(&s.taken_at)), peak, load, rig];
    words::clean(&words::joined(all).unwrap_or_default())
}
