//! What each plot draws lies where its own axis says that the values of its document belong.

use serde_json::Value;

use crate::bench::{Folder, SHORT};
use crate::drawn::{Drawing, Field};
use crate::earlier::{document, shop};
use crate::potting::rested;

const INK: &str = "#141418";
const MEASURED: &str = "#5C8CB2";
const SECOND: &str = "#1862A0";
const SOFT: &str = "#54565C";
const BAND: &str = "#D0DCE5";
const PEAK: &str = "#A02418";
const F0: &str = "#1E603C";

fn drawing(f: &Folder, name: &str) -> Drawing {
    Drawing::read(&String::from_utf8(f.bytes(name)).unwrap())
}

fn number(v: &Value, pointer: &str) -> f64 {
    v.pointer(pointer)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("{pointer}"))
}

fn column(v: &Value, pointer: &str) -> Vec<f64> {
    let all = v
        .pointer(pointer)
        .and_then(Value::as_array)
        .unwrap_or_else(|| panic!("{pointer}"));
    all.iter().map(|v| v.as_f64().unwrap()).collect()
}

fn pairs(v: &Value, x: &str, y: &str) -> Vec<(f64, f64)> {
    column(v, x).into_iter().zip(column(v, y)).collect()
}

/// As the outline of a band: the upper edge there, the lower one back.
fn outline(middle: &[(f64, f64)], half: impl Fn(usize) -> f64) -> Vec<(f64, f64)> {
    let edge = |sign: f64| -> Vec<(f64, f64)> {
        let all = middle
            .iter()
            .enumerate()
            .filter(|(_, p)| (100.0..=20_000.0).contains(&p.0));
        all.map(|(i, p)| (p.0, p.1 + sign * half(i))).collect()
    };
    let mut out = edge(1.0);
    out.extend(edge(-1.0).into_iter().rev());
    out
}

/// The whole sheet but title and footer: all plots of one field with a frequency axis.
fn whole(d: &Drawing) -> Field {
    d.field(0.0..=144.5, 13.0..=92.0)
}

/// One take in the noise, so that band and misfit can be seen, and taps.
#[test]
fn a_response_and_its_misfit() {
    let f = Folder::new();
    let sim = ["--sim", "r=6k l=2.4H cs=120p noise=-40dBFS", "--load", "cap=330p"];
    f.run(&[&["measure", "--pickup", "one", "--out", "one"], &SHORT[..], &sim].concat())
        .ended(0);
    let (r, d) = (f.record("one"), drawing(&f, "one/response.svg"));
    let main = d.field(0.0..=144.5, 16.9..=64.5);
    let measured = pairs(&r, "/curve/freq_hz", "/curve/mag_db");
    main.follows("curve", &d.line(&main, MEASURED), &measured);
    main.follows(
        "model",
        &d.line(&main, INK),
        &pairs(&r, "/curve/freq_hz", "/curve/model_db"),
    );
    let u = column(&r, "/curve/u_db");
    main.on(
        "band",
        &inside(&main, d.area(&main, BAND)),
        &outline(&measured, |i| 1.96 * u[i]),
    );
    // The pointer's tip, 1.1 of its 1.3 mm below the place it is put at, which is 1.9 mm above the peak.
    let peak = (
        number(&r, "/resonance/peak_hz/value"),
        number(&r, "/resonance/peak_db/value"),
    );
    let pointer: Vec<_> = d.marks(&main, PEAK).iter().map(|p| (p.0, p.1 + 20.0 * 1.64)).collect();
    main.marked("peak", &pointer, &[peak]);
    let f0 = number(&r, "/resonance/f0_hz/value");
    let at = d.marks(&main, F0);
    assert_eq!(at.len(), 1);
    main.on("f0", &at, &pairs(&r, "/curve/freq_hz", "/curve/model_db"));
    main.on("f0's line", &at, &[(f0, -200.0), (f0, 200.0)]);

    let rest = d.field(0.0..=144.5, 68.0..=84.5);
    let model = column(&r, "/curve/model_db");
    let misfit: Vec<(f64, f64)> = measured.iter().zip(&model).map(|(p, m)| (p.0, p.1 - m)).collect();
    rest.follows("misfit", &d.line(&rest, MEASURED), &misfit);
    let none: Vec<(f64, f64)> = measured.iter().map(|p| (p.0, 0.0)).collect();
    let highest = outline(&none, |i| 1.96 * u[i]);
    let band = d.area(&rest, BAND);
    rest.on("its band", &inside(&rest, band), &highest);
}

/// Without what is cut off at the frame's upper and lower edge.
fn inside(field: &Field, points: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    let (top, bottom) = field.ends();
    points
        .into_iter()
        .filter(|p| p.1 > top + 2.0 && p.1 < bottom - 2.0)
        .collect()
}

#[test]
fn taps() {
    let f = Folder::new();
    let args = ["measure", "--pickup", "one", "--out", "one", "--knock", "3"];
    f.run(&[&args[..], &SHORT, &["--sim", "r=6k l=2.4H cs=120p"]].concat())
        .ended(0);
    let (r, d) = (f.record("one"), drawing(&f, "one/knock.svg"));
    let field = d.field(0.0..=144.5, 18.0..=77.0);
    let level = pairs(&r, "/knock/spectrum/freq_hz", "/knock/spectrum/level_db");
    field.follows("taps", &d.line(&field, MEASURED), &level);
    field.on(
        "between",
        &d.line(&field, SOFT),
        &pairs(&r, "/knock/spectrum/freq_hz", "/knock/spectrum/noise_db"),
    );
    let u = column(&r, "/knock/spectrum/u_db");
    let band = inside(&field, d.area(&field, BAND));
    field.on("band", &band, &outline(&level, |i| 1.96 * u[i]));
    let at = d.marks(&field, PEAK);
    let peaks = r.pointer("/knock/peaks").unwrap().as_array().unwrap();
    assert_eq!(at.len(), peaks.len());
    for (p, at) in peaks.iter().zip(at) {
        let hz = number(p, "/hz/value");
        field.on("a peak", &[at], &[(hz, -200.0), (hz, 200.0)]);
    }
}

#[test]
fn responses_over_each_other() {
    let f = shop();
    let records = ["takes/bare", "takes/neck-7/0001"];
    let mut weaker = f.record(records[1]);
    weaker["resonance"]["level_db"]["value"] = (number(&weaker, "/resonance/level_db/value") - 5.0).into();
    f.write("takes/neck-7/0001/record.json", &serde_json::to_vec(&weaker).unwrap());
    for levels in [&[][..], &["--levels"]] {
        let out = format!("compared-{}", levels.len());
        f.run(&[&["compare"], &records[..], levels, &["--out", &out]].concat())
            .ended(0);
        let d = drawing(&f, &format!("{out}/overlay.svg"));
        let field = whole(&d);
        let [a, b] = records.map(|r| f.record(r));
        let shift = match levels {
            [] => 0.0,
            _ => number(&b, "/resonance/level_db/value") - number(&a, "/resonance/level_db/value"),
        };
        for (r, colour, shift) in [(a, INK, 0.0), (b, SECOND, shift)] {
            let up = |p: (f64, f64)| (p.0, p.1 + shift);
            let curve: Vec<_> = pairs(&r, "/curve/freq_hz", "/curve/mag_db")
                .into_iter()
                .map(up)
                .collect();
            field.follows(colour, &d.line(&field, colour), &curve);
            let peak = (
                number(&r, "/resonance/peak_hz/value"),
                number(&r, "/resonance/peak_db/value"),
            );
            field.marked(colour, &d.marks(&field, colour), &[up(peak)]);
        }
    }
}

#[test]
fn predictions() {
    let f = shop();
    let loads = ["--load", "vol=250k amp=1M", "--load", "vol=500k cable=5m@100p/m amp=1M"];
    let args = ["loads", "--coil", "neck-8.toml", "--tolerance", "usual", "--out", "p"];
    f.run(&[&args[..], &loads].concat()).ended(0);
    let (all, d) = (document(&f, "p/loads.json"), drawing(&f, "p/loads.svg"));
    let field = whole(&d);
    let mut bands = d.areas.iter().filter(|a| a.colour == BAND).map(|a| &a.points);
    for (l, colour) in all["loads"].as_array().unwrap().iter().zip([INK, SECOND]) {
        field.follows(
            colour,
            &d.line(&field, colour),
            &pairs(l, "/curve/freq_hz", "/curve/gain_db"),
        );
        field.marked(
            colour,
            &d.marks(&field, colour),
            &[(number(l, "/peak_hz"), number(l, "/peak_db"))],
        );
        let low = pairs(l, "/curve/freq_hz", "/band/low_db");
        let high = column(l, "/band/high_db");
        let middle: Vec<_> = low.iter().zip(&high).map(|(a, b)| (a.0, (a.1 + b) / 2.0)).collect();
        let half = |i: usize| (high[i] - low[i].1) / 2.0;
        let band = inside(&field, bands.next().expect("a band for each").clone());
        field.on("band", &band, &outline(&middle, half));
    }
}

#[test]
fn takes_over_their_prediction() {
    let f = shop();
    f.run(&[
        "loads",
        "--coil",
        "neck-8.toml",
        "--against",
        "takes/nano",
        "--out",
        "a",
    ])
    .ended(0);
    let parts = ["--tolerance", "cap=1% input=2%", "--out", "c"];
    f.run(&[&["coil", "takes/bare", "takes/nano"], &parts[..]].concat())
        .ended(0);
    let laid = document(&f, "a/loads.json");
    let take = &laid["against"]["takes"][0];
    for (plot, colour) in [("a/against.svg", INK), ("c/coil.svg", SECOND)] {
        let d = drawing(&f, plot);
        let field = whole(&d);
        field.follows(
            plot,
            &d.line(&field, colour),
            &pairs(take, "/curve/freq_hz", "/curve/predicted_db"),
        );
        let dots = d.marks(&field, colour);
        assert!(dots.len() > 30, "{plot}: {}", dots.len());
        field.on(plot, &dots, &pairs(take, "/curve/freq_hz", "/curve/measured_db"));
    }
}

#[test]
fn a_take_freed_from_its_load() {
    let f = shop();
    f.run(&["loads", "--coil", "neck-8.toml", "--undo", "takes/nano", "--out", "u"])
        .ended(0);
    let all = document(&f, "u/loads.json");
    let (u, d) = (&all["undone"], drawing(&f, "u/undone.svg"));
    let field = whole(&d);
    let curve = pairs(u, "/curve/freq_hz", "/curve/mag_db");
    field.follows("curve", &d.line(&field, INK), &curve);
    let half = column(u, "/curve/u_db");
    field.on(
        "band",
        &inside(&field, d.area(&field, BAND)),
        &outline(&curve, |i| 1.96 * half[i]),
    );
    let peak = (number(u, "/peak_hz/value"), number(u, "/height_db/value"));
    field.marked("peak", &d.marks(&field, INK), &[peak]);
}

/// Whatever the middle of the axis stands for: checks are as far apart as their values are.
#[test]
fn checks_of_a_rig() {
    let f = shop();
    let args = [
        "rig",
        "check",
        "--rig",
        "north.toml",
        "--record",
        "witness/next",
        "--json",
    ];
    f.run(&args).ended(0);
    let (history, d) = (document(&f, "north.checks.json"), drawing(&f, "north.checks.svg"));
    let checks = history["checks"].as_array().unwrap();
    let named = |words: &str| d.texts.iter().find(|t| t.words == words).unwrap().at.1 / 20.0;
    for (name, value, unit) in [
        ("f0 (%)", "/f0_hz/value", 100.0),
        ("Q (%)", "/q/value", 100.0),
        ("level (dB)", "/level_db/value", 1.0),
    ] {
        // Five of them, noise and hum below.
        let (top, height) = (named(name) - 3.6, 13.4);
        let field = d.field(0.0..=144.5, top..=top + height);
        let rows = |y: f64| (top * 20.0..=(top + height) * 20.0).contains(&y);
        let along =
            |l: &&crate::drawn::Shape| l.colour == SOFT && l.points.len() == checks.len() && rows(l.points[0].1);
        let drawn = &d.lines.iter().find(along).expect("a line through all checks").points;
        let of = |c: &Value| match unit {
            1.0 => number(c, value),
            _ => number(c, value).ln(),
        };
        // A step of the drawing is its resolution.
        let step = (field.y.value(0.0) - field.y.value(1.0)).abs();
        for (c, p) in checks.iter().zip(drawn) {
            let at = |p: &(f64, f64)| match unit {
                1.0 => field.y.value(p.1),
                // Per cent, not logarithms.
                _ => 100.0 * (1.0 + field.y.value(p.1) / 100.0).ln(),
            };
            let (shown, is) = (at(p) - at(&drawn[0]), unit * (of(c) - of(&checks[0])));
            assert!((shown - is).abs() <= 2.5 * step, "{name}: {shown} for {is}");
        }
        assert!(drawn.is_sorted_by(|a, b| a.0 < b.0), "oldest on the left");
    }
}

#[test]
fn pickups_out_of_the_wax() {
    let f = shop();
    f.run(&rested("before", "after", &["--out", "lot"])).ended(0);
    let (lot, d) = (document(&f, "lot/potting.json"), drawing(&f, "lot/potting.svg"));
    let field = d.field(0.0..=144.5, 14.9..=90.1);
    let pair = &lot["pairs"][0];
    let percent = |v: f64| 100.0 * v / number(pair, "/f0_before_hz");
    let change = percent(number(pair, "/f0_hz/value"));
    let half = percent(1.96 * number(pair, "/f0_hz/u"));
    let at = |v: f64| field.y.place(v);
    let [mark] = d.marks(&field, INK)[..] else {
        panic!("one mark")
    };
    assert!((mark.1 - at(change)).abs() < 2.5, "{mark:?}");
    let bar = d
        .lines
        .iter()
        .find(|l| l.colour == INK && l.points.iter().all(|p| p.0 == mark.0))
        .unwrap();
    let limit = 100.0 * number(&lot, "/limits/f0");
    let shaded = d.area(&field, BAND);
    for (drawn, values) in [
        (&bar.points, [change - half, change + half]),
        (&shaded, [limit, -limit]),
    ] {
        for v in values {
            assert!(drawn.iter().any(|p| (p.1 - at(v)).abs() < 2.5), "{v}: {drawn:?}");
        }
        for p in drawn {
            assert!(
                values.iter().any(|v| (p.1 - at(*v)).abs() < 2.5),
                "{values:?}: {drawn:?}"
            );
        }
    }
}

#[test]
fn a_lot() {
    let f = shop();
    let args = [
        "tray",
        "--lot",
        "neck-12",
        "--folder",
        ".",
        "--standard",
        "neck.toml",
        "--sim",
        "",
    ];
    f.typed(&[&args[..], &SHORT].concat(), "q\n").ended(3);
    let (tray, d) = (document(&f, "neck-12/tray.json"), drawing(&f, "neck-12/tray.svg"));
    let s = &tray["standard"];
    let allowed = |middle: &str, part: &str| {
        let (m, a) = (number(s, middle), number(s, part));
        [m * (-a).exp(), m * a.exp()]
    };
    let f0 = allowed("/f0/hz", "/f0/allow").map(|v| v / 1e3);
    let q = allowed("/q/value", "/q/allow");
    let read = |e: &&Value| !e["f0_hz"].is_null() && e["withdrawn"] != true;
    let entries: Vec<&Value> = tray["entries"].as_array().unwrap().iter().filter(read).collect();
    assert!(entries.len() > 1);
    let of = |e: &Value| {
        (
            number(e, "/f0_hz/value") / 1e3,
            number(e, "/q/value"),
            number(e, "/number"),
        )
    };
    let left = d.field(0.0..=75.0, 18.0..=93.0);
    let right = d.field(80.0..=144.5, 18.0..=93.0);
    let corners = [(f0[0], q[0]), (f0[1], q[0]), (f0[1], q[1]), (f0[0], q[1])];
    left.marked("limits", &d.area(&left, BAND), &corners);
    for p in d.area(&right, BAND) {
        assert!(f0.iter().any(|v| (right.y.place(*v) - p.1).abs() < 2.5), "{p:?}");
    }
    // Squares for what passes, crosses for what is outside.
    for (field, place) in [
        (&left, (|e| (e.0, e.1)) as fn((f64, f64, f64)) -> (f64, f64)),
        (&right, |e| (e.2, e.0)),
    ] {
        let at = |outside: bool| -> Vec<(f64, f64)> {
            let those = entries.iter().filter(|e| (e["judged"]["call"] == "outside") == outside);
            those.map(|e| place(of(e))).collect()
        };
        field.marked("inside", &d.marks(field, INK), &at(false));
        let strokes = d.line(field, PEAK);
        let crosses: Vec<_> = strokes
            .chunks(2)
            .map(|c| ((c[0].0 + c[1].0) / 2.0, (c[0].1 + c[1].1) / 2.0))
            .collect();
        field.marked("outside", &crosses, &at(true));
    }
}
