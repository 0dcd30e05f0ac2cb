//! The plug pulled in the middle of everything.

use std::time::Duration;

use crate::bench::Folder;
use crate::kill::{self, Job, Step, Stop};

/// Of `all`, so many, evenly spread.
fn spread<T: Clone>(all: &[T], many: usize) -> Vec<T> {
    (0..many.min(all.len()))
        .map(|i| all[i * all.len() / many.min(all.len())].clone())
        .collect()
}

fn nothing_lost(stopped: usize, of: usize, complaints: &[String]) {
    assert!(2 * stopped >= of, "only {stopped} of {of} were stopped in time");
    assert!(
        complaints.is_empty(),
        "{} complaints:\n{}",
        complaints.len(),
        complaints.join("\n")
    );
}

/// Each job killed at so many of its operations on files.
pub fn killed(base: &Folder, jobs: &[Job], each: usize) {
    at(base, jobs, |steps| {
        spread(steps, each).into_iter().map(Stop::Kill).collect()
    });
}

/// Each job with a disk that is full at so many of those that take room.
pub fn full_disk(base: &Folder, jobs: &[Job], each: usize) {
    at(base, jobs, |steps| {
        let taking: Vec<Step> = steps.iter().filter(|s| s.takes_room()).cloned().collect();
        spread(&taking, each).into_iter().map(Stop::FullDisk).collect()
    });
}

fn at(base: &Folder, jobs: &[Job], stops: impl Fn(&[Step]) -> Vec<Stop>) {
    kill::strace_is_there();
    let of = |job| stops(&kill::steps(base, job)).into_iter().map(move |stop| (job, stop));
    let list: Vec<(&Job, Stop)> = jobs.iter().flat_map(of).collect();
    let (stopped, complaints) = kill::tried_all(base, &list);
    nothing_lost(stopped, list.len(), &complaints);
}

/// Sixty of all that `cargo bench --bench kills` tries.
#[test]
fn killed_at_an_operation_on_files_nothing_is_lost() {
    killed(&kill::workshop(), &kill::keepers(), 15);
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
    full_disk(&kill::workshop(), &kill::keepers(), 8);
}
