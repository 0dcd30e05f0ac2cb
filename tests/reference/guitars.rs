//! Whole guitars, cables and subcircuits against a circuit simulator: fixtures/guitars.

use std::path::Path;

use coilwright::network::{CoilFile, spice};
use serde_json::Value;

use crate::bench::Folder;
use crate::near;

fn fixture(name: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/guitars")
        .join(name);
    serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap()
}

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
}

/// `coilwright loads` for a coil of the fixtures; in their folder, where the wiring files lie.
fn predicted(coil: &Value, load: &str, freq_hz: &[f64]) -> Value {
    let n = |key: &str| coil[key].as_f64().map(|v| v.to_string());
    let mut args: Vec<String> = vec!["loads".into(), "--json".into(), "--load".into(), load.into()];
    for (option, value) in [
        ("--r", n("r_ohm")),
        ("--l", n("l_h")),
        ("--cs", n("c_f")),
        ("--loss", n("loss_ohm")),
    ] {
        args.extend(value.map(|v| [option.to_owned(), v]).into_iter().flatten());
    }
    if let Some(e) = coil["eddy"].as_object() {
        args.push("--eddy".into());
        args.push(format!("k={},tau={},emf={}", e["k"], e["tau"], e["emf"]));
    }
    let list: Vec<String> = freq_hz.iter().map(f64::to_string).collect();
    args.push(format!("--freq={}", list.join(",")));
    let f = Folder::new();
    let words: Vec<&str> = args.iter().map(String::as_str).collect();
    let mut command = f.command(&words);
    command.current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/guitars"));
    let run = command.output().unwrap();
    assert!(run.status.success(), "{load}: {}", String::from_utf8_lossy(&run.stderr));
    serde_json::from_slice(&run.stdout).unwrap()
}

#[test]
fn whole_guitars_agree_with_the_simulator() {
    let all = fixture("guitars.json");
    let guitars = all["guitars"].as_array().unwrap();
    let mut with_peak = 0;
    for g in guitars {
        let name = g["name"].as_str().unwrap();
        let freq = numbers(&g["freq_hz"]);
        let doc = predicted(&g["coil"], g["load"].as_str().unwrap(), &freq);
        let one = &doc["loads"][0];
        assert_eq!(numbers(&one["curve"]["freq_hz"]), freq, "{name}");
        let (gain, phase) = (numbers(&one["curve"]["gain_db"]), numbers(&one["curve"]["phase_deg"]));
        for (i, f) in freq.iter().enumerate() {
            near(&format!("{name} at {f} Hz"), gain[i], numbers(&g["gain_db"])[i], 1e-5);
            let turn = phase[i] - numbers(&g["phase_deg"])[i];
            near(
                &format!("{name}, phase at {f} Hz"),
                turn - 360.0 * (turn / 360.0).round(),
                0.0,
                1e-4,
            );
        }
        match (one["peak_hz"].as_f64(), g["peak_hz"].as_f64()) {
            (Some(hz), Some(want)) => {
                with_peak += 1;
                near(&format!("{name}: peak"), hz / want, 1.0, 1e-6);
                let db = one["peak_db"].as_f64().unwrap();
                near(&format!("{name}: its height"), db, g["peak_db"].as_f64().unwrap(), 1e-5);
            }
            (None, None) => assert_eq!(one["peak_db"], Value::Null, "{name}"),
            other => panic!("{name}: {other:?}"),
        }
    }
    assert!(guitars.len() >= 20 && with_peak >= 12, "{with_peak}");
}

/// The program's cable is one capacitor. It is the simulator's lump to the last digit, and the simulator's ladder of twenty
/// sections to a part of what anybody hears.
#[test]
fn a_cable_may_be_one_lump() {
    let all = fixture("cable.json");
    let freq = numbers(&all["freq_hz"]);
    let coil = serde_json::json!({"r_ohm": 6000.0, "l_h": 2.4, "c_f": 120e-12});
    for c in all["cables"].as_array().unwrap() {
        let what = format!("{}, {} m", c["before"], c["length_m"]);
        if let Some(load) = c["load"].as_str() {
            let doc = predicted(&coil, load, &freq);
            let gain = numbers(&doc["loads"][0]["curve"]["gain_db"]);
            for (got, want) in gain.iter().zip(numbers(&c["gain_db"])) {
                near(&what, *got, want, 1e-5);
            }
        }
        // What docs/method.md says of it.
        let apart = c["most_db_to_20_khz"].as_f64().unwrap();
        assert!(
            apart < 0.003 && (c["length_m"].as_f64().unwrap() > 10.0 || apart < 4e-4),
            "{what}: {apart}"
        );
        assert!(c["first_hz_with_0_01_db"].as_f64().unwrap() > 40e3, "{what}");
    }
}

/// The subcircuits were run by ngspice as they stand here; the program still writes the same, and predicts what they gave.
#[test]
fn subcircuits_do_in_the_simulator_what_is_predicted() {
    let all = fixture("subcircuits.json");
    for s in all["subcircuits"].as_array().unwrap() {
        let args: Vec<&str> = s["coil"]
            .as_array()
            .unwrap()
            .iter()
            .map(|a| a.as_str().unwrap())
            .collect();
        let f = Folder::new();
        let path = f.path("coil.sub");
        let mut command = vec!["loads"];
        command.extend(&args);
        command.extend(["--spice", path.to_str().unwrap()]);
        assert_eq!(f.run(&command).status, 0);
        assert_eq!(
            String::from_utf8(f.bytes("coil.sub")).unwrap(),
            s["text"].as_str().unwrap()
        );
        let freq: Vec<String> = numbers(&s["freq_hz"]).iter().map(f64::to_string).collect();
        let list = freq.join(",");
        let mut command = vec![
            "loads",
            "--json",
            "--load",
            s["load"].as_str().unwrap(),
            "--freq",
            &list,
        ];
        command.extend(&args);
        let doc: Value = serde_json::from_str(&f.run(&command).out).unwrap();
        let gain = numbers(&doc["loads"][0]["curve"]["gain_db"]);
        for (got, h) in gain.iter().zip(s["response"].as_array().unwrap()) {
            let h = numbers(h);
            // A core is a chain of turns there.
            let within = if s["coil"].to_string().contains(",a=") {
                2e-3
            } else {
                1e-4
            };
            near(
                s["name"].as_str().unwrap(),
                *got,
                20.0 * h[0].hypot(h[1]).log10(),
                within,
            );
        }
    }
}

/// A coil file's subcircuit is that of its coil.
#[test]
fn coil_files_make_subcircuits() {
    let file = CoilFile::parse("a", "r_ohm = 6000\nl_h = 2.4\nc_f = 120e-12\n").unwrap();
    let text = spice::subcircuit("neck-7", &file.coil(), &["simulated".into()]);
    assert!(
        text.starts_with("* simulated\n") && text.contains(".subckt neck_7 hot cold emf\n"),
        "{text}"
    );
}

/// The table of docs/wirings.md is the program's own, and stays so to the printed
/// digits.
#[test]
fn the_table_of_wirings_is_what_the_program_predicts() {
    let page = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/wirings.md")).unwrap();
    let number = |cell: &str| {
        let text = cell.replace('−', "-").replace("dB", "").replace("kHz", "");
        text.trim().parse::<f64>().ok()
    };
    let mut rows = 0;
    for line in page.lines().filter(|l| l.starts_with("| [`") && l.contains(" dB |")) {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let name = cells[1].split('`').nth(1).unwrap();
        let coil = match name.starts_with("coil") {
            true => serde_json::json!({"r_ohm": 4000.0, "l_h": 2.2, "c_f": 100e-12, "loss_ohm": 700e3}),
            false => serde_json::json!({"r_ohm": 6000.0, "l_h": 2.4, "c_f": 120e-12, "loss_ohm": 900e3}),
        };
        let doc = predicted(&coil, name, &[100.0, 4000.0, 8000.0]);
        let one = &doc["loads"][0];
        let gain = numbers(&one["curve"]["gain_db"]);
        let within = 0.051;
        near(&format!("{name}: 100 Hz"), gain[0], number(cells[2]).unwrap(), within);
        near(
            &format!("{name}: 4 kHz"),
            gain[1] - gain[0],
            number(cells[3]).unwrap(),
            within,
        );
        near(
            &format!("{name}: 8 kHz"),
            gain[2] - gain[0],
            number(cells[4]).unwrap(),
            within,
        );
        match number(cells[5]) {
            Some(khz) => {
                near(
                    &format!("{name}: peak"),
                    one["peak_hz"].as_f64().unwrap() / 1000.0,
                    khz,
                    0.0051,
                );
                let height = one["peak_db"].as_f64().unwrap() - gain[0];
                near(&format!("{name}: height"), height, number(cells[6]).unwrap(), within);
            }
            None => assert_eq!(one["peak_hz"], Value::Null, "{name}"),
        }
        rows += 1;
    }
    assert_eq!(rows, coilwright::network::wirings::ALL.len());
}
