//! One page of everything, names chosen to do harm where they can.

use serde_json::{Value, json};

use crate::bench::{Folder, SHORT};

/// Markup, quotes, a line's end, two scripts from right to left, one from left to right, a mark that turns everything round.
pub const NASTY: &str = "</title></script><img src=x onerror=\"alert(1)\"> \"neck\" & 'x'\nשלום مرحبا 首 \u{202e}abc";
/// To whom a pickup went.
pub const CUSTOMER: &str = "the person at the corner";
/// What is the shop's alone.
pub const TURNS: &str = "8123";

const RIG: &str = "name = \"north <bench> & 'co'\"
[exciter]
reference = \"voltage\"
series_ohm = 100.0
inductance_h = 0.0005
[input]
resistance_ohm = 1.0e6
capacitance_f = 60e-12
lead_capacitance_f = 90e-12
[interface]
output = \"built-in bench\"
[witness]
name = \"tin one\"
";

/// A dip of wax, as `potting` takes it too.
pub const WAX: [&str; 7] = [
    "other/before",
    "--after",
    "other/after",
    "--rig",
    "north.toml",
    "--rested",
    "14h",
];

/// A page: the command that makes it, and the file.
pub struct Page {
    pub args: Vec<&'static str>,
    pub file: &'static str,
    /// So many sides of paper, where that is promised.
    pub sides: Option<u64>,
    /// Whether it has a curve.
    pub curve: bool,
}

pub fn pages() -> Vec<Page> {
    let page = |args: &[&'static str], file, curve| Page {
        args: [&["page"], args].concat(),
        file,
        sides: None,
        curve,
    };
    let sheet = |args: &[&'static str], file, sides, curve| Page {
        sides: Some(sides),
        ..page(args, file, curve)
    };
    vec![
        page(&["other/nasty"], "nasty.html", true),
        page(&["other/rejected"], "rejected.html", false),
        page(&["other/holes"], "holes.html", true),
        page(
            &["other/nasty", "other/holes", "other/rejected"],
            "nasty-and-2-more.html",
            true,
        ),
        page(&["neck-7"], "neck-7.html", true),
        page(&["--lot", "none"], "none.html", false),
        page(&["--lot", "many"], "many.html", false),
        page(&WAX, "before-wax.html", false),
        page(&["north.toml"], "north.html", false),
        page(
            &["coil.toml", "--load", "none", "--load", "vol=250k cable=5m@100p/m"],
            "coil.html",
            true,
        ),
        sheet(&["neck-7", "--sheet"], "neck-7-sheet.html", 1, true),
        sheet(&["other/nasty", "--sheet"], "nasty-sheet.html", 1, true),
        sheet(&["other/rejected", "--sheet"], "rejected-sheet.html", 1, false),
        sheet(&["--sheet", "--lot", "class-3"], "class-3-sheets.html", 12, true),
    ]
}

fn put(f: &Folder, folder: &str, record: &Value) {
    std::fs::create_dir_all(f.path(folder)).unwrap();
    f.write(&format!("{folder}/record.json"), &serde_json::to_vec(record).unwrap());
}

fn changed(record: &Value, id: &str, edit: impl FnOnce(&mut Value)) -> Value {
    let mut r = record.clone();
    r["id"] = id.into();
    edit(&mut r);
    r
}

fn entry(f: &Folder, n: u32, kind: &str, more: Value) {
    let mut e = json!({"schema": "coilwright/entry/1", "id": format!("e{n}"), "at": format!("2026-03-0{n}T10:00:00+01:00"),
        "by": null, "kind": kind, "pickup": "neck-7"});
    e.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    std::fs::create_dir_all(f.path("entries")).unwrap();
    f.write(&format!("entries/e{n}.json"), &serde_json::to_vec(&e).unwrap());
}

/// The shop that they are of.
pub fn shop() -> Folder {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    std::fs::create_dir(f.path("other")).unwrap();
    let on = ["--rig", "north.toml", "--load", "cap=330p", "--out"];
    let measured = |name: &str, sim: &str, out: &str, status: i32| {
        let args = [&["measure", name, "--sim", sim], &SHORT[..], &on, &[out]].concat();
        f.run(&args).ended(status);
        f.record(out)
    };
    let good = measured("tin one", "r=6k l=2.4H cs=120p noise=-70dBFS", "witness", 0);
    let waxed = measured("p", "r=6k l=2.4H cs=138p noise=-70dBFS", "other/after", 0);
    measured(NASTY.split('\n').next().unwrap(), "open", "other/rejected", 1);
    put(
        &f,
        "other/before",
        &changed(&good, "before", |r| r["pickup"]["name"] = "p".into()),
    );
    put(&f, "other/nasty", &changed(&good, "nasty", nasty));
    put(&f, "other/holes", &changed(&waxed, "holes", holes));
    the_life(&f, &good, &waxed);
    lots(&f, &good);
    checks(&f);
    f.write(
        "coil.toml",
        format!(
            "schema = \"coilwright/coil/1\"\nname = {}\nr_ohm = 6000.0\nl_h = 2.4\nc_f = 120e-12\n",
            json!(NASTY)
        )
        .as_bytes(),
    );
    f
}

fn nasty(r: &mut Value) {
    for key in ["name", "note", "over", "by", "ohmmeter"] {
        r["pickup"][key] = NASTY.into();
    }
    r["pickup"]["r_ohm"] = json!(6050.0);
    r["load"]["text"] = NASTY.into();
    r["notes"].as_array_mut().unwrap().push(NASTY.into());
}

/// Nothing from 1 to 2 kHz.
fn holes(r: &mut Value) {
    let keep: Vec<bool> = r["curve"]["freq_hz"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| !(1e3..2e3).contains(&f.as_f64().unwrap()))
        .collect();
    for column in r["curve"].as_object_mut().unwrap().values_mut() {
        let mut at = keep.iter();
        column.as_array_mut().unwrap().retain(|_| *at.next().unwrap());
    }
}

fn the_life(f: &Folder, good: &Value, waxed: &Value) {
    for (n, of, stage) in [(1, good, "before wax"), (2, waxed, "after wax")] {
        let r = changed(of, &format!("life-{n}"), |r| {
            r["pickup"]["name"] = "neck-7".into();
            r["pickup"]["stage"] = stage.into();
            r["taken_at"] = format!("2026-03-0{n}T09:00:00+01:00").into();
        });
        put(f, &format!("neck-7/000{n}"), &r);
    }
    entry(f, 1, "about", json!({"position": "neck"}));
    entry(f, 2, "recipe", json!({"design": null, "words": {"turns": TURNS}}));
    entry(f, 3, "sent", json!({"record": "life-2", "to": CUSTOMER}));
    entry(
        f,
        4,
        "paper",
        json!({"file": "old.csv", "rows": [{"pickup": "neck-7", "day": "2019-05", "ohm": 6010.0, "words": {"turns": TURNS}}]}),
    );
}

fn lots(f: &Folder, good: &Value) {
    let lot = |name: &str, entries: Vec<Value>| {
        std::fs::create_dir_all(f.path(name)).unwrap();
        let tray = json!({"schema": "coilwright/tray/1", "lot": name, "standard": null, "next": entries.len() + 1, "entries": entries});
        f.write(&format!("{name}/tray.json"), &serde_json::to_vec(&tray).unwrap());
    };
    let one = |n: u32, name: String, record: Option<String>| {
        let e = |v: f64| json!({"value": v, "u": 1.0, "u_noise": 0.5});
        // Up and down, so that sorting has something to do; every hundredth was skipped.
        let hz = 4000.0 + f64::from((n * 37) % 101);
        let skipped = n.is_multiple_of(100);
        json!({"number": n, "name": name, "record": if skipped { None } else { record }, "taken_at": "2026-03-01T09:00:00+01:00",
            "peak_hz": (!skipped).then(|| e(hz)), "f0_hz": (!skipped).then(|| e(hz * 1.04)), "q": (!skipped).then(|| e(2.5)), "judged": null})
    };
    lot("none", Vec::new());
    lot(
        "many",
        (1..=500)
            .map(|n| one(n, format!("{NASTY} {n}"), Some(format!("many-{n:02}"))))
            .collect(),
    );
    let class = 1..=12;
    lot(
        "class-3",
        class
            .clone()
            .map(|n| one(n, format!("class-3-{n:02}"), Some(format!("class-3-{n:02}"))))
            .collect(),
    );
    for n in class {
        let r = changed(good, &format!("class-{n}"), |r| {
            r["pickup"]["name"] = format!("class-3-{n:02}").into();
            r["pickup"]["by"] = format!("hands {n}").into();
        });
        put(f, &format!("class-3/class-3-{n:02}"), &r);
    }
}

/// Twenty checks, made of one.
fn checks(f: &Folder) {
    f.run(&["rig", "check", "north.toml", "--record", "witness"]).ended(0);
    let mut h: Value = serde_json::from_slice(&f.bytes("north.checks.json")).unwrap();
    let first = h["checks"][0].clone();
    let again = |i: usize| {
        let mut c = first.clone();
        c["taken_at"] = format!("2026-01-{:02}T08:00:00Z", i + 1).into();
        c["id"] = format!("check-{i}").into();
        let f0 = first["f0_hz"]["value"].as_f64().unwrap();
        c["f0_hz"]["value"] = (f0 * (1.0 + 1e-4 * [3.0, -2.0, 1.0][i % 3])).into();
        c
    };
    h["checks"] = (0..20).map(again).collect();
    h["changed"] = json!({"what": NASTY, "at": "2025-12-31T08:00:00Z", "before": null});
    f.write("north.checks.json", &serde_json::to_vec(&h).unwrap());
}
