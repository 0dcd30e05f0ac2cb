//! How near the program comes to what no estimate can beat, and whether its 95 % intervals hold what they promise.
//!
//!     cargo bench --bench limits                         both tables
//!     cargo bench --bench limits -- quick                the same from fewer takes
//!     cargo bench --bench limits -- only='1 ch, sweep'   lines whose name holds the words
//!     cargo bench --bench limits -- coverage takes=500   one table (efficiency, coverage, repeats, joint), so many takes a line
//!
//! All of it takes some six thousand seconds of processor, quick an eighth of that; it runs on all processors.
//!
//! Every figure is followed by its standard error. The takes are seeded: the same lines give the same figures.

use coilwright::analysis::repeats;
use coilwright::estimate::Estimate;
use coilwright::fit::joint;
use coilwright::network::Load;
use coilwright::stimulus::Shape;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

#[allow(dead_code)]
#[path = "../reference/joint_sim.rs"]
mod joint_sim;
#[path = "../reference/trial.rs"]
mod trial;

use joint_sim::Numbers;
use trial::{Case, Figure, Told, Trial, share, summary};

/// Takes a line: so many that an efficiency is known to 3.5 % and a coverage to 0.4 %.
const EFFICIENCY: usize = 400;
const COVERAGE: usize = 3000;
const QUICK: usize = 8;

struct Wanted {
    only: String,
    tables: Vec<String>,
    takes: Option<usize>,
    quick: bool,
}

impl Wanted {
    fn takes(&self, usual: usize) -> usize {
        self.takes.unwrap_or(if self.quick { usual / QUICK } else { usual })
    }

    fn table(&self, name: &str) -> bool {
        self.tables.is_empty() || self.tables.iter().any(|t| t == name)
    }

    fn line(&self, name: &str) -> bool {
        name.contains(&self.only)
    }
}

fn main() {
    let mut wanted = Wanted {
        only: String::new(),
        tables: Vec::new(),
        takes: None,
        quick: false,
    };
    for arg in std::env::args().skip(1).filter(|a| a != "--bench") {
        match arg.split_once('=') {
            Some(("only", words)) => wanted.only = words.into(),
            Some(("takes", n)) => wanted.takes = Some(n.parse().expect("takes= wants a number")),
            None if arg == "quick" => wanted.quick = true,
            None if ["efficiency", "coverage", "repeats", "joint"].contains(&arg.as_str()) => wanted.tables.push(arg),
            _ => panic!("cannot read '{arg}': quick, efficiency, coverage, repeats, only=WORDS, takes=N"),
        }
    }
    if wanted.table("efficiency") {
        efficiency(&wanted);
    }
    if wanted.table("coverage") {
        coverage(&wanted);
    }
    if wanted.table("repeats") {
        repeated(&wanted);
    }
    if wanted.table("joint") {
        jointly(&wanted);
    }
}

const SHAPES: [Shape; 2] = [Shape::Sweep, Shape::Noise];

fn plain(f: Figure, digits: usize) -> String {
    format!("{:.*} ± {:.*}", digits, f.value, digits, f.error)
}

fn signed(f: Figure) -> String {
    format!("{:+.2} ± {:.2}", f.value, f.error)
}

fn percent(f: Figure) -> String {
    format!("{:.1} ± {:.1}", 100.0 * f.value, 100.0 * f.error)
}

fn efficiency(wanted: &Wanted) {
    println!("rms error over the bound, and bias in units of the bound\n");
    println!("| takes of | count | refused | f0 | Q | bias of f0 | bias of Q | bins used / counted |");
    println!("| --- | --- | --- | --- | --- | --- | --- | --- |");
    for told in [Told::Nothing, Told::Corners] {
        for channels in [2, 1] {
            for shape in SHAPES {
                for snr_db in [20.0, 40.0, 60.0] {
                    for hum in [false, true] {
                        let case = Case {
                            shape,
                            channels,
                            snr_db,
                            hum,
                            told,
                            seconds: 1.0,
                        };
                        if !wanted.line(&case.name()) {
                            continue;
                        }
                        let mut trial = Trial::new(case);
                        let bins = trial.find_bounds();
                        let all = trial.outcomes(0..wanted.takes(EFFICIENCY));
                        let (f0, q) = (summary(&all, 0), summary(&all, 1));
                        println!(
                            "| {} | {} | {} | {} | {} | {} | {} | {bins:.3} |",
                            case.name(),
                            f0.takes,
                            f0.refused,
                            plain(f0.efficiency, 3),
                            plain(q.efficiency, 3),
                            signed(f0.bias),
                            signed(q.bias)
                        );
                    }
                }
            }
        }
    }
    println!();
}

fn coverage(wanted: &Wanted) {
    println!("share of the 95 % intervals that hold the truth, in per cent, and rms error over the stated u\n");
    println!("| takes of | count | refused | f0 | Q | error/u of f0 | error/u of Q |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    for (told, levels) in [(Told::Nothing, &[12.0, 40.0][..]), (Told::Tolerances, &[40.0][..])] {
        for channels in [2, 1] {
            for shape in SHAPES {
                for snr_db in levels {
                    let case = Case {
                        shape,
                        channels,
                        snr_db: *snr_db,
                        hum: false,
                        told,
                        seconds: 1.0,
                    };
                    if !wanted.line(&case.name()) {
                        continue;
                    }
                    let all = Trial::new(case).outcomes(0..wanted.takes(COVERAGE));
                    let (f0, q) = (summary(&all, 0), summary(&all, 1));
                    println!(
                        "| {} | {} | {} | {} | {} | {} | {} |",
                        case.name(),
                        f0.takes,
                        f0.refused,
                        percent(f0.coverage),
                        percent(q.coverage),
                        plain(f0.stated, 3),
                        plain(q.stated, 3)
                    );
                }
            }
        }
    }
    println!();
}

/// Takes drawn together. What laying the pickup down anew does to the truth is added to the readings: it is a few u, some parts in
/// ten thousand, over which errors stay what they are; so one lot of takes serves every line.
fn repeated(wanted: &Wanted) {
    println!("the same for N takes drawn together; between takes the pickup moves by so many times one take's noise\n");
    println!("| takes of | N | moves | count | f0 | Q |");
    println!("| --- | --- | --- | --- | --- | --- |");
    let case = Case {
        shape: Shape::Noise,
        channels: 2,
        snr_db: 40.0,
        hum: false,
        told: Told::Corners,
        seconds: 0.5,
    };
    if !wanted.line(&case.name()) {
        return;
    }
    let mut trial = Trial::new(case);
    trial.find_bounds();
    let sets = wanted.takes(COVERAGE);
    let coils = 4;
    let all = trial.outcomes(0..10 * coils * sets.div_ceil(coils));
    let mut shift = trial::Shifts::new();
    for n in [3, 10] {
        for moves in [0.0, 1.0, 2.0, 5.0] {
            let mut hits = [0usize; 2];
            let mut count = 0;
            // The takes of one coil, n by n.
            for coil in 0..coils {
                let of_coil: Vec<_> = all.iter().skip(coil).step_by(coils).collect();
                for set in of_coil.chunks_exact(n).take(sets.div_ceil(coils)) {
                    count += 1;
                    for (i, hit) in hits.iter_mut().enumerate() {
                        let readings: Vec<Estimate> = set
                            .iter()
                            .filter_map(|o| {
                                let e = o.read?[i];
                                Some(Estimate {
                                    value: e.value + moves * o.bound[i] * shift.next(),
                                    ..e
                                })
                            })
                            .collect();
                        let mean = repeats::mean(&readings).expect("readings");
                        *hit += usize::from((mean.value - set[0].truth[i]).abs() <= 1.96 * mean.u);
                    }
                }
            }
            let [f0, q] = hits.map(|h| percent(share(h, count)));
            println!("| {} | {n} | {moves} | {count} | {f0} | {q} |", case.name());
        }
    }
    println!();
}

/// Capacitors of the four takes, in picofarads.
const CAPS_PF: [f64; 4] = [0.0, 470.0, 1000.0, 2200.0];

/// A coil from four takes of 40 dB: without a capacitor and with three. Where the capacitors are not exact, the reading of a take
/// is moved by as much as its own capacitor moves the resonance: half a per cent, over which errors stay what they are.
fn jointly(wanted: &Wanted) {
    println!(
        "L and C_s from four takes: rms error in per cent and over the bound, and share of the 95 % intervals that hold the truth\n"
    );
    println!("| takes of | capacitors | sets | L % | C_s % | L over bound | C_s over bound | L held | C_s held |");
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    for shape in SHAPES {
        let case = Case {
            shape,
            channels: 2,
            snr_db: 40.0,
            hum: false,
            told: Told::Nothing,
            seconds: 1.0,
        };
        if !wanted.line(&case.name()) {
            continue;
        }
        let resonance = |pf: f64| {
            let load: Load = format!("cap={pf}p res=1M").parse().expect("a load");
            let whole = load.with_input(None, joint_sim::INPUT_F);
            whole.second_order(&joint_sim::TRUTH).expect("second order")
        };
        let coils = CAPS_PF.map(|pf| (resonance(pf).f0_hz, resonance(pf).q, 0.0, 0.0));
        let mut trial = Trial::with_coils(case, coils.to_vec());
        trial.find_bounds();
        let sets = wanted.takes(EFFICIENCY);
        let all = trial.outcomes(0..CAPS_PF.len() * sets);
        for tolerance in [0.0, 0.01] {
            let mut draw = joint_sim::Draw(ChaCha8Rng::seed_from_u64(1));
            let (mut off, mut held) = ([Vec::new(), Vec::new()], [0usize; 2]);
            for set in all.chunks_exact(CAPS_PF.len()) {
                let takes: Option<Vec<_>> = set
                    .iter()
                    .zip(CAPS_PF)
                    .map(|(o, pf)| {
                        let real = resonance(pf * (1.0 + tolerance * draw.even()));
                        let told = if pf > 0.0 {
                            format!("cap={pf}p res=1M")
                        } else {
                            "res=1M".into()
                        };
                        let [f0, q] = o.read?;
                        let moved = |e: Estimate, to: f64, from: f64| Estimate {
                            value: e.value * to / from,
                            u: e.u * to / from,
                            u_noise: e.u_noise * to / from,
                        };
                        Some(joint_sim::take(
                            &told,
                            joint_sim::INPUT_F,
                            moved(f0, real.f0_hz, o.truth[0]),
                            Some(moved(q, real.q, o.truth[1])),
                        ))
                    })
                    .collect();
                let mut known = joint_sim::tolerances(tolerance);
                known.r_ohm *= 1.0 + 0.01 * draw.even();
                let Some(fit) = takes.and_then(|t| joint::fit(&t, &known).ok()) else {
                    continue;
                };
                let truth = [joint_sim::TRUTH.l_h, joint_sim::TRUTH.c_f];
                let found = [fit.coil.l_h, fit.coil.c_f];
                for i in 0..2 {
                    off[i].push(found[i] / truth[i] - 1.0);
                    let u = fit.covariance[(i + 1, i + 1)].sqrt();
                    held[i] += usize::from((found[i] - truth[i]).abs() <= 1.96 * u);
                }
            }
            // Each take's own bound, as the joint one's noise: they differ little from take to take.
            let noise: Vec<[f64; 2]> = all[..CAPS_PF.len()]
                .iter()
                .map(|o| [o.bound[0] / o.truth[0], o.bound[1] / o.truth[1]])
                .collect();
            let bound = joint_sim::bound_of(&CAPS_PF, &noise);
            let rms = |v: &[f64]| (v.iter().map(|x| x * x).sum::<f64>() / v.len() as f64).sqrt();
            let truth = [joint_sim::TRUTH.l_h, joint_sim::TRUTH.c_f];
            let over = |i: usize| {
                if tolerance > 0.0 {
                    return "".to_owned();
                }
                let ratio = rms(&off[i]) * truth[i] / bound[i];
                format!("{ratio:.3} ± {:.3}", ratio / (2.0 * off[i].len() as f64).sqrt())
            };
            let n = off[0].len();
            println!(
                "| {} | {} | {n} | {:.4} | {:.4} | {} | {} | {} | {} |",
                case.name(),
                if tolerance > 0.0 { "within 1 %" } else { "exact" },
                100.0 * rms(&off[0]),
                100.0 * rms(&off[1]),
                over(0),
                over(1),
                percent(share(held[0], n)),
                percent(share(held[1], n)),
            );
        }
    }
    println!();
}
