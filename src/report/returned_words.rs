//! What is said of a pickup that came back, in one sentence.

use super::number::{self, Unit, hz, short, two};
use super::{difference_words, words};
use crate::record::Record;
use crate::shop::difference::{Difference, Judged};
use crate::shop::returned::{Freed, Look, Magnet, OhmsMoved, Returned, Side, Verdict, Why};
use crate::shop::yardstick::{Answer, Open, Quantity};

/// Puts the sentences into the document. `pair`: the reading it left with, and today's.
pub fn put(it: &mut Returned, pair: &[Record]) {
    if let Some(compared) = it.compared.as_mut() {
        difference_words::put(compared, pair);
    }
    it.text = sentence(it);
}

/// What was found, in a word for the notebook.
pub fn code(it: &Returned) -> String {
    let look = it.looks.first().filter(|_| it.verdict == Verdict::Changed);
    // As its document has them.
    let named = match look {
        Some(look) => serde_json::to_value(look).map(|mut look| look["looks"].take()),
        None => serde_json::to_value(it.verdict),
    };
    named
        .ok()
        .and_then(|n| n.as_str().map(String::from))
        .unwrap_or_default()
}

pub(super) fn verdict(v: Verdict) -> &'static str {
    match v {
        Verdict::Unchanged => "unchanged",
        Verdict::Changed => "CHANGED",
        Verdict::CannotTell => "cannot tell",
    }
}

fn sentence(it: &Returned) -> String {
    match (it.verdict, &it.why) {
        (Verdict::Unchanged, _) => format!("the same pickup, unchanged: {}", same(it)),
        (Verdict::Changed, _) => changed(it),
        (Verdict::CannotTell, Some(why)) => format!("cannot tell: {}", because(why, it)),
        (Verdict::CannotTell, None) => format!(
            "cannot tell: nothing changed for sure, and nothing is the same for sure either; {}",
            would_tell(it)
        ),
    }
}

fn judged(it: &Returned) -> &[Judged] {
    let side_by_side = || Some(it.compared.as_ref()?.differences.first()?.quantities.as_slice());
    let freed = || Some(it.freed.as_ref()?.quantities.as_slice());
    side_by_side().or_else(freed).unwrap_or_default()
}

fn same(it: &Returned) -> String {
    // "peak within 1.0 %".
    let within = |q: Quantity| {
        let (size, unit) = number::size(q.is_relative(), Judged::find(judged(it), q)?.matters);
        Some(format!("{} within {} {unit}", words::quantity(q), two(size)))
    };
    let ohms = it.ohms.as_ref().filter(|o| o.answer == Answer::Same);
    let parts = [Quantity::Peak, Quantity::Q, Quantity::Height, Quantity::Down].map(within);
    let all = parts.into_iter().chain([ohms.map(|_| "its ohms too".to_owned())]);
    words::joined(all).unwrap_or_default()
}

fn changed(it: &Returned) -> String {
    let how = match it.looks.first() {
        Some(Look::Dead { .. }) => {
            let left = words::of(it.left.peak_hz, |peak| {
                format!(", and it left with a peak at {}", hz(peak))
            });
            format!("it is dead{left}; ")
        }
        _ => words::of(words::joined(moved(it).into_iter().map(Some)), |how| how + "; "),
    };
    format!("changed: {how}looks like {}", looks(it))
}

/// "peak 5.7 % lower", of all that is different for sure.
fn moved(it: &Returned) -> Vec<String> {
    let named = Quantity::ALL
        .into_iter()
        .filter_map(|q| Some((q, Judged::find(judged(it), q)?)));
    let mut out: Vec<String> = named
        .filter(|(q, j)| j.answer == Answer::Different && *q != Quantity::F0)
        .map(|(q, j)| format!("{} {}", words::quantity(q), step(q, j.difference)))
        .collect();
    let turned = |d: &Difference| d.turned.then(|| "its sign is the other one".to_owned());
    out.extend(it.compared.as_ref().and_then(|c| turned(c.differences.first()?)));
    out.extend(it.ohms.as_ref().filter(|o| o.answer == Answer::Different).map(ohms));
    out
}

fn step(quantity: Quantity, difference: f64) -> String {
    let (value, unit) = number::apart(quantity.is_relative(), difference);
    format!("{} {unit} {}", two(value.abs()), number::way(difference))
}

fn ohms(o: &OhmsMoved) -> String {
    let show = |v| short(v, Unit::Ohm);
    format!("ohms {} where it left with {}", show(o.today_ohm), show(o.left_ohm))
}

fn looks(it: &Returned) -> String {
    // What the probe tells comes besides: it explains nothing of what was heard.
    let of_magnet = |l: &&Look| matches!(l, Look::Magnet { .. } | Look::MagnetTurned);
    let (magnet, heard): (Vec<&Look>, Vec<&Look>) = it.looks.iter().partition(of_magnet);
    let by_coil = |l: &&Look| matches!(l, Look::AnotherCoil { .. } | Look::Dead { .. } | Look::Level);
    let mut all: Vec<String> = heard.iter().map(|l| look(l)).collect();
    if it.ohms.is_none() && !heard.iter().any(by_coil) && !heard.is_empty() {
        all.push("another coil (its ohms, today and when it left, would tell)".into());
    }
    let heard = Some(all.join(", or ")).filter(|h| !h.is_empty());
    words::listed(heard.into_iter().chain(magnet.into_iter().map(look)), "; and ")
}

fn look(look: &Look) -> String {
    let (farads, ohms) = (|f: f64| short(f, Unit::Farad), |r: f64| short(r, Unit::Ohm));
    let percent = |x: f64| format!("{} %", two(100.0 * x));
    match look {
        Look::Dead { feed } => format!(
            "a lead or the winding broken{}. Try another pickup on the same lead, then its ohms",
            match feed {
                true => ": what comes through the air alone is heard",
                false => ", or its two leads touching",
            }
        ),
        Look::TurnsShorted { share } => format!("turns shorted in the winding, about {} of them", percent(*share)),
        Look::Metal => "metal about it that was not there (a cover, a plate)".into(),
        Look::Wax { farad } => format!("{} more in the winding: wax soaked in, or damp", farads(*farad)),
        Look::Capacitance { farad } => {
            format!(
                "{} across it, more than wax brings: a cable, a capacitor",
                farads(*farad)
            )
        }
        Look::LessCapacitance { farad } => {
            format!("{} less across it: dried out, or something taken off", farads(*farad))
        }
        Look::Resistor { ohm } => format!("about {} across it: a pot left on", ohms(*ohm)),
        Look::Controls { ohm, farad } => {
            format!(
                "about {} and {} across it: controls or a cable left on",
                ohms(*ohm),
                farads(*farad)
            )
        }
        Look::CoilBridged { share } => format!("{} of the winding left: one of two coils bridged", percent(*share)),
        Look::CoilOpen { share } => format!(
            "{} times the winding: one of two coils side by side is open",
            two(*share)
        ),
        Look::AnotherCoil { like } if like.is_empty() => "another coil".into(),
        Look::AnotherCoil { like } => format!("another pickup: it reads as {} left", like.join(" or ")),
        Look::Turned => "its leads changed over, or the exciter turned".into(),
        Look::Level => "another place under the exciter, or iron moved: the level alone".into(),
        Look::Magnet { ratio } if *ratio < 1.0 => format!("a weaker magnet, {} of what it was", percent(*ratio)),
        Look::Magnet { ratio } => format!("a stronger magnet, {} of what it was", percent(*ratio)),
        Look::MagnetTurned => "its magnet turned: the other pole is up".into(),
    }
}

fn because(why: &Why, it: &Returned) -> String {
    let under = |s: &Side| {
        let load = match s.load.as_deref() {
            None => "a load that was not told",
            Some("") => "no load",
            Some(l) => l,
        };
        format!("{load} on {}", s.rig.as_deref().unwrap_or("no rig told"))
    };
    match why {
        Why::NeverRead => "it left without a reading".into(),
        Why::NoReading { finding } => {
            let why = words::of(finding.as_ref(), |code| format!(" ({})", words::finding(*code)));
            format!("today's take gives no reading{why}: measure again")
        }
        Why::OtherCoil { left, today } => {
            format!("it left measured over the {left}, and this is over the {today}: lay the exciter there")
        }
        Why::Simulated => "one of the two is of the built-in bench".into(),
        Why::LoadNotTold => "only one of the two readings says what hung on it: give it with --load".into(),
        Why::OtherLoad => format!(
            "it left under {}, and this is under {}: hang the same on it, or give its coil with --coil",
            under(&it.left),
            under(&it.today)
        ),
        Why::NoPeak => "another load or rig, and no peak that its coil could free of them".into(),
        Why::OhmsAlone => format!(
            "it rings as it did, and {}: read the ohms again, on the same meter at the coil's own leads",
            it.ohms.as_ref().map_or_else(|| "the ohms differ".into(), ohms)
        ),
    }
}

/// What would tell, of the first that is left open.
fn would_tell(it: &Returned) -> String {
    let open = judged(it).iter().find_map(|j| Some((j.open?, j.usual.laying)));
    match open {
        Some((Open::Noise, _)) => "less noise would tell: --repeats 4",
        Some((Open::Laying, true)) => "`rig repeat`, once, would tell how well this rig lays a pickup down",
        Some((Open::Laying, false)) => "lay it down and measure it again",
        Some((Open::Days, _)) => "what the days do is as large as what matters",
        Some((Open::Rigs, _)) => "the rig that it left on would tell",
        Some((Open::Stated, _)) => "closer tolerances would tell",
        Some((Open::Near, _)) => "what it moved by is as large as what matters",
        None => "there is too little in both to compare",
    }
    .into()
}

/// Whether there is anything to say of the magnet.
pub(super) fn magnet(m: &Magnet) -> String {
    match m {
        Magnet::NotHeard => {
            "an exciter does not hear it; a gauss meter held to it both times would (`note --gauss`)".into()
        }
        Magnet::Read { probe, ratio } => format!("{} % of what it was, by {probe}", two(100.0 * ratio)),
    }
}

/// What today's reading was freed of.
pub(super) fn freed(f: &Freed) -> String {
    format!("by its coil, from {} to {}", f.from, f.to)
}
