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

/// Shows how far a take is, and a meter for both inputs.
pub struct TakeBar {
    bar: ProgressBar,
}

const STEPS: u64 = 1000;

impl TakeBar {
    pub fn new() -> Self {
        let bar = ProgressBar::new(STEPS);
        if let Ok(style) = ProgressStyle::with_template("  {bar:24} {percent:>3} %  {msg}") {
            bar.set_style(style);
        }
        TakeBar { bar }
    }

    pub fn show(&self, p: crate::capture::Progress) {
        self.bar
            .set_position((p.fraction.clamp(0.0, 1.0) * STEPS as f64) as u64);
        let meter = |peak: f32| {
            let db = 20.0 * f64::from(peak.max(1e-6)).log10();
            // Eight steps of 6 dB below full scale; a mark where the converter's end is near.
            let filled = (((db + 48.0) / 6.0).clamp(0.0, 8.0)) as usize;
            let over = if db > -1.0 { "!" } else { " " };
            format!("{}{}{over}", "#".repeat(filled), ".".repeat(8 - filled))
        };
        self.bar.set_message(format!(
            "pickup {} reference {}",
            meter(p.peak_pickup),
            meter(p.peak_reference)
        ));
    }

    pub fn done(self) {
        self.bar.finish_and_clear();
    }
}

impl Default for TakeBar {
    fn default() -> Self {
        TakeBar::new()
    }
}
