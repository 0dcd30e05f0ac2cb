//! Pages: what is on them, and what is not.

use crate::bench::{Folder, Made};
use crate::page_made::{CUSTOMER, NASTY, TURNS, WAX, pages, shop};

fn made() -> Folder {
    static MADE: Made = Made::new();
    Folder::like(&MADE, shop)
}

fn page(f: &Folder, args: &[&str]) -> String {
    let told = f.run(&[&["page"], args, &["--json"]].concat()).ended(0).json();
    assert_eq!(told["schema"], "coilwright/page/1");
    let files = told["files"].as_array().unwrap();
    assert_eq!(files.len(), 1);
    String::from_utf8(f.bytes(files[0].as_str().unwrap())).unwrap()
}

/// Words, without markup.
fn words(html: &str) -> String {
    let body = html.split("<body>").nth(1).unwrap().split("<script>").next().unwrap();
    let mut out = String::new();
    for piece in body.split('<') {
        out.push_str(piece.split_once('>').map_or(piece, |p| p.1));
        out.push(' ');
    }
    out
}

#[test]
fn everything_has_a_page() {
    let f = made();
    for p in pages() {
        let run = f.run(&p.args).ended(0);
        assert!(run.out.contains(p.file), "{:?}: {}", p.args, run.out);
        let html = String::from_utf8(f.bytes(p.file)).unwrap();
        assert_eq!(html.contains("data-reads=\""), p.curve, "{}", p.file);
        let sheets = html.matches("<article class=\"sheet\">").count();
        assert_eq!(sheets as u64, p.sides.unwrap_or(0), "{}", p.file);
        assert!(!html.contains("<img") && !html.contains(CUSTOMER), "{}", p.file);
        assert!(
            html.contains("SIMULATED") || p.file.contains("none") || p.file.contains("many") || p.file.contains("coil"),
            "{}",
            p.file
        );
    }
}

/// The names to whom it went never, the recipe only where it is asked for.
#[test]
fn what_is_the_shops_alone_stays_there() {
    let f = made();
    for args in [&["neck-7"][..], &["neck-7", "--sheet"], &["neck-7@after-wax"]] {
        let (kept, shown) = (page(&f, args), page(&f, &[args, &["--with-recipe"]].concat()));
        assert!(!kept.contains(CUSTOMER) && !shown.contains(CUSTOMER), "{args:?}");
        assert!(!kept.contains(TURNS) && shown.contains(TURNS), "{args:?}");
    }
    let life = words(&page(&f, &["neck-7"]));
    assert!(
        life.contains("sent") && life.contains("2019-05 :  read by hand: 6.010 kΩ") && life.contains("after wax"),
        "{life}"
    );
    f.run(&["page", "--lot", "many", "--with-recipe"])
        .refused(&["--with-recipe"]);
}

#[test]
fn a_sheet_says_what_a_player_asks() {
    let f = made();
    let sheet = words(&page(&f, &["--sheet", "--lot", "class-3"]));
    for n in 1..=12 {
        assert!(
            sheet.contains(&format!(" class-3-{n:02} ")) && sheet.contains(&format!(" hands {n} ")),
            "{n}: {sheet}"
        );
    }
    let r = f.record("class-3/class-3-01");
    let khz = r["resonance"]["peak_hz"]["value"].as_f64().unwrap() / 1e3;
    for part in [
        format!("{khz:.2} kHz. Here it answers most strongly"),
        "Signed".into(),
        "Not measured".into(),
        "cap=330p".into(),
    ] {
        assert!(sheet.contains(&part), "{part}: {sheet}");
    }
    let none = words(&page(&f, &["other/rejected", "--sheet"]));
    assert!(
        none.contains("No reading, measure again: ")
            && !none.contains("answers most strongly")
            && none.contains("Signed")
    );
    assert!(words(&page(&f, &["--sheet", "--lot", "none"])).contains("Nothing has been measured"));
}

#[test]
fn tables_say_what_was_measured() {
    let f = made();
    let lot = page(&f, &["--lot", "many"]);
    assert_eq!(lot.matches("<tr>").count(), 501);
    assert!(lot.contains("data-value=\"4037\">4.04 kHz</td>") && words(&lot).contains("495 measured, 5 skipped"));
    assert!(words(&page(&f, &["--lot", "none"])).contains("nothing measured yet"));
    // With its records the lot is shown in the order of making as well.
    assert_eq!(
        (
            lot.matches("<svg").count(),
            page(&f, &["--lot", "class-3"]).matches("<svg").count()
        ),
        (1, 2)
    );
    let wax = words(&page(&f, &WAX));
    let told = f.run(&[&["potting"], &WAX[..], &["--json"]].concat()).json();
    assert!(
        wax.contains(told["pairs"][0]["text"].as_str().unwrap()),
        "{wax}\n{told}"
    );
    let read = &told["pairs"][0]["read"]["f0_hz"];
    let [before, after] = [0, 1].map(|i| read[i].as_f64().unwrap());
    assert!(
        wax.contains(&format!("{before:.0} \u{2192} {after:.0}")),
        "{wax}\n{told}"
    );
    // And the change of what stands there in decibels, with its interval.
    let height = told["pairs"][0]["peak_db"]["value"].as_f64().unwrap();
    assert!(page(&f, &WAX).contains(&format!("data-value=\"{height}\"")), "{height}");
    let rig = page(&f, &["north.toml"]);
    assert_eq!(rig.matches("<tr>").count(), 21);
    assert!(words(&rig).contains("The last check: GO"));
    let loads = f
        .run(&["loads", "--coil", "coil.toml", "--load", "none", "--json"])
        .json();
    let hz = loads["loads"][0]["peak_hz"].as_f64().unwrap();
    assert!(
        page(&f, &["coil.toml", "--load", "none"]).contains(&format!("data-value=\"{hz}\"")),
        "{hz}"
    );
    let two = words(&page(&f, &["neck-7#0001", "neck-7#0002"]));
    let told = f.run(&["compare", "neck-7#0001", "neck-7#0002", "--json"]).json();
    assert!(
        two.contains(
            told["differences"][0]["text"]
                .as_str()
                .unwrap()
                .split(';')
                .next()
                .unwrap()
        ),
        "{two}"
    );
}

#[test]
fn a_page_is_made_anew_over_a_page_and_over_nothing_else() {
    let f = made();
    let first = page(&f, &["neck-7"]);
    assert_eq!(page(&f, &["neck-7"]), first);
    f.write("neck-7.html", b"<p>a letter to the bank</p>");
    f.run(&["page", "neck-7"])
        .refused(&["neck-7.html is there already", "--out"]);
    assert_eq!(f.bytes("neck-7.html"), b"<p>a letter to the bank</p>");
    assert!(page(&f, &["neck-7", "--out", "pages"]).contains("<h1>"));
    assert_eq!(f.list("pages"), ["neck-7.html"]);
}

#[test]
fn what_is_asked_of_a_page_in_vain_is_refused() {
    let f = made();
    f.run(&["page"]).refused(&["WHAT"]);
    f.run(&["page", "nobody"]).refused(&["nobody"]);
    f.run(&["page", "coil.toml"]).refused(&["--load"]);
    f.run(&["page", "neck-7", "--load", "none"])
        .refused(&["--load", "coil file"]);
    f.run(&["page", "north.toml", "--sheet"]).refused(&["--sheet"]);
    f.run(&["page", "--lot", "nine"]).refused(&["no lot nine"]);
    f.run(&["page", "other/nasty", "--rested", "2h"]).refused(&["--after"]);
    assert!(!f.list(".").iter().any(|n| n.ends_with(".html")));
    assert!(page(&f, &["other/nasty"]).contains("&lt;/title&gt;") && NASTY.contains("</title>"));
}
