//! What the entries say of one pickup, whatever it was called when they were written.

use std::collections::BTreeMap;

use serde::Serialize;

use super::entry::{Entry, Version, What, Words};
use crate::record::about::About;

/// Other names that whole pickups were given, each with its place among the entries.
fn renames(all: &[Entry]) -> Vec<(usize, &str, &str)> {
    let of = all.iter().enumerate();
    of.filter_map(|(i, e)| match &e.what {
        What::Rename {
            pickup,
            to,
            record: None,
        } => Some((i, pickup.as_str(), to.as_str())),
        _ => None,
    })
    .collect()
}

/// The name that a pickup of the entry at this place goes by today.
fn today<'a>(name: &'a str, at: usize, renames: &[(usize, &'a str, &'a str)]) -> &'a str {
    let later = renames.iter().filter(|r| r.0 > at);
    later.fold(name, |name, (_, from, to)| if *from == name { to } else { name })
}

/// Those about this pickup. `all`: those that hold, in order of their time.
pub fn of<'a>(all: &'a [Entry], pickup: &str) -> Vec<&'a Entry> {
    let renames = renames(all);
    let is = |(i, e): &(usize, &'a Entry)| {
        let named = |name: &'a str| today(name, *i, &renames) == pickup;
        match &e.what {
            // From here back it has the new name.
            What::Rename { to, record: None, .. } => named(to),
            What::Rename { to, .. } if named(to) => true,
            what => what.pickups().into_iter().any(named),
        }
    };
    all.iter().enumerate().filter(is).map(|(_, e)| e).collect()
}

/// An entry with no more in it than is this pickup's: of an import its own lines.
pub fn own(all: &[Entry], entry: &Entry, pickup: &str) -> Entry {
    let mut own = entry.clone();
    if let What::Paper { rows, .. } = &mut own.what {
        let at = all.iter().position(|e| e.id == entry.id).unwrap_or(all.len());
        let renames = renames(all);
        rows.retain(|r| today(&r.pickup, at, &renames) == pickup);
    }
    own
}

/// What the pickup is, by all that was said.
pub fn about(of: &[&Entry]) -> About {
    of.iter().fold(About::default(), |known, e| match &e.what {
        What::About { about, .. } => known.and(about.clone()),
        _ => known,
    })
}

/// What went into it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Recipe {
    pub design: Option<Version>,
    /// The design's words, its own before them.
    pub words: Words,
}

/// The recipe of a pickup; `all` has the designs.
pub fn recipe(all: &[Entry], of: &[&Entry]) -> Recipe {
    let mut recipe = Recipe::default();
    let mut own = Words::new();
    for e in of {
        if let What::Recipe { design, words, .. } = &e.what {
            recipe.design = design.clone().or(recipe.design);
            own.extend(words.clone());
        }
    }
    if let Some(version) = &recipe.design {
        recipe.words = words_of(all, version).cloned().unwrap_or_default();
    }
    recipe.words.extend(own);
    recipe
}

/// The words of a design's version.
pub fn words_of<'a>(all: &'a [Entry], version: &Version) -> Option<&'a Words> {
    all.iter().rev().find_map(|e| match &e.what {
        What::Design { design, words } if design == version => Some(words),
        _ => None,
    })
}

/// The last version of a design; 0 where there is none.
pub fn last_version(all: &[Entry], name: &str) -> u32 {
    let versions = all.iter().filter_map(|e| match &e.what {
        What::Design { design, .. } if design.design == name => Some(design.version),
        _ => None,
    });
    versions.max().unwrap_or(0)
}

/// Where a pickup is that is not in the shop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Away {
    /// Out at this moment.
    Sent,
    /// Another's, who may have sent it back to be mended.
    Sold,
}

/// Those that are not in the shop, by the names that they go by today.
pub fn away(all: &[Entry]) -> BTreeMap<&str, Away> {
    let renames = renames(all);
    let mut away = BTreeMap::new();
    for (i, e) in all.iter().enumerate() {
        let name = |pickup| today(pickup, i, &renames);
        match &e.what {
            What::Sold { pickup } => {
                away.insert(name(pickup), Away::Sold);
            }
            What::Sent { pickup, .. } => {
                away.entry(name(pickup)).or_insert(Away::Sent);
            }
            What::Returned { pickup, .. } if away.get(name(pickup)) == Some(&Away::Sent) => {
                away.remove(name(pickup));
            }
            _ => {}
        }
    }
    away
}

/// The entry that says it is no longer the shop's.
pub fn sold<'a>(of: &[&'a Entry]) -> Option<&'a Entry> {
    of.iter().rev().find(|e| matches!(e.what, What::Sold { .. })).copied()
}

/// The reading that each pickup was last sent with, by the name that it goes by today; `None`: no reading was marked.
pub fn sent(all: &[Entry]) -> BTreeMap<&str, Option<&str>> {
    let renames = renames(all);
    let of = all.iter().enumerate().filter_map(|(i, e)| match &e.what {
        What::Sent { pickup, record, .. } => Some((today(pickup, i, &renames), record.as_deref())),
        _ => None,
    });
    of.collect()
}

/// The set that it is bound to.
pub fn set<'a>(of: &[&'a Entry]) -> Option<&'a str> {
    of.iter().rev().find_map(|e| match &e.what {
        What::Set { set, .. } => Some(set.as_str()),
        _ => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::entry::SCHEMA;
    use crate::record::about::{Pole, Position};

    fn said(list: Vec<What>) -> Vec<Entry> {
        let entry = |(i, what)| Entry {
            schema: SCHEMA.into(),
            id: format!("e{i}"),
            at: format!("2026-03-{:02}T10:00:00+01:00", i + 1),
            by: None,
            what,
        };
        list.into_iter().enumerate().map(entry).collect()
    }

    fn told(pickup: &str, about: About) -> What {
        What::About {
            pickup: pickup.into(),
            about,
        }
    }

    #[test]
    fn a_renamed_pickup_keeps_what_was_said_of_it() {
        let neck = About {
            position: Some(Position::Neck),
            ..About::default()
        };
        let north = About {
            magnet: Some(Pole::North),
            ..About::default()
        };
        let rename = What::Rename {
            pickup: "a".into(),
            to: "b".into(),
            record: None,
        };
        let all = said(vec![
            told("a", neck.clone()),
            rename,
            told("b", north.clone()),
            // Another pickup, made since, under the old name.
            told("a", About::default()),
        ]);
        let of_b = of(&all, "b");
        assert_eq!(of_b.len(), 3);
        assert_eq!(about(&of_b), neck.and(north));
        assert_eq!(of(&all, "a").len(), 1);
    }

    #[test]
    fn a_pickup_goes_before_its_design() {
        let words = |list: &[(&str, &str)]| list.iter().map(|(k, v)| ((*k).into(), (*v).into())).collect::<Words>();
        let version = |n| Version {
            design: "warm".into(),
            version: n,
        };
        let all = said(vec![
            What::Design {
                design: version(1),
                words: words(&[("turns", "8000"), ("wire", "0.063mm")]),
            },
            What::Design {
                design: version(2),
                words: words(&[("turns", "8200"), ("wire", "0.063mm")]),
            },
            What::Recipe {
                pickup: "a".into(),
                design: Some(version(1)),
                words: words(&[("turns", "8050")]),
            },
        ]);
        let recipe = recipe(&all, &of(&all, "a"));
        assert_eq!(recipe.words, words(&[("turns", "8050"), ("wire", "0.063mm")]));
        assert_eq!((recipe.design, last_version(&all, "warm")), (Some(version(1)), 2));
    }
}
