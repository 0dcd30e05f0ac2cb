use crate::cli::args::DevicesArgs;
use crate::cli::console::Console;
use crate::failure::{Result, Status};
pub fn run(_a: &DevicesArgs, _c: &mut Console) -> Result<Status> {
    Ok(Status::Done)
}
