//! How fast loads are predicted.
//!
//!     cargo bench --bench loads
//!
//! One core. Responses of 512 points for loads from a bare capacitor to a whole guitar; a Monte Carlo over the tolerances of a
//! guitar's parts, peaks and band included; a joint fit of four takes.

use std::hint::black_box;
use std::time::Instant;

use coilwright::estimate::Estimate;
use coilwright::fit::joint::{self, Known, Seen, Take};
use coilwright::network::knob::Tolerances;
use coilwright::network::{Coil, Eddy, Load, Wiring, predict, reach, spread, wirings};

const WHOLE: &str = "vol=250k@0.7 bleed=1n//150k tone=250k+22n@0.5 cable=5m@100p/m lead=30p amp=1M//20p";

/// Runs per second of the best of five rounds.
fn rate(mut one: impl FnMut()) -> f64 {
    let mut best: f64 = 0.0;
    for _ in 0..5 {
        let (begun, mut n) = (Instant::now(), 0u32);
        while begun.elapsed().as_secs_f64() < 0.2 {
            one();
            n += 1;
        }
        best = best.max(f64::from(n) / begun.elapsed().as_secs_f64());
    }
    best
}

fn main() {
    let coil = Coil::new(6e3, 2.4, 120e-12);
    let metal = Coil {
        eddy: Some(Eddy {
            k: 0.4,
            tau_s: 33e-6,
            emf: 0.1,
            a: 0.0,
            b: 1.0,
        }),
        ..coil
    };
    let grid = predict::usual_grid();
    let of = |text: &str| Wiring::from(Load::parse(text).expect("a load"));
    println!(
        "predicted responses of {} points, per second and core (wanted: 10,000)\n",
        grid.len()
    );
    println!("| coil and load | responses/s |\n| --- | --- |");
    let named = |name: &str| wirings::built_in(name).ok().flatten().expect("a wiring");
    for (name, coil, wiring) in [
        ("capacitor and resistor", coil, of("cap=470p res=1M")),
        ("volume, cable, amplifier", coil, of("vol=250k cable=5m@100p/m amp=1M")),
        ("volume, bleed, tone, cable, lead, amplifier", coil, of(WHOLE)),
        ("the same, coil with metal", metal, of(WHOLE)),
        ("wiring two-pickups-own-volumes", coil, named("two-pickups-own-volumes")),
    ] {
        let r = rate(|| {
            black_box(predict::curve(&wiring, &coil, &grid));
        });
        println!("| {name} | {r:.0} |");
    }
    let wiring = of(WHOLE);
    let figures = rate(|| {
        black_box(predict::figures(&wiring, &coil));
    });
    println!("\npeak, height and levels of a load: {figures:.0} per second");
    let begun = Instant::now();
    let band = spread::band(&wiring, &coil, &Tolerances::usual(), &grid, 1000, 1);
    println!(
        "Monte Carlo of 1,000 guitars with peaks and a band of {} points: {:.3} s (wanted: below 0.5)",
        band.map_or(0, |b| b.low_db.len()),
        begun.elapsed().as_secs_f64()
    );
    let goal = reach::Goal {
        peak_hz: Some(3200.0),
        height_db: Some(6.0),
    };
    let begun = Instant::now();
    let found = reach::reach(
        &of("vol=250k amp=1M"),
        &coil,
        goal,
        &[coilwright::network::Knob::Cap, coilwright::network::Knob::VolPot],
        None,
    );
    println!(
        "two parts for a peak and its height: {:.3} s ({})",
        begun.elapsed().as_secs_f64(),
        found.is_ok()
    );
    let takes: Vec<Take> = ["res=1M", "cap=470p res=1M", "cap=1n res=1M", "cap=2.2n res=1M"]
        .into_iter()
        .map(|text| {
            let load = Load::parse(text).expect("a load");
            let s = load.second_order(&coil).expect("second order");
            let e = |v: f64, u: f64| Estimate::new(v, u * v, u * v).expect("an estimate");
            Take {
                load,
                input_ohm: None,
                input_f: 0.0,
                input_u: [0.0; 2],
                warm: 1.0,
                rig: 0,
                seen: Seen::Resonance {
                    f0_hz: e(s.f0_hz, 5e-5),
                    q: Some(e(s.q, 6e-4)),
                    corr: 0.0,
                },
            }
        })
        .collect();
    let known = Known {
        r_ohm: 6e3,
        r_u: 35.0,
        tolerances: Tolerances::usual(),
        ..Known::default()
    };
    let fits = rate(|| {
        black_box(joint::fit(&takes, &known).is_ok());
    });
    println!("joint fit of four takes: {:.1} ms", 1e3 / fits);
}
