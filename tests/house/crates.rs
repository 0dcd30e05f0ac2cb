//! What the program is built from: under which licence, what for, and whether tests use theirs. (Whether the program uses
//! its own, `tests/dead` asks the compiler.)

use std::path::Path;
use std::process::Command;

use serde_json::Value;

/// Each lets the program be given away under its own two licences, with their texts beside it.
const LICENCES: [&str; 5] = ["Apache-2.0", "MIT", "MIT-0", "Unicode-3.0", "Zlib"];

fn output(command: &mut Command) -> String {
    let out = command.output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

/// What is built on this machine, tests counted in; other systems' crates need not be here.
fn metadata() -> Value {
    let rustc = output(Command::new("rustc").arg("-vV"));
    let host = rustc.lines().find_map(|l| l.strip_prefix("host: ")).unwrap();
    let mut cargo = Command::new(env!("CARGO"));
    cargo.args([
        "metadata",
        "--locked",
        "--offline",
        "--format-version",
        "1",
        "--filter-platform",
        host,
    ]);
    serde_json::from_str(&output(cargo.current_dir(env!("CARGO_MANIFEST_DIR")))).unwrap()
}

/// One of each choice. A choice that holds an "and" is refused: somebody has to read it.
fn is_free(licence: &str) -> bool {
    let plain = licence.replace(['(', ')'], "").replace('/', " OR ");
    plain
        .split(" AND ")
        .all(|choice| choice.split(" OR ").any(|l| LICENCES.contains(&l.trim())))
}

#[test]
fn every_licence_is_one_that_asks_for_its_text_only() {
    let metadata = metadata();
    let packages = metadata["packages"].as_array().unwrap();
    assert!(packages.len() > 100, "{}", packages.len());
    for p in packages {
        let licence = p["license"].as_str().unwrap_or("none");
        assert!(is_free(licence), "{} {}: {licence}", p["name"], p["version"]);
    }
    assert!(is_free("(MIT OR GPL-3.0) AND Zlib") && !is_free("MIT AND GPL-3.0") && !is_free("none"));
}

fn named_in(folder: &Path, word: &str) -> bool {
    std::fs::read_dir(folder).unwrap().any(|e| {
        let path = e.unwrap().path();
        let source = path.extension().is_some_and(|e| e == "rs");
        (path.is_dir() && named_in(&path, word)) || (source && std::fs::read_to_string(&path).unwrap().contains(word))
    })
}

#[test]
fn every_dependency_is_accounted_for_and_those_of_the_tests_are_used() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let developers = std::fs::read_to_string(root.join("DEVELOPERS.md")).unwrap();
    let table = developers.split("## Dependencies").nth(1).unwrap();
    let metadata = metadata();
    let ours = metadata["packages"]
        .as_array()
        .unwrap()
        .iter()
        .find(|p| p["name"] == "coilwright")
        .unwrap();
    let dependencies = ours["dependencies"].as_array().unwrap();
    assert!(dependencies.len() > 20);
    for d in dependencies {
        let name = d["name"].as_str().unwrap();
        let row = |l: &str| l.starts_with('|') && l.split('|').nth(1).is_some_and(|c| c.contains(&format!("`{name}`")));
        assert!(
            table.lines().any(row),
            "{name} has no row among DEVELOPERS.md's dependencies"
        );
        let used = ["tests", "src", "packaging"].map(|room| named_in(&root.join(room), &format!("{name}::")));
        assert!(d["kind"] != "dev" || used.contains(&true), "no test uses {name}");
    }
}
