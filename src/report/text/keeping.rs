//! What was taken into the notebook, checked in it, or put away from it, in plain lines; they are broken where they are said.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Display;

use crate::book::add::{Added, How};
use crate::book::check::{Checked, Kind, Proof};
use crate::book::entry::Line;
use crate::book::thin::Much;
use crate::report::entry_words::on_paper;
use crate::report::words::{clean, plural};

pub fn added_text(added: &Added, other: &impl Display) -> String {
    let n = added.readings.len();
    let mut out = format!(
        "{n} reading{} and {} entr{} came in from {}.\n",
        plural(n),
        added.entries,
        ies(added.entries),
        other
    );
    if added.known > 0 {
        out.push_str(&format!(
            "{} reading{} here already, and left out.\n",
            added.known,
            were(added.known)
        ));
    }
    if added.notes > 0 {
        out.push_str(&format!(
            "{} note{} put beside readings that were here.\n",
            added.notes,
            were(added.notes)
        ));
    }
    for lot in &added.lots {
        let (name, to) = (clean(&lot.lot), clean(&lot.to));
        out.push_str(&match lot.how {
            How::New => format!("The lot {name} came in whole.\n"),
            How::GoesOn => format!("The lot {name} goes on: what is here was the beginning of it.\n"),
            How::OtherName => {
                format!("Another lot {name} is here: the one from there is {to} now, and its pickups are called so.\n")
            }
        });
    }
    let list = |names: &BTreeSet<String>| names.iter().map(|n| clean(n)).collect::<Vec<_>>().join(", ");
    if !added.in_both.is_empty() {
        out.push_str(&format!(
            "In both notebooks, and one pickup each from now on: {}. A reading of another pickup gets a name of its own: \
             `coilwright book rename NAME#0003 OTHER`.\n",
            list(&added.in_both)
        ));
    }
    if !added.renamed.is_empty() {
        out.push_str(&format!(
            "Called so there, and here by an entry for each reading: {}. What was said there of them under earlier names stays \
             with those names.\n",
            list(&added.renamed)
        ));
    }
    out
}

fn ies(n: usize) -> &'static str {
    if n == 1 { "y" } else { "ies" }
}

/// " was", "s were", behind a noun of which there are so many.
fn were(n: usize) -> &'static str {
    if n == 1 { " was" } else { "s were" }
}

pub fn checked_text(checked: &Checked) -> String {
    let mut out = format!(
        "{} reading{} and {} entr{} read; {} take{} what the record says.\n",
        checked.readings,
        plural(checked.readings),
        checked.entries,
        ies(checked.entries),
        checked.takes,
        if checked.takes == 1 { " is" } else { "s are" },
    );
    if checked.put_away > 0 {
        out.push_str(&format!(
            "The takes of {} were put away, as an entry says.\n",
            checked.put_away
        ));
    }
    if checked.elsewhere > 0 {
        out.push_str(&format!(
            "{} reading{} read from recordings that were never kept here.\n",
            checked.elsewhere,
            were(checked.elsewhere)
        ));
    }
    let mut kinds: BTreeMap<Kind, Vec<String>> = BTreeMap::new();
    for fault in &checked.faults {
        // A reader's own words begin with the place.
        let place = match fault.text.contains(&fault.place) {
            true => String::new(),
            false => format!("{}: ", fault.place),
        };
        kinds
            .entry(fault.kind)
            .or_default()
            .push(clean(&format!("{place}{}", fault.text)));
    }
    for (kind, list) in &kinds {
        let heading = match kind {
            Kind::Missing => "Missing",
            Kind::Doubled => "There twice",
            Kind::Unreadable => "Cannot be read",
            Kind::Other => "Not what the record says",
        };
        out.push_str(&listed(heading, list));
    }
    if !checked.links.is_empty() {
        out.push_str(&listed("Links, not followed", &checked.links));
    }
    if kinds.is_empty() {
        out.push_str("Nothing is missing, nothing is there twice, everything can be read.\n");
    }
    out
}

pub fn proof_text(proof: &Proof, place: &impl Display, put_away: usize) -> String {
    let mut out = match proof.holds() {
        true => format!(
            "{place} is proven: all {} files are there, byte for byte.\n",
            proof.same
        ),
        false => format!(
            "{place} is no whole backup; {} files are there, byte for byte.\n",
            proof.same
        ),
    };
    out.push_str(&listed("Not in the backup", &proof.missing));
    out.push_str(&listed("Other in the backup", &proof.other));
    out.push_str(&listed("Only in the backup", &proof.only_there));
    if put_away > 0 {
        out.push_str("Takes that were put away are in neither: keep a copy of their folder too.\n");
    }
    out
}

fn listed(heading: &str, list: &[String]) -> String {
    const MOST: usize = 20;
    if list.is_empty() {
        return String::new();
    }
    let mut out = format!("{heading}:\n");
    for one in list.iter().take(MOST) {
        out.push_str(&format!("  {}\n", clean(one)));
    }
    if list.len() > MOST {
        out.push_str(&format!("  and {} more; --json names them all\n", list.len() - MOST));
    }
    out
}

/// `done`: not only asked for.
pub fn thinned_text(much: &Much, to: &impl Display, done: bool) -> String {
    if much.files == 0 {
        return "No reading that old has its takes here.\n".into();
    }
    let verb = if done { "went" } else { "would go" };
    let mb = much.bytes as f64 / 1e6;
    format!(
        "{} recording{} of {} reading{}, {mb:.1} MB, {verb} to {to}. The readings stay.\n\
         Without them nobody can read a take again: not with a rig file that was put right since, not with another model, not with \
         a later version's analysis; taps cannot be heard again, and no check can hold a record against its take.\n\
         `coilwright book thin --back --to {to}` brings them back.\n",
        much.files,
        plural(much.files),
        much.readings,
        plural(much.readings),
    )
}

/// A table from paper as understood. `known`: lines that were here; `done`: written.
pub fn imported_text(columns: &[(&'static str, String)], rows: &[Line], known: usize, done: bool) -> String {
    const FIRST: usize = 5;
    let columns: Vec<String> = columns
        .iter()
        .map(|(what, head)| format!("{what}: {}", clean(head)))
        .collect();
    let mut out = format!("Columns: {}; all others are words.\n", columns.join(", "));
    for line in rows.iter().take(FIRST) {
        out.push_str(&format!("  {}\n", shown(line)));
    }
    if rows.len() > FIRST {
        out.push_str(&format!("  and {} more\n", rows.len() - FIRST));
    }
    out.push_str(&ended(rows.len(), known, done));
    out
}

fn shown(line: &Line) -> String {
    let day = if line.day.is_empty() { "no day" } else { &line.day };
    let stage = line
        .stage
        .as_ref()
        .map_or(String::new(), |s| format!(", {}", clean(s.text())));
    format!("{day}  {}{stage}: {}", clean(&line.pickup), on_paper(line))
}

fn ended(n: usize, known: usize, done: bool) -> String {
    let mut out = match (n, done) {
        (0, _) => "Nothing in it is new.\n".to_owned(),
        (_, false) => format!("{n} line{} would come in; nothing is written yet.\n", plural(n)),
        (_, true) => format!(
            "{n} line{} came in, marked as read by hand. `coilwright book undo` takes all of them back.\n",
            plural(n)
        ),
    };
    if known > 0 {
        out.push_str(&format!("{known} line{} here already, and left out.\n", were(known)));
    }
    out
}
