//! What becomes of thirty faults of the chain on four coils.
//!
//!     cargo bench --bench chain             each once
//!     cargo bench --bench chain -- 5        five noises each
//!     cargo bench --bench chain -- pF       those whose name holds the word

#[allow(dead_code)]
#[path = "../reference/faults.rs"]
mod faults;
#[allow(dead_code)]
#[path = "../reference/metal.rs"]
mod metal;

use faults::{COILS, FAULTS, Fault, Outcome, outcomes};

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with('-')).collect();
    let seeds: u64 = args.iter().find_map(|a| a.parse().ok()).unwrap_or(1);
    let word = args.iter().find(|a| a.parse::<u64>().is_err());
    let wanted = FAULTS
        .into_iter()
        .filter(|f| word.is_none_or(|w| f.0.contains(w.as_str())));
    let (names, wanted): (Vec<&str>, Vec<Fault>) = wanted.unzip();
    let mut all = Vec::new();
    for coil in &COILS {
        for seed in 0..seeds {
            for (name, o) in names.iter().zip(outcomes(coil, &wanted, seed)) {
                println!("{:14} {name:28} {}", coil.name, line(&o));
                all.push(o);
            }
        }
    }
    let count = |what: &dyn Fn(&&Outcome) -> bool| all.iter().filter(what).count();
    let good = count(&|o| o.held() || o.named);
    println!(
        "\n{good} of {} within 2 u or named, {} within 2 u",
        all.len(),
        count(&|o| o.held())
    );
    println!(
        "{} without a word above 0.3 % in f0 or 3 % in Q",
        count(&|o| o.silent_and_gross())
    );
    println!(
        "{} of {} harmless ones cried at",
        count(&|o| o.cried_at()),
        count(&|o| o.harmless())
    );
}

fn line(o: &Outcome) -> String {
    let [f0, q] = o.off;
    let fit = o.read.fit.as_ref();
    let model = fit.map_or("none".into(), |f| format!("{:?}", f.model));
    let lead = fit
        .and_then(|f| f.shift_s)
        .map_or(String::new(), |s| format!(" {:+.2} us", 1e6 * s.value));
    let word = match () {
        () if o.silent_and_gross() => "GROSS",
        () if o.cried_at() => "CRIED",
        () if o.named => "named",
        () if o.held() => "held",
        () => "MISSED",
    };
    format!(
        "moves {:+.3}, {:+.2} %   f0 {:+.4} % {:+5.1} u   Q {:+.3} % {:+5.1} u   {word:6} {model}{lead} {:?}",
        o.moved[0], o.moved[1], f0.0, f0.1, q.0, q.1, o.warned
    )
}
