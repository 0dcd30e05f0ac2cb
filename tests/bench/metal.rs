//! How well pickups with metal are read: every circuit of fixtures/metal, some noises each.
//!
//!     cargo bench --bench metal                   four noises each, at 60, 40 and 20 dB, corners told
//!     cargo bench --bench metal -- 4 free         four, corners and delay unknown
//!     cargo bench --bench metal -- many           thirty; ten minutes and more
//!     cargo bench --bench metal -- many db=40     one signal-to-noise ratio
//!     cargo bench --bench metal -- 170 of=core    circuits whose names begin so

#[allow(dead_code)]
#[path = "../reference/metal.rs"]
mod metal;

use std::collections::BTreeMap;

use coilwright::estimate::Estimate;
use metal::{Read, Told, Truth, bins, read, straight, truths, wanted};

const NAMES: [&str; 4] = ["f0 %", "Q %", "peak %", "height dB"];
const MANY: u64 = 30;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with('-')).collect();
    let asked = |word: &str| args.iter().any(|a| a == word);
    let usual = if asked("many") { MANY } else { 4 };
    let seeds = args.iter().find_map(|a| a.parse().ok()).unwrap_or(usual);
    let told = if asked("free") { Told::Nothing } else { Told::All };
    let one: Option<f64> = args.iter().find_map(|a| a.strip_prefix("db=")?.parse().ok());
    let of = args.iter().find_map(|a| a.strip_prefix("of=")).unwrap_or("");
    let mut by_model: BTreeMap<String, Tally> = BTreeMap::new();
    for snr_db in one.map_or(vec![60.0, 40.0, 20.0], |db| vec![db]) {
        let mut by_family: BTreeMap<&str, Tally> = BTreeMap::new();
        println!("\n{snr_db} dB: mean error, u, u_noise of {seeds} noises");
        for (i, truth) in truths().into_iter().enumerate().filter(|t| t.1.name.starts_with(of)) {
            // No two circuits have the same noise.
            let take = |seed| read(&bins(&truth, snr_db, 1000 * i as u64 + seed, straight), told);
            let reads: Vec<Read> = (0..seeds).filter_map(take).collect();
            println!("{}", line(&truth, &reads));
            let family = if truth.inside {
                "of a model's family"
            } else {
                "of none's"
            };
            by_family.entry(family).or_default().add(&truth, &reads);
            for (name, alike) in alike(&reads) {
                by_model.entry(name).or_default().add(&truth, &alike);
            }
        }
        by_family.iter_mut().for_each(|(name, tally)| tally.print(name));
    }
    println!(
        "\nBy the model that was taken, all signal-to-noise ratios together; means are of one circuit's takes with one model"
    );
    by_model.iter_mut().for_each(|(name, tally)| tally.print(name));
}

/// What the ladder took, in words.
fn model(read: &Read) -> String {
    let rung = read.climb.chosen.rung;
    let besides = |is: bool, word: &str| if is { format!("+{word}") } else { String::new() };
    let (other, lead) = (besides(rung.kind.other, "other"), besides(rung.shift, "lead"));
    format!("{:?}{other}{lead}", rung.kind.metal)
}

/// Takes that the same model was taken for.
fn alike(reads: &[Read]) -> BTreeMap<String, Vec<&Read>> {
    let mut all: BTreeMap<String, Vec<&Read>> = BTreeMap::new();
    for r in reads {
        all.entry(model(r)).or_default().push(r);
    }
    all
}

/// One figure of all takes where it is known.
fn figure<R: std::borrow::Borrow<Read>>(reads: &[R], k: usize) -> Vec<Estimate> {
    let all = reads.iter().map(|r| r.borrow().all()[k]);
    all.filter(|e| e.value.is_finite()).collect()
}

fn mean(all: &[Estimate]) -> f64 {
    all.iter().map(|e| e.value).sum::<f64>() / all.len() as f64
}

/// In what a figure is printed: percent, or dB as it is.
fn scale(k: usize, want: f64) -> f64 {
    if k == 3 { 1.0 } else { 100.0 / want }
}

fn line(truth: &Truth, reads: &[Read]) -> String {
    let mut line = format!("{:26} {:7} {:9}", truth.name, truth.coil, truth.kind);
    for (k, (want, _)) in wanted(truth).into_iter().enumerate() {
        let all = figure(reads, k);
        let (Some(first), s) = (all.first(), scale(k, want)) else {
            continue;
        };
        let parts = [mean(&all) - want, first.u, first.u_noise].map(|v| s * v);
        line += &format!(" | {} {:+.3} {:.3} {:.3}", NAMES[k], parts[0], parts[1], parts[2]);
    }
    let counts: BTreeMap<String, usize> = alike(reads).into_iter().map(|(name, r)| (name, r.len())).collect();
    format!("{line} | {counts:?}")
}

#[derive(Default)]
struct Tally {
    takes: [f64; 4],
    held: [f64; 4],
    /// Takes that are not alone, so that there is a mean.
    meant: [f64; 4],
    held_by_noise: [f64; 4],
    worst: [f64; 4],
    widths: [Vec<f64>; 4],
}

impl Tally {
    fn add<R: std::borrow::Borrow<Read>>(&mut self, truth: &Truth, reads: &[R]) {
        for (k, (want, _)) in wanted(truth).into_iter().enumerate() {
            let all = figure(reads, k);
            if all.is_empty() {
                continue;
            }
            let (n, mean, s) = (all.len() as f64, mean(&all), scale(k, want));
            let inside = |e: f64, u: f64| f64::from(e.abs() <= 1.96 * u);
            for e in &all {
                self.takes[k] += 1.0;
                self.held[k] += inside(e.value - want, e.u);
                if n > 1.0 {
                    self.meant[k] += 1.0;
                    // The mean itself is of these noises.
                    self.held_by_noise[k] += inside(e.value - mean, e.u_noise * ((n - 1.0) / n).sqrt());
                }
                self.widths[k].push(1.96 * s * e.u);
            }
            self.worst[k] = self.worst[k].max((s * (mean - want)).abs());
        }
    }

    fn print(&mut self, name: &str) {
        println!("{name}");
        for k in 0..4 {
            self.widths[k].sort_by(f64::total_cmp);
            let Some(median) = self.widths[k].get(self.widths[k].len() / 2) else {
                continue;
            };
            println!(
                "  {:10} of {:4}: worst mean {:.3}; 95 % intervals hold the truth in {:.1} %, those by noise the mean in {:.1} %; median half-width {median:.4}",
                NAMES[k],
                self.takes[k],
                self.worst[k],
                100.0 * self.held[k] / self.takes[k],
                100.0 * self.held_by_noise[k] / self.meant[k],
            );
        }
    }
}
