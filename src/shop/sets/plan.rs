//! What a set is to be: its places, and what each is to have beside the first.

use super::figure::{pairs, read};
use crate::failure::{Failure, Result};
use crate::quantity::quoted;
use crate::record::about::Position;
use crate::shop::yardstick::Quantity;

/// No instrument has more.
const MOST: usize = 8;

/// One place of a set.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// `None`: any pickup may take it.
    pub position: Option<Position>,
    /// How far from the first it is to be, figure by figure, as these are compared; `None`: nobody said, so it is to be alike.
    pub target: Option<Vec<(Quantity, f64)>>,
    /// Wound the other way round than the first, with the other pole up.
    pub reversed: bool,
}

const ANY: Place = Place {
    position: None,
    target: None,
    reversed: false,
};

/// The first, then those that are held against it.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    pub places: Vec<Place>,
}

/// As in options and documents.
pub fn word(position: Option<Position>) -> &'static str {
    match position {
        Some(Position::Neck) => "neck",
        Some(Position::Middle) => "middle",
        Some(Position::Bridge) => "bridge",
        None => "any",
    }
}

fn position(place: &str, text: &str) -> Result<Option<Position>> {
    let [neck, middle, bridge] = [Position::Neck, Position::Middle, Position::Bridge].map(Some);
    let all = [neck, middle, bridge, None];
    all.into_iter().find(|p| word(*p) == text.trim()).ok_or_else(|| {
        Failure::new(
            format!("{place}: {} is no place in a set", quoted(text)),
            "the places are neck, middle, bridge and any",
        )
    })
}

const TARGET: &str = "write a target as --target \"bridge: level +1.5dB ohms +8%\"";

impl Plan {
    /// `of`: how many, or the places, "neck+bridge".
    pub fn new(of: &str, targets: &[String], reversed: &[String]) -> Result<Plan> {
        let positions = places(of)?;
        let place = |position| Place { position, ..ANY };
        let mut plan = Plan {
            places: positions.into_iter().map(place).collect(),
        };
        for text in targets {
            let (name, figures) = text
                .split_once(':')
                .ok_or_else(|| Failure::new(format!("--target: {} names no place", quoted(text)), TARGET))?;
            let own = format!("--target {}", name.trim());
            let figures = pairs(&own, figures, TARGET)?;
            let target = |(f, v): (Quantity, String)| Ok((f, read(f, &format!("{own}: {}", f.code()), &v)?));
            let target: Vec<(Quantity, f64)> = figures.into_iter().map(target).collect::<Result<_>>()?;
            for place in plan.others_at("--target", name)? {
                if place.target.replace(target.clone()).is_some() {
                    return Err(Failure::new(format!("{own} is given twice"), "give it once"));
                }
            }
        }
        for name in reversed {
            if position("--reversed", name)?.is_none() {
                return Err(Failure::new(
                    "--reversed: any place cannot be the reversed one",
                    "name it: --reversed middle",
                ));
            }
            for place in plan.others_at("--reversed", name)? {
                place.reversed = true;
            }
        }
        Ok(plan)
    }

    /// The places of this name, without the first.
    fn others_at(&mut self, option: &str, name: &str) -> Result<Vec<&mut Place>> {
        let position = position(option, name)?;
        let first = word(self.first().position);
        let others = self.places.iter_mut().skip(1);
        let own: Vec<&mut Place> = others.filter(|p| p.position == position).collect();
        if own.is_empty() {
            return Err(Failure::new(
                format!(
                    "{option}: the set has no {} beside its first, the {first}",
                    word(position)
                ),
                "the first has no target: the others are held against it",
            ));
        }
        Ok(own)
    }

    pub fn first(&self) -> &Place {
        self.places.first().unwrap_or(&ANY)
    }

    /// The places beside the first, alike ones together: the first of them, and how many there are.
    pub fn kinds(&self) -> Vec<(&Place, usize)> {
        let mut out: Vec<(&Place, usize)> = Vec::new();
        for place in self.places.iter().skip(1) {
            match out.iter_mut().find(|k| k.0.position == place.position) {
                Some(kind) => kind.1 += 1,
                None => out.push((place, 1)),
            }
        }
        out
    }

    /// Winding and pole have to be told.
    pub fn asks_for_sense(&self) -> bool {
        self.places.iter().any(|p| p.reversed)
    }

    /// The place that a pickup of this position can take.
    pub fn takes(&self, position: Option<Position>) -> Option<&Place> {
        let mut from_the_last = self.places.iter().rev();
        from_the_last.find(|p| p.position.is_none() || p.position == position)
    }

    /// With places that were to be alike in these figures.
    pub fn alike_in(mut self, figures: &[Quantity]) -> Plan {
        for place in self.places.iter_mut().skip(1) {
            place
                .target
                .get_or_insert_with(|| figures.iter().map(|f| (*f, 0.0)).collect());
        }
        self
    }

    /// Some place beside the first has no target.
    pub fn is_open(&self) -> bool {
        self.places.iter().skip(1).any(|p| p.target.is_none())
    }

    /// Without one place. Where it is the first, the next is in its stead, and the targets are turned to it.
    pub fn without(&self, at: usize) -> Plan {
        let mut places = self.places.clone();
        places.remove(at);
        if let (0, Some(head)) = (at, places.first().and_then(|p| p.target.clone())) {
            for target in places.iter_mut().filter_map(|p| p.target.as_mut()) {
                let own = |f: Quantity| head.iter().find(|h| h.0 == f).map(|h| h.1);
                *target = target.iter().filter_map(|(f, t)| Some((*f, t - own(*f)?))).collect();
            }
        }
        Plan { places }
    }
}

fn places(of: &str) -> Result<Vec<Option<Position>>> {
    let (neck, middle, bridge) = (Some(Position::Neck), Some(Position::Middle), Some(Position::Bridge));
    let out = match of.trim().parse::<usize>() {
        Ok(2) => vec![neck, bridge],
        Ok(3) => vec![neck, middle, bridge],
        Ok(n) => vec![None; n.min(MOST + 1)],
        Err(_) => of.split('+').map(|p| position("--of", p)).collect::<Result<_>>()?,
    };
    if !(2..=MOST).contains(&out.len()) {
        return Err(Failure::new(
            format!("--of {}: a set has 2 to {MOST} pickups", quoted(of)),
            "give --of 2 (neck and bridge), --of 3, --of 6, or places: --of neck+middle",
        ));
    }
    if out.contains(&None) && out.iter().any(Option::is_some) {
        return Err(Failure::new(
            format!("--of {}: places are named, or any of them may be any", quoted(of)),
            "give --of neck+bridge, or --of any+any",
        ));
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(of: &str, targets: &[&str], reversed: &[&str]) -> Result<Plan> {
        let own = |list: &[&str]| list.iter().map(|s| s.to_string()).collect::<Vec<_>>();
        Plan::new(of, &own(targets), &own(reversed))
    }

    #[test]
    fn places_targets_and_the_reversed_one() {
        let three = plan("3", &["bridge: level +1.5dB ohms +8%", "middle: peak 0%"], &["middle"]).unwrap();
        let words: Vec<&str> = three.places.iter().map(|p| word(p.position)).collect();
        assert_eq!(words, ["neck", "middle", "bridge"]);
        assert!(three.places[1].reversed && three.asks_for_sense() && !three.is_open());
        let bridge = three.places[2].target.as_deref().unwrap();
        assert_eq!((bridge[0], bridge[1].0), ((Quantity::Level, 1.5), Quantity::Ohms));
        assert!((bridge[1].1 - 1.08f64.ln()).abs() < 1e-12);
        let six = plan("6", &[], &[]).unwrap().alike_in(&[Quantity::Peak]);
        assert_eq!((six.kinds().len(), six.kinds()[0].1), (1, 5));
        assert_eq!(six.places[5].target, Some(vec![(Quantity::Peak, 0.0)]));
        assert_eq!(plan("neck+neck", &["neck: ohms 1%"], &[]).unwrap().kinds().len(), 1);
        assert_eq!(three.takes(Some(Position::Bridge)), Some(&three.places[2]));
        assert_eq!(plan("2", &[], &[]).unwrap().takes(Some(Position::Middle)), None);
    }

    #[test]
    fn without_the_first_the_targets_are_turned() {
        let three = plan("3", &["middle: level 1dB ohms 2%", "bridge: level 3dB"], &[]).unwrap();
        let two = three.without(0);
        assert_eq!(two.first().position, Some(Position::Middle));
        assert_eq!(two.places[1].target, Some(vec![(Quantity::Level, 2.0)]));
        assert_eq!(three.without(1).places[1], three.places[2]);
    }

    #[test]
    fn what_cannot_be_understood() {
        for (made, want) in [
            (plan("1", &[], &[]), "--of \"1\": a set has 2 to 8"),
            (plan("9", &[], &[]), "--of \"9\": a set has 2 to 8"),
            (plan("neck+lid", &[], &[]), "--of: \"lid\" is no place"),
            (plan("neck+any", &[], &[]), "--of \"neck+any\": places are named"),
            (
                plan("2", &["level +1dB"], &[]),
                "--target: \"level +1dB\" names no place",
            ),
            (
                plan("2", &["neck: level +1dB"], &[]),
                "--target: the set has no neck beside",
            ),
            (
                plan("2", &["bridge: level"], &[]),
                "--target bridge: \"level\" has no value",
            ),
            (
                plan("2", &["bridge: level 1dB", "bridge: q 1%"], &[]),
                "--target bridge is given twice",
            ),
            (
                plan("2", &["bridge: level 8%"], &[]),
                "--target bridge: level: \"8%\" is",
            ),
            (plan("2", &[], &["middle"]), "--reversed: the set has no middle"),
            (plan("any+any", &[], &["any"]), "--reversed: any place cannot"),
        ] {
            let e = made.unwrap_err().to_string();
            assert!(e.starts_with(want) && e.contains("; "), "{e}");
        }
    }
}
