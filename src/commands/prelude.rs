//! What nearly every command names.

pub use std::path::{Path, PathBuf};

pub use crate::cli::console::Console;
pub use crate::cli::defaults::Defaults;
pub use crate::failure::{Failure, Result, Status};
