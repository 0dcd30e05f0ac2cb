//! Ten years of a shop that never was: pickups of many designs, made in lots, measured on two rigs, sold, and some of them back.
//! What is planted is told as often as the tables say, and what is not planted as seldom. `cargo bench --bench decade` has the whole
//! shop; every test run a small one.

use std::collections::BTreeMap;

use coilwright::record::about::{About, Position};
use coilwright::record::stage::Stage;
use coilwright::record::when::moment;
use coilwright::record::{LoadSummary, Record};
use coilwright::shop::difference::How;
use coilwright::shop::experiment::{Made, of_groups};
use coilwright::shop::order::document::{LotDocument, Told};
use coilwright::shop::order::lot;
use coilwright::shop::returned::{Look, Question, Returned, Verdict, judge, nearest};
use coilwright::shop::sets::{Plan, Pool, Terms, choose};
use coilwright::shop::yardstick::{Answer, Matters};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use crate::dice::Dice;
use crate::joint_sim::Draw;
use crate::rate::{Held, Rate};
use crate::returned::{Truth, pickup};
use crate::rig_days::{Days, live};

pub const LOT: usize = 10;
const YEARS: usize = 10;
/// On which anything is measured.
const DAYS_A_YEAR: usize = 250;
/// Five hundred lots in ten years.
const DAYS_A_LOT: usize = 5;
pub const RIGS: [&str; 2] = ["north", "south"];
pub const STAGES: [&str; 3] = ["wound", "after wax", "finished"];
/// What wax brings.
const WAX_F: f64 = 20e-12;
/// How windings of one design scatter: inductance, capacitance, resistance.
const SCATTER: [f64; 3] = [0.012, 0.01, 0.01];
/// Labels that were changed over are told from where the peaks lie so far apart.
const APART: f64 = 0.025;

pub struct Shop {
    seed: u64,
    /// Each so-manieth pickup comes back.
    every: usize,
    designs: Vec<Truth>,
    pub pickups: Vec<Pickup>,
}

pub struct Pickup {
    pub name: String,
    pub lot: usize,
    /// In its lot.
    pub number: u32,
    pub rig: usize,
    /// Since the beginning.
    day: usize,
    /// As wound.
    truth: Truth,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Planted {
    Nothing,
    /// The eighth has too few turns.
    Odd,
    /// The tension rises from the first to the last.
    Drift,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Came {
    Unchanged,
    TurnsShorted,
    Damp,
    CoilBridged,
    /// It is the next one of its lot under this one's label, or one of another design.
    Swapped,
    /// Unchanged, and measured on the other rig.
    OtherRig,
}

pub fn lot_name(lot: usize) -> String {
    format!("lot-{lot:03}")
}

/// A day of the shop, and a minute of it.
pub fn stamp(day: usize, minute: u32) -> String {
    let (year, day) = (2016 + day / DAYS_A_YEAR, day % DAYS_A_YEAR);
    format!("{year}-{:02}-{:02}T10:{minute:02}:00+00:00", 1 + day / 21, 1 + day % 21)
}

impl Shop {
    pub fn new(seed: u64, pickups: usize, designs: usize, every: usize) -> Shop {
        let mut dice = Dice::new(seed);
        let mut shop = Shop {
            seed,
            every,
            designs: (0..designs).map(|_| pickup(&mut dice)).collect(),
            pickups: Vec::new(),
        };
        shop.pickups = (0..pickups).map(|n| shop.made(n, &mut dice)).collect();
        shop
    }

    fn made(&self, n: usize, dice: &mut Dice) -> Pickup {
        let (lot, number) = (n / LOT, n % LOT + 1);
        let (round, design) = (lot / self.designs.len(), lot % self.designs.len());
        let mut truth = self.designs[design];
        let [l, c, r] = SCATTER.map(|s| (s * dice.normal()).exp());
        (truth.l, truth.c, truth.r) = (truth.l * l, truth.c * c, truth.r * r);
        // Every other design gets a twentieth more turns with its second lot.
        if round == 1 && self.has_more_turns(design) {
            (truth.l, truth.r) = (truth.l * 1.05f64.powi(2), truth.r * 1.05);
        }
        match self.planted(lot) {
            Planted::Odd if number == 8 => truth.l *= 0.88,
            Planted::Drift => truth.l *= (0.06 * number as f64 / LOT as f64).exp(),
            _ => {}
        }
        Pickup {
            name: format!("coil-{n:04}"),
            lot,
            number: number as u32,
            rig: design % 2,
            day: lot * DAYS_A_LOT,
            truth,
        }
    }

    fn has_more_turns(&self, design: usize) -> bool {
        (design / 2).is_multiple_of(2)
    }

    fn planted(&self, lot: usize) -> Planted {
        match lot % 10 {
            // Their first two lots tell what more turns do.
            _ if lot < 2 * self.designs.len() => Planted::Nothing,
            3 => Planted::Odd,
            7 => Planted::Drift,
            _ => Planted::Nothing,
        }
    }

    pub fn came(&self, n: usize) -> Option<Came> {
        let back = n.is_multiple_of(self.every) && n + 2 * LOT < self.pickups.len();
        back.then(|| match n / self.every % 10 {
            5 => Came::TurnsShorted,
            6 => Came::Damp,
            7 => Came::CoilBridged,
            8 => Came::Swapped,
            9 => Came::OtherRig,
            _ => Came::Unchanged,
        })
    }

    pub fn is_on_the_shelf(&self, n: usize) -> bool {
        self.came(n).is_none() && [1, 3].contains(&(n % LOT))
    }

    pub fn back(&self) -> impl Iterator<Item = (usize, Came)> {
        (0..self.pickups.len()).filter_map(|n| Some((n, self.came(n)?)))
    }

    /// When it left, and when it came back.
    pub fn days(&self, n: usize) -> [usize; 2] {
        let left = self.pickups[n].day + 5;
        [left, left + 100 + n * 7919 % 500]
    }

    fn dice(&self, n: usize, what: u64) -> Dice {
        Dice::new(self.seed.wrapping_mul(1_000_003) + 16 * n as u64 + what)
    }

    fn record(&self, n: usize, truth: Truth, (what, rig, day): (usize, usize, usize)) -> Record {
        let own = &self.pickups[n];
        let mut r = truth.read(&mut self.dice(n, what as u64), &own.name, 5);
        r.id = format!("{}.{what}", own.name);
        r.taken_at = stamp(day, own.number);
        r.rig.name = Some(RIGS[rig].into());
        r.load = Some(LoadSummary {
            text: "cap=400p res=1M".into(),
        });
        r.pickup.stage = Stage::of(STAGES.get(what).unwrap_or(&"returned"));
        (r.capture.source, r.capture.take) = ("file".into(), None);
        r
    }

    pub fn reading(&self, n: usize, stage: usize) -> Record {
        let own = &self.pickups[n];
        self.record(n, self.at(n, stage), (stage, own.rig, own.day + stage))
    }

    fn at(&self, n: usize, stage: usize) -> Truth {
        let own = self.pickups[n].truth;
        let wax = if stage > 0 { WAX_F } else { 0.0 };
        Truth { c: own.c + wax, ..own }
    }

    pub fn left(&self, n: usize) -> Record {
        self.reading(n, 2)
    }

    /// The reading on its return.
    pub fn today(&self, n: usize, came: Came) -> Record {
        let own = &self.pickups[n];
        let was = self.at(n, 2);
        let mut dice = self.dice(n, 15);
        let truth = match came {
            Came::Unchanged | Came::OtherRig => was,
            Came::TurnsShorted => Truth {
                shorted: (0.01, dice.within(0.8, 0.95)),
                ..was
            },
            Came::Damp => Truth {
                c: was.c + 30e-12,
                ..was
            },
            Came::CoilBridged => was.bridged(&mut dice),
            Came::Swapped => self.at(self.partner(n), 2),
        };
        let rig = if came == Came::OtherRig { 1 - own.rig } else { own.rig };
        self.record(n, truth, (3, rig, self.days(n)[1]))
    }

    /// Whose label it bears: of two rigs each second lot is measured on one.
    fn partner(&self, n: usize) -> usize {
        match n / self.every / 10 % 2 {
            0 => n + 1,
            _ => n + 2 * LOT,
        }
    }

    /// How far the peaks of both lie apart in truth.
    fn apart(&self, n: usize) -> f64 {
        (self.at(self.partner(n), 2).ring()[0] / self.at(n, 2).ring()[0])
            .ln()
            .abs()
    }

    /// What is said of each pickup that came back.
    pub fn told(&self) -> Vec<(usize, Came, Returned)> {
        let left: Vec<Record> = (0..self.pickups.len()).map(|n| self.left(n)).collect();
        let peak = |r: &Record| r.reading().and_then(|r| r.peak_hz).map(|p| p.value);
        let one = |(n, came): (usize, Came)| {
            let today = self.today(n, came);
            let of_rig = left
                .iter()
                .enumerate()
                .filter(|(i, r)| *i != n && r.rig.name == today.rig.name);
            let others = of_rig.filter_map(|(_, r)| Some((peak(r)?, moment(&r.taken_at)?.as_second(), r)));
            let others: Vec<Record> = nearest(&left[n], &today, others).into_iter().cloned().collect();
            let said = judge(&Question {
                left: &left[n],
                today: &today,
                basis: None,
                how: &How::default(),
                others: &others,
            });
            (n, came, said.unwrap())
        };
        self.back().map(one).collect()
    }

    pub fn lot(&self, k: usize) -> LotDocument {
        let own = k * LOT..((k + 1) * LOT).min(self.pickups.len());
        let made: Vec<(u32, Record)> = own.map(|n| (self.pickups[n].number, self.reading(n, 0))).collect();
        lot(&lot_name(k), &made, &Matters::default()).unwrap()
    }
}

/// The label that is named first.
fn label(said: &Returned) -> Option<&str> {
    match said.looks.first() {
        Some(Look::AnotherCoil { like }) => like.first().map(String::as_str),
        _ => None,
    }
}

pub fn returns(shop: &Shop) -> Vec<Rate> {
    use Held::{AtLeast, AtMost, Shown};
    let told = shop.told();
    let of = |kind: Came| told.iter().filter(move |t| t.1 == kind);
    let changed = |t: &&(usize, Came, Returned)| t.2.verdict == Verdict::Changed;
    let unchanged = |t: &&(usize, Came, Returned)| t.2.verdict == Verdict::Unchanged;
    let looks = |t: &(usize, Came, Returned), look: fn(&Look) -> bool| t.2.looks.iter().any(look);
    let named = |what: &str, kind: Came, look: fn(&Look) -> bool| {
        Rate::of(what, AtLeast(90.0), of(kind), |t| changed(t) && looks(t, look))
    };
    let faults = || {
        told.iter()
            .filter(|t| matches!(t.1, Came::TurnsShorted | Came::Damp | Came::CoilBridged))
    };
    let swapped = |far: bool| of(Came::Swapped).filter(move |t| (shop.apart(t.0) >= APART) == far);
    let partner = |t: &&(usize, Came, Returned)| shop.pickups[shop.partner(t.0)].name.clone();
    // Of a lot all are alike.
    let lot_of = |name: &str| shop.pickups.iter().find(|p| p.name == name).map(|p| p.lot);
    let by_lot =
        |t: &&(usize, Came, Returned)| label(&t.2).and_then(lot_of) == Some(shop.pickups[shop.partner(t.0)].lot);
    let among = |t: &&(usize, Came, Returned)| {
        let holds = |l: &Look| matches!(l, Look::AnotherCoil { like } if like.contains(&partner(t)));
        t.2.looks.iter().any(holds)
    };
    vec![
        Rate::of("unchanged, called changed", AtMost(2.0), of(Came::Unchanged), changed),
        Rate::of("unchanged, told so", AtLeast(40.0), of(Came::Unchanged), unchanged),
        Rate::of(
            "unchanged on the other rig, called changed",
            AtMost(2.0),
            of(Came::OtherRig),
            changed,
        ),
        named("1 % of the turns shorted, named", Came::TurnsShorted, |l| {
            matches!(l, Look::TurnsShorted { .. })
        }),
        named("30 pF of damp, named", Came::Damp, |l| matches!(l, Look::Wax { .. })),
        named("one coil of two bridged, named", Came::CoilBridged, |l| {
            matches!(l, Look::CoilBridged { .. })
        }),
        Rate::of("a fault, another's label named before it", AtMost(5.0), faults(), |t| {
            label(&t.2).is_some()
        }),
        Rate::of(
            "labels changed over, 2.5 % apart: changed",
            AtLeast(90.0),
            swapped(true),
            changed,
        ),
        Rate::of(
            "... and one of the other's lot is named first",
            AtLeast(85.0),
            swapped(true),
            by_lot,
        ),
        Rate::of(
            "... and the other one itself among those named",
            Shown,
            swapped(true),
            among,
        ),
        Rate::of(
            "labels changed over, nearer: called changed",
            Shown,
            swapped(false),
            changed,
        ),
        Rate::of("... and told unchanged", Shown, swapped(false), unchanged),
    ]
}

pub fn lots(shop: &Shop) -> Vec<Rate> {
    use Held::{AtLeast, AtMost};
    let all = shop.pickups.len() / LOT;
    let mut by = BTreeMap::<u8, Vec<LotDocument>>::new();
    for k in 0..all {
        by.entry(shop.planted(k) as u8).or_default().push(shop.lot(k));
    }
    let of = |planted: Planted| by.get(&(planted as u8)).into_iter().flatten();
    let any = |d: &LotDocument, what: fn(&Told) -> bool| d.quantities.iter().filter_map(|q| q.told.as_ref()).any(what);
    let odd_one = |d: &&LotDocument| {
        let told = d.quantities.iter().filter_map(|q| q.told.as_ref());
        told.flat_map(|t| &t.odd).any(|o| o.number == 8)
    };
    let first = |d: &&LotDocument| d.look_first.as_ref().is_some_and(|f| f.number == 8);
    let (clean, odd, drift) = (Planted::Nothing, Planted::Odd, Planted::Drift);
    vec![
        Rate::of("a clean lot, one called odd", AtMost(5.0), of(clean), |d| {
            any(d, |t| !t.odd.is_empty())
        }),
        Rate::of("a clean lot, called drifting", AtMost(5.0), of(clean), |d| {
            any(d, |t| t.trend.told)
        }),
        Rate::of(
            "one with an eighth less inductance, called odd",
            AtLeast(75.0),
            of(odd),
            odd_one,
        ),
        Rate::of("... and to be looked at first", AtLeast(90.0), of(odd), first),
        Rate::of(
            "inductance 6 % up from first to last, called a drift",
            AtLeast(60.0),
            of(drift),
            |d| any(d, |t| t.trend.told),
        ),
    ]
}

/// First and second lot of each design: every other one with more turns.
pub fn experiments(shop: &Shop) -> Vec<Rate> {
    let designs = shop.designs.len();
    let group = |k: usize, turns: &str| -> Vec<Made> {
        let made = |n: usize| Made {
            recipe: [("turns".to_owned(), turns.to_owned())].into(),
            record: shop.reading(n, 0),
        };
        (k * LOT..(k + 1) * LOT).map(made).collect()
    };
    let answer = |d: usize| {
        let both = of_groups(&group(d, "8000"), &group(d + designs, "8400"), &How::default()).unwrap();
        both.comparisons[0].answer
    };
    let (more, same): (Vec<usize>, Vec<usize>) = (0..designs).partition(|d| shop.has_more_turns(*d));
    let told = |list: &[usize]| list.iter().map(|d| answer(*d)).collect::<Vec<_>>();
    let different = |a: &Answer| *a == Answer::Different;
    vec![
        Rate::of(
            "nothing changed from lot to lot, called different",
            Held::AtMost(5.0),
            told(&same),
            different,
        ),
        Rate::of(
            "a twentieth more turns, called different",
            Held::AtLeast(90.0),
            told(&more),
            different,
        ),
    ]
}

/// Where a pickup of the shelf goes.
pub fn about(n: usize) -> About {
    let neck = n % LOT == 1;
    About {
        position: Some(if neck { Position::Neck } else { Position::Bridge }),
        spacing_m: Some(0.052),
        ..About::default()
    }
}

/// What is left on the shelf in the end, by pairs whose peaks are to be alike.
pub fn sets(shop: &Shop) -> Vec<Rate> {
    let shelf = (0..shop.pickups.len()).filter(|n| shop.is_on_the_shelf(*n));
    let told: Vec<(Record, About)> = shelf.map(|n| (shop.left(n), about(n))).collect();
    let plan = Plan::new("2", &["bridge: peak 0%".into()], &[]).unwrap();
    let found = choose(&Pool::of(&told), plan, &Terms::usual(&Matters::default())).unwrap();
    assert!(found.proof.best);
    let truth = |name: &str| {
        let n = name.trim_start_matches("coil-").parse::<usize>().unwrap();
        let [f0, q, _] = shop.at(n, 2).ring();
        f0 * (1.0 - 0.5 / (q * q)).sqrt()
    };
    let off = |s: &coilwright::shop::sets::Set| (truth(&s.members[1].pickup) / truth(&s.members[0].pickup)).ln().abs();
    vec![Rate::of(
        "a set that is in truth beyond its limit of 2 %",
        Held::AtMost(5.0),
        &found.sets,
        |s| off(s) > 0.02,
    )]
}

/// Daily checks of both rigs: one is the same for ten years, one drifts from day to day from its sixth year on until that is found,
/// put right, and the next time.
pub fn rigs(seed: u64, times: usize) -> Vec<Rate> {
    let mut draw = Draw(ChaCha8Rng::seed_from_u64(seed));
    let days = Days::Carried(0.5);
    let clean = live(days, YEARS * DAYS_A_YEAR, &mut draw, |_| [0.0; 5]);
    let five = 5 * DAYS_A_YEAR;
    let mut found = Vec::new();
    for _ in 0..times {
        let judged = live(days, five + 40, &mut draw, |day| {
            [0.2 * day.saturating_sub(five) as f64, 0.0, 0.0, 0.0, 0.0]
        });
        found.push(judged[five + 1..].iter().position(|j| !j.go()));
    }
    vec![
        Rate::of(
            "a check of the rig that stays the same, called off",
            Held::AtMost(3.0),
            &clean[1..],
            |j| !j.go(),
        ),
        Rate::of(
            "a rig that drifts by 0.2 of a day's scatter a day, found in 30",
            Held::AtLeast(90.0),
            found,
            |f| f.is_some_and(|d| d < 30),
        ),
    ]
}

#[test]
fn ten_years_of_a_small_shop() {
    let shop = Shop::new(1, 600, 12, 2);
    let all = [returns(&shop), lots(&shop), experiments(&shop), sets(&shop), rigs(7, 6)].concat();
    let lines: Vec<String> = all.iter().map(Rate::line).collect();
    println!("{}", lines.join("\n"));
    assert!(all.iter().all(Rate::is_held), "{}", lines.join("\n"));
}
