//! The command line: parse, run, say how it ended.

use std::ffi::OsString;
use std::io::Write;
use std::panic::{AssertUnwindSafe, PanicHookInfo, catch_unwind};

use clap::FromArgMatches as _;
use clap::error::{ContextKind, ContextValue, ErrorKind};

use crate::cli::args::{Cli, Command};
use crate::cli::brief;
use crate::cli::console::{self, Console};
use crate::commands;
use crate::failure::{Failure, Result, Status};

/// Runs the program. Results go to `out`, everything else to `err`.
pub fn run(args: impl IntoIterator<Item = OsString>, out: &mut dyn Write, err: &mut dyn Write) -> Status {
    let parsed = brief::command()
        .try_get_matches_from(args)
        .and_then(|m| Cli::from_arg_matches(&m));
    let cli = match parsed {
        Ok(cli) => cli,
        Err(e) if matches!(e.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) => {
            let help = e.render();
            let _ = match console::painted() {
                true => write!(out, "{}", help.ansi()),
                false => write!(out, "{help}"),
            };
            return Status::Done;
        }
        Err(e) => {
            let _ = writeln!(err, "coilwright: {}", usage_line(&e));
            return Status::Unusable;
        }
    };
    let mut console = Console::new(out, err);
    // Of a panic the hook has told.
    let ended = catch_unwind(AssertUnwindSafe(|| dispatch(cli.command, &mut console)));
    match ended.unwrap_or(Ok(Status::Unusable)) {
        Ok(status) => status,
        Err(failure) => {
            console.error(&failure);
            Status::Unusable
        }
    }
}

/// A fault of the program itself in one line, without a backtrace: what whoever mends it has to know.
pub fn fault(info: &PanicHookInfo) -> String {
    let what = info.payload().downcast_ref::<String>().map(String::as_str);
    let what = what.or(info.payload().downcast_ref::<&str>().copied());
    let place = info.location().map_or("an unknown place".into(), ToString::to_string);
    format!(
        "coilwright: a fault of the program itself, version {} at {place}: {}; please report this line, the command and the files it met",
        env!("COILWRIGHT_VERSION"),
        what.unwrap_or("no particulars").replace(char::is_control, " ")
    )
}

fn dispatch(command: Command, console: &mut Console) -> Result<Status> {
    match command {
        Command::Demo(a) => commands::demo::run(&a, console),
        Command::Devices(a) => commands::devices::run(&a, console),
        Command::Drive(a) => commands::drive::run(&a, console),
        Command::Use(a) => commands::remember::run(&a, console),
        Command::Measure(a) => commands::measure::run(*a, console),
        Command::Watch(a) => commands::watch::run(&a, console),
        Command::Analyze(a) => commands::analyze::run(&a, console),
        Command::Compare(a) => commands::compare::run(&a, console),
        Command::Loads(a) => commands::loads::run(&a, console),
        Command::Coil(a) => commands::coil::run(&a, console),
        Command::Potting(a) => commands::potting::run(a, console),
        Command::Note(a) => commands::note::run(&a, console),
        Command::Standard(a) => commands::standard::run(&a, console),
        Command::Book(a) => commands::book::run(&a, console),
        Command::Page(a) => commands::page::run(&a, console),
        Command::Tray(a) => commands::tray::run(&a, console),
        Command::Rig(a) => commands::rig::run(a.action, console),
    }
}

/// Characters of a wrong value that a message repeats.
const LONGEST_VALUE: usize = 80;

/// "<NAME> (or --pickup <NAME>)" of "<NAME|--pickup <NAME>>".
fn either(missing: &str) -> String {
    let both = missing
        .strip_prefix('<')
        .and_then(|m| m.strip_suffix('>')?.split_once('|'));
    both.map_or(missing.to_owned(), |(name, option)| format!("<{name}> (or {option})"))
}

/// Clap's message in one line: what is wrong and what to do.
fn usage_line(e: &clap::Error) -> String {
    if e.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        return "no command given; `coilwright --help` lists them with examples".into();
    }
    let mut text = e.render().to_string();
    // A value that went astray may be a whole file.
    if let Some(ContextValue::String(value)) = e.get(ContextKind::InvalidValue)
        && let Some((end, _)) = value.char_indices().nth(LONGEST_VALUE)
    {
        text = text.replace(value.as_str(), &format!("{}...", &value[..end]));
    }
    let mut lines = text.lines().map(str::trim).filter(|l| !l.is_empty());
    let first = lines.next().unwrap_or("the command line cannot be read");
    let rest = lines
        .take_while(|l| !l.starts_with("Usage:") && !l.starts_with("For more information"))
        .map(|l| l.trim_start_matches("tip: "));
    if e.kind() == ErrorKind::MissingRequiredArgument {
        let missing: Vec<String> = rest.map(either).collect();
        return format!("{} is missing; give it (--help has examples)", missing.join(" and "));
    }
    if let (Some(ContextValue::Number(least)), Some(ContextValue::Number(given))) =
        (e.get(ContextKind::MinValues), e.get(ContextKind::ActualNumValues))
    {
        return format!("{given} given, and at least {least} are needed; --help has examples");
    }
    let mut line = first.trim_start_matches("error: ").to_owned();
    for r in rest {
        line.push_str(if r.starts_with("a similar") { "; " } else { " " });
        line.push_str(r);
    }
    if !line.contains("; ") {
        line.push_str("; --help shows what is understood");
    }
    Failure::new(line, "").what
}
