use std::process::ExitCode;

fn main() -> ExitCode {
    let (mut out, mut err) = (anstream::stdout(), anstream::stderr());
    coilwright::cli::run(std::env::args_os(), &mut out, &mut err).into()
}
