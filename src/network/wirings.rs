//! The wirings that can be named: common practice in guitars, by function.

use super::wiring::Wiring;
use crate::failure::{Failure, Result};

macro_rules! wirings {
    ($($name:literal),* $(,)?) => {
        &[$(($name, include_str!(concat!("wirings/", $name, ".toml")))),*]
    };
}

/// Name and file of each.
pub const ALL: &[(&str, &str)] = wirings![
    "straight",
    "volume-only",
    "one-pickup",
    "no-load-tone",
    "volume-down",
    "tone-at-wiper",
    "bleed-cap",
    "bleed-parallel",
    "bleed-series",
    "coils-series",
    "coils-parallel",
    "coil-split",
    "coil-split-resistor",
    "two-pickups",
    "two-pickups-own-volumes",
    "two-pickups-own-controls",
    "two-pickups-series",
    "two-pickups-opposed",
    "three-pickups-middle-pair",
    "three-pickups",
];

/// The wiring of that name; `None` where there is none.
pub fn built_in(name: &str) -> Result<Option<Wiring>> {
    match ALL.iter().find(|w| w.0 == name) {
        Some((name, text)) => Wiring::parse(name, text, &|file| {
            Err(Failure::new(
                format!("{name} asks for {file}"),
                "report this as a fault of the program",
            ))
        })
        .map(Some),
        None => Ok(None),
    }
}

/// Name and description of each.
pub fn listed() -> Vec<(String, String)> {
    ALL.iter()
        .map(|(name, _)| {
            let about = built_in(name).ok().flatten().and_then(|w| w.about);
            ((*name).to_owned(), about.unwrap_or_default())
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::Coil;
    use crate::network::predict::figures;

    #[test]
    fn every_wiring_works_and_says_what_it_is() {
        let coil = Coil::new(6e3, 2.4, 120e-12);
        for (name, about) in listed() {
            assert!(about.len() > 10, "{name} says nothing of itself");
            let wiring = built_in(&name).unwrap().unwrap();
            assert!(figures(&wiring, &coil).levels_db[0] > -60.0, "{name} is silent");
        }
        assert!(ALL.len() >= 12);
        assert_eq!(built_in("no such wiring"), Ok(None));
    }
}
