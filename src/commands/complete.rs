//! `analyze` of folders: measurements that were never finished get their record, and every record its pictures.

use super::kept::Measurement;
use super::outcome::{self, Played, tell_all};
use super::progress;
use crate::cli::args::{AnalyzeArgs, Shown, first_of};
use crate::cli::context::{Bench, folders_below};
use crate::commands::asked::{self, Asked, RigFile};
use crate::commands::prelude::*;
use crate::fileio;
use crate::network::Load;
use crate::record::{Record, store};
use crate::report::text;
use crate::rig::Rig;

pub fn run(args: &AnalyzeArgs, console: &mut Console) -> Result<Status> {
    let folders = measured(&args.takes)?;
    refuse_idle(args)?;
    let rig = args.about.on.rig.as_deref();
    if let [folder] = folders.as_slice() {
        return single(args, folder, console);
    }
    let (there, unfinished): (Vec<PathBuf>, Vec<PathBuf>) = folders.iter().cloned().partition(|f| is_record(f));
    let (unfinished, busy): (Vec<PathBuf>, Vec<PathBuf>) =
        unfinished.into_iter().partition(|f| fileio::hold_folder(f).is_ok());
    for folder in busy {
        console.remark(&format!("{} is being measured: left alone", folder.display()));
    }
    let list = progress::each(&unfinished, |folder| finished(folder, rig));
    console.remark(&format!(
        "{} finished before, {} to be finished",
        there.len(),
        unfinished.len()
    ));
    let told = match unfinished.is_empty() && !Shown::from(args.shown).json {
        true => Ok(Status::Done),
        false => tell_all(&unfinished, list, args.shown, console),
    };
    // One that cannot be finished keeps no other from its pictures.
    let drawn: Vec<PathBuf> = folders.into_iter().filter(|f| is_record(f)).collect();
    outcome::draw_missing(&drawn, console);
    told
}

fn is_record(folder: &Path) -> bool {
    folder.join("record.json").is_file()
}

/// A folder of `measure`, finished or not.
fn is_measured(folder: &Path) -> bool {
    is_record(folder) || folder.join(outcome::take_name(0)).is_file()
}

/// All such folders in what is given.
fn measured(paths: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut out = Vec::new();
    for path in paths {
        if !path.is_dir() {
            return Err(Failure::new(
                format!("{} is a file, and others are folders", path.display()),
                "give takes, or folders of `measure`",
            ));
        }
        if is_measured(path) {
            out.push(path.clone());
            continue;
        }
        let found = folders_below(path, is_measured)?;
        if found.is_empty() {
            return Err(Failure::new(
                format!("no take lies in {}", path.display()),
                "give a file, a folder of `measure`, or a folder of such folders",
            ));
        }
        out.extend(found);
    }
    Ok(out)
}

/// What was asked with the measurement holds; only its rig's file may have gone elsewhere.
fn refuse_idle(args: &AnalyzeArgs) -> Result<()> {
    let about = &args.about;
    let given = [
        ("--drive", args.drive.is_some()),
        ("--pickup", args.pickup.is_some()),
        ("--knock-take", args.knock_take.is_some()),
        ("--load", about.on.load.is_some()),
        ("--over", about.on.over.is_some()),
        ("--ohms", about.ohms.is_some()),
        ("--room", about.on.room.is_some()),
        ("--note", about.note.is_some()),
        ("--stage", about.life.stage.is_some()),
        ("--by", about.life.by.is_some()),
        ("--channels", about.channels.is_some()),
        ("--model", args.model.is_some()),
        ("--out", args.out.is_some()),
    ];
    match first_of(&given) {
        None => Ok(()),
        Some(option) => Err(Failure::new(
            format!("{option} has no effect on a folder: what was asked with its take holds"),
            format!(
                "leave it out, or give the take itself, FOLDER/{}",
                outcome::take_name(0)
            ),
        )),
    }
}

fn single(args: &AnalyzeArgs, folder: &Path, console: &mut Console) -> Result<Status> {
    let there = is_record(folder);
    let record = match there {
        true => store::read(folder)?,
        false => finished(folder, args.about.on.rig.as_deref())?,
    };
    let files = (!there).then(|| folder.join("record.json")).into_iter().collect();
    outcome::tell((&record, files), args.shown, console, text::measure_text, || {
        outcome::missing_pictures(&record, folder)
    })?;
    Ok(outcome::status(&record))
}

/// The record of a measurement that was never finished, written.
pub fn finished(folder: &Path, rig: Option<&Path>) -> Result<Record> {
    let place = folder.display();
    let _held = fileio::hold_folder(folder)?;
    let mut measurement = Measurement::read(folder)?.ok_or_else(|| {
        Failure::new(
            format!("{place} holds a take, and no {} that tells what was asked", asked::NAME),
            format!("give the take itself, {place}/{}", outcome::take_name(0)),
        )
    })?;
    let played = Played::beside(folder)?;
    let (bench, changed) = bench(&mut measurement.asked, rig)?;
    let mut record = measurement.record(&bench, played.as_ref(), None)?;
    record.notes.extend(changed);
    outcome::write(&record, folder)?;
    Ok(record)
}

/// The bench as it was asked for, and what is no longer as it was. `elsewhere`: where the rig's file lies now.
fn bench(asked: &mut Asked, elsewhere: Option<&Path>) -> Result<(Bench, Option<String>)> {
    let path = elsewhere.or(asked.rig.as_ref().map(|r| r.file.as_ref()));
    let rig = path.map(Rig::read).transpose().map_err(|e| match elsewhere {
        None => Failure::new(e.what, "give the rig's file as it was for the take, with --rig"),
        Some(_) => e,
    })?;
    let mut changed = None;
    if let (Some(rig), Some(path)) = (&rig, path) {
        let now = RigFile::new(path, rig);
        changed = asked.rig.as_ref().filter(|was| was.hash != now.hash).map(|_| {
            format!(
                "the rig file {} is not what it was when the take was made; it is read as it is now",
                path.display()
            )
        });
        asked.rig = Some(now);
    }
    Ok((bench_of(asked, rig)?, changed))
}

/// What a measurement was asked with, on this rig.
pub fn bench_of(asked: &Asked, rig: Option<Rig>) -> Result<Bench> {
    Ok(Bench {
        rig_file: asked.rig.as_ref().map(|r| r.file.clone().into()),
        load: asked.load.as_deref().map(str::parse::<Load>).transpose()?,
        ..Bench::new(rig, asked.pickup.clone())
    })
}
