//! What is said of a difference, in one sentence: what differs, what decided, and what would tell where nobody can.

use super::number::{self, way};
use super::words;
use crate::coil::behind::{input_of, load_of};
use crate::estimate::Estimate;
use crate::network::Knob;
use crate::quantity::{self, Unit, signed};
use crate::record::{Record, Resonance};
use crate::shop::difference::{Comparison, Difference, Judged, Why, unlike_in};
use crate::shop::yardstick::{Answer, Open, Quantity, Question};

/// Puts its sentence into every difference. `records`: those that were compared, in the comparison's order.
pub fn put(comparison: &mut Comparison, records: &[Record]) {
    for (d, record) in comparison.differences.iter_mut().zip(records.iter().skip(1)) {
        let reference = d.against.as_deref().unwrap_or(&comparison.reference);
        if let Some(first) = records.iter().find(|r| r.id == reference) {
            d.text = sentence(first, record, d);
        }
    }
}

fn sentence(first: &Record, record: &Record, d: &Difference) -> String {
    let (a, b) = match (d.why, first.reading(), record.reading()) {
        (None, Some(a), Some(b)) => (a, b),
        (Some(Why::Definitions), Some(a), Some(b)) => {
            return format!(
                "cannot tell: f0 and Q of the first are {:?}, of this one {:?}; read the older take again (coilwright analyze)",
                a.definition.code(),
                b.definition.code()
            );
        }
        (Some(Why::RigFile), ..) => {
            let keys = unlike_in(first, record).join(", ");
            return format!("cannot tell: {keys} is not the same in these two readings, and one was not read again");
        }
        _ => return "no reading, so nothing to compare: measure again".into(),
    };
    let told = Told {
        a,
        b,
        d,
        loads: load_words(first, record),
    };
    let groups = [Answer::Different, Answer::CannotTell, Answer::Same].map(|answer| told.group(answer));
    let parts = told.loads.clone().into_iter().chain(told.peaks());
    let text = words::listed(parts.chain(groups.into_iter().flatten()), "; ");
    let plainly = (a.definition != b.definition).then(|| "f0 and Q of both as of a coil without metal, coupling and peak height not compared: they go by the level at low frequency, which is another one in each".to_owned());
    words::list([text].into_iter().chain(plainly).chain(remarks(first, record, d)))
}

struct Told<'a> {
    a: &'a Resonance,
    b: &'a Resonance,
    d: &'a Difference,
    /// What the second has more or less hanging on it.
    loads: Option<String>,
}

impl Told<'_> {
    fn get(&self, quantity: Quantity) -> Option<&Judged> {
        Judged::find(&self.d.quantities, quantity)
    }

    /// f0 goes with the peak, and is named where the peak does not tell the same; the level is the exciter's position too, and is
    /// named where it is not the same.
    fn named(&self, answer: Answer) -> Vec<(Quantity, &Judged)> {
        let all = Quantity::ALL.into_iter().filter_map(|q| Some((q, self.get(q)?)));
        all.filter(|(q, j)| {
            j.answer == answer
                && match q {
                    Quantity::F0 => self.get(Quantity::Peak).is_none_or(|p| p.answer != answer),
                    Quantity::Level => answer != Answer::Same,
                    _ => true,
                }
        })
        .collect()
    }

    /// "different: peak 230 Hz lower (-6.05 ± 0.42 %, 1 % matters), ...": all that is called so.
    fn group(&self, answer: Answer) -> Option<String> {
        let named = self.named(answer);
        let mut words: Vec<String> = named.iter().map(|(q, j)| self.words(*q, j)).collect();
        let unlike = &self.d.level_unlike;
        match answer {
            Answer::Different if self.d.turned => words.push("polarity the other way round".into()),
            Answer::CannotTell if !unlike.is_empty() => words.push(format!(
                "{} ({} is not the same in these two readings, and one was not read again)",
                words::quantity(Quantity::Level),
                unlike.join(", ")
            )),
            Answer::CannotTell if self.d.quantities.is_empty() && !self.d.turned => {
                words.push("nothing that both have can be compared".into());
            }
            _ => {}
        }
        (!words.is_empty()).then(|| format!("{}: {}", words::answer(answer), words.join(", ")))
    }

    fn words(&self, quantity: Quantity, j: &Judged) -> String {
        let stepped = j.answer == Answer::Different || j.is_less_than_matters();
        let shown = match stepped {
            true => self.step(quantity, j),
            false => words::quantity(quantity).to_owned(),
        };
        let off = apart(quantity, j);
        // A step in decibels has its size in the words already.
        let off = match stepped && !quantity.is_relative() {
            true => off.trim_start_matches(|c| c != '±'),
            false => &off,
        };
        let would = j.open.map_or("", |o| would_tell(o, j.usual.laying));
        format!("{shown} ({off}, {}{would})", decided(quantity, j))
    }

    /// "peak 230 Hz lower"; what a load did to a peak is told as the way from one to the other.
    fn step(&self, quantity: Quantity, j: &Judged) -> String {
        let name = words::quantity(quantity);
        if let (Quantity::Peak, Some(_), Some(a), Some(b)) = (quantity, &self.loads, self.a.peak_hz, self.b.peak_hz) {
            return format!("{name} {}", moved(a.value, b.value));
        }
        let unit = match quantity {
            Quantity::Peak | Quantity::F0 | Quantity::Down => "Hz",
            Quantity::Q => "",
            Quantity::Ohms => "Ω",
            _ => "dB",
        };
        let size = estimate(self.d, quantity).map(|e| e.value);
        let size = size.or((!quantity.is_relative()).then_some(j.difference));
        let size = words::of(size, |s| format!(" {}", amount(s.abs(), unit)));
        format!("{name}{size} {}", way(j.difference))
    }

    fn peaks(&self) -> Option<String> {
        match (self.a.peak_hz, self.b.peak_hz) {
            (Some(p), None) => Some(format!("no peak, where the first has one at {}", amount(p.value, "Hz"))),
            (None, Some(p)) => Some(format!("a peak at {}, where the first has none", amount(p.value, "Hz"))),
            (None, None) => Some("no peak in either".into()),
            (Some(_), Some(_)) => None,
        }
    }
}

/// Which of what decided are usual values, that promise nothing, and the commands that bring the shop's own; said once for all.
pub(super) fn usual<'a>(judged: impl Iterator<Item = &'a Judged> + Clone) -> Option<String> {
    let any = |f: fn(&Judged) -> bool| judged.clone().any(f);
    let list = [
        any(|j| j.matters_usual).then_some("what matters (`use --matters`)"),
        any(|j| j.usual.laying).then_some("laying down (`rig repeat`)"),
        any(|j| j.usual.days).then_some("the rig's days (`rig check`)"),
    ];
    let list = words::joined(list.map(|w| w.map(String::from)))?;
    Some(format!("until you give your own, usual values stand for {list}"))
}

/// "against B: ", where it is held against another one than the first.
pub(super) fn against(d: &Difference, records: &[Record]) -> String {
    let other = d
        .against
        .as_ref()
        .and_then(|id| records.iter().position(|r| r.id == *id));
    words::of(other, |k| format!("against {}: ", words::letter(k)))
}

/// The difference as the document has it, in the quantity's own unit.
pub(super) fn estimate(d: &Difference, quantity: Quantity) -> Option<Estimate> {
    match quantity {
        Quantity::Peak => d.peak_hz,
        Quantity::F0 => d.f0_hz,
        Quantity::Q => d.q,
        Quantity::Height => d.peak_db,
        Quantity::Level => d.level_db,
        Quantity::Curve | Quantity::Down | Quantity::Ohms => None,
    }
}

/// Finer than a hundredth of a per cent or of a decibel nothing is told apart at a bench.
const FINEST: f64 = 0.01;

/// "-6.05 ± 0.42 %": with the interval that decided, in digits as fine as that.
pub(super) fn apart(quantity: Quantity, j: &Judged) -> String {
    let (half, unit) = number::size(quantity.is_relative(), j.deciding_half());
    let half = half.max(FINEST);
    let decimals = if half < 1.0 { 2 } else { usize::from(half < 10.0) };
    let value = signed(number::apart(quantity.is_relative(), j.difference).0, decimals);
    format!("{value} ± {half:.decimals$} {unit}")
}

/// "-6.05 ± 0.42 %, 1 % matters": what decided.
pub(super) fn judged(quantity: Quantity, j: &Judged) -> String {
    format!("{}, {}", apart(quantity, j), decided(quantity, j))
}

/// "1 % matters".
fn decided(quantity: Quantity, j: &Judged) -> String {
    let (matters, unit) = number::size(quantity.is_relative(), j.matters);
    // Rounded where binary fractions would show.
    let matters = (1e12 * matters).round() / 1e12;
    match j.is_less_than_matters() {
        true => format!("less than the {matters} {unit} that matter"),
        false => format!("{matters} {unit} matters"),
    }
}

/// What would tell, where nobody can; `usual`: nobody has studied what laying down does on this rig.
fn would_tell(open: Open, usual: bool) -> &'static str {
    match open {
        Open::Noise => "; less noise would tell: more level, or `measure --repeats`",
        Open::Laying if usual => "; `rig repeat` may tell",
        Open::Laying => "; laying it down more steadily would tell",
        Open::Days => "; both in one sitting would tell",
        Open::Rigs => "; both on one rig in one sitting would tell",
        Open::Stated => "; closer tolerances would tell",
        Open::Near => "; too near to what matters to tell",
    }
}

/// What else differs between the two takes, and so may be the cause.
fn remarks(first: &Record, record: &Record, d: &Difference) -> Vec<String> {
    let mut out = Vec::new();
    let channels = [first, record].map(|r| r.capture.channels);
    if d.same_rig && channels[0] != channels[1] {
        out.push("one with one channel and one with two".into());
    } else if !d.same_rig {
        out.push(match (first.rig.given, record.rig.given) {
            (true, true) => "measured on two rigs".into(),
            (false, false) => "no rig given for either".into(),
            _ => "no rig given for one of them".into(),
        });
    }
    let changed = d.changed.as_ref();
    out.extend(changed.map(|what| format!("the bench was changed between them ({what})")));
    let loads = first.load != record.load && load_words(first, record).is_none();
    let over = first.pickup.over.as_ref().zip(record.pickup.over.as_ref());
    let others = [
        (d.between == Question::OtherDay, "on two days"),
        (loads, "under different loads"),
        (over.is_some_and(|(x, y)| x != y), "over different coils"),
    ];
    out.extend(others.into_iter().filter(|o| o.0).map(|o| o.1.to_owned()));
    out
}

/// "4.2 -> 3.4 kHz".
fn moved(from: f64, to: f64) -> String {
    if from < 995.0 || to < 995.0 {
        return format!("{} -> {}", amount(from, "Hz"), amount(to, "Hz"));
    }
    // Digits enough that the two differ.
    let close = (to / from - 1.0).abs() < 0.03;
    let show = |x: f64| match close {
        true => format!("{:.2}", x / 1000.0),
        false => two_digits(x / 1000.0),
    };
    format!("{} -> {} kHz", show(from), show(to))
}

/// What hangs on a pickup besides capacitors, in the order in which it is told.
const PARTS: [Knob; 9] = [
    Knob::VolPot,
    Knob::Vol,
    Knob::TonePot,
    Knob::Tone,
    Knob::ToneCap,
    Knob::BleedCap,
    Knob::BleedRes,
    Knob::Amp,
    Knob::Res,
];

/// "500 pF more", "volume pot 500 kohm rather than 250 kohm": what the second has that the first has not. `None` where they
/// are alike, or not both told.
fn load_words(first: &Record, record: &Record) -> Option<String> {
    let (a, b) = (load_of(first).ok()?, load_of(record).ok()?);
    let ((a_ohm, a_f), (b_ohm, b_f)) = (input_of(first), input_of(record));
    // The rigs' inputs count where both are told.
    let input = if a_f > 0.0 && b_f > 0.0 { b_f - a_f } else { 0.0 };
    let more = b.capacitance() - a.capacitance() + input;
    let mut parts = Vec::new();
    if let Some((x, y)) = a_ohm.zip(b_ohm).filter(|(x, y)| x != y) {
        let show = |v: f64| quantity::show(v, Unit::Ohm, 3);
        parts.push(format!("rig's input {} rather than {}", show(y), show(x)));
    }
    if more.abs() > 0.5e-12 {
        let size = quantity::show(more.abs(), Unit::Farad, 3);
        parts.push(format!("{size} {}", if more > 0.0 { "more" } else { "less" }));
    }
    for k in PARTS {
        let show = |v: f64| quantity::show(v, k.unit(), 3);
        match (k.get(&a), k.get(&b)) {
            (Some(x), Some(y)) if x != y => parts.push(format!("{} {} rather than {}", k.words(), show(y), show(x))),
            // Where a pot comes or goes, its rotation needs no words.
            (None, Some(y)) if k.is_part() => parts.push(format!("with {} {}", k.words(), show(y))),
            (Some(_), None) if k.is_part() => parts.push(format!("without {}", k.words())),
            _ => {}
        }
    }
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// Two digits and the unit, kilohertz where that is shorter; the table beside the sentence has the rest.
fn amount(x: f64, unit: &str) -> String {
    match unit {
        "" => two_digits(x),
        "Hz" if x >= 995.0 => format!("{} kHz", two_digits(x / 1000.0)),
        _ => format!("{} {unit}", two_digits(x)),
    }
}

fn two_digits(x: f64) -> String {
    if !(1e-4..1e6).contains(&x.abs()) {
        return if x == 0.0 { "0".into() } else { format!("{x:.1e}") };
    }
    // Counted after rounding: 9.96 is 10, not 10.0.
    match number::decimals_for_two_digits(x) {
        decimals if decimals < 0 => {
            let grain = 10f64.powi(-decimals);
            format!("{:.0}", (x / grain).round() * grain)
        }
        decimals => format!("{x:.*}", decimals as usize),
    }
}

#[cfg(test)]
mod tests;
