//! Labelled lines on a terminal: wrapped to its width, painted where it has colour.

use std::path::{Path, PathBuf};

use anstyle::{AnsiColor, Style as Paint};

use crate::report::words;
use crate::wrap::{self, columns};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    pub colour: bool,
    /// Of the terminal; from 40 to 160 columns are used.
    pub width: usize,
    pub details: bool,
}

impl Default for Style {
    fn default() -> Self {
        Style {
            colour: false,
            width: 80,
            details: false,
        }
    }
}

pub(super) const BOLD: Paint = Paint::new().bold();
pub(super) const DIM: Paint = Paint::new().dimmed();
pub(super) const WARN: Paint = AnsiColor::Yellow.on_default().bold();
pub(super) const STOP: Paint = AnsiColor::Red.on_default().bold();
pub(super) const PLAIN: Paint = Paint::new();

/// Columns of the labels, the gap included.
const LABEL: usize = 12;

impl Style {
    /// Columns that are used.
    pub(crate) fn usable(&self) -> usize {
        self.width.clamp(40, 160)
    }
}

/// Lines of label and text, wrapped to the width.
pub(super) struct Screen {
    pub(super) style: Style,
    pub(super) text: String,
    /// Where the last line's text began and how long it is, for [`Screen::append`].
    indent: usize,
    last: usize,
}

impl Screen {
    pub(super) fn new(style: Style) -> Self {
        Screen {
            style,
            text: String::new(),
            indent: 0,
            last: 0,
        }
    }

    pub(super) fn row(&mut self, label: &str, text: impl AsRef<str>) {
        self.row_in(label, text, PLAIN);
    }

    pub(super) fn row_in(&mut self, label: &str, text: impl AsRef<str>, paint: Paint) {
        self.wrapped(label, LABEL, text.as_ref(), paint);
    }

    /// The label stands at the first of them alone.
    pub(super) fn under(&mut self, label: &str, texts: impl IntoIterator<Item = impl AsRef<str>>) {
        let labels = std::iter::once(label).chain(std::iter::repeat(""));
        labels.zip(texts).for_each(|(label, text)| self.row(label, text));
    }

    pub(super) fn rows(&mut self, label: &str, texts: impl IntoIterator<Item = impl AsRef<str>>) {
        self.rows_in(label, texts, PLAIN);
    }

    pub(super) fn rows_in(&mut self, label: &str, texts: impl IntoIterator<Item = impl AsRef<str>>, paint: Paint) {
        texts.into_iter().for_each(|text| self.row_in(label, text, paint));
    }

    pub(super) fn listed(&mut self, tag: &str, text: impl AsRef<str>) {
        self.listed_in(tag, text, PLAIN);
    }

    pub(super) fn listed_in(&mut self, tag: &str, text: impl AsRef<str>, paint: Paint) {
        self.wrapped(tag, 4, text.as_ref(), paint);
    }

    pub(super) fn line(&mut self, text: impl AsRef<str>) {
        self.line_in(text, PLAIN);
    }

    pub(super) fn lines(&mut self, texts: impl IntoIterator<Item = impl AsRef<str>>) {
        texts.into_iter().for_each(|text| self.line(text));
    }

    pub(super) fn line_in(&mut self, text: impl AsRef<str>, paint: Paint) {
        self.wrapped("", 0, text.as_ref(), paint);
    }

    /// Above whatever is no measurement.
    pub(super) fn stamp(&mut self, simulated: bool) {
        if simulated {
            self.line_in("SIMULATED: the built-in bench, no real pickup", WARN);
        }
    }

    /// Where everything lies.
    pub(super) fn written(&mut self, files: &[PathBuf]) {
        let mut folder: Option<&Path> = None;
        for (i, file) in files.iter().enumerate() {
            let parent = file.parent().filter(|p| !p.as_os_str().is_empty());
            let label = if i == 0 { "Written" } else { "" };
            match (parent, file.file_name()) {
                // The folder once, then the names in it.
                (Some(p), Some(name)) if folder == Some(p) => {
                    self.append(&format!(", {}", words::no_controls(&name.to_string_lossy())));
                }
                _ => self.path(label, &words::no_controls(&file.display().to_string())),
            }
            folder = parent;
        }
    }

    /// Laid out by the caller.
    pub(super) fn raw(&mut self, line: &str, paint: Paint) {
        self.push_line("", 0, line, paint);
    }

    /// A path stays whole, whatever its length: half a path cannot be used.
    pub(super) fn path(&mut self, label: &str, path: &str) {
        self.push_line(label, LABEL, path, PLAIN);
    }

    /// Continues the last line, or goes on below it.
    pub(super) fn append(&mut self, text: &str) {
        // A comma may have to follow.
        let long = self.last + columns(text) + 1 > self.style.usable();
        self.text.pop();
        if long {
            let rest = text.trim_start_matches(", ");
            self.text.push_str(&format!(",\n{}{rest}\n", " ".repeat(self.indent)));
            self.last = self.indent + columns(rest);
        } else {
            self.text.push_str(&format!("{text}\n"));
            self.last += columns(text);
        }
    }

    fn wrapped(&mut self, mut label: &str, indent: usize, text: &str, paint: Paint) {
        let room = self.style.usable().saturating_sub(indent).max(8);
        for line in wrap::lines(text, |l| columns(l) <= room) {
            // A word longer than a line is cut; only paths are kept whole.
            for l in cut(line.trim_end(), room) {
                self.push_line(label, indent, l, paint);
                label = "";
            }
        }
    }

    fn push_line(&mut self, label: &str, indent: usize, text: &str, paint: Paint) {
        let gap = indent.saturating_sub(columns(label));
        self.painted(label, if paint == BOLD { PLAIN } else { paint });
        if !text.is_empty() {
            self.text.push_str(&" ".repeat(gap));
            self.painted(text, paint);
        }
        self.indent = indent;
        self.last = indent + columns(text);
        self.text.push('\n');
    }

    fn painted(&mut self, text: &str, paint: Paint) {
        let paint = if self.style.colour && !text.is_empty() {
            paint
        } else {
            PLAIN
        };
        self.text.push_str(&format!("{paint}{text}{paint:#}"));
    }
}

/// Where everything lies.
pub fn written_text(files: &[PathBuf], style: Style) -> String {
    let mut out = Screen::new(style);
    out.written(files);
    out.text
}

/// Pieces of so many columns.
fn cut(mut line: &str, room: usize) -> Vec<&str> {
    let mut out = Vec::new();
    while columns(line) > room {
        let (piece, rest) = line.split_at(wrap::cut(line, room).len());
        out.push(piece);
        line = rest;
    }
    out.push(line);
    out
}
