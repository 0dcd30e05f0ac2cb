//! Two running streams, and what their callbacks share with the take.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind};

use super::super::stop::Stop;
use super::devices::{Setup, setups};
use super::ledger::{Ledger, Tally};
use super::refusal::refused;
use super::selection::{Direction, Selection};
use super::voice::{Then, Voice};
use super::waiting::{POLL, by_hand, spawn, wait};
use super::wire;
use crate::failure::Result;

/// Seconds of input that may wait for a busy main thread.
const RING_S: usize = 4;
/// For opening both devices.
pub(super) const OPEN_LIMIT: Duration = Duration::from_secs(6);
const CLOSE_LIMIT: Duration = Duration::from_secs(2);
/// For the ramp down and the buffer behind it, where the device still runs.
const FALL_LIMIT: Duration = Duration::from_millis(500);

/// One of both streams.
pub(super) struct Side {
    pub direction: Direction,
    /// Frames that it has asked for or delivered, those included that found no room in the ring.
    pub frames: AtomicU64,
    pub ledger: Ledger,
}

/// What the callbacks and the take share.
pub(super) struct Shared {
    stop: Stop,
    /// The output may start the drive.
    pub playing: AtomicBool,
    /// Frames of the input that found no room.
    pub lost: AtomicU64,
    /// The output's frames behind the last sample of the drive that was handed over.
    sounded_to: AtomicU64,
    /// The input's frames when the drive's first sample was handed over; `NEVER` until then.
    pub began_at: AtomicU64,
    output: Side,
    input: Side,
}

pub(super) const NEVER: u64 = u64::MAX;

impl Shared {
    pub fn new(stop: Stop) -> Self {
        let side = |direction| Side {
            direction,
            frames: AtomicU64::new(0),
            ledger: Ledger::new(),
        };
        Shared {
            stop,
            playing: AtomicBool::new(false),
            lost: AtomicU64::new(0),
            sounded_to: AtomicU64::new(0),
            began_at: AtomicU64::new(NEVER),
            output: side(Direction::Output),
            input: side(Direction::Input),
        }
    }

    pub fn stopped(&self) -> Result<()> {
        if self.stop.asked() { Err(by_hand()) } else { Ok(()) }
    }

    pub fn sides(&self) -> [&Side; 2] {
        [&self.output, &self.input]
    }

    pub fn frames(&self) -> [u64; 2] {
        self.sides().map(|s| s.frames.load(Ordering::Acquire))
    }

    pub fn tallies(&self) -> [Tally; 2] {
        self.sides().map(|s| s.ledger.tally())
    }

    /// Waits until the drive, or its ramp down, has left the output's buffer: closing a stream cuts what is still in it.
    fn fall_silent(&self, buffer: u64) {
        self.playing.store(false, Ordering::Release);
        let start = Instant::now();
        let left = || {
            let handed_over = self.output.frames.load(Ordering::Acquire);
            handed_over >= self.sounded_to.load(Ordering::Acquire) + buffer
        };
        while !left() && start.elapsed() < FALL_LIMIT {
            thread::sleep(POLL);
        }
    }
}

/// What is known of the streams once they are open.
pub(super) struct Opened {
    /// Output and input, for people.
    pub labels: [String; 2],
    pub step: f64,
    /// Frames that lie between the output's callback and what is heard.
    buffer: u64,
    pub notes: Vec<String>,
    pub ring: rtrb::Consumer<f32>,
}

/// What is played.
#[derive(Debug, Clone)]
pub(super) struct Played {
    pub drive: Arc<[f32]>,
    pub then: Then,
}

/// Two running streams. They live on a thread of their own, which ends when this is dropped, however the take ended: the output
/// has fallen silent by then.
pub(super) struct Session {
    shared: Arc<Shared>,
    buffer: u64,
    close: Option<mpsc::Sender<()>>,
    done: mpsc::Receiver<Result<Opened>>,
}

impl Session {
    pub fn start(selection: &Selection, rate: u32, played: Played, shared: &Arc<Shared>) -> Result<(Self, Opened)> {
        let (answer, done) = mpsc::channel();
        let (close, closing) = mpsc::channel::<()>();
        let (selection, theirs) = (selection.clone(), shared.clone());
        spawn(move || match open(&selection, rate, played, &theirs) {
            Ok((output, input, opened)) => {
                if answer.send(Ok(opened)).is_ok() {
                    let _ = closing.recv();
                }
                drop(output);
                drop(input);
            }
            Err(e) => {
                let _ = answer.send(Err(e));
            }
        })?;
        let opened = wait(&done, OPEN_LIMIT, Some(&shared.stop))?;
        let session = Session {
            shared: shared.clone(),
            buffer: opened.buffer,
            close: Some(close),
            done,
        };
        Ok((session, opened))
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        self.shared.fall_silent(self.buffer);
        drop(self.close.take());
        // Its end shows as a closed channel; a thread that hangs in the sound system is left behind.
        let _ = self.done.recv_timeout(CLOSE_LIMIT);
    }
}

fn open(
    selection: &Selection,
    rate: u32,
    played: Played,
    shared: &Arc<Shared>,
) -> Result<(cpal::Stream, cpal::Stream, Opened)> {
    let (output, input) = setups(selection, rate)?;
    let mut notes = Vec::new();
    let (record, ring) = open_input(&input, selection, shared, &mut notes)?;
    let play = open_output(&output, played, shared, &mut notes)?;
    record.play().map_err(|e| refused(&input.label, input.direction, &e))?;
    play.play().map_err(|e| refused(&output.label, output.direction, &e))?;
    // Two of the blocks asked for, as far as the device grants them.
    let asked = match output.config.buffer_size {
        BufferSize::Fixed(frames) => frames,
        BufferSize::Default => 0,
    };
    let opened = Opened {
        buffer: 2 * u64::from(play.buffer_size().unwrap_or(0).max(asked)),
        step: wire::step(input.format),
        labels: [output.label, input.label],
        notes,
        ring,
    };
    Ok((play, record, opened))
}

/// Builds a stream with the block size asked for, or else with the device's own.
fn build<T>(
    setup: &Setup,
    notes: &mut Vec<String>,
    mut attempt: impl FnMut(cpal::StreamConfig) -> std::result::Result<T, cpal::Error>,
) -> Result<T> {
    let refuse = |e: &cpal::Error| refused(&setup.label, setup.direction, e);
    match attempt(setup.config) {
        Err(e) if matches!(e.kind(), ErrorKind::UnsupportedConfig | ErrorKind::InvalidInput) => {
            let config = cpal::StreamConfig {
                buffer_size: BufferSize::Default,
                ..setup.config
            };
            let built = attempt(config).map_err(|_| refuse(&e))?;
            notes.push(format!(
                "the {} {} chose its own buffer size",
                setup.direction.words(),
                setup.label
            ));
            Ok(built)
        }
        built => built.map_err(|e| refuse(&e)),
    }
}

fn open_input(
    setup: &Setup,
    selection: &Selection,
    shared: &Arc<Shared>,
    notes: &mut Vec<String>,
) -> Result<(cpal::Stream, rtrb::Consumer<f32>)> {
    let channels = usize::from(setup.config.channels);
    let pickup = selection.pickup_channel - 1;
    let reference = selection.reference_channel.map(|c| c - 1);
    build(setup, notes, |config| {
        let (mut ring, out) = rtrb::RingBuffer::new(2 * RING_S * config.sample_rate as usize);
        let (on_data, on_error) = (shared.clone(), shared.clone());
        let stream = setup.device.build_input_stream_raw(
            config,
            setup.format,
            move |data, _| {
                let frames = data.len() / channels;
                let room = frames.min(ring.slots() / 2);
                let written = wire::record(data, channels, pickup, reference, &mut ring, room);
                on_data.lost.fetch_add((frames - written) as u64, Ordering::Release);
                on_data.input.frames.fetch_add(frames as u64, Ordering::Release);
            },
            move |e| on_error.input.ledger.note(e.kind(), e.message()),
            None,
        )?;
        Ok((stream, out))
    })
}

fn open_output(setup: &Setup, played: Played, shared: &Arc<Shared>, notes: &mut Vec<String>) -> Result<cpal::Stream> {
    let channels = usize::from(setup.config.channels);
    // The first two alike, left and right, so that it does not matter which of the pair is wired to the exciter, nor whether a
    // headphone plug or a mono plug does it; further channels stay silent, as somebody's loudspeakers may hang on them.
    let on = 0..channels.min(2);
    build(setup, notes, |config| {
        let (on_data, on_error) = (shared.clone(), shared.clone());
        // The drive is read where it lies: nothing has to be fed to it in time, so nothing can come too late.
        let mut voice = Voice::new(played.drive.clone(), played.then, config.sample_rate);
        let on = on.clone();
        setup.device.build_output_stream_raw(
            config,
            setup.format,
            move |data, _| {
                let frames = data.len() / channels;
                let sounding = on_data.playing.load(Ordering::Acquire) && !on_data.stop.asked();
                let before = voice.begun();
                let block = voice.block(frames, sounding);
                let sounds = block.len() as u64;
                wire::play(data, channels, &on, block);
                if !before && voice.begun() {
                    on_data
                        .began_at
                        .store(on_data.input.frames.load(Ordering::Acquire), Ordering::Release);
                }
                if sounds > 0 {
                    let from = on_data.output.frames.load(Ordering::Relaxed);
                    on_data.sounded_to.store(from + sounds, Ordering::Release);
                }
                on_data.output.frames.fetch_add(frames as u64, Ordering::Release);
            },
            move |e| on_error.output.ledger.note(e.kind(), e.message()),
            None,
        )
    })
}
