//! Pages, made from what other commands know.

use super::asked::{Asked, Of};
use crate::book::index::Fresh;
use crate::book::row::Filter;
use crate::book::{entries, life, look};
use crate::cli::args::{PageArgs, PottingArgs, Surroundings};
use crate::cli::wirings::{read_coil, resolve};
use crate::coil::basis::Basis;
use crate::coil::loads::{LoadsDocument, Manner, predict_one};
use crate::commands::book::life::{Known, Recipe, recipe_words};
use crate::commands::prelude::*;
use crate::commands::wanted::Placed;
use crate::commands::{compare, potting, readings, rig, wanted};
use crate::record::{Record, store};
use crate::report::page::Page;
use crate::report::page::line::Line;
use crate::report::pages::{self, Told};
use crate::report::{checks_plot, difference_words, rig_words};
use crate::rig::Rig;
use crate::shop::difference;
use crate::shop::lot::{TRAY, Tray};
use crate::shop::order::document::LotDocument;
use crate::shop::order::{self, Made};
use crate::shop::witness::checks::{CheckDocument, RigDocument, WitnessShown};
use crate::shop::witness::history::History;

pub fn of(asked: &Asked, args: &PageArgs, console: &mut Console) -> Result<Page> {
    let recipe = Recipe::asked(args.with_recipe);
    match &asked.of {
        Of::Record(word) => {
            let placed = wanted::placed(word)?;
            let told = told(std::slice::from_ref(&placed), recipe, console)?.pop();
            let (record, told) = told.unwrap_or((placed.1, Told::default()));
            pages::record::page(&record, &told)
        }
        Of::Records => {
            let (records, how) = compare::asked(&args.what, console)?;
            let mut comparison = difference::compare(&records, &how)?;
            difference_words::put(&mut comparison, &records);
            pages::comparison::page(&records, &comparison)
        }
        Of::Sheets => {
            let placed = wanted::all(&args.what)?;
            let title = match placed.as_slice() {
                [(_, record)] => Line::from("Sheet of ").theirs(&record.pickup.name),
                all => format!("Sheets of {} pickups", all.len()).into(),
            };
            sheets(title, &placed, recipe, console)
        }
        Of::SheetsOfLot(folder) => {
            let tray = look::tray(&folder.join(TRAY))?;
            let places: Vec<PathBuf> = tray
                .standing()
                .filter_map(|e| Some(folder.join(e.record.as_ref()?)))
                .collect();
            let placed = wanted::all(&places)?;
            sheets(Line::from("Sheets of ").theirs(&tray.lot), &placed, recipe, console)
        }
        Of::Lot(folder) => {
            let tray = look::tray(&folder.join(TRAY))?;
            pages::lot::page(&tray, in_order(&tray, folder, console)?.as_ref())
        }
        Of::Wax => pages::wax::page(&potting::asked(&before_and_after(args), console)?),
        Of::Rig(path) => of_rig(path, console),
        Of::Coil(path) => pages::loads::page(&predicted(path, args)?),
        Of::Life(name) => {
            let found = Known::of(&wanted::notebook()?, name, &Filter::default(), Fresh::Usual, console)?;
            found.say_left_out(console);
            pages::life::page(&found.shown(recipe), &found.last_of_stages())
        }
    }
}

/// The lot in the order of making, from those of its records that are there; `None` where none of them reads anything.
fn in_order(tray: &Tray, folder: &Path, console: &mut Console) -> Result<Option<LotDocument>> {
    // A lot may have come without its records; one that is there and cannot be read is named.
    let there = tray.standing().filter_map(|e| {
        let place = folder.join(e.record.as_ref()?);
        place.exists().then_some((e.number, place))
    });
    let (numbers, places): (Vec<u32>, Vec<PathBuf>) = there.unzip();
    let each = places.into_iter().map(|place| store::read(&place).map(|r| (place, r)));
    let (read, how) = readings::numbered(wanted::readable(each.collect(), console), console)?;
    let read = read.into_iter().filter(|r| r.1.reading().is_some());
    let made: Vec<Made> = read.map(|(i, record)| (numbers[i], record)).collect();
    match made.is_empty() {
        true => Ok(None),
        false => order::lot(&tray.lot, &made, &how.matters).map(Some),
    }
}

fn before_and_after(args: &PageArgs) -> PottingArgs {
    PottingArgs {
        before: args.what.clone(),
        after: args.after.clone(),
        stays: args.stays.clone(),
        on: Surroundings {
            rig: args.rig.clone(),
            ..Surroundings::default()
        },
        rested: args.rested,
        ..PottingArgs::default()
    }
}

/// Readings by what is known of their rigs today, each with what the notebook says of its pickup.
fn told(placed: &[Placed], recipe: Recipe, console: &mut Console) -> Result<Vec<(Record, Told)>> {
    let (records, _) = readings::known_of(placed, console)?;
    let said = entries::all(&wanted::notebook()?);
    for why in &said.unread {
        console.remark(&format!("left out: {why}"));
    }
    let all = said.hold;
    let of = |record: Record| {
        let said = life::of(&all, &record.pickup.name);
        let told = Told {
            about: life::about(&said),
            recipe: match recipe {
                Recipe::Shown => recipe_words(&all, &said),
                Recipe::Kept => Vec::new(),
            },
        };
        (record, told)
    };
    Ok(records.into_iter().map(of).collect())
}

fn sheets(title: Line, placed: &[Placed], recipe: Recipe, console: &mut Console) -> Result<Page> {
    pages::take_home::page(title, &told(placed, recipe, console)?)
}

fn predicted(path: &Path, args: &PageArgs) -> Result<LoadsDocument> {
    let basis = Basis::of(read_coil(path)?)?;
    let mut document = LoadsDocument::of(&basis, Vec::new());
    for arg in &args.load {
        let (name, wiring) = resolve(arg)?;
        document.notes.extend(wiring.load.remarks());
        let predicted = predict_one(&basis, &name, &wiring, None, &Manner::default());
        document.loads.push(predicted);
    }
    Ok(document)
}

/// A rig, its checks, and what was changed on it.
pub fn of_rig(path: &Path, console: &mut Console) -> Result<Page> {
    let rig = Rig::read(path)?;
    let known = rig::renewed(&rig, path, console)?;
    let newest = known.eras.newest();
    let document = RigDocument::of(&rig, newest, rig_words::words(&rig));
    let checked = newest.and_then(|history| {
        let last = history.checks.last()?;
        let judged = history.judged(&known.expected(last.simulated), checks_plot::MOST);
        let judgement = judged.last()?;
        let advice = rig_words::advice(&rig, last, judgement, history);
        Some(pages::rig::Checked {
            last: CheckDocument::of(history, last, judgement, WitnessShown::default(), advice),
            history: history.clone(),
            judged,
        })
    });
    let earlier: &[History] = known.eras.all().get(1..).unwrap_or_default();
    pages::rig::page(&document, checked.as_ref(), earlier)
}
