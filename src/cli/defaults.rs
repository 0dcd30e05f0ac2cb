//! Defaults of a working folder: `coilwright.toml`, written by `use` and edited by hand.

use std::path::{Path, PathBuf};

use clap::Args;
use toml::Value;

use super::shared::Devices;
use super::value::{Columns, celsius, channels, line};
use crate::capture::wav::Channels;
use crate::failure::{Failure, Result};
use crate::fileio;
use crate::network::Load;
use crate::quantity::{self, Unit};
use crate::record::meters::{self, Column};
use crate::rig::Rig;
use crate::rig::keys::{self, Key, Kind};
use crate::setup::edit::{self, Change};
use crate::shop::yardstick::Matters;

pub const FILE_NAME: &str = "coilwright.toml";

const MAX_BYTES: u64 = 64 * 1024;

/// What stands in for options that are not given; all may be absent. Relative paths start at the working folder. Rig and load are
/// read before `use` remembers them.
#[derive(Debug, Clone, Default, PartialEq, Args)]
pub struct Defaults {
    #[arg(skip)]
    pub rig: Option<PathBuf>,
    #[arg(skip)]
    pub load: Option<Load>,
    /// Where `measure` keeps its records
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    #[command(flatten)]
    pub devices: Devices,
    /// Which input channel is which, such as pickup=1,reference=2
    #[arg(long, value_name = "LIST")]
    pub channels: Option<String>,
    /// The room's temperature, such as 21C
    #[arg(long = "room", value_name = "TEMP", value_parser = celsius, allow_hyphen_values = true)]
    pub room_c: Option<f64>,
    /// Over which coil the exciter lies
    #[arg(long, value_name = "TEXT", value_parser = line)]
    pub over: Option<String>,
    /// Which other meters the tray asks for, such as "ohms by meter A, lcr at 120Hz by bridge B, gauss by probe C"
    #[arg(long, value_name = "LIST", value_parser = Column::list)]
    pub columns: Option<Columns>,
    /// The smallest difference that matters, such as "peak=1% q=5%"; usual sizes for the rest
    #[arg(long, value_name = "LIST", value_parser = Matters::parse)]
    pub matters: Option<Matters>,
}

/// One key of the file.
struct Entry {
    name: &'static str,
    /// As the file has it; `None` where it is not set.
    written: fn(&Defaults) -> Result<Option<String>>,
    read: fn(&mut Defaults, String) -> Result<()>,
}

/// In the order in which they are shown.
const ENTRIES: [Entry; 10] = [
    Entry {
        name: "rig",
        written: |d| path("rig", d.rig.as_deref()),
        read: |d, t| set(&mut d.rig, t.into()),
    },
    Entry {
        name: "load",
        written: |d| Ok(d.load.as_ref().map(Load::to_string)),
        read: |d, t| set(&mut d.load, Load::parse(&t)?),
    },
    Entry {
        name: "folder",
        written: |d| path("folder", d.folder.as_deref()),
        read: |d, t| set(&mut d.folder, t.into()),
    },
    Entry {
        name: "output",
        written: |d| Ok(d.devices.output.clone()),
        read: |d, t| set(&mut d.devices.output, t),
    },
    Entry {
        name: "input",
        written: |d| Ok(d.devices.input.clone()),
        read: |d, t| set(&mut d.devices.input, t),
    },
    Entry {
        name: "channels",
        written: |d| Ok(d.channels.clone()),
        read: |d, t| set(&mut d.channels, t),
    },
    Entry {
        name: "room",
        written: |d| Ok(d.room_c.map(|t| quantity::compact(t, Unit::Celsius))),
        read: |d, t| set(&mut d.room_c, quantity::parse(&t, Unit::Celsius)?),
    },
    Entry {
        name: "over",
        written: |d| Ok(d.over.clone()),
        read: |d, t| set(&mut d.over, t),
    },
    Entry {
        name: "columns",
        written: |d| Ok(d.columns.as_deref().map(meters::written)),
        read: |d, t| set(&mut d.columns, Column::list(&t)?),
    },
    Entry {
        name: "matters",
        written: |d| Ok(d.matters.as_ref().map(Matters::to_string)),
        read: |d, t| set(&mut d.matters, Matters::parse(&t)?),
    },
];

fn set<T>(place: &mut Option<T>, value: T) -> Result<()> {
    *place = Some(value);
    Ok(())
}

fn path(key: &str, path: Option<&Path>) -> Result<Option<String>> {
    let text = |p: &Path| {
        p.to_str().map(str::to_owned).ok_or_else(|| {
            Failure::new(
                format!("{FILE_NAME}: {key} {} is not text in UTF-8", p.display()),
                "give a path without such characters",
            )
        })
    };
    path.map(text).transpose()
}

impl Defaults {
    /// Those of the working folder.
    pub fn here() -> Result<Defaults> {
        Defaults::read_from(Path::new("."))
    }

    /// The defaults of a folder; none where it has no file.
    pub fn read_from(dir: &Path) -> Result<Defaults> {
        let path = dir.join(FILE_NAME);
        if !path.exists() {
            return Ok(Defaults::default());
        }
        Defaults::parse(&fileio::read_text_limited(&path, MAX_BYTES)?)
    }

    pub fn parse(text: &str) -> Result<Defaults> {
        let mut file = keys::read(FILE_NAME, text)?;
        // By hand one writes `room = 21` as often as `room = "21C"`, and a load of nothing as "".
        if let Some(v) = file.get_mut("room")
            && let Some(number) = v.as_float().or_else(|| v.as_integer().map(|i| i as f64))
        {
            *v = Value::String(number.to_string());
        }
        let bare = matches!(file.get("load"), Some(Value::String(s)) if s.trim().is_empty());
        if bare {
            file.remove("load");
        }
        keys::check(FILE_NAME, &file, &ENTRIES.map(|e| Key::new("", e.name, Kind::Text)))?;
        let mut out = Defaults {
            load: bare.then(Load::default),
            ..Defaults::default()
        };
        for entry in &ENTRIES {
            if let Some(text) = keys::find(&file, "", entry.name).and_then(Value::as_str) {
                (entry.read)(&mut out, text.to_owned()).map_err(|e| at(entry.name, &e))?;
            }
        }
        Ok(out)
    }

    /// What `newer` says replaces what was said; the rest stays, but for what is to be forgotten.
    pub fn updated(&self, newer: &Defaults, forgotten: &[String]) -> Result<Defaults> {
        if let Some(name) = forgotten.iter().find(|n| ENTRIES.iter().all(|e| e.name != **n)) {
            let names = ENTRIES.map(|e| e.name).join(", ");
            return Err(Failure::new(
                format!("there is no default called {name}"),
                format!("--forget takes {names}"),
            ));
        }
        let mut out = Defaults::default();
        // What matters is set quantity by quantity.
        let merged = newer.matters.map(|m| m.over(&self.matters.unwrap_or_default()));
        let newer = &Defaults {
            matters: merged,
            ..newer.clone()
        };
        for entry in ENTRIES.iter().filter(|e| !forgotten.iter().any(|n| n == e.name)) {
            if let Some(text) = (entry.written)(newer)?.map_or_else(|| (entry.written)(self), |t| Ok(Some(t)))? {
                (entry.read)(&mut out, text)?;
            }
        }
        Ok(out)
    }

    /// Key and value of everything that is set, as the file has it.
    pub fn entries(&self) -> Result<Vec<(&'static str, String)>> {
        let all = ENTRIES
            .iter()
            .map(|e| Ok((e.written)(self)?.map(|text| (e.name, text))));
        all.filter_map(Result::transpose).collect()
    }

    pub fn channels(&self) -> Result<Option<Channels>> {
        let wrong = |e| Failure::new(format!("channels in {FILE_NAME} cannot be read"), e);
        let read = |text: &String| channels(text).map_err(wrong);
        self.channels.as_ref().map(read).transpose()
    }

    /// What matters to this shop; what was not said is as usual.
    pub fn matters(&self) -> Matters {
        self.matters.unwrap_or_default()
    }

    /// Refuses what a command in this folder could not use.
    pub fn check(&self, dir: &Path) -> Result<()> {
        match &self.rig {
            Some(rig) => Rig::read(&dir.join(rig)).map(drop).map_err(|e| at("rig", &e)),
            None => Ok(()),
        }
    }

    /// Puts into the folder's file what is other than in `old`, which it holds; remarks and order stay. Nothing is written unless
    /// the text reads back.
    pub fn write_to(&self, dir: &Path, old: &Defaults) -> Result<()> {
        let path = dir.join(FILE_NAME);
        let text = match path.exists() {
            true => fileio::read_text_limited(&path, MAX_BYTES)?,
            false => "# Defaults for this folder. Options given on the command line come first.\n".to_owned(),
        };
        let mut changes: Vec<Change> = Vec::new();
        for entry in &ENTRIES {
            let is = (entry.written)(self)?;
            if is != (entry.written)(old)? {
                changes.push(("", entry.name, is.map(edit::Value::Text)));
            }
        }
        let (text, _) = edit::changed(FILE_NAME, &text, &changes, None)?;
        // What cannot be read again must not be written: a control character in a name, an empty text.
        Defaults::parse(&text)?;
        fileio::write_atomically(&path, text.as_bytes())
    }
}

fn at(key: &str, e: &Failure) -> Failure {
    Failure::new(format!("{FILE_NAME}: {key}: {}", e.what), e.hint.clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::yardstick::Quantity;

    const RIG: &str = "[exciter]\nreference = \"current\"\nseries_ohm = 100\ninductance_h = 0.0005\n";

    fn full() -> Defaults {
        Defaults {
            rig: Some("rigs/north.toml".into()),
            load: Load::parse("vol=250k cable=18ft@30p/ft").ok(),
            folder: Some("records".into()),
            devices: Devices {
                output: Some("Out \"1\" \\ main".into()),
                input: Some("In 2".into()),
            },
            channels: Some("pickup=1,reference=2".into()),
            room_c: Some(21.5),
            over: Some("first coil".into()),
            columns: Column::list("ohms by meter A, lcr at 120Hz by bridge B").ok(),
            matters: Matters::parse("peak=0.7% level=1dB").ok(),
        }
    }

    #[test]
    fn written_file_reads_back_and_is_fit_for_editing() {
        let dir = tempfile::tempdir().unwrap();
        std::fs::create_dir(dir.path().join("rigs")).unwrap();
        std::fs::write(dir.path().join("rigs/north.toml"), RIG).unwrap();
        assert_eq!(Defaults::read_from(dir.path()), Ok(Defaults::default()));
        full().write_to(dir.path(), &Defaults::default()).unwrap();
        let text = std::fs::read_to_string(dir.path().join(FILE_NAME)).unwrap();
        for line in [
            "rig = \"rigs/north.toml\"",
            "load = \"vol=250k@1 cable=18ft@30p/ft\"",
            "room = \"21.5C\"",
            "matters = \"peak=0.7% level=1dB\"",
        ] {
            assert!(text.lines().any(|l| l == line), "{text}");
        }
        assert_eq!(Defaults::read_from(dir.path()), Ok(full()));
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 2);
    }

    #[test]
    fn remarks_and_order_stay() {
        let dir = tempfile::tempdir().unwrap();
        let text = "# the big room\nroom = 21 # by the window\n\n# coil A, always\nover = 'first coil'\nfolder = \"takes\"\n# end\n";
        std::fs::write(dir.path().join(FILE_NAME), text).unwrap();
        let old = Defaults::read_from(dir.path()).unwrap();
        let new = Defaults {
            room_c: Some(18.0),
            folder: None,
            devices: Devices {
                output: Some("front".into()),
                input: None,
            },
            ..old.clone()
        };
        new.write_to(dir.path(), &old).unwrap();
        let want = "# the big room\nroom = \"18C\" # by the window\n\n# coil A, always\nover = 'first coil'\n# end\noutput = \"front\"\n";
        assert_eq!(std::fs::read_to_string(dir.path().join(FILE_NAME)).unwrap(), want);
    }

    #[test]
    fn newer_options_replace_older_ones_only() {
        let newer = Defaults {
            room_c: Some(18.0),
            load: Some(Load::default()),
            ..Defaults::default()
        };
        let want = Defaults {
            room_c: Some(18.0),
            load: Some(Load::default()),
            ..full()
        };
        assert_eq!(full().updated(&newer, &[]), Ok(want));
        let forgotten = ["over".to_owned(), "matters".to_owned()];
        let want = Defaults {
            over: None,
            matters: None,
            ..full()
        };
        assert_eq!(full().updated(&Defaults::default(), &forgotten), Ok(want));
        assert_eq!(full().matters().of(Quantity::Peak), 0.007);
        assert_eq!(newer.matters(), Matters::default());
        // A load of nothing is a load too, and survives the file.
        let dir = tempfile::tempdir().unwrap();
        newer.write_to(dir.path(), &Defaults::default()).unwrap();
        assert_eq!(Defaults::read_from(dir.path()), Ok(newer));
    }

    #[test]
    fn nothing_is_written_that_cannot_be_used() {
        let dir = tempfile::tempdir().unwrap();
        let only = |d: Defaults| {
            let written = d
                .check(dir.path())
                .and_then(|()| d.write_to(dir.path(), &Defaults::default()));
            written.unwrap_err().to_string()
        };
        let e = only(full());
        assert!(e.contains("coilwright.toml: rig: ") && e.contains("north.toml"), "{e}");
        std::fs::write(dir.path().join("bad.toml"), RIG.replace("100", "-1")).unwrap();
        let e = only(Defaults {
            rig: Some("bad.toml".into()),
            ..Defaults::default()
        });
        assert!(e.contains("exciter.series_ohm is -1"), "{e}");
        let e = only(Defaults {
            over: Some("two\nlines".into()),
            ..Defaults::default()
        });
        assert!(e.contains("over is \"two\\nlines\""), "{e}");
        assert!(!dir.path().join(FILE_NAME).exists());
    }

    #[test]
    fn errors_name_the_key() {
        for (text, want) in [
            ("load = \"vol=250x\"", "coilwright.toml: load: load part \"vol=250x\""),
            (
                "room = \"warm\"",
                "coilwright.toml: room: \"warm\" is not a temperature",
            ),
            ("room = true", "coilwright.toml: room is true"),
            ("matters = \"q=5\"", "coilwright.toml: matters: "),
            ("rig = 3", "coilwright.toml: rig is 3"),
            (
                "rigs = \"a.toml\"",
                "coilwright.toml: rigs is not known; at the top there are rig, load",
            ),
            ("[rig]\nname = 1", "coilwright.toml: rig is a table"),
            ("folder = \"\"", "coilwright.toml: folder is \"\""),
            ("folder = records", "coilwright.toml line 1 cannot be read"),
        ] {
            let e = Defaults::parse(text).map_err(|e| e.to_string());
            assert!(e.as_ref().is_err_and(|e| e.contains(want)), "{text}: {e:?}");
        }
        for text in ["room = 21", "room = 21.0", "room = \"21C\"", "room = \"69.8F\""] {
            let t = Defaults::parse(text).unwrap().room_c.unwrap();
            assert!((t - 21.0).abs() < 1e-9, "{text}: {t}");
        }
    }
}
