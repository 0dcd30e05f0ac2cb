//! Ten years of a simulated shop: 5,000 pickups of 40 designs in lots of ten, on two rigs, with what is planted in them; how often it
//! is told, and how often something is told that is not there (docs/method.md, section 16). Then the same as a notebook on the disk,
//! asked through the command line.
//!
//!     cargo bench --bench decade              all of it
//!     cargo bench --bench decade -- said      without the notebook
//!     cargo bench --bench decade -- 1000      of so many pickups
//!
//! Ends with status 1 if a rate is not held.

use std::time::Instant;

#[path = "../cli/bench.rs"]
mod bench;
#[path = "../reference/decade.rs"]
#[allow(dead_code)]
mod decade;
#[path = "../reference/decade_book.rs"]
mod decade_book;
#[path = "../reference/dice.rs"]
#[allow(dead_code)]
mod dice;
#[path = "../reference/joint_sim.rs"]
#[allow(dead_code)]
mod joint_sim;
#[path = "../reference/rate.rs"]
mod rate;
#[path = "../reference/returned.rs"]
#[allow(dead_code)]
mod returned;
// Its tests use more than it hands on.
#[path = "../reference/rig_days.rs"]
#[allow(dead_code, unused_imports)]
mod rig_days;

use decade::Shop;
use rate::Rate;

const PICKUPS: usize = 5000;
const DESIGNS: usize = 40;
/// One of so many comes back.
const BACK: usize = 10;
/// So many times the rig drifts.
const DRIFTS: usize = 40;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with('-')).collect();
    let many: usize = args.iter().find_map(|a| a.parse().ok()).unwrap_or(PICKUPS);
    let mut held = true;
    let mut show = |what: &str, rates: &dyn Fn() -> Vec<Rate>| {
        let begun = Instant::now();
        let rates = rates();
        println!("\n{what} ({:.0?})", begun.elapsed());
        for rate in &rates {
            println!("{}", rate.line());
        }
        held &= rates.iter().all(Rate::is_held);
    };
    let shop = Shop::new(1, many, DESIGNS, BACK);
    println!("{many} pickups, {} of them back", shop.back().count());
    show("Returns", &|| decade::returns(&shop));
    show("Lots", &|| decade::lots(&shop));
    show("Experiments", &|| decade::experiments(&shop));
    show("Sets", &|| decade::sets(&shop));
    show("Rigs", &|| decade::rigs(7, DRIFTS));
    if !args.iter().any(|a| a == "said") {
        let f = bench::Folder::new();
        let begun = Instant::now();
        decade_book::written(&shop, &f);
        println!("\nthe notebook is written ({:.0?})", begun.elapsed());
        show("Lists, lives, lots", &|| decade_book::lists(&shop, &f));
        show("Check", &|| decade_book::check(&shop, &f));
        show("Sets from the notebook", &|| decade_book::sets(&shop, &f));
        show("Returns through the notebook", &|| decade_book::returned(&shop, &f));
    }
    std::process::exit(i32::from(!held));
}
