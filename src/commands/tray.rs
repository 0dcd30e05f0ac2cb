//! `tray`: a lot on the bench, key by key.

use std::path::{Path, PathBuf};

use super::measure::{self, Job};
use super::outcome::{self, Told};
use super::rig::{Placement, history_of, repeat_of};
use crate::cli::args::{About, DriveArgs, TrayArgs};
use crate::cli::console::Console;
use crate::cli::context::{Bench, Fresh, stamp};
use crate::cli::defaults::Defaults;
use crate::cli::inputs::LoadArg;
use crate::cli::keys::{Keys, Typed};
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::record::checks::RepeatDocument;
use crate::record::meters::{Kind, Reading};
use crate::record::notes::{self, Note};
use crate::record::standard::{Judged, Standard, judge, judge_alone};
use crate::record::tray::{Entry, Setting, Tray};
use crate::record::{Record, store};
use crate::report::{text, tray_plot};
use crate::rig::Rig;

const MOST_BYTES: u64 = 64 << 20;

/// Of the test signal, unless told otherwise: with silences, the card's own delay and the fit the verdict stands after some
/// 4.2 s. Noise counts a tenth more than in a take of `measure`.
const TRAY_SECONDS: f64 = 2.2;

pub fn run(args: &TrayArgs, console: &mut Console) -> Result<Status> {
    let mut bench = Lot::open(args)?;
    console.remark(&text::tray_keys(&bench.tray));
    bench.opening(console);
    let mut keys = console.keys();
    loop {
        console.remark(&text::tray_prompt(&bench.tray));
        let line = match keys.line() {
            Typed::Text(line) => line,
            Typed::Slip => {
                console.remark("  that is no text; type it once more");
                continue;
            }
            // The end of what is typed ends the tray too: it goes on next time.
            Typed::End => break,
        };
        match bench.key(&line, &mut keys, console) {
            Ok(true) => {}
            Ok(false) => break,
            // A device that was pulled out, or a full disk, must not end the day: what is there stays, and one goes on when it
            // is back.
            Err(failure) => {
                console.remark(&failure.to_string());
                // A Ctrl-C has ended its take, and the next one sounds again.
                console.stop().heed();
            }
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
    rig: Option<PathBuf>,
    load: Option<LoadArg>,
    /// What is to be said before the first one.
    remarks: Vec<String>,
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
            let simulated = args.source == "sim";
            if tray.standing().any(|e| e.record.is_some() && e.simulated != simulated) {
                return Err(Failure::new(
                    format!(
                        "the lot {} holds {} takes",
                        args.lot,
                        if simulated { "real" } else { "simulated" }
                    ),
                    "simulated and real ones are never one lot: give this one another name",
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
        // What is not said now was said when the lot was begun.
        let begun = tray.setting.clone().filter(|_| tray.standing().next().is_some());
        let rig = [
            args.rig.clone(),
            defaults.rig.clone(),
            begun.as_ref().and_then(|b| b.rig_file.clone()),
        ];
        let rig = rig.into_iter().flatten().next();
        let load = match (&args.load, &defaults.load, begun.as_ref().and_then(|b| b.load.as_ref())) {
            (None, None, Some(text)) => Some(LoadArg::Load(text.parse()?)),
            (load, ..) => load.clone(),
        };
        let about = About {
            rig: rig.clone(),
            load: load.clone(),
            ..About::default()
        };
        let bench = Bench::plan(&about, &defaults)?;
        let summary = bench.rig.as_ref().map(Rig::summary).unwrap_or_default();
        let setting = Setting {
            rig_file: rig.clone(),
            rig: summary.name.clone(),
            rig_hash: summary.told_chain(),
            load: bench.load.as_ref().map(ToString::to_string),
        };
        match &begun {
            Some(begun) if !begun.same(&setting) => {
                return Err(Failure::new(
                    format!(
                        "the lot {} was begun on {}, and this is {}",
                        args.lot,
                        begun.words(),
                        setting.words()
                    ),
                    "measure it as it was begun, or give this lot another name",
                ));
            }
            _ => tray.setting = Some(setting.clone()),
        }
        let path = rig.as_ref();
        // What beside the rig file cannot be read is said, and stops nobody from working.
        let mut remarks = Vec::new();
        let mut readable = |e: Failure| remarks.push(e.to_string());
        let placed = path.map(|p| repeat_of(p)).transpose().map_err(&mut readable);
        let checks = path.map(|p| history_of(p)).transpose().map_err(&mut readable);
        let placed = placed.ok().flatten().unwrap_or(Placement::Unknown);
        let placed = placed.for_kind(args.source == "sim");
        if let Some(standard) = &tray.standard {
            remarks.extend(
                standard
                    .elsewhere(&summary, setting.load.as_deref())
                    .map(|w| format!("No verdict: {w}.")),
            );
            remarks.extend(placed.missing().map(str::to_owned));
        }
        let no_go = match checks.ok().flatten().flatten() {
            Some(h) => h.checks.last().is_some_and(|c| !c.go),
            None => false,
        };
        if no_go {
            remarks.push("The rig's last check was NO GO: see to that first, `coilwright rig check`.".into());
        }
        let sims = args.sim.as_deref().map_or(Ok(Vec::new()), described)?;
        Ok(Lot {
            args,
            folder,
            tray,
            repeat: placed.told(),
            remarks,
            rig,
            load,
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

    /// What is to be known before the first one is laid down.
    fn opening(&self, console: &mut Console) {
        if self.args.source == "sim" {
            console.remark("SIMULATED: the built-in bench, no real pickup.");
        } else {
            super::sound::caution(console);
        }
        let of_bench = self.tray.standard.as_ref().is_some_and(|s| s.simulated);
        if of_bench && self.args.source != "sim" {
            console.remark("The standard is of simulated pickups of the built-in bench.");
        }
        if self.tray.columns.iter().any(|c| c.kind == Kind::Gauss) {
            console.remark("Strong magnets: implants, cards and watches keep away.");
        }
        for r in &self.remarks {
            console.remark(r);
        }
    }

    /// One line of what is typed; whether it goes on.
    fn key(&mut self, line: &str, keys: &mut Keys, console: &mut Console) -> Result<bool> {
        let (key, rest) = match line.split_once(' ') {
            Some((k, r)) => (k, r.trim()),
            None => (line, ""),
        };
        match (key, rest) {
            ("", _) => return self.measure(self.tray.next, None, keys, console),
            ("r", "") => match self.tray.last().cloned() {
                Some(old) => return self.measure(old.number, Some(old), keys, console),
                None => console.remark("nothing to measure again yet"),
            },
            ("s", "") => {
                let number = self.tray.next;
                self.tray.put(number, None, None);
                self.keep()?;
            }
            ("u", "") => match self.tray.undo() {
                Some(number) => {
                    self.keep()?;
                    console.remark(&format!("number {number} is taken back; its record stays"));
                }
                None => console.remark("nothing to take back"),
            },
            ("n", text) if !text.is_empty() => match self.tray.note(text) {
                Some(number) => {
                    self.keep()?;
                    self.note_with_record(text)?;
                    console.remark(&format!("noted with number {number}"));
                }
                None => console.remark("nothing to note it with yet"),
            },
            ("q", "") => return Ok(false),
            _ => console.remark(&text::tray_keys(&self.tray)),
        }
        Ok(true)
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

    /// Whether it goes on. `old`: the same pickup's entry, so that what other meters read of it holds; it is withdrawn where there
    /// is a new reading, or was none.
    fn measure(&mut self, number: u32, old: Option<Entry>, keys: &mut Keys, console: &mut Console) -> Result<bool> {
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
        let job = Job {
            about: About {
                rig: self.rig.clone(),
                load: self.load.clone(),
                over: self.args.over.clone(),
                room: self.args.room,
                ..About::default()
            },
            devices: self.args.devices.clone(),
            drive: DriveArgs {
                seconds: self.args.drive.seconds.or(Some(TRAY_SECONDS)),
                ..self.args.drive.clone()
            },
            sim,
            out: Some(out.clone()),
            ..Job::new(name, &self.args.source)
        };
        let mut record = measure::taken(&job, console)?.record;
        let judged = self.judged(&record);
        let read = record.reading().is_some();
        if let Some(old) = &old {
            if !read && old.has_reading() {
                let why = record.rejected_for();
                console.remark(&format!(
                    "no reading{}; the one before stands",
                    why.map_or(String::new(), |f| format!(" ({})", f.text))
                ));
                return Ok(true);
            }
            self.tray.undo();
        }
        let place = fileio::name_of(&out);
        self.tray.put(number, Some((&record, place)), judged);
        if let Some(old) = &old {
            self.carry_over(old, &mut record, &out)?;
        }
        self.keep()?;
        console.remark(&text::tray_step(&self.tray, outcome::remark_style(self.args.shown)));
        if read {
            let before = old.map_or(Vec::new(), |o| o.readings);
            return self.ask(&mut record, &out, &before, keys, console);
        }
        Ok(true)
    }

    /// What was noted and read of the same pickup lies beside its new record at once: the questions may never be answered.
    fn carry_over(&mut self, old: &Entry, record: &mut Record, folder: &Path) -> Result<()> {
        let words = (!old.notes.is_empty()).then(|| old.notes.join("; "));
        if words.is_some() || !old.readings.is_empty() {
            let mut note = noted(record, words.as_deref(), old.readings.clone());
            notes::add(folder, &mut note)?;
            record.noted.push(note);
        }
        let judged = self.judged(record);
        self.tray.carry_over(old, judged);
        Ok(())
    }

    fn judged(&self, record: &Record) -> Option<Judged> {
        match &self.tray.standard {
            Some(standard) => Some(judge(record, standard, self.repeat.as_ref())),
            None => judge_alone(record),
        }
    }

    /// What the other meters read: typed, kept beside the record at once, and judged with it. Whether it goes on.
    fn ask(
        &mut self,
        record: &mut Record,
        folder: &Path,
        earlier: &[Reading],
        keys: &mut Keys,
        console: &mut Console,
    ) -> Result<bool> {
        for column in self.tray.columns.clone() {
            let before = earlier.iter().rev().find(|r| r.column() == column).cloned();
            let mut doubted = None;
            let reading = loop {
                console.remark(&text::tray_ask(&column, before.as_ref()));
                let line = match keys.line() {
                    Typed::Text(line) => line,
                    Typed::Slip => {
                        console.remark("  that is no text; type it once more");
                        continue;
                    }
                    Typed::End => return Ok(false),
                };
                match line.as_str() {
                    // What was read before lies there already.
                    "" => break None,
                    "q" => return Ok(false),
                    typed => match column.read(typed) {
                        // Typed twice it is meant.
                        Ok(reading) => match reading.doubt().filter(|_| doubted.as_ref() != Some(&reading)) {
                            Some(doubt) => {
                                console.remark(&format!("  {doubt} Type it once more to keep it."));
                                doubted = Some(reading);
                            }
                            None => break Some(reading),
                        },
                        Err(failure) => console.remark(&format!("  {failure}")),
                    },
                }
            };
            let Some(reading) = reading else { continue };
            let mut note = noted(record, None, vec![reading.clone()]);
            notes::add(folder, &mut note)?;
            record.noted.push(note);
            let judged = self.judged(record);
            self.tray.read_too(reading, judged);
            self.keep()?;
        }
        if !self.tray.columns.is_empty() {
            console.remark(&text::tray_step(&self.tray, outcome::remark_style(self.args.shown)));
        }
        Ok(true)
    }

    /// Words about the last one lie beside its record too, where the notebook finds them.
    fn note_with_record(&self, text: &str) -> Result<()> {
        let Some(name) = self.tray.standing().next_back().and_then(|e| e.record.clone()) else {
            return Ok(());
        };
        let folder = self.folder.join(name);
        let mut note = noted(&store::read(&folder)?, Some(text), Vec::new());
        notes::add(&folder, &mut note).map(drop)
    }

    fn end(self, console: &mut Console) -> Result<Status> {
        let tray = &self.tray;
        let counts = tray.counts();
        if !tray.entries.is_empty() {
            self.keep()?;
        }
        let any = tray.standing().next().is_some();
        Told {
            document: &serde_json::json!({ "schema": tray.schema, "tray": tray, "counts": counts, "tallies": tray.tallies() }),
            files: any.then(|| self.folder.join("tray.json")).into_iter().collect(),
            shown: self.args.shown,
        }
        .tell(
            console,
            |_, style| text::tray_summary(tray, style),
            || {
                // Drawn anew each time the lot is put down: nothing measured is in it that tray.json has not.
                let lot = any.then(|| Ok((self.folder.join("tray"), tray_plot::lot(tray)?)));
                lot.into_iter().collect()
            },
        )?;
        // Once for the lot, and for what an earlier day left undrawn.
        let folders = tray.entries.iter().filter_map(|e| e.record.as_ref());
        let folders: Vec<PathBuf> = folders.map(|name| self.folder.join(name)).collect();
        outcome::draw_missing(&folders, console);
        Ok(match (counts.outside > 0, counts.no_reading > 0) {
            (true, _) => Status::OutsideLimits,
            (_, true) => Status::NoReading,
            _ => Status::Done,
        })
    }
}

/// What the built-in bench holds: one description, or a file with one for each number.
fn described(text: &str) -> Result<Vec<String>> {
    if Path::new(text).extension().is_none_or(|e| e != "txt") {
        return Ok(vec![text.to_owned()]);
    }
    let file = fileio::read_text_limited(Path::new(text), MOST_BYTES)?;
    let lines: Vec<String> = file
        .lines()
        .filter(|l| !l.trim().is_empty())
        .map(str::to_owned)
        .collect();
    if lines.is_empty() {
        return Err(Failure::new(
            format!("{text} describes no pickup"),
            "write one for each line, such as r=6k l=2.4H cs=120p",
        ));
    }
    Ok(lines)
}

fn noted(record: &Record, text: Option<&str>, readings: Vec<Reading>) -> Note {
    let now = stamp(std::time::SystemTime::now());
    Note::new(now, record, text, readings, record.pickup.temperature_c)
}
