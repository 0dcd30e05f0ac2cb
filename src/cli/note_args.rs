//! What `note` is given.

use std::path::PathBuf;

use clap::Args;

use super::shared::Shown;
use super::value::{Said, celsius, line, stage};
use crate::book::entry::Words;
use crate::quantity::{self, Unit};
use crate::record::about::{About, Pole, Position, Winding};
use crate::record::stage::Stage;

#[derive(Debug, Args)]
#[command(
    after_help = "Each note is a new file beside the record; nothing that is there is changed. A figure is of one meter: two meters of one kind are never put into one average. Magnets strong enough to be measured are strong enough to hurt implants, cards and watches (docs/safety.md).

Examples:
  coilwright note takes/neck-7/0001 --ohms \"6.05k by meter A\" --room 21C
  coilwright note takes/neck-7/0001 --lcr \"2.43H at 120Hz by bridge B\"
  coilwright note takes/neck-7/0001 --gauss \"412 430 428 431 425 405 by probe C\"
  coilwright note takes/neck-7/0001 takes/neck-8/0001 --text \"same reel of wire\"
  coilwright note takes/neck-7/0001                         shows what has been noted
  coilwright note takes/neck-7/0001 --withdraw 2            note 2 holds no more; its file stays
  coilwright note neck-7 --about \"position=neck spacing=52mm winding=clockwise magnet=north\"
  coilwright note --design warm-neck --recipe \"turns=8000 wire=0.063mm magnets=rods\"
  coilwright note neck-7 neck-8 --design warm-neck --recipe turns=8050
  coilwright note neck-7#0003 --stage \"after wax\"
"
)]
pub struct NoteArgs {
    /// Records: files, their folders, or the pickups' names
    #[arg(value_name = "RECORD", required_unless_present = "design", num_args = 1..)]
    pub records: Vec<PathBuf>,
    /// Anything in words
    #[arg(long, value_name = "TEXT")]
    pub text: Option<String>,
    /// An ohmmeter's reading, such as "6.05k by meter A"
    #[arg(long, value_name = "READING")]
    pub ohms: Vec<String>,
    /// An LCR meter's inductance with its test frequency, such as "2.43H at 120Hz by bridge B"
    #[arg(long, value_name = "READING")]
    pub lcr: Vec<String>,
    /// A gauss meter's figure at each pole, in the order of the row; the sign is the polarity
    #[arg(long, value_name = "READING", allow_hyphen_values = true)]
    pub gauss: Vec<String>,
    /// How far it was at this reading, where `measure` was not told
    #[arg(long, value_name = "STAGE", value_parser = stage)]
    pub stage: Option<Stage>,
    /// What the pickup is, such as "position=neck spacing=52mm winding=clockwise magnet=north"
    #[arg(long, value_name = "LIST", value_parser = about)]
    pub about: Option<About>,
    /// Whose hands made it
    #[arg(long, value_name = "NAME", value_parser = line)]
    pub by: Option<String>,
    /// What went into it, such as "turns=8000 wire=0.063mm magnets=rods"
    #[arg(long, value_name = "WORDS", value_parser = recipe)]
    pub recipe: Option<Words>,
    /// The design it follows; alone with --recipe: a new version of the design. NAME@2 is its second version
    #[arg(long, value_name = "NAME", value_parser = design)]
    pub design: Option<Design>,
    /// Take back an earlier note, by its number
    #[arg(long, value_name = "NUMBER")]
    pub withdraw: Option<u32>,
    /// The room's temperature when it was read, such as 21C
    #[arg(long, value_name = "TEMP", value_parser = celsius, allow_hyphen_values = true)]
    pub room: Option<f64>,
    /// The recipe too, in --json: else it stays on this screen
    #[arg(long, requires = "json")]
    pub with_recipe: bool,
    #[command(flatten)]
    pub shown: Shown,
}

/// A design, and which version where one is meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Design {
    pub name: String,
    pub version: Option<u32>,
}

const POSITIONS: [(&str, Position); 3] = [
    ("neck", Position::Neck),
    ("middle", Position::Middle),
    ("bridge", Position::Bridge),
];
const WINDINGS: [(&str, Winding); 2] = [
    ("clockwise", Winding::Clockwise),
    ("anticlockwise", Winding::Anticlockwise),
];
const POLES: [(&str, Pole); 2] = [("north", Pole::North), ("south", Pole::South)];
/// From the first string to the last (common practice: 48 to 54 mm with six; basses and more strings lie within).
const SPACING_M: std::ops::RangeInclusive<f64> = 0.02..=0.15;

fn one<T: Copy>(list: &[(&str, T)], key: &str, value: &str) -> Said<T> {
    let found = list.iter().find(|o| o.0 == value.to_lowercase()).map(|o| o.1);
    let known: Vec<&str> = list.iter().map(|o| o.0).collect();
    found.ok_or(format!("{key} is one of {}", known.join(", ")))
}

fn about(s: &str) -> Said<About> {
    let mut about = About::default();
    for (key, value) in pairs(s)? {
        match key.as_str() {
            "position" => about.position = Some(one(&POSITIONS, "position", &value)?),
            "winding" => about.winding = Some(one(&WINDINGS, "winding", &value)?),
            "magnet" => about.magnet = Some(one(&POLES, "magnet", &value)?),
            "spacing" => {
                let spacing = quantity::parse(&value, Unit::Metre).map_err(|e| e.to_string())?;
                let possible = SPACING_M.contains(&spacing);
                about.spacing_m = Some(
                    possible
                        .then_some(spacing)
                        .ok_or("spacing is from the first string to the last, such as 52mm")?,
                );
            }
            _ => return Err(format!("{key} is none of position, spacing, winding, magnet")),
        }
    }
    Ok(about)
}

fn recipe(s: &str) -> Said<Words> {
    Ok(pairs(s)?.into_iter().collect())
}

/// "turns=8000 magnets=five rods": a word without = goes on with the value before it.
fn pairs(s: &str) -> Said<Vec<(String, String)>> {
    let mut out: Vec<(String, String)> = Vec::new();
    for word in s.split_whitespace() {
        match (word.split_once('='), out.last_mut()) {
            (Some((key, value)), _) => {
                let key = key.to_lowercase();
                if key.is_empty() || out.iter().any(|o| o.0 == key) {
                    return Err(format!("{word}: each word once, as turns=8000"));
                }
                out.push((key, value.to_owned()));
            }
            (None, Some((_, value))) => {
                value.push(' ');
                value.push_str(word);
            }
            (None, None) => return Err(format!("{word}: write words with =, as turns=8000")),
        }
    }
    match out.iter().find(|(_, value)| value.trim().is_empty()) {
        Some((key, _)) => Err(format!("{key}= has nothing behind it")),
        None if out.is_empty() => Err("write words with =, as turns=8000".into()),
        None => Ok(out),
    }
}

fn design(s: &str) -> Said<Design> {
    let (name, version) = match s.trim().rsplit_once('@') {
        None => (s.trim(), None),
        Some((name, version)) => {
            let version = version.parse::<u32>().ok().filter(|v| *v > 0);
            (
                name,
                Some(version.ok_or("behind the @ stands a version's number, as warm-neck@2")?),
            )
        }
    };
    let sound = !name.is_empty() && name.chars().count() <= 60 && !name.contains(char::is_control);
    match sound {
        true => Ok(Design {
            name: name.to_owned(),
            version,
        }),
        false => Err("a design's name is a word or a few".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_a_recipe() {
        let words = recipe("Turns=8000 magnets=five rods wire=0.063mm").unwrap();
        let list: Vec<(&str, &str)> = words.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect();
        assert_eq!(list, [("magnets", "five rods"), ("turns", "8000"), ("wire", "0.063mm")]);
        for bad in ["", "turns", "turns=", "turns=1 turns=2", "=8", "turns= wire=1"] {
            assert!(recipe(bad).is_err(), "{bad:?}");
        }
    }

    #[test]
    fn what_a_pickup_is() {
        let told = about("position=Bridge spacing=52mm winding=anticlockwise magnet=south").unwrap();
        assert_eq!(told.position, Some(Position::Bridge));
        assert_eq!(
            (told.winding, told.magnet),
            (Some(Winding::Anticlockwise), Some(Pole::South))
        );
        assert!((told.spacing_m.unwrap() - 0.052).abs() < 1e-12);
        for bad in ["position=tail", "spacing=5m", "spacing=52", "hum=1", "north"] {
            assert!(about(bad).is_err(), "{bad:?}");
        }
        assert_eq!(design("warm-neck@2").unwrap().version, Some(2));
        assert!(design("warm@x").is_err() && design("@2").is_err());
    }
}
