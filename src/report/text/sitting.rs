//! What `potting --sitting` says at the bench.

use super::potting;
use super::screen::{Screen, Style};
use crate::record::Record;
use crate::report::words;
use crate::shop::wax::document::Reason;
use crate::shop::wax::sitting::{Sitting, Step};

pub fn sitting_keys(waxed: bool) -> String {
    let half = match waxed {
        true => "After the wax: the same lead, the same place, and cold again; s skips, q ends.",
        false => "Before the wax: s skips, q ends, w goes on after the wax.",
    };
    format!(
        "{half} Enter measures; the ohms before it, as 6.05k, are kept with the reading. Take each out and lay it back anew."
    )
}

/// "before the wax, 3 of 8: neck-7, laid down anew (2 of 3)".
pub fn sitting_prompt(step: &Step, number: usize, of: usize, waxed: bool) -> String {
    let half = if waxed { "after" } else { "before" };
    let again = match (step.placement, step.of) {
        (_, 1) => String::new(),
        (1, of) => format!(" (1 of {of})"),
        (n, of) => format!(", laid down anew ({n} of {of})"),
    };
    let out = if step.stays { ", which stays out of the wax" } else { "" };
    let pickup = words::clean(&step.pickup);
    format!("{half} the wax, {number} of {of}: {pickup}{again}{out}")
}

/// `warm`: why it is not cold yet.
pub fn sitting_step(record: &Record, warm: Option<Reason>) -> String {
    let warm = words::of(warm, |reason| format!("; {}", potting::why(reason)));
    match (record.reading(), record.rejected_for()) {
        (Some(_), _) => format!("  {}{warm}", words::peak(record)),
        (None, Some(f)) => format!("  no reading ({}): once more, or s", f.text),
        (None, None) => "  no reading: once more, or s".into(),
    }
}

/// What is to come; `left`: so many takes of this half.
pub fn sitting_left(sitting: &Sitting, left: usize, folder: &str, style: Style) -> String {
    let again = format!("`coilwright potting --sitting {}` goes on", words::shell(folder));
    let takes = format!("{left} take{}", words::plural(left));
    let text = match (left, sitting.waxed) {
        (0, false) => format!(
            "The first half is done. Now the wax: thermostat, lid, never unattended. When they are cold again, {again} with the \
             same lead."
        ),
        (_, false) => format!("Before the wax, {takes} to go: {again}. If they have been in the wax, w says so."),
        (_, true) => format!("After the wax, {takes} to go: {again}."),
    };
    let mut out = Screen::new(style);
    out.line(text);
    out.text
}
