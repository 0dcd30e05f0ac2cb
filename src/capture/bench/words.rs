//! The bench in words on the command line: "r=6k l=2.4H cs=120p hum=-50dB noise=-95dBFS knock=1.2s ppm=120".

use std::path::Path;

use super::spec::{Exciter, Mains, NO_HUM_DBFS, Over, Spec, Wire};
use super::tap::Mode;
use crate::failure::{Failure, Result};
use crate::fileio;
use crate::network::{Coil, Eddy};
use crate::quantity::{self, Unit, quoted};

/// No description of a bench is larger.
const MOST_BYTES: u64 = 64 * 1024;

const KNOWN: &str = "r l cs loss eddy, coils r2 l2 cs2 loss2 eddy2 over, m polarity feed, noise noise-reference flicker bits \
                     ac-pickup ac-reference ac-output delay gain input latency ppm h3 clip clip-reference, hum mains, \
                     knock knock-level drop drop-samples open unplugged silent swapped, wire, \
                     tap tap-scatter tap-pace tap-bounce";
const OVER: [(&str, Over); 3] = [("first", Over::First), ("second", Over::Second), ("both", Over::Both)];
const EXAMPLE: &str = "r=6k l=2.4H cs=120p hum=-50dB";

impl Spec {
    /// From an option: words such as "r=6k l=2.4H cs=120p", or the path of a TOML file.
    pub fn from_arg(text: &str) -> Result<Spec> {
        let path = Path::new(text.trim());
        let looks_like_file = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml"));
        if looks_like_file || path.is_file() {
            let text = fileio::read_text_limited(path, MOST_BYTES)?;
            return Spec::parse_toml(&text, &path.display().to_string());
        }
        Spec::parse_words(text)
    }

    /// From words such as "r=6k l=2.4H cs=120p hum=-50dB open": all optional, in any order, each once.
    ///
    /// Where r, l or cs is given, the coil has only those losses that are given too.
    pub fn parse_words(text: &str) -> Result<Spec> {
        let spec = parse(text)?;
        spec.check()?;
        Ok(spec)
    }

    /// From the content of a TOML file; `place` names it in messages.
    pub fn parse_toml(text: &str, place: &str) -> Result<Spec> {
        let place = format!("bench {place}");
        let hint = "correct the file; SI units, as in [coil] r_ohm = 6000.0";
        let spec: Spec = toml::from_str(text).map_err(|e| Failure::toml(&place, text, "", &e, hint))?;
        spec.check().map_err(|f| f.at(place))?;
        Ok(spec)
    }
}

fn parse(text: &str) -> Result<Spec> {
    let mut given: Vec<(&str, Option<&str>)> = Vec::new();
    for word in text.split_whitespace() {
        let (name, value) = match word.split_once('=') {
            Some((n, v)) => (n, Some(v)),
            None => (word, None),
        };
        if given.iter().any(|g| g.0 == name) {
            return Err(Failure::new(
                format!("bench: {} is given twice", quoted(name)),
                "give each word once",
            ));
        }
        given.push((name, value));
    }
    let mut spec = Spec::default();
    if given.iter().any(|g| ["r", "l", "cs"].contains(&g.0)) {
        // A stated coil is that coil and no more.
        spec.coil.loss_ohm = None;
    }
    // The second coil starts as a copy of the first, which must be complete by then.
    let (second, first): (Vec<_>, Vec<_>) = given.into_iter().partition(|g| g.0 == "coils" || g.0.ends_with('2'));
    for (name, value) in first.into_iter().chain(second) {
        match value {
            Some(v) => set(&mut spec, name, v)?,
            None => raise(&mut spec, name)?,
        }
    }
    Ok(spec)
}

/// A word without a value.
fn raise(spec: &mut Spec, name: &str) -> Result<()> {
    if name == "wire" {
        spec.wire = Some(Wire::default());
        return Ok(());
    }
    let f = &mut spec.faults;
    let flag = match name {
        "open" => &mut f.open_winding,
        "unplugged" => &mut f.reference_unplugged,
        "silent" => &mut f.silent,
        "swapped" => &mut f.swapped,
        _ => {
            return Err(Failure::new(
                format!(
                    "bench: {} is neither a word with a value nor a known fault nor a file",
                    quoted(name)
                ),
                format!("write {EXAMPLE}; faults are open, unplugged, silent, swapped"),
            ));
        }
    };
    *flag = true;
    Ok(())
}

/// Where a number, or a list of them, goes.
enum Slot<'a> {
    Value(&'a mut f64),
    Maybe(&'a mut Option<f64>),
    Each(&'a mut Vec<f64>),
}

/// The words that are plain numbers.
fn slot<'a>(spec: &'a mut Spec, name: &str) -> Option<(Slot<'a>, Unit)> {
    use Slot::*;
    use Unit::*;
    Some(match name {
        "r" | "r2" => (Value(&mut coil(spec, name).r_ohm), Ohm),
        "l" | "l2" => (Value(&mut coil(spec, name).l_h), Henry),
        "cs" | "cs2" => (Value(&mut coil(spec, name).c_f), Farad),
        "m" => (Value(&mut spec.exciter.mutual_h), Henry),
        "feed" => (Maybe(&mut spec.exciter.feed_f), Farad),
        "noise" => (Value(&mut spec.card.noise_dbfs), Dbfs),
        "noise-reference" => (Maybe(&mut spec.card.noise_reference_dbfs), Dbfs),
        "flicker" => (Value(&mut spec.card.flicker_hz), Hertz),
        "ac-pickup" => (Maybe(&mut spec.card.ac_pickup_hz), Hertz),
        "ac-reference" => (Maybe(&mut spec.card.ac_reference_hz), Hertz),
        "ac-output" => (Maybe(&mut spec.card.ac_output_hz), Hertz),
        "delay" => (Maybe(&mut spec.card.delay_s), Second),
        "gain" => (Maybe(&mut spec.card.gain_db), Decibel),
        "latency" => (Value(&mut spec.card.latency_s), Second),
        "h3" => (Maybe(&mut spec.card.third_harmonic_db), Decibel),
        "clip" => (Maybe(&mut spec.card.clip_dbfs), Dbfs),
        "clip-reference" => (Maybe(&mut spec.card.clip_reference_dbfs), Dbfs),
        "mains" => (Maybe(&mut spec.mains.frequency_hz), Hertz),
        "knock" => (Each(&mut spec.faults.knock_s), Second),
        "knock-level" => (Value(&mut spec.faults.knock_dbfs), Dbfs),
        "drop" => (Each(&mut spec.faults.drop_s), Second),
        "tap-scatter" => (Value(&mut spec.tap.scatter_db), Decibel),
        "tap-pace" => (Value(&mut spec.tap.pace_s), Second),
        "tap-bounce" => (Maybe(&mut spec.tap.bounce_s), Second),
        _ => return None,
    })
}

fn set(spec: &mut Spec, name: &str, value: &str) -> Result<()> {
    let place = format!("bench: {name}");
    if let Some((slot, unit)) = slot(spec, name) {
        let number = |text| quantity::parse_at(&place, text, unit);
        match slot {
            Slot::Value(v) => *v = number(value)?,
            Slot::Maybe(v) => *v = Some(number(value)?),
            Slot::Each(v) => *v = value.split(',').map(number).collect::<Result<_>>()?,
        }
        return Ok(());
    }
    let wrong = |hint: &str| Failure::new(format!("{place}={value} is not understood"), hint);
    match (name, value) {
        ("loss" | "loss2", "none") => coil(spec, name).loss_ohm = None,
        ("loss" | "loss2", v) => coil(spec, name).loss_ohm = Some(quantity::parse_at(&place, v, Unit::Ohm)?),
        ("eddy" | "eddy2", "none") => coil(spec, name).eddy = None,
        ("eddy" | "eddy2", v) => coil(spec, name).eddy = Some(Eddy::parse(&place, v)?),
        ("coils", "1") if spec.second_coil.is_none() => {}
        ("coils", "2") => spec.second_coil = Some(*second(spec)),
        ("coils", _) => return Err(wrong("write coils=2, or leave it out")),
        ("over", v) => {
            let over = OVER.iter().find(|o| o.0 == v);
            spec.exciter.over = over
                .ok_or_else(|| wrong("write over=first, over=second or over=both"))?
                .1;
        }
        ("polarity", "1" | "+1") => spec.exciter.polarity = 1,
        ("polarity", "-1") => spec.exciter.polarity = -1,
        ("polarity", _) => return Err(wrong("write polarity=1 or polarity=-1")),
        ("bits", v) => spec.card.bits = v.parse().map_err(|_| wrong("write bits=16 or bits=24"))?,
        ("input", v) => {
            let halves = v.split_once("//");
            let (ohm, farad) = halves.ok_or_else(|| wrong("write input=1M//150p, the lead counted in"))?;
            spec.card.input_ohm = Some(quantity::parse_at(&place, ohm, Unit::Ohm)?);
            spec.card.input_f = Some(quantity::parse_at(&place, farad, Unit::Farad)?);
        }
        ("wire", v) => spec.wire = Some(wire(&place, v)?),
        ("ppm", v) => {
            let bare = v.strip_suffix("ppm").unwrap_or(v).parse();
            spec.card.clock_ppm = bare.map_err(|_| wrong("write parts per million as ppm=120 or ppm=-35.5"))?;
        }
        ("hum", v) => spec.mains = hum(&place, v, &spec.mains)?,
        ("drop-samples", v) => {
            let count = v.parse();
            spec.faults.drop_samples = count.map_err(|_| wrong("write a whole number, as drop-samples=64"))?;
        }
        ("tap", v) => spec.tap.modes = modes(&place, v)?,
        ("open" | "unplugged" | "silent" | "swapped", _) => {
            return Err(wrong("this word stands alone, without a value"));
        }
        _ => {
            return Err(Failure::new(
                format!("bench: {} is not known", quoted(name)),
                format!("known are {KNOWN}"),
            ));
        }
    }
    Ok(())
}

/// "1M" or "100p": a resistor, or a capacitor where its unit or size says so.
fn wire(place: &str, value: &str) -> Result<Wire> {
    let (mut wire, text) = (Wire::default(), value.trim());
    if quantity::names_farads(text) {
        wire.capacitor_f = Some(quantity::parse_at(place, text, Unit::Farad)?);
    } else {
        wire.resistor_ohm = Some(quantity::parse_at(place, text, Unit::Ohm)?);
    }
    Ok(wire)
}

/// "430/14m/-50,1250/6m/-54": frequency, decay and level of each mode; or "none".
fn modes(place: &str, value: &str) -> Result<Vec<Mode>> {
    if value == "none" {
        return Ok(Vec::new());
    }
    let one = |text: &str| {
        let parts: Vec<&str> = text.split('/').collect();
        let [hz, decay, level] = parts[..] else {
            return Err(Failure::new(
                format!("{place}={value} is not understood"),
                "write frequency/decay/level of each mode, as tap=430/14m/-50,1250/6m/-54",
            ));
        };
        Ok(Mode {
            hz: quantity::parse_at(place, hz, Unit::Hertz)?,
            decay_s: quantity::parse_at(place, decay, Unit::Second)?,
            dbfs: quantity::parse_at(place, level, Unit::Dbfs)?,
        })
    };
    value.split(',').map(one).collect()
}

/// Which coil a word is of.
fn coil<'a>(spec: &'a mut Spec, name: &str) -> &'a mut Coil {
    if name.ends_with('2') {
        second(spec)
    } else {
        &mut spec.coil
    }
}

fn second(spec: &mut Spec) -> &mut Coil {
    spec.second_coil.get_or_insert(spec.coil)
}

/// In dB against the pickup's answer, in dBFS where that is written.
fn hum(place: &str, value: &str, before: &Mains) -> Result<Mains> {
    let absolute = value.to_ascii_lowercase().ends_with("dbfs");
    let (hum_db, hum_dbfs) = match value {
        "none" => (None, Some(NO_HUM_DBFS)),
        v if absolute => (None, Some(quantity::parse_at(place, v, Unit::Dbfs)?)),
        v => (Some(quantity::parse_at(place, v, Unit::Decibel)?), None),
    };
    Ok(Mains {
        hum_db,
        hum_dbfs,
        ..before.clone()
    })
}

/// The words for the pickup alone, for a record's notes.
pub(super) fn pickup(spec: &Spec) -> String {
    let mut out = Vec::new();
    let mut coil = |c: &Coil, mark: &str| {
        let values = [
            ("r", Some(c.r_ohm), Unit::Ohm),
            ("l", Some(c.l_h), Unit::Henry),
            ("cs", Some(c.c_f), Unit::Farad),
            ("loss", c.loss_ohm, Unit::Ohm),
        ];
        let word =
            |(name, v, unit): (&str, Option<f64>, _)| Some(format!("{name}{mark}={}", quantity::compact(v?, unit)));
        out.extend(values.into_iter().filter_map(word));
        if let Some(e) = c.eddy {
            let tau = quantity::compact(e.tau_s, Unit::Second);
            let shape: String = e.shape().iter().map(|(name, v)| format!(",{name}={v}")).collect();
            out.push(format!("eddy{mark}=k={},tau={tau},emf={}{shape}", e.k, e.emf));
        }
    };
    coil(&spec.coil, "");
    match &spec.second_coil {
        Some(c) if *c == spec.coil => out.push("coils=2".into()),
        Some(c) => {
            coil(c, "2");
            // Unstated, the first coil's would be copied.
            if c.loss_ohm.is_none() && spec.coil.loss_ohm.is_some() {
                out.push("loss2=none".into());
            }
            if c.eddy.is_none() && spec.coil.eddy.is_some() {
                out.push("eddy2=none".into());
            }
        }
        None => {}
    }
    let Exciter { over, polarity, .. } = spec.exciter;
    if spec.second_coil.is_some() {
        let over = OVER.iter().find(|o| o.1 == over);
        out.extend(over.map(|o| format!("over={}", o.0)));
    }
    if polarity < 0 {
        out.push("polarity=-1".into());
    }
    out.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_say_what_stands_on_the_bench() {
        let s = Spec::parse_words(
            "r=6k l=2.4H cs=120p hum=-50dB noise=-95dBFS knock=1.2s,2s ppm=-120 polarity=-1 bits=16 delay=-5us mains=60Hz \
             eddy=k=40%,tau=33u open clip=-3dBFS",
        )
        .unwrap();
        let eddy = Eddy {
            k: 0.4,
            tau_s: 33e-6,
            emf: 0.0,
            a: 0.0,
            b: 1.0,
        };
        assert_eq!(
            s.coil,
            Coil {
                eddy: Some(eddy),
                ..Coil::new(6e3, 2.4, 120e-12)
            }
        );
        assert_eq!(
            (s.mains.hum_db, s.mains.hum_dbfs, s.mains.frequency_hz),
            (Some(-50.0), None, Some(60.0))
        );
        assert_eq!((s.card.noise_dbfs, s.card.clock_ppm, s.card.bits), (-95.0, -120.0, 16));
        assert_eq!((s.card.delay_s, s.card.clip_dbfs), (Some(-5e-6), Some(-3.0)));
        assert_eq!(s.faults.knock_s, [1.2, 2.0]);
        assert!(s.faults.open_winding && s.exciter.polarity == -1);
        assert_eq!(Spec::parse_words("").unwrap(), Spec::default());
        assert!(Spec::parse_words("hum=none").unwrap().coil.loss_ohm.is_some());
        // Whatever the order, the second coil is the first but for what is said of it.
        let s = Spec::parse_words("cs2=90p over=both l=2H loss=1M").unwrap();
        let second = s.second_coil.unwrap();
        assert_eq!(
            (second.l_h, second.c_f, second.loss_ohm, s.exciter.over),
            (2.0, 90e-12, Some(1e6), Over::Both)
        );
    }

    #[test]
    fn the_pickup_in_words_is_read_back() {
        for text in [
            "r=6k",
            "r=3900 l=2.2H cs=80p loss=600k eddy=k=0.3,tau=20us,emf=0.1 coils=2 over=second polarity=-1",
            "r=4k l=2H cs=80p loss=1M eddy=k=0.3,tau=20us,emf=0.1,a=6,b=0.6 r2=4.1k loss2=none eddy2=none",
        ] {
            let s = Spec::parse_words(text).unwrap();
            let again = Spec::parse_words(&pickup(&s)).unwrap();
            assert_eq!(s, again, "{}", pickup(&s));
        }
    }

    #[test]
    fn what_is_not_understood_is_named_with_what_would_be() {
        for (text, word, hint) in [
            ("r=6x", "r", "250k"),
            ("l=2.4k7", "l", "henries"),
            ("volume=3", "volume", "known are r l cs"),
            ("opened", "opened", "open, unplugged, silent, swapped"),
            ("open=1", "open", "alone"),
            ("r=6k r=7k", "r", "once"),
            ("eddy=0.4", "eddy", "k=0.4,tau=33u"),
            ("eddy=k=0.4", "tau", "k=0.4,tau=33u"),
            ("eddy=k=1,tau=3u", "eddy.k", "below 1"),
            ("eddy=k=0.4,tau=3u,a=-1", "eddy.a", "from 0 to 1000"),
            ("over=third", "over", "over=both"),
            ("coils=3", "coils", "coils=2"),
            ("polarity=0", "polarity", "polarity=-1"),
            ("bits=8", "8 bits", "16 or 24"),
            ("ppm=fast", "ppm", "ppm=120"),
            ("ppm=nan", "clock difference", "5000 ppm"),
            ("noise=3dBFS", "noise", "0 dBFS"),
            ("hum=12k", "hum", "decibels"),
            ("knock=1.2s,", "knock", "seconds"),
            ("knock=-1s", "knock", "0 to 300 s"),
            ("drop-samples=1.5", "drop-samples", "whole number"),
            ("drop-samples=0", "lost samples", "1 to"),
            ("l2=0", "second coil: l_h", "above 0"),
            ("latency=1h", "latency", "seconds"),
            ("", "", ""),
        ] {
            let Err(e) = Spec::parse_words(text) else {
                assert!(text.is_empty(), "{text} was taken");
                continue;
            };
            let e = e.to_string();
            assert!(e.contains(word) && e.contains(hint) && !e.contains('\n'), "{text}: {e}");
        }
    }

    #[test]
    fn a_file_says_the_same() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("b.toml");
        let text =
            "[coil]\nr_ohm = 6000.0\nl_h = 2.4\nc_f = 120e-12\n[faults]\nknock_s = [1.2]\n[mains]\nhum_db = -50\n";
        std::fs::write(&path, text).unwrap();
        let arg = path.display().to_string();
        assert_eq!(
            Spec::from_arg(&arg).unwrap(),
            Spec::from_arg("r=6k l=2.4H cs=120p knock=1.2s hum=-50dB").unwrap()
        );
        for (text, word) in [
            ("[coil]\nr_ohm = 6000.0\n", "l_h"),
            ("[card]\nbit = 16\n", "bits"),
            ("[card]\nbits = 8\n", "16 or 24"),
            ("[exciter]\nover = \"none\"\n", "both"),
            ("[mains]\nhum_db = -50\nhum_dbfs = -80\n", "hum is given twice"),
            ("coil = \n", "line 1"),
        ] {
            std::fs::write(&path, text).unwrap();
            let e = Spec::from_arg(&arg).unwrap_err().to_string();
            assert!(e.contains(word) && e.contains("b.toml") && !e.contains('\n'), "{e}");
        }
        assert!(
            Spec::from_arg("none.toml")
                .unwrap_err()
                .to_string()
                .contains("check the path")
        );
        let all = toml::to_string(&Spec::default()).unwrap();
        assert_eq!(toml::from_str::<Spec>(&all).unwrap(), Spec::default());
    }
}
