//! Progress on standard error, only where it is a terminal.

use indicatif::{ProgressBar, ProgressStyle};

/// Counts takes.
pub fn takes(count: usize) -> ProgressBar {
    let bar = ProgressBar::new(count as u64);
    if let Ok(style) = ProgressStyle::with_template("  {pos} of {len} takes {wide_bar} {eta}") {
        bar.set_style(style);
    }
    bar
}
