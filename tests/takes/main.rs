//! The takes of known truth, made by a program that shares nothing with this one, through the whole program.
//!
//! Needs python3 with numpy and scipy. Without them the test passes unsaid, unless COILWRIGHT_REQUIRE_LIVE=1 stands in the
//! environment, as `tests/run` has it. Some takes only, or other ones:
//!
//!     python3 fixtures/takes/make.py --out /tmp/takes --only 'clip-*' --seed 7
//!     python3 fixtures/takes/check.py --bin target/release/coilwright --takes /tmp/takes

use std::path::{Path, PathBuf};
use std::process::Command;

/// A python3 that has what the scripts need.
fn python() -> Option<&'static str> {
    ["python3", "/usr/bin/python3"].into_iter().find(|python| {
        let able = Command::new(python).args(["-c", "import numpy, scipy"]).output();
        able.is_ok_and(|o| o.status.success())
    })
}

fn script(python: &str, name: &str, arguments: &[&Path]) -> String {
    let folder: PathBuf = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/takes");
    let ran = Command::new(python)
        .arg(folder.join(name))
        .args(arguments)
        // One thread each; the scripts run two at a time themselves.
        .env("OPENBLAS_NUM_THREADS", "1")
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&ran.stdout).into_owned();
    assert!(ran.status.success(), "{told}\n{}", String::from_utf8_lossy(&ran.stderr));
    told
}

#[test]
fn takes_of_known_truth() {
    let Some(python) = python() else {
        let required = std::env::var("COILWRIGHT_REQUIRE_LIVE").is_ok_and(|v| v == "1");
        assert!(!required, "no python3 with numpy and scipy");
        println!("skipped: no python3 with numpy and scipy");
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let takes = folder.path();
    script(python, "make.py", &[Path::new("--out"), takes]);
    let binary = Path::new(env!("CARGO_BIN_EXE_coilwright"));
    let told = script(
        python,
        "check.py",
        &[
            Path::new("--bin"),
            binary,
            Path::new("--takes"),
            takes,
            Path::new("--table"),
        ],
    );
    println!("{told}");
    // The scripts' own count, so that an empty table does not pass.
    let last = told.lines().last().unwrap_or_default();
    let takes: usize = last.split(' ').next().and_then(|n| n.parse().ok()).unwrap_or(0);
    assert!(takes > 200 && last.contains(" 0 fail"), "{last}");
}
