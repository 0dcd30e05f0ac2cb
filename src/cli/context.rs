//! From arguments and remembered defaults to a checked plan: rig, load, names.

use std::path::{Path, PathBuf};

use super::defaults::Defaults;
use super::shared::About;
use super::wirings::one_load;
use crate::analysis::chain::Chain;
use crate::capture::Take;
use crate::capture::wav::Channels;
use crate::failure::{Failure, Result};
use crate::network::Load;
use crate::record::meters::LEAST_WINDING_OHM;
use crate::record::{CaptureSummary, LoadSummary, Pickup, Record, RigSummary};
use crate::rig::{NO_RIG_NOTE, Rig};

/// What a measurement or an analysis knows before it begins.
#[derive(Debug)]
pub struct Bench {
    pub rig: Option<Rig>,
    /// Where it was read from, for what is kept beside it.
    pub rig_file: Option<PathBuf>,
    pub chain: Chain,
    pub load: Option<Load>,
    pub channels: Option<Channels>,
    /// As it was told, but for its name.
    pub told: Pickup,
}

impl Bench {
    /// A pickup as it was told, on this rig.
    pub fn new(rig: Option<Rig>, told: Pickup) -> Self {
        Bench {
            chain: rig.as_ref().map_or_else(Chain::unknown, Chain::from),
            rig,
            rig_file: None,
            load: None,
            channels: None,
            told,
        }
    }

    /// Options first, then what the working folder remembers.
    pub fn plan(about: &About, defaults: &Defaults) -> Result<Self> {
        let rig_file = about.on.rig.as_ref().or(defaults.rig.as_ref());
        let rig = rig_file.map(|path| Rig::read(path)).transpose()?;
        let load = match &about.on.load {
            Some(arg) => Some(one_load(arg)?),
            None => defaults.load.clone(),
        };
        let channels = about.channels.map_or_else(|| defaults.channels(), |c| Ok(Some(c)))?;
        let told = Pickup {
            over: about.on.over.clone().or_else(|| defaults.over.clone()),
            r_ohm: about.ohms.as_ref().map(|o| o.ohm),
            ohmmeter: about.ohms.as_ref().and_then(|o| o.meter.clone()),
            temperature_c: about.on.room.or(defaults.room_c),
            note: about.note.clone(),
            stage: about.life.stage.clone(),
            by: about.life.by.clone(),
            ..Pickup::default()
        };
        Ok(Bench {
            rig_file: rig_file.cloned(),
            load,
            channels,
            ..Bench::new(rig, told)
        })
    }

    /// The pickup as it was told.
    pub fn pickup(&self, name: &str) -> Pickup {
        Pickup {
            name: name.into(),
            r20_ohm: None,
            ..self.told.clone()
        }
    }

    /// The surroundings of a take, for the record. `source`: "sim", "live" or "file"; `file`: the take's own name.
    pub fn context(&self, take: &Take, name: &str, taken_at: &str, source: &str, file: String) -> Record {
        let one_channel = take.reference.is_none();
        Record {
            pickup: self.pickup(name),
            rig: self.rig.as_ref().map_or_else(RigSummary::default, |rig| RigSummary {
                open: rig.left_open(one_channel),
                ..rig.summary()
            }),
            load: self.load.as_ref().map(|l| LoadSummary { text: l.to_string() }),
            taken_at: taken_at.into(),
            capture: CaptureSummary {
                source: source.into(),
                device: take.provenance.device.clone(),
                take: Some(file),
                ..CaptureSummary::default()
            },
            notes: self.notes(one_channel),
            ..Record::default()
        }
    }

    /// What is left open, and what looks like a slip of the fingers.
    fn notes(&self, one_channel: bool) -> Vec<String> {
        let mut notes = match &self.rig {
            Some(rig) => rig.notes(one_channel),
            None => vec![NO_RIG_NOTE.into()],
        };
        if let Some(ohm) = self.told.r_ohm.filter(|r| *r < LEAST_WINDING_OHM) {
            notes.push(format!(
                "--ohms says {ohm} ohms, little for a pickup: was {ohm}k meant?"
            ));
        }
        if let Some(t) = self.told.temperature_c.filter(|t| !ROOM_C.contains(t)) {
            notes.push(format!(
                "--room says {t:.0} degrees Celsius, odd for a room: write 70F for Fahrenheit"
            ));
        }
        if let Some(load) = &self.load {
            notes.extend(load.remarks());
        }
        notes
    }
}

/// Temperatures of rooms in which people wind.
const ROOM_C: std::ops::RangeInclusive<f64> = -5.0..=45.0;

/// Where what can be made anew at any time is kept, as the system has it.
pub fn cache() -> Option<PathBuf> {
    use etcetera::BaseStrategy as _;
    let of_user = etcetera::choose_base_strategy().ok()?;
    Some(of_user.cache_dir().join("coilwright"))
}

/// This moment as a record keeps it.
pub fn now() -> String {
    stamp(std::time::SystemTime::now())
}

/// A time of the system likewise.
pub fn stamp(time: std::time::SystemTime) -> String {
    shown(time, "%Y-%m-%dT%H:%M:%S%:z")
}

/// This moment to the microsecond: of two entries written one after the other the second is the later one.
pub fn fine_now() -> String {
    shown(std::time::SystemTime::now(), "%Y-%m-%dT%H:%M:%S%.6f%:z")
}

fn shown(time: std::time::SystemTime, format: &str) -> String {
    let at = jiff::Timestamp::try_from(time).unwrap_or(jiff::Timestamp::UNIX_EPOCH);
    at.to_zoned_datetime(jiff::tz::TimeZone::system())
        .strftime(format)
        .to_string()
}

/// When a file was last changed, as a record keeps it.
pub fn changed(path: &Path) -> String {
    let time = std::fs::metadata(path).and_then(|m| m.modified());
    stamp(time.unwrap_or(std::time::UNIX_EPOCH))
}

/// Folders that a command makes. Those still empty at its end are taken away again: what is refused leaves nothing behind.
#[derive(Debug, Default)]
pub struct Fresh(Vec<PathBuf>);

impl Fresh {
    /// As [`ready_folder`].
    pub fn ready(&mut self, path: &Path) -> Result<PathBuf> {
        let new = missing(path);
        let folder = ready_folder(path)?;
        self.0.extend(new);
        Ok(folder)
    }

    /// One that was just made.
    pub fn made(&mut self, folder: PathBuf) -> PathBuf {
        self.0.push(folder.clone());
        folder
    }
}

impl Drop for Fresh {
    fn drop(&mut self) {
        for folder in self.0.iter().rev() {
            // Refused by the file system where there is anything in it.
            let _ = std::fs::remove_dir(folder);
        }
    }
}

/// How deep records lie below a folder that is given: FOLDER/NAME/0001.
const DEPTH: usize = 3;

/// Folders of this kind in one that is given, in order; none of them is looked into.
pub fn folders_below(folder: &Path, kind: fn(&Path) -> bool) -> Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    below(folder, DEPTH, kind, &mut found)?;
    found.sort();
    Ok(found)
}

fn below(folder: &Path, depth: usize, kind: fn(&Path) -> bool, found: &mut Vec<PathBuf>) -> Result<()> {
    let list = std::fs::read_dir(folder).map_err(|e| Failure::io("read", folder, &e))?;
    for path in list.flatten().map(|e| e.path()) {
        if kind(&path) {
            found.push(path);
        } else if depth > 1 && path.is_dir() {
            below(&path, depth - 1, kind, found)?;
        }
    }
    Ok(())
}

/// A folder of its own for each take of one name.
pub fn free_folder(parent: &Path, name: &str) -> PathBuf {
    let first = parent.join(name);
    let more = (2..).map(|n| parent.join(format!("{name}-{n}")));
    let mut all = std::iter::once(first.clone()).chain(more);
    all.find(|p| p.symlink_metadata().is_err()).unwrap_or(first)
}

/// The folders of a path that are not there yet, the topmost first.
fn missing(path: &Path) -> Vec<PathBuf> {
    let is_gone = |p: &&Path| !p.as_os_str().is_empty() && p.symlink_metadata().is_err();
    let gone = path.ancestors().take_while(is_gone);
    let mut gone: Vec<PathBuf> = gone.map(Path::to_path_buf).collect();
    gone.reverse();
    gone
}

/// Whether a folder would be made inside the working folder, wherever links lead.
fn is_inside(first_missing: &Path) -> bool {
    let above = first_missing.parent().filter(|p| !p.as_os_str().is_empty());
    let whole = std::fs::canonicalize(above.unwrap_or(Path::new(".")));
    let here = std::fs::canonicalize(".");
    matches!((whole, here), (Ok(whole), Ok(here)) if whole.starts_with(&here))
}

/// Makes what is missing of a path inside the working folder. Outside it only the last folder is made: a missing parent there is a
/// slip, or a stick that is not in. Returns it ready to be written to.
pub fn ready_folder(path: &Path) -> Result<PathBuf> {
    let missing = missing(path);
    if let [first, _, ..] = missing.as_slice()
        && !is_inside(first)
    {
        return Err(Failure::new(
            format!("the folder above {} does not exist", path.display()),
            "make it first, or give another --out",
        ));
    }
    for folder in missing.iter().map(PathBuf::as_path).chain([path]) {
        match std::fs::create_dir(folder) {
            Ok(()) => {}
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists && folder.is_dir() => {}
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {
                return Err(Failure::new(
                    format!("{} is a file", folder.display()),
                    "give a folder with --out",
                ));
            }
            Err(e) => return Err(Failure::io("make", folder, &e)),
        }
    }
    // Found out before anything is played or computed: can a file be made there?
    crate::fileio::try_folder(path)?;
    Ok(path.to_path_buf())
}
