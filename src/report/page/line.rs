//! Words on a page: ours, and what somebody typed in, each of which may run the other way.

use maud::{Markup, Render, html};

/// A run of words.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Line(Vec<Piece>);

#[derive(Debug, Clone, PartialEq, Eq)]
enum Piece {
    Ours(String),
    /// Set apart from what is around it: a name written from right to left turns nothing else round.
    Theirs(String),
}

/// What somebody typed in, or a sentence that holds it.
pub fn theirs(text: impl AsRef<str>) -> Line {
    Line::default().theirs(text)
}

impl Line {
    pub fn ours(mut self, text: impl AsRef<str>) -> Line {
        self.0.push(Piece::Ours(printable(text.as_ref())));
        self
    }

    pub fn theirs(mut self, text: impl AsRef<str>) -> Line {
        self.0.push(Piece::Theirs(printable(text.as_ref())));
        self
    }

    /// One after the other.
    pub fn and(mut self, other: Line) -> Line {
        self.0.extend(other.0);
        self
    }

    pub fn plain(&self) -> String {
        let texts = self.0.iter().map(|(Piece::Ours(t) | Piece::Theirs(t))| t.as_str());
        texts.collect()
    }
}

impl<T: AsRef<str>> From<T> for Line {
    fn from(text: T) -> Line {
        Line::default().ours(text)
    }
}

impl Render for Line {
    fn render(&self) -> Markup {
        html! {
            @for piece in &self.0 {
                @match piece {
                    Piece::Ours(text) => (text),
                    Piece::Theirs(text) => bdi { (text) },
                }
            }
        }
    }
}

/// HTML has no place for control characters and for code points that are none.
pub fn printable(text: &str) -> String {
    let bad = |c: char| {
        (c.is_control() && c != '\n') || u32::from(c) & 0xfffe == 0xfffe || ('\u{fdd0}'..='\u{fdef}').contains(&c)
    };
    text.chars().map(|c| if bad(c) { ' ' } else { c }).collect()
}
