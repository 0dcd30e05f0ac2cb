//! What gets into a page, and what does not.

use super::line::theirs;
use super::table::{Table, number};
use super::*;
use crate::report::plot::response_plot;
use crate::report::samples::Recipe;

const NASTY: &str = "</style><script>alert(1)</script> \"neck\" & 'x' \u{202e}\u{0}\u{fffe}\nשלום";

fn page() -> Page {
    let mut page = Page::new(theirs(NASTY));
    page.put(Block::Notice(theirs(NASTY)));
    page.put(Block::Command(NASTY.into()));
    page.list(vec![theirs(NASTY)]);
    page.put(Block::Facts(vec![("Note".into(), theirs(NASTY))]));
    page.put(Block::Table(Table {
        caption: theirs(NASTY),
        head: vec!["pickup", "peak"],
        rows: vec![vec![
            theirs(NASTY).into(),
            number(Some(4012.5), |v| format!("{v:.0} Hz")),
        ]],
    }));
    let mut record = Recipe::default().record();
    record.pickup.name = NASTY.into();
    page.put(Block::Picture(Box::new(response_plot(&record).unwrap())));
    page
}

#[test]
fn nothing_typed_in_becomes_markup() {
    let html = page().html();
    assert!(html.contains("<bdi>&lt;/style&gt;&lt;script&gt;alert(1)&lt;/script&gt; &quot;neck&quot; &amp; 'x'"));
    assert_eq!(html.matches("<script").count(), 1);
    assert_eq!(html.matches("</style>").count(), 1);
    assert!(html.contains("<td class=\"number\" data-value=\"4012.5\">4012 Hz</td>") && !html.contains("<?xml"));
    assert!(!html.contains(['\u{0}', '\u{fffe}']));
    // All in one file: nothing is fetched from anywhere.
    let without = html.replace("http://www.w3.org/2000/svg", "").replace("http-equiv", "");
    assert!(!without.contains("http") && !html.contains("src=") && !html.contains("url("));
}

/// The browser runs what the page names by its digest, and nothing else. The digest is worked out by itself here.
#[test]
fn the_page_names_its_own_style_and_script() {
    let html = page().html();
    let between = |a: &str, b: &str| html.split(a).nth(1).unwrap().split(b).next().unwrap();
    for (text, kind) in [
        (between("<style>", "</style>"), "style-src"),
        (between("<script>", "</script>"), "script-src"),
    ] {
        assert!(!text.is_empty());
        let named = between(kind, ";")
            .trim_start_matches(" '")
            .split('\'')
            .next()
            .unwrap()
            .to_owned();
        assert_eq!(named, digest(text), "{kind}");
    }
    assert!(html.contains("default-src 'none'"));
    // RFC 4648 of the digest of nothing, as FIPS 180-4's examples have it.
    assert_eq!(digest(""), "sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=");
    assert!(html.contains(MARK));
}

#[test]
fn a_drawing_with_a_curve_can_be_read_and_one_without_cannot() {
    let html = page().html();
    assert_eq!(html.matches("type=\"range\"").count(), 1);
    let data = html.split("data-reads=\"").nth(1).unwrap().split('"').next().unwrap();
    let reads: serde_json::Value = serde_json::from_str(&data.replace("&quot;", "\"")).unwrap();
    let points = reads["curves"][0]["points"].as_array().unwrap();
    let curve = Recipe::default().record().curve.unwrap();
    let at = |hz: f64| {
        points
            .iter()
            .find(|p| (p[0].as_f64().unwrap() - hz).abs() < 0.06)
            .unwrap()[1]
            .as_f64()
            .unwrap()
    };
    for (hz, db) in curve
        .freq_hz
        .iter()
        .zip(&curve.mag_db)
        .filter(|p| (100.0..2e4).contains(p.0))
    {
        assert!((at(*hz) - db).abs() < 6e-4, "{hz}");
    }
    let mut bare = Page::new("none".into());
    bare.put(Block::Picture(Box::new(
        response_plot(&crate::report::samples::rejected()).unwrap(),
    )));
    assert!(!bare.html().contains("type=\"range\"") && !bare.html().contains("data-reads="));
}
