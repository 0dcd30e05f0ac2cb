//! Pickups under load: what the whole program reads against what a circuit simulator finds.
//!
//! ngspice 39, AC analysis, fixtures/spice/rlc.json: f0 from the -90 degree crossing, Q from the gain there over the gain at
//! low frequency, peak from a zoomed sweep. No formula of resonance had a part in it.

use std::f64::consts::TAU;

use num_complex::Complex64;
use serde_json::Value;

use crate::bench::{Folder, has_finding, measured};
use crate::near;

fn table() -> Value {
    serde_json::from_str(include_str!("../../fixtures/spice/rlc.json")).unwrap()
}

/// The program's own options for a row: part of the capacitance lies in the winding, the rest in the load.
fn options(row: &Value, more: &str) -> [String; 2] {
    let of = |name: &str| row[name].as_f64().unwrap();
    let own = 0.6 * of("c_f").min(150e-12);
    // The sharpest of them would reach full scale.
    let mutual = if row["q"].as_f64().is_some_and(|q| q > 10.0) {
        5e-5
    } else {
        2e-4
    };
    [
        format!("r={} l={} cs={own:e} m={mutual} {more}", of("r_ohm"), of("l_h")),
        format!("res={} cap={:e}", of("load_ohm"), of("c_f") - own),
    ]
}

/// Within four standard uncertainties and within a fixed share of the truth.
#[track_caller]
fn reads(name: &str, record: &Value, place: &str, truth: f64, share: f64) {
    let e = measured(record, place).unwrap_or_else(|| panic!("{name}: no {place}"));
    near(&format!("{name} {place}"), e.value, truth, share * truth.abs());
    near(
        &format!("{name} {place}, in units of u"),
        (e.value - truth) / e.u,
        0.0,
        4.0,
    );
}

#[test]
fn nine_second_order_pickups() {
    let f = Folder::new();
    let table = table();
    let rows = table["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 9);
    let mut peaks = 0;
    for (i, row) in rows.iter().enumerate() {
        for shape in ["sweep", "noise"] {
            let [sim, load] = options(row, "");
            let seed = i.to_string();
            let args = [
                "--sim", &sim, "--load", &load, "--shape", shape, "--seed", &seed, "--json",
            ];
            let record = f.measure(&args).ended(0).json();
            let name = format!("row {i}, {shape}:");
            let q = row["q"].as_f64().unwrap();
            reads(&name, &record, "/resonance/f0_hz", row["f0_hz"].as_f64().unwrap(), 1e-3);
            reads(&name, &record, "/resonance/q", q, 5e-3);
            let Some(hz) = row["peak_hz"].as_f64() else {
                assert!(
                    record["resonance"]["peak_hz"].is_null(),
                    "{name} {}",
                    record["resonance"]
                );
                assert!(record["resonance"]["peak_db"].is_null());
                assert!(has_finding(&record, "no-peak"), "{name} {}", record["findings"]);
                continue;
            };
            peaks += 1;
            // Where Q hardly makes a peak, its place hangs on Q's last digits: f_pk = f0 sqrt(1 - 1/(2 Q^2)).
            let share = if q < 0.8 { 1e-2 } else { 1e-3 };
            reads(&name, &record, "/resonance/peak_hz", hz, share);
            let (db, e) = (
                row["peak_db_re_dc"].as_f64().unwrap(),
                measured(&record, "/resonance/peak_db").unwrap(),
            );
            near(&format!("{name} peak, dB"), e.value, db, 0.02 + 4.0 * e.u);
            assert!(
                !has_finding(&record, "no-peak") && record["verdict"] == "ok",
                "{name} {}",
                record["findings"]
            );
        }
    }
    assert_eq!(peaks, 2 * 8);
}

const RIG: &str = "[exciter]\nreference = \"REFERENCE\"\nseries_ohm = 120.0\ninductance_h = 0.0008\nsource_ohm = 32.0\n\
                   sense_ohm = 22.0\nsign = -1\n[input]\nresistance_ohm = 1e6\ncapacitance_f = 60e-12\n\
                   lead_capacitance_f = 90e-12\nac_pickup_hz = 4.5\nac_reference_hz = 1.0\nac_output_hz = 3.0\ngain_db = -3.0\n";

/// The third row, part of whose load is the rig's own input: 250 kohm beside 1 Mohm, 350 pF beside 150 pF.
#[test]
fn the_rig_is_taken_out_of_the_reading_and_its_input_counts() {
    let f = Folder::new();
    let table = table();
    let row = &table["rows"][2];
    let [f0, q] = ["f0_hz", "q"].map(|n| row[n].as_f64().unwrap());
    f.write("v.toml", RIG.replace("REFERENCE", "voltage").as_bytes());
    f.write("c.toml", RIG.replace("REFERENCE", "current").as_bytes());
    for (rig, channels) in [
        ("v.toml", "pickup=1,reference=2"),
        ("c.toml", "pickup=1,reference=2"),
        ("v.toml", "pickup=1"),
        ("c.toml", "pickup=1"),
    ] {
        let sim = "r=6k l=2.4H cs=120p m=0.3mH polarity=-1";
        let args = [
            "--rig",
            rig,
            "--channels",
            channels,
            "--sim",
            sim,
            "--load",
            "res=250k cap=350p",
            "--json",
        ];
        let record = f.measure(&args).ended(0).json();
        let name = format!("{rig}, {channels}:");
        reads(&name, &record, "/resonance/f0_hz", f0, 1e-3);
        reads(&name, &record, "/resonance/q", q, 5e-3);
        assert_eq!(record["resonance"]["polarity"], -1, "{name}");
        assert_eq!(record["resonance"]["polarity_referenced"], true);
        let mutual = measured(&record, "/resonance/mutual_h");
        assert_eq!(mutual.is_some(), channels.contains(','), "{name}");
        if let Some(m) = mutual {
            // As given to the bench, times the gain at low frequency.
            near(
                &format!("{name} M"),
                m.value,
                0.3e-3 * row["gain_dc"].as_f64().unwrap(),
                1e-6,
            );
        }
    }
}

/// Gain in dB of a row's circuit at a frequency, from Kirchhoff's laws: 1/(1 + (R + jwL) Y).
fn gain_db(row: &Value, hz: f64) -> f64 {
    let of = |name: &str| row[name].as_f64().unwrap();
    let jw = Complex64::new(0.0, TAU * hz);
    let tone = (of("tone_ohm") + (jw * of("tone_f")).inv()).inv();
    let y = 1.0 / of("load_ohm") + jw * of("c_f") + tone;
    -20.0 * (1.0 + (of("r_ohm") + jw * of("l_h")) * y).norm().log10()
}

/// A coil with a shorted turn about it, and a pickup whose tone capacitor makes its circuit one of fourth order.
#[test]
fn peaks_of_pickups_that_are_not_second_order() {
    let f = Folder::new();
    let table = table();
    let rows = table["not_second_order"].as_array().unwrap();
    assert_eq!(rows.len(), 2);
    for row in rows {
        let name = row["name"].as_str().unwrap();
        let of = |n: &str| row[n].as_f64();
        let [true_hz, re_dc, re_emf] = ["peak_hz", "peak_db_re_dc", "peak_db_re_emf"].map(|n| of(n).unwrap());
        let (more, load, lows_db) = match (of("tone_ohm"), of("secondary_k")) {
            // Below 29 Hz the tone capacitor lets go of its resistor, and the level rises by 0.2 dB. No take tells that from
            // the inputs' unknown AC coupling, so the lows that the peak stands above are those above this step.
            (Some(ohm), None) => (
                String::new(),
                format!(" tone={ohm}+{:e}@1", of("tone_f").unwrap()),
                gain_db(row, 100.0),
            ),
            (None, Some(k)) => {
                let tau = of("secondary_h").unwrap() / of("secondary_ohm").unwrap();
                (format!("eddy=k={k},tau={tau:e},emf=0"), String::new(), re_emf - re_dc)
            }
            _ => panic!("{row}"),
        };
        let [sim, plain] = options(row, &more);
        let load = format!("{plain}{load}");
        for shape in ["sweep", "noise"] {
            let mut args = vec![
                "measure",
                "--pickup",
                "a",
                "--source",
                "sim",
                "--rate",
                "48k",
                "--seconds",
                "1.5",
                "--json",
            ];
            args.extend(["--sim", &sim, "--load", &load, "--shape", shape]);
            let record = f.run(&args).ended(0).json();
            let r = &record["resonance"];
            let [hz, db, level] = ["/peak_hz", "/peak_db", "/level_db"].map(|n| measured(r, n).unwrap());
            println!(
                "{name}, {shape}: peak {:.3} Hz (u {:.3}) for {true_hz:.3}; {:.4} dB (u {:.4}) for {:.4} above the lows, {re_dc:.4} \
                 above the gain at 0.05 Hz; model {}",
                hz.value,
                hz.u,
                db.value,
                db.u,
                re_emf - lows_db,
                record["fit"]["model"]
            );
            let name = format!("{name}, {shape}:");
            near(&format!("{name} peak, Hz"), hz.value, true_hz, 1e-3 * true_hz);
            near(
                &format!("{name} peak, dB"),
                db.value,
                re_emf - lows_db,
                0.05 + 2.0 * db.u,
            );
            // Above the EMF, which the bench makes of 0.2 mH over 100 ohm, there is no question of what the lows are.
            let above_emf = db.value + level.value - 20.0 * (2e-4f64 / 100.0).log10();
            near(&format!("{name} peak re EMF, dB"), above_emf, re_emf, 0.005);
            assert!(!has_finding(&record, "poor-fit"), "{name} {}", record["findings"]);
            assert_eq!(record["verdict"], "ok", "{name} {}", record["findings"]);
        }
    }
}
