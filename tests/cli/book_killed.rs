//! The plug pulled, or the disk full, while a notebook is added, thinned, imported, renamed in, or noted in: some forty of what
//! `cargo bench --bench kills` tries.

use crate::kill::{self, Job, Step, Stop};
use crate::killed::{nothing_lost, spread};
use crate::notebooks;

#[test]
fn a_notebook_killed_at_an_operation_on_files_loses_nothing() {
    kill::strace_is_there();
    let base = notebooks::old();
    let jobs = notebooks::keepers();
    let list: Vec<(&Job, Stop)> = jobs
        .iter()
        .flat_map(|job| {
            spread(&kill::steps(&base, job), 7)
                .into_iter()
                .map(move |s| (job, Stop::Kill(s)))
        })
        .collect();
    let (stopped, complaints) = kill::tried_all(&base, &list);
    nothing_lost(stopped, list.len(), &complaints);
}

#[test]
fn a_notebook_on_a_full_disk_loses_nothing() {
    kill::strace_is_there();
    let base = notebooks::old();
    let jobs = notebooks::keepers();
    let list: Vec<(&Job, Stop)> = jobs
        .iter()
        .flat_map(|job| {
            let steps: Vec<Step> = kill::steps(&base, job).into_iter().filter(Step::takes_room).collect();
            spread(&steps, 3).into_iter().map(move |s| (job, Stop::FullDisk(s)))
        })
        .collect();
    let (stopped, complaints) = kill::tried_all(&base, &list);
    nothing_lost(stopped, list.len(), &complaints);
}
