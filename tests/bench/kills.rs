//! The plug pulled at every operation on files and at 300 moments of chance, and the disk full at every step, of what keeps
//! what was measured: `tray`, `note`, `measure --repeats`, `rig check`. A word after `--` takes the jobs whose name holds it.
//! Ends with status 1 if anything was lost. Needs strace (Linux).

use std::time::{Duration, Instant};

#[path = "../cli/bench.rs"]
mod bench;
#[path = "../cli/kill.rs"]
mod kill;

use kill::{Job, Step, Stop};

const AT_RANDOM: usize = 300;

fn main() {
    kill::strace_is_there();
    let word = std::env::args().skip(1).find(|a| !a.starts_with('-'));
    let base = kill::workshop();
    let jobs: Vec<Job> = kill::keepers()
        .into_iter()
        .filter(|j| word.as_ref().is_none_or(|w| j.name.contains(w.as_str())))
        .collect();
    assert!(!jobs.is_empty(), "no job has that in its name");
    let steps: Vec<(&Job, Step)> = jobs
        .iter()
        .flat_map(|j| kill::steps(&base, j).into_iter().map(move |s| (j, s)))
        .collect();
    let times: Vec<Duration> = jobs.iter().map(|j| kill::whole_time(&base, j)).collect();
    let at_each = steps.iter().map(|(j, s)| (*j, Stop::Kill(s.clone()))).collect();
    let at_random = (0..AT_RANDOM)
        .map(|i| (&jobs[i % jobs.len()], kill::moment(i, times[i % jobs.len()])))
        .collect();
    let full = steps.iter().filter(|(_, s)| s.takes_room());
    let full = full.map(|(j, s)| (*j, Stop::FullDisk(s.clone()))).collect();
    let kinds: [(&str, Vec<(&Job, Stop)>); 3] = [
        ("killed at every operation", at_each),
        ("killed at random", at_random),
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
    std::process::exit(i32::from(lost > 0));
}
