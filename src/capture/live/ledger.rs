//! What the audio system reports about one stream: counted and never queued, so that an endless storm of errors costs
//! nothing. Written by the stream's error callback, read by the thread that runs the take.

use std::sync::atomic::{AtomicBool, AtomicU8, AtomicU64, AtomicUsize, Ordering};

use cpal::ErrorKind;

const TEXT: usize = 160;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fault {
    /// The buffer ran empty or over.
    Xrun = 0,
    /// The device, or the system behind it, is gone.
    Gone = 1,
    /// The system moved the stream to another device.
    Rerouted = 2,
    Other = 3,
}

const FAULTS: [Fault; 4] = [Fault::Xrun, Fault::Gone, Fault::Rerouted, Fault::Other];

#[derive(Debug)]
pub(super) struct Ledger {
    counts: [AtomicU64; FAULTS.len()],
    /// Real-time scheduling was refused: no fault, but worth a note.
    no_realtime: AtomicBool,
    claimed: AtomicBool,
    length: AtomicUsize,
    text: [AtomicU8; TEXT],
}

/// The counts at one moment.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Tally([u64; FAULTS.len()]);

impl Tally {
    pub fn total(&self) -> u64 {
        self.0.iter().sum()
    }

    pub fn of(&self, fault: Fault) -> u64 {
        self.0[fault as usize]
    }

    pub fn plus(&self, other: &Tally) -> Tally {
        Tally(std::array::from_fn(|i| self.0[i] + other.0[i]))
    }

    pub fn since(&self, earlier: &Tally) -> Tally {
        Tally(std::array::from_fn(|i| self.0[i].saturating_sub(earlier.0[i])))
    }
}

impl Ledger {
    pub fn new() -> Self {
        Ledger {
            counts: Default::default(),
            no_realtime: AtomicBool::new(false),
            claimed: AtomicBool::new(false),
            length: AtomicUsize::new(0),
            text: std::array::from_fn(|_| AtomicU8::new(0)),
        }
    }

    /// From the error callback: no lock, no allocation, bounded work.
    pub fn note(&self, kind: ErrorKind, message: Option<&str>) {
        let fault = match kind {
            ErrorKind::RealtimeDenied => return self.no_realtime.store(true, Ordering::Relaxed),
            ErrorKind::Xrun => Fault::Xrun,
            ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable | ErrorKind::StreamInvalidated => Fault::Gone,
            ErrorKind::DeviceChanged => Fault::Rerouted,
            _ => Fault::Other,
        };
        self.counts[fault as usize].fetch_add(1, Ordering::Release);
        if fault == Fault::Other
            && let Some(message) = message
            && !self.claimed.swap(true, Ordering::AcqRel)
        {
            let bytes = message.as_bytes();
            let n = bytes.len().min(TEXT);
            for (slot, byte) in self.text.iter().zip(bytes) {
                slot.store(*byte, Ordering::Relaxed);
            }
            self.length.store(n, Ordering::Release);
        }
    }

    pub fn tally(&self) -> Tally {
        Tally(std::array::from_fn(|i| self.counts[i].load(Ordering::Acquire)))
    }

    /// The take counts from here: lets go of the message kept so far.
    pub fn begin(&self) -> Tally {
        self.length.store(0, Ordering::Release);
        self.claimed.store(false, Ordering::Release);
        self.tally()
    }

    pub fn no_realtime(&self) -> bool {
        self.no_realtime.load(Ordering::Relaxed)
    }

    fn message(&self) -> Option<String> {
        let n = self.length.load(Ordering::Acquire).min(TEXT);
        let bytes: Vec<u8> = self.text[..n].iter().map(|b| b.load(Ordering::Relaxed)).collect();
        let text = String::from_utf8_lossy(&bytes).trim().to_owned();
        (!text.is_empty()).then_some(text)
    }

    /// One sentence for each kind of fault in `tally`.
    pub fn sentences(&self, which: &str, tally: &Tally) -> Vec<String> {
        let one = |f: Fault| {
            let times = match tally.of(f) {
                1 => "once".to_owned(),
                n => format!("{n} times"),
            };
            match f {
                Fault::Xrun => format!("the {which}'s buffer ran empty or over ({times})"),
                Fault::Gone => format!("the {which} was lost while recording"),
                Fault::Rerouted => format!("the system moved the {which} to another device ({times})"),
                Fault::Other => {
                    let message = self.message().map(|m| format!(": {m}")).unwrap_or_default();
                    format!("the audio system reported a fault of the {which} ({times}){message}")
                }
            }
        };
        FAULTS.into_iter().filter(|f| tally.of(*f) > 0).map(one).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_by_kind_and_keeps_the_first_message() {
        let ledger = Ledger::new();
        ledger.note(ErrorKind::BackendError, Some("while settling"));
        let start = ledger.begin();
        ledger.note(ErrorKind::Xrun, Some("not kept"));
        ledger.note(ErrorKind::Xrun, None);
        for i in 0..1000 {
            ledger.note(ErrorKind::BackendError, Some(&format!("fault {i} {}", "x".repeat(500))));
        }
        ledger.note(ErrorKind::RealtimeDenied, None);
        let tally = ledger.tally().since(&start);
        assert_eq!(
            (tally.total(), tally.of(Fault::Xrun), tally.of(Fault::Other)),
            (1002, 2, 1000)
        );
        let said = ledger.sentences("sound input", &tally);
        assert_eq!(said.len(), 2);
        assert_eq!(said[0], "the sound input's buffer ran empty or over (2 times)");
        assert!(
            said[1].contains("(1000 times): fault 0 xxx") && said[1].len() < 300,
            "{}",
            said[1]
        );
        assert!(ledger.no_realtime());
    }
}
