//! The page of what pots and cables do to a pickup.

use super::shared::fact;
use crate::coil::loads::LoadsDocument;
use crate::failure::Result;
use crate::report::loads_plot;
use crate::report::number::{self, Unit};
use crate::report::page::{Block, Line, Page, cell, theirs};
use crate::report::words;

pub fn page(d: &LoadsDocument) -> Result<Page> {
    let p = &d.pickup;
    let name = words::typed(p.name.as_deref()).unwrap_or("a pickup".into());
    let mut page = Page::new(Line::from("Pots and cables on ").theirs(name));
    page.say("Predicted from what is in the coil. The peak is where the pickup answers most strongly.");
    page.put(Block::Facts(vec![
        fact("Resistance", number::short(p.r_ohm, Unit::Ohm)),
        fact("Inductance", number::short(p.l_h, Unit::Henry)),
        fact("Its own capacitance", number::short(p.c_f, Unit::Farad)),
    ]));
    page.picture(loads_plot::family(d)?);
    let caption = "Where the peak lies (95 % where the coil file knows how sure it is)";
    let head = ["letter", "load", "peak", words::HEIGHT, "at 5 kHz"];
    page.table(caption, &head, d.loads.iter().enumerate(), |(i, l)| {
        let shown = |v| match l.u.as_ref().and_then(|u| u.peak_hz) {
            Some(u) => number::within(v, crate::estimate::Z95 * u, Unit::Hertz),
            None => number::hz(v),
        };
        vec![
            words::letter(i).into(),
            theirs(loads_plot::name(l)).into(),
            cell(l.peak_hz, shown),
            cell(l.height_db, number::db),
            cell(l.level_5_khz_db, number::db),
        ]
    });
    page.list(d.notes.iter().map(theirs).collect());
    Ok(page)
}
