use crate::cli::args::DriveCommand;
use crate::cli::console::Console;
use crate::failure::{Result, Status};
pub fn run(_a: &DriveCommand, _c: &mut Console) -> Result<Status> {
    Ok(Status::Done)
}
