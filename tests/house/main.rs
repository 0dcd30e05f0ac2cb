//! The order of the rooms under `src`, held by a machine: nothing runs back up, no files know each other in a circle,
//! files and functions stay short, physics touches nothing outside.

use std::collections::{BTreeMap, BTreeSet};

use source::{functions, house};

mod crates;
mod source;

/// A room uses those before it, never one behind it.
const ORDER: &str = "failure estimate quantity copper fileio wrap parallel fft stats stimulus network rig capture transfer fit \
                     record analysis watch coil setup shop book report cli commands run lib main";
/// These do no input or output, read no clock and print nothing.
const PURE: [&str; 9] = [
    "stimulus", "network", "transfer", "fit", "stats", "analysis", "watch", "coil", "shop",
];
const FILE_LINES: usize = 500;
const FUNCTION_LINES: usize = 60;
const PARAMETERS: usize = 6;

/// Functions that are one table: nothing in them is decided, longer than a screen because the table is.
const TABLES: &[&str] = &[];

/// What is not yet in order. An entry that is no longer needed fails as well: the lists only become shorter.
mod not_yet {
    /// `file room`: the room is behind the file's own.
    pub const BACK_UP: &[&str] = &[];
    /// `file other`: the other uses the file in turn, itself or through others.
    pub const CIRCLES: &[&str] = &[
        "analysis/fits.rs analysis/mod.rs",
        "analysis/prepare.rs analysis/fits.rs",
        "analysis/prepare.rs analysis/mod.rs",
        "fit/attempt.rs fit/mod.rs",
        "fit/cell.rs fit/mod.rs",
        "fit/group.rs fit/attempt.rs",
        "fit/group.rs fit/mod.rs",
        "fit/joint/advice.rs fit/joint.rs",
        "fit/joint/outcome.rs fit/joint.rs",
        "fit/joint/search.rs fit/joint.rs",
        "fit/joint/unknowns.rs fit/joint.rs",
        "fit/misfit.rs fit/attempt.rs",
        "fit/misfit.rs fit/mod.rs",
        "fit/raw.rs fit/attempt.rs",
    ];
    pub const LONG_FILES: &[&str] = &[];
    /// `file function`.
    pub const LONG_FUNCTIONS: &[&str] = &[];
    pub const MANY_PARAMETERS: &[&str] = &[];
}

#[test]
fn nothing_runs_back_up() {
    let house = house();
    let rank = |room: &str| ORDER.split_whitespace().position(|r| r == room);
    let mut found = BTreeSet::new();
    for (path, file) in &house.files {
        let own = rank(&file.room).unwrap_or_else(|| panic!("{path}: its room has no place in the order"));
        for used in house.uses(path) {
            let room = &house.files[&used].room;
            if rank(room) > Some(own) {
                found.insert(format!("{path} {room}"));
            }
        }
    }
    holds("uses a room behind its own", &found, not_yet::BACK_UP);
}

/// Arrows are laid one after the other, those that lead down into a file's own parts first and those back up to it last;
/// one that closes a circle is one too many.
#[test]
fn no_files_know_each_other_in_a_circle() {
    let house = house();
    let mut arrows: Vec<(i32, &str, String)> = Vec::new();
    for (path, file) in &house.files {
        for used in house.uses(path) {
            let other = &house.files[&used].module;
            let up = i32::from(file.module.starts_with(other)) - i32::from(other.starts_with(&file.module));
            arrows.push((up, path, used));
        }
    }
    arrows.sort();
    let mut laid: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    let mut found = BTreeSet::new();
    for (_, from, to) in &arrows {
        if reaches(&laid, to, from) {
            found.insert(format!("{from} {to}"));
        } else {
            laid.entry(from).or_default().push(to);
        }
    }
    holds("closes a circle of files", &found, not_yet::CIRCLES);
}

fn reaches(laid: &BTreeMap<&str, Vec<&str>>, from: &str, to: &str) -> bool {
    let mut seen = BTreeSet::new();
    let mut next = vec![from];
    while let Some(p) = next.pop() {
        if p == to {
            return true;
        }
        if seen.insert(p) {
            next.extend(laid.get(p).into_iter().flatten());
        }
    }
    false
}

#[test]
fn physics_touches_nothing_outside() {
    let outside = |path: &Vec<String>| {
        matches!(
            path.iter().map(String::as_str).collect::<Vec<_>>()[..],
            ["std", "fs" | "io" | "env" | "net" | "process", ..]
                | ["crate", "fileio", ..]
                | ["print" | "println" | "eprint" | "eprintln"]
                | [.., "Instant" | "SystemTime" | "Timestamp" | "Zoned", "now"]
        )
    };
    let mut found = BTreeSet::new();
    for (path, file) in house().files.iter().filter(|(_, f)| PURE.contains(&f.room.as_str())) {
        found.extend(
            file.named()
                .iter()
                .filter(|n| outside(n))
                .map(|n| format!("{path} {}", n.join("::"))),
        );
    }
    holds("is physics and touches", &found, &[""; 0]);
}

#[test]
fn only_commands_show() {
    let all = house()
        .files
        .iter()
        .filter(|(_, f)| !["report", "commands"].contains(&f.room.as_str()));
    let found = all.filter(|(path, _)| house().uses(path).iter().any(|u| house().files[u].room == "report"));
    holds("uses report", &found.map(|(path, _)| path.clone()).collect(), &[""; 0]);
}

#[test]
fn files_are_short() {
    let house = house();
    let long = house.files.iter().filter(|(_, f)| f.lines > FILE_LINES);
    let found = long.map(|(path, _)| path.clone()).collect();
    holds(
        &format!("has more than {FILE_LINES} lines"),
        &found,
        not_yet::LONG_FILES,
    );
}

#[test]
fn functions_are_short_and_take_few_parameters() {
    let house = house();
    let (mut long, mut many) = (BTreeSet::new(), BTreeSet::new());
    for (path, file) in &house.files {
        for f in functions(&file.code) {
            let name = format!("{path} {}", f.name);
            if f.lines > FUNCTION_LINES {
                long.insert(name.clone());
            }
            if f.parameters > PARAMETERS {
                many.insert(name);
            }
        }
    }
    let allowed: Vec<&str> = TABLES.iter().chain(not_yet::LONG_FUNCTIONS).copied().collect();
    holds(&format!("has more than {FUNCTION_LINES} lines"), &long, &allowed);
    holds(
        &format!("takes more than {PARAMETERS} parameters"),
        &many,
        not_yet::MANY_PARAMETERS,
    );
}

/// What was found is what is allowed, neither more nor less.
fn holds(what: &str, found: &BTreeSet<String>, allowed: &[impl AsRef<str>]) {
    let allowed: BTreeSet<String> = allowed.iter().map(|a| a.as_ref().to_string()).collect();
    let new: Vec<&String> = found.difference(&allowed).collect();
    let old: Vec<&String> = allowed.difference(found).collect();
    assert!(new.is_empty(), "{what}:\n{new:#?}");
    assert!(old.is_empty(), "no longer {what}, take it off the list:\n{old:#?}");
}
