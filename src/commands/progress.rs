//! Progress on standard error, only where it is a terminal.

use indicatif::{ProgressBar, ProgressStyle};

use crate::capture::Progress;
use crate::parallel;

fn styled(bar: ProgressBar, template: &str) -> ProgressBar {
    match ProgressStyle::with_template(template) {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}

/// Work on many takes, which are counted.
pub fn each<T: Sync, R: Send>(takes: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let bar = ProgressBar::new(takes.len() as u64);
    let bar = styled(bar, "  {pos} of {len} takes {wide_bar} {eta}");
    let done = parallel::each(takes, |take| {
        let done = work(take);
        bar.inc(1);
        done
    });
    bar.finish_and_clear();
    done
}

/// Work on a take, with a bar that tells how far it is where one is wanted.
pub fn shown<T>(wanted: bool, work: impl FnOnce(&mut dyn FnMut(Progress)) -> T) -> T {
    if !wanted {
        return work(&mut |_| ());
    }
    let bar = styled(ProgressBar::new(STEPS), "  {bar:10} {percent:>3} %  {wide_msg}");
    let done = work(&mut |p| {
        bar.set_position((p.fraction.clamp(0.0, 1.0) * STEPS as f64) as u64);
        bar.set_message(format!("in {} ref {}", meter(p.peak_pickup), meter(p.peak_reference)));
    });
    bar.finish_and_clear();
    done
}

const STEPS: u64 = 1000;

/// Of an input.
fn meter(peak: f32) -> String {
    let db = 20.0 * f64::from(peak.max(1e-6)).log10();
    // Eight steps of 6 dB below full scale; a mark where the converter's end is near.
    let filled = (((db + 48.0) / 6.0).clamp(0.0, 8.0)) as usize;
    let over = if db > -1.0 { "!" } else { " " };
    format!("{}{}{over}", "#".repeat(filled), ".".repeat(8 - filled))
}

/// Work on whatever is gone through, each told by a call; nobody knows yet how many there are.
pub fn counted<T>(name: &'static str, work: impl FnOnce(&(dyn Fn() + Sync)) -> T) -> T {
    let bar = styled(ProgressBar::no_length(), "  {pos} {msg} {elapsed}").with_message(name);
    let done = work(&|| bar.inc(1));
    bar.finish_and_clear();
    done
}
