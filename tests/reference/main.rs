//! The program against numbers that were found without it: a circuit simulator, closed formulas, the bound that no
//! estimate can beat. Each number has its source beside it.

#[path = "../cli/bench.rs"]
mod bench;
mod bound;
// The bench has the whole shop.
#[allow(dead_code)]
mod decade;
mod decade_book;
mod dice;
// The bench reads all of them.
#[allow(dead_code)]
mod faults;
mod guitars;
mod joint;
// The bench of limits uses it as well.
#[allow(dead_code)]
mod joint_sim;
mod levels;
mod limits;
mod lossy;
// The bench prints what it reads of all circuits.
#[allow(dead_code)]
mod metal;
mod metal_loads;
mod metal_takes;
mod odd;
mod potting;
mod rate;
mod resonance;
mod returned;
mod rig_days;
mod stats;
mod strd;
mod transient;
// The bench draws rigs and repeats as well.
#[allow(dead_code)]
mod trial;
mod wax_day_one;
mod yardstick;

/// NaN is near nothing.
#[track_caller]
fn near(name: &str, got: f64, want: f64, within: f64) {
    let off = (got - want).abs();
    assert!(
        off <= within,
        "{name}: {got} is {off:.3e} from {want}, more than {within:.3e}"
    );
}
