//! The plug pulled, or the disk full, while a notebook is added, thinned, imported, renamed in, or noted in: some seventy of
//! what `cargo bench --bench kills` tries.

use crate::{killed, notebooks};

#[test]
fn a_notebook_killed_at_an_operation_on_files_loses_nothing() {
    killed::killed(&notebooks::old(), &notebooks::keepers(), 7);
}

#[test]
fn a_notebook_on_a_full_disk_loses_nothing() {
    killed::full_disk(&notebooks::old(), &notebooks::keepers(), 3);
}
