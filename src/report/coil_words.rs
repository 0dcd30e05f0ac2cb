//! What is to be said of a coil that was found: what limits it, and what does not go together.

use super::words;
use crate::coil::behind::{CoilDocument, Decides, Grounds};
use crate::fit::joint::{InputPart, Source};
use crate::quantity::{self, Unit};

/// Puts its words into every finding.
pub fn put(coil: &mut CoilDocument) {
    coil.findings.iter_mut().for_each(|f| f.text = said(&f.grounds));
}

fn said(grounds: &Grounds) -> String {
    match grounds {
        Grounds::NoCapacitance => {
            "the winding's capacitance came out as nothing: a load is larger than it was told, or the takes err".into()
        }
        Grounds::DampingApart => {
            "the Qs do not follow one resistance and one loss, so L and C_s are taken from the frequencies".into()
        }
        Grounds::PartsDecide(parts) => {
            format!(
                "{}: measure that, or use a closer one; the takes are good enough",
                hang(parts)
            )
        }
        Grounds::Vague { l, c, decide, furthest } => {
            let what = match (l, c) {
                (true, true) => "L and C_s are",
                (true, false) => "L is",
                _ => "C_s is",
            };
            let why = match (&decide[..], furthest) {
                ([], None) => "the loads are too alike".into(),
                ([], Some(f)) => {
                    let ([a, b], apart) = (&f.loads, quantity::show(f.apart, Unit::Relative, 2));
                    format!("the loads are too alike: the two furthest apart, {a} and {b}, move f0 by {apart} only")
                }
                (parts, _) => format!("{}: measure it, or use a closer one", hang(parts)),
            };
            format!("{what} hardly told: {why}")
        }
        Grounds::OhmsApart { stated, found } => {
            let all = [*stated, found.value, found.half_width_95()];
            let [stated, found, half] = all.map(|v| quantity::show(v, Unit::Ohm, 3));
            format!(
                "the stated {stated} and the takes do not go together, which by themselves speak for {found} within {half}: \
                 check which coil and lead it was read on, and at what temperature, and whether the capacitors are what they \
                 are said to be: Q tells R by way of L, which goes by them"
            )
        }
        Grounds::Disagree { times, ohms } => {
            let question = match ohms {
                // Asked already.
                true => "",
                false => ": is every load what its record says, and nothing moved or warmed in between?",
            };
            format!(
                "the takes contradict each other {times:.1} times more than noise and tolerances explain; the uncertainties \
                 are widened by that{question}"
            )
        }
        Grounds::InputUnknown(name) => format!(
            "the rig of {name:?} does not state resistance and capacitance of its input and lead: both are counted into the \
             winding, C_s and loss are too large"
        ),
        Grounds::TwoPickups([a, b]) => format!("the records are of more than one pickup or coil: {a:?} and {b:?}"),
        Grounds::Warned => "some of the takes carry warnings of their own".into(),
    }
}

/// "L hangs on what is printed on the capacitor (cap), 96 % of its variance".
fn hang(parts: &[Decides]) -> String {
    let one = |d: &Decides| {
        let what = match d.source {
            Source::Part(k) => format!("what is printed on the {} ({})", k.words(), k.name()),
            Source::Input(InputPart::Capacitance) => "what the rig states of its input's capacitance".into(),
            Source::Meter => "what a meter within 1 % + 2 pF reads".into(),
            Source::Input(InputPart::Resistance) => "what the rig states of its input's resistance".into(),
        };
        format!("{} hangs on {what}, {:.0} % of its variance", d.name, 100.0 * d.share)
    };
    words::listed(parts.iter().map(one), "; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coil::behind::Furthest;
    use crate::estimate::Estimate;
    use crate::network::Knob;

    #[test]
    fn what_is_found_is_said_with_its_numbers() {
        let decide = vec![Decides {
            name: "L",
            source: Source::Part(Knob::Cap),
            share: 0.962,
        }];
        let parts = "L hangs on what is printed on the capacitor (cap), 96 % of its variance";
        let furthest = Furthest {
            loads: ["cap=1n", "cap=1.02n"].map(String::from),
            apart: 0.0089,
        };
        let alike = "the two furthest apart, cap=1n and cap=1.02n, move f0 by 0.89 % only";
        let vague = |l, c, decide, furthest| Grounds::Vague { l, c, decide, furthest };
        for (grounds, want) in [
            (Grounds::PartsDecide(decide.clone()), format!("{parts}: measure that, ")),
            (vague(true, false, decide, None), format!("L is hardly told: {parts}: measure it, ")),
            (
                vague(true, true, vec![], Some(furthest)),
                format!("L and C_s are hardly told: the loads are too alike: {alike}"),
            ),
            (
                Grounds::OhmsApart {
                    stated: 7200.0,
                    found: Estimate::new(6000.0, 10.0, 10.0).unwrap(),
                },
                "the stated 7.20 kΩ and the takes do not go together, which by themselves speak for 6.00 kΩ within 19.6 Ω".into(),
            ),
        ] {
            let text = said(&grounds);
            assert!(text.starts_with(&want), "{text}");
        }
        for (ohms, asked) in [(true, false), (false, true)] {
            assert_eq!(said(&Grounds::Disagree { times: 3.0, ohms }).ends_with('?'), asked);
        }
    }
}
