//! The page for a projector: what it is made of. It only looks; the keys stay at the bench.

use super::view::View;
use crate::failure::Result;
use crate::fileio;

/// A part of the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// Below the page's own address; empty for the page itself.
    pub name: &'static str,
    pub kind: &'static str,
    pub text: &'static str,
}

pub const PARTS: [Part; 3] = [
    part("", "text/html; charset=utf-8", include_str!("page/page.html")),
    part(
        "watch.js",
        "text/javascript; charset=utf-8",
        include_str!("page/watch.js"),
    ),
    part("watch.css", "text/css; charset=utf-8", include_str!("page/watch.css")),
];

const fn part(name: &'static str, kind: &'static str, text: &'static str) -> Part {
    Part { name, kind, text }
}

/// Where the page asks for what is seen now.
pub const NOW: &str = "now.json";

/// What is seen, as the page asks for it.
pub fn now(view: &View) -> Result<Vec<u8>> {
    fileio::pretty(view, "what is seen")
}
