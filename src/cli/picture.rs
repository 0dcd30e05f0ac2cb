//! A picture on the terminal that is drawn anew in its place.

use std::io::{IsTerminal, Write};

use super::console;

/// What is smaller shows no curve.
const LEAST: (usize, usize) = (40, 14);
/// Taller ones show no more.
const MOST_LINES: usize = 40;

/// Standard output as a screen.
#[derive(Default)]
pub struct Picture {
    /// Lines of it that stand there.
    drawn: usize,
}

impl Picture {
    /// Columns and lines that a picture may take; `None` where there is no terminal, or too small a one.
    pub fn room() -> Option<(usize, usize)> {
        let stdout = std::io::stdout();
        if !stdout.is_terminal() {
            return None;
        }
        let (w, h) = terminal_size::terminal_size_of(&stdout)?;
        // The line below the picture is the cursor's.
        let (w, h) = (usize::from(w.0), usize::from(h.0).saturating_sub(1));
        (w >= LEAST.0 && h >= LEAST.1).then_some((w.min(160), h.min(MOST_LINES)))
    }

    /// Draws it over the one before. Colours go where they are wanted, the cursor's ways always.
    pub fn draw(&mut self, lines: &[String]) -> std::io::Result<()> {
        let mut out = std::io::stdout().lock();
        let plain = !console::painted();
        let mut text = String::new();
        if self.drawn > 0 {
            text.push_str(&format!("\x1b[{}A", self.drawn));
        }
        for line in lines {
            match plain {
                true => text.push_str(&anstream::adapter::strip_str(line).to_string()),
                false => text.push_str(line),
            }
            text.push_str("\x1b[K\n");
        }
        text.push_str("\x1b[J");
        self.drawn = lines.len();
        out.write_all(text.as_bytes())?;
        out.flush()
    }

    /// What is written next stands below it.
    pub fn leave(&mut self) {
        self.drawn = 0;
    }
}
