use crate::cli::args::CompareArgs;
use crate::cli::console::Console;
use crate::failure::{Result, Status};
pub fn run(_a: &CompareArgs, _c: &mut Console) -> Result<Status> {
    Ok(Status::Done)
}
