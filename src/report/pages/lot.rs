//! The page of a lot.

use super::shared::{four, glance};
use crate::failure::Result;
use crate::report::number::Unit;
use crate::report::page::{Line, Page, theirs};
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
    page.picture(tray_plot::lot(t)?);
    if let Some(order) = order {
        page.picture(order_plot::lot(order)?);
    }
    let head = ["pickup", "peak", "f0", "Q", "other meters", "verdict"];
    page.table("In order of making", &head, t.standing(), |e| {
        vec![
            theirs(words::clean(&e.name)).into(),
            glance(e.peak_hz, Unit::Hertz),
            four(e.f0_hz.map(|f| f.value), Unit::Hertz),
            four(e.q.map(|q| q.value), Unit::Ratio),
            theirs(words::list(e.readings.iter().map(words::by_meter))).into(),
            tray::verdict(e).into(),
        ]
    });
    page.headed("To be looked at", t.standing().flat_map(odd).collect());
    page.headed("Of the whole lot", tray::of_all(t).iter().map(theirs).collect());
    Ok(page)
}

/// A line for each thing that is odd about one, and for what was noted.
fn odd(e: &Entry) -> Vec<Line> {
    let of_it = |why| theirs(words::clean(&e.name)).ours(": ").theirs(why);
    tray::why(e).into_iter().map(of_it).collect()
}
