//! The load notation: "vol=250k@0.5 tone=250k+22n cable=5m@100p/m amp=1M//20p" <-> `Load`.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use super::load::{AUDIO_PERCENT, Amp, Bleed, Cable, Load, Taper, Tone, ToneFrom, Track, Volume};
use crate::failure::{Failure, Result};
use crate::quantity::{self, Unit, compact, quoted};

/// Each part with the forms that are understood.
const PARTS: [(&str, &str); 9] = [
    ("vol", "vol=250k, vol=250k@0.5 or vol=250k:audio@0.5"),
    ("tone", "tone=250k+22n, tone=250k+22n@0.5 or tone=250k:audio+22n@0.5"),
    ("tone-from", "tone-from=hot or tone-from=wiper"),
    ("bleed", "bleed=1n, bleed=1n//150k or bleed=1n+130k"),
    ("cable", "cable=5m@100p/m or cable=18ft@30p/ft"),
    ("lead", "lead=30p"),
    ("amp", "amp=1M or amp=1M//20p"),
    ("cap", "cap=470p"),
    ("res", "res=1M"),
];

/// A capacitor above this is a number without its letter: no guitar has a millifarad.
const MAX_FARAD: f64 = 1e-3;
const MAX_OHM: f64 = 1e12;
/// Less is a piece of wire.
const LEAST_OHM: f64 = 1e-3;
const MAX_LENGTH_M: f64 = 1e4;
/// Of an audio track at half rotation. Less is a track of one piece, or a slip.
const LEAST_PERCENT: f64 = 0.1;

impl Load {
    /// Reads the load notation: parts apart by blanks, each at most once, in any order. Empty text, or "none", is no load at
    /// all.
    pub fn parse(text: &str) -> Result<Load> {
        Load::parse_with(text, &[])
    }

    /// As `parse`, with named tracks besides the usual tapers.
    pub fn parse_with(text: &str, tracks: &[Arc<Track>]) -> Result<Load> {
        let mut load = Load::default();
        if text.trim() == "none" {
            return Ok(load);
        }
        let mut seen: Vec<&str> = Vec::new();
        for part in text.split_whitespace() {
            let at = format!("load part {}", quoted(part));
            let known = || PARTS.map(|(k, _)| k).join(", ");
            let Some((key, value)) = part.split_once('=') else {
                return Err(Failure::new(
                    format!("{at} has no \"=\""),
                    format!(
                        "write parts as vol=250k, without blanks inside, or none; there are {}",
                        known()
                    ),
                ));
            };
            let Some(&(key, forms)) = PARTS.iter().find(|(k, _)| *k == key) else {
                return Err(Failure::new(
                    format!("{at}: there is no part {}", quoted(key)),
                    format!("parts are {}", known()),
                ));
            };
            if seen.contains(&key) {
                return Err(Failure::new(
                    format!("{at}: {key} is given twice"),
                    format!("give each part once, as {forms}"),
                ));
            }
            seen.push(key);
            let read = match value {
                "" => Err("its value is missing".to_owned()),
                v => load.set(key, v, tracks),
            };
            read.map_err(|why| Failure::new(format!("{at}: {why}"), format!("write {forms}")))?;
        }
        Ok(load)
    }

    /// One part; the error says only what is wrong with the value.
    fn set(&mut self, key: &str, value: &str, tracks: &[Arc<Track>]) -> Read<()> {
        match key {
            "vol" => {
                let (pot, rotation) = turned(value)?;
                let (ohm, taper) = potentiometer(pot, tracks)?;
                self.vol = Some(Volume { ohm, taper, rotation });
            }
            "tone" => {
                let (branch, rotation) = turned(value)?;
                let (pot, capacitor) = branch.rsplit_once('+').ok_or("the capacitor is missing")?;
                let (ohm, taper) = potentiometer(pot, tracks)?;
                self.tone = Some(Tone {
                    ohm,
                    taper,
                    farad: farads(capacitor)?,
                    rotation,
                });
            }
            "tone-from" => {
                self.tone_from = match value {
                    "hot" => ToneFrom::Hot,
                    "wiper" => ToneFrom::Wiper,
                    other => return Err(format!("{} is no place for it", quoted(other))),
                }
            }
            "bleed" => self.bleed = Some(bleed(value)?),
            "cable" => self.cable = Some(cable(value)?),
            "amp" => {
                let (r, farad) = match parallel(value) {
                    Some((r, c)) => (r, farads(c)?),
                    None => (value, 0.0),
                };
                self.amp = Some(Amp { ohm: ohms(r)?, farad });
            }
            "lead" => self.lead_f = Some(farads(value)?),
            "cap" => self.cap_f = Some(farads(value)?),
            "res" => self.res_ohm = Some(ohms(value)?),
            other => return Err(format!("{} is not known", quoted(other))),
        }
        Ok(())
    }
}

/// Of a value inside a part; the part and its forms are added where they are known.
type Read<T> = std::result::Result<T, String>;

fn number(text: &str, unit: Unit) -> Read<f64> {
    quantity::parse(text, unit).map_err(|f| f.what)
}

fn ohms(text: &str) -> Read<f64> {
    let v = number(text, Unit::Ohm)?;
    if v < LEAST_OHM {
        return Err(format!("{} is a short", quoted(text)));
    }
    if v > MAX_OHM {
        return Err(format!("{} is above any resistor", quoted(text)));
    }
    Ok(v)
}

fn farads(text: &str) -> Read<f64> {
    sane_farads(text, number(text, Unit::Farad)?)
}

fn sane_farads(text: &str, v: f64) -> Read<f64> {
    if v > MAX_FARAD {
        return Err(format!("{} without a letter is in farads", quoted(text)));
    }
    Ok(v)
}

fn bleed(text: &str) -> Read<Bleed> {
    let both = |(c, r)| Ok::<_, String>((farads(c)?, ohms(r)?));
    if let Some(pair) = parallel(text) {
        let (farad, ohm) = both(pair)?;
        return Ok(Bleed::Parallel { farad, ohm });
    }
    if let Some(pair) = text.rsplit_once('+') {
        let (farad, ohm) = both(pair)?;
        return Ok(Bleed::Series { farad, ohm });
    }
    farads(text).map(|farad| Bleed::Capacitor { farad })
}

fn cable(text: &str) -> Read<Cable> {
    let halves = text.split_once(['@', '*']);
    let (length, rate) = halves.ok_or("a length and a capacitance per length are needed")?;
    let length_m = number(length, Unit::Metre)?;
    let farad_per_m = number(rate, Unit::FaradPerMetre)?;
    if length_m > MAX_LENGTH_M {
        return Err(format!("{} is longer than any cable", quoted(length)));
    }
    sane_farads(rate, farad_per_m)?;
    Ok(Cable { length_m, farad_per_m })
}

/// Value and rotation, which is 1 where it is left out.
fn turned(text: &str) -> Read<(&str, f64)> {
    match text.split_once('@') {
        Some((value, rotation)) => Ok((value, number(rotation, Unit::Rotation)?)),
        None => Ok((text, 1.0)),
    }
}

fn parallel(text: &str) -> Option<(&str, &str)> {
    text.split_once("//").or_else(|| text.split_once('|'))
}

fn potentiometer(text: &str, tracks: &[Arc<Track>]) -> Read<(f64, Taper)> {
    let (ohm, taper) = match text.split_once(':') {
        Some((ohm, name)) => match tracks.iter().find(|t| t.name == name) {
            Some(track) => (ohm, Taper::Track(track.clone())),
            None => (ohm, name.parse()?),
        },
        None => (text, Taper::Linear),
    };
    Ok((ohms(ohm)?, taper))
}

impl FromStr for Taper {
    type Err = String;

    fn from_str(text: &str) -> Read<Taper> {
        let unknown = || format!("{} is no taper (linear, audio, audio20)", quoted(text));
        if text == "linear" {
            return Ok(Taper::Linear);
        }
        let percent = text.strip_prefix("audio").ok_or_else(unknown)?;
        if percent.is_empty() {
            return Ok(Taper::AUDIO);
        }
        match quantity::parse(percent, Unit::Relative) {
            Ok(p)
                if (LEAST_PERCENT..=100.0 - LEAST_PERCENT).contains(&p)
                    && !percent.ends_with(|c: char| !c.is_ascii_digit()) =>
            {
                Ok(Taper::Audio { percent: p })
            }
            _ => Err(unknown()),
        }
    }
}

impl FromStr for Load {
    type Err = Failure;

    fn from_str(text: &str) -> Result<Load> {
        Load::parse(text)
    }
}

impl fmt::Display for Taper {
    /// As it follows the resistance: nothing for a linear track.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Taper::Linear => Ok(()),
            Taper::Audio { percent } if *percent == AUDIO_PERCENT => f.write_str(":audio"),
            Taper::Audio { percent } => write!(f, ":audio{percent}"),
            Taper::Track(t) => write!(f, ":{}", t.name),
        }
    }
}

impl fmt::Display for Load {
    /// The normalised form: parts in the order of `PARTS`, values in SI prefixes, rotations written out. Reads back as the
    /// same load.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (ohm, farad) = (|v| compact(v, Unit::Ohm), |v| compact(v, Unit::Farad));
        let turn = |v| compact(v, Unit::Rotation);
        let parts = [
            self.vol
                .as_ref()
                .map(|v| format!("vol={}{}@{}", ohm(v.ohm), v.taper, turn(v.rotation))),
            self.tone
                .as_ref()
                .map(|t| format!("tone={}{}+{}@{}", ohm(t.ohm), t.taper, farad(t.farad), turn(t.rotation))),
            (self.tone_from == ToneFrom::Wiper).then(|| "tone-from=wiper".to_owned()),
            self.bleed.map(|b| match b {
                Bleed::Capacitor { farad: c } => format!("bleed={}", farad(c)),
                Bleed::Parallel { farad: c, ohm: r } => format!("bleed={}//{}", farad(c), ohm(r)),
                Bleed::Series { farad: c, ohm: r } => format!("bleed={}+{}", farad(c), ohm(r)),
            }),
            self.cable.map(|c| {
                format!(
                    "cable={}@{}",
                    compact(c.length_m, Unit::Metre),
                    compact(c.farad_per_m, Unit::FaradPerMetre)
                )
            }),
            self.lead_f.map(|c| format!("lead={}", farad(c))),
            self.amp.map(|a| match a.farad {
                0.0 => format!("amp={}", ohm(a.ohm)),
                c => format!("amp={}//{}", ohm(a.ohm), farad(c)),
            }),
            self.cap_f.map(|c| format!("cap={}", farad(c))),
            self.res_ohm.map(|r| format!("res={}", ohm(r))),
        ];
        let text: Vec<String> = parts.into_iter().flatten().collect();
        f.write_str(&text.join(" "))
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::ops::Range;

    /// Any load of parts as they come, rotations from the range given.
    pub fn any_load(turn: Range<f64>) -> impl Strategy<Value = Load> {
        let ohm = || (1.0f64..10.0, 3i32..7).prop_map(|(m, e)| m * 10f64.powi(e));
        let farad = || (1.0f64..10.0, -12i32..-7).prop_map(|(m, e)| m * 10f64.powi(e));
        let taper = || {
            prop_oneof![
                Just(Taper::Linear),
                Just(Taper::AUDIO),
                (1u32..60).prop_map(|p| Taper::Audio { percent: p.into() })
            ]
        };
        let vol = (ohm(), taper(), turn.clone()).prop_map(|(ohm, taper, rotation)| Volume { ohm, taper, rotation });
        let tone = (ohm(), taper(), farad(), turn).prop_map(|(ohm, taper, farad, rotation)| Tone {
            ohm,
            taper,
            farad,
            rotation,
        });
        let bleed = prop_oneof![
            farad().prop_map(|farad| Bleed::Capacitor { farad }),
            (farad(), ohm()).prop_map(|(farad, ohm)| Bleed::Parallel { farad, ohm }),
            (farad(), ohm()).prop_map(|(farad, ohm)| Bleed::Series { farad, ohm }),
        ];
        let cable = (0.1f64..20.0, 1e-11f64..1e-9).prop_map(|(length_m, farad_per_m)| Cable { length_m, farad_per_m });
        let amp = (ohm(), prop_oneof![Just(0.0), farad()]).prop_map(|(ohm, farad)| Amp { ohm, farad });
        let from = prop_oneof![Just(ToneFrom::Hot), Just(ToneFrom::Wiper)];
        let opt = prop::option::of::<BoxedStrategy<f64>>;
        (
            prop::option::of(vol),
            prop::option::of(tone),
            from,
            prop::option::of(bleed),
            prop::option::of(cable),
            prop::option::of(amp),
            opt(farad().boxed()),
            opt(farad().boxed()),
            opt(ohm().boxed()),
        )
            .prop_map(
                |(vol, tone, tone_from, bleed, cable, amp, lead_f, cap_f, res_ohm)| Load {
                    vol,
                    tone,
                    tone_from,
                    bleed,
                    cable,
                    lead_f,
                    amp,
                    cap_f,
                    res_ohm,
                },
            )
    }

    #[test]
    fn reads_the_whole_notation() {
        let text = "vol=250k@1.0 tone=250k+22n@0.5 cable=5m@100p/m lead=30p amp=1M//20p cap=470p res=1M";
        let want = Load {
            vol: Some(Volume {
                ohm: 250e3,
                taper: Taper::Linear,
                rotation: 1.0,
            }),
            tone: Some(Tone {
                ohm: 250e3,
                taper: Taper::Linear,
                farad: 22e-9,
                rotation: 0.5,
            }),
            tone_from: ToneFrom::Hot,
            bleed: None,
            cable: Some(Cable {
                length_m: 5.0,
                farad_per_m: 100e-12,
            }),
            lead_f: Some(30e-12),
            amp: Some(Amp {
                ohm: 1e6,
                farad: 20e-12,
            }),
            cap_f: Some(470e-12),
            res_ohm: Some(1e6),
        };
        assert_eq!(Load::parse(text), Ok(want.clone()));
        // In any order.
        let backwards: Vec<&str> = text.split(' ').rev().collect();
        assert_eq!(Load::parse(&backwards.join("   ")), Ok(want));
        assert_eq!(Load::parse(" "), Ok(Load::default()));
    }

    #[test]
    fn normalises() {
        for (text, want) in [
            ("", ""),
            ("vol=250K", "vol=250k@1"),
            ("vol=0.25M:linear@70%", "vol=250k@0.7"),
            ("vol=250k:audio10@.5", "vol=250k:audio@0.5"),
            ("vol=250k:audio20@0.5", "vol=250k:audio20@0.5"),
            ("tone=250k:audio+.022u", "tone=250k:audio+22n@1"),
            ("tone-from=hot tone=4k7+2n2@0", "tone=4.7k+2.2n@0"),
            ("tone-from=wiper tone=250k+22nF", "tone=250k+22n@1 tone-from=wiper"),
            ("bleed=1n", "bleed=1n"),
            ("bleed=1n|150k", "bleed=1n//150k"),
            ("bleed=1000p+130k", "bleed=1n+130k"),
            ("cable=5m*100p", "cable=5m@100p/m"),
            ("cable=5@100p/m", "cable=5m@100p/m"),
            ("cable=18ft@30p/ft", "cable=18ft@30p/ft"),
            ("amp=1M|20p", "amp=1M//20p"),
            ("amp=1000k", "amp=1M"),
            ("res=1e6 cap=0 lead=30pF vol=500k", "vol=500k@1 lead=30p cap=0 res=1M"),
        ] {
            assert_eq!(Load::parse(text).map(|l| l.to_string()), Ok(want.to_owned()), "{text}");
        }
    }

    #[test]
    fn errors_name_the_part_and_what_would_be_understood() {
        for (text, wrong, remedy) in [
            (
                "vol=25x@0.5",
                "\"vol=25x@0.5\": \"25x\" is not a resistance",
                "write vol=250k,",
            ),
            ("vol=22n", "is a capacitance, not a resistance", "vol=250k"),
            (
                "vol=250k@1.2",
                "\"vol=250k@1.2\": \"1.2\" is beyond full rotation",
                "vol=250k@0.5",
            ),
            ("vol=250k@-0.1", "negative", "vol=250k@0.5"),
            ("vol=250k@", "a rotation is missing", "vol=250k@0.5"),
            ("vol=250k@0.5@0.5", "is not a rotation", "vol=250k@0.5"),
            (
                "vol=250k:log@0.5",
                "\"log\" is no taper (linear, audio, audio20)",
                "vol=250k:audio@0.5",
            ),
            ("vol=250k:audio0", "is no taper", "vol=250k:audio"),
            ("vol=250k:audio100", "is no taper", "vol=250k:audio"),
            ("vol=0", "is a short", "vol=250k"),
            ("vol=-250k", "is negative", "vol=250k"),
            ("vol=", "its value is missing", "vol=250k"),
            (
                "vol",
                "has no \"=\"",
                "vol, tone, tone-from, bleed, cable, lead, amp, cap, res",
            ),
            (
                "vol=250k vol=500k",
                "\"vol=500k\": vol is given twice",
                "give each part once",
            ),
            ("volume=250k", "there is no part \"volume\"", "parts are vol,"),
            ("tone=250k", "the capacitor is missing", "tone=250k+22n"),
            ("tone=250k+", "a capacitance is missing", "tone=250k+22n"),
            ("tone=+22n", "a resistance is missing", "tone=250k+22n"),
            ("tone=22n+250k", "not a", "tone=250k+22n"),
            ("tone-from=middle", "\"middle\"", "tone-from=hot or tone-from=wiper"),
            ("bleed=150k", "is a resistance, not a capacitance", "bleed=1n//150k"),
            ("bleed=1n//", "a resistance is missing", "bleed=1n//150k"),
            ("cable=500p", "a length and a capacitance per length", "cable=5m@100p/m"),
            ("cable=5k@100p/m", "is a resistance, not a length", "cable=5m@100p/m"),
            ("cable=5m@100p/x", "not a capacitance per length", "cable=18ft@30p/ft"),
            ("cable=5m@100", "is in farads", "cable=5m@100p/m"),
            ("lead=30", "\"30\" without a letter is in farads", "lead=30p"),
            ("cap=470", "is in farads", "cap=470p"),
            ("cap=4,7n", "comma", "cap=470p"),
            ("amp=1m//20p", "m is milli, M is mega", "amp=1M//20p"),
            ("amp=20p", "is a capacitance, not a resistance", "amp=1M//20p"),
            ("res=1M//20p", "is not a resistance", "res=1M"),
            ("res=1M,cap=470p", "comma", "res=1M"),
        ] {
            let Err(e) = Load::parse(text) else {
                panic!("{text} was read");
            };
            let e = e.to_string();
            assert!(
                e.starts_with("load part \"") && e.contains(wrong) && e.contains(remedy),
                "{text}: {e}"
            );
        }
    }

    proptest! {
        // No file of failures beside the sources: a failure prints its input, which becomes a case of its own.
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn reads_back_what_it_writes(load in any_load(0.0..1.0)) {
            let text = load.to_string();
            prop_assert_eq!(Load::parse(&text), Ok(load), "{}", text);
        }

        #[test]
        fn no_text_makes_it_panic(text in "((vol|tone|bleed|cable|amp|cap|tone-from)?[=:@*+/|0-9.,kMnpµm ]{0,12} ?){0,4}") {
            if let Ok(load) = Load::parse(&text) {
                prop_assert_eq!(Load::parse(&load.to_string()), Ok(load));
            }
        }
    }
}
