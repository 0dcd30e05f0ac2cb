//! The plug pulled at every operation on files and at 300 moments of chance, and the disk full at every step, of what keeps
//! what was measured: `tray`, `note`, `measure --repeats`, `rig check`. What keeps the notebook is killed so in
//! `tests/cli/book_killed.rs`. A word after `--` takes the jobs whose name holds it.
//! Ends with status 1 if anything was lost. Needs strace (Linux).

use std::time::{Duration, Instant};

#[path = "../cli/bench.rs"]
mod bench;
#[path = "../cli/kill.rs"]
mod kill;

use kill::{Job, Step, Stop};

const AT_RANDOM: usize = 300;

fn at_random<'a>(base: &bench::Folder, jobs: &'a [Job]) -> Vec<(&'a Job, Stop)> {
    let times: Vec<Duration> = jobs.iter().map(|j| kill::whole_time(base, j)).collect();
    let each = jobs.iter().zip(times).cycle().enumerate();
    each.take(AT_RANDOM)
        .map(|(i, (j, t))| (j, kill::moment(i, t)))
        .collect()
}

fn main() {
    kill::strace_is_there();
    let word = std::env::args().skip(1).find(|a| !a.starts_with('-'));
    let named = |all: Vec<Job>| -> Vec<Job> {
        let has = |j: &Job| word.as_ref().is_none_or(|w| j.name.contains(w.as_str()));
        all.into_iter().filter(has).collect()
    };
    let base = kill::workshop();
    let (jobs, others) = (named(kill::keepers()), named(kill::writers()));
    let steps: Vec<(&Job, Step)> = jobs
        .iter()
        .flat_map(|j| kill::steps(&base, j).into_iter().map(move |s| (j, s)))
        .collect();
    let at_each = steps.iter().map(|(j, s)| (*j, Stop::Kill(s.clone()))).collect();
    let full = steps.iter().filter(|(_, s)| s.takes_room());
    let full = full.map(|(j, s)| (*j, Stop::FullDisk(s.clone()))).collect();
    let kinds: [(&str, Vec<(&Job, Stop)>); 4] = [
        ("killed at every operation", at_each),
        ("killed at random", at_random(&base, &jobs)),
        ("whatever else writes, killed at random", at_random(&base, &others)),
        ("disk full at every step", full),
    ];
    let mut lost = 0;
    for (kind, list) in kinds {
        let begun = Instant::now();
        let (stopped, complaints) = kill::tried_all(&base, &list);
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
    }
    // Its folder goes with it, which an exit would leave.
    drop(base);
    std::process::exit(i32::from(lost > 0));
}
