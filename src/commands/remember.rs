use crate::cli::args::UseArgs;
use crate::cli::console::Console;
use crate::failure::{Result, Status};
pub fn run(_a: &UseArgs, _c: &mut Console) -> Result<Status> {
    Ok(Status::Done)
}
