//! What was taken into the notebook, checked in it, or put away from it, in plain lines; they are broken where they are said.

use std::collections::BTreeMap;
use std::fmt::Display;

use crate::book::add::{Added, How};
use crate::book::check::{Checked, Fault, Kind, Proof};
use crate::book::entry::Line;
use crate::book::thin::Much;
use crate::report::entry_words::on_paper;
use crate::report::words::{clean, list, names};

pub fn added_text(added: &Added, other: &impl Display) -> String {
    let (n, entries) = (
        counted(added.readings.len(), "reading", "readings"),
        counted(added.entries, "entry", "entries"),
    );
    let mut out = format!("{n} and {entries} came in from {other}.\n");
    if added.known > 0 {
        let known = counted(added.known, "reading was", "readings were");
        out.push_str(&format!("{known} here already, and left out.\n"));
    }
    if added.notes > 0 {
        let notes = counted(added.notes, "note was", "notes were");
        out.push_str(&format!("{notes} put beside readings that were here.\n"));
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
    if !added.in_both.is_empty() {
        out.push_str(&format!(
            "In both notebooks, and one pickup each from now on: {}. A reading of another pickup gets a name of its own: \
             `coilwright book rename NAME#0003 OTHER`.\n",
            names(&added.in_both)
        ));
    }
    if !added.renamed.is_empty() {
        out.push_str(&format!(
            "Called so there, and here by an entry for each reading: {}. What was said there of them under earlier names stays \
             with those names.\n",
            names(&added.renamed)
        ));
    }
    out
}

/// "1 reading was", "2 entries".
fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

pub fn checked_text(checked: &Checked) -> String {
    let mut out = format!(
        "{} and {} read; {} what the record says.\n",
        counted(checked.readings, "reading", "readings"),
        counted(checked.entries, "entry", "entries"),
        counted(checked.takes, "take is", "takes are"),
    );
    if checked.put_away > 0 {
        out.push_str(&format!(
            "The takes of {} were put away, as an entry says.\n",
            checked.put_away
        ));
    }
    if checked.elsewhere > 0 {
        let elsewhere = counted(checked.elsewhere, "reading was", "readings were");
        out.push_str(&format!(
            "{elsewhere} read from recordings that were never kept here.\n"
        ));
    }
    let mut kinds: BTreeMap<Kind, Vec<String>> = BTreeMap::new();
    for Fault { kind, place, text } in &checked.faults {
        // A reader's own words begin with the place.
        let told = if text.contains(place) {
            clean(text)
        } else {
            clean(&format!("{place}: {text}"))
        };
        kinds.entry(*kind).or_default().push(told);
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
    out.push_str(&listed("Links, not followed", &checked.links));
    if kinds.is_empty() {
        out.push_str("Nothing is missing, nothing is there twice, everything can be read.\n");
    }
    out
}

pub fn proof_text(proof: &Proof, place: &impl Display, put_away: usize) -> String {
    let (all, same) = (proof.holds(), proof.same);
    let holds = if all { "proven: all" } else { "no whole backup;" };
    let mut out = format!("{place} is {holds} {same} files are there, byte for byte.\n");
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
    let first = list.iter().take(MOST).map(|one| format!("  {}\n", clean(one)));
    let mut out = format!("{heading}:\n{}", first.collect::<String>());
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
    let (files, readings) = (
        counted(much.files, "recording", "recordings"),
        counted(much.readings, "reading", "readings"),
    );
    format!(
        "{files} of {readings}, {mb:.1} MB, {verb} to {to}. The readings stay.\n\
         Without them nobody can read a take again: not with a rig file that was put right since, not with another model, not with \
         a later version's analysis; taps cannot be heard again, and no check can hold a record against its take.\n\
         `coilwright book thin --back --to {to}` brings them back.\n"
    )
}

/// A table from paper as understood. `known`: lines that were here; `done`: written.
pub fn imported_text(columns: &[(&'static str, String)], rows: &[Line], known: usize, done: bool) -> String {
    const FIRST: usize = 5;
    let columns = list(columns.iter().map(|(what, head)| format!("{what}: {}", clean(head))));
    let mut out = format!("Columns: {columns}; all others are words.\n");
    rows.iter()
        .take(FIRST)
        .for_each(|line| out.push_str(&format!("  {}\n", shown(line))));
    if rows.len() > FIRST {
        out.push_str(&format!("  and {} more\n", rows.len() - FIRST));
    }
    let lines = counted(rows.len(), "line", "lines");
    out.push_str(&match (rows.len(), done) {
        (0, _) => "Nothing in it is new.\n".to_owned(),
        (_, false) => format!("{lines} would come in; nothing is written yet.\n"),
        (_, true) => {
            format!("{lines} came in, marked as read by hand. `coilwright book undo` takes all of them back.\n")
        }
    });
    if known > 0 {
        out.push_str(&format!(
            "{} here already, and left out.\n",
            counted(known, "line was", "lines were")
        ));
    }
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
