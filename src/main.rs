use std::process::ExitCode;

fn main() -> ExitCode {
    coilwright::cli::run(std::env::args_os()).into()
}
