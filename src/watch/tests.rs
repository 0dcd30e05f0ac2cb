use super::*;
use crate::capture::bench::{Bench, Spec};
use crate::capture::{Capture, Request};
use crate::network::Load;
use crate::stimulus::{self, Settings};
use crate::watch::document::Figures;

fn bench(words: &str, load: &str) -> Bench {
    let load = Load::parse(load).unwrap();
    Bench::new(Spec::parse_words(words).unwrap(), None, Some(&load), false, 3).unwrap()
}

fn round() -> Round {
    stimulus::round(&Settings::at_rate(48_000)).unwrap()
}

fn rounds(bench: &mut Bench, round: &Round, count: usize) -> Vec<[Vec<f32>; 2]> {
    let mut running = bench.rounds(round.rate_hz, &round.samples).unwrap();
    (0..count).flat_map(|_| running.next().unwrap()).collect()
}

/// The ordinary measurement of the same bench.
fn taken(bench: &mut Bench) -> crate::analysis::Analysis {
    let drive = stimulus::make(&Settings::at_rate(48_000)).unwrap();
    let request = Request {
        rate_hz: 48_000,
        drive: drive.samples.clone(),
    };
    let take = bench.take(&request, &mut |_| ()).unwrap();
    let options = crate::analysis::Options {
        chain: &Chain::unknown(),
        drive: Some(&drive.samples),
        model: Default::default(),
    };
    crate::analysis::analyse(&take, &options).unwrap()
}

#[test]
fn a_second_of_it_reads_as_a_take_does() {
    for (words, load) in [
        ("", "none"),
        ("noise=-75dBFS hum=-40dB", "vol=250k cable=5m@100p/m"),
        ("r=8k l=4H cs=90p eddy=k=0.4,tau=33u", "vol=500k cable=3m@100p/m"),
    ] {
        let mut bench = bench(words, load);
        let round = round();
        let mut watch = Watch::new(&round, Chain::unknown(), 1.0);
        let paces: Vec<Pace> = rounds(&mut bench, &round, 5).iter().map(|r| watch.see(r)).collect();
        let settling = Pace::Settling;
        assert_eq!(
            paces,
            [Pace::Moving, settling, settling, settling, Pace::Steady],
            "{words}"
        );
        let live = watch.read().unwrap();
        let analysis = taken(&mut bench);
        let kept = Figures::from(analysis.resonance.as_ref().unwrap());
        let apart = kept.less(&live.figures);
        assert!(
            kept.agree(&live.figures, &analysis.budget.unwrap()),
            "{words}: {apart:?} {:?}",
            live.figures
        );
        assert!(
            live.figures.f0_hz.u_noise < 2e-3 * live.figures.f0_hz.value,
            "{:?}",
            live.figures
        );
        // The curve is the pickup's: its top is the peak.
        let top = live.curve.mag_db.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        assert!(
            (top - live.figures.peak_db.unwrap().value).abs() < 0.3,
            "{words}: {top}"
        );
    }
}

#[test]
fn a_turned_pot_is_moving_until_it_stands_and_nothing_else_is() {
    let mut bench = bench("", "vol=250k@1.0 cable=3m@100p/m");
    let round = round();
    let mut watch = Watch::new(&round, Chain::unknown(), 1.0);
    let mut running = bench.rounds(round.rate_hz, &round.samples).unwrap();
    let mut see = |running: &mut Box<dyn crate::capture::Rounds>| {
        let seen = running.next().unwrap();
        seen.iter().map(|r| watch.see(r)).last().unwrap()
    };
    let still: Vec<Pace> = (0..15).map(|_| see(&mut running)).collect();
    assert!(still[4..].iter().all(|p| *p == Pace::Steady), "{still:?}");
    for rotation in ["0.97", "0.94", "0.91"] {
        running.hang(&Load::parse(&format!("vol=250k@{rotation} cable=3m@100p/m")).unwrap());
        assert_eq!(see(&mut running), Pace::Moving, "{rotation}");
    }
    let after: Vec<Pace> = (0..4).map(|_| see(&mut running)).collect();
    assert_eq!(after[0], Pace::Settling);
    assert_eq!(after[3], Pace::Steady);
}

#[test]
fn what_cannot_be_read_says_why() {
    for (words, why) in [
        ("silent", Unread::NoAnswer),
        ("unplugged", Unread::NoReference),
        ("gain=60dB", Unread::PickupTooLoud),
    ] {
        let round = round();
        let mut watch = Watch::new(&round, Chain::unknown(), 0.6);
        for r in rounds(&mut bench(words, "none"), &round, 3) {
            watch.see(&r);
        }
        assert_eq!(watch.read().unwrap_err(), why, "{words}");
    }
}
