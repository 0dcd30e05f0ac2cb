//! What a rig is, and what a check of it looks like, in sentences.

use crate::network::{Coil, Load, Wiring, predict};
use crate::quantity::signed;
use crate::record::when::day;
use crate::report::number::per_cent_of_log;
use crate::report::words::{joined, plural};
use crate::rig::{Input, Reference, Rig};
use crate::setup::level::{self, End, Limits, Step};
use crate::shop::known::{Known, Study};
use crate::shop::witness::history::{BASELINE, Check, History, Quantity};
use crate::shop::witness::judging::{Judgement, Stepped};

/// The pickup of every example on what an input does: 6 kilohms, 2.4 H, 120 pF (common practice: a single coil).
const TYPICAL: Coil = Coil {
    r_ohm: 6e3,
    l_h: 2.4,
    c_f: 120e-12,
    loss_ohm: Some(1e6),
    eddy: None,
};

/// What the rig's file says.
pub fn words(rig: &Rig) -> Vec<String> {
    let input = rig.input.clone().unwrap_or_default();
    let mut words = vec![reference(rig), sign(rig), loading(&input)];
    words.extend(typical(&input));
    let mains = rig.mains.as_ref().and_then(|m| m.frequency_hz);
    words.extend(mains.map(|hz| format!("Mains of {hz} Hz.")));
    words.extend(chain_words(rig));
    words.extend(setup_words(rig));
    words
}

fn reference(rig: &Rig) -> String {
    let e = &rig.exciter;
    let microhenries = 1e6 * e.inductance_h;
    match e.reference {
        Reference::Current => {
            let stated = e
                .sense_ohm
                .map_or(" (sense_ohm is not stated: all of series_ohm)", |_| "");
            let ohm = rig.sense_ohm();
            format!(
                "Channel 2 reads the exciter's current across {ohm} ohms{stated}; the exciter's {microhenries} uH play no part."
            )
        }
        Reference::Voltage => {
            let (ohm, corner) = (e.series_ohm, rig.corner_hz(false).unwrap_or(f64::INFINITY) / 1e3);
            format!(
                "Channel 2 reads the voltage before {ohm} ohms and {microhenries} uH of exciter: corner at {corner:.0} kHz, which counts in f0."
            )
        }
    }
}

fn sign(rig: &Rig) -> String {
    match rig.exciter.sign {
        Some(s) => format!("Its sign is {s:+}: polarity is referenced."),
        None => "Its sign is not known yet: polarity tells only whether two pickups are alike.".into(),
    }
}

fn loading(input: &Input) -> String {
    let picofarads = 1e12 * input.load_f();
    let ohms = match input.resistance_ohm {
        None => return format!("Its input's resistance is not stated; {picofarads:.0} pF with the lead."),
        Some(r) if r < 1e6 => format!("{:.0} kilohms", r / 1e3),
        Some(r) => format!("{:.2} megohms", r / 1e6),
    };
    let known = match (input.resistance_tolerance, input.capacitance_tolerance_f) {
        (Some(r), Some(c)) => format!(" (known to {:.1} % and {:.1} pF, 95 %)", 196.0 * r, 1.96e12 * c),
        _ => String::new(),
    };
    format!("Its input puts {ohms} and {picofarads:.0} pF on the pickup, the lead counted in{known}.")
}

/// What the input does to a pickup that everybody knows.
fn typical(input: &Input) -> Option<String> {
    let figures = |load: Load| {
        let f = predict::figures(&Wiring::from(load), &TYPICAL);
        Some((f.peak_hz? / 1e3, f.height_db?))
    };
    let (a, x) = figures(Load::default())?;
    let (b, y) = figures(Load::default().with_input(input.resistance_ohm, input.load_f()))?;
    Some(format!(
        "A typical single coil (6 kilohms, 2.4 H, 120 pF) alone peaks at {a:.1} kHz, {x:.1} dB high; on this rig, with nothing \
         else, at {b:.1} kHz and {y:.1} dB."
    ))
}

/// What the file says of the interface and of the two inputs.
fn chain_words(rig: &Rig) -> Vec<String> {
    let mut out = Vec::new();
    let input = rig.input.clone().unwrap_or_default();
    let i = rig.interface.clone().unwrap_or_default();
    let day = |d: &Option<String>| d.as_deref().map_or(String::new(), |d| format!(", {d}"));
    if i.output.is_some() || i.input.is_some() || i.rate_hz.is_some() {
        let device = |d: Option<String>| d.unwrap_or_else(|| "any".into());
        let rate = i.rate_hz.map_or(String::new(), |r| format!(" at {r} Hz"));
        let [output, input] = [i.output, i.input].map(device);
        out.push(format!(
            "Bound to the output {output} and the input {input}{rate}: a take on anything else is refused."
        ));
    }
    if let Some(level) = i.level_dbfs {
        let day = day(&i.level_measured);
        out.push(format!("It plays at {level} dBFS, the strongest clean drive{day}."));
    }
    if let Some(gain) = input.gain_db {
        let known = |u: Option<f64>, scale: f64, unit: &str| {
            let up = u.map(|u| (196.0 * scale * u).ceil() / 100.0);
            up.map_or(String::new(), |up| format!(" (known to {up:.2} {unit}, 95 %)"))
        };
        let late = input.delay_s.map(|t| format!(" and {:.2} us after it", 1e6 * t));
        let late = late.map_or(String::new(), |late| late + &known(input.delay_tolerance_s, 1e6, "us"));
        let gained = signed(gain, 2) + " dB against channel 2" + &known(input.gain_tolerance_db, 1.0, "dB");
        out.push(format!("Channel 1 reads {gained}{late}{}.", day(&i.inputs_measured)));
    }
    let corners = input.ac_pickup_hz.zip(input.ac_reference_hz);
    out.extend(corners.map(|(p, r)| format!("AC coupling from {p:.1} Hz on channel 1 and {r:.1} Hz on channel 2.")));
    out.extend(
        i.range
            .map(|range| format!("That holds with the inputs set so: {range}.")),
    );
    out
}

/// What somebody looked at when the file was made.
fn setup_words(rig: &Rig) -> Vec<String> {
    let Some(said) = &rig.setup else {
        return Vec::new();
    };
    let switches = [
        ("phantom", "phantom power"),
        ("monitoring", "monitoring"),
        ("automatic_gain", "automatic gain"),
        ("enhancement", "enhancement"),
        ("pads_and_cuts", "pads and low-cuts"),
    ];
    let list = joined(switches.map(|(key, what)| Some(format!("{what} {}", said.get(key)?))));
    let list = list.map(|list| format!("Switches, as last looked at: {list}."));
    list.into_iter()
        .chain(said.get("knobs").map(|k| format!("Knobs: {k}.")))
        .collect()
}

/// What is missing of what laying a pickup down does, for takes of this kind.
pub fn unstudied(known: &Known, simulated: bool) -> Option<&'static str> {
    match &known.study {
        Study::Told(d) if d.simulated == simulated => None,
        Study::OfAnotherRig => Some(
            "`coilwright rig repeat` was on another rig: verdicts count what laying a pickup down anew usually does, which promises \
             nothing. Measure it on this one.",
        ),
        Study::Told(_) => Some(
            "`coilwright rig repeat` had simulated takes where these are real, or real ones where these are simulated: verdicts \
             count what laying a pickup down anew usually does, which promises nothing.",
        ),
        Study::Unknown => Some(
            "What laying a pickup down anew does has not been measured: verdicts count the usual, which promises nothing. \
             `coilwright rig repeat` measures it.",
        ),
    }
}

/// Mains keep their frequency much closer than this.
const MAINS_APART_HZ: f64 = 2.0;
/// From this clock difference on the converter is another one, or set otherwise.
const CLOCK_PPM: f64 = 90.0;

/// What the pattern of a check's quantities looks like.
pub fn advice(rig: &Rig, check: &Check, j: &Judgement, history: &History) -> Vec<String> {
    let mut out = Vec::new();
    let begun = j.baseline;
    if j.provisional() && !j.go() && begun > 0 {
        out.push(format!(
            "the limits are provisional: they come from {begun} good check{} and what is known of such rigs; if it \
             was the earlier checks that were wrong, begin anew with --begin-again",
            plural(begun)
        ));
    }
    if j.turned {
        let early = if begun < 3 {
            "; or it was so before: then begin anew with --begin-again"
        } else {
            ""
        };
        out.push(format!(
            "the sign is the other one: the exciter lies upside down, or a pair of leads is swapped{early}"
        ));
    }
    let untold = check.temperature_c.is_none() && history.checks.iter().any(|c| c.temperature_c.is_some());
    out.extend(coil_and_coupling(j, untold));
    out.extend(surroundings(rig, check, j, history));
    if j.charted.iter().any(|c| c.drifted() && !c.jumped()) {
        out.push("no single day is outside, the average is: a slow drift; something ages or creeps".into());
    }
    out.extend(j.stepped.as_ref().map(stepped));
    if j.provisional() && j.go() {
        out.push(so_far(history.good().count()));
    }
    out
}

/// What f0, Q and level tell of a lead, a joint, the room and the exciter's place.
fn coil_and_coupling(j: &Judgement, untold: bool) -> Vec<String> {
    let mut out = Vec::new();
    // What only drifts is told by its average.
    let off = |q: Quantity| {
        j.get(q).filter(|c| c.jumped() || c.drifted()).map(|c| match c.average {
            Some((z, _)) if c.drifted() && !c.jumped() => z - c.centre,
            _ => c.off(),
        })
    };
    let (f0, q) = (off(Quantity::F0), off(Quantity::Q));
    if let Some(df) = f0 {
        // f0 goes with 1/sqrt(C): the witness's coil stands still.
        let more = per_cent_of_log(-2.0 * df);
        out.push(format!(
            "f0 {:+.2} %: some {:.1} % {} capacitance on the witness; a lead moved, was changed, or is plugged elsewhere",
            per_cent_of_log(df),
            more.abs(),
            if more > 0.0 { "more" } else { "less" }
        ));
    }
    if let Some(db) = off(Quantity::Level).filter(|_| !j.turned) {
        out.push(format!(
            "level {db:+.2} dB: the exciter moved or tilted (look at its stop), or a knob of one input was turned"
        ));
    }
    // Capacitance moves f0 by far more than Q.
    if let Some(dq) = q.filter(|dq| f0.is_none_or(|df| *dq < -5.0 * df.abs())) {
        out.push(format!(
            "Q {:+.1} %: resistance; a {} workshop, a bad joint, or another input resistance",
            per_cent_of_log(dq),
            if dq > 0.0 { "colder" } else { "warmer" }
        ));
        if untold {
            out.push("no room temperature was given: with --room its warmth is taken out of Q".into());
        }
    }
    out
}

/// What noise, hum and clocks tell.
fn surroundings(rig: &Rig, check: &Check, j: &Judgement, history: &History) -> Vec<String> {
    let bad = |q: Quantity| j.get(q).is_some_and(|c| c.jumped() || c.drifted());
    let stated = rig.mains.as_ref().and_then(|m| m.frequency_hz);
    // What the file does not say, home was heard to have.
    let heard = || {
        history
            .good()
            .rev()
            .filter(|c| c.id != check.id)
            .find_map(|c| c.mains_hz)
    };
    let both = stated.or_else(heard).zip(check.mains_hz);
    let foreign = both.filter(|(home, found)| (home - found).abs() > MAINS_APART_HZ);
    let noise =
        "more noise than usual: a phone, a lamp, a screen near the bench, a plug half in, or a gain that was turned";
    let hum = "the hum has changed: look at where the leads lie, and what is plugged in beside them";
    let clocks = "the clocks of output and input are far apart: are both one interface, at its own rate?";
    let apart = check.clock_ppm.is_some_and(|p| p.abs() >= CLOCK_PPM);
    let all = [
        bad(Quantity::Noise).then(|| noise.to_owned()),
        foreign.map(|(home, found)| match check.at {
            Some(_) => format!("the mains here are {found:.0} Hz, at home {home:.0} Hz: every take leaves both out"),
            None => {
                format!(
                    "the hum is of {found:.0} Hz, and the rig's mains are {home:.0} Hz: other mains, or another clock"
                )
            }
        }),
        bad(Quantity::Hum).then(|| hum.to_owned()),
        apart.then(|| clocks.to_owned()),
    ];
    all.into_iter().flatten().collect()
}

fn stepped(s: &Stepped) -> String {
    let by = match s.quantity {
        Quantity::F0 => format!("f0 {} %", signed(per_cent_of_log(s.by), 2)),
        Quantity::Q => format!("Q {} %", signed(per_cent_of_log(s.by), 1)),
        _ => format!("level {} dB", signed(s.by, 2)),
    };
    format!(
        "{by} since the check of {}: something was changed then, and the limits stand on both sides of it; `coilwright rig changed` \
         begins anew",
        day(&s.since).unwrap_or("that day")
    )
}

fn so_far(good: usize) -> String {
    let so_far = format!("{good} good check{} so far", plural(good));
    match BASELINE.saturating_sub(good) {
        0 => format!("{so_far}: from the next one on the limits are this rig's own"),
        left => format!(
            "{so_far}: the limits are provisional, and tighten with every good check; after {left} more they are \
             this rig's own. Make one each working day: they have to learn what a day does"
        ),
    }
}

/// A pickup under an exciter of a few turns comes out within some 20 dB of the reference, a few metres of loose lead far below.
const FAR_BELOW_DB: f64 = 40.0;
/// Peaks of a pickup below this leave noise that need not be there.
const FAINT_DBFS: f64 = -30.0;

/// What the levels tried come to, and what to turn.
pub fn level_advice(steps: &[Step], end: End, limits: &Limits) -> Vec<String> {
    let best = level::best(steps, end, limits);
    let hidden = best.and_then(|s| s.hidden(limits));
    let mut advice = vec![stopped(steps, end, limits).to_owned()];
    if let Some(peak) = best.and_then(|s| s.pickup.peak_dbfs).filter(|p| *p < FAINT_DBFS) {
        advice.push(format!(
            "The pickup's peak stands at {peak:.0} dBFS: some {:.0} dB more gain on its input would lower the noise. Then run \
             this again.",
            (FAINT_DBFS - peak + 10.0).min(60.0)
        ));
    }
    if let Some(percent) = hidden.map(|db| 100.0 * 10f64.powf(db / 20.0)) {
        let would_tell = match end {
            End::Limit => ": more gain on the pickup's input, or a higher --limit, would tell",
            _ => "",
        };
        advice.push(format!(
            "The noise may hide up to {percent:.1} % of distortion there{would_tell}."
        ));
    }
    let below = best.and_then(|s| Some(s.reference.peak_dbfs? - s.pickup.peak_dbfs?));
    if let Some(db) = below.filter(|db| *db > FAR_BELOW_DB) {
        advice.push(format!(
            "It answers {db:.0} dB below the reference: is the pickup plugged in, its winding whole, and the exciter over it?"
        ));
    }
    advice
}

/// Why no stronger level was tried.
fn stopped(steps: &[Step], end: End, limits: &Limits) -> &'static str {
    let last = steps.last();
    let clean = last.is_some_and(|s| s.clean(limits));
    let (pickup, reference) = last.map_or((false, false), |s| (s.pickup.heard, s.reference.heard));
    let shown = level::best(steps, end, limits).is_some_and(|s| s.hidden(limits).is_none());
    match end {
        End::Limit if clean && shown => "Stopped at the limit that was set; the rig is clean there.",
        End::Limit if clean => "Stopped at the limit that was set; nothing unclean was seen.",
        End::Limit => "Stopped at the limit that was set, where it is not clean.",
        End::PickupRoom => "The pickup's input has no more room: for a stronger drive turn its gain down.",
        End::ReferenceRoom => "The reference's input has no more room: for a stronger drive turn its gain down.",
        End::OutputBends => "The output distorts from there on: another output, or less load on it, would carry more.",
        End::InputBends => "The pickup's input distorts from there on: turn its gain down.",
        End::NothingHeard if reference => {
            "Nothing comes back from the pickup: look at its lead, its input and the exciter's place. It was not driven harder."
        }
        End::NothingHeard if pickup => {
            "Nothing comes back on the reference: look at its lead and input, and the exciter box. It was not driven harder."
        }
        End::NothingHeard => {
            "Nothing comes back on the reference or from the pickup: look at the output's knob, the reference's lead and the exciter, then at the pickup's lead. It was not driven harder."
        }
        End::NoPickup => {
            "Both inputs get one and the same signal: no pickup answers. Plug the pickup into its input, lay it into its place, and run this again."
        }
    }
}
