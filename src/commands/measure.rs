use crate::cli::args::MeasureArgs;
use crate::cli::console::Console;
use crate::failure::{Result, Status};
pub fn run(_a: MeasureArgs, _c: &mut Console) -> Result<Status> {
    Ok(Status::Done)
}
