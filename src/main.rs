use std::process::ExitCode;

fn main() -> ExitCode {
    std::panic::set_hook(Box::new(|info| eprintln!("{}", coilwright::run::fault(info))));
    let (mut out, mut err) = (anstream::stdout(), anstream::stderr());
    coilwright::run::run(std::env::args_os(), &mut out, &mut err).into()
}
