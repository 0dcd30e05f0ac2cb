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
    Part {
        name: "",
        kind: "text/html; charset=utf-8",
        text: include_str!("page/page.html"),
    },
    Part {
        name: "watch.js",
        kind: "text/javascript; charset=utf-8",
        text: include_str!("page/watch.js"),
    },
    Part {
        name: "watch.css",
        kind: "text/css; charset=utf-8",
        text: include_str!("page/watch.css"),
    },
];

/// Where the page asks for what is seen now.
pub const NOW: &str = "now.json";

/// What is seen, as the page asks for it.
pub fn now(view: &View) -> Result<Vec<u8>> {
    fileio::pretty(view, "what is seen")
}
