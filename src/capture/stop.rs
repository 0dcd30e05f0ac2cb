//! How a running command is asked to fall silent: by Ctrl-C, by termination, by a terminal that is closed.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// One for the process. A Ctrl-C at a take ends that take and may be taken note of, so that the command goes on; termination and
/// a closed terminal end the command.
#[derive(Debug, Clone, Default)]
pub struct Stop {
    pressed: Arc<AtomicBool>,
    ended: Arc<AtomicBool>,
    given: Arc<AtomicBool>,
}

impl Stop {
    /// Whatever sounds is to be silent. Cheap enough for an audio callback.
    pub fn asked(&self) -> bool {
        self.pressed.load(Ordering::Relaxed) || self.for_good()
    }

    /// The command is to end, and not only what it is at.
    pub fn for_good(&self) -> bool {
        self.ended.load(Ordering::Relaxed)
    }

    /// A Ctrl-C that has done its work is over: what comes next sounds again.
    pub fn heed(&self) {
        self.pressed.store(false, Ordering::Relaxed);
    }

    /// As by Ctrl-C.
    pub fn press(&self) {
        self.pressed.store(true, Ordering::Relaxed);
    }

    /// What a signal handler sets on Ctrl-C, and on all else that ends a program; given once.
    pub fn flags(&self) -> Option<[Arc<AtomicBool>; 2]> {
        let first = !self.given.swap(true, Ordering::Relaxed);
        first.then(|| [self.pressed.clone(), self.ended.clone()])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ctrl_c_can_be_heeded_and_an_end_cannot() {
        let stop = Stop::default();
        assert!(!stop.asked());
        stop.press();
        assert!(stop.clone().asked() && !stop.for_good());
        stop.heed();
        assert!(!stop.asked());
        let [_, ended] = stop.flags().unwrap();
        assert!(stop.clone().flags().is_none());
        ended.store(true, Ordering::Relaxed);
        stop.heed();
        assert!(stop.asked() && stop.for_good());
    }
}
