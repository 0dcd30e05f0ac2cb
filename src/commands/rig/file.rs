//! What the commands on rig files share: the file read and changed, what it is set up on, and how their documents are shown.

use crate::capture::wav::Channels;
use crate::cli::args::{DriveArgs, SoundArgs};
use crate::cli::context::{Bench, now};
use crate::commands::outcome;
use crate::commands::prelude::*;
use crate::commands::sound::{Asked, Sound};
use crate::fileio;
use crate::record::Pickup;
use crate::record::when::day;
use crate::rig::Rig;
use crate::setup::edit::{self, Change, Replaced};

/// The rig file given, or the one remembered.
pub(super) fn rig_of(given: Option<&PathBuf>) -> Result<(PathBuf, Rig)> {
    let remembered = || Ok(Defaults::here()?.rig);
    let path = given
        .map_or_else(remembered, |path| Ok(Some(path.clone())))?
        .ok_or_else(|| {
            Failure::new(
                "no rig file is given, and none is remembered for this folder",
                "give it, or remember it with `coilwright use --rig FILE`",
            )
        })?;
    let rig = Rig::read(&path)?;
    Ok((path, rig))
}

/// Values into the rig file, everything else in it as it was, and what they replace as remarks. What comes out is a rig, or nothing
/// is written. `changes` sees the file as it is at that moment.
pub(super) fn write_changes(path: &Path, changes: impl FnOnce(&Rig) -> Result<Vec<Change>>) -> Result<Vec<Replaced>> {
    fileio::alone(path, || {
        let place = path.display().to_string();
        let text = fileio::read_text_limited(path, outcome::MOST_BYTES)?;
        let changes = changes(&Rig::parse(&text, &place)?)?;
        let (new, replaced) = edit::changed(&format!("rig {place}"), &text, &changes, Some(&today()))?;
        Rig::parse(&new, &place)?;
        fileio::write_atomically(path, new.as_bytes())?;
        Ok(replaced)
    })
}

/// What a rig is set up on; `bound`: only on what its file names.
pub(super) fn open(args: &SoundArgs, rig: &Rig, bound: bool, console: &Console) -> Result<Sound> {
    let defaults = Defaults::here()?;
    Asked {
        source: &args.source,
        drive: &DriveArgs {
            rate: args.rate,
            ..DriveArgs::default()
        },
        bench: &Bench {
            channels: channels_of(args.channels, rig, &defaults)?,
            ..Bench::new(Some(rig.clone()), Pickup::default())
        },
        guitar: None,
        defaults: &defaults,
        bound,
        stop: console.stop(),
    }
    .open()
}

/// "2026-01-31", here.
pub(super) fn today() -> String {
    day(&now()).unwrap_or_default().to_owned()
}

/// The channels asked for, else the rig's, else those remembered.
fn channels_of(asked: Option<Channels>, rig: &Rig, defaults: &Defaults) -> Result<Option<Channels>> {
    let of_rig = || {
        let i = rig.interface.as_ref()?;
        Some(Channels {
            pickup: i.pickup_channel? as usize,
            reference: i.reference_channel.map(|c| c as usize),
        })
    };
    asked
        .or_else(of_rig)
        .map_or_else(|| defaults.channels(), |c| Ok(Some(c)))
}
