//! Every call into the audio system, on a thread of its own and waited for with a limit.

use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

use super::super::stop::Stop;
use crate::failure::{Failure, Result};

/// Between two looks at what has come.
pub(super) const POLL: Duration = Duration::from_millis(10);

pub(super) fn by_hand() -> Failure {
    Failure::new("stopped by hand", "this take is not kept; measure again when ready")
}

pub(super) fn hung() -> Failure {
    down("the sound system does not answer")
}

pub(super) fn down(what: impl Into<String>) -> Failure {
    Failure::new(what, "restart the sound server, or unplug the interface and plug it in")
}

/// Keeps messages of the ALSA library, on this thread, off standard error: what matters in them comes back as an error.
/// (What other libraries write that plugins of ALSA load, such as those for further sound servers, is out of reach.)
fn hush() {
    #[cfg(target_os = "linux")]
    let _ = alsa::Output::local_error_handler();
}

pub(super) fn spawn(work: impl FnOnce() + Send + 'static) -> Result<()> {
    let work = move || {
        hush();
        work();
    };
    match thread::Builder::new().name("sound".into()).spawn(work) {
        Ok(_) => Ok(()),
        Err(e) => Err(Failure::new(
            format!("no thread for the sound: {e}"),
            "close other programs and try again",
        )),
    }
}

/// Waits for a message, for the stop flag, or for the limit.
pub(super) fn wait<T>(from: &mpsc::Receiver<Result<T>>, limit: Duration, stop: Option<&Stop>) -> Result<T> {
    let start = Instant::now();
    loop {
        match from.recv_timeout(POLL) {
            Ok(answer) => return answer,
            Err(mpsc::RecvTimeoutError::Disconnected) => return Err(hung()),
            Err(mpsc::RecvTimeoutError::Timeout) => {}
        }
        if stop.is_some_and(Stop::asked) {
            return Err(by_hand());
        }
        if start.elapsed() > limit {
            return Err(hung());
        }
    }
}

pub(super) fn bounded<T: Send + 'static>(
    limit: Duration,
    work: impl FnOnce() -> Result<T> + Send + 'static,
) -> Result<T> {
    let (answer, from) = mpsc::channel();
    spawn(move || {
        let _ = answer.send(work());
    })?;
    wait(&from, limit, None)
}
