//! Man pages and completions, made from the command line's own types: `papers OUT`.

use std::io::{Error, Result};
use std::path::PathBuf;

use clap_complete::Shell;
use coilwright::cli::brief;

fn main() -> Result<()> {
    let usage = || Error::other("give the folder to write to");
    let out = std::env::args_os().nth(1).map(PathBuf::from).ok_or_else(usage)?;
    std::fs::create_dir_all(&out)?;
    let command = brief::command();
    for shell in [Shell::Bash, Shell::Fish, Shell::Zsh] {
        clap_complete::generate_to(shell, &mut command.clone(), "coilwright", &out)?;
    }
    clap_mangen::generate_to(command, &out)
}
