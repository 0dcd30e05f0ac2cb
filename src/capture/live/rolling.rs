//! A take from the first silence to its last sample: the calling thread's part.

use std::sync::atomic::Ordering;
use std::thread;
use std::time::{Duration, Instant};

use super::super::{Cause, Progress, Request};
use super::ledger::{Fault, Tally};
use super::proof::wrong_pace;
use super::selection::Direction;
use super::session::{NEVER, Shared, Side};
use super::waiting::{POLL, down, hung};
use crate::failure::{Failure, Result};

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
const REPORT: Duration = Duration::from_millis(50);

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

/// Those of output and input.
pub(super) struct Pulses([Pulse; 2]);

impl Pulses {
    pub fn new(shared: &Shared) -> Self {
        Pulses(shared.frames().map(Pulse::new))
    }

    /// How long output and input have stood still, as shares of what patience bears after so many reports.
    pub fn still(&mut self, shared: &Shared, reports: u64) -> [f64; 2] {
        let patience = if reports > STORM { STALLED_IN_STORM } else { STALLED };
        let [output, input] = shared.frames();
        let share = |pulse: &mut Pulse, count| pulse.still_for(count).as_secs_f64() / patience.as_secs_f64();
        [share(&mut self.0[0], output), share(&mut self.0[1], input)]
    }
}

/// Two streams that stand still at once, and no device that has gone: it is what lies behind both.
fn both(still: [f64; 2]) -> bool {
    still.iter().any(|s| *s > 1.0) && still.iter().all(|s| *s > 0.5)
}

/// The recording side of a running take: pickup and reference, on the calling thread.
pub(super) struct Tape {
    ring: rtrb::Consumer<f32>,
    tracks: [Vec<f32>; 2],
    peaks: [f32; 2],
}

impl Tape {
    pub fn new(ring: rtrb::Consumer<f32>, room: usize) -> Self {
        Tape {
            ring,
            tracks: std::array::from_fn(|_| Vec::with_capacity(room)),
            peaks: [0.0; 2],
        }
    }

    /// All whole rounds of `frames` that are on it, taken off it.
    pub fn rounds(&mut self, frames: usize) -> Vec<[Vec<f32>; 2]> {
        let whole = self.len() / frames;
        let mut round = || self.tracks.each_mut().map(|t| t.drain(..frames).collect());
        (0..whole).map(|_| round()).collect()
    }

    /// Lets go of what is on it.
    pub fn forget(&mut self) {
        self.tracks.iter_mut().for_each(Vec::clear);
    }

    fn len(&self) -> usize {
        self.tracks[0].len()
    }

    /// Lets go of what has arrived in the ring; returns the number of frames.
    pub fn skip(&mut self) -> usize {
        let frames = self.ring.slots() / 2;
        match self.ring.read_chunk(2 * frames) {
            Ok(chunk) => chunk.commit_all(),
            Err(_) => return 0,
        }
        frames
    }

    /// Moves what has arrived from the ring to the tape; returns the number of frames.
    pub fn drain(&mut self) -> usize {
        let frames = self.ring.slots() / 2;
        let Ok(chunk) = self.ring.read_chunk(2 * frames) else {
            return 0;
        };
        // A frame may lie across the seam of the ring, if its size is odd; so go sample by sample.
        for (i, x) in chunk.into_iter().enumerate() {
            let peak = &mut self.peaks[i % 2];
            *peak = peak.max(x.abs());
            self.tracks[i % 2].push(x);
        }
        frames
    }

    fn progress(&mut self, fraction: f64) -> Progress {
        let [peak_pickup, peak_reference] = std::mem::take(&mut self.peaks);
        Progress {
            fraction,
            peak_pickup,
            peak_reference,
        }
    }

    /// What the take has of pickup and reference; `None` where it never began.
    pub fn cut(self, ended: &Ended) -> Option<[Vec<f32>; 2]> {
        let skip = ended.skip.filter(|s| *s < self.len())?;
        Some(self.tracks.map(|mut track| {
            track.drain(..skip);
            track.truncate(ended.frames);
            track
        }))
    }
}

/// Runs both streams in silence until both move and nothing more is reported. Returns the frames that the input
/// delivered meanwhile, all of them off the tape.
pub(super) fn settle(shared: &Shared, labels: &[String; 2], tape: &mut Tape, rate: u32) -> Result<u64> {
    let least = (SETTLE_S * f64::from(rate)) as u64;
    let start = Instant::now();
    let mut drained = 0;
    let mut reports = Pulse::new(0);
    let mut pulses = Pulses::new(shared);
    loop {
        thread::sleep(POLL);
        shared.stopped()?;
        drained += tape.skip() as u64;
        let tallies = shared.tallies();
        let all = tallies[0].plus(&tallies[1]);
        let late = start.elapsed() > SETTLE_LIMIT;
        let impatient = late || all.total() > STORM;
        if all.of(Fault::Gone) == 0 && impatient && both(pulses.still(shared, all.total())) {
            return Err(down("the sound system has stopped"));
        }
        let calm = reports.still_for(all.total()) >= CALM;
        let frames = shared.frames();
        if calm && frames.iter().all(|f| *f >= least) {
            return Ok(drained + shared.lost.load(Ordering::Acquire));
        }
        for (i, side) in shared.sides().into_iter().enumerate() {
            if tallies[i].of(Fault::Gone) > 0 || (late && frames[i] < least) {
                return Err(dead(side, &labels[i], &tallies[i]));
            }
            if late && tallies[i].total() > 0 {
                return Err(restless(side, &labels[i], &tallies[i]));
            }
        }
        if late {
            return Err(hung());
        }
    }
}

fn dead(side: &Side, label: &str, tally: &Tally) -> Failure {
    let what = side.direction.words();
    let dead = match side.direction {
        Direction::Output => "takes no sound",
        Direction::Input => "delivers no sound",
    };
    let said = side.ledger.sentences(what, tally).pop();
    let said = said.map(|s| format!(" ({s})")).unwrap_or_default();
    Failure::new(
        format!("the {what} {label} {dead}{said}"),
        "check its cable and its settings, or name another device (`coilwright devices` lists them)",
    )
}

fn restless(side: &Side, label: &str, tally: &Tally) -> Failure {
    let what = side.direction.words();
    let said = side.ledger.sentences(what, tally).join(", ");
    Failure::new(
        format!("the {what} {label} does not come to rest: {said}"),
        "close other programs, or try a lower --rate",
    )
}

/// How a take ended.
#[derive(Default)]
pub(super) struct Ended {
    /// Frames on the tape before the drive began.
    skip: Option<usize>,
    /// Frames of the whole take.
    frames: usize,
    /// What either stream reported meanwhile.
    pub tallies: [Tally; 2],
    pub trouble: Vec<String>,
    pub cause: Cause,
}

impl Ended {
    /// At a time of the take, in seconds of so many.
    fn too_early(&mut self, (what, cause): (&str, Cause), [at, of]: [f64; 2]) {
        self.cause = cause;
        self.trouble
            .push(format!("{what}: the take ends at {at:.2} s of {of:.2} s"));
    }

    /// Of the whole take, what it comes of that `lost` frames or whole buffers are missing.
    fn blame(&mut self, lost: u64) {
        let all = self.tallies[0].plus(&self.tallies[1]);
        let devices = all.of(Fault::Gone) + all.of(Fault::Rerouted);
        // Some bridges do not get up again after a buffer ran empty: that is the computer's doing too.
        if all.of(Fault::Xrun) + lost > 0 && devices == 0 && self.cause != Cause::Stopped {
            self.cause = Cause::Busy;
        }
        if lost > 0 {
            let what = format!("the computer was too busy to keep up: {lost} frames were lost");
            self.trouble.push(what);
        }
    }
}

/// What has stood still for longer than patience bears, and what that comes of.
pub(super) fn standstill(still: [f64; 2], reported: &Tally) -> Option<(&'static str, Cause)> {
    match still {
        _ if reported.of(Fault::Gone) == 0 && both(still) => Some(("the sound system has stopped", Cause::Stopped)),
        [output, _] if output > 1.0 => Some(("the sound output stopped", Cause::Device)),
        [_, input] if input > 1.0 => Some(("the sound input stopped", Cause::Device)),
        _ => None,
    }
}

/// Starts the drive and records until all of it and the tail are on the tape, or until that has become hopeless.
pub(super) fn roll(
    shared: &Shared,
    tape: &mut Tape,
    tape_from: u64,
    request: &Request,
    progress: &mut dyn FnMut(Progress),
) -> Result<Ended> {
    let rate = f64::from(request.rate_hz);
    let frames = request.drive.len() + (TAIL_S * rate) as usize;
    let limit = Duration::from_secs_f64(1.25 * frames as f64 / rate + 5.0);
    let before = shared.sides().map(|s| s.ledger.begin());
    let lost_before = shared.lost.load(Ordering::Acquire);
    shared.playing.store(true, Ordering::Release);

    let start = Instant::now();
    let mut reported = start;
    let mut first: Option<(Instant, usize)> = None;
    let mut ended = Ended {
        frames,
        ..Ended::default()
    };
    let mut pulses = Pulses::new(shared);
    loop {
        thread::sleep(POLL);
        shared.stopped()?;
        if tape.drain() > 0 && first.is_none() {
            first = Some((Instant::now(), tape.len()));
        }
        let now = shared.tallies();
        ended.tallies = std::array::from_fn(|i| now[i].since(&before[i]));
        if ended.skip.is_none() {
            let began = shared.began_at.load(Ordering::Acquire);
            ended.skip = (began != NEVER).then(|| began.saturating_sub(tape_from) as usize);
        }
        let have = ended.skip.map_or(0, |s| tape.len().saturating_sub(s));
        if reported.elapsed() >= REPORT {
            reported = Instant::now();
            progress(tape.progress((have as f64 / frames as f64).min(1.0)));
        }
        if have >= frames {
            let paced = first.and_then(|(at, from)| wrong_pace(tape.len() - from, at.elapsed().as_secs_f64(), rate));
            ended.trouble.extend(paced);
            progress(tape.progress(1.0));
            break;
        }
        let all = ended.tallies[0].plus(&ended.tallies[1]);
        let slow = || (start.elapsed() > limit).then_some(("the take is far too slow", Cause::Device));
        let lost = standstill(pulses.still(shared, all.total()), &all).or_else(slow);
        if let Some(lost) = lost {
            ended.too_early(lost, [have, frames].map(|n| n as f64 / rate));
        }
        if lost.is_some() || all.of(Fault::Gone) > 0 {
            break;
        }
    }
    ended.blame(shared.lost.load(Ordering::Acquire) - lost_before);
    Ok(ended)
}
