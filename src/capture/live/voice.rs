//! What the output plays: the drive, block by block, and its end where somebody wants silence. Runs inside the audio callback: no
//! lock, no allocation.

use std::f32::consts::PI;
use std::sync::Arc;

/// A drive that is cut clicks, in a coil as in an ear.
const RAMP_S: f32 = 0.005;

pub(super) struct Voice {
    drive: Arc<[f32]>,
    /// The first sample that was not handed over yet.
    next: usize,
    /// Where the drive began to fall silent; it never comes back.
    falling: Option<usize>,
    ramp: usize,
}

impl Voice {
    pub fn new(drive: Arc<[f32]>, rate: u32) -> Self {
        Voice {
            drive,
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
        let (falling, ramp) = (self.falling, self.ramp);
        let end = match falling {
            Some(from) => (from + ramp).min(self.drive.len()),
            None if sounding => self.drive.len(),
            None => 0,
        };
        let from = self.next;
        self.next = end.min(from + frames).max(from);
        self.drive[from..self.next].iter().enumerate().map(move |(i, x)| {
            let gain = falling.map_or(1.0, |f| {
                0.5 + 0.5 * (PI * (from + i + 1 - f) as f32 / (ramp + 1) as f32).cos()
            });
            gain * x
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn voice(frames: usize) -> Voice {
        Voice::new(vec![1.0; frames].into(), 1000)
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
    fn near_its_end_it_falls_no_further_than_that() {
        let mut v = voice(12);
        assert_eq!(v.block(10, true).count(), 10);
        assert_eq!(v.block(10, false).count(), 2);
        assert_eq!(v.block(10, false).count(), 0);
    }
}
