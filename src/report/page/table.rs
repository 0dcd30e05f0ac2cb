//! Tables that can be sorted by any of their columns.

use maud::{Markup, html};

use super::line::Line;

/// The first column names the row.
#[derive(Debug, Clone)]
pub struct Table {
    /// What it is a table of.
    pub caption: Line,
    pub head: Vec<&'static str>,
    pub rows: Vec<Vec<Cell>>,
}

#[derive(Debug, Clone)]
pub struct Cell {
    line: Line,
    /// What it is sorted by where that is not its words.
    value: Option<f64>,
}

impl<T: Into<Line>> From<T> for Cell {
    fn from(line: T) -> Cell {
        Cell {
            line: line.into(),
            value: None,
        }
    }
}

/// A number as it is shown; nothing where there is none.
pub fn number(value: Option<f64>, shown: impl FnOnce(f64) -> String) -> Cell {
    Cell {
        line: Line::from(value.map_or(String::new(), shown)),
        value: value.filter(|v| v.is_finite()),
    }
}

impl Table {
    pub fn html(&self, at: &str) -> Markup {
        let name = format!("{at}-table");
        html! {
            // Wider than a small screen: it is moved by keys as well.
            section class="wide" tabindex="0" aria-labelledby=(name) {
                table class="sorts" {
                    caption id=(name) { (self.caption) }
                    thead { tr { @for head in &self.head { th scope="col" { (head) } } } }
                    tbody {
                        @for row in &self.rows {
                            tr {
                                @for (i, cell) in row.iter().enumerate() {
                                    @match i {
                                        0 => th scope="row" data-value=[cell.value] { (cell.line) },
                                        _ => td class=[cell.value.map(|_| "number")] data-value=[cell.value] { (cell.line) },
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
