//! A page for a browser and for paper: words, tables and drawings in one file that needs nothing beside it.
//!
//! maud escapes whatever is put in. Three things go in as they are, all of them ours: the style sheet, the script, and the
//! drawings, which escape their own lettering. The page names the first two by their digest, so that the browser runs nothing else.

use maud::{DOCTYPE, Markup, PreEscaped, html};
use sha2::{Digest, Sha256};

use super::plot::Plot;

pub use line::{Line, theirs};
pub use table::{Cell, Table, number as cell};

pub mod line;
mod style;
pub mod table;

const SCRIPT: &str = include_str!("page/page.js");
/// Tells a page of ours from any other file.
pub const MARK: &str = "<meta name=\"generator\" content=\"coilwright page";

/// A whole page.
#[derive(Debug, Clone)]
pub struct Page {
    pub title: Line,
    pub blocks: Vec<Block>,
}

/// What stands on a page, in order.
#[derive(Debug, Clone)]
pub enum Block {
    Heading(Line),
    Text(Line),
    /// Set off: what must not be overlooked.
    Notice(Line),
    /// A command to type.
    Command(String),
    List(Vec<Line>),
    /// What something is called, and what it is.
    Facts(Vec<(String, Line)>),
    Table(Table),
    Picture(Box<Plot>),
    /// Room to write by hand, and what for.
    Signature(Vec<&'static str>),
    /// Other pages: where each lies from here, and what is on it.
    Links(Vec<(String, Line)>),
    /// What is handed out by itself: one side of paper.
    Sheet(Line, Vec<Block>),
}

impl Page {
    pub fn new(title: Line) -> Page {
        Page {
            title,
            blocks: Vec::new(),
        }
    }

    pub fn put(&mut self, block: Block) {
        self.blocks.push(block);
    }

    pub fn say(&mut self, text: impl Into<Line>) {
        self.put(Block::Text(text.into()));
    }

    pub fn head(&mut self, text: impl Into<Line>) {
        self.put(Block::Heading(text.into()));
    }

    /// Above whatever is no measurement.
    pub fn stamp(&mut self, simulated: bool) {
        self.blocks.extend(simulated.then(simulated_notice));
    }

    /// A list, where there is anything in it.
    pub fn list(&mut self, lines: Vec<Line>) {
        self.blocks.extend((!lines.is_empty()).then_some(Block::List(lines)));
    }

    /// The same with its heading.
    pub fn headed(&mut self, text: &str, lines: Vec<Line>) {
        if !lines.is_empty() {
            self.head(text);
            self.list(lines);
        }
    }

    pub fn picture(&mut self, plot: Plot) {
        self.put(Block::Picture(Box::new(plot)));
    }

    /// One row for each.
    pub fn table<T>(
        &mut self,
        caption: impl Into<Line>,
        head: &[&'static str],
        of: impl IntoIterator<Item = T>,
        row: impl Fn(T) -> Vec<Cell>,
    ) {
        let rows = of.into_iter().map(row).collect();
        let (caption, head) = (caption.into(), head.to_vec());
        self.put(Block::Table(Table { caption, head, rows }));
    }

    pub fn html(&self) -> String {
        let style = style::of(drawings(&self.blocks).into_iter());
        let policy = format!(
            "default-src 'none'; base-uri 'none'; form-action 'none'; style-src '{}'; script-src '{}'",
            digest(&style),
            digest(SCRIPT)
        );
        let sheets = matches!(self.blocks.first(), Some(Block::Sheet(..)));
        html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta http-equiv="Content-Security-Policy" content=(policy);
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="generator" content=(concat!("coilwright page ", env!("COILWRIGHT_VERSION")));
                    title { (self.title.plain()) }
                    style { (PreEscaped(&style)) }
                }
                body {
                    main {
                        // Each sheet has its own heading, and no room to lose.
                        h1 class=[sheets.then_some("for-screen")] { (self.title) }
                        (blocks(&self.blocks, "b"))
                    }
                    script { (PreEscaped(SCRIPT)) }
                }
            }
        }
        .into_string()
    }
}

pub fn simulated_notice() -> Block {
    Block::Notice("SIMULATED: the built-in bench, no real pickup.".into())
}

fn drawings(blocks: &[Block]) -> Vec<&str> {
    let mut out = Vec::new();
    for block in blocks {
        match block {
            Block::Picture(plot) => out.push(plot.svg.as_str()),
            Block::Sheet(_, inner) => out.extend(drawings(inner)),
            _ => {}
        }
    }
    out
}

fn digest(text: &str) -> String {
    format!("sha256-{}", data_encoding::BASE64.encode(&Sha256::digest(text)))
}

/// `at` begins the names by which parts of the page know each other.
fn blocks(all: &[Block], at: &str) -> Markup {
    html! {
        @for (i, block) in all.iter().enumerate() {
            (one(block, &format!("{at}-{i}")))
        }
    }
}

fn one(block: &Block, at: &str) -> Markup {
    html! {
        @match block {
            Block::Heading(line) => h2 { (line) },
            Block::Text(line) => p { (line) },
            Block::Notice(line) => p class="notice" { (line) },
            Block::Command(text) => pre { (line::printable(text)) },
            Block::List(lines) => ul { @for line in lines { li { (line) } } },
            Block::Facts(facts) => dl { @for (name, line) in facts { div { dt { (name) } dd { (line) } } } },
            Block::Table(table) => (table.html(at)),
            Block::Picture(plot) => (picture(plot, at)),
            Block::Links(links) => ul class="links" { @for (file, line) in links { li { a href=(file) { (line) } } } },
            Block::Signature(lines) => div class="signature" { @for line in lines { p { (line) } } },
            Block::Sheet(line, inner) => article class="sheet" { h2 { (line) } (blocks(inner, at)) },
        }
    }
}

/// The drawing itself, without the prologue of a file of its own; below it, where it has curves, what reads them.
fn picture(plot: &Plot, at: &str) -> Markup {
    let drawing = plot.svg.find("<svg").map_or("", |at| &plot.svg[at..]);
    let curves = plot.reads.as_ref().and_then(|r| serde_json::to_string(r).ok());
    html! {
        figure data-reads=[curves.as_ref()] {
            (PreEscaped(drawing))
            @if curves.is_some() {
                // Shown by the script: without it there is nothing to move.
                div class="pointer" hidden {
                    label for={ (at) "-at" } { "Read the curve at" }
                    input id={ (at) "-at" } type="range" min="0" max="1000" value="500";
                    p { }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests;
