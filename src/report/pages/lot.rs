//! The page of a lot.

use super::shared::{four, glance};
use crate::failure::Result;
use crate::report::number::Unit;
use crate::report::page::line::{Line, theirs};
use crate::report::page::table::{Cell, Table};
use crate::report::page::{Block, Page};
use crate::report::text::tray;
use crate::report::{order_plot, tray_plot, words};
use crate::shop::lot::{Entry, Tray};
use crate::shop::order::document::LotDocument;

/// `order`: the lot in the order of making, where its records tell it.
pub fn page(t: &Tray, order: Option<&LotDocument>) -> Result<Page> {
    let mut page = Page::new(Line::from("Lot ").theirs(words::clean(&t.lot)));
    page.stamp(t.standing().any(|e| e.simulated));
    page.say(tray::counted(t));
    if let Some(s) = &t.standard {
        let standard = Line::from("Judged against ").theirs(words::clean(&s.name));
        page.say(standard.ours(format!(", version {}.", s.version)));
    }
    if let Some(s) = &t.setting {
        page.say(Line::from("Measured on ").theirs(words::clean(&s.words())).ours("."));
    }
    if t.standing().next().is_none() {
        return Ok(page);
    }
    page.put(Block::Picture(Box::new(tray_plot::lot(t)?)));
    if let Some(order) = order {
        page.put(Block::Picture(Box::new(order_plot::lot(order)?)));
    }
    page.put(Block::Table(table(t)));
    let odd: Vec<Line> = t.standing().flat_map(odd).collect();
    if !odd.is_empty() {
        page.head("To be looked at");
        page.list(odd);
    }
    let whole = tray::of_all(t);
    if !whole.is_empty() {
        page.head("Of the whole lot");
        page.list(whole.iter().map(theirs).collect());
    }
    Ok(page)
}

fn table(t: &Tray) -> Table {
    let row = |e: &Entry| -> Vec<Cell> {
        let read = e
            .readings
            .iter()
            .map(|r| Some(format!("{} {}", words::clean(&r.column().to_string()), r.shown())));
        vec![
            theirs(words::clean(&e.name)).into(),
            glance(e.peak_hz, Unit::Hertz),
            four(e.f0_hz.map(|f| f.value), Unit::Hertz),
            four(e.q.map(|q| q.value), Unit::Ratio),
            theirs(words::joined(read).unwrap_or_default()).into(),
            tray::verdict(e).into(),
        ]
    };
    Table {
        caption: "In order of making".into(),
        head: vec!["pickup", "peak", "f0", "Q", "other meters", "verdict"],
        rows: t.standing().map(row).collect(),
    }
}

/// A line for each thing that is odd about one, and for what was noted.
fn odd(e: &Entry) -> Vec<Line> {
    let of_it = |why| theirs(words::clean(&e.name)).ours(": ").theirs(why);
    tray::why(e).into_iter().map(of_it).collect()
}
