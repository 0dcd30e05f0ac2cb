//! How well pickups with metal are read: every circuit of fixtures/metal, some noises each.
//!
//!     cargo bench --bench metal                   four noises each, at 60, 40 and 20 dB, corners told
//!     cargo bench --bench metal -- 30 free        thirty, corners and delay unknown

#[allow(dead_code)]
#[path = "../reference/metal.rs"]
mod metal;

use std::collections::BTreeMap;

use metal::{Read, Told, Truth, bins, read, straight, truths, wanted};

const NAMES: [&str; 4] = ["f0 %", "Q %", "peak %", "height dB"];

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with('-')).collect();
    let seeds = args.iter().find_map(|a| a.parse().ok()).unwrap_or(4);
    let told = if args.iter().any(|a| a == "free") {
        Told::Nothing
    } else {
        Told::All
    };
    for snr_db in [60.0, 40.0, 20.0] {
        let mut all = Tally::default();
        println!("\n{snr_db} dB: mean error, u, u_noise of {seeds} noises");
        for truth in truths() {
            all.add(
                &truth,
                &(0..seeds)
                    .filter_map(|s| read(&bins(&truth, snr_db, s, straight), told))
                    .collect::<Vec<_>>(),
            );
        }
        all.print();
    }
}

#[derive(Default)]
struct Tally {
    takes: [f64; 4],
    held: [f64; 4],
    held_by_noise: [f64; 4],
    worst: [f64; 4],
    widths: [Vec<f64>; 4],
}

impl Tally {
    fn add(&mut self, truth: &Truth, reads: &[Read]) {
        let n = reads.len() as f64;
        let mut line = format!("{:26} {:7} {:9}", truth.name, truth.coil, truth.kind);
        for (k, (want, _)) in wanted(truth).into_iter().enumerate() {
            let all: Vec<_> = reads
                .iter()
                .map(|r| r.all()[k])
                .filter(|e| e.value.is_finite())
                .collect();
            if all.is_empty() {
                continue;
            }
            let scale = if k == 3 { 1.0 } else { 100.0 / want };
            let mean = all.iter().map(|e| e.value).sum::<f64>() / all.len() as f64;
            let inside = |e: f64, u: f64| f64::from(e.abs() <= 1.96 * u);
            for e in &all {
                self.takes[k] += 1.0;
                self.held[k] += inside(e.value - want, e.u);
                // The mean itself is of these noises.
                self.held_by_noise[k] += inside(e.value - mean, e.u_noise * ((n - 1.0) / n).sqrt());
                self.widths[k].push(1.96 * scale * e.u);
            }
            self.worst[k] = self.worst[k].max((scale * (mean - want)).abs());
            let (u, noise) = (all[0].u, all[0].u_noise);
            line += &format!(
                " | {} {:+.3} {:.3} {:.3}",
                NAMES[k],
                scale * (mean - want),
                scale * u,
                scale * noise
            );
        }
        let mut models: BTreeMap<String, usize> = BTreeMap::new();
        for r in reads {
            let rung = r.climb.chosen.rung;
            let name = format!(
                "{:?}{}{}",
                rung.kind.metal,
                if rung.kind.other { "+other" } else { "" },
                if rung.shift { "+lead" } else { "" }
            );
            *models.entry(name).or_default() += 1;
        }
        println!("{line} | {models:?}");
    }

    fn print(mut self) {
        for k in 0..4 {
            self.widths[k].sort_by(f64::total_cmp);
            println!(
                "{:10} worst {:.3}; 95 % intervals hold the truth in {:.1} %, those by noise the mean in {:.1} %; median half-width {:.4}",
                NAMES[k],
                self.worst[k],
                100.0 * self.held[k] / self.takes[k],
                100.0 * self.held_by_noise[k] / self.takes[k],
                self.widths[k][self.widths[k].len() / 2]
            );
        }
    }
}
