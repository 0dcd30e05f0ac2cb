//! What the output plays: the drive, block by block, and its end where somebody wants silence. Runs inside the audio callback: no
//! lock, no allocation.

use std::f32::consts::PI;
use std::sync::Arc;

/// A drive that is cut clicks, in a coil as in an ear.
const RAMP_S: f32 = 0.005;

/// What becomes of a drive at its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Then {
    Silence,
    /// It begins anew, with a ramp before the first time only.
    Again,
}

pub(super) struct Voice {
    drive: Arc<[f32]>,
    then: Then,
    /// The first sample that was not handed over yet.
    next: usize,
    /// Where the drive began to fall silent; it never comes back.
    falling: Option<usize>,
    ramp: usize,
}

impl Voice {
    pub fn new(drive: Arc<[f32]>, then: Then, rate: u32) -> Self {
        Voice {
            drive,
            then,
            next: 0,
            falling: None,
            ramp: (RAMP_S * rate as f32).ceil() as usize,
        }
    }

    pub fn begun(&self) -> bool {
        self.next > 0
    }

    /// The next `frames` samples, fewer where the drive ends. It begins when it may sound; where it no longer may, it goes down
    /// along half a cosine.
    pub fn block(&mut self, frames: usize, sounding: bool) -> impl ExactSizeIterator<Item = f32> + '_ {
        if !sounding && self.begun() && self.falling.is_none() {
            self.falling = Some(self.next);
        }
        let (falling, ramp, rising) = (self.falling, self.ramp, self.then == Then::Again);
        let last = match self.then {
            Then::Silence => self.drive.len(),
            Then::Again => usize::MAX,
        };
        let end = match falling {
            Some(from) => (from + ramp).min(last),
            None if sounding => last,
            None => 0,
        };
        let from = self.next;
        self.next = end.min(from + frames).max(from);
        let drive = &self.drive;
        let down = move |steps: usize| 0.5 + 0.5 * (PI * steps as f32 / (ramp + 1) as f32).cos();
        (from..self.next).map(move |i| {
            let fall = falling.map_or(1.0, |f| down(i + 1 - f));
            let rise = if rising && i < ramp { down(ramp - i) } else { 1.0 };
            rise * fall * drive[i % drive.len()]
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn voice(frames: usize) -> Voice {
        Voice::new(vec![1.0; frames].into(), Then::Silence, 1000)
    }

    #[test]
    fn the_drive_is_handed_over_whole_once_it_may_sound() {
        let mut v = voice(10);
        assert_eq!(v.block(8, false).count(), 0);
        assert!(!v.begun());
        assert_eq!(v.block(8, true).count(), 8);
        assert!(v.begun());
        assert_eq!(v.block(8, true).collect::<Vec<_>>(), [1.0; 2]);
        assert_eq!(v.block(8, true).count(), 0);
    }

    #[test]
    fn it_falls_silent_along_a_ramp_across_blocks_and_for_good() {
        let mut v = voice(100);
        assert_eq!(v.block(10, true).count(), 10);
        let mut fall: Vec<f32> = v.block(2, false).collect();
        // Nobody wakes it up again.
        fall.extend(v.block(10, true));
        assert_eq!(fall.len(), 5);
        assert!(
            fall[0] < 1.0 && fall[4] > 0.0 && fall.windows(2).all(|w| w[1] < w[0]),
            "{fall:?}"
        );
        let steps = [&[1.0], &fall[..], &[0.0]].concat();
        assert!(steps.windows(2).all(|w| w[0] - w[1] < 0.27), "{steps:?}");
        assert_eq!(v.block(10, true).count(), 0);
    }

    #[test]
    fn over_and_over_it_rises_once_never_ends_and_falls_as_any_other() {
        let drive: Vec<f32> = (0..10).map(|i| 0.5 + i as f32 / 100.0).collect();
        let mut v = Voice::new(drive.clone().into(), Then::Again, 1000);
        let first: Vec<f32> = v.block(25, true).collect();
        let share: Vec<f32> = first.iter().enumerate().map(|(i, x)| x / drive[i % 10]).collect();
        assert!(
            share[0] < 0.1 && share[..6].windows(2).all(|w| w[0] < w[1]),
            "{share:?}"
        );
        assert_eq!(&first[10..20], &drive[..]);
        assert_eq!(v.block(20, true).count(), 20);
        assert_eq!(v.block(20, false).count(), 5);
        assert_eq!(v.block(20, true).count(), 0);
    }

    #[test]
    fn near_its_end_it_falls_no_further_than_that() {
        let mut v = voice(12);
        assert_eq!(v.block(10, true).count(), 10);
        assert_eq!(v.block(10, false).count(), 2);
        assert_eq!(v.block(10, false).count(), 0);
    }
}
