//! The same ten years as a notebook on the disk, asked through the command line: each pickup once, nothing counted twice, and of those
//! that came back the same as is said of their readings alone.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use coilwright::record::{Definition, Record};
use coilwright::shop::lot::{Entry, SCHEMA, Tray};
use serde_json::{Value, json};

use crate::bench::Folder;
use crate::decade::{LOT, STAGES, Shop, about, lot_name, stamp};
use crate::rate::{Held, Rate};

/// Each so-manieth finished reading lies in the notebook once more, as a folder copied by hand.
const COPIED: usize = 50;
/// Lives and lots that are asked for.
const ASKED: usize = 40;

fn put(book: &Path, place: &str, record: &Record) {
    let folder = book.join(place);
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("record.json"), serde_json::to_vec(record).unwrap()).unwrap();
}

fn say(book: &Path, at: &str, id: &str, what: &Value) {
    let mut entry = json!({"schema": "coilwright/entry/1", "id": id, "at": at, "by": null});
    entry.as_object_mut().unwrap().extend(what.as_object().unwrap().clone());
    std::fs::write(book.join(format!("entries/{id}.json")), entry.to_string()).unwrap();
}

/// Writes the notebook `book`.
pub fn written(shop: &Shop, f: &Folder) {
    let book = f.path("book");
    std::fs::create_dir_all(book.join("entries")).unwrap();
    for (n, own) in shop.pickups.iter().enumerate() {
        let name = &own.name;
        put(&book, &format!("{}/{name}", lot_name(own.lot)), &shop.reading(n, 0));
        put(&book, &format!("{name}/0001"), &shop.reading(n, 1));
        let left = shop.left(n);
        put(&book, &format!("{name}/0002"), &left);
        if n.is_multiple_of(COPIED) {
            put(&book, &format!("{name} copied/0002"), &left);
        }
        let [day, _] = shop.days(n);
        let is = about(n);
        let is = json!({"kind": "about", "pickup": name, "position": is.position, "spacing_m": is.spacing_m});
        say(&book, &stamp(day, 1), &format!("a{n}"), &is);
        if !shop.is_on_the_shelf(n) {
            let what = match shop.came(n).is_some() || n.is_multiple_of(2) {
                true => json!({"kind": "sent", "pickup": name, "record": left.id, "to": "a player"}),
                false => json!({"kind": "sold", "pickup": name}),
            };
            say(&book, &stamp(day, 2), &format!("b{n}"), &what);
        }
    }
    for (n, came) in shop.back() {
        put(&book, &format!("{}/0003", shop.pickups[n].name), &shop.today(n, came));
    }
    for lot in 0..shop.pickups.len().div_ceil(LOT) {
        tray(shop, &book, lot);
    }
    f.run(&["use", "--folder", "book"]).ended(0);
}

fn tray(shop: &Shop, book: &Path, lot: usize) {
    let own = shop.pickups.iter().filter(|p| p.lot == lot);
    let entries = own.map(|p| Entry {
        number: p.number,
        name: p.name.clone(),
        record: Some(p.name.clone()),
        ..Entry::default()
    });
    let tray = Tray {
        schema: SCHEMA.into(),
        lot: lot_name(lot),
        copied_from: None,
        definition: Definition::Plain,
        standard: None,
        entries: entries.collect(),
        setting: None,
        columns: Vec::new(),
        next: LOT as u32 + 1,
    };
    let place = book.join(lot_name(lot)).join("tray.json");
    std::fs::write(place, serde_json::to_vec(&tray).unwrap()).unwrap();
}

fn list<'a>(v: &'a Value, key: &str) -> impl Iterator<Item = &'a Value> {
    v[key].as_array().into_iter().flatten()
}

fn asked(f: &Folder, args: &[&str]) -> Value {
    f.run(&[&["book"], args, &["--json"]].concat()).ended(0).json()
}

/// Evenly spread.
fn some(of: usize) -> impl Iterator<Item = usize> {
    (0..of).step_by(of.div_ceil(ASKED))
}

pub fn lists(shop: &Shop, f: &Folder) -> Vec<Rate> {
    let all_right = Held::AtLeast(100.0);
    let many = shop.pickups.len();
    let latest = asked(f, &["--look"]);
    let mut at = BTreeMap::<&str, Vec<&str>>::new();
    for r in list(&latest, "readings") {
        at.entry(r["name"].as_str().unwrap())
            .or_default()
            .push(r["record"].as_str().unwrap());
    }
    let once = |n: &usize| {
        let name = &shop.pickups[*n].name;
        let number = if shop.came(*n).is_some() { 3 } else { 2 };
        at.get(name.as_str())
            .is_some_and(|own| *own == [format!("{name}/{number:04}")])
    };
    let every = asked(f, &["--all"]);
    let ids: BTreeSet<&str> = list(&every, "readings").map(|r| r["id"].as_str().unwrap()).collect();
    let there = 3 * many + shop.back().count();
    let counted = [list(&every, "readings").count(), ids.len()];
    let sorted = asked(f, &["--sort", "peak"]);
    let peaks: Vec<f64> = list(&sorted, "readings")
        .map(|r| r["peak_hz"].as_f64().unwrap_or(0.0))
        .collect();
    let life = |n: &usize| {
        let own = &shop.pickups[*n];
        let life = asked(f, &[&own.name]);
        let stages: Vec<&str> = list(&life, "readings").map(|r| r["stage"].as_str().unwrap()).collect();
        let back = shop.came(*n).map(|_| "returned");
        let named: Vec<&str> = list(&life, "entries").map(|e| e["kind"].as_str().unwrap()).collect();
        let gone = if shop.is_on_the_shelf(*n) { 1 } else { 2 };
        stages == STAGES.into_iter().chain(back).collect::<Vec<_>>() && named.len() == gone
    };
    let lot = |k: &usize| {
        let (told, want) = (asked(f, &["lot", &lot_name(*k)]), shop.lot(*k));
        told["look_first"]["number"].as_u64() == want.look_first.as_ref().map(|l| u64::from(l.number))
            && list(&told, "pickups").count() == want.pickups.len()
            && list(&told, "quantities")
                .zip(&want.quantities)
                .all(|(t, w)| t["told"]["odd"].as_array().map(Vec::len) == w.told.as_ref().map(|t| t.odd.len()))
    };
    vec![
        Rate::of("`book`: a pickup once, by its latest reading", all_right, 0..many, once),
        Rate::of("`book --all`: all readings, each once", all_right, counted, |c| {
            *c == there
        }),
        Rate::of("`book --sort peak`: in order", all_right, peaks.windows(2), |w| {
            w[0] >= w[1]
        }),
        Rate::of(
            "`book NAME`: its stages in order, and what was said",
            all_right,
            some(many),
            life,
        ),
        Rate::of(
            "`book lot`: as its readings alone say",
            all_right,
            some(many / LOT),
            lot,
        ),
    ]
}

/// `book check`, on what was planted and on nothing else.
pub fn check(shop: &Shop, f: &Folder) -> Vec<Rate> {
    let many = shop.pickups.len();
    let (copies, readings) = (many.div_ceil(COPIED), 3 * many + shop.back().count());
    let told = f.run(&["book", "check", "--json"]).ended(3).json();
    let doubled = list(&told, "faults").filter(|f| f["kind"] == "doubled").count();
    let right = [
        doubled == copies,
        list(&told, "faults").count() == copies,
        told["readings"] == readings + copies,
        told["elsewhere"] == readings + copies,
    ];
    vec![Rate::of(
        "`book check`: every copy named, nothing else",
        Held::AtLeast(100.0),
        right,
        |r| *r,
    )]
}

/// Each that came back, as its readings alone say.
pub fn returned(shop: &Shop, f: &Folder) -> Vec<Rate> {
    let said = |(n, _, want): &(usize, _, coilwright::shop::returned::Returned)| {
        let name = &shop.pickups[*n].name;
        let record = format!("book/{name}/0003");
        let run = f.run(&["book", "returned", name, "--record", &record, "--json"]);
        let told: Value = serde_json::from_str(&run.out).unwrap_or_default();
        let same = told["verdict"] == json!(want.verdict) && told["looks"] == json!(want.looks);
        if !same {
            println!(
                "{name}: {} {} {}\n  {:?} {:?}",
                told["verdict"], told["looks"], run.err, want.verdict, want.looks
            );
        }
        same
    };
    vec![Rate::of(
        "`book returned`: as its readings alone say",
        Held::AtLeast(100.0),
        shop.told(),
        said,
    )]
}

/// Of the shelf alone.
pub fn sets(shop: &Shop, f: &Folder) -> Vec<Rate> {
    let told = asked(f, &["sets", "--target", "bridge: peak 0%"]);
    let members = list(&told, "sets").flat_map(|s| list(s, "members"));
    let names: Vec<&str> = members.map(|m| m["pickup"].as_str().unwrap()).collect();
    let free = |name: &&str| {
        let n = name.trim_start_matches("coil-").parse().unwrap();
        shop.is_on_the_shelf(n)
    };
    vec![Rate::of(
        "`book sets`: of those neither sold nor sent",
        Held::AtLeast(100.0),
        names,
        free,
    )]
}

#[test]
fn ten_years_of_a_small_shop_in_its_notebook() {
    let shop = Shop::new(3, 160, 4, 4);
    let f = Folder::quick();
    written(&shop, &f);
    let all = [lists(&shop, &f), check(&shop, &f), sets(&shop, &f), returned(&shop, &f)].concat();
    let lines: Vec<String> = all.iter().map(Rate::line).collect();
    println!("{}", lines.join("\n"));
    assert!(all.iter().all(Rate::is_held), "{}", lines.join("\n"));
}
