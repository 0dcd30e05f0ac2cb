use std::io::Write;
use std::process::ExitCode;

use coilwright::cli::console;

fn main() -> ExitCode {
    std::panic::set_hook(Box::new(|info| eprintln!("{}", coilwright::run::fault(info))));
    // Where results are not painted, there is nothing to take out of them.
    let mut out: Box<dyn Write> = match console::painted() {
        true => Box::new(anstream::stdout()),
        false => Box::new(std::io::stdout()),
    };
    coilwright::run::run(std::env::args_os(), &mut out, &mut anstream::stderr()).into()
}
