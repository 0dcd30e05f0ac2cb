//! `tray`: a lot on the bench, key by key.

use std::io::BufRead;
use std::path::{Path, PathBuf};

use super::rig::repeat_of;
use super::{measure, outcome};
use crate::cli::args::{About, DriveArgs, MeasureArgs, Shown, TrayArgs};
use crate::cli::console::Console;
use crate::cli::context::{Fresh, stamp};
use crate::cli::defaults::Defaults;
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::record::checks::RepeatDocument;
use crate::record::meters::Reading;
use crate::record::notes::{self, Note};
use crate::record::standard::{Call, Judged, Standard, judge};
use crate::record::tray::Tray;
use crate::record::{Record, Verdict, store};
use crate::report::{text, tray_plot};

const MOST_BYTES: u64 = 64 << 20;

/// Of the test signal, unless told otherwise: with silences, the card's own delay and the fit the verdict stands after some
/// 4.2 s. Noise counts a tenth more than in a take of `measure`.
const TRAY_SECONDS: f64 = 2.2;

/// What is typed, line by line.
type Typed = std::io::Lines<std::io::StdinLock<'static>>;

pub fn run(args: &TrayArgs, console: &mut Console) -> Result<Status> {
    let mut bench = Lot::open(args)?;
    console.remark(&text::tray_keys(&bench.tray));
    let stdin = std::io::stdin();
    let mut lines = stdin.lock().lines();
    loop {
        console.remark(&text::tray_prompt(&bench.tray));
        // The end of what is typed ends the tray too: it goes on next time.
        let Some(Ok(line)) = lines.next() else { break };
        let line = line.trim();
        let (key, rest) = match line.split_once(' ') {
            Some((k, r)) => (k, r.trim()),
            None => (line, ""),
        };
        match (key, rest) {
            ("", _) => bench.measure(bench.tray.next, false, &mut lines, console)?,
            ("r", "") => match bench.tray.undo() {
                Some(number) => {
                    bench.keep()?;
                    bench.measure(number, true, &mut lines, console)?;
                }
                None => console.remark("nothing to measure again yet"),
            },
            ("s", "") => {
                let number = bench.tray.next;
                bench.tray.put(number, None, None);
                bench.keep()?;
            }
            ("u", "") => match bench.tray.undo() {
                Some(number) => {
                    bench.keep()?;
                    console.remark(&format!("number {number} is taken back; its record stays"));
                }
                None => console.remark("nothing to take back"),
            },
            ("n", text) if !text.is_empty() => match bench.tray.note(text) {
                Some(number) => {
                    bench.keep()?;
                    bench.note_with_record(text)?;
                    console.remark(&format!("noted with number {number}"));
                }
                None => console.remark("nothing to note it with yet"),
            },
            ("q", "") => break,
            _ => console.remark(&text::tray_keys(&bench.tray)),
        }
    }
    bench.end(console)
}

/// The lot, its folder, and how it is measured.
struct Lot<'a> {
    args: &'a TrayArgs,
    folder: PathBuf,
    tray: Tray,
    repeat: Option<RepeatDocument>,
    /// One description for each number, of the built-in bench.
    sims: Vec<String>,
    _fresh: Fresh,
    /// The lot is this tray's alone.
    _held: std::fs::File,
}

impl<'a> Lot<'a> {
    fn open(args: &'a TrayArgs) -> Result<Self> {
        let defaults = Defaults::read_from(Path::new("."))?;
        let mut fresh = Fresh::default();
        let notebook = args
            .folder
            .clone()
            .or_else(|| defaults.folder.clone())
            .unwrap_or_else(|| PathBuf::from("."));
        let notebook = fresh.ready(&notebook)?;
        let folder = fresh.ready(&notebook.join(&args.lot))?;
        let standard = match &args.standard {
            Some(path) => {
                let text = fileio::read_text_limited(path, MOST_BYTES)?;
                Some(Standard::parse(&path.display().to_string(), &text)?)
            }
            None => None,
        };
        let path = folder.join("tray.json");
        // Two at one lot would each write over what the other has measured.
        let held = fileio::hold(&path)?.ok_or_else(|| {
            Failure::new(
                format!("the lot {} is on another tray at this moment", args.lot),
                "end that one with q, or give this lot another name",
            )
        })?;
        let mut tray = if path.symlink_metadata().is_ok() {
            let tray = Tray::parse(&path.display().to_string(), &fileio::read_limited(&path, MOST_BYTES)?)?;
            if standard.is_some() && tray.standard != standard {
                return Err(Failure::new(
                    format!("the lot {} was begun with another standard", args.lot),
                    "leave --standard out to go on with that one, or give the lot another name",
                ));
            }
            tray
        } else {
            Tray::new(&args.lot, standard, args.first)
        };
        match &args.columns {
            Some(chosen) => tray.columns = chosen.0.clone(),
            None if tray.entries.is_empty() => tray.columns = defaults.columns.clone().unwrap_or_default(),
            None => {}
        }
        let rig = args.rig.as_ref().or(defaults.rig.as_ref());
        let repeat = rig.map(|p| repeat_of(p)).transpose()?.flatten();
        let sims = match &args.sim {
            Some(text) if Path::new(text).extension().is_some_and(|e| e == "txt") => {
                fileio::read_text_limited(Path::new(text), MOST_BYTES)?
                    .lines()
                    .map(str::to_owned)
                    .collect()
            }
            Some(text) => vec![text.clone()],
            None => Vec::new(),
        };
        Ok(Lot {
            args,
            folder,
            tray,
            repeat,
            sims,
            _fresh: fresh,
            _held: held,
        })
    }

    fn keep(&self) -> Result<()> {
        fileio::write_atomically(
            &self.folder.join("tray.json"),
            &outcome::pretty(&self.tray, "the tray")?,
        )
    }

    /// A folder of its own for each take of a number.
    fn place(&self, name: &str) -> PathBuf {
        let first = self.folder.join(name);
        if first.symlink_metadata().is_err() {
            return first;
        }
        (2..)
            .map(|n| self.folder.join(format!("{name}-{n}")))
            .find(|p| p.symlink_metadata().is_err())
            .unwrap_or(first)
    }

    /// `again`: the same pickup, so that what other meters read of it holds.
    fn measure(&mut self, number: u32, again: bool, lines: &mut Typed, console: &mut Console) -> Result<()> {
        let name = self.tray.name(number);
        let out = self.place(&name);
        let sim = match self.sims.len() {
            0 => None,
            1 => self.sims.first().cloned(),
            n => self
                .sims
                .get(number.saturating_sub(self.args.first) as usize % n)
                .cloned(),
        };
        let args = MeasureArgs {
            pickup: name,
            source: self.args.source.clone(),
            about: About {
                rig: self.args.rig.clone(),
                load: self.args.load.clone(),
                over: self.args.over.clone(),
                room: self.args.room,
                ..About::default()
            },
            repeats: 1,
            knock: None,
            knock_take: None,
            devices: self.args.devices.clone(),
            drive: DriveArgs {
                seconds: self.args.drive.seconds.or(Some(TRAY_SECONDS)),
                ..self.args.drive.clone()
            },
            sim,
            drive_file: None,
            model: None,
            out: Some(out.clone()),
            shown: Shown::default(),
        };
        let (mut record, _) = match measure::taken(&args, console) {
            Ok(taken) => taken,
            // A device that was pulled out must not end the day: what is there is kept, and one goes on when it is back.
            Err(failure) => {
                console.error(&failure);
                return Ok(());
            }
        };
        let judged = self.judged(&record);
        let read = judged.as_ref().is_none_or(|j| j.call != Call::NoReading) && record.verdict != Verdict::Rejected;
        let place = fileio::name_of(&out);
        self.tray.put(number, Some((&record, place)), judged);
        self.keep()?;
        console.remark(&text::tray_step(&self.tray, outcome::style(self.args.shown)));
        if read {
            self.ask(&mut record, &out, (number, again), lines, console)?;
        }
        Ok(())
    }

    fn judged(&self, record: &Record) -> Option<Judged> {
        let standard = self.tray.standard.as_ref()?;
        Some(judge(record, standard, self.repeat.as_ref()))
    }

    /// What the other meters read: typed, kept beside the record at once, and judged with it.
    fn ask(
        &mut self,
        record: &mut Record,
        folder: &Path,
        (number, again): (u32, bool),
        lines: &mut Typed,
        console: &mut Console,
    ) -> Result<()> {
        for column in self.tray.columns.clone() {
            let before = self.tray.read_before(number, &column).filter(|_| again).cloned();
            let reading = loop {
                console.remark(&text::tray_ask(&column, before.as_ref()));
                // What is not typed any more is skipped; the end of it is met again at the next prompt.
                let Some(Ok(line)) = lines.next() else { return Ok(()) };
                match line.trim() {
                    "" => break before,
                    typed => match column.read(typed) {
                        Ok(reading) => break Some(reading),
                        Err(failure) => console.error(&failure),
                    },
                }
            };
            let Some(reading) = reading else { continue };
            let note = noted(record, None, vec![reading.clone()]);
            notes::add(folder, &note)?;
            record.noted.push(note);
            let judged = self.judged(record);
            self.tray.read_too(reading, judged);
            self.keep()?;
        }
        if !self.tray.columns.is_empty() {
            console.remark(&text::tray_step(&self.tray, outcome::style(self.args.shown)));
        }
        Ok(())
    }

    /// Words about the last one lie beside its record too, where the notebook finds them.
    fn note_with_record(&self, text: &str) -> Result<()> {
        let Some(name) = self.tray.standing().next_back().and_then(|e| e.record.clone()) else {
            return Ok(());
        };
        let folder = self.folder.join(name);
        let note = noted(&store::read(&folder)?, Some(text), Vec::new());
        notes::add(&folder, &note).map(drop)
    }

    fn end(self, console: &mut Console) -> Result<Status> {
        let counts = self.tray.counts();
        let mut files = Vec::new();
        if self.tray.standing().next().is_some() {
            let plot = tray_plot::lot(&self.tray)?;
            for (name, bytes) in [("tray.svg", plot.svg.into_bytes()), ("tray.png", plot.png)] {
                let path = self.folder.join(name);
                // Drawn anew each time the lot is put down: nothing measured is in it that tray.json has not.
                fileio::write_atomically(&path, &bytes)?;
                files.push(path);
            }
            files.push(self.folder.join("tray.json"));
        }
        if self.args.shown.json {
            console.json(&serde_json::json!({ "schema": self.tray.schema, "tray": self.tray, "counts": counts, "tallies": self.tray.tallies() }))?;
        } else {
            console.result(&text::tray_summary(&self.tray, &files, outcome::style(self.args.shown)))?;
        }
        let outside = self
            .tray
            .standing()
            .any(|e| e.judged.as_ref().is_some_and(|j| j.call == Call::Outside));
        Ok(if outside { Status::OutsideLimits } else { Status::Done })
    }
}

fn noted(record: &Record, text: Option<&str>, readings: Vec<Reading>) -> Note {
    let now = stamp(std::time::SystemTime::now());
    Note::new(now, record, text, readings, record.pickup.temperature_c)
}
