//! The plug pulled in the middle of everything.

use std::time::Duration;

use crate::kill::{self, Job, Step, Stop};

/// Of `all`, so many, evenly spread.
pub fn spread<T: Clone>(all: &[T], many: usize) -> Vec<T> {
    (0..many.min(all.len()))
        .map(|i| all[i * all.len() / many.min(all.len())].clone())
        .collect()
}

pub fn nothing_lost(stopped: usize, of: usize, complaints: &[String]) {
    assert!(2 * stopped >= of, "only {stopped} of {of} were stopped in time");
    assert!(
        complaints.is_empty(),
        "{} complaints:\n{}",
        complaints.len(),
        complaints.join("\n")
    );
}

/// Sixty of all that `cargo bench --bench kills` tries.
#[test]
fn killed_at_an_operation_on_files_nothing_is_lost() {
    kill::strace_is_there();
    let base = kill::workshop();
    let jobs = kill::keepers();
    let list: Vec<(&Job, Stop)> = jobs
        .iter()
        .flat_map(|job| {
            spread(&kill::steps(&base, job), 15)
                .into_iter()
                .map(move |s| (job, Stop::Kill(s)))
        })
        .collect();
    let (stopped, complaints) = kill::tried_all(&base, &list);
    nothing_lost(stopped, list.len(), &complaints);
}

#[test]
fn killed_at_any_time_nothing_is_lost() {
    let base = kill::workshop();
    let jobs: Vec<Job> = kill::keepers().into_iter().chain(kill::writers()).collect();
    let times: Vec<Duration> = jobs.iter().map(|j| kill::whole_time(&base, j)).collect();
    let list: Vec<(&Job, Stop)> = (0..60)
        .map(|i| (&jobs[i % jobs.len()], kill::moment(i, times[i % jobs.len()])))
        .collect();
    let (stopped, complaints) = kill::tried_all(&base, &list);
    nothing_lost(stopped, list.len(), &complaints);
}

#[test]
fn on_a_full_disk_nothing_is_lost() {
    kill::strace_is_there();
    let base = kill::workshop();
    let jobs = kill::keepers();
    let list: Vec<(&Job, Stop)> = jobs
        .iter()
        .flat_map(|job| {
            let steps: Vec<Step> = kill::steps(&base, job).into_iter().filter(Step::takes_room).collect();
            spread(&steps, 8).into_iter().map(move |s| (job, Stop::FullDisk(s)))
        })
        .collect();
    let (stopped, complaints) = kill::tried_all(&base, &list);
    nothing_lost(stopped, list.len(), &complaints);
}
