//! What `-h` shows: the options of every day, and the commands in the order of a day. `--help` shows all.

use std::fmt::Write as _;

use clap::{Command, CommandFactory as _};

use super::args::Cli;
use super::console;
use crate::wrap;

/// Of commands that have more than ten, those that are used daily.
const DAILY: [(&str, &str); 14] = [
    ("measure", "rig load over ohms room stage by note repeats source"),
    ("watch", "over page rig load room level source"),
    ("tray", "standard rig load columns room stage by source"),
    ("potting", "after stays sitting rig load room rested keep out source"),
    ("analyze", "drive pickup rig load ohms room stage channels out"),
    ("loads", "coil load vary tolerance reach by against list out"),
    ("note", "text ohms lcr gauss room stage about design recipe withdraw"),
    ("use", "rig load folder room over columns matters forget"),
    ("book", "lot since stage load rig sort all csv out"),
    ("book sets", "of target reversed limit keep number load csv"),
    ("book returned", "record in-guitar coil ohms room rig load source"),
    ("rig inputs", "rig through tolerance range replace"),
    ("rig new", "reference series sense inductance mains witness source"),
    ("rig check", "rig record begin-again room source"),
];

/// The commands in the order of a day.
const GROUPS: [(&str, &[&str]); 5] = [
    ("To begin with", &["demo", "devices", "use"]),
    ("The rig", &["rig", "drive"]),
    ("A pickup", &["measure", "watch", "analyze", "compare", "coil", "loads"]),
    ("Lots and wax", &["tray", "standard", "potting"]),
    ("The notebook", &["book", "note", "page"]),
];

/// Columns before what a command is about.
const ABOUT: usize = 12;

/// The command line with its short and its long help.
pub fn command() -> Command {
    let mut command = Cli::command();
    for (path, daily) in DAILY {
        command = with(command, path, daily);
    }
    let listed = listed(&command);
    command.help_template(format!(
        "{{about-with-newline}}\n{{usage-heading}} {{usage}}\n{listed}\nOptions:\n{{options}}{{after-help}}"
    ))
}

fn with(command: Command, path: &str, daily: &'static str) -> Command {
    let (first, rest) = path.split_once(' ').unwrap_or((path, ""));
    if path.is_empty() {
        return command.mut_args(|arg| {
            let hidden = arg.get_long().is_some_and(|long| daily.split(' ').all(|d| d != long));
            arg.hide_short_help(hidden)
        });
    }
    command.mut_subcommand(first, |inner| with(inner, rest, daily))
}

fn listed(command: &Command) -> String {
    let mut out = String::new();
    for (heading, names) in GROUPS {
        let _ = writeln!(out, "\n{heading}:");
        for name in names {
            let about = command.find_subcommand(name).and_then(Command::get_about);
            let about = about.map(ToString::to_string).unwrap_or_default();
            let room = console::width() - ABOUT;
            let about = wrap::lines(&about, |l| wrap::columns(l) <= room).join(&format!("\n{:ABOUT$}", ""));
            let _ = writeln!(out, "  {name:<9} {about}");
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Options that `-h` shows at most.
    const MOST: usize = 10;

    fn all(command: &Command, path: &str, out: &mut Vec<(String, Command)>) {
        for inner in command.get_subcommands() {
            let path = format!("{path} {}", inner.get_name()).trim().to_owned();
            out.push((path.clone(), inner.clone()));
            all(inner, &path, out);
        }
    }

    #[test]
    fn no_command_shows_more_than_ten_options_at_once() {
        let mut commands = Vec::new();
        all(&command(), "", &mut commands);
        for (path, command) in &commands {
            let shown = command
                .get_arguments()
                .filter(|a| a.get_long().is_some() && !a.is_hide_short_help_set());
            let shown: Vec<&str> = shown.filter_map(clap::Arg::get_long).collect();
            assert!(shown.len() <= MOST, "{path}: {shown:?}");
        }
        for (path, daily) in DAILY {
            let (_, command) = commands.iter().find(|c| c.0 == path).unwrap();
            for name in daily.split(' ') {
                assert!(
                    command.get_arguments().any(|a| a.get_long() == Some(name)),
                    "{path} --{name}"
                );
            }
        }
    }

    #[test]
    fn every_command_has_its_place_in_the_day() {
        let mut placed: Vec<&str> = GROUPS.iter().flat_map(|g| g.1).copied().collect();
        let command = command();
        let mut there: Vec<&str> = command.get_subcommands().map(Command::get_name).collect();
        placed.sort_unstable();
        there.sort_unstable();
        assert_eq!(placed, there);
    }
}
