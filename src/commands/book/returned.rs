//! `book returned`: is it what was sent?

use std::collections::BTreeMap;

use super::in_guitar::Guitar;
use super::sent::readings;
use crate::book::entries::{self, Entries};
use crate::book::entry::What;
use crate::book::index::Fresh;
use crate::book::life;
use crate::book::row::{Filter, Row, Sort};
use crate::cli::args::ReturnedArgs;
use crate::cli::wirings::read_coil;
use crate::coil::basis::Basis;
use crate::commands::prelude::*;
use crate::commands::{measure, outcome, readings as measured, wanted};
use crate::record::about::Pole;
use crate::record::stage::Stage;
use crate::record::when::moment;
use crate::record::{Record, store};
use crate::report::{entry_words, returned_words, text};
use crate::shop::returned::{Look, Question, Returned, Verdict, Why, judge, nearest, pole};

pub fn run(args: &ReturnedArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    let name = args.measure.pickup.clone().given();
    let entries = entries::all(&notebook);
    let given = args.record.as_deref().map(wanted::placed).transpose()?;
    wanted::inside(&notebook, given.as_slice())?;
    let today = given.as_ref().map(|g| g.1.id.as_str());
    let (left, remark) = left_with(&notebook, &name, &entries, today)?;
    if let Some(remark) = remark {
        console.remark(&remark);
    }
    if let Some(wiring) = &args.in_guitar {
        let place = life::about(&life::of(&entries.hold, &name)).position;
        let place = place.map(entry_words::position);
        let pole = |pickup: &str| {
            let own = Some(pickup) == place;
            pole_of(&notebook, if own { &name } else { pickup }, &entries)
        };
        let guitar = Guitar {
            args,
            place,
            left: store::read(&notebook.join(&left.path))?,
            pole: &pole,
            name: &name,
        };
        return guitar.run(wiring, console);
    }
    let basis = args.coil.as_deref().map(|path| Basis::of(read_coil(path)?));
    let basis = basis.transpose()?;
    let (today, files) = match given {
        Some((place, _)) => (place, Vec::new()),
        None => measured_now(args, &name, console)?,
    };
    let pair = [notebook.join(&left.path), today];
    let it = told(&notebook, &name, &pair, basis.as_ref(), console)?;
    let what = What::Returned {
        pickup: name,
        record: it.today.id.clone(),
        found: returned_words::code(&it),
    };
    wanted::say(&notebook, what)?;
    let none = || Ok(Vec::new());
    outcome::tell((&it, files), args.measure.shown, console, text::returned_text, none)?;
    Ok(status(&it))
}

/// Where today's reading lies, and what was written of it.
fn measured_now(args: &ReturnedArgs, name: &str, console: &mut Console) -> Result<(PathBuf, Vec<PathBuf>)> {
    let mut job = args.measure.job.clone();
    let stage = &mut job.about.life.stage;
    *stage = stage.take().or_else(|| Stage::of("returned"));
    let taken = measure::taken(name, &job, console)?;
    outcome::draw_missing(std::slice::from_ref(&taken.folder), console);
    Ok((taken.folder, taken.files))
}

fn status(it: &Returned) -> Status {
    match (it.verdict, &it.why) {
        (Verdict::Changed, _) => Status::OutsideLimits,
        (_, Some(Why::NoReading { .. })) => Status::NoReading,
        _ => Status::Done,
    }
}

/// The reading it left with; where nobody marked one that stands its latest, with a remark. `today`: the id of the reading on its
/// return, which is none of them.
fn left_with(notebook: &Path, name: &str, entries: &Entries, today: Option<&str>) -> Result<(Row, Option<String>)> {
    // For one that was given the folders were looked through a moment ago.
    let fresh = if today.is_some() { Fresh::Usual } else { Fresh::Now };
    let mut rows = readings(notebook, name, fresh)?;
    let back = rows.iter().find(|r| Some(r.id.as_str()) == today).map(|r| r.seq);
    rows.retain(|r| back.is_none_or(|back| r.seq < back));
    let sent = life::sent(&entries.hold);
    let marked = sent.get(name).copied();
    let last = left(rows, marked.flatten()).ok_or_else(|| {
        Failure::new(
            format!("{name} has no reading from before it left"),
            "give the name it was measured under; `coilwright book` lists them",
        )
    })?;
    let remark = match marked {
        Some(Some(id)) if id != last.id => Some(format!(
            "the reading {name} was sent with does not stand any more: held against its latest."
        )),
        None if last.stage.as_deref() != Some(SENT) => Some(format!(
            "{name} was never marked as sent: held against its latest reading."
        )),
        _ => None,
    };
    Ok((last, remark))
}

/// The stage of a reading that somebody called so at the tray or by hand.
const SENT: &str = "sent";

/// Of a pickup's readings in order of their time, the one it left with: marked so by an entry or by its stage, else the latest.
fn left(mut rows: Vec<Row>, marked: Option<&str>) -> Option<Row> {
    let is_marked = |r: &Row| marked == Some(r.id.as_str());
    let is_staged = |r: &Row| r.stage.as_deref() == Some(SENT);
    let place = rows.iter().position(is_marked);
    let place = place.or_else(|| rows.iter().rposition(is_staged));
    let place = place.or(rows.len().checked_sub(1))?;
    Some(rows.swap_remove(place))
}

/// What is said of both readings, other pickups looked at where it changed.
fn told(
    notebook: &Path,
    name: &str,
    pair: &[PathBuf; 2],
    basis: Option<&Basis>,
    console: &mut Console,
) -> Result<Returned> {
    let (records, how) = measured::known(pair, console)?;
    let [left, today] = records.as_slice() else {
        return Err(Failure::new("one of the two readings is gone", "give --record"));
    };
    let asked = |others: &[Record]| {
        judge(&Question {
            left,
            today,
            basis,
            how: &how,
            others,
        })
    };
    let mut it = asked(&[])?;
    if it.verdict == Verdict::Changed && !matches!(it.looks.first(), Some(Look::Dead { .. })) {
        let others = near(notebook, name, [left, today])?;
        it = asked(&others)?;
    }
    // It may have been called otherwise when it was measured.
    it.pickup = name.to_owned();
    returned_words::put(&mut it, &[left.clone(), today.clone()]);
    Ok(it)
}

/// Pickups that left, or stand, with a peak nearest to this one: each by the reading it left with under the same load.
fn near(notebook: &Path, name: &str, [before, today]: [&Record; 2]) -> Result<Vec<Record>> {
    let filter = Filter {
        load: today.load.as_ref().map(|l| l.text.clone()),
        rig: today.rig.name.clone(),
        sort: Sort::Age,
        ..Filter::every()
    };
    let (rows, entries) = wanted::ask(notebook, Fresh::Usual, |index| {
        Ok((index.rows(&filter)?, index.entries()?))
    })?;
    let sent = life::sent(&entries);
    let mut others: BTreeMap<String, Vec<Row>> = BTreeMap::new();
    for row in rows.into_iter().filter(|r| r.is_its_own() && r.name != name) {
        others.entry(row.name.clone()).or_default().push(row);
    }
    let left = others
        .into_iter()
        .filter_map(|(name, rows)| left(rows, sent.get(name.as_str()).copied().flatten()))
        .filter_map(|r| Some((r.peak_hz?.0, moment(&r.taken_at)?.as_second(), r)));
    // One that cannot be read any more is nobody's label.
    let read = |r: &Row| Some(r.told(store::read(&notebook.join(&r.path)).ok()?));
    Ok(nearest(before, today, left).iter().filter_map(read).collect())
}

/// Which pole of a pickup is up: as somebody said, else as a gauss meter read it.
fn pole_of(notebook: &Path, pickup: &str, entries: &Entries) -> Option<Pole> {
    life::about(&life::of(&entries.hold, pickup)).magnet.or_else(|| {
        let rows = readings(notebook, pickup, Fresh::Usual).ok()?;
        rows.iter()
            .rev()
            .find_map(|r| pole(&store::read(&notebook.join(&r.path)).ok()?))
    })
}
