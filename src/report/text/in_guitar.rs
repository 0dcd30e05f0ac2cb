//! Pickups in their guitar, measured at its jack: prompts, steps and the whole.

use super::screen::{BOLD, Screen, Style, WARN};
use crate::report::difference_words;
use crate::report::number::hz;
use crate::report::{entry_words, words};
use crate::shop::difference::Judged;
use crate::shop::in_guitar::{Heard, InGuitar, Pair, Phase, Step, StepRead};
use crate::shop::yardstick::Answer;

/// Puts the sentence into the document.
pub fn put_guitar_words(it: &mut InGuitar) {
    it.text = sentence(it);
}

/// What to do before the first take.
pub fn guitar_keys() -> &'static str {
    "All knobs full up, the jack on the rig's input; never an amplifier that is on. Enter measures, r measures the last again, s skips, \
     q ends."
}

pub fn guitar_prompt(step: &Step, number: usize, of: usize) -> String {
    let (position, pickup) = (&step.position, &step.pickup);
    format!("{number} of {of}: switch to {position}, exciter over the first coil of {pickup}")
}

pub fn guitar_step(step: &StepRead) -> String {
    format!("  {}", heard(step))
}

fn sentence(it: &InGuitar) -> String {
    let early = if it.ended_early {
        ", as far as it was measured"
    } else {
        ""
    };
    match it.answer {
        Answer::Same => format!("everything at the jack reads as the coil predicts{early}"),
        Answer::CannotTell if it.steps.is_empty() => "cannot tell: nothing was measured".into(),
        Answer::CannotTell => format!(
            "cannot tell{early}: nothing is off for sure; pots count ±20 % unless they are measured (--tolerance pots=1%)"
        ),
        Answer::Different => {
            let off = |s: &&StepRead| matches!(s.heard, Heard::Dead | Heard::Different) || s.turned;
            let each = words::listed(it.steps.iter().filter(off).map(at_place), "; ");
            format!("not as it should{early}: {each}")
        }
    }
}

fn at_place(s: &StepRead) -> String {
    format!("{}: {}", place(s), heard(s))
}

fn place(s: &StepRead) -> String {
    match s.position == s.pickup {
        true => s.pickup.clone(),
        false => format!("{} of {}", s.pickup, s.position),
    }
}

fn heard(s: &StepRead) -> String {
    let peak = || match (s.peak_hz, s.predicted_hz) {
        (Some(a), Some(b)) => format!("peak {}, predicted {}", hz(a), hz(b)),
        (Some(a), None) => format!("peak {}, where none is predicted", hz(a)),
        (None, Some(b)) => format!("no peak, predicted {}", hz(b)),
        (None, None) => "no peak, as predicted".into(),
    };
    let mut text = match s.heard {
        Heard::Dead => "dead: a lead, the switch, a solder joint, or the winding".into(),
        Heard::NoReading => "no reading, measure it again".into(),
        Heard::AsPredicted => format!("as predicted: {}", peak()),
        Heard::CannotTell => format!("cannot tell: {}", peak()),
        Heard::Different => {
            let off = s.quantities.iter().filter(|j| j.answer == Answer::Different);
            format!("off: {} ({})", words::list(off.map(off_by)), peak())
        }
    };
    if s.turned {
        text.push_str("; its sign is the other one than when it left: leads changed over, or the winding reversed");
    }
    text
}

/// "peak -6.1 ± 2.0 %".
fn off_by(j: &Judged) -> String {
    format!(
        "{} {}",
        words::quantity(j.quantity),
        difference_words::apart(j.quantity, j)
    )
}

fn pair(p: &Pair) -> String {
    let windings = if p.one_way { "the same way" } else { "opposite ways" };
    let [a, b] = &p.pickups;
    let poles = p.poles.map(|pole| pole.map_or("?", entry_words::pole)).join(" and ");
    let phase = match p.phase {
        Phase::In => format!("{poles} up: in phase"),
        Phase::Out => format!("{poles} up: OUT OF PHASE"),
        Phase::AskTheIndicator => {
            "in phase or not: ask the polarity indicator, an exciter does not hear magnets".into()
        }
    };
    format!("{a} and {b}: wound {windings} as they are wired; {phase}")
}

pub fn guitar_text(it: &InGuitar, style: Style) -> String {
    let mut out = Screen::new(style);
    out.stamp(it.simulated);
    let paint = if it.answer == Answer::Same { BOLD } else { WARN };
    let [pickup, wiring] = [&it.pickup, &it.wiring].map(|t| words::clean(t));
    out.line_in(format!("{pickup} in the guitar, {wiring}"), paint);
    out.line(words::clean(&it.text));
    out.lines(it.steps.iter().map(|s| words::clean(&at_place(s))));
    out.lines(it.pairs.iter().map(|p| words::clean(&pair(p))));
    out.rows("Note", it.notes.iter().map(|n| words::clean(n)));
    out.text
}
