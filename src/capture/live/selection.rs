//! What is asked of the sound card: devices and channels.

use crate::failure::{Failure, Result};

/// Which devices and channels to use. Channels count from 1, as sockets are labelled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Selection {
    /// Id, name or part of it; `None`: the system's default output.
    pub output: Option<String>,
    /// Id, name or part of it; `None`: the system's default input.
    pub input: Option<String>,
    /// Input channel that the pickup is on.
    pub pickup_channel: usize,
    /// Input channel that the reference is on; `None`: a take of one channel.
    pub reference_channel: Option<usize>,
}

impl Default for Selection {
    fn default() -> Self {
        Selection {
            output: None,
            input: None,
            pickup_channel: 1,
            reference_channel: Some(2),
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    Output,
    Input,
}

impl Direction {
    pub(super) const BOTH: [Direction; 2] = [Direction::Output, Direction::Input];

    /// "sound output" or "sound input".
    pub fn words(self) -> &'static str {
        match self {
            Direction::Output => "sound output",
            Direction::Input => "sound input",
        }
    }

    pub(super) fn option(self) -> &'static str {
        match self {
            Direction::Output => "--output",
            Direction::Input => "--input",
        }
    }
}

/// Whether an id stands for whatever the system has as default, today this and tomorrow that: nothing to bind a rig to.
pub fn floats(id: &str) -> bool {
    let bare = id.strip_prefix("alsa:").unwrap_or(id);
    ["default", "sysdefault", "pulse", "pipewire", "jack"].contains(&bare)
}

impl Selection {
    /// Channel numbers that no device can have.
    pub(super) fn validate(&self) -> Result<()> {
        let all = [
            Some(("pickup", self.pickup_channel)),
            self.reference_channel.map(|c| ("reference", c)),
        ];
        for (name, channel) in all.into_iter().flatten() {
            if !(1..=256).contains(&channel) {
                return Err(Failure::new(
                    format!("there is no {name} channel {channel}"),
                    "channels count from 1, as the sockets are labelled",
                ));
            }
        }
        if self.reference_channel == Some(self.pickup_channel) {
            return Err(Failure::new(
                format!("pickup and reference are both on channel {}", self.pickup_channel),
                "give each its own, e.g. --channels pickup=1,reference=2",
            ));
        }
        Ok(())
    }

    pub(super) fn channels(&self, direction: Direction) -> usize {
        match direction {
            Direction::Output => 1,
            Direction::Input => self.pickup_channel.max(self.reference_channel.unwrap_or(1)),
        }
    }

    pub(super) fn wanted(&self, direction: Direction) -> Option<&str> {
        match direction {
            Direction::Output => self.output.as_deref(),
            Direction::Input => self.input.as_deref(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_default_is_no_interface() {
        for id in ["alsa:default", "alsa:pulse", "alsa:sysdefault"] {
            assert!(floats(id), "{id}");
        }
        for id in ["alsa:hw:CARD=Some,DEV=0", "alsa:sysdefault:CARD=Some", "alsa:bench_out"] {
            assert!(!floats(id), "{id}");
        }
    }

    #[test]
    fn channels_that_cannot_be() {
        let fine = Selection::default();
        assert!(fine.validate().is_ok());
        let same = Selection {
            reference_channel: Some(1),
            ..fine.clone()
        };
        assert!(same.validate().unwrap_err().to_string().contains("both on channel 1"));
        let zero = Selection {
            pickup_channel: 0,
            ..fine
        };
        assert!(
            zero.validate()
                .unwrap_err()
                .to_string()
                .starts_with("there is no pickup channel 0")
        );
    }
}
