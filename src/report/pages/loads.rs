//! The page of what pots and cables do to a pickup.

use super::shared::fact;
use crate::coil::loads::{LoadPredicted, LoadsDocument};
use crate::failure::Result;
use crate::report::loads_plot;
use crate::report::number::{self, Unit};
use crate::report::page::line::{Line, theirs};
use crate::report::page::table::{Cell, Table, number as cell};
use crate::report::page::{Block, Page};
use crate::report::words;

pub fn page(d: &LoadsDocument) -> Result<Page> {
    let p = &d.pickup;
    let name = p.name.as_deref().map(words::clean).filter(|n| !n.is_empty());
    let mut page = Page::new(Line::from("Pots and cables on ").theirs(name.as_deref().unwrap_or("a pickup")));
    page.say("Predicted from what is in the coil. The peak is where the pickup answers most strongly.");
    page.put(Block::Facts(vec![
        fact("Resistance", number::short(p.r_ohm, Unit::Ohm)),
        fact("Inductance", number::short(p.l_h, Unit::Henry)),
        fact("Its own capacitance", number::short(p.c_f, Unit::Farad)),
    ]));
    page.put(Block::Picture(Box::new(loads_plot::family(d)?)));
    page.put(Block::Table(table(d)));
    page.list(d.notes.iter().map(theirs).collect());
    Ok(page)
}

fn table(d: &LoadsDocument) -> Table {
    let row = |(i, l): (usize, &LoadPredicted)| -> Vec<Cell> {
        let known = l.peak_hz.zip(l.u.as_ref().and_then(|u| u.peak_hz));
        let shown = |v| match known {
            Some((_, u)) => number::within(v, crate::estimate::Z95 * u, Unit::Hertz),
            None => number::hz(v),
        };
        vec![
            words::letter(i).into(),
            theirs(loads_plot::name(l)).into(),
            cell(l.peak_hz, shown),
            cell(l.height_db, number::db),
            cell(l.level_5_khz_db, number::db),
        ]
    };
    Table {
        caption: "Where the peak lies (95 % where the coil file knows how sure it is)".into(),
        head: vec!["letter", "load", "peak", words::HEIGHT, "at 5 kHz"],
        rows: d.loads.iter().enumerate().map(row).collect(),
    }
}
