//! The inverse question: which part brings the peak to a wanted place.

use nalgebra::DMatrix;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::coil::Coil;
use super::knob::Knob;
use super::predict::{self, Doubt};
use super::wiring::Wiring;
use crate::failure::{Failure, Result};
use crate::quantity::{self, Unit};

/// What is wanted of the peak.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Goal {
    pub peak_hz: Option<f64>,
    /// Above the gain at 10 Hz.
    pub height_db: Option<f64>,
}

// The parts that do it, in the order asked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReachedFound {
    pub parts: Vec<PartFound>,
    pub load: String,
    pub peak_hz: Option<f64>,
    pub height_db: Option<f64>,
    /// The nearest parts that one can buy, and where the peak then lies; null where none of them is sold by its value.
    pub as_sold: Option<SoldFound>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SoldFound {
    pub parts: Vec<PartFound>,
    pub load: String,
    pub peak_hz: Option<f64>,
    pub height_db: Option<f64>,
    /// Standard uncertainties of these from the coil's, the parts being what is printed on them; null where the coil file states none.
    pub u: Option<Doubt>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartFound {
    pub quantity: String,
    pub value: f64,
    /// Standard uncertainty from the coil's; null where that is not known.
    pub u: Option<f64>,
}

/// Points of a first look over a quantity's whole range.
const LOOK: usize = 48;
const OUTER_LOOK: usize = 24;

/// Between which values a quantity is looked for; by ratio unless it begins at nought.
fn range(knob: Knob) -> (f64, f64) {
    match knob.unit() {
        Unit::Ohm => (1e3, 100e6),
        Unit::Farad => (1e-12, 1e-6),
        Unit::Metre => (0.01, 100.0),
        _ => (0.0, 1.0),
    }
}

fn at(knob: Knob, t: f64) -> f64 {
    let (a, b) = range(knob);
    if a > 0.0 { a * (b / a).powf(t) } else { a + (b - a) * t }
}

/// Finds values of one or two quantities that meet the goal: as many as it has wishes; and the wiring with them.
pub fn reach(
    wiring: &Wiring,
    coil: &Coil,
    goal: Goal,
    knobs: &[Knob],
    covariance: Option<&DMatrix<f64>>,
) -> Result<(ReachedFound, Wiring)> {
    let wishes = usize::from(goal.peak_hz.is_some()) + usize::from(goal.height_db.is_some());
    if wishes == 0 || wishes != knobs.len() || (knobs.len() == 2 && knobs[0] == knobs[1]) {
        return Err(Failure::new(
            format!(
                "{wishes} wishes for the peak and {} quantities to meet them",
                knobs.len()
            ),
            "give one quantity for a frequency or a height, two different ones for both",
        ));
    }
    for k in knobs {
        if !k.set(&mut wiring.load.clone(), at(*k, 0.5)) {
            return Err(Failure::new(
                format!("the load has no {} to change", k.words()),
                "put the part into --load, with any value",
            ));
        }
    }
    let values = solve(wiring, coil, goal, knobs).ok_or_else(|| out_of_reach(wiring, coil, goal, knobs))?;
    let us = covariance.map(|c| {
        predict::propagate(coil, c, |moved| match solve(wiring, moved, goal, knobs) {
            Some(v) => v.into_iter().map(Some).collect(),
            None => vec![None; knobs.len()],
        })
    });
    let there = with(wiring, knobs, &values);
    let figures = predict::figures(&there, coil);
    let found = ReachedFound {
        parts: parts(knobs, &values, us),
        load: there.load.to_string(),
        peak_hz: figures.peak_hz,
        height_db: figures.height_db,
        as_sold: as_sold(&there, coil, covariance, (knobs, &values)),
    };
    Ok((found, there))
}

fn parts(knobs: &[Knob], values: &[f64], us: Option<Vec<Option<f64>>>) -> Vec<PartFound> {
    let us = us.unwrap_or_else(|| vec![None; knobs.len()]);
    let part = |((k, value), u): ((&Knob, &f64), _)| PartFound {
        quantity: k.name().into(),
        value: *value,
        u,
    };
    knobs.iter().zip(values).zip(us).map(part).collect()
}

fn with(wiring: &Wiring, knobs: &[Knob], values: &[f64]) -> Wiring {
    let mut there = wiring.clone();
    for (k, v) in knobs.iter().zip(values) {
        let _ = k.set(&mut there.load, *v);
    }
    there
}

fn as_sold(
    there: &Wiring,
    coil: &Coil,
    covariance: Option<&DMatrix<f64>>,
    (knobs, exact): (&[Knob], &[f64]),
) -> Option<SoldFound> {
    let sold: Vec<Option<f64>> = knobs.iter().zip(exact).map(|(k, v)| k.as_sold(*v)).collect();
    sold.iter().flatten().next()?;
    let values: Vec<f64> = sold.iter().zip(exact).map(|(s, v)| s.unwrap_or(*v)).collect();
    let wiring = with(there, knobs, &values);
    let figures = predict::figures(&wiring, coil);
    Some(SoldFound {
        parts: parts(knobs, &values, None),
        load: wiring.load.to_string(),
        peak_hz: figures.peak_hz,
        height_db: figures.height_db,
        u: covariance.map(|c| predict::doubt(&wiring, coil, c)),
    })
}

fn solve(wiring: &Wiring, coil: &Coil, goal: Goal, knobs: &[Knob]) -> Option<Vec<f64>> {
    let mut w = wiring.clone();
    let off_hz = |w: &Wiring, hz: f64| predict::peak_of(w, coil).map(|p| (p.hz / hz).ln());
    let off_db = |w: &Wiring, height: f64| predict::figures(w, coil).height_db.map(|h| h - height);
    match (knobs, goal.peak_hz, goal.height_db) {
        ([k], hz, height) => one(*k, LOOK, &mut |v| {
            let _ = k.set(&mut w.load, v);
            hz.map_or_else(|| off_db(&w, height?), |hz| off_hz(&w, hz))
        })
        .map(|v| vec![v]),
        ([a, b], Some(hz), Some(height)) => {
            // For every value of the second the first brings the frequency; then the height decides.
            let mut inner = |v: f64| {
                let _ = b.set(&mut w.load, v);
                let first = one(*a, OUTER_LOOK, &mut |x| {
                    let _ = a.set(&mut w.load, x);
                    off_hz(&w, hz)
                })?;
                let _ = a.set(&mut w.load, first);
                Some((first, off_db(&w, height)?))
            };
            let second = one(*b, OUTER_LOOK, &mut |v| inner(v).map(|r| r.1))?;
            Some(vec![inner(second)?.0, second])
        }
        _ => None,
    }
}

/// Where a function of a quantity passes through nought: the first place from the low end. Where the function does not exist
/// (no peak) it passes nowhere.
fn one(knob: Knob, look: usize, f: &mut dyn FnMut(f64) -> Option<f64>) -> Option<f64> {
    let mut before: Option<(f64, f64)> = None;
    for i in 0..=look {
        let t = i as f64 / look as f64;
        let now = f(at(knob, t)).map(|y| (t, y));
        if let (Some((ta, ya)), Some((tb, yb))) = (before, now)
            && ya * yb <= 0.0
        {
            let (mut lo, mut hi, y_lo) = (ta, tb, ya);
            for _ in 0..50 {
                let mid = 0.5 * (lo + hi);
                match f(at(knob, mid)) {
                    Some(y) if y_lo * y > 0.0 => lo = mid,
                    Some(_) => hi = mid,
                    None => return None,
                }
            }
            return Some(at(knob, 0.5 * (lo + hi)));
        }
        before = now;
    }
    None
}

/// Says how far the quantities do go.
fn out_of_reach(wiring: &Wiring, coil: &Coil, goal: Goal, knobs: &[Knob]) -> Failure {
    let mut w = wiring.clone();
    let k = knobs[0];
    let found = (0..=LOOK).filter_map(|i| {
        let _ = k.set(&mut w.load, at(k, i as f64 / LOOK as f64));
        let f = predict::figures(&w, coil);
        if goal.peak_hz.is_some() { f.peak_hz } else { f.height_db }
    });
    let (low, high) = found.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    let wanted = match (goal.peak_hz, goal.height_db) {
        (Some(hz), Some(d)) => format!("{} at {d:.1} dB", quantity::show(hz, Unit::Hertz, 3)),
        (Some(hz), None) => quantity::show(hz, Unit::Hertz, 3),
        (None, d) => format!("{:.1} dB", d.unwrap_or(0.0)),
    };
    let names: Vec<&str> = knobs.iter().map(|k| k.words()).collect();
    let span = if low > high {
        "there is no peak at all".to_owned()
    } else if goal.peak_hz.is_some() {
        format!(
            "with the {} alone the peak goes from {} to {}",
            k.words(),
            quantity::show(low, Unit::Hertz, 3),
            quantity::show(high, Unit::Hertz, 3)
        )
    } else {
        format!(
            "with the {} alone the peak's height goes from {low:.1} to {high:.1} dB",
            k.words()
        )
    };
    Failure::new(
        format!("no {} brings the peak to {wanted}", names.join(" with any ")),
        format!("{span}; ask for a peak within reach, or change the rest of the load"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::Load;

    const COIL: Coil = Coil {
        r_ohm: 6e3,
        l_h: 2.4,
        c_f: 120e-12,
        loss_ohm: None,
        eddy: None,
    };

    fn wiring(text: &str) -> Wiring {
        Wiring::from(Load::parse(text).unwrap())
    }

    /// 883 pF in all bring it there: 8.83 m of that cable, or 583 pF beside three metres. The nearest by ratio, what is set stays as it is, and its peak is that load's own, with its own uncertainty.
    #[test]
    fn what_one_can_buy_has_its_own_peak() {
        let wish = Goal {
            peak_hz: Some(3200.0),
            height_db: None,
        };
        let covariance = DMatrix::from_diagonal(&vec![900.0, 4e-4, 1e-24].into());
        for (load, knob, sold) in [
            (
                "vol=250k cable=3m@100p/m",
                Knob::Cable,
                Some("vol=250k cable=9m@100p/m"),
            ),
            (
                "vol=250k cable=3m@100p/m",
                Knob::Cap,
                Some("vol=250k cable=3m@100p/m cap=560p"),
            ),
            ("vol=250k cable=3m@100p/m", Knob::Lead, None),
        ] {
            let (r, _) = reach(&wiring(load), &COIL, wish, &[knob], Some(&covariance)).unwrap();
            let Some(sold) = sold else {
                assert!(r.as_sold.is_none(), "{:?}", r.as_sold);
                continue;
            };
            let (got, own) = (r.as_sold.unwrap(), wiring(sold));
            assert_eq!(got.load, own.load.to_string(), "{:?}", r.parts);
            assert_eq!(got.peak_hz, predict::figures(&own, &COIL).peak_hz);
            assert_eq!(got.u, Some(predict::doubt(&own, &COIL, &covariance)));
            assert!(got.u.unwrap().peak_hz.unwrap() > 0.0);
        }
        assert_eq!(Knob::VolPot.as_sold(140e3), Some(100e3));
        assert_eq!(Knob::Vol.as_sold(0.7), None);
    }

    /// The table of the second-order section, read backwards: 500 pF and 200 k are what makes 4014.996 Hz and 8.1040 dB.
    #[test]
    fn finds_the_parts_of_a_known_circuit() {
        let goal = |hz, db| Goal {
            peak_hz: hz,
            height_db: db,
        };
        let (r, _) = reach(
            &wiring("res=200k"),
            &COIL,
            goal(Some(4014.996), None),
            &[Knob::Cap],
            None,
        )
        .unwrap();
        assert!((r.parts[0].value / 500e-12 - 1.0).abs() < 1e-5, "{:?}", r.parts);
        let both = [Knob::Cap, Knob::Res];
        let (r, _) = reach(&wiring(""), &COIL, goal(Some(4014.996), Some(8.1040)), &both, None).unwrap();
        assert!((r.parts[0].value / 500e-12 - 1.0).abs() < 1e-3, "{:?}", r.parts);
        assert!((r.parts[1].value / 200e3 - 1.0).abs() < 1e-3, "{:?}", r.parts);
        assert!((r.peak_hz.unwrap() - 4014.996).abs() < 0.01);
        let (r, _) = reach(
            &wiring("cap=500p vol=1M"),
            &COIL,
            goal(None, Some(8.1040)),
            &[Knob::VolPot],
            None,
        )
        .unwrap();
        assert!((r.parts[0].value / 200e3 - 1.0).abs() < 1e-4, "{:?}", r.parts);
    }

    /// C + C_s = 1/(L w^2): 1 % of L is 1 % of the sum, so (C + C_s)/C as much of C.
    #[test]
    fn carries_the_uncertainty_of_the_coil() {
        let mut c = DMatrix::zeros(3, 3);
        c[(1, 1)] = (0.01 * COIL.l_h).powi(2);
        let goal = Goal {
            peak_hz: Some(4014.996),
            height_db: None,
        };
        let (r, _) = reach(&wiring("res=100M"), &COIL, goal, &[Knob::Cap], Some(&c)).unwrap();
        let (v, u) = (r.parts[0].value, r.parts[0].u);
        assert!((u.unwrap() / (0.01 * (v + 120e-12)) - 1.0).abs() < 0.02, "{v} {u:?}");
    }

    #[test]
    fn says_what_is_out_of_reach() {
        let goal = Goal {
            peak_hz: Some(15e3),
            height_db: None,
        };
        let e = reach(&wiring("res=1M"), &COIL, goal, &[Knob::Cap], None)
            .unwrap_err()
            .to_string();
        assert!(
            e.contains("no capacitor brings the peak to 15.0 kHz") && e.contains("goes from"),
            "{e}"
        );
        let e = reach(&wiring("res=1M"), &COIL, goal, &[Knob::VolPot], None)
            .unwrap_err()
            .to_string();
        assert!(e.contains("the load has no volume pot to change"), "{e}");
        let e = reach(&wiring("res=1M"), &COIL, goal, &[Knob::Cap, Knob::Res], None)
            .unwrap_err()
            .to_string();
        assert!(e.contains("1 wishes for the peak and 2 quantities"), "{e}");
    }
}
