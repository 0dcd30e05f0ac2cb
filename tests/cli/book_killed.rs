//! The plug pulled, or the disk full, while a notebook is added, thinned, imported, renamed in, or noted in.

use serde_json::{Value, json};

use crate::bench::{Folder, Made, copy};
use crate::book_keep::two_notebooks;
use crate::kill::{self, Job, Step, Stop};
use crate::killed::{nothing_lost, spread};

/// Its notebook's readings are of long ago, and their takes lie in `kept` as well.
fn shop() -> Folder {
    static MADE: Made = Made::new();
    Folder::like(&MADE, || {
        let f = two_notebooks();
        copy(&f.path("book"), &f.path("kept"));
        // Only those are older than two years, whose takes are then not what their ids say.
        for n in ["0001", "0002"] {
            let path = format!("book/neck-1/{n}/record.json");
            let mut record: Value = serde_json::from_slice(&f.bytes(&path)).unwrap();
            let old = "2020-01-31T14:05:09+00:00";
            record["taken_at"] = json!(old);
            let take =
                coilwright::capture::wav::read_take(&f.path(&format!("book/neck-1/{n}/take.wav")), None).unwrap();
            record["id"] = json!(coilwright::analysis::compose::identity(&take, old, "neck-1"));
            f.write(&path, &serde_json::to_vec(&record).unwrap());
        }
        f.write("old.csv", b"day,name,ohms\n2006-05-31,old,6k\n2006-06-01,old,6.1k\n");
        f
    })
}

#[test]
fn a_notebook_killed_at_an_operation_on_files_loses_nothing() {
    kill::strace_is_there();
    let base = shop();
    let jobs = kill::bookkeepers();
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
    let base = shop();
    let jobs = kill::bookkeepers();
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

/// As many as `cargo bench --bench kills` tries of chance; by hand: `cargo test --test cli book_killed -- --ignored`.
#[test]
#[ignore = "two hundred kills"]
fn a_notebook_killed_two_hundred_times_loses_nothing() {
    let base = shop();
    let jobs = kill::bookkeepers();
    let times: Vec<_> = jobs.iter().map(|j| kill::whole_time(&base, j)).collect();
    let list: Vec<(&Job, Stop)> = (0..200)
        .map(|i| (&jobs[i % jobs.len()], kill::moment(i, times[i % jobs.len()])))
        .collect();
    let (_, complaints) = kill::tried_all(&base, &list);
    assert!(complaints.is_empty(), "{}", complaints.join("\n"));
}
