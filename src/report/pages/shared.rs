//! What several pages say.

use crate::estimate::Estimate;
use crate::record::Record;
use crate::record::about::About;
use crate::report::number::{self, Unit};
use crate::report::page::{Cell, Line, cell, theirs};
use crate::report::{entry_words, words};

/// What the notebook says of a pickup; the recipe is empty where it is nobody else's business.
#[derive(Debug, Clone, Default)]
pub struct Told {
    pub about: About,
    pub recipe: Vec<String>,
}

/// A label and what stands beside it.
pub type Fact = (String, Line);

pub fn fact(label: &str, line: impl Into<Line>) -> Fact {
    (label.into(), line.into())
}

/// A fact of what somebody typed in; nothing of an empty text.
pub fn typed(label: &str, text: Option<&str>) -> Option<Fact> {
    Some(fact(label, theirs(words::typed(text)?)))
}

pub fn name(record: &Record) -> Line {
    theirs(words::name(record))
}

impl Told {
    /// What it is and what went into it.
    pub fn facts(&self) -> Vec<Fact> {
        let about = entry_words::about(&About {
            by: None,
            ..self.about.clone()
        });
        let recipe = words::names(&self.recipe);
        let both = [typed("What it is", about.as_deref()), typed("Recipe", Some(&recipe))];
        both.into_iter().flatten().collect()
    }

    /// Whose hands made it.
    pub fn by<'a>(&'a self, record: &'a Record) -> Option<&'a str> {
        record.pickup.by.as_deref().or(self.about.by.as_deref())
    }
}

/// "no reading, measure again: ...", with every reason.
pub fn refused(record: &Record) -> Line {
    let reasons: Vec<String> = words::rejected_for(record).collect();
    let line = Line::from("No reading, measure again");
    match reasons.is_empty() {
        true => line,
        false => line.ours(": ").theirs(reasons.join("; ")),
    }
}

/// Its value at a glance.
pub fn glance(value: Option<Estimate>, unit: Unit) -> Cell {
    cell(value.map(|e| e.value), |v| number::short(v, unit))
}

/// The same with so many digits that one can be told from the next.
pub fn four(value: Option<f64>, unit: Unit) -> Cell {
    cell(value, |v| number::four_digits(v, unit))
}
