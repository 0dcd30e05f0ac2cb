//! The sound card: plays the drive and records what answers.
//!
//! ```text
//!   drive --> output callback --> device ~~~ exciter, pickup ~~~ device --> input callback --> ring --> the take
//! ```
//!
//! Two streams run side by side, each with its own clock of callbacks. First both carry silence until they have settled;
//! then the output starts the drive and notes how many frames the input had delivered by then: there the take begins.
//! Nothing but the signal itself says how much later the answer arrives (time stamps of two streams are not comparable).
//!
//! The callbacks only copy and count: no lock, no allocation, no message. Whatever the audio system reports is counted,
//! and what is reported after settling voids the take. But silence of the audio system proves nothing: some lose samples
//! without a word, so that a take's continuity has to be proven from its samples.
//!
//! Every call into the audio system runs on a thread of its own and is waited for with a limit: a sound server that hangs
//! must not hang the program.

use std::sync::Arc;
use std::time::Duration;

use super::stop::Stop;
use super::{Capture, Progress, Provenance, Request, Rounds, Take};
use crate::failure::{Failure, Result};
use rolling::Tape;
use session::{OPEN_LIMIT, Played, Session, Shared};
use voice::Then;
use waiting::bounded;

mod devices;
mod find;
mod ledger;
mod proof;
mod refusal;
mod rolling;
mod rounds;
mod selection;
mod session;
mod voice;
mod waiting;
mod wire;

pub use devices::DeviceInfo;
pub use selection::{Direction, Selection, floats};

/// For opening every device there is, one after the other.
const LIST_LIMIT: Duration = Duration::from_secs(10);

/// The sound card as a source of takes.
#[derive(Debug)]
pub struct Live {
    selection: Selection,
    stop: Stop,
}

impl Live {
    /// Asking `stop` silences the output within one buffer and ends the take with a failure.
    pub fn new(selection: Selection, stop: Stop) -> Self {
        Live { selection, stop }
    }
}

/// All sound devices in both directions, and which of them `selection` means. Opens each for a moment; nothing sounds.
pub fn devices(selection: &Selection) -> Result<Vec<DeviceInfo>> {
    let selection = selection.clone();
    bounded(LIST_LIMIT, move || devices::devices(&selection))
}

/// The rate to measure at where none is asked for.
pub fn default_rate(selection: &Selection) -> Result<u32> {
    let selection = selection.clone();
    bounded(OPEN_LIMIT, move || devices::default_rate(&selection))
}

/// Finds what stands in the way of a take before anything sounds: names, channels, rate, devices in use. Returns the ids of
/// output and input.
pub fn check(selection: &Selection, rate_hz: u32) -> Result<[String; 2]> {
    let selection = selection.clone();
    bounded(OPEN_LIMIT, move || {
        let (output, input) = devices::setups(&selection, rate_hz)?;
        Ok([output.id, input.id])
    })
}

impl Capture for Live {
    fn describe(&self) -> String {
        let named = |name: &Option<String>, what| match name {
            Some(n) => format!("{what} '{n}'"),
            None => format!("the default {what}"),
        };
        let (output, input) = (&self.selection.output, &self.selection.input);
        format!(
            "plays on {}, records {}",
            named(output, "output"),
            named(input, "input")
        )
    }

    fn rounds(&mut self, rate_hz: u32, round: &[f32]) -> Result<Box<dyn Rounds>> {
        let shared = Arc::new(Shared::new(self.stop.clone()));
        Ok(Box::new(rounds::Running::start(
            &self.selection,
            rate_hz,
            round,
            shared,
        )?))
    }

    /// A take that meets trouble is brought back with the trouble named; one that never begins is a failure.
    fn take(&mut self, request: &Request, progress: &mut dyn FnMut(Progress)) -> Result<Take> {
        let rate_hz = request.rate_hz;
        if request.drive.is_empty() || rate_hz == 0 || request.drive.iter().any(|x| !x.is_finite()) {
            return Err(Failure::new(
                "the drive cannot be played: it is empty or no number",
                "draw it anew with `coilwright drive`",
            ));
        }
        let shared = Arc::new(Shared::new(self.stop.clone()));
        shared.stopped()?;
        let played = Played {
            drive: request.drive.as_slice().into(),
            then: Then::Silence,
        };
        let (session, opened) = Session::start(&self.selection, rate_hz, played, &shared)?;
        let [output, input] = &opened.labels;
        let mut tape = Tape::new(opened.ring, request.drive.len() + rate_hz as usize);
        let tape_from = rolling::settle(&shared, &opened.labels, &mut tape, rate_hz)?;
        let ended = rolling::roll(&shared, &mut tape, tape_from, request, progress)?;
        drop(session);

        let tracks = tape.cut(&ended);
        let (mut trouble, cause) = (ended.trouble, ended.cause);
        for (side, tally) in shared.sides().into_iter().zip(&ended.tallies) {
            trouble.extend(side.ledger.sentences(side.direction.words(), tally));
        }
        let Some([pickup, reference]) = tracks else {
            let why = trouble.join(", ");
            return Err(Failure::new(
                format!("nothing was recorded from the sound input {input}: {why}"),
                format!("{}, then measure again", cause.remedy()),
            ));
        };
        if let Some((from, frames)) = proof::silent_gap(&request.drive, &[&pickup, &reference], rate_hz) {
            let [long, from] = [frames, from].map(|n| n as f64 / f64::from(rate_hz));
            trouble.push(format!(
                "the sound input fell silent: nothing but zeros for {long:.2} s from {from:.2} s on"
            ));
        }
        let mut notes = opened.notes;
        if shared.sides().iter().any(|s| s.ledger.no_realtime()) {
            notes.push("the system refused real-time priority to the sound".into());
        }
        Ok(Take {
            rate_hz,
            pickup,
            reference: self.selection.reference_channel.map(|_| reference),
            step: opened.step,
            provenance: Provenance {
                device: Some(format!("plays on {output}, records {input}")),
                notes,
                trouble,
                cause,
                ..Provenance::default()
            },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stop_before_the_start_is_heeded() {
        let stop = Stop::default();
        stop.press();
        let mut live = Live::new(Selection::default(), stop);
        let request = Request {
            rate_hz: 48_000,
            drive: vec![0.0; 480],
        };
        let failure = live.take(&request, &mut |_| ()).unwrap_err();
        assert!(failure.to_string().starts_with("stopped by hand"));
    }
}
