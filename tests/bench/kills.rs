//! The plug pulled at every operation on files and at 300 moments of chance, and the disk full at every step, of what keeps
//! what was measured: `tray`, `potting --sitting`, `note`, `measure --repeats`, `rig check`. The same of what keeps the
//! notebook: `book add`, `thin`, `import`, `rename`, `undo` and `note`, 200 moments of chance each. A word after `--` takes the jobs whose name holds it.
//! Ends with status 1 if anything was lost. Needs strace (Linux).

use std::time::{Duration, Instant};

#[path = "../cli/bench.rs"]
mod bench;
#[path = "../cli/kill.rs"]
mod kill;
#[path = "../cli/notebooks.rs"]
mod notebooks;

use kill::{Job, Step, Stop};

const AT_RANDOM: usize = 300;
/// Of each.
const OF_NOTEBOOKS: usize = 200;

fn at_random<'a>(base: &bench::Folder, jobs: &'a [Job], many: usize) -> Vec<(&'a Job, Stop)> {
    let times: Vec<Duration> = jobs.iter().map(|j| kill::whole_time(base, j)).collect();
    let each = jobs.iter().zip(times).cycle().enumerate();
    each.take(many).map(|(i, (j, t))| (j, kill::moment(i, t))).collect()
}

fn main() {
    kill::strace_is_there();
    let word = std::env::args().skip(1).find(|a| !a.starts_with('-'));
    let named = |all: Vec<Job>| -> Vec<Job> {
        let has = |j: &Job| word.as_ref().is_none_or(|w| j.name.contains(w.as_str()));
        all.into_iter().filter(has).collect()
    };
    let (base, books) = (kill::workshop(), notebooks::old());
    let (jobs, others, keepers) = (
        named(kill::keepers()),
        named(kill::writers()),
        named(notebooks::keepers()),
    );
    let mut lost = 0;
    let mut tell = |kind: &str, base: &bench::Folder, list: Vec<(&Job, Stop)>| {
        let begun = Instant::now();
        let (stopped, complaints) = kill::tried_all(base, &list);
        println!(
            "{kind}: {} runs, {stopped} of them stopped, {} complaints, {:.0?}",
            list.len(),
            complaints.len(),
            begun.elapsed()
        );
        for c in &complaints {
            println!("  {c}");
        }
        lost += complaints.len();
    };
    for (of, base, jobs, many) in [
        ("", &base, &jobs, AT_RANDOM),
        ("notebook: ", &books, &keepers, OF_NOTEBOOKS * keepers.len()),
    ] {
        let steps: Vec<(&Job, Step)> = jobs
            .iter()
            .flat_map(|j| kill::steps(base, j).into_iter().map(move |s| (j, s)))
            .collect();
        let at_each = steps.iter().map(|(j, s)| (*j, Stop::Kill(s.clone()))).collect();
        tell(&format!("{of}killed at every operation"), base, at_each);
        tell(&format!("{of}killed at random"), base, at_random(base, jobs, many));
        let full = steps.iter().filter(|(_, s)| s.takes_room());
        let full = full.map(|(j, s)| (*j, Stop::FullDisk(s.clone()))).collect();
        tell(&format!("{of}disk full at every step"), base, full);
    }
    tell(
        "whatever else writes, killed at random",
        &base,
        at_random(&base, &others, AT_RANDOM),
    );
    // Its folder goes with it, which an exit would leave.
    drop(books);
    drop(base);
    std::process::exit(i32::from(lost > 0));
}
