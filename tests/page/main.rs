//! Pages in a browser: valid HTML, nothing fetched, nothing let in, read and sorted by keys, on A4 and Letter, light and dark,
//! held against WCAG 2.2 AA. `tests/page/setup` lays down what they are looked at with.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

#[path = "../cli/bench.rs"]
mod bench;
#[path = "../cli/page_made.rs"]
mod page_made;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// What is missing here to look at pages.
fn missing() -> Option<&'static str> {
    let there = |program: &str| {
        Command::new(program)
            .arg("--version")
            .output()
            .is_ok_and(|o| o.status.success())
    };
    let tools = root().join("target/page/node_modules");
    let laid = |name: &str| tools.join(name).is_dir();
    [
        (there("node"), "node"),
        (there("chromium"), "chromium"),
        (
            laid("axe-core") && laid("html-validate"),
            "what tests/page/setup lays down",
        ),
    ]
    .into_iter()
    .find(|t| !t.0)
    .map(|t| t.1)
}

fn looked_at(folder: &Path, files: &[&str]) -> Vec<Value> {
    let out = Command::new("node")
        .arg(root().join("tests/page/look.mjs"))
        .arg(root().join("target/page"))
        .args(files)
        .current_dir(folder)
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap()
}

#[test]
fn every_page_stands_in_a_browser() {
    if let Some(what) = missing() {
        assert!(
            std::env::var_os("COILWRIGHT_REQUIRE_AXE").is_none_or(|v| v != "1"),
            "{what} is missing"
        );
        // Past the harness, which keeps what a passing test says to itself.
        let _ = writeln!(
            std::io::stderr(),
            "\nSKIPPED, {what} is missing: no page was looked at in a browser\n"
        );
        return;
    }
    let f = page_made::shop();
    let pages = page_made::pages();
    for p in &pages {
        f.run(&p.args).ended(0);
    }
    let files: Vec<&str> = pages.iter().map(|p| p.file).collect();
    let all = looked_at(&f.path("."), &files);
    assert_eq!(all.len(), pages.len());
    let mut failures = Vec::new();
    for (p, found) in pages.iter().zip(&all) {
        for what in ["axe", "wrong", "fetched", "complaints"] {
            let list = found[what].as_array().unwrap();
            failures.extend(list.iter().map(|l| format!("{}: {what}: {l}", p.file)));
        }
        let mut expect = |what: &str, holds: bool, seen: &Value| {
            if !holds {
                failures.push(format!("{}: {what}: {seen}", p.file));
            }
        };
        expect("mode", found["mode"] == "CSS1Compat", &found["mode"]);
        let e = &found["elements"];
        let none = ["img", "iframe", "link", "object"].iter().all(|n| e[n] == 0);
        expect("let in", none && e["script"] == 1 && e["style"] == 1, e);
        if let Some(sides) = p.sides {
            let pages = &found["pages"];
            expect("sides", pages["a4"] == sides && pages["letter"] == sides, pages);
        }
        let pointer = &found["pointer"];
        expect("pointer", pointer.is_null() != p.curve, pointer);
        if p.curve {
            expect(
                "pointer's words",
                pointer["told"] == pointer["aria"] && pointer["line"] == "visible",
                pointer,
            );
            let words = |key: &str| pointer[key].as_str().unwrap_or_default().to_owned();
            // A tenth of the way back from 20 kHz to 100 Hz: 20000 / 200^0.1 Hz.
            expect(
                "where",
                pointer["at"] == 900 && words("told").starts_with("11.8 kHz: "),
                pointer,
            );
            expect("from where", words("low").starts_with("100 Hz: "), pointer);
        }
        let sorted = &found["sorted"];
        if !sorted.is_null() {
            expect(
                "sorted",
                is_sorted(&sorted["up"], 1.0) && is_sorted(&sorted["down"], -1.0),
                sorted,
            );
            expect("said", sorted["aria"] == "ascending", sorted);
        }
    }
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

/// Numbers in order, what has none behind them.
fn is_sorted(list: &Value, sign: f64) -> bool {
    let numbers: Vec<Option<f64>> = list
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_str().map(|s| s.parse().unwrap()))
        .collect();
    let there = numbers.iter().take_while(|n| n.is_some()).count();
    let values: Vec<f64> = numbers.iter().flatten().map(|v| sign * v).collect();
    values.len() == there && values.is_sorted()
}
