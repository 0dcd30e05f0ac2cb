use std::process::ExitCode;

fn main() -> ExitCode {
    // A fault of the program is told in one line by `run`, without a backtrace.
    std::panic::set_hook(Box::new(|_| {}));
    let (mut out, mut err) = (anstream::stdout(), anstream::stderr());
    coilwright::run::run(std::env::args_os(), &mut out, &mut err).into()
}
