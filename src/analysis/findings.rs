//! The findings in the trade's words: what was seen, and what to do about it.

use super::curve::Misfit;
use crate::capture::Cause;
use crate::quantity::{self, Unit};
use crate::record::{Code, Finding, Level};
use crate::transfer::faults::Clipping;

fn finding(code: Code, level: Level, text: impl Into<String>) -> Finding {
    let text = text.into();
    Finding { code, level, text }
}

fn reject(code: Code, text: impl Into<String>) -> Finding {
    finding(code, Level::Reject, text)
}

fn warning(code: Code, text: impl Into<String>) -> Finding {
    finding(code, Level::Warning, text)
}

fn note(code: Code, text: impl Into<String>) -> Finding {
    finding(code, Level::Note, text)
}

pub fn reference_missing() -> Finding {
    reject(
        Code::ReferenceMissing,
        "no drive on the reference channel: check the lead from the exciter box to that input, its gain, and the output knob; do not listen for it on headphones",
    )
}

pub fn no_signal() -> Finding {
    reject(
        Code::NoSignal,
        "no answer from the pickup: check the pickup's lead and input, the exciter's place, and that the input is turned up",
    )
}

/// `heard`: the answer stands clear of the noise.
pub fn no_fit(heard: bool) -> Finding {
    reject(
        Code::LowSnr,
        if heard {
            "there is an answer, but no resonance can be read from it: check the lead, the exciter's place and that the drive file belongs to this take, and measure again"
        } else {
            "the answer is too weak to read: move the exciter closer, raise --level or the input's gain, and measure again"
        },
    )
}

pub fn low_snr(f0_percent: f64, q_percent: f64) -> Finding {
    warning(
        Code::LowSnr,
        format!(
            "weak signal against the noise (f0 uncertain by {f0_percent:.2} %, Q by {q_percent:.1} %): move the exciter closer, raise --level or take longer with --seconds"
        ),
    )
}

/// Where to turn down what overloads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Softer {
    AtInput,
    AtOutput,
    AtPlayer,
}

pub fn clipped(channel: &str, tops: &Clipping, softer: Softer, level: Level) -> Finding {
    let cure = match softer {
        Softer::AtInput => format!("turn the {channel} input down by about 6 dB"),
        Softer::AtOutput => "the input overloads: lower --level by 6 dB".into(),
        Softer::AtPlayer => "the input overloads: play 6 dB softer".into(),
    };
    let (dbfs, samples) = (20.0 * tops.at.log10(), tops.samples);
    finding(
        Code::Clipped,
        level,
        format!("flat tops on the {channel} channel at {dbfs:.1} dBFS ({samples} samples): {cure} and measure again"),
    )
}

/// What is left over comes where a channel is loudest, each time the drive is there: its tops are cut, if only by a little.
pub fn overloaded(level: Level) -> Finding {
    finding(
        Code::Clipped,
        level,
        "the tops are cut off where the answer is strongest, each time it is: turn the pickup's input down by about 6 dB or lower --level, and measure again",
    )
}

/// Tops that are bent, not flat: a stage before the converter, with coupling or filters after it, or one that is never straight.
pub fn distorted(level: Level) -> Finding {
    finding(
        Code::Distorted,
        level,
        "distortion: what is left over comes with the test signal and is no coil's, as from a stage that bends what is loud: lower --level by 6 dB, look for the input or the amplifier that overloads, and measure again",
    )
}

pub fn gain_drift(db: f64) -> Finding {
    warning(
        Code::GainDrift,
        format!(
            "the gain moved, by {db:.1} dB at least, while the test signal played: turn automatic gain and effects off, leave the knobs alone, look for a plug that wobbles, and measure again"
        ),
    )
}

pub fn dropout(count: usize, first_s: f64, level: Level) -> Finding {
    let places = match count {
        1 => "one place".to_string(),
        _ => format!("{count} places"),
    };
    finding(
        Code::Dropout,
        level,
        format!(
            "lost samples, missing or repeated in {places} (near {first_s:.2} s): close other programs, plug the interface straight into the computer, and measure again"
        ),
    )
}

/// Of which only the clock and the misfit tell.
pub fn lost_somewhere(level: Level) -> Finding {
    finding(
        Code::Dropout,
        level,
        "samples were lost somewhere in the test signal, or an input bends it: close other programs, plug the interface straight into the computer, lower --level by 6 dB, and measure again",
    )
}

/// `report`: what the sound system said, in words.
pub fn sound_trouble(report: &str, cause: Cause) -> Finding {
    reject(
        Code::Dropout,
        format!("lost samples: {report}: {}, and measure again", cause.remedy()),
    )
}

/// What a knock or click fell on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fell {
    Silence,
    Answer,
    /// The strongest part of the answer, which an input that bends finds as well.
    Loudest,
}

pub fn transient(at_s: f64, count: usize, fell: Fell) -> Finding {
    let what = format!("a knock or click at {at_s:.2} s");
    if fell == Fell::Silence {
        let text = format!("{what}, in the silence: it did not touch the reading");
        return note(Code::Transient, text);
    }
    let more = if count > 1 { ", and others" } else { "" };
    let loudest = match fell {
        Fell::Loudest => {
            "; it lies where the answer is strongest: if it comes back there, turn the pickup's input down"
        }
        _ => "",
    };
    warning(
        Code::Transient,
        format!("{what}{more}: keep hands off the bench and telephones away, and measure again{loudest}"),
    )
}

pub fn hum(mains_hz: f64, db: f64, level: Level) -> Finding {
    let cure = match level {
        Level::Note => "",
        _ => ": run the laptop on battery, turn the pickup, move away from transformers and lamps",
    };
    finding(
        Code::Hum,
        level,
        format!(
            "mains hum ({mains_hz:.2} Hz and multiples) at {db:.0} dB of the pickup's signal; it was left out{cure}"
        ),
    )
}

pub fn no_peak() -> Finding {
    note(Code::NoPeak, "no peak: under this load the response only falls")
}

/// `left`: how the model misses the curve; `f0_percent`, `q_percent`: how far the two best models lie apart.
pub fn poor_fit(left: &Misfit, [f0_percent, q_percent]: [f64; 2], level: Level) -> Finding {
    let (db, degrees) = (left.beyond_noise_db, left.beyond_noise_deg);
    let misses = match left.matters() {
        true => format!("no model follows the curve: {db:.2} dB and {degrees:.1} degrees are left"),
        false => {
            format!("two models follow the curve alike and differ by {f0_percent:.1} % in f0 and {q_percent:.1} % in Q")
        }
    };
    let then = match level {
        Level::Note => "f0 and Q hold all the same, within what is stated",
        _ => {
            "go by the peak and take f0 and Q as a rough guide; no metal on this pickup? then check the rig file's reference, ohms and henries"
        }
    };
    finding(Code::PoorFit, level, format!("{misses}: {then}"))
}

/// A lead of the pickup's input in seconds that was found and taken out; a warning where there is metal besides, which a coupling
/// from the exciter looks like.
pub fn inputs_apart(lead_s: f64, level: Level) -> Finding {
    let (us, which) = (1e6 * lead_s.abs(), if lead_s > 0.0 { "ahead of" } else { "behind" });
    let then = match level {
        Level::Note => "taken out; `rig inputs` tells which",
        _ => "`rig inputs` tells which; if it is the exciter, keep its lead away from the coil and give it a screen",
    };
    finding(
        Code::InputsDiffer,
        level,
        format!(
            "the pickup's input is {us:.2} us {which} the reference's, or the exciter couples into the coil through a few picofarads: {then}"
        ),
    )
}

/// How far f0 lies where the take is read against the drive file.
pub fn inputs_differ(f0_percent: f64) -> Finding {
    warning(
        Code::InputsDiffer,
        format!(
            "read against the drive file f0 is {f0_percent:+.2} % off: the two inputs do not hear alike; `rig inputs` measures them, or try another lead on the reference"
        ),
    )
}

/// How far Q lies where the take is read against the drive file.
pub fn reference_leak(q_percent: f64) -> Finding {
    warning(
        Code::ReferenceLeak,
        format!(
            "read against the drive file Q is {q_percent:+.1} % off: the pickup is heard on the reference's input; turn the reference up and the pickup down, keep the leads apart, or try another lead"
        ),
    )
}

pub fn coils_cancel(dip_hz: f64) -> Finding {
    warning(
        Code::CoilsCancel,
        format!(
            "exciter over both coils: the answer looks like their difference (a dip at {dip_hz:.0} Hz), so its peak is not the pickup's; lay the exciter over one coil and say which with --over"
        ),
    )
}

/// Two digits: the drive's edges are seen in the take, not known.
fn round(hz: f64) -> f64 {
    let k = 10f64.powf(hz.max(1.0).log10().floor() - 1.0);
    (hz / k).round() * k
}

pub fn peak_outside(f0: f64, band: [f64; 2], level: Level) -> Finding {
    let (option, end) = match f0 > band[1] / 1.2 {
        true => ("--to", "above"),
        false => ("--from", "below"),
    };
    let played = format!("what was played (about {} to {} Hz)", round(band[0]), round(band[1]));
    let text = match level {
        Level::Reject => {
            format!("the resonance lies {end} {played}: widen the drive with {option} and measure again")
        }
        _ => format!("the resonance lies at the edge of {played}: widen the drive with {option}, or load the pickup"),
    };
    finding(Code::PeakOutsideDrive, level, text)
}

pub fn channels_swapped() -> Finding {
    reject(
        Code::ChannelsSwapped,
        "channels swapped: channel 1 looks like the reference and channel 2 like the pickup; change the plugs, or give --channels pickup=2,reference=1",
    )
}

/// As much the plugs' as changed ones: at least one input does not hear what it should.
pub fn same_on_both() -> Finding {
    reject(
        Code::ChannelsSwapped,
        "the same signal is on both inputs: see that the pickup is in one and the reference in the other, that no lead joins them, and that direct monitoring and mono are off",
    )
}

/// The same of a take of one channel.
pub fn drive_itself() -> Finding {
    reject(
        Code::ChannelsSwapped,
        "the test signal itself is on the pickup's input: see that the pickup is in it and not the box's sense or tap lead, and that direct monitoring and loopback are off",
    )
}

pub fn open_winding() -> Finding {
    reject(
        Code::OpenWinding,
        "open winding: only a trace comes across, as through a capacitor; ohmmeter from start to finish, after a look at lead, switch and solder joints",
    )
}

pub fn clock_drift(ppm: f64) -> Finding {
    let level = if ppm.abs() > 330.0 { Level::Warning } else { Level::Note };
    finding(
        Code::ClockDrift,
        level,
        format!(
            "clocks differ by {:.0} ppm between output and input: taken into account; one interface for both would avoid it",
            ppm.abs()
        ),
    )
}

pub fn rate_mismatch(ratio: f64) -> Finding {
    reject(
        Code::RateMismatch,
        format!(
            "sample rates differ: the test signal came back {ratio:.4} times as fast as it was made; set the same sampling rate for output and input"
        ),
    )
}

/// Place in the order in which somebody would look at causes: the computer, the reference, the plugs, the pickup, and then what
/// these may do to a reading.
pub fn place(code: Code) -> u8 {
    match code {
        Code::Dropout => 0,
        Code::RateMismatch => 1,
        Code::ReferenceMissing => 2,
        Code::ChannelsSwapped => 3,
        Code::NoSignal => 4,
        Code::Clipped => 5,
        Code::Distorted => 6,
        Code::GainDrift => 7,
        Code::OpenWinding => 8,
        Code::Transient => 9,
        Code::Hum => 10,
        Code::LowSnr => 11,
        Code::CoilsCancel => 12,
        Code::PeakOutsideDrive => 13,
        Code::InputLoading => 14,
        Code::ClockDrift => 15,
        Code::NoPeak => 16,
        Code::PoorFit => 17,
        Code::InputsDiffer => 18,
        Code::ReferenceLeak => 19,
    }
}

/// Whether one of these kinds is among them, above a note.
pub fn warned(findings: &[Finding], kinds: &[Code]) -> bool {
    findings
        .iter()
        .any(|f| kinds.contains(&f.code) && f.level >= Level::Warning)
}

/// Where something else bends the curve, the misfit is no news of the pickup: its finding says so and no more.
pub fn name_the_cause(findings: &mut [Finding]) {
    let causes = [
        Code::Clipped,
        Code::Distorted,
        Code::GainDrift,
        Code::Dropout,
        Code::Transient,
        Code::CoilsCancel,
    ];
    let bent = warned(findings, &causes);
    for f in findings.iter_mut().filter(|f| bent && f.code == Code::PoorFit) {
        f.text = "curve and model differ, for the reason given above".into();
    }
}

/// `ohm`: the input's resistance.
pub fn input_loading(ohm: f64, level: Level) -> Finding {
    let does = match level {
        Level::Note => "and the test lead are part of the load",
        _ => "damps the pickup: use the instrument input",
    };
    let ohm = quantity::show(ohm, Unit::Ohm, 3);
    finding(
        Code::InputLoading,
        level,
        format!("the sound card's input of {ohm} {does}"),
    )
}
