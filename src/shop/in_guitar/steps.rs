//! Which position of the switch, and which pickup under the exciter.

use crate::failure::{Failure, Result};
use crate::network::Wiring;
use crate::network::wiring::{Join, Pickup};
use crate::quantity::quoted;

/// One take.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// "neck + bridge".
    pub position: String,
    pub pickup: String,
    /// The guitar in that position, the EMF in that pickup's first coil alone.
    pub wiring: Wiring,
}

/// Names of a wiring's pickups; of one that has no list of them it is the pickup in question.
fn names(wiring: &Wiring, name: &str) -> Vec<String> {
    let of = |(i, p): (usize, &Pickup)| p.name.clone().unwrap_or_else(|| format!("pickup {}", i + 1));
    match wiring.pickups.as_slice() {
        [] => vec![name.to_owned()],
        list => list.iter().enumerate().map(of).collect(),
    }
}

/// As switches usually go (common practice): of two each alone and both between, of three the outer two with the middle one besides;
/// in series all at once.
fn usual(names: &[String], join: Join) -> Vec<Vec<String>> {
    let some = |list: &[usize]| list.iter().filter_map(|i| names.get(*i).cloned()).collect();
    let places: &[&[usize]] = match (join, names.len()) {
        (Join::Parallel, 2) => &[&[0], &[0, 1], &[1]],
        (Join::Parallel, 3) => &[&[0], &[0, 1], &[1], &[1, 2], &[2]],
        _ => return vec![names.to_vec()],
    };
    places.iter().map(|p| some(p)).collect()
}

/// The switch's positions as they are written, "neck, neck+bridge, bridge"; left out, as they usually are.
pub fn positions(wiring: &Wiring, name: &str, written: Option<&str>) -> Result<Vec<Vec<String>>> {
    let names = names(wiring, name);
    let Some(written) = written else {
        return Ok(usual(&names, wiring.join));
    };
    let one = |text: &str| -> Result<Vec<String>> {
        let each = text.split('+').map(str::trim);
        each.map(|word| match names.iter().find(|n| n.as_str() == word) {
            Some(n) => Ok(n.clone()),
            None => Err(Failure::new(
                format!("the wiring has no pickup {}", quoted(word)),
                format!("it has {}: write the positions as \"a, a+b, b\"", names.join(", ")),
            )),
        })
        .collect()
    };
    written.split(',').map(one).collect()
}

/// Every take, in the order of the switch's positions.
pub fn steps(wiring: &Wiring, name: &str, positions: &[Vec<String>]) -> Vec<Step> {
    let names = names(wiring, name);
    let each = positions
        .iter()
        .flat_map(|on| on.iter().map(move |pickup| (on, pickup)));
    each.map(|(on, pickup)| {
        let mut there = wiring.clone();
        let mut all = names.iter();
        there.pickups.retain(|_| all.next().is_some_and(|n| on.contains(n)));
        let heard = names.iter().filter(|n| on.contains(n)).position(|n| n == pickup);
        for (i, p) in there.pickups.iter_mut().enumerate() {
            for (k, coil) in p.coils.iter_mut().enumerate() {
                let here = Some(i) == heard && k == 0;
                coil.emf = if here { coil.emf.signum() } else { 0.0 };
            }
        }
        Step {
            position: on.join(" + "),
            pickup: pickup.clone(),
            wiring: there,
        }
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::wirings::built_in;

    #[test]
    fn every_position_and_each_pickup_in_it() {
        let told = |wiring: &str, written: Option<&str>| {
            let w = built_in(wiring).unwrap().unwrap();
            let places = positions(&w, "neck-7", written).unwrap();
            let all = steps(&w, "neck-7", &places).into_iter();
            all.map(|s| format!("{}: {}", s.position, s.pickup)).collect::<Vec<_>>()
        };
        assert_eq!(told("one-pickup", None), ["neck-7: neck-7"]);
        let both = [
            "neck: neck",
            "neck + bridge: neck",
            "neck + bridge: bridge",
            "bridge: bridge",
        ];
        assert_eq!(told("two-pickups", None), both);
        assert_eq!(told("three-pickups", None).len(), 7);
        assert_eq!(told("two-pickups-series", None).len(), 2);
        assert_eq!(told("two-pickups", Some("bridge, bridge + neck")).len(), 3);
        let w = built_in("two-pickups").unwrap().unwrap();
        let e = positions(&w, "neck-7", Some("neck, middle")).unwrap_err().to_string();
        assert!(e.contains("no pickup \"middle\"") && e.contains("neck, bridge"), "{e}");
    }

    /// The other pickup loads, and is not heard; one that is off does neither.
    #[test]
    fn one_is_heard_at_a_time() {
        let w = built_in("two-pickups").unwrap().unwrap();
        let all = steps(&w, "x", &positions(&w, "x", None).unwrap());
        let emf = |i: usize| -> Vec<f64> { all[i].wiring.pickups.iter().map(|p| p.coils[0].emf).collect() };
        assert_eq!((emf(0), emf(1), emf(2)), (vec![1.0], vec![1.0, 0.0], vec![0.0, 1.0]));
    }
}
