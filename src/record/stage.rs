//! Stages in a pickup's life: the usual ones in the order of the work, and any other word.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// In the order of the work (common practice).
pub const USUAL: [&str; 10] = [
    "wound",
    "soldered",
    "magnetised",
    "before wax",
    "after wax",
    "covered",
    "finished",
    "sent",
    "returned",
    "rewound",
];

const LONGEST: usize = 60;

/// A stage in the shop's own words. "After-Wax" is "after wax".
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Stage(String);

impl Stage {
    /// `None` for what is no word.
    pub fn of(text: &str) -> Option<Stage> {
        let words = text.split(|c: char| c.is_whitespace() || c == '-' || c == '_');
        let plain: Vec<String> = words.filter(|w| !w.is_empty()).map(str::to_lowercase).collect();
        let text = plain.join(" ");
        let sound = !text.is_empty() && text.chars().count() <= LONGEST && !text.contains(char::is_control);
        // A day or a number after a name means a reading.
        let word = text.starts_with(char::is_alphabetic) && !text.contains(['@', '#', '/', '*']);
        (sound && word).then_some(Stage(text))
    }

    pub fn text(&self) -> &str {
        &self.0
    }

    /// Its place among the usual ones.
    pub fn usual(&self) -> Option<usize> {
        USUAL.iter().position(|u| *u == self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings_of_one_stage() {
        for text in ["after wax", "After-Wax", "after_wax", "  after  wax "] {
            assert_eq!(Stage::of(text).unwrap().text(), "after wax");
        }
        assert_eq!(Stage::of("after wax").unwrap().usual(), Some(4));
        assert_eq!(Stage::of("scatter wound").unwrap().usual(), None);
        assert_eq!(Stage::of("après cire").unwrap().text(), "après cire");
        for none in ["", "  ", "2026-03", "a@b", "a\u{7}b", "neck/7"] {
            assert_eq!(Stage::of(none), None, "{none:?}");
        }
        assert!(Stage::of(&"x".repeat(61)).is_none());
    }
}
