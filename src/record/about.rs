//! What a pickup is, as far as somebody told it: where it goes, how it is wound, which pole is up.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where in the guitar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Position {
    Neck,
    Middle,
    Bridge,
}

/// Which way the wire runs from its start, seen from the side of the strings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Winding {
    Clockwise,
    Anticlockwise,
}

/// Which pole the strings see, as a polarity indicator or a gauss meter says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Pole {
    North,
    South,
}

/// Null: not told.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct About {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub position: Option<Position>,
    /// From the first string to the last, over the poles.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spacing_m: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub winding: Option<Winding>,
    /// The pole that is up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub magnet: Option<Pole>,
    /// Whose hands made it; `by` of an entry is who wrote it.
    #[serde(default, rename = "made_by", skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}

impl About {
    /// With what a later word says.
    pub fn and(self, later: About) -> About {
        About {
            position: later.position.or(self.position),
            spacing_m: later.spacing_m.or(self.spacing_m),
            winding: later.winding.or(self.winding),
            magnet: later.magnet.or(self.magnet),
            by: later.by.or(self.by),
        }
    }
}
