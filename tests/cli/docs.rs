//! Every command that README and the pages show, typed as it stands there, by a shell, in a workshop that has what the page takes to be there.

use crate::bench::{Folder, Made, Run, SHORT};

/// Everything that a day in the shop has left behind.
fn workshop() -> Folder {
    static MADE: Made = Made::new();
    Folder::like(&MADE, || {
        let f = Folder::quick();
        let new = "rig new north.toml --source sim --reference current --series 123.8 --inductance 217u";
        typed(&f, new, "").ended(0);
        with_witness(&f);
        typed(&f, "use north.toml --folder takes", "").ended(0);
        for n in 1..=5 {
            for lay in 1..=4 {
                let sim = format!("l={}mH cs=11{lay}p", 2300 + 15 * n);
                let more =
                    format!("measure neck-{n} --load none --ohms 6.0{n}k --room 21C --seed {n}{lay} --sim '{sim}'");
                played(&f, &more, "").ended(0);
            }
        }
        for line in [
            "measure neck-9 --load none --seed 9 --sim l=2440mH",
            "measure 'witness one' --load none --seed 10",
        ] {
            played(&f, line, "").ended(0);
        }
        played(&f, "tray class-3 --load none", "\n\n\nq\n").ended(0);
        for (name, sim, seed) in [("neck-1", "l=2300mH", 21), ("neck-2", "l=2320mH", 22)] {
            for (side, cs) in [("before", 110), ("after", 114)] {
                let about = format!("--load none --ohms 6.05k --room 21C --out {side}/{name}");
                let line = format!("measure {name} {about} --seed {seed}{cs} --sim '{sim} cs={cs}p'");
                played(&f, &line, "").ended(0);
            }
        }
        for (from, to) in [("take.wav", "take.wav"), ("drive.wav", "drive.wav")] {
            f.write(to, &f.bytes(&format!("takes/neck-1/0001/{from}")));
        }
        let coil = b"r_ohm = 6050.0\nl_h = 2.4\nc_f = 105e-12\n";
        f.write("coil.toml", coil);
        f.write("old.csv", b"day;name;ohms (k)\n31.5.2006;neck-1;6,05\n");
        f.write("trial.toml", b"[coil]\nr_ohm = 6000.0\nl_h = 2.4\nc_f = 120e-12\n");
        played(
            &f,
            "measure class-1 --out media/stick/notebook/class-1/0001 --seed 31",
            "",
        )
        .ended(0);
        f
    })
}

/// What only its owner can write into a rig file.
fn with_witness(f: &Folder) {
    let rig = String::from_utf8(f.bytes("north.toml")).unwrap();
    let more = "[witness]\nname = \"witness one\"\n[pack]\ninterface = \"two inputs, label A\"\n";
    f.write("north.toml", format!("{rig}\n{more}").as_bytes());
}

/// The same where neck-7 was measured under these loads.
fn with_neck_7_under(loads: &[&str]) -> Folder {
    let f = workshop();
    for (i, load) in loads.iter().enumerate() {
        let line = format!("measure neck-7 --load {load} --ohms 6.05k --room 21C --stage 'after wax' --seed 7{i}");
        played(&f, &line, "").ended(0);
    }
    f
}

fn with_neck_7() -> Folder {
    with_neck_7_under(&["none", "cap=1n", "cap=470p", "none"])
}

/// One whose coil is known too.
fn with_coil_files() -> Folder {
    let f = with_neck_7_under(&["none", "none"]);
    played(&f, "measure neck-8 --load none --seed 81 --sim l=2300mH", "").ended(0);
    for name in ["neck-7.toml", "neck.toml"] {
        f.write(name, &f.bytes("coil.toml"));
    }
    f.write("mine.toml", b"load = \"vol=250k cable=3m@100p/m\"\n");
    f
}

/// A notebook of some years, and what lies about it.
fn notebook() -> Folder {
    let f = Folder::new();
    f.run(&["use", "--folder", "notebook"]).ended(0);
    f.run(&[&["measure", "neck-9"], &SHORT[..]].concat()).ended(0);
    for n in 1..=6 {
        let (name, sim) = (format!("neck-{n}"), format!("l={}mH cs=11{n}p", 2300 + 7 * n * n));
        f.run(&[&["measure", &name, "--sim", &sim], &SHORT[..]].concat())
            .ended(0);
        let turns = if n > 3 { "turns=8200" } else { "turns=8000" };
        f.run(&["note", &name, "--recipe", turns]).ended(0);
    }
    f.typed(&[&["tray", "neck-12"], &SHORT[..]].concat(), "\n\n\nq\n")
        .ended(0);
    // Of long ago.
    let mut old: serde_json::Value = serde_json::from_slice(&f.bytes("notebook/neck-9/0001/record.json")).unwrap();
    old["taken_at"] = "2019-05-31T10:00:00+00:00".into();
    f.write("notebook/neck-9/0001/record.json", old.to_string().as_bytes());
    std::fs::create_dir_all(f.path("media/disk")).unwrap();
    f.run(
        &[
            &["measure", "class-1", "--out", "media/stick/notebook/class-1/0001"],
            &SHORT[..],
        ]
        .concat(),
    )
    .ended(0);
    f.write("old.csv", b"day;name;ohms (k)\n31.5.2006;neck-1;6,05\n");
    f.write("neck-7.toml", b"r_ohm = 6050.0\nl_h = 2.4\nc_f = 105e-12\n");
    f.write(
        "guitar.toml",
        b"[[pickup]]\nname = \"neck\"\ncoil = [{ name = \"coil\", file = \"neck-7.toml\" }]\n[[pickup]]\nname = \"bridge\"\ncoil = [{ name = \"coil\", file = \"neck-7.toml\" }]\n",
    );
    f
}

fn with_good_ones() -> Folder {
    let f = with_neck_7();
    played(&f, "measure good --load none --seed 75 --ohms '6.05k by meter A'", "").ended(0);
    f
}

fn with_a_later_take() -> Folder {
    let f = with_neck_7();
    std::fs::remove_file(f.path("takes/neck-7/0004/record.json")).unwrap();
    f
}

fn with_witnessed_days() -> Folder {
    let f = workshop();
    played(&f, "rig check --seed 41", "").ended(0);
    f
}

fn typed(f: &Folder, line: &str, keys: &str) -> Run {
    Folder::type_into(f.shell(&format!("coilwright {line}")), keys)
}

/// On the built-in bench.
fn played(f: &Folder, line: &str, keys: &str) -> Run {
    typed(f, &format!("{line} {}", SHORT.join(" ")), keys)
}

/// What stands in a page as a command, in its order: on lines of its own, what explains it left out, and in the last column of tables.
fn commands_of(page: &str) -> Vec<String> {
    let text = std::fs::read_to_string(std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(page)).unwrap();
    let mut out = Vec::new();
    for line in text.lines() {
        let own = line
            .strip_prefix("    ")
            .map(|l| l.trim_start().trim_start_matches("$ "));
        let cell = line
            .starts_with('|')
            .then(|| line.trim_end_matches([' ', '|']).rsplit("| ").next())
            .flatten();
        let cell = cell.and_then(|c| c.trim().strip_prefix('`')?.strip_suffix('`'));
        let command = own.or(cell).and_then(|l| l.strip_prefix("coilwright "));
        out.extend(command.map(|c| c.split("   ").next().unwrap().to_owned()));
    }
    out
}

/// A command of a page; `n`: which one, so that no two takes are one.
fn run(f: &Folder, line: &str, n: usize) -> Run {
    // What lies on a stick or a disk of the winder's lies here.
    let line = line.replace("/media/", "media/").replace("/tmp/takes", "takes");
    let has = |word: &str| line.contains(word);
    let starts = |words: &[&str]| words.iter().any(|w| line.starts_with(w));
    let seed = format!("{line} --seed {}", 100 + n);
    let sim = if has("--source sim") { "" } else { "--source sim" };
    let quick = |line: &str| format!("{line} {sim} --rate 48k --seconds 0.7");
    let plays = starts(&["measure", "rig check", "book returned"]) && !has("--record");
    if starts(&["rig new"]) && !has("--source") {
        let _ = std::fs::remove_file(f.path("north.toml"));
        let told = "--source sim --reference current --series 123.8 --inductance 217u";
        let run = typed(f, &format!("{line} {told}"), "");
        with_witness(f);
        return run;
    }
    if starts(&["rig inputs"]) {
        let wire = if has("--through") {
            "'wire=1M input=1M//150p'"
        } else {
            "wire"
        };
        return typed(f, &format!("{line} {sim} --sim {wire}"), "");
    }
    if has("--in-guitar") {
        return typed(f, &quick(&seed), "\n\n\n\n\n\n");
    }
    if has("--sitting") {
        return typed(f, &quick(&line), "\n\n\nq\n");
    }
    if starts(&["tray"]) {
        return typed(f, &quick(&line), "\n\nq\n");
    }
    if starts(&["watch"]) {
        return typed(f, &format!("{line} {sim} --for 1s"), "");
    }
    if starts(&["rig level"]) {
        return typed(f, &format!("{line} {sim}"), "");
    }
    if starts(&["drive"]) {
        // The take that lies here was made of another, which comes back.
        let there = f.bytes("drive.wav");
        std::fs::remove_file(f.path("drive.wav")).unwrap();
        let run = typed(f, &line, "");
        f.write("drive.wav", &there);
        return run;
    }
    if plays {
        return typed(f, &quick(&seed), "");
    }
    typed(f, &line, "")
}

/// What it may end with besides 0: verdicts, and not whether it could be done.
fn verdicts(line: &str) -> &'static [i32] {
    let starts = |words: &[&str]| words.iter().any(|w| line.starts_with(w));
    match () {
        // Where there is no sound system it says so, in one line.
        () if line == "devices" => &[2],
        () if starts(&["potting", "page before", "book returned"]) => &[1, 3],
        () if starts(&["rig check", "tray", "book check"]) || line.contains("--against") => &[3],
        () if starts(&["analyze", "measure"]) => &[1],
        () => &[],
    }
}

/// What could not be done.
#[track_caller]
fn failed_of(page: &str, least: usize, ready: fn() -> Folder) -> Vec<String> {
    let commands = commands_of(page);
    assert!(commands.len() >= least, "{page}: {commands:?}");
    let f = ready();
    let mut failed = Vec::new();
    for (n, line) in commands.iter().enumerate() {
        let run = run(&f, line, n);
        if run.status != 0 && !verdicts(line).contains(&run.status) {
            failed.push(format!("{page}: {line}: {}: {}{}", run.status, run.out, run.err));
        }
    }
    failed
}

/// A page, how many commands stand there at least, and where they are typed.
type Page = (&'static str, usize, fn() -> Folder);

#[track_caller]
fn all_run(pages: &[Page]) {
    let failed = pages
        .iter()
        .flat_map(|(page, least, ready)| failed_of(page, *least, *ready));
    let failed: Vec<String> = failed.collect();
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}

#[test]
fn the_first_page() {
    all_run(&[("README.md", 2, || {
        let f = Folder::new();
        typed(&f, "demo", "").ended(0);
        f
    })]);
}

#[test]
fn a_day() {
    all_run(&[
        ("docs/day/first-reading.md", 8, workshop),
        ("docs/day/cables-and-pots.md", 13, workshop),
        ("docs/day/wax.md", 5, workshop),
        ("docs/day/lot.md", 6, workshop),
        ("docs/day/rig.md", 8, workshop),
        ("docs/day/notebook.md", 17, workshop),
        ("docs/day/class.md", 8, workshop),
    ]);
}

#[test]
fn what_is_behind() {
    all_run(&[
        ("docs/bench.md", 9, with_neck_7),
        ("docs/loads.md", 2, with_neck_7),
        ("docs/notebook.md", 40, notebook),
        ("docs/page.md", 9, with_coil_files),
        ("docs/potting.md", 6, with_neck_7),
        ("docs/record.md", 3, with_a_later_take),
        ("docs/rig.md", 8, with_witnessed_days),
        ("docs/sim.md", 5, workshop),
        ("docs/tray.md", 8, with_good_ones),
        ("docs/watch.md", 3, workshop),
        ("docs/wirings.md", 20, with_coil_files),
    ]);
}
