//! Progress on standard error, only where it is a terminal.

use indicatif::{ProgressBar, ProgressStyle};

use crate::capture::Progress;

/// Counts takes.
pub fn takes(count: usize) -> ProgressBar {
    let bar = ProgressBar::new(count as u64);
    if let Ok(style) = ProgressStyle::with_template("  {pos} of {len} takes {wide_bar} {eta}") {
        bar.set_style(style);
    }
    bar
}

/// Work on a take, with a bar that tells how far it is where one is wanted.
pub fn shown<T>(wanted: bool, work: impl FnOnce(&mut dyn FnMut(Progress)) -> T) -> T {
    if !wanted {
        return work(&mut |_| ());
    }
    let bar = TakeBar::new();
    let done = work(&mut |p| bar.show(p));
    bar.bar.finish_and_clear();
    done
}

/// Shows how far a take is, and a meter for both inputs.
struct TakeBar {
    bar: ProgressBar,
}

const STEPS: u64 = 1000;

impl TakeBar {
    fn new() -> Self {
        let bar = ProgressBar::new(STEPS);
        if let Ok(style) = ProgressStyle::with_template("  {bar:10} {percent:>3} %  {wide_msg}") {
            bar.set_style(style);
        }
        TakeBar { bar }
    }

    fn show(&self, p: Progress) {
        self.bar
            .set_position((p.fraction.clamp(0.0, 1.0) * STEPS as f64) as u64);
        let meter = |peak: f32| {
            let db = 20.0 * f64::from(peak.max(1e-6)).log10();
            // Eight steps of 6 dB below full scale; a mark where the converter's end is near.
            let filled = (((db + 48.0) / 6.0).clamp(0.0, 8.0)) as usize;
            let over = if db > -1.0 { "!" } else { " " };
            format!("{}{}{over}", "#".repeat(filled), ".".repeat(8 - filled))
        };
        self.bar
            .set_message(format!("in {} ref {}", meter(p.peak_pickup), meter(p.peak_reference)));
    }
}

/// Counts whatever is gone through, of which nobody knows yet how many there are.
pub fn things(name: &'static str) -> ProgressBar {
    let bar = ProgressBar::no_length();
    if let Ok(style) = ProgressStyle::with_template("  {pos} {msg} {elapsed}") {
        bar.set_style(style);
    }
    bar.with_message(name)
}
