//! Where words go: results to one writer, the rest to the other, both handed in.

use std::io::{BufWriter, Write};

use anstream::{AutoStream, ColorChoice};

use super::keys::{Keys, Typed};
use crate::capture::stop::Stop;
use crate::failure::{Failure, Result};
use crate::wrap;

/// The two writers of a run and what the terminal can do.
pub struct Console<'a> {
    out: &'a mut dyn Write,
    err: &'a mut dyn Write,
    stop: Stop,
    /// From the first question on.
    keys: Option<Keys>,
    /// To be said with the result.
    later: Vec<String>,
    /// Whoever read the results has gone away.
    unread: bool,
}

impl<'a> Console<'a> {
    pub fn new(out: &'a mut dyn Write, err: &'a mut dyn Write) -> Self {
        Console {
            out,
            err,
            stop: Stop::default(),
            keys: None,
            later: Vec::new(),
            unread: false,
        }
    }

    /// Asked by a signal, once [`catch`] is called.
    pub fn stop(&self) -> Stop {
        self.stop.clone()
    }

    /// The line that is typed at a prompt; `None` where the input has ended, and the command with it.
    pub fn ask(&mut self, prompt: &str) -> Option<String> {
        loop {
            self.remark(prompt);
            let keys = self.keys.get_or_insert_with(|| {
                catch(&self.stop);
                Keys::new(self.stop.clone())
            });
            match keys.line() {
                Typed::Text(line) => return Some(line),
                Typed::Slip => self.remark("  that is no text; type it once more"),
                Typed::End => return None,
            }
        }
    }

    /// A result, on standard output.
    pub fn result(&mut self, text: &str) -> Result<()> {
        self.write(|out| out.write_all(text.as_bytes()))
    }

    fn write(&mut self, what: impl FnOnce(&mut dyn Write) -> std::io::Result<()>) -> Result<()> {
        for text in std::mem::take(&mut self.later) {
            self.remark(&text);
        }
        let ended = what(self.out).and_then(|()| self.out.flush());
        match ended {
            // Nothing left to tell.
            Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => {
                self.unread = true;
                Ok(())
            }
            Err(e) => Err(Failure::new(
                format!("cannot write the result: {e}"),
                "check where the output goes",
            )),
            Ok(()) => Ok(()),
        }
    }

    /// Whether nobody reads the results any more.
    pub fn unread(&self) -> bool {
        self.unread
    }

    /// A result in words, on standard output; lines are broken at the terminal's width.
    pub fn words(&mut self, text: &str) -> Result<()> {
        self.result(&wrap::indented(text, width()))
    }

    /// A document, on standard output.
    pub fn json(&mut self, document: &impl serde::Serialize) -> Result<()> {
        self.write(|out| {
            let mut out = BufWriter::with_capacity(1 << 16, out);
            serde_json::to_writer_pretty(&mut out, document)?;
            out.write_all(b"\n")?;
            out.flush()
        })
    }

    /// A remark, on standard error; lines are broken at the terminal's width.
    pub fn remark(&mut self, text: &str) {
        self.say(&wrap::indented(text, remark_width()));
    }

    /// As [`Self::remark`], with the result: where there is none, only the error is said.
    pub fn with_result(&mut self, text: String) {
        self.later.push(text);
    }

    /// One line, however long.
    pub fn error(&mut self, failure: &Failure) {
        self.say(&format!("coilwright: {failure}"));
    }

    fn say(&mut self, text: &str) {
        let _ = writeln!(self.err, "{text}");
        let _ = self.err.flush();
    }
}

/// From here on Ctrl-C, termination and a closed terminal end what is going on instead of the process. A second Ctrl-C that finds
/// the first one unheeded ends the process.
pub fn catch(stop: &Stop) {
    use signal_hook::consts::{SIGINT, SIGTERM};
    use signal_hook::flag;

    // Twice for one flag would make each Ctrl-C its own second one.
    let Some([pressed, ended]) = stop.flags() else { return };
    // Refused by no system that has these signals; where one does, they end the process, as ever.
    let _ = flag::register_conditional_shutdown(SIGINT, 130, pressed.clone());
    let _ = flag::register(SIGINT, pressed);
    let _ = flag::register(SIGTERM, ended.clone());
    #[cfg(unix)]
    let _ = flag::register(signal_hook::consts::SIGHUP, ended);
}

/// Whether results are painted where they go.
pub fn painted() -> bool {
    AutoStream::choice(&std::io::stdout()) != ColorChoice::Never
}

/// Columns of the terminal that results go to, asked anew each time: windows are resized.
pub fn width() -> usize {
    usable(terminal_size::terminal_size_of(std::io::stdout()))
}

/// The same of the one that remarks go to.
pub fn remark_width() -> usize {
    usable(terminal_size::terminal_size_of(std::io::stderr()))
}

/// `COLUMNS` counts where there is no terminal: what a shell exported at its start is not what the window is now.
fn usable(terminal: Option<(terminal_size::Width, terminal_size::Height)>) -> usize {
    let said = || std::env::var("COLUMNS").ok()?.parse().ok();
    let columns = terminal.map(|(w, _)| usize::from(w.0)).or_else(said);
    columns.unwrap_or(80).clamp(40, 160)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn remarks_fit_a_terminal_and_errors_stay_one_line() {
        let long = "word ".repeat(40);
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let mut console = Console::new(&mut out, &mut err);
        console.remark(&format!("short\n  {long}"));
        console.error(&Failure::new(long.clone(), "do this"));
        let text = String::from_utf8(err).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[0], "short");
        let (last, remark) = lines[1..].split_last().unwrap();
        let fits = |l: &&str| l.len() <= remark_width() && l.starts_with("  word");
        assert!(remark.len() > 1 && remark.iter().all(fits), "{text}");
        assert!(last.starts_with("coilwright: word") && last.ends_with("do this"));
    }
}
