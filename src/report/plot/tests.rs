use super::super::odd::well_formed;
use super::super::samples::{self, Recipe};
use super::*;

struct Picture {
    width: usize,
    height: usize,
    rgb: Vec<u8>,
}

impl Picture {
    fn read(png: &[u8]) -> Self {
        let mut reader = png::Decoder::new(png).read_info().unwrap();
        let mut rgb = vec![0; reader.output_buffer_size()];
        let info = reader.next_frame(&mut rgb).unwrap();
        let dims = reader.info().pixel_dims.unwrap();
        assert_eq!((dims.xppu, dims.unit), (10_000, png::Unit::Meter));
        Picture {
            width: info.width as usize,
            height: info.height as usize,
            rgb,
        }
    }

    /// Share of dots in a rectangle (millimetres) that a colour test finds.
    fn share(&self, [l, t, r, b]: [f64; 4], is: fn(&[u8]) -> bool) -> f64 {
        let dot = |mm: f64| (mm * 10.0) as usize;
        let mut hits = 0;
        let mut all = 0;
        for y in dot(t)..dot(b) {
            for x in dot(l)..dot(r) {
                let i = (y * self.width + x) * 3;
                all += 1;
                hits += usize::from(is(&self.rgb[i..i + 3]));
            }
        }
        hits as f64 / all as f64
    }
}

fn dark(p: &[u8]) -> bool {
    p.iter().all(|c| *c < 90)
}

fn white(p: &[u8]) -> bool {
    p.iter().all(|c| *c == 255)
}

fn blue(p: &[u8]) -> bool {
    p == [92, 140, 178]
}

#[test]
fn the_svg_is_well_formed_and_labelled() {
    let plot = response_plot(&samples::simulated()).unwrap();
    well_formed(&plot.svg);
    assert!(plot.svg.contains("width=\"148mm\" height=\"105mm\""));
    assert!(plot.svg.contains("font-family=\"sans-serif\""));
    for label in [
        "<title>Response of Bridge, batch 4 no. 12: 3.41 kHz, peak height +9.5 dB</title>",
        ">\nBridge, batch 4 no. 12\n<",
        "Peak 3410 ± 10 Hz, peak height +9.52 ± 0.20 dB",
        "f0 3512.4 ± 7.2 Hz",
        "Q 2.950 ± 0.060",
        "(95 %, usual)",
        "peak 3.41 kHz, peak height +9.5 dB",
        "f0 3.51 kHz",
        "frequency (Hz)",
        "response (dB)",
        "misfit (dB)",
        "fitted 300 Hz to 12.0 kHz",
        "Load: vol=250k@1 tone=250k+22n@1 cable=5m@100p/m",
        "Rig: north bench",
        "Taken 2026-01-31 14:05",
        "Reading: ok",
        "SIMULATED",
        ">\n20k\n<",
    ] {
        assert!(plot.svg.contains(label), "{label}");
    }
    assert!(
        !response_plot(&Recipe::default().record())
            .unwrap()
            .svg
            .contains("SIMULATED")
    );
}

#[test]
fn the_png_has_ink_where_it_should() {
    let picture = Picture::read(&response_plot(&Recipe::default().record()).unwrap().png);
    assert_eq!((picture.width, picture.height), (1480, 1050));
    // Title, numbers, footer; margins stay white.
    assert!(picture.share([4.0, 3.5, 40.0, 7.5], dark) > 0.05);
    assert!(picture.share([4.0, 9.0, 100.0, 12.0], dark) > 0.05);
    assert!(picture.share([4.0, 93.0, 60.0, 103.5], dark) > 0.02);
    assert!(picture.share([0.0, 0.0, 148.0, 2.5], white) == 1.0);
    assert!(picture.share([0.0, 0.0, 2.5, 105.0], white) == 1.0);
    assert!(picture.share([147.0, 0.0, 148.0, 105.0], white) == 1.0);
    // The curve near 0 dB on the left, none far above or below it.
    assert!(picture.share([16.0, 33.0, 40.0, 37.0], blue) > 0.1);
    assert!(picture.share([16.0, 18.0, 40.0, 30.0], blue) == 0.0);
    assert!(picture.share([16.0, 45.0, 40.0, 63.0], blue) == 0.0);
    // What is left over, in the lower field.
    assert!(picture.share([50.0, 70.0, 120.0, 83.0], blue) > 0.02);
}

#[test]
fn a_frame_has_four_sides_of_one_width() {
    let mut sheet = Sheet::new(40, 30, "frame");
    sheet.outline(rectangle([10.0, 30.0], [10.0, 20.0]), Pen::solid(INK, 0.4));
    let picture = Picture::read(&sheet.render().unwrap().png);
    let across = [[12.0, 9.6, 28.0, 10.4], [12.0, 19.6, 28.0, 20.4]];
    let upright = [[9.6, 12.0, 10.4, 18.0], [29.6, 12.0, 30.4, 18.0]];
    for side in across.into_iter().chain(upright) {
        assert!(picture.share(side, dark) > 0.3, "{side:?}");
    }
}

#[test]
fn without_a_peak_none_is_marked() {
    let r = Recipe {
        q: 0.6,
        ..Recipe::default()
    };
    let plot = response_plot(&r.record()).unwrap();
    assert!(plot.svg.contains("no peak; 3 dB down at 2.9"));
    assert!(!plot.svg.contains("peak 3") && !plot.svg.contains("f0"));
}

#[test]
fn a_rejected_take_says_why() {
    let plot = response_plot(&samples::rejected()).unwrap();
    assert!(plot.svg.contains("no reading, measure again"));
    assert!(plot.svg.contains("No curve to show"));
    assert!(plot.svg.contains("the pickup channel holds no answer"));
}

/// Writes the pictures to a folder to be looked at: PLOTS=/tmp/plots cargo test -- --ignored gallery
#[test]
#[ignore = "writes pictures for the eye"]
fn gallery() {
    let Ok(dir) = std::env::var("PLOTS") else { return };
    let recipe = |f: &dyn Fn(&mut Recipe)| {
        let mut r = Recipe::default();
        f(&mut r);
        r.record()
    };
    let mut long = samples::simulated();
    long.pickup.name = "Neck coil rewound with the thinner wire and a second layer of paper tape, third try <&>".into();
    long.pickup.over = Some("the coil nearer to the fingerboard end of the instrument".into());
    long.rig.name = Some("the bench at the north window with the small exciter and long cable".into());
    if let Some(l) = long.load.as_mut() {
        l.text = "vol=250k:audio20@0.5 tone=250k:audio+22n@0.5 bleed=1n//150k cable=18ft@30p/ft lead=30p amp=1M//20p cap=470p res=1M".into();
    }
    for (name, record) in [
        ("clean", recipe(&|_| ())),
        ("noisy", recipe(&|r| r.scatter_db = 0.8)),
        ("nopeak", recipe(&|r| r.q = 0.6)),
        (
            "lowq",
            recipe(&|r| {
                r.q = 0.75;
                r.f0 = 4400.0
            }),
        ),
        (
            "highq",
            recipe(&|r| {
                r.q = 17.7;
                r.f0 = 9381.0
            }),
        ),
        (
            "edge",
            recipe(&|r| {
                r.q = 6.0;
                r.f0 = 18_500.0
            }),
        ),
        (
            "deep",
            recipe(&|r| {
                r.q = 3.0;
                r.f0 = 450.0
            }),
        ),
        ("eddy", samples::eddy()),
        ("rejected", samples::rejected()),
        ("long", long),
    ] {
        let t = std::time::Instant::now();
        let plot = response_plot(&record).unwrap();
        eprintln!(
            "{name}: {:?}, svg {} kB, png {} kB",
            t.elapsed(),
            plot.svg.len() / 1000,
            plot.png.len() / 1000
        );
        std::fs::write(format!("{dir}/{name}.svg"), plot.svg).unwrap();
        std::fs::write(format!("{dir}/{name}.png"), plot.png).unwrap();
    }
}
