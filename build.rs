//! The version that records carry: with the commit it was built from, where there is a repository and the build is for release.

use std::process::Command;

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    let version = std::env::var("CARGO_PKG_VERSION").unwrap_or_default();
    let commit = commit().map_or_else(String::new, |c| format!("+{c}"));
    println!("cargo::rustc-env=COILWRIGHT_VERSION={version}{commit}");
}

/// Of a debug build none: it would be built anew after every commit.
fn commit() -> Option<String> {
    if std::env::var("PROFILE").ok()? != "release" {
        return None;
    }
    let git = |args: &[&str]| {
        let out = Command::new("git")
            .args(args)
            .output()
            .ok()
            .filter(|o| o.status.success())?;
        let text = String::from_utf8(out.stdout).ok()?;
        Some(text.trim().to_owned()).filter(|t| !t.is_empty())
    };
    // A repository that the sources merely lie in is not theirs.
    let top = git(&["rev-parse", "--show-toplevel"])?;
    if std::path::Path::new(&top) != std::path::Path::new(&std::env::var("CARGO_MANIFEST_DIR").ok()?) {
        return None;
    }
    for file in ["HEAD", "logs/HEAD"] {
        if let Some(path) = git(&["rev-parse", "--git-path", file]) {
            println!("cargo::rerun-if-changed={path}");
        }
    }
    git(&["rev-parse", "--short=10", "HEAD"])
}
