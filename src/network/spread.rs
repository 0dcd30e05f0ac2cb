//! What the tolerances of bought parts do to a prediction: Monte Carlo (JCGM 101:2008).

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::coil::Coil;
use super::knob::{Knob, Tolerances};
use super::predict::{self, db};
use super::wiring::Wiring;

// 95 % intervals over the runs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BandFound {
    pub runs: usize,
    /// The parts that were drawn, each evenly within its tolerance.
    pub parts: Vec<PartDrawn>,
    /// Null where too many runs have no peak.
    pub peak_hz: Option<[f64; 2]>,
    pub peak_db: Option<[f64; 2]>,
    pub height_db: Option<[f64; 2]>,
    /// At the curve's frequencies.
    pub low_db: Vec<Option<f64>>,
    pub high_db: Vec<Option<f64>>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartDrawn {
    pub part: String,
    /// The pickup, or the coil, that it belongs to; left out where all share it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub of: Option<String>,
    /// As printed on it, in SI units.
    pub printed: f64,
    /// Relative, to either side.
    pub tolerance: f64,
}

/// Every part of every load of a wiring that has a tolerance, with the place of its load among [`Wiring::loads`].
fn drawn(wiring: &Wiring, tolerances: &Tolerances) -> Vec<(usize, Knob, PartDrawn)> {
    let mut parts = Vec::new();
    for (at, (of, load)) in wiring.loads().into_iter().enumerate() {
        for (knob, tolerance) in tolerances.0.iter().filter(|(k, t)| k.is_part() && *t > 0.0) {
            parts.extend(knob.get(load).map(|printed| {
                let part = PartDrawn {
                    part: knob.name().into(),
                    of: of.clone(),
                    printed,
                    tolerance: *tolerance,
                };
                (at, *knob, part)
            }));
        }
    }
    parts
}

/// Runs with every part of the loads, the shared one and those of the pickups and coils, drawn evenly from within its
/// tolerance, each by itself.
///
/// `None` where no part has a tolerance.
pub fn band(
    wiring: &Wiring,
    coil: &Coil,
    tolerances: &Tolerances,
    freq_hz: &[f64],
    runs: usize,
    seed: u64,
) -> Option<BandFound> {
    let parts = drawn(wiring, tolerances);
    if parts.is_empty() || runs == 0 {
        return None;
    }
    let mut draw = ChaCha8Rng::seed_from_u64(seed);
    let mut even = move || (draw.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
    let (mut hz, mut peaks, mut heights) = (Vec::new(), Vec::new(), Vec::new());
    let mut gains: Vec<Vec<f64>> = vec![Vec::with_capacity(runs); freq_hz.len()];
    let mut one = wiring.clone();
    for _ in 0..runs {
        let mut loads = one.loads_mut();
        for (at, knob, part) in &parts {
            let value = part.printed * (1.0 + part.tolerance * (2.0 * even() - 1.0));
            if let Some(load) = loads.get_mut(*at) {
                // The part is there: its value was read from it.
                let _ = knob.set(load, value);
            }
        }
        for (column, h) in gains.iter_mut().zip(predict::curve(&one, coil, freq_hz)) {
            column.push(h.norm_sqr());
        }
        if let Some(p) = predict::peak_of(&one, coil) {
            let low = one.response(coil, std::f64::consts::TAU * super::peak::LOW_HZ).norm();
            hz.push(p.hz);
            peaks.push(db(p.gain));
            heights.push(db(p.gain / low));
        }
    }
    let most = 20 * hz.len() >= 19 * runs;
    let of = |v: &mut Vec<f64>| most.then(|| middle_95(v)).flatten();
    let edges: Vec<[f64; 2]> = gains
        .iter_mut()
        .map(|g| middle_95(g).map_or([f64::NEG_INFINITY; 2], |b| b.map(|p| 10.0 * p.log10())))
        .collect();
    let edge = |i: usize| edges.iter().map(|e| Some(e[i]).filter(|db| db.is_finite())).collect();
    Some(BandFound {
        runs,
        parts: parts.into_iter().map(|p| p.2).collect(),
        peak_hz: of(&mut hz),
        peak_db: of(&mut peaks),
        height_db: of(&mut heights),
        low_db: edge(0),
        high_db: edge(1),
    })
}

/// The values between which the middle 95 % lie.
fn middle_95(v: &mut [f64]) -> Option<[f64; 2]> {
    let n = v.len();
    if n < 2 {
        return None;
    }
    let at = |v: &mut [f64], p: f64| {
        let k = (p * (n - 1) as f64).round() as usize;
        *v.select_nth_unstable_by(k, f64::total_cmp).1
    };
    Some([at(v, 0.025), at(v, 0.975)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::Load;

    /// One capacitor alone: the peak's interval is that of the capacitor's own middle 95 %, worked out by hand. Even within
    /// 10 %: from -9.5 % to +9.5 %.
    #[test]
    fn one_part_worked_out_by_hand() {
        let coil = Coil::new(6e3, 2.4, 0.0);
        let w = Wiring::from(Load::parse("cap=1n").unwrap());
        let b = band(&w, &coil, &Tolerances(vec![(Knob::Cap, 0.1)]), &[100.0, 9e3], 20_000, 1).unwrap();
        let at = |k: f64| {
            let w = Wiring::from(Load::parse(&format!("cap={}p", 1000.0 * k)).unwrap());
            predict::figures(&w, &coil).peak_hz.unwrap()
        };
        let [lo, hi] = b.peak_hz.unwrap();
        assert!(
            (lo / at(1.095) - 1.0).abs() < 1e-3 && (hi / at(0.905) - 1.0).abs() < 1e-3,
            "{lo} {hi}"
        );
        // Far below the peak the capacitor does nothing, far above it everything.
        let wide = |k: usize| b.high_db[k].unwrap() - b.low_db[k].unwrap();
        assert!(wide(0) < 0.01);
        assert!((wide(1) - db(1.095 / 0.905)).abs() < 0.4);
    }

    #[test]
    fn nothing_to_vary() {
        let coil = Coil::new(6e3, 2.4, 120e-12);
        let w = Wiring::from(Load::parse("vol=250k").unwrap());
        assert_eq!(band(&w, &coil, &Tolerances(vec![(Knob::Cap, 0.1)]), &[], 100, 1), None);
        let b = band(&w, &coil, &Tolerances::usual(), &[], 100, 1).unwrap();
        let [part] = b.parts.as_slice() else {
            panic!("{:?}", b.parts)
        };
        assert_eq!(
            (&*part.part, part.printed, part.tolerance, &part.of),
            ("vol-pot", 250e3, 0.2, &None)
        );
        assert_eq!(band(&w, &coil, &Tolerances::usual(), &[], 100, 1), Some(b));
    }

    /// A capacitor across the only coil of a pickup, or in its own load, is the capacitor of the load itself: the same
    /// interval, and from the same draws.
    #[test]
    fn parts_of_pickups_and_coils_are_drawn_as_well() {
        let coil = Coil::new(6e3, 2.4, 0.0);
        let t = Tolerances(vec![(Knob::Cap, 0.1), (Knob::VolPot, 0.2)]);
        let of = |text: &str| {
            let none = |_: &str| unreachable!();
            let w = Wiring::parse("w", text, &none).unwrap();
            band(&w, &coil, &t, &[5e3], 500, 1).unwrap()
        };
        let shared = of("load = \"cap=1n\"\n");
        let own = of("[[pickup]]\nname = \"neck\"\nload = \"cap=1n\"\n");
        let across = of("[[pickup]]\nname = \"neck\"\n[[pickup.coil]]\nname = \"upper\"\nacross = \"cap=1n\"\n");
        for b in [&own, &across] {
            let ([a, z], [lo, hi]) = (b.peak_hz.unwrap(), shared.peak_hz.unwrap());
            assert!(
                (a / lo - 1.0).abs() < 1e-6 && (z / hi - 1.0).abs() < 1e-6,
                "{a} {z} {lo} {hi}"
            );
            assert_eq!(b.parts[0].of.as_deref(), Some("neck"));
        }
        assert!(shared.peak_hz.unwrap()[1] / shared.peak_hz.unwrap()[0] > 1.08);
        let two = of(
            "load = \"vol=250k\"\n[[pickup]]\nload = \"cap=1n\"\n[[pickup.coil]]\n[[pickup.coil]]\nname = \"low\"\nacross = \"cap=2n\"\n",
        );
        let whose: Vec<_> = two.parts.iter().map(|p| (p.of.as_deref(), &*p.part)).collect();
        assert_eq!(
            whose,
            [
                (None, "vol-pot"),
                (Some("pickup 1"), "cap"),
                (Some("pickup 1, low"), "cap")
            ]
        );
    }
}
