//! From bytes to takes: the bytes are a recipe for a drive, for what the two channels hold, and for what then goes wrong.
//! Random samples alone would never get past the first check; a recipe gets everywhere.

use std::f64::consts::TAU;
use std::path::Path;

use coilwright::analysis::chain::Chain;
use coilwright::analysis::compose;
use coilwright::analysis::{self, Choice, Options};
use coilwright::capture::Take;
use coilwright::capture::wav;
use coilwright::commands::outcome;
use coilwright::record::{Record, Verdict, store};
use coilwright::rig::Rig;
use coilwright::stimulus::{self, Settings, Shape, Tilt};

/// Bytes one after the other; zeros after their end.
struct Feed<'a> {
    bytes: &'a [u8],
    at: usize,
    noise: u64,
}

impl Feed<'_> {
    fn byte(&mut self) -> u8 {
        self.at += 1;
        self.bytes.get(self.at - 1).copied().unwrap_or(0)
    }

    fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[usize::from(self.byte()) % of.len()]
    }

    /// 0 to 1.
    fn share(&mut self) -> f64 {
        f64::from(u16::from_le_bytes([self.byte(), self.byte()])) / 65535.0
    }

    /// Evenly in the logarithm.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.share())
    }

    /// Roughly normal, unit variance; not from the bytes.
    fn dice(&mut self) -> f64 {
        let mut sum = 0.0;
        for _ in 0..4 {
            self.noise ^= self.noise << 13;
            self.noise ^= self.noise >> 7;
            self.noise ^= self.noise << 17;
            sum += (self.noise >> 11) as f64 / (1u64 << 53) as f64 - 0.5;
        }
        sum * 3f64.sqrt()
    }
}

/// What was played.
fn drive(feed: &mut Feed, rate: u32, long: bool) -> Vec<f64> {
    let kind = feed.pick(&[0u8, 0, 0, 1, 1, 1, 2, 3, 4, 5, 6]);
    let frames = (if long { 0.2 } else { 0.26 } + if long { 0.4 } else { 0.05 } * feed.share()) * f64::from(rate);
    let body: Vec<f64> = match kind {
        0 | 1 => {
            let settings = Settings {
                shape: if kind == 0 { Shape::Sweep } else { Shape::Noise },
                seconds: frames / f64::from(rate),
                from_hz: feed.pick(match long {
                    true => &[20.0, 50.0, 300.0, 3000.0],
                    false => &[300.0, 50.0, 1000.0, 3000.0],
                }),
                to_hz: feed.pick(match long {
                    true => &[19_000.0, 12_000.0, 8_000.0, 7_000.0],
                    false => &[4_000.0, 8_000.0, 3_000.0, 5_000.0],
                }),
                level_dbfs: feed.pick(&[-12.0, -1.0, -40.0, -90.0]),
                tilt: feed.pick(&[Tilt::Flat, Tilt::Pink]),
                seed: u64::from(feed.byte()),
                ..Settings::at_rate(rate)
            };
            let made = stimulus::make(&settings).map(|d| d.samples).unwrap_or_default();
            // Less silence than usual: it costs time.
            let cut = made.len().min((stimulus::LEAD_S * f64::from(rate)) as usize);
            let (most, tail) = if long {
                (15_000, 0.3)
            } else {
                (2000, stimulus::TAIL_S - 0.05)
            };
            let lead = feed.pick(&[0usize, 500, 4000, 15_000]).min(most).min(cut);
            let end = made.len() - (made.len() - cut).min((tail * f64::from(rate)) as usize);
            made[cut - lead..end.max(cut - lead)]
                .iter()
                .map(|x| f64::from(*x))
                .collect()
        }
        2 => (0..frames as usize).map(|_| 0.1 * feed.dice()).collect(),
        3 => vec![0.0; frames as usize],
        4 => vec![0.25; frames as usize],
        5 => {
            let mut click = vec![0.0; frames as usize];
            click[frames as usize / 3] = 0.5;
            click
        }
        _ => {
            let f = feed.between(10.0, 20e3);
            (0..frames as usize)
                .map(|n| 0.3 * (TAU * f * n as f64 / f64::from(rate)).sin())
                .collect()
        }
    };
    body
}

/// A resonant answer to the drive: second-order section by the bilinear transform, over a first difference.
fn answer(drive: &[f64], rate: f64, f0: f64, q: f64) -> Vec<f64> {
    let w = TAU * (f0 / rate).min(0.49);
    let alpha = w.sin() / (2.0 * q);
    let (b, a0, a1, a2) = ((1.0 - w.cos()) / 2.0, 1.0 + alpha, -2.0 * w.cos(), 1.0 - alpha);
    let (mut x1, mut x2, mut y1, mut y2, mut last) = (0.0, 0.0, 0.0, 0.0, 0.0);
    drive
        .iter()
        .map(|v| {
            let x = 0.5 * (v - last);
            last = *v;
            let y = (b * x + 2.0 * b * x1 + b * x2 - a1 * y1 - a2 * y2) / a0;
            (x2, x1, y2, y1) = (x1, x, y1, y);
            y
        })
        .collect()
}

/// What one channel holds.
fn channel(feed: &mut Feed, drive: &[f64], rate: f64, as_pickup: bool) -> Vec<f64> {
    let kinds: &[u8] = if as_pickup {
        &[0, 0, 0, 0, 0, 1, 2, 3, 4, 5, 6, 7]
    } else {
        &[7, 7, 7, 7, 7, 7, 0, 1, 2, 3]
    };
    match feed.pick(kinds) {
        0 => {
            let (f0, q) = (feed.between(20.0, 40e3), feed.between(0.05, 300.0));
            let gain = feed.pick(&[1.0, -1.0, 30.0, 1e-3]);
            answer(drive, rate, f0, q).iter().map(|x| gain * x).collect()
        }
        1 => vec![0.0; drive.len()],
        2 => vec![feed.pick(&[1.0, -0.5, 1e-6, 1e-30]); drive.len()],
        3 => {
            let level = feed.between(1e-7, 1.0);
            drive.iter().map(|_| level * feed.dice()).collect()
        }
        // An open winding: feed-through.
        4 => std::iter::once(0.0)
            .chain(drive.windows(2).map(|w| w[1] - w[0]))
            .take(drive.len())
            .collect(),
        // Two coils against each other.
        5 => {
            let f = feed.between(500.0, 9e3);
            let (a, b) = (answer(drive, rate, f, 3.0), answer(drive, rate, 1.08 * f, 3.0));
            a.iter().zip(b).map(|(a, b)| a - 0.9 * b).collect()
        }
        // The recipe itself as samples.
        6 => {
            let bytes = feed.bytes;
            (0..drive.len())
                .map(|n| f64::from(bytes[n % bytes.len()]) / 128.0 - 1.0)
                .collect()
        }
        _ => drive.to_vec(),
    }
}

/// One thing that goes wrong, or none.
fn spoil(feed: &mut Feed, x: &mut Vec<f64>, rate: f64) {
    let n = x.len();
    if n == 0 {
        return;
    }
    let at = ((feed.share() * n as f64) as usize).min(n - 1);
    let some = (feed.between(1.0, n as f64) as usize).min(n - at).max(1);
    let part = at..at + some;
    match feed.byte() % 18 {
        0 => x[at] = feed.pick(&[1.0, -1.0, 0.01, 1e5, -1e6]),
        1 => x[part].fill(0.0),
        2 => {
            let held = x[at];
            x[part].fill(held);
        }
        3 => drop(x.drain(part)),
        4 => {
            let twice = x[part].to_vec();
            x.splice(at..at, twice);
        }
        5 => {
            let top = feed.between(1e-4, 1.0) * x.iter().fold(0.0, |m: f64, v| m.max(v.abs()));
            x.iter_mut().for_each(|v| *v = v.clamp(-top, top));
        }
        6 => {
            let k = feed.pick(&[1e-3, 1e-6, 1e-12, 1e-30, 1e-38, 1e-44, 10.0, 1e4, 9e5]);
            x.iter_mut().for_each(|v| *v *= k);
        }
        7 => {
            let (level, f) = (feed.between(1e-5, 1.0), feed.pick(&[50.02, 59.97, 16.7, 1000.0]));
            for (n, v) in x.iter_mut().enumerate() {
                let t = TAU * f * n as f64 / rate;
                *v += level * (t.sin() + (3.0 * t).sin() / 3.0);
            }
        }
        8 => {
            let dc = feed.pick(&[0.5, -1e-3, 100.0]);
            x.iter_mut().for_each(|v| *v += dc);
        }
        9 => x.reverse(),
        10 => {
            let bits = feed.pick(&[16.0, 12.0, 8.0, 4.0, 1.0]);
            let k = f64::powf(2.0, bits - 1.0);
            x.iter_mut().for_each(|v| *v = (*v * k).round() / k);
        }
        11 => x.truncate(at),
        12 => {
            // Exactly the shortest take, or one sample less or more.
            let shortest = (0.25 * rate) as usize + usize::from(feed.byte() % 4);
            x.resize(shortest.saturating_sub(1), 0.0);
        }
        13 => {
            let level = feed.between(1e-7, 0.1);
            for v in &mut x[part] {
                *v += level * feed.dice();
            }
        }
        14 => {
            let late = feed.between(1.0, 20_000.0) as usize;
            x.splice(0..0, std::iter::repeat_n(0.0, late));
        }
        15 => {
            // Another clock, or another rate.
            let speed = feed.pick(&[1.0001, 0.9997, 1.002, 48.0 / 44.1, 0.5, 2.0]);
            *x = (0..(n as f64 / speed) as usize)
                .map(|k| {
                    let (i, t) = ((k as f64 * speed) as usize, (k as f64 * speed).fract());
                    x[i] + t * (x.get(i + 1).unwrap_or(&0.0) - x[i])
                })
                .collect();
        }
        // What is no number at all: the reader must refuse it.
        16 => x[at] = feed.pick(&[f64::NAN, f64::INFINITY, 1e39]),
        _ => {}
    }
}

const RIGS: [&str; 3] = [
    "[exciter]\nreference = \"voltage\"\nseries_ohm = 100.0\ninductance_h = 0.0005\nsource_ohm = 32.0\nsign = -1\n",
    "[exciter]\nreference = \"voltage\"\nseries_ohm = 100.0\ninductance_h = 0.005\nseries_tolerance = 0.01\n\
     inductance_tolerance = 0.1\n[input]\nresistance_ohm = 1e5\nac_pickup_hz = 2.7\nac_pickup_tolerance_hz = 0.3\n\
     ac_reference_hz = 3.6\nac_output_hz = 2.0\ndelay_s = 5e-6\ndelay_tolerance_s = 1e-6\ngain_db = -120\n",
    "[exciter]\nreference = \"current\"\nseries_ohm = 1e9\ninductance_h = 0.1\nseries_tolerance = 0.5\n\
     inductance_tolerance = 0.5\n[input]\nac_pickup_hz = 0\nac_reference_hz = 15\ndelay_s = 0.1\ngain_db = 120\n",
];

/// A take with all that its analysis is told.
struct Case {
    take: Take,
    drive: Option<Vec<f32>>,
    chain: Chain,
    model: Choice,
    plot: bool,
}

fn case(bytes: &[u8]) -> Option<Case> {
    let (kind, bytes) = bytes.split_first()?;
    // A long take, or one at a high rate, costs ten times as much as a short one.
    let long = *kind == 0;
    let noise = bytes.iter().fold(0x9e37_79b9_7f4a_7c15, |s: u64, b| {
        (s ^ u64::from(*b)).wrapping_mul(0x100_0000_01b3)
    });
    let mut feed = Feed {
        bytes,
        at: 0,
        noise: noise | 1,
    };
    let feed = &mut feed;
    let rate = match long {
        true => feed.pick(&[48_000u32, 44_100, 44_100, 48_000, 50_001, 96_000, 192_000]),
        false => feed.pick(&[44_100, 44_100, 48_000]),
    };
    let flags = feed.byte();
    let chain = match feed.byte() % 6 {
        n @ 0..=2 => Chain::from(&Rig::parse(RIGS[usize::from(n)], "rig").expect("a rig in order")),
        _ => Chain::unknown(),
    };
    let played = drive(feed, rate, long);
    let hz = f64::from(rate);
    let mut pickup = channel(feed, &played, hz, true);
    let mut reference = channel(feed, &played, hz, false);
    let floor = feed.pick(&[0.0, 1e-6, 1e-5, 1e-3, 1e-2]);
    for v in pickup.iter_mut().chain(&mut reference) {
        *v += floor * feed.dice();
    }
    for _ in 0..feed.byte() % 5 {
        match feed.byte() % 4 {
            0 => spoil(feed, &mut reference, hz),
            // What befalls a sound card befalls both channels alike.
            1 => {
                let (at, noise) = (feed.at, feed.noise);
                spoil(feed, &mut pickup, hz);
                (feed.at, feed.noise) = (at, noise);
                spoil(feed, &mut reference, hz);
            }
            _ => spoil(feed, &mut pickup, hz),
        }
    }
    // The clock of one channel is looked for again and again.
    let one = if long { 1 } else { 0b1101_1101 };
    let one_channel = flags & one == one;
    let mut told = played;
    if flags & 6 == 6 {
        spoil(feed, &mut told, hz);
    }
    let narrow = |x: &[f64]| x.iter().map(|v| *v as f32).collect::<Vec<f32>>();
    let (pickup, reference) = (narrow(&pickup), narrow(&reference));
    let channels: Vec<&[f32]> = if one_channel {
        vec![&pickup]
    } else {
        vec![&pickup, &reference]
    };
    let longest = pickup.len().max(if one_channel { 0 } else { reference.len() });
    if longest as f64 > 3.0 * hz {
        return None;
    }
    // As the program gets it: through a file.
    let bytes = wav::to_bytes(rate, &channels).ok()?;
    let take = wav::take_from_bytes(&bytes, Path::new("take.wav"), None).ok()?;
    Some(Case {
        take,
        drive: (one_channel && flags & 0xf0 != 0x10 || flags & if long { 8 } else { 24 } == 8).then(|| narrow(&told)),
        chain,
        // Both models cost three times as much as the one.
        model: feed.pick(match long {
            true => &[Choice::Better, Choice::SecondOrder, Choice::Metal],
            false => &[
                Choice::SecondOrder,
                Choice::Better,
                Choice::SecondOrder,
                Choice::Metal,
                Choice::SecondOrder,
            ],
        }),
        // A plot costs as much as ten short takes.
        plot: flags & if long { 0xf0 } else { 0xfc } == 0x20,
    })
}

/// The whole analysis: from a take to record, screen and plot.
pub fn analysis(bytes: &[u8]) -> bool {
    let Some(case) = case(bytes) else { return false };
    let options = Options {
        chain: &case.chain,
        drive: case.drive.as_deref(),
        model: case.model,
    };
    let analysis = match analysis::analyse(&case.take, &options) {
        Ok(analysis) => analysis,
        Err(failure) => return super::refused(&failure),
    };
    super::finite("the analysis", &analysis);
    let record = compose::record(&case.take, analysis, Record::default());
    match &record.resonance {
        None => {
            assert_ne!(record.verdict, Verdict::Ok, "no reading and nothing said");
            assert!(!record.findings.is_empty());
        }
        Some(r) => {
            assert_ne!(record.verdict, Verdict::Rejected);
            let all = [Some(r.f0_hz), Some(r.q), r.peak_hz, r.peak_db, r.mutual_h, r.level_db];
            for e in all.into_iter().flatten() {
                assert!(
                    e.u > 0.0 && e.u_noise >= 0.0 && e.u_noise <= e.u * (1.0 + 1e-12),
                    "{e:?}"
                );
            }
            assert!(r.f0_hz.value > 0.0 && r.q.value > 0.0, "{r:?}");
            assert!(r.corr_f0_q.abs() <= 1.0, "{}", r.corr_f0_q);
            assert!(r.polarity.abs() == 1);
            assert_eq!(r.peak_hz.is_some(), r.peak_db.is_some());
        }
    }
    if let Some(c) = &record.curve {
        let n = c.freq_hz.len();
        assert!(
            [&c.mag_db, &c.phase_deg, &c.u_db, &c.model_db]
                .iter()
                .all(|v| v.len() == n),
            "columns of the curve"
        );
        assert!(c.freq_hz.windows(2).all(|w| w[0] < w[1]) && c.u_db.iter().all(|u| *u >= 0.0));
    }
    let kept = outcome::to_json(&record).expect("a record is written");
    store::parse(&kept, Path::new("record.json")).unwrap_or_else(|f| panic!("{f}"));
    super::shown(&record, case.plot);
    true
}
