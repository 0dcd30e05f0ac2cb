//! Where words go: results to one writer, the rest to the other, both handed in.

use std::io::Write;

use crate::failure::{Failure, Result};

/// The two writers of a run and what the terminal can do.
pub struct Console<'a> {
    out: &'a mut dyn Write,
    err: &'a mut dyn Write,
}

impl<'a> Console<'a> {
    pub fn new(out: &'a mut dyn Write, err: &'a mut dyn Write) -> Self {
        Console { out, err }
    }

    /// A result, on standard output.
    pub fn result(&mut self, text: &str) -> Result<()> {
        let ended = self.out.write_all(text.as_bytes()).and_then(|()| self.out.flush());
        match ended {
            // Whoever read the output has gone away: nothing left to tell.
            Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
            Err(e) => Err(Failure::new(
                format!("cannot write the result: {e}"),
                "check where the output goes",
            )),
            Ok(()) => Ok(()),
        }
    }

    /// A document, on standard output.
    pub fn json(&mut self, document: &impl serde::Serialize) -> Result<()> {
        let mut text = serde_json::to_string_pretty(document).map_err(|e| {
            Failure::new(
                format!("cannot write the result as JSON: {e}"),
                "report this as a fault of the program",
            )
        })?;
        text.push('\n');
        self.result(&text)
    }

    /// A remark, on standard error.
    pub fn remark(&mut self, text: &str) {
        let _ = writeln!(self.err, "{text}");
        let _ = self.err.flush();
    }

    pub fn error(&mut self, failure: &Failure) {
        self.remark(&format!("coilwright: {failure}"));
    }
}

/// Columns of the terminal that standard output goes to; 80 where it is none.
pub fn width() -> usize {
    std::env::var("COLUMNS")
        .ok()
        .and_then(|c| c.parse().ok())
        .unwrap_or(80)
        .clamp(40, 160)
}
