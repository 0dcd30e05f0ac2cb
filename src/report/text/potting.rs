//! What `potting` shows on the screen, and the sentences that its document promises.

use super::grid;
use super::knock;
use super::screen::{BOLD, DIM, PLAIN, STOP, Screen, Style, WARN};
use crate::estimate::{Estimate, Z95};
use crate::quantity::signed;
use crate::report::number::{self, LEVEL, PLUS_MINUS, Unit, two};
use crate::report::words;
use crate::shop::wax::document::{
    Decided, Lot, Pair, PotVerdict, PottingDocument, Read, Reason, Remark, Stayed, TookLess, Unfit, Usual,
};
use crate::shop::wax::stays::SITTING_H;
use crate::shop::wax::warmth::{BACK, RESTED_H};

/// Puts in what the document says in words.
pub fn put_words(d: &mut PottingDocument) {
    d.notes = d.remarks.iter().map(remark).collect();
    for p in &mut d.pairs {
        p.text = reason(p);
        p.knock_text = p.knock_db.as_ref().map(knock::change);
    }
}

pub(in crate::report) fn verdict(v: PotVerdict) -> &'static str {
    match v {
        PotVerdict::Unchanged => "unchanged",
        PotVerdict::Wax => "as wax does",
        PotVerdict::Other => "LOOK AT IT",
        PotVerdict::CannotTell => "cannot tell",
        PotVerdict::Warm => "WARM",
    }
}

/// "-1.47 ± 0.18": in percent of what was before; the interval is of the ratio.
fn percent(d: &Decided) -> String {
    let percent = Estimate {
        value: number::per_cent_of_log(d.difference),
        u: 100.0 * d.half_95 * d.difference.exp() / Z95,
        u_noise: 0.0,
    };
    let sign = if percent.value > 0.0 { "+" } else { "" };
    format!("{sign}{}", number::bare_interval(&percent, Unit::Ratio))
}

/// "f0 -1.47 ± 0.18 % (limit 0.50 %), Q -0.8 ± 2.1 % (limit 5.0 %)": what decided.
fn sizes(decided: Option<[Decided; 2]>) -> String {
    let one = |name: &str, d: &Decided| format!("{name} {} % (limit {} %)", percent(d), two(100.0 * d.limit));
    words::list(decided.iter().flat_map(|[f0, q]| [one("f0", f0), one("Q", q)]))
}

/// A reason alone.
pub(super) fn why(reason: Reason) -> String {
    let pair = Pair::default();
    self::reason(&Pair { reason, ..pair })
}

/// What a verdict rests on.
fn reason(p: &Pair) -> String {
    let but = |guess: &str| format!("{}; {guess}", sizes(p.decided));
    let again = p.again_at.as_ref();
    let again = words::of(again, |at| format!("; measure again after {at}"));
    match &p.reason {
        Reason::Resistance { relative } => {
            let (way, looks) = match *relative > 0.0 {
                true => ("more", "a joint, a broken strand, another meter's range?"),
                false => ("less", "shorted turns, or another pickup?"),
            };
            format!("{:.0} % {way} resistance than before: {looks}", (100.0 * relative).abs())
        }
        Reason::TooSoon { rested_h } => {
            format!("still warm: {rested_h:.1} h out of the wax, {RESTED_H:.0} h are wanted{again}")
        }
        Reason::WarmWinding { celsius, above_k } => {
            format!("still warm: the winding's resistance says {celsius:.0} degrees, {above_k:.0} above the room{again}")
        }
        Reason::OhmsNotBack { relative } => format!(
            "still warm: the ohms are {:.1} % above what they were, and cold they are back within {} %{again}; or the room is \
             warmer, which --room tells",
            100.0 * relative,
            100.0 * BACK
        ),
        Reason::NoReadingBefore => "no reading before, so nothing to compare with".into(),
        Reason::NoReadingAfter => "no reading any more: a broken wire, a joint, the plug?".into(),
        Reason::NoRigFile => "measured without a rig file".into(),
        Reason::TwoRigs { rigs } => format!("measured on two rigs ({rigs})"),
        Reason::Unlike { keys } => format!("{keys} is not the same in these readings, and not all were read again"),
        Reason::OtherRig { rigs, days_of } if rigs == days_of => format!("measured on another unit of {rigs}"),
        Reason::OtherRig { rigs, days_of } => format!("measured on {rigs}, and the days are those of {days_of}"),
        Reason::BenchChanged { what } => {
            format!("the bench was changed between them ({what}), which looks like wax or hides it")
        }
        Reason::TwoLoads => "measured under two loads".into(),
        Reason::SignTurned => "the sign is the other one: leads swapped, or the exciter turned?".into(),
        Reason::WithinLimits => format!("within the limits: {}", sizes(p.decided)),
        Reason::WitnessNoGo { day } => {
            format!("the rig's check of {day} was NO GO, so something else than wax may have done it")
        }
        Reason::WitnessMoved { relative } => format!(
            "the witness moved by {} % between the days as well, so a lead may have done it",
            signed(100.0 * relative, 2)
        ),
        Reason::StayedContradict => {
            "the pickups that stayed out of the wax contradict each other: was one of them touched? lay all of them down again".into()
        }
        Reason::ShortedTurns => but("less inductance and more loss: shorted turns?"),
        Reason::MoreLoss => but("more loss: a cover, a plate, a joint, another resistor?"),
        Reason::F0Up => but("wax never raises f0: a lead unplugged, turns lost?"),
        Reason::LessLoss => but("less loss than before: was a resistor or a pot across it?"),
        Reason::TooMuchCapacitance => but("more than wax can do: a longer lead, a capacitor across it?"),
        Reason::AsWaxDoes => but(&format!("{:.0} pF more in the winding", 1e12 * p.c_f.map_or(0.0, |c| c.value))),
        Reason::Unsure => format!("neither unchanged for sure nor changed for sure: {}", but(&more(p))),
    }
}

fn more(p: &Pair) -> String {
    let each = if p.on_days {
        "each on another day"
    } else {
        "laid down anew"
    };
    match p.repeats_needed {
        None => "no more readings after the wax would tell: before it there were too few".into(),
        Some(1) => format!("1 more reading after the wax, {each}, would tell"),
        Some(n) => format!("{n} more readings after the wax, {each}, would tell"),
    }
}

const USUAL_LAYING: &str = "what laying a pickup down does is not known; the usual value taken promises nothing: `coilwright rig repeat`, \
                            or lay two pickups down three times before the wax and after it (--sitting)";

const TELLS_LITTLE: &str = "the witness has more across it than these pickups and is laid down anew for each check, so it tells little \
                            of a lead: leave it in its place ([witness] place = \"fixed\"), or put less across it";

fn remark(r: &Remark) -> String {
    match r {
        Remark::CoilUntold(pickup, records) => {
            format!("{pickup}: {records} of its records do not say which coil they are of, and are left out")
        }
        Remark::WarmLeftOut(pickup, readings) => {
            format!("{pickup}: {readings} warm reading{} left out", words::plural(*readings))
        }
        Remark::UsualDays => {
            "what the rig does from day to day is not known; the usual value taken promises nothing: `coilwright rig check`".into()
        }
        Remark::FewDays(days) => format!(
            "the witness's checks are of {days} days only: what the rig does from day to day is more than they tell"
        ),
        Remark::UsualDaysOfQ => {
            "what a day does to Q is not known; the usual value taken promises nothing: lay down what stays out of the wax more often"
                .into()
        }
        Remark::UsualLaying => USUAL_LAYING.into(),
        Remark::LaidHere(l) => format!(
            "laying down was counted here, from {} placements: it moves f0 by {} % and Q by {} %",
            l.placements,
            two(100.0 * l.f0),
            two(100.0 * l.q)
        ),
        Remark::StayedUnfit(pickup, why) => unfit(pickup, *why),
        Remark::WitnessUnchecked => {
            "the witness was not checked within a day and a half of all of these: a lead that moved looks like wax"
                .into()
        }
        Remark::WitnessTellsLittle => TELLS_LITTLE.into(),
        Remark::SimulatedAndReal => {
            "simulated and real takes stand in one comparison here: it says nothing of either".into()
        }
        Remark::ColdByResistance => {
            format!("the coils had cooled, by their ohms, which are back within {} %", 100.0 * BACK)
        }
        Remark::TwoMeters => {
            "the ohms before and after were read on two meters: they say nothing of how warm a coil was; one and the same would".into()
        }
        Remark::ColdUntold(coils) => format!(
            "nothing says that {} had cooled: give --rested, or --ohms when measuring, before and after (and --room)",
            coils.map_or("the coils".to_owned(), |n| format!("{n} of the coils"))
        ),
        Remark::RestedYetWarm(coils) => format!(
            "rested, and yet warmer than the room by their resistance: {}; was the room's temperature read?",
            words::list(coils.iter().map(|(name, k)| format!("{name:?} {k:.0} K")))
        ),
        Remark::RestedTooLong { rested_h, apart_h } => {
            let short = *apart_h < 1.5;
            let apart = if short { format!("{:.0} min", 60.0 * apart_h) } else { format!("{apart_h:.0} h") };
            format!("--rested says {rested_h:.0} h, and the records before and after lie {apart} apart")
        }
    }
}

fn unfit(pickup: &str, why: Unfit) -> String {
    let why = match why {
        Unfit::OneSide => "was not measured on both sides".into(),
        Unfit::NoReading => "gives no reading on one of the sides".into(),
        Unfit::NotAlike => "was measured on two rigs, under two loads, or on another rig than these".into(),
        Unfit::OtherSitting => format!("was not measured within {SITTING_H:.0} h of all of these, before and after"),
        Unfit::Changed => {
            "has changed itself, in Q or in sign, by more than a day does: was it touched, or waxed?".into()
        }
    };
    format!(
        "{} stayed out of the wax and tells nothing: it {why}",
        words::clean(pickup)
    )
}

/// By what the changes are judged.
pub(in crate::report) fn judged_by(d: &PottingDocument) -> String {
    let mut out: Vec<String> = Vec::new();
    for name in d.pairs.iter().flat_map(|p| &p.carried_by).map(|n| words::clean(n)) {
        if !out.contains(&name) {
            out.push(name);
        }
    }
    let stayed = (!out.is_empty()).then(|| format!("{}, which stayed out of it", out.join(" and ")));
    let days = d.rig.as_deref().map(|r| format!("the days of {}", words::clean(r)));
    match (days, stayed) {
        (Some(days), Some(stayed)) => format!("{days} and by {stayed}"),
        (days, stayed) => days.or(stayed).unwrap_or("what rigs usually do".into()),
    }
}

pub fn potting_text(d: &PottingDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    let (n, s) = (d.pairs.len(), words::plural(d.pairs.len()));
    let head = format!("{n} pickup{s} before and after the wax, judged by {}", judged_by(d));
    out.line_in(head, BOLD);
    out.stamp(d.simulated);
    table(&mut out, d);
    let [f0, q] = [d.limits.f0, d.limits.q].map(|l| two(100.0 * l));
    out.line_in(
        format!("unchanged: within {f0} % in f0 and {q} % in Q for sure {LEVEL}"),
        DIM,
    );
    d.pairs.iter().for_each(|p| pair(&mut out, p));
    out.rows_in("The lot", d.lot.as_ref().map(lot), BOLD);
    if !d.unpaired.is_empty() {
        out.row("note", format!("on one side only: {}", words::names(&d.unpaired)));
    }
    out.rows("note", &d.notes);
    out.text
}

/// A line of the table: name, f0, its change, height, ohms, verdict.
pub(in crate::report) type Line = [String; 6];

fn line(name: &str, read: &Read, change: Option<Decided>, verdict: &str) -> Line {
    let of = |both: [Option<f64>; 2], shown: &dyn Fn(f64) -> String| match both {
        [None, None] => String::new(),
        both => both.map(|v| v.map_or("none".into(), shown)).join(" → "),
    };
    let thousands = |ohm: f64| match 1e-3 * ohm {
        k if k < 10.0 => format!("{k:.3}"),
        k => format!("{k:.2}"),
    };
    [
        words::clean(name),
        of(read.f0_hz, &|v| format!("{v:.0}")),
        words::of(change, |d| percent(&d)),
        of(read.peak_db, &|v| signed(v, 1)),
        of(read.ohm, &thousands),
        verdict.into(),
    ]
}

/// Before and after, as it was read: head, and lines of the pairs, then of those that stayed out. The change is freed of what the
/// days did.
pub(in crate::report) fn before_and_after(d: &PottingDocument) -> ([&'static str; 6], Vec<Line>) {
    let of_pair = |p: &Pair| line(&p.pickup, &p.read, p.decided.map(|d| d[0]), verdict(p.verdict));
    let of_stayed = |s: &Stayed| line(&s.pickup, &s.read, s.changed.map(|c| c[0]), "stayed out");
    let at_20 = d.pairs.iter().any(|p| p.read.at_20);
    let ohms = if at_20 { "kΩ at 20 °C" } else { "kΩ" };
    let head = ["pickup", "f0 (Hz)", "change (%)", "height (dB)", ohms, ""];
    let (pairs, stayed) = (d.pairs.iter().map(of_pair), d.stayed.iter().map(of_stayed));
    (head, pairs.chain(stayed).collect())
}

fn table(out: &mut Screen, d: &PottingDocument) {
    let (head, lines) = before_and_after(d);
    let all: Vec<Line> = std::iter::once(head.map(str::to_owned)).chain(lines).collect();
    let fits = if all[1..].iter().any(|l| !l[4].is_empty()) {
        grid::lines(out, &all, &[0, 5], 0)
    } else {
        let without: Vec<[String; 5]> = all.iter().cloned().map(|[a, b, c, d, _, f]| [a, b, c, d, f]).collect();
        grid::lines(out, &without, &[0, 4], 0)
    };
    // Too narrow for columns.
    for l in all[1..].iter().filter(|_| !fits) {
        out.line(format!("{}: {}", l[0], l[5]));
        let named = (1..5).filter(|i| !l[*i].is_empty());
        out.row("", words::list(named.map(|i| format!("{} {}", all[0][i], l[i]))));
    }
}

/// What the table does not say, under the pickup's name.
fn pair(out: &mut Screen, p: &Pair) {
    let details = out.style.details;
    let (title, paint) = match p.verdict {
        PotVerdict::Other => (STOP, STOP),
        PotVerdict::Warm => (WARN, WARN),
        _ => (BOLD, PLAIN),
    };
    let in_table = matches!(p.reason, Reason::WithinLimits | Reason::AsWaxDoes) && !details;
    let unlike = (!p.level_unlike.is_empty()).then(|| {
        let keys = p.level_unlike.join(", ");
        format!("level: cannot tell, {keys} is not the same in these readings, and not all were read again")
    });
    let as_usual = p.usual.as_ref().filter(|u| details || !u.within);
    let said = [
        (!in_table).then(|| (p.text.clone(), paint)),
        p.took_less.as_ref().map(|t| (less(t), WARN)),
        as_usual.map(|u| (usual(u), if u.within { PLAIN } else { WARN })),
        unlike.map(|u| (u, PLAIN)),
        p.knock_text.clone().map(|k| (k, PLAIN)),
        details.then(|| numbers(p)).flatten().map(|n| (n, DIM)),
    ];
    let mut said = said.into_iter().flatten().peekable();
    if said.peek().is_some() {
        out.line_in(format!("{}: {}", words::clean(&p.pickup), verdict(p.verdict)), title);
    }
    said.for_each(|(text, paint)| out.row_in("", text, paint));
}

fn numbers(p: &Pair) -> Option<String> {
    let numbers = [
        ("f0", p.f0_hz, Unit::Hertz),
        ("Q", p.q, Unit::Ratio),
        (words::HEIGHT, p.peak_db, Unit::Decibel),
        ("level", p.level_db, Unit::Decibel),
        ("winding", p.c_f, Unit::Farad),
        ("knock", p.knock_db, Unit::Decibel),
    ];
    let shown = |(name, e, unit): (&str, Option<_>, _)| Some(format!("{name} {}", number::bare_interval(&e?, unit)));
    words::joined(numbers.map(shown)).map(|s| format!("{s} {LEVEL}"))
}

fn less(t: &TookLess) -> String {
    let [own, mates] = [t.c_f, t.mates_c_f].map(|c| signed(1e12 * c, 1));
    format!("took clearly less than its mates: {own} pF, theirs {mates} pF on average")
}

fn usual(u: &Usual) -> String {
    let [less, more] = u.c_f.map(|c| signed(1e12 * c, 1));
    let [low, high] = u.q.map(|q| signed(100.0 * q, 1));
    let (like, n) = (if u.within { "as" } else { "NOT as" }, u.changes);
    format!("{like} your wax before ({n} changes: winding {less} to {more} pF, Q {low} to {high} %)")
}

pub(in crate::report) fn lot(l: &Lot) -> String {
    let (n, verdict, sizes) = (l.pairs, verdict(l.verdict), sizes(Some(l.decided)));
    let (pf, half) = (signed(1e12 * l.c_f, 1), two(1e12 * l.c_f_half_95));
    format!("all {n}, {verdict}: {sizes}, windings {pf} {PLUS_MINUS} {half} pF {LEVEL}")
}
