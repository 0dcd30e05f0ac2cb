//! Screens and remarks on terminals of many widths.

use crate::bench::{Folder, Run, SHORT};
use crate::potting::rested;
use crate::tray::{NECK_12, folder};

const GOOD: &str = "r=6k l=2.4H cs=120p noise=-80dBFS";

/// No line is longer than the screen, but for what has to be copied whole: a path, a command, an error.
fn fits(run: &Run, width: usize, of: &str) {
    assert!(!run.out.is_empty() || !run.err.is_empty(), "{of} shows nothing");
    for line in run.out.lines().chain(run.err.lines()) {
        let whole =
            line.split_whitespace().last().is_some_and(|w| w.contains('/')) && line.split_whitespace().count() < 3;
        let error = line.starts_with("coilwright: ");
        assert!(
            line.chars().count() <= width || whole || error,
            "{of} at {width}: {line:?}"
        );
    }
}

#[test]
fn every_screen_holds_every_width() {
    let f = folder();
    let on = ["--rig", "north.toml", "--load", "cap=330p"];
    f.take(
        "the waxed one with a long name",
        "r=6k l=2.4H cs=138p noise=-80dBFS",
        "waxed",
        &on,
    )
    .ended(0);
    f.take("broken", "r=6k l=2.4H cs=120p open", "broken", &on).ended(1);
    f.take("more", GOOD, "more", &["--rig", "north.toml", "--load", "cap=1n"])
        .ended(0);
    let again = [&on[..], &["--seed", "2"]].concat();
    f.take("master", GOOD, "master-2", &again).ended(0);
    f.write(
        "day.txt",
        format!("{GOOD}\nr=6k l=2.4H cs=120p open\nr=6k l=2.4H cs=190p noise=-80dBFS").as_bytes(),
    );
    std::fs::create_dir(f.path("before")).unwrap();
    std::fs::create_dir(f.path("after")).unwrap();
    f.take("one", GOOD, "before/one", &on).ended(0);
    f.take("one", "r=6k l=2.4H cs=138p noise=-80dBFS", "after/one", &on)
        .ended(0);
    let sim = ["--source", "sim", "--rate", "48k"];
    for width in [40, 60, 80, 120] {
        let shown = |args: &[&str], keys: &str| {
            let mut command = f.command(args);
            command.env("COLUMNS", width.to_string());
            let run = Folder::type_into(command, keys);
            assert_ne!(run.status, 2, "{args:?}: {}", run.err);
            fits(&run, width, &args.join(" "));
        };
        let lot = format!("lot-{width}");
        let tray = [
            &NECK_12[..],
            &SHORT,
            &["--standard", "neck.toml", "--sim", "day.txt", "--lot"],
        ]
        .concat();
        // The last --lot counts.
        let tray: Vec<&str> = tray[..1]
            .iter()
            .chain(&tray[3..])
            .copied()
            .chain([lot.as_str()])
            .collect();
        shown(&tray, "\nn a note on it\n\n\nq\n");
        shown(&["analyze", "master/take.wav", "--details"], "");
        shown(&["analyze", "master", "waxed", "broken"], "");
        shown(&["compare", "master", "waxed", "broken", "--details"], "");
        shown(
            &["coil", "master", "more", "--ohms", "6k", "--room", "21C", "--details"],
            "",
        );
        shown(
            &[
                "loads",
                "--r",
                "6k",
                "--l",
                "2.4H",
                "--cs",
                "120p",
                "--load",
                "cap=500p res=200k tone=250k+22n",
            ],
            "",
        );
        shown(&rested("before", "after", &[]), "");
        shown(&["note", "master", "--ohms", "6.00k by meter A"], "");
        shown(&["rig", "show", "north.toml"], "");
        shown(&["rig", "repeat", "--rig", "north.toml", "master", "master-2"], "");
        // Setting a rig up makes another one of it: not the one of the records.
        f.write("south.toml", &f.bytes("north.toml"));
        let level = [
            &[
                "rig",
                "level",
                "--rig",
                "south.toml",
                "--limit",
                "-20dBFS",
                "--sim",
                GOOD,
            ][..],
            &sim,
        ]
        .concat();
        shown(&level, "");
        let inputs = [
            &["rig", "inputs", "--rig", "south.toml", "--sim", "wire gain=1dB"][..],
            &sim,
        ]
        .concat();
        shown(&inputs, "");
        shown(&["use"], "");
        let drive = format!("a long name of a drive {width}.wav");
        shown(&["drive", "--out", &drive], "");
        shown(&["--help"], "");
    }
}
