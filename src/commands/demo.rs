use crate::cli::args::DemoArgs;
use crate::cli::console::Console;
use crate::failure::{Result, Status};
pub fn run(_a: &DemoArgs, _c: &mut Console) -> Result<Status> {
    Ok(Status::Done)
}
