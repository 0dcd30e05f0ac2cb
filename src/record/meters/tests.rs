use super::poles::TESLA_PER_GAUSS;
use super::*;

#[test]
fn columns_are_read_and_written_alike() {
    let text = "ohms by meter A, lcr at 120 Hz by bridge B, gauss by probe C";
    let list = Column::list(text).unwrap();
    assert_eq!(list.len(), 3);
    assert_eq!((list[1].kind, list[1].at_hz), (Kind::Lcr, Some(120.0)));
    assert_eq!(Column::list(&written(&list)).unwrap(), list);
    assert_eq!(Column::list("none").unwrap(), []);
    for wrong in [
        "",
        "ohms",
        "ohms by ",
        "volts by A",
        "lcr by bridge",
        "ohms at 1k by A",
        "lcr at 0 by B",
        "ohms by A, ohms by A",
        "gauss by a\u{7}b",
    ] {
        assert!(Column::list(wrong).is_err(), "{wrong:?}");
    }
}

#[test]
fn figures_are_read_with_their_instrument() {
    let two = Column::list("ohms by meter A, lcr at 120Hz by bridge B, lcr at 1k by bridge B").unwrap();
    let ohms = Reading::Ohms {
        meter: "meter A".into(),
        ohm: 6050.0,
    };
    assert_eq!(Reading::parse(Kind::Ohms, "6.05k by meter A", &[]).unwrap(), ohms);
    assert_eq!(Reading::parse(Kind::Ohms, "6.05k", &two).unwrap(), ohms);
    let lcr = Reading::parse(Kind::Lcr, "2.43H at 1k", &two).unwrap();
    assert_eq!(
        lcr,
        Reading::Lcr {
            meter: "bridge B".into(),
            at_hz: 1000.0,
            henry: 2.43
        }
    );
    for row in [
        "41.2 43.0 41.2 mT by probe C",
        "41.2 43.0 41.2mT by probe C",
        "41.2mT 43.0mT 41.2mT by probe C",
    ] {
        assert_eq!(
            Reading::parse(Kind::Gauss, row, &[]).unwrap().shown(),
            "412 430 412 G",
            "{row}"
        );
    }
    let poles = Reading::parse(Kind::Gauss, "412, -430/412 by probe C", &[]).unwrap();
    let Reading::Gauss { poles_t, .. } = &poles else {
        panic!()
    };
    assert!(
        poles_t
            .iter()
            .zip([0.0412, -0.043, 0.0412])
            .all(|(a, b)| (a - b).abs() < 1e-12),
        "{poles_t:?}"
    );
    assert_eq!(poles.shown(), "412 -430 412 G");
    let why = |k, t: &str| Reading::parse(k, t, &two).unwrap_err().to_string();
    assert!(why(Kind::Lcr, "2.43H").contains("on which meter"));
    assert!(why(Kind::Gauss, "400").contains("on which meter"));
    assert!(why(Kind::Lcr, "2.43H by bridge B").contains("at which frequency"));
    assert!(why(Kind::Ohms, "6.1k by a, b").contains("no name of a meter"));
    assert!(why(Kind::Gauss, "41,2 43,0 by p").contains("may part two figures"));
    assert!(why(Kind::Gauss, "412 41.2mT 400 by p").contains("some is not"));
    assert!(why(Kind::Gauss, "40 x by p").contains("no figure of a pole"));
    assert!(why(Kind::Ohms, "1e12 by p").contains("not of this world"));
    for bad in ["-5", "nan", "inf", "0"] {
        assert!(
            Reading::parse(Kind::Ohms, &format!("{bad} by p"), &[]).is_err(),
            "{bad}"
        );
    }
}

#[test]
fn uneven_rows_are_told() {
    let of = |g: &[f64]| uneven(&g.iter().map(|g| g * TESLA_PER_GAUSS).collect::<Vec<_>>());
    assert_eq!(of(&[412.0, 430.0, 428.0, 431.0, 425.0, 405.0]), None);
    assert!(
        of(&[340.0, 430.0, 428.0, 431.0, 425.0, 350.0])
            .unwrap()
            .starts_with("weak at both ends (-20 %, -18 %)")
    );
    assert!(
        of(&[340.0, 430.0, 428.0, 431.0])
            .unwrap()
            .starts_with("weak at one end")
    );
    assert!(of(&[430.0, 300.0, 428.0, 431.0]).unwrap().contains("2 -30 %"));
    assert!(
        of(&[430.0, 428.0, -431.0, 425.0])
            .unwrap()
            .starts_with("pole 3 is magnetised the other way")
    );
    assert!(of(&[430.0, 500.0, 425.0]).unwrap().contains("+16 %"));
    // Two rows of opposite sign.
    assert_eq!(of(&[430.0, 428.0, -431.0, -425.0]), None);
    assert_eq!(of(&[430.0, 200.0]), None);
    assert!(of(&[0.0, 0.0, 0.0]).unwrap().contains("not magnetised"));
}

/// 6000, 6060 and 6120 on one, 5000 on another: never one mean.
#[test]
fn two_instruments_are_two_statistics() {
    let r = |m: &str, ohm: f64| Reading::Ohms { meter: m.into(), ohm };
    let list = [r("A", 6000.0), r("B", 5000.0), r("A", 6060.0), r("A", 6120.0)];
    let t = Tally::of(&list);
    assert_eq!(t.len(), 2);
    assert_eq!(
        (t[0].readings, t[0].mean, t[0].sd, t[0].least, t[0].most),
        (3, 6060.0, Some(60.0), 6000.0, 6120.0)
    );
    assert_eq!((t[1].readings, t[1].mean, t[1].sd), (1, 5000.0, None));
    let l = |hz: f64| Reading::Lcr {
        meter: "B".into(),
        at_hz: hz,
        henry: 2.0,
    };
    assert_eq!(Tally::of(&[l(120.0), l(1000.0)]).len(), 2);
}
