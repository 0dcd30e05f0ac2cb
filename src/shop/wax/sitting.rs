//! A dip measured on the bench, pickup by pickup, in two halves: what is measured, and in which order.

use serde::{Deserialize, Serialize};

use crate::failure::{Failure, Result, of_kind};
use crate::shop::lot::Setting;

pub const SCHEMA: &str = "coilwright/sitting/1";

/// So often two of them are laid down on either side: their scatter tells what laying down does, with eight degrees of freedom.
const PLACEMENTS: usize = 3;
const THRICE: usize = 2;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sitting {
    pub schema: String,
    /// In the order of measuring.
    pub pickups: Vec<String>,
    /// Those that stay out of the wax.
    pub stays: Vec<String>,
    pub setting: Setting,
    /// Measured on the built-in bench.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
    /// The wax has been.
    #[serde(default)]
    pub waxed: bool,
}

/// One placement of one pickup.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    pub pickup: String,
    /// From 1.
    pub placement: usize,
    pub of: usize,
    pub stays: bool,
}

impl Sitting {
    pub fn new(pickups: Vec<String>, stays: Vec<String>, setting: Setting, simulated: bool) -> Result<Sitting> {
        if pickups.is_empty() || stays.is_empty() {
            return Err(Failure::new(
                "a dip is begun with the pickups that go into the wax, and one that stays out of it",
                "give their names, as in `coilwright potting --sitting dip-12 neck-7 neck-8 --stays neck-2`",
            ));
        }
        let mut all: Vec<&String> = pickups.iter().chain(&stays).collect();
        all.sort();
        if let Some(two) = all.windows(2).find(|two| two[0] == two[1]) {
            return Err(Failure::new(
                format!("{:?} is named twice in this dip", two[0]),
                "name each once; what stays out of the wax behind --stays alone",
            ));
        }
        Ok(Sitting {
            schema: SCHEMA.into(),
            pickups,
            stays,
            setting,
            simulated,
            waxed: false,
        })
    }

    /// `place` names the file in messages.
    pub fn parse(place: &str, bytes: &[u8]) -> Result<Sitting> {
        let wrong =
            |why: String| Failure::new(format!("{place} tells of no dip: {why}"), "move it aside to begin anew");
        let it: Sitting = serde_json::from_slice(bytes).map_err(|e| wrong(e.to_string()))?;
        of_kind(&it.schema, SCHEMA).map_err(|what| wrong(format!("it {what}")))?;
        let waxed = it.waxed;
        let it = Sitting::new(it.pickups, it.stays, it.setting, it.simulated).map_err(|e| wrong(e.what))?;
        Ok(Sitting { waxed, ..it })
    }

    /// One half. What is laid down three times is so in three rounds, with others between: then it has been taken out for sure, and
    /// what stays out sees the sitting's beginning and its end.
    pub fn steps(&self) -> Vec<Step> {
        let thrice = self.stays.len().max(THRICE);
        let stays = self.stays.iter().map(|n| (n, true));
        let all: Vec<(&String, bool)> = stays.chain(self.pickups.iter().map(|n| (n, false))).collect();
        let mut out = Vec::new();
        for placement in 1..=PLACEMENTS {
            for (i, (name, stays)) in all.iter().enumerate() {
                let of = if i < thrice { PLACEMENTS } else { 1 };
                if placement <= of {
                    out.push(Step {
                        pickup: (*name).clone(),
                        placement,
                        of,
                        stays: *stays,
                    });
                }
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sitting(pickups: &[&str], stays: &[&str]) -> Result<Sitting> {
        let own = |names: &[&str]| names.iter().map(|n| (*n).to_owned()).collect();
        Sitting::new(own(pickups), own(stays), Setting::default(), true)
    }

    /// Two of them three times on either side: 2 x 2 x (3 - 1) = 8 degrees of freedom; nobody twice in a row.
    #[test]
    fn two_are_laid_down_three_times_with_others_between() {
        let names = |s: &Sitting| s.steps().into_iter().map(|s| s.pickup).collect::<Vec<_>>();
        let s = sitting(&["a", "b", "c"], &["x"]).unwrap();
        assert_eq!(names(&s), ["x", "a", "b", "c", "x", "a", "x", "a"]);
        let steps = s.steps();
        assert_eq!(steps.iter().map(|s| s.of).collect::<Vec<_>>(), [3, 3, 1, 1, 3, 3, 3, 3]);
        assert!(steps.iter().all(|s| s.stays == (s.pickup == "x")));
        assert_eq!(
            names(&sitting(&["a"], &["x", "y"]).unwrap()),
            ["x", "y", "a", "x", "y", "x", "y"]
        );
        let text = serde_json::to_vec(&s).unwrap();
        assert_eq!(Sitting::parse("s", &text), Ok(s));
    }

    #[test]
    fn what_is_no_dip_is_refused() {
        for (pickups, stays) in [
            (&[][..], &["x"][..]),
            (&["a"], &[]),
            (&["a", "a"], &["x"]),
            (&["x"], &["x"]),
        ] {
            assert!(sitting(pickups, stays).is_err(), "{pickups:?} {stays:?}");
        }
        let e = Sitting::parse("sitting.json", b"{}").unwrap_err().to_string();
        assert!(e.starts_with("sitting.json tells of no dip: "), "{e}");
    }
}
