use super::*;
use crate::failure::{Failure, Result};
use std::f64::consts::TAU;

fn no_files(path: &str) -> Result<Coil> {
    Err(Failure::new(format!("no file {path} here"), ""))
}

fn wiring(text: &str) -> Wiring {
    Wiring::parse("w.toml", text, &no_files).unwrap()
}

fn close(a: Complex64, b: Complex64) {
    assert!((a - b).norm() < 1e-12 * b.norm().max(1e-12), "{a} is not {b}");
}

const COIL: Coil = Coil {
    r_ohm: 4e3,
    l_h: 2.2,
    c_f: 140e-12,
    loss_ohm: None,
    eddy: None,
};

#[test]
fn a_load_alone_is_a_wiring() {
    let load = Load::parse("vol=250k@0.7 tone=250k+22n cable=5m@100p/m amp=1M").unwrap();
    let plain = Wiring::from(load.clone());
    let file = wiring("load = \"vol=250k@0.7 tone=250k+22n cable=5m@100p/m amp=1M\"");
    let spelt = wiring("load = \"vol=250k@0.7 tone=250k+22n cable=5m@100p/m amp=1M\"\n[[pickup]]\n");
    for f in [50.0, 3e3, 9e3] {
        let want = load.response(&COIL, TAU * f);
        for w in [&plain, &file, &spelt] {
            close(w.response(&COIL, TAU * f), want);
        }
    }
    assert_eq!(plain.as_load(), Some(load));
    assert!(plain.asks_for_a_coil() && spelt.asks_for_a_coil());
}

/// By hand: two equal coils in series are a coil of twice R and L and half C with twice the EMF; in parallel half R and L
/// and twice C with the EMF of one; opposed in series, nothing.
#[test]
fn equal_coils_joined() {
    let load = "load = \"vol=500k cable=3m@100p/m amp=1M\"\n";
    let two = |join: &str, second: &str| {
        wiring(&format!(
            "{load}[[pickup]]\njoin = \"{join}\"\n[[pickup.coil]]\n[[pickup.coil]]\n{second}\n"
        ))
    };
    let shared = Load::parse("vol=500k cable=3m@100p/m amp=1M").unwrap();
    for f in [50.0, 3e3, 9e3] {
        let w = TAU * f;
        let series = Coil::new(8e3, 4.4, 70e-12);
        close(two("series", "").response(&COIL, w), 2.0 * shared.response(&series, w));
        let parallel = Coil::new(2e3, 1.1, 280e-12);
        close(two("parallel", "").response(&COIL, w), shared.response(&parallel, w));
        let split = two("series", "state = \"short\"");
        close(split.response(&COIL, w), shared.response(&COIL, w));
        let cut = two("parallel", "state = \"off\"");
        close(cut.response(&COIL, w), shared.response(&COIL, w));
        assert!(two("series", "polarity = -1").response(&COIL, w).norm() < 1e-12);
    }
}

/// Two pickups at one jack, each with its own volume; one turned down to nothing silences both (common practice: that is
/// what this wiring is known for).
#[test]
fn volumes_of_their_own_in_parallel() {
    let text = |turn: &str| {
        format!(
            "load = \"amp=1M\"\n[[pickup]]\nname = \"neck\"\nload = \"vol=500k\"\n[[pickup]]\nname = \"bridge\"\nload = \"vol=500k@{turn}\"\n"
        )
    };
    let down = wiring(&text("0"));
    assert_eq!(down.response(&COIL, TAU * 1e3), Complex64::new(0.0, 0.0));
    // Both full up: the pots are in parallel with each other and with the coils.
    let up = wiring(&text("1"));
    let both = Load::parse("res=250k amp=1M").unwrap();
    let pair = Coil::new(2e3, 1.1, 280e-12);
    close(up.response(&COIL, TAU * 2e3), both.response(&pair, TAU * 2e3));
}

#[test]
fn tracks_and_no_load() {
    let text = "load = \"vol=250k:worn@0.25 tone=250k:free+22n@1 amp=1M\"\n[taper.worn]\nrotation = [0.0, 0.5, 1.0]\nshare = [0.0, 0.12, 1.0]\n[taper.free]\nlike = \"audio\"\nopen_from = 0.98\n";
    let w = wiring(text);
    let plain = Load::parse("vol=250k@0.06 amp=1M").unwrap();
    close(w.response(&COIL, TAU * 2e3), plain.response(&COIL, TAU * 2e3));
    assert_eq!(w.as_load().map(|l| l.to_string()), Some("vol=250k@0.06 amp=1M".into()));
    let below = wiring(&text.replace("22n@1", "22n@0.75"));
    let plain = Load::parse("vol=250k@0.06 tone=250k+22n@0.55 amp=1M").unwrap();
    close(below.response(&COIL, TAU * 2e3), plain.response(&COIL, TAU * 2e3));
    assert!(w.load.to_string().contains("vol=250k:worn@0.25"));
}

#[test]
fn errors_name_the_place_and_the_remedy() {
    for (text, want) in [
        (
            "lod = \"\"",
            "w.toml line 1 cannot be read as a wiring: unknown field `lod`",
        ),
        (
            "load = \"vol=250k@1.2\"",
            "w.toml: load part \"vol=250k@1.2\": \"1.2\" is beyond full rotation",
        ),
        ("load = \"vol=250k:worn\"", "\"worn\" is no taper"),
        ("[taper.audio]\nlike = \"linear\"", "taper \"audio\": that is a taper"),
        ("[taper.a]\nrotation = [0.0, 1.0]\nshare = [0.0]", "do not go together"),
        (
            "[taper.a]\nrotation = [0.0, 0.5, 1.0]\nshare = [0.0, 0.6, 0.5]",
            "share falls",
        ),
        ("[taper.a]\nopen_from = 0.9", "course is missing"),
        ("[taper.a]\nlike = \"audio\"\nopen_from = 0.0", "open_from is 0"),
        ("[[pickup]]\nstate = \"off\"", "every pickup is off"),
        (
            "[[pickup]]\nname = \"neck\"\npolarity = 2",
            "pickup \"neck\": polarity is 2",
        ),
        (
            "[[pickup]]\n[[pickup.coil]]\nr = \"4k\"",
            "pickup 1: coil 1: it is half given",
        ),
        (
            "[[pickup]]\n[[pickup.coil]]\nr = \"4x\"\nl = 2.2\ncs = \"1p\"",
            "coil 1: r: \"4x\" is not a resistance",
        ),
        (
            "[[pickup]]\n[[pickup.coil]]\n[[pickup.coil]]\nstate = \"off\"",
            "coil 2: taken out of a series",
        ),
        (
            "[[pickup]]\n[[pickup.coil]]\nacross = \"vol=250k\"",
            "across is \"vol=250k@1\"",
        ),
        ("[[pickup]]\n[[pickup.coil]]\nfile = \"a.toml\"", "no file a.toml here"),
        (
            "join = \"series\"\n[[pickup]]\nname = \"neck\"\nload = \"vol=250k\"\n[[pickup]]\n",
            "pickup \"neck\" has controls of its own in a series join",
        ),
    ] {
        let e = Wiring::parse("w.toml", text, &no_files)
            .map(|_| ())
            .unwrap_err()
            .to_string();
        assert!(
            e.contains(want) && e.starts_with("w.toml") && !e.contains('\n'),
            "{text}: {e}"
        );
    }
}
