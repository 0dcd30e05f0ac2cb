#[path = "reference/metal.rs"]
mod metal;
use metal::*;
use num_complex::Complex64;
fn one(_: f64) -> Complex64 {
    Complex64::new(1.0, 0.0)
}
fn env(k: &str, d: &str) -> String {
    std::env::var(k).unwrap_or(d.into())
}
#[test]
fn table() {
    let told = if env("TOLD", "1") == "1" {
        Told::All
    } else {
        Told::Nothing
    };
    let only = env("ONLY", "");
    let seeds: u64 = env("SEEDS", "4").parse().unwrap();
    for snr in env("SNR", "60,40,20").split(',').map(|v| v.parse::<f64>().unwrap()) {
        let (mut cover, mut n, mut covern) = ([0.0; 4], 0.0, [0.0; 4]);
        let mut widths: Vec<[f64; 4]> = vec![];
        let mut fails = 0;
        for t in truths() {
            if !only.is_empty() && !(format!("{}|{}|{}", t.name, t.coil, t.kind)).contains(&only) {
                continue;
            }
            let (ph, pd) = t.peak();
            let truth = [t.f0_hz, t.q, ph, pd];
            let mut vals: Vec<[f64; 4]> = vec![];
            let mut us: Vec<[f64; 4]> = vec![];
            let mut uns: Vec<[f64; 4]> = vec![];
            let mut rungs = std::collections::BTreeMap::new();
            let t0 = std::time::Instant::now();
            let mut chi = 0.0;
            for seed in 0..seeds {
                let b = bins(&t, snr, seed, one);
                let Some(r) = read(&b, told) else {
                    println!("{:28} {:7} FAILED", t.name, t.coil);
                    continue;
                };
                let c = &r.climb.chosen;
                *rungs
                    .entry(format!(
                        "{:?}{}{}",
                        c.rung.kind.metal,
                        if c.rung.kind.other { "+2" } else { "" },
                        if c.rung.shift { "+z" } else { "" }
                    ))
                    .or_insert(0) += 1;
                chi += r.climb.misfit / seeds as f64;
                let e = r.all();
                vals.push(e.map(|e| e.value));
                us.push(e.map(|e| e.u));
                uns.push(e.map(|e| e.u_noise));
            }
            let ms = t0.elapsed().as_secs_f64() * 1e3 / seeds as f64;
            let k = vals.len() as f64;
            let mean: [f64; 4] = std::array::from_fn(|i| vals.iter().map(|v| v[i]).sum::<f64>() / k);
            let mut line = String::new();
            let mut bad = false;
            for i in 0..4 {
                let u = us.iter().map(|v| v[i]).sum::<f64>() / k;
                let un = uns.iter().map(|v| v[i]).sum::<f64>() / k;
                let sc = if i == 3 { 1.0 } else { 100.0 / truth[i] };
                for j in 0..vals.len() {
                    if (vals[j][i] - truth[i]).abs() <= 1.96 * us[j][i] {
                        cover[i] += 1.0
                    }
                    if (vals[j][i] - mean[i]).abs() <= 1.96 * uns[j][i] * ((k - 1.0) / k).sqrt() {
                        covern[i] += 1.0
                    }
                }
                line += &format!(
                    " {} {:+.3} u{:.3} n{:.3} |",
                    ["f0", "Q", "pk", "db"][i],
                    sc * (mean[i] - truth[i]),
                    sc * u,
                    sc * un
                );
                let lim = [0.2, 1.0, 0.1, 0.05][i];
                if sc * (mean[i] - truth[i]).abs() > lim + 3.0 * sc * u {
                    bad = true
                }
            }
            for v in &us {
                widths.push([
                    196.0 * v[0] / truth[0],
                    196.0 * v[1] / truth[1],
                    196.0 * v[2] / truth[2],
                    1.96 * v[3],
                ]);
            }
            n += k;
            if bad {
                fails += 1
            }
            println!(
                "{}{:24} {:6} {:4}{} chi {:.2}{line} {:.0}ms {:?}",
                if bad { "**" } else { "  " },
                t.name,
                t.coil,
                &t.kind[..3],
                if t.inside { "i" } else { "o" },
                chi,
                ms,
                rungs
            );
        }
        let med = |i: usize| {
            let mut v: Vec<f64> = widths.iter().map(|w| w[i]).filter(|w| w.is_finite()).collect();
            v.sort_by(f64::total_cmp);
            v[v.len() / 2]
        };
        println!(
            "SNR {snr}: n {n} cover full {:.1?} noise {:.1?} fails {fails}; median half width % {:.3} {:.3} {:.3} dB {:.4}",
            cover.map(|c| 100.0 * c / n),
            covern.map(|c| 100.0 * c / n),
            med(0),
            med(1),
            med(2),
            med(3)
        );
    }
}
