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
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind};

use super::stop::Stop;
use super::{Capture, Cause, Progress, Provenance, Request, Take};
use crate::failure::{Failure, Result};
use devices::{Setup, refused};
use ledger::{Fault, Ledger, Tally};
use voice::Voice;

mod devices;
mod ledger;
mod voice;
mod wire;

pub use devices::{DeviceInfo, Direction, Selection, floats};

/// Both streams carry silence at least this long before the drive.
const SETTLE_S: f64 = 0.3;
/// ... and until this long nothing has been reported.
const CALM: Duration = Duration::from_millis(200);
/// Streams that have not settled by then will not.
const SETTLE_LIMIT: Duration = Duration::from_secs(5);
/// Recorded after the drive's end, for the latency of output and input. What comes even later is cut from the silence
/// that ends every drive.
const TAIL_S: f64 = 0.5;
/// A stream that has not moved for so long is lost.
const STALLED: Duration = Duration::from_secs(2);
/// In a storm of errors the patience is shorter.
const STORM: u64 = 200;
const STALLED_IN_STORM: Duration = Duration::from_millis(500);
/// Seconds of input that may wait for a busy main thread.
const RING_S: usize = 4;
const POLL: Duration = Duration::from_millis(10);
const REPORT: Duration = Duration::from_millis(50);
/// For opening both devices.
const OPEN_LIMIT: Duration = Duration::from_secs(6);
const CLOSE_LIMIT: Duration = Duration::from_secs(2);
/// For the ramp down and the buffer behind it, where the device still runs.
const FALL_LIMIT: Duration = Duration::from_millis(500);
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
    bounded(LIST_LIMIT, None, move || devices::devices(&selection))
}

/// The rate to measure at where none is asked for.
pub fn default_rate(selection: &Selection) -> Result<u32> {
    let selection = selection.clone();
    bounded(OPEN_LIMIT, None, move || devices::default_rate(&selection))
}

/// Finds what stands in the way of a take before anything sounds: names, channels, rate, devices in use. Returns the ids of
/// output and input.
pub fn check(selection: &Selection, rate_hz: u32) -> Result<[String; 2]> {
    let selection = selection.clone();
    bounded(OPEN_LIMIT, None, move || {
        let (output, input) = selection.setups(rate_hz)?;
        Ok([output.id, input.id])
    })
}

fn by_hand() -> Failure {
    Failure::new("stopped by hand", "this take is not kept; measure again when ready")
}

fn hung() -> Failure {
    down("the sound system does not answer")
}

fn down(what: impl Into<String>) -> Failure {
    Failure::new(what, "restart the sound server, or unplug the interface and plug it in")
}

/// Keeps messages of the ALSA library, on this thread, off standard error: what matters in them comes back as an error.
/// (What other libraries write that plugins of ALSA load, such as those for further sound servers, is out of reach.)
fn hush() {
    #[cfg(target_os = "linux")]
    let _ = alsa::Output::local_error_handler();
}

fn spawn(work: impl FnOnce() + Send + 'static) -> Result<()> {
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
fn wait<T>(from: &mpsc::Receiver<Result<T>>, limit: Duration, stop: Option<&Stop>) -> Result<T> {
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

fn bounded<T: Send + 'static>(
    limit: Duration,
    stop: Option<&Stop>,
    work: impl FnOnce() -> Result<T> + Send + 'static,
) -> Result<T> {
    let (answer, from) = mpsc::channel();
    spawn(move || {
        let _ = answer.send(work());
    })?;
    wait(&from, limit, stop)
}

/// What the callbacks and the take share.
struct Shared {
    stop: Stop,
    /// The output may start the drive.
    playing: AtomicBool,
    /// Frames that the input has delivered, those included that found no room in the ring.
    frames_in: AtomicU64,
    /// Frames that found no room.
    lost: AtomicU64,
    frames_out: AtomicU64,
    /// `frames_out` behind the last sample of the drive that was handed over.
    sounded_to: AtomicU64,
    /// `frames_in` when the drive's first sample was handed over; `NEVER` until then.
    began_at: AtomicU64,
    input: Ledger,
    output: Ledger,
}

const NEVER: u64 = u64::MAX;

/// What is known of the streams once they are open.
struct Opened {
    output: String,
    input: String,
    step: f64,
    /// Frames that lie between the output's callback and what is heard.
    buffer: u64,
    notes: Vec<String>,
    ring: rtrb::Consumer<f32>,
}

/// Two running streams. They live on a thread of their own, which ends when this is dropped, however the take ended: the output
/// has fallen silent by then.
struct Session {
    shared: Arc<Shared>,
    buffer: u64,
    close: Option<mpsc::Sender<()>>,
    done: mpsc::Receiver<Result<Opened>>,
}

impl Session {
    fn start(selection: &Selection, rate: u32, drive: Arc<[f32]>, shared: &Arc<Shared>) -> Result<(Session, Opened)> {
        let (answer, done) = mpsc::channel();
        let (close, closing) = mpsc::channel::<()>();
        let (selection, theirs) = (selection.clone(), shared.clone());
        spawn(move || match open(&selection, rate, drive, &theirs) {
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
        Ok((
            Session {
                shared: shared.clone(),
                buffer: opened.buffer,
                close: Some(close),
                done,
            },
            opened,
        ))
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
    drive: Arc<[f32]>,
    shared: &Arc<Shared>,
) -> Result<(cpal::Stream, cpal::Stream, Opened)> {
    let (output, input) = selection.setups(rate)?;
    let mut notes = Vec::new();
    let (record, ring) = open_input(&input, selection, shared, &mut notes)?;
    let (play, ()) = open_output(&output, selection, drive, shared, &mut notes)?;
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
        output: output.label,
        input: input.label,
        notes,
        ring,
    };
    Ok((play, record, opened))
}

/// A stream, and the end of it that stays here.
type Built<T> = (std::result::Result<cpal::Stream, cpal::Error>, T);

/// Builds with the block size asked for, or else with the device's own.
fn build<T>(
    setup: &Setup,
    notes: &mut Vec<String>,
    mut attempt: impl FnMut(cpal::StreamConfig) -> Built<T>,
) -> Result<(cpal::Stream, T)> {
    let refuse = |e: &cpal::Error| refused(&setup.label, setup.direction, e);
    match attempt(setup.config) {
        (Ok(stream), kept) => Ok((stream, kept)),
        (Err(e), _) if matches!(e.kind(), ErrorKind::UnsupportedConfig | ErrorKind::InvalidInput) => {
            let config = cpal::StreamConfig {
                buffer_size: BufferSize::Default,
                ..setup.config
            };
            let (stream, kept) = attempt(config);
            let stream = stream.map_err(|_| refuse(&e))?;
            notes.push(format!(
                "the {} {} chose its own buffer size",
                setup.direction.words(),
                setup.label
            ));
            Ok((stream, kept))
        }
        (Err(e), _) => Err(refuse(&e)),
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
                on_data.frames_in.fetch_add(frames as u64, Ordering::Release);
            },
            move |e| on_error.input.note(e.kind(), e.message()),
            None,
        );
        (stream, out)
    })
}

fn open_output(
    setup: &Setup,
    selection: &Selection,
    drive: Arc<[f32]>,
    shared: &Arc<Shared>,
    notes: &mut Vec<String>,
) -> Result<(cpal::Stream, ())> {
    let channels = usize::from(setup.config.channels);
    let on = selection.played_on(channels);
    build(setup, notes, |config| {
        let (on_data, on_error) = (shared.clone(), shared.clone());
        // The drive is read where it lies: nothing has to be fed to it in time, so nothing can come too late.
        let (mut voice, on) = (Voice::new(drive.clone(), config.sample_rate), on.clone());
        let stream = setup.device.build_output_stream_raw(
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
                        .store(on_data.frames_in.load(Ordering::Acquire), Ordering::Release);
                }
                if sounds > 0 {
                    let from = on_data.frames_out.load(Ordering::Relaxed);
                    on_data.sounded_to.store(from + sounds, Ordering::Release);
                }
                on_data.frames_out.fetch_add(frames as u64, Ordering::Release);
            },
            move |e| on_error.output.note(e.kind(), e.message()),
            None,
        );
        (stream, ())
    })
}

/// When a counter last moved.
struct Pulse {
    count: u64,
    at: Instant,
}

impl Pulse {
    fn new(count: u64) -> Self {
        Pulse {
            count,
            at: Instant::now(),
        }
    }

    fn still_for(&mut self, count: u64) -> Duration {
        if count != self.count {
            *self = Pulse::new(count);
        }
        self.at.elapsed()
    }
}

/// Those of both streams.
struct Pulses {
    output: Pulse,
    input: Pulse,
}

impl Pulses {
    fn new(shared: &Shared) -> Self {
        let now = |count: &AtomicU64| Pulse::new(count.load(Ordering::Acquire));
        Pulses {
            output: now(&shared.frames_out),
            input: now(&shared.frames_in),
        }
    }

    /// How long output and input have stood still, as shares of what patience bears.
    fn still(&mut self, shared: &Shared, output: &Tally, input: &Tally) -> [f64; 2] {
        let patience = match output.total() + input.total() > STORM {
            true => STALLED_IN_STORM,
            false => STALLED,
        };
        let share = |pulse: &mut Pulse, count: &AtomicU64| {
            let still = pulse.still_for(count.load(Ordering::Acquire));
            still.as_secs_f64() / patience.as_secs_f64()
        };
        [
            share(&mut self.output, &shared.frames_out),
            share(&mut self.input, &shared.frames_in),
        ]
    }
}

/// Two streams that stand still at once, and no device that has gone: it is what lies behind both.
fn both(still: [f64; 2]) -> bool {
    still.iter().any(|s| *s > 1.0) && still.iter().all(|s| *s > 0.5)
}

/// The recording side of a running take, on the calling thread.
struct Tape {
    ring: rtrb::Consumer<f32>,
    pickup: Vec<f32>,
    reference: Vec<f32>,
    peaks: [f32; 2],
}

impl Tape {
    /// Moves what has arrived from the ring to the tape, or drops it; returns the number of frames.
    fn drain(&mut self, keep: bool) -> usize {
        let frames = self.ring.slots() / 2;
        let Ok(chunk) = self.ring.read_chunk(2 * frames) else {
            return 0;
        };
        if !keep {
            chunk.commit_all();
            return frames;
        }
        // A frame may lie across the seam of the ring, if its size is odd; so go sample by sample.
        for (i, x) in chunk.into_iter().enumerate() {
            let peak = &mut self.peaks[i % 2];
            *peak = peak.max(x.abs());
            let track = if i % 2 == 0 {
                &mut self.pickup
            } else {
                &mut self.reference
            };
            track.push(x);
        }
        frames
    }

    fn take_peaks(&mut self) -> [f32; 2] {
        std::mem::take(&mut self.peaks)
    }
}

impl Shared {
    fn stopped(&self) -> Result<()> {
        if self.stop.asked() { Err(by_hand()) } else { Ok(()) }
    }

    fn tallies(&self) -> (Tally, Tally) {
        (self.output.tally(), self.input.tally())
    }

    /// Waits until the drive, or its ramp down, has left the output's buffer: closing a stream cuts what is still in it.
    fn fall_silent(&self, buffer: u64) {
        self.playing.store(false, Ordering::Release);
        let start = Instant::now();
        let left = || {
            let handed_over = self.frames_out.load(Ordering::Acquire);
            handed_over >= self.sounded_to.load(Ordering::Acquire) + buffer
        };
        while !left() && start.elapsed() < FALL_LIMIT {
            thread::sleep(POLL);
        }
    }
}

/// Runs both streams in silence until both move and nothing more is reported. Returns the frames that the input
/// delivered meanwhile, all of them off the tape.
fn settle(shared: &Shared, opened: &Opened, tape: &mut Tape, rate: u32) -> Result<u64> {
    let least = (SETTLE_S * f64::from(rate)) as u64;
    let start = Instant::now();
    let mut drained = 0;
    let mut reports = Pulse::new(0);
    let mut pulses = Pulses::new(shared);
    loop {
        thread::sleep(POLL);
        shared.stopped()?;
        drained += tape.drain(false) as u64;
        let (output, input) = shared.tallies();
        let late = start.elapsed() > SETTLE_LIMIT;
        let gone = output.of(Fault::Gone) + input.of(Fault::Gone) > 0;
        let storm = output.total() + input.total() > STORM;
        if !gone && (late || storm) && both(pulses.still(shared, &output, &input)) {
            return Err(down("the sound system has stopped"));
        }
        let calm = reports.still_for(output.total() + input.total()) >= CALM;
        let (played, heard) = (
            shared.frames_out.load(Ordering::Acquire),
            shared.frames_in.load(Ordering::Acquire),
        );
        if played >= least && heard >= least && calm {
            return Ok(drained + shared.lost.load(Ordering::Acquire));
        }
        let sides = [
            (
                Direction::Output,
                &opened.output,
                &shared.output,
                output,
                played,
                "takes no sound",
            ),
            (
                Direction::Input,
                &opened.input,
                &shared.input,
                input,
                heard,
                "delivers no sound",
            ),
        ];
        for (direction, label, ledger, tally, frames, dead) in sides {
            let what = direction.words();
            if tally.of(Fault::Gone) > 0 || (late && frames < least) {
                let said = ledger.sentences(what, &tally).pop();
                let said = said.map(|s| format!(" ({s})")).unwrap_or_default();
                return Err(Failure::new(
                    format!("the {what} {label} {dead}{said}"),
                    "check its cable and its settings, or name another device (`coilwright devices` lists them)",
                ));
            }
            if late && tally.total() > 0 {
                let said = ledger.sentences(what, &tally).join(", ");
                return Err(Failure::new(
                    format!("the {what} {label} does not come to rest: {said}"),
                    "close other programs, or try a lower --rate",
                ));
            }
        }
        if late {
            return Err(hung());
        }
    }
}

impl Capture for Live {
    fn describe(&self) -> String {
        let named = |name: &Option<String>, what| match name {
            Some(n) => format!("{what} '{n}'"),
            None => format!("the default {what}"),
        };
        let (output, input) = (
            named(&self.selection.output, "output"),
            named(&self.selection.input, "input"),
        );
        format!("plays on {output}, records {input}")
    }

    /// A take that meets trouble is brought back with the trouble named; one that never begins is a failure.
    fn take(&mut self, request: &Request, progress: &mut dyn FnMut(Progress)) -> Result<Take> {
        let rate = request.rate_hz;
        if request.drive.is_empty() || rate == 0 || request.drive.iter().any(|x| !x.is_finite()) {
            return Err(Failure::new(
                "the drive cannot be played: it is empty or no number",
                "draw it anew with `coilwright drive`",
            ));
        }
        let shared = Arc::new(Shared {
            stop: self.stop.clone(),
            playing: AtomicBool::new(false),
            frames_in: AtomicU64::new(0),
            lost: AtomicU64::new(0),
            frames_out: AtomicU64::new(0),
            sounded_to: AtomicU64::new(0),
            began_at: AtomicU64::new(NEVER),
            input: Ledger::new(),
            output: Ledger::new(),
        });
        shared.stopped()?;
        let drive: Arc<[f32]> = request.drive.as_slice().into();
        let (session, mut opened) = Session::start(&self.selection, rate, drive, &shared)?;
        let room = request.drive.len() + rate as usize;
        let two = self.selection.reference_channel.is_some();
        let mut tape = Tape {
            ring: std::mem::replace(&mut opened.ring, rtrb::RingBuffer::new(0).1),
            pickup: Vec::with_capacity(room),
            reference: Vec::with_capacity(room),
            peaks: [0.0; 2],
        };
        let tape_from = settle(&shared, &opened, &mut tape, rate)?;
        let (ended, tallies) = roll(&shared, &mut tape, tape_from, request, progress)?;
        drop(session);

        let mut trouble = ended.trouble;
        trouble.extend(shared.output.sentences("sound output", &tallies.0));
        trouble.extend(shared.input.sentences("sound input", &tallies.1));
        // Where the take begins is known once the drive has begun; what came before belongs to settling.
        let Some(skip) = ended.skip.filter(|&s| s < tape.pickup.len()) else {
            return Err(Failure::new(
                format!(
                    "nothing was recorded from the sound input {}: {}",
                    opened.input,
                    trouble.join(", ")
                ),
                format!("{}, then measure again", ended.cause.remedy()),
            ));
        };
        let cut = |mut track: Vec<f32>| {
            track.drain(..skip);
            track.truncate(ended.frames);
            track
        };
        let (pickup, reference) = (cut(tape.pickup), cut(tape.reference));
        if let Some((from, frames)) = silent_gap(&request.drive, &[&pickup, &reference], rate) {
            trouble.push(format!(
                "the sound input fell silent: nothing but zeros for {:.2} s from {:.2} s on",
                frames as f64 / f64::from(rate),
                from as f64 / f64::from(rate)
            ));
        }
        let mut notes = opened.notes;
        if shared.output.no_realtime() || shared.input.no_realtime() {
            notes.push("the system refused real-time priority to the sound".into());
        }
        Ok(Take {
            rate_hz: rate,
            pickup,
            reference: two.then_some(reference),
            step: opened.step,
            provenance: Provenance {
                device: Some(format!("plays on {}, records {}", opened.output, opened.input)),
                notes,
                trouble,
                cause: ended.cause,
                ..Provenance::default()
            },
        })
    }
}

/// How a take ended.
struct Ended {
    /// Frames on the tape before the drive began.
    skip: Option<usize>,
    /// Frames of the whole take.
    frames: usize,
    trouble: Vec<String>,
    cause: Cause,
}

/// Starts the drive and records until all of it and the tail are on the tape, or until that has become hopeless.
/// Returns, too, what either stream reported meanwhile.
fn roll(
    shared: &Shared,
    tape: &mut Tape,
    tape_from: u64,
    request: &Request,
    progress: &mut dyn FnMut(Progress),
) -> Result<(Ended, (Tally, Tally))> {
    let rate = f64::from(request.rate_hz);
    let frames = request.drive.len() + (TAIL_S * rate) as usize;
    let limit = Duration::from_secs_f64(1.25 * frames as f64 / rate + 5.0);
    let before = (shared.output.begin(), shared.input.begin());
    let lost_before = shared.lost.load(Ordering::Acquire);
    shared.playing.store(true, Ordering::Release);

    let start = Instant::now();
    let mut reported = start;
    let mut first: Option<(Instant, usize)> = None;
    let mut ended = Ended {
        skip: None,
        frames,
        trouble: Vec::new(),
        cause: Cause::Device,
    };
    let mut pulses = Pulses::new(shared);
    let tallies = loop {
        thread::sleep(POLL);
        shared.stopped()?;
        let fresh = tape.drain(true);
        let now = shared.tallies();
        let tallies = (now.0.since(&before.0), now.1.since(&before.1));
        if ended.skip.is_none() {
            let began = shared.began_at.load(Ordering::Acquire);
            ended.skip = (began != NEVER).then(|| began.saturating_sub(tape_from) as usize);
        }
        let have = ended.skip.map_or(0, |s| tape.pickup.len().saturating_sub(s));
        if fresh > 0 && first.is_none() {
            first = Some((Instant::now(), tape.pickup.len()));
        }
        if reported.elapsed() >= REPORT {
            reported = Instant::now();
            let [peak_pickup, peak_reference] = tape.take_peaks();
            let fraction = (have as f64 / frames as f64).min(1.0);
            progress(Progress {
                fraction,
                peak_pickup,
                peak_reference,
            });
        }
        if have >= frames {
            if let Some((at, from)) = first {
                ended
                    .trouble
                    .extend(wrong_pace(tape.pickup.len() - from, at.elapsed().as_secs_f64(), rate));
            }
            let [peak_pickup, peak_reference] = tape.take_peaks();
            progress(Progress {
                fraction: 1.0,
                peak_pickup,
                peak_reference,
            });
            break tallies;
        }

        let still = pulses.still(shared, &tallies.0, &tallies.1);
        let gone = tallies.0.of(Fault::Gone) + tallies.1.of(Fault::Gone) > 0;
        let what = match still {
            _ if !gone && both(still) => {
                ended.cause = Cause::Stopped;
                Some("the sound system has stopped")
            }
            [output, _] if output > 1.0 => Some("the sound output stopped"),
            [_, input] if input > 1.0 => Some("the sound input stopped"),
            _ => (start.elapsed() > limit).then_some("the take is far too slow"),
        };
        ended.trouble.extend(what.map(|w| {
            format!(
                "{w}: the take ends at {:.2} s of {:.2} s",
                have as f64 / rate,
                frames as f64 / rate
            )
        }));
        if what.is_some() || gone {
            break tallies;
        }
    };
    let lost = shared.lost.load(Ordering::Acquire) - lost_before;
    let buffers = tallies.0.of(Fault::Xrun) + tallies.1.of(Fault::Xrun) + lost;
    let others = [Fault::Gone, Fault::Rerouted].map(|f| tallies.0.of(f) + tallies.1.of(f));
    // Some bridges do not get up again after a buffer ran empty: that is the computer's doing too.
    if buffers > 0 && others == [0, 0] && ended.cause != Cause::Stopped {
        ended.cause = Cause::Busy;
    }
    if lost > 0 {
        ended
            .trouble
            .push(format!("the computer was too busy to keep up: {lost} frames were lost"));
    }
    Ok((ended, tallies))
}

/// Both devices may run at one wrong rate, and then no sample shows it, but the clock on the wall does. Blocks arrive
/// unevenly, so only what no jitter explains is told: the distance of 44.1 from 48 kHz over a few seconds.
fn wrong_pace(frames: usize, seconds: f64, rate: f64) -> Option<String> {
    let nominal = frames as f64 / rate;
    ((seconds - nominal).abs() > 0.06 * nominal + 0.1).then(|| {
        let real = frames as f64 / seconds / 1000.0;
        format!(
            "the sound input ran at about {real:.1} kHz, and {:.1} kHz was asked for",
            rate / 1000.0
        )
    })
}

/// A stretch of exact zeros on every channel recorded, after the input has been heard and while the drive still sounds: a
/// converter is never so quiet, so the connection to it is dead. Returns its first frame and its length.
///
/// The drive may hold silence between its parts, and a coarse converter turns that into zeros: only what is longer than
/// any such pause (and than 50 ms) counts.
fn silent_gap(drive: &[f32], tracks: &[&[f32]], rate: u32) -> Option<(usize, usize)> {
    let peak = drive.iter().fold(0.0_f32, |a, x| a.max(x.abs()));
    let loud = |x: &f32| x.abs() > 1e-3 * peak;
    let (first, last) = (drive.iter().position(loud)?, drive.iter().rposition(loud)?);
    let pause = longest_run(first..last, |i| !loud(&drive[i])).map_or(0, |(_, n)| n);
    let frames = tracks.iter().map(|t| t.len()).max()?;
    let zero = |i: usize| tracks.iter().all(|t| t.get(i).is_none_or(|x| *x == 0.0));
    let heard = (0..frames).find(|&i| !zero(i))?;
    // The answer comes later than the drive, so up to `last` the drive sounds for certain.
    longest_run(heard.max(first)..frames.min(last), zero).filter(|&(_, n)| n > pause + rate as usize / 20)
}

/// Start and length of the longest run of indices for which `is` holds.
fn longest_run(range: std::ops::Range<usize>, is: impl Fn(usize) -> bool) -> Option<(usize, usize)> {
    let mut best: Option<(usize, usize)> = None;
    let mut run = 0;
    for i in range {
        run = if is(i) { run + 1 } else { 0 };
        if run > best.map_or(0, |(_, n)| n) {
            best = Some((i + 1 - run, run));
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dead_input_is_told_from_a_pause_of_the_drive() {
        let rate = 1000;
        let mut drive = vec![0.0; 3000];
        for part in [500..1200, 1600..2500] {
            drive[part].fill(0.5);
        }
        let late = |n: usize| -> Vec<f32> { (0..3000).map(|i| if i < n { 0.0 } else { drive[i - n] }).collect() };
        let (alive, quiet) = (late(80), vec![0.0; 3000]);
        assert_eq!(silent_gap(&drive, &[&alive], rate), None);
        assert_eq!(
            silent_gap(&drive, &[&alive, &quiet], rate),
            None,
            "one channel may be dead silent"
        );
        assert_eq!(
            silent_gap(&drive, &[&quiet], rate),
            None,
            "never heard: left to the analysis"
        );
        let mut dead = alive.clone();
        dead[1900..].fill(0.0);
        assert_eq!(silent_gap(&drive, &[&dead], rate), Some((1900, 2499 - 1900)));
        let mut noisy = alive;
        noisy.iter_mut().for_each(|x| *x += 1e-6);
        noisy[1000..1600].fill(0.0);
        assert_eq!(silent_gap(&drive, &[&noisy], rate), Some((1000, 600)));
    }

    #[test]
    fn only_a_pace_that_no_jitter_explains_is_told() {
        assert_eq!(wrong_pace(48_000 * 6, 6.3, 48_000.0), None);
        assert_eq!(wrong_pace(48_000, 1.1, 48_000.0), None);
        let said = wrong_pace(44_100 * 8, 8.0, 48_000.0);
        assert_eq!(
            said.as_deref(),
            Some("the sound input ran at about 44.1 kHz, and 48.0 kHz was asked for")
        );
    }

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
