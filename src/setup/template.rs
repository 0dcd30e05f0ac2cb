//! A new rig file as text, with remarks for whoever edits it.

use crate::quantity::toml_number;
use crate::rig::Reference;

/// A switch that software cannot see.
pub struct Item {
    pub key: &'static str,
    pub question: &'static str,
    pub remedy: &'static str,
}

pub const CHECKLIST: [Item; 5] = [
    Item {
        key: "phantom",
        question: "Phantom power off",
        remedy: "switch it off and wait a minute before anything is plugged in",
    },
    Item {
        key: "monitoring",
        question: "Direct monitoring and loopback off",
        remedy: "switch them off, or the pickup is played back into its own exciter",
    },
    Item {
        key: "automatic_gain",
        question: "Automatic gain off, in the card and in the computer",
        remedy: "switch it off, or no level means anything",
    },
    Item {
        key: "enhancement",
        question: "The system's sound enhancement off",
        remedy: "switch equaliser, noise and echo removal off, for input and output",
    },
    Item {
        key: "pads_and_cuts",
        question: "Pads, low-cuts and polarity switches off",
        remedy: "switch them off on both channels",
    },
];

/// What goes into the file.
#[derive(Debug, Clone)]
pub struct Answers {
    pub name: String,
    pub unit: Option<String>,
    pub reference: Reference,
    pub series_ohm: f64,
    pub sense_ohm: Option<f64>,
    pub inductance_h: f64,
    pub source_ohm: Option<f64>,
    /// Standard uncertainties of series and inductance, relative.
    pub known: Option<(f64, f64)>,
    pub input_ohm: Option<f64>,
    pub input_f: Option<f64>,
    pub lead_f: Option<f64>,
    pub mains_hz: Option<f64>,
    pub witness: Option<String>,
    pub knobs: Option<String>,
    pub off: [bool; CHECKLIST.len()],
    /// Ids of output and input, and the rate where it is bound too.
    pub interface: Option<(String, String, Option<u32>)>,
}

/// Keys of the chain, each with its remark; what is not known stands there as a remark itself.
const CHAIN: &str = "
[exciter]
reference | what channel 2 reads
series_ohm | from channel 2's tap to ground
inductance_h | of the exciter, in place
sense_ohm | what channel 2 reads the current across
source_ohm | the output's own, before the tap; for takes of one channel
series_tolerance | standard uncertainty of series_ohm, relative
inductance_tolerance | of the exciter's inductance
# sign = 1                      found with `coilwright rig polarity`

[input]
resistance_ohm | of the pickup's input; `coilwright rig inputs --through` measures it
capacitance_f | of that input; with the lead where that is not stated
lead_capacitance_f | of the test lead; 0 where capacitance_f has it in
# gain, delay and AC corners: `coilwright rig inputs` measures them

[mains]
frequency_hz | both 50 and 60 are looked for, whatever stands here";

impl Answers {
    fn value(&self, key: &str) -> Option<String> {
        let value = match key {
            "reference" if self.reference == Reference::Voltage => return Some("\"voltage\"".into()),
            "reference" => return Some("\"current\"".into()),
            "series_ohm" => Some(self.series_ohm),
            "inductance_h" => Some(self.inductance_h),
            "sense_ohm" => self.sense_ohm,
            "source_ohm" => self.source_ohm,
            "series_tolerance" => self.known.map(|k| k.0),
            "inductance_tolerance" => self.known.map(|k| k.1),
            "resistance_ohm" => self.input_ohm,
            "capacitance_f" => self.input_f,
            "lead_capacitance_f" => self.lead_f,
            "frequency_hz" => self.mains_hz,
            _ => None,
        };
        value.map(toml_number)
    }

    fn chain(&self) -> impl Iterator<Item = String> {
        let of_current = self.sense_ohm.is_some() || self.reference == Reference::Current;
        let lines = CHAIN.lines().filter(move |l| of_current || !l.starts_with("sense_ohm"));
        lines.map(|line| match line.split_once(" | ") {
            None => line.to_owned(),
            Some((key, remark)) => match self.value(key) {
                Some(v) => format!("{:<32}# {remark}", format!("{key} = {v}")),
                None => format!("# {key} =  {remark}"),
            },
        })
    }
}

/// The file's text.
pub fn text(a: &Answers) -> String {
    let quoted = |key: &str, t: &str| format!("{key} = {}", toml::Value::String(t.to_owned()));
    let mut lines = vec![
        "# SI units; docs/bench.md says how to measure each of these, docs/rig.md what is done with them.".into(),
        quoted("name", &a.name),
    ];
    lines.extend(a.unit.as_ref().map(|unit| quoted("unit", unit)));
    lines.extend(a.chain());
    if let Some(w) = &a.witness {
        lines.extend(["\n[witness]".into(), quoted("name", w)]);
    }
    if let Some((output, input, rate)) = &a.interface {
        lines.push("\n[interface]                     # a live take on anything else is refused".into());
        lines.extend([quoted("output", output), quoted("input", input)]);
        lines.extend(rate.map(|rate| format!("rate_hz = {rate}")));
    }
    if a.off.contains(&true) || a.knobs.is_some() {
        lines.push("\n[setup]                         # software cannot see switches and knobs".into());
        let off = CHECKLIST.iter().zip(a.off).filter(|i| i.1);
        lines.extend(off.map(|(item, _)| quoted(item.key, "off")));
        lines.extend(a.knobs.as_ref().map(|knobs| quoted("knobs", knobs)));
    }
    lines.push(
        "\n# [pack] lists in words what belongs to the rig: interface, exciter, stop, box, leads, witness, meters, other\n".into(),
    );
    lines.join("\n")
}

/// Nothing known but what every rig needs.
#[cfg(test)]
pub(super) fn bare(name: &str) -> Answers {
    Answers {
        name: name.into(),
        unit: None,
        reference: Reference::Voltage,
        series_ohm: 100.0,
        sense_ohm: None,
        inductance_h: 1e-4,
        source_ohm: None,
        known: None,
        input_ohm: None,
        input_f: None,
        lead_f: None,
        mains_hz: None,
        witness: None,
        knobs: None,
        off: [false; CHECKLIST.len()],
        interface: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::Rig;

    #[test]
    fn what_is_written_is_read_again() {
        let all = Answers {
            name: "north \"bench\"".into(),
            unit: Some("A".into()),
            reference: Reference::Current,
            series_ohm: 123.8,
            sense_ohm: Some(22.0),
            inductance_h: 217e-6,
            source_ohm: Some(9.9),
            known: Some((0.004, 0.03)),
            input_ohm: Some(1e6),
            input_f: Some(60e-12),
            lead_f: Some(0.0),
            mains_hz: Some(60.0),
            witness: Some("witness one".into()),
            knobs: Some("9 o'clock".into()),
            off: [true, false, true, true, true],
            interface: Some(("one".into(), "two".into(), Some(96_000))),
        };
        let rig = Rig::parse(&text(&all), "x").unwrap();
        assert_eq!((rig.name.as_str(), rig.unit.as_deref()), ("north \"bench\"", Some("A")));
        let e = &rig.exciter;
        assert_eq!((e.series_ohm, e.sense_ohm, e.inductance_h), (123.8, Some(22.0), 217e-6));
        assert_eq!((e.series_tolerance, e.inductance_tolerance), (Some(0.004), Some(0.03)));
        let i = rig.input.unwrap();
        assert_eq!(
            (i.resistance_ohm, i.capacitance_f, i.lead_capacitance_f),
            (Some(1e6), Some(60e-12), Some(0.0))
        );
        let setup = rig.setup.unwrap();
        assert_eq!((setup["phantom"].as_str(), setup.get("monitoring")), ("off", None));
        assert_eq!(rig.interface.unwrap().rate_hz, Some(96_000));
        let rig = Rig::parse(&text(&bare("x")), "x").unwrap();
        assert_eq!(rig.summary().values.len(), 3);
    }
}
