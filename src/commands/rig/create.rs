//! `rig new`: a rig file from a few questions, or from options.

use crate::capture::bench::DEVICE;
use crate::cli::args::{NewArgs, Said, two_shares};
use crate::commands::outcome;
use crate::commands::prelude::*;
use crate::fileio;
use crate::quantity::{self, Unit};
use crate::report::{rig_words, text};
use crate::rig::{Reference, Rig, possible};
use crate::setup::template::{self, Answers, CHECKLIST};
use crate::shop::witness::checks::RigDocument;

pub fn run(args: &NewArgs, console: &mut Console) -> Result<Status> {
    let hint = "give another name, or edit that file: nothing is overwritten";
    outcome::refuse_taken([&args.file], hint)?;
    let stem = fileio::stem(&args.file);
    let sim = args.source == "sim";
    if let Some(option) = args.devices.first_given().filter(|_| sim) {
        return Err(Failure::new(
            format!("{option} names a sound device, and the built-in bench has none"),
            "leave out one of --source sim and that",
        ));
    }
    let mut answers = given(args, &stem);
    if sim {
        answers.interface = Some((DEVICE.into(), DEVICE.into(), args.rate.map(|r| r as u32)));
    }
    let complete = args.reference.is_some() && args.series.is_some() && args.inductance.is_some();
    if !complete {
        Questions { console }.ask(args, &mut answers)?;
    } else if !sim && (args.devices.first_given().is_some() || args.rate.is_some()) {
        answers.interface = found(args, console)?;
    }
    if let Some((output, input, Some(rate))) = answers.interface.as_ref().filter(|_| !sim) {
        console.remark(&format!(
            "Bound to the output {output} and the input {input} at {rate} Hz."
        ));
    }
    let text = template::text(&answers);
    // What was written is read again at once: a file that cannot be read is no rig.
    let rig = Rig::parse(&text, &stem)?;
    fileio::write_new(&args.file, text.as_bytes())?;
    let document = RigDocument::of(&rig, None, rig_words::words(&rig));
    outcome::say(&document, args.shown, console, |_, style| {
        text::rig_new_text(&rig, &args.file, style)
    })
}

fn given(args: &NewArgs, stem: &str) -> Answers {
    Answers {
        name: args.name.clone().unwrap_or_else(|| stem.to_owned()),
        unit: args.unit.clone(),
        reference: args.reference.unwrap_or(Reference::Voltage),
        // Asked for where it is not given.
        series_ohm: args.series.unwrap_or(f64::NAN),
        sense_ohm: args.sense,
        inductance_h: args.inductance.unwrap_or(f64::NAN),
        source_ohm: args.source_ohm,
        known: args.known,
        input_ohm: args.input_ohm,
        input_f: args.input_farad,
        lead_f: args.lead,
        mains_hz: args.mains,
        witness: args.witness.clone(),
        knobs: args.knobs.clone(),
        off: [args.all_off; CHECKLIST.len()],
        interface: None,
    }
}

/// Ids of output and input, and the rate.
type Interface = (String, String, Option<u32>);

/// A rig is bound to devices with names of their own, or not at all.
#[cfg(feature = "live")]
fn found(args: &NewArgs, console: &mut Console) -> Result<Option<Interface>> {
    use crate::capture::live::{self, Selection};
    let selection = Selection {
        output: args.devices.output.clone(),
        input: args.devices.input.clone(),
        ..Selection::default()
    };
    let rate = match args.rate {
        Some(rate) => rate as u32,
        None => live::default_rate(&selection)?,
    };
    let [output, input] = live::check(&selection, rate)?;
    let Some(default) = [&output, &input].into_iter().find(|id| live::floats(id)) else {
        return Ok(Some((output, input, Some(rate))));
    };
    console.remark(&format!(
        "Bound to no interface: {default} is whatever the system has as default at the time. To bind the rig, name both with --output \
         and --input; `coilwright devices` lists them."
    ));
    Ok(None)
}

#[cfg(not(feature = "live"))]
fn found(_args: &NewArgs, _console: &mut Console) -> Result<Option<Interface>> {
    Ok(None)
}

/// One line of the terminal after the other.
struct Questions<'a, 'b> {
    console: &'a mut Console<'b>,
}

impl Questions<'_, '_> {
    /// Asks for what was not given.
    fn ask(&mut self, args: &NewArgs, a: &mut Answers) -> Result<()> {
        self.console
            .remark("Enter takes what stands in brackets; what is left open may be measured, or written, later. docs/bench.md says how to measure each of these.");
        if args.name.is_none() {
            a.name = self.line("Name of the rig", Some(&a.name))?.unwrap_or_default();
        }
        let words = "Label on the interface, to tell two of one model apart";
        put(&mut a.unit, || self.line(words, None))?;
        if args.reference.is_none() {
            let words = "Does channel 2 read the voltage before the exciter, or the current through it";
            a.reference = self.until(words, None, |t| match t {
                "voltage" | "v" => Ok(Reference::Voltage),
                "current" | "c" => Ok(Reference::Current),
                _ => Err("voltage or current".into()),
            })?;
        }
        self.exciter(args, a)?;
        let words = "Resistance of the pickup's input, such as 1M";
        put(&mut a.input_ohm, || self.value(words, Unit::Ohm, "resistance_ohm"))?;
        let words = "Capacitance of that input, such as 60p";
        put(&mut a.input_f, || self.value(words, Unit::Farad, "capacitance_f"))?;
        let words = "Capacitance of the test lead alone, such as 50p";
        put(&mut a.lead_f, || self.value(words, Unit::Farad, "lead_capacitance_f"))?;
        put(&mut a.mains_hz, || {
            self.open("Mains frequency, 50 or 60", |t| {
                let hz = number(t, Unit::Hertz, "mains", "frequency_hz")?;
                let near = [50.0, 60.0].into_iter().any(|m| (hz - m).abs() <= 2.0);
                if near { Ok(hz) } else { Err("50 or 60".into()) }
            })
        })?;
        let words = "The pickup or dummy kept for checking the rig";
        put(&mut a.witness, || self.line(words, None))?;
        put(&mut a.interface, || self.interface(args))?;
        if !args.all_off {
            self.checklist(a)?;
        }
        put(&mut a.knobs, || {
            self.line("Where the knobs stand (tape over them)", None)
        })
    }

    fn exciter(&mut self, args: &NewArgs, a: &mut Answers) -> Result<()> {
        if args.series.is_none() {
            let words = "Ohms from the tap to ground, exciter counted in, such as 123.8";
            a.series_ohm = self.until(words, None, |t| {
                match (needed(t, Unit::Ohm, "series_ohm")?, args.sense) {
                    (v, Some(sense)) if sense > v => {
                        Err(format!("less than the {sense} ohms of --sense, which are a part of it"))
                    }
                    (v, _) => Ok(v),
                }
            })?;
        }
        if args.sense.is_none() && a.reference == Reference::Current {
            let words = "Ohms that channel 2 reads the current across, such as 22";
            let series = a.series_ohm;
            a.sense_ohm = Some(self.until(words, None, |t| match t {
                "" => Err("needed; a current is read across it".into()),
                t => match number(t, Unit::Ohm, "exciter", "sense_ohm")? {
                    v if v <= series => Ok(v),
                    _ => Err(format!(
                        "{t} is more than the {series} ohms from the tap to ground, of which it is a part"
                    )),
                },
            })?);
        }
        if args.inductance.is_none() {
            let words = "Inductance of the exciter, such as 217u";
            a.inductance_h = self.until(words, None, |t| needed(t, Unit::Henry, "inductance_h"))?;
        }
        let words = "How well ohms and inductance are known, standard uncertainties such as 0.4%,3%";
        put(&mut a.known, || {
            self.open(words, |t| {
                two_shares(t).ok_or("two shares in per cent, such as 0.4%,3%".into())
            })
        })
    }

    fn interface(&mut self, args: &NewArgs) -> Result<Option<Interface>> {
        // No interface is plugged in yet: then the rig is bound when its inputs are measured.
        let Ok(Some((output, input, Some(rate)))) = found(args, self.console) else {
            return Ok(None);
        };
        let words = format!(
            "Found: plays on {output}, records {input}, {rate} Hz. Bind the rig to it, so that others are refused"
        );
        Ok(self.yes(&words, "y")?.then_some((output, input, Some(rate))))
    }

    fn checklist(&mut self, a: &mut Answers) -> Result<()> {
        for (i, item) in CHECKLIST.iter().enumerate() {
            // Enter is nobody's word that a switch was looked at.
            a.off[i] = self.yes(item.question, "n")?;
            if !a.off[i] {
                self.console.remark(&format!("  {}", item.remedy));
            }
        }
        Ok(())
    }

    fn next(&mut self, words: &str, proposal: Option<&str>) -> Result<String> {
        let brackets = proposal.map_or(String::new(), |p| format!(" [{p}]"));
        self.console.ask(&format!("{words}{brackets}?")).ok_or_else(|| {
            Failure::new(
                "the questions were not answered to the end; nothing was written",
                "answer them, or give --reference, --series and --inductance",
            )
        })
    }

    fn line(&mut self, words: &str, proposal: Option<&str>) -> Result<Option<String>> {
        let said = self.until(words, Some(proposal.unwrap_or("none")), |t| {
            match t.chars().any(char::is_control) {
                // An arrow key, as a rule.
                true => Err("that has a control character in it; type it once more".into()),
                false => Ok(t.to_owned()),
            }
        })?;
        Ok(Some(said).filter(|s| proposal.is_some() || s != "none"))
    }

    /// Asks again until what is said is understood.
    fn until<T>(&mut self, words: &str, proposal: Option<&str>, read: impl Fn(&str) -> Said<T>) -> Result<T> {
        loop {
            let said = self.next(words, proposal)?;
            let said = match proposal {
                Some(p) if said.is_empty() => p,
                _ => &said,
            };
            match read(said) {
                Ok(v) => return Ok(v),
                Err(why) => self.console.remark(&format!("  {why}")),
            }
        }
    }

    /// Enter leaves it open.
    fn open<T>(&mut self, words: &str, read: impl Fn(&str) -> Said<T>) -> Result<Option<T>> {
        self.until(words, Some("open"), |t| match t {
            "open" => Ok(None),
            t => read(t).map(Some),
        })
    }

    fn value(&mut self, words: &str, unit: Unit, key: &str) -> Result<Option<f64>> {
        self.open(words, |t| number(t, unit, "input", key))
    }

    fn yes(&mut self, words: &str, proposal: &str) -> Result<bool> {
        self.until(words, Some(proposal), |t| match t.to_lowercase().as_str() {
            "y" | "yes" => Ok(true),
            "n" | "no" => Ok(false),
            _ => Err("y or n".into()),
        })
    }
}

/// What is there already was given.
fn put<T>(place: &mut Option<T>, answer: impl FnOnce() -> Result<Option<T>>) -> Result<()> {
    if place.is_none() {
        *place = answer()?;
    }
    Ok(())
}

/// What every rig needs of its exciter: Enter is no answer.
fn needed(text: &str, unit: Unit, key: &str) -> Said<f64> {
    match text {
        "" => Err("needed; no rig is without it".into()),
        text => number(text, unit, "exciter", key),
    }
}

/// A number as it may stand in the rig file.
fn number(text: &str, unit: Unit, table: &str, key: &str) -> Said<f64> {
    let v = quantity::parse(text, unit).map_err(|e| e.to_string())?;
    let wrong = |allowed| format!("{text} is not {allowed}; which unit was meant?");
    possible(table, key, v).map(|()| v).map_err(wrong)
}
