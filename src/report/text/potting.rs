//! What `potting` shows on the screen, and the sentences that its document promises.

use super::knock;
use super::screen::{BOLD, DIM, PLAIN, STOP, Screen, Style, WARN};
use crate::estimate::{Estimate, Z95};
use crate::quantity::signed;
use crate::report::number::{self, LEVEL, PLUS_MINUS, Unit, two};
use crate::report::words;
use crate::shop::wax::document::{Decided, Lot, Pair, PotVerdict, PottingDocument, Reason, Remark, Usual};
use crate::shop::wax::warmth::{RESTED_H, WARM_K};

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

/// "f0 -1.47 ± 0.18 % (limit 0.50 %), Q -0.8 ± 2.1 % (limit 5.0 %)": what decided.
fn sizes(decided: Option<[Decided; 2]>) -> String {
    let one = |name: &str, d: &Decided| {
        // In percent of what was before; the interval is of the ratio.
        let percent = Estimate {
            value: 100.0 * d.difference.exp_m1(),
            u: 100.0 * d.half_95 * d.difference.exp() / Z95,
            u_noise: 0.0,
        };
        let sign = if percent.value > 0.0 { "+" } else { "" };
        let interval = number::bare_interval(&percent, Unit::Ratio);
        format!("{name} {sign}{interval} % (limit {} %)", two(100.0 * d.limit))
    };
    let each = decided.iter().flat_map(|[f0, q]| [one("f0", f0), one("Q", q)]);
    each.collect::<Vec<_>>().join(", ")
}

/// What a verdict rests on.
fn reason(p: &Pair) -> String {
    let but = |guess: &str| format!("{}; {guess}", sizes(p.decided));
    let again = p.again_at.as_ref();
    let again = again.map_or(String::new(), |at| format!("; measure again after {at}"));
    match &p.reason {
        Reason::Resistance { relative } if *relative > 0.0 => format!(
            "{:.0} % more resistance than before: a joint, a broken strand, another meter's range?",
            100.0 * relative
        ),
        Reason::Resistance { relative } => format!(
            "{:.0} % less resistance than before: shorted turns, or another pickup?",
            -100.0 * relative
        ),
        Reason::TooSoon { rested_h } => {
            format!("too warm to judge: {rested_h:.1} h out of the wax, {RESTED_H:.0} h are wanted{again}")
        }
        Reason::WarmWinding { celsius, above_k } => format!(
            "too warm to judge: the winding's resistance says {celsius:.0} degrees, {above_k:.0} above the room{again}"
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
        Reason::ShortedTurns => but("less inductance and more loss: shorted turns?"),
        Reason::MoreLoss => but("more loss: a cover, a plate, a joint, another resistor?"),
        Reason::F0Up => but("wax never raises f0: a lead unplugged, turns lost?"),
        Reason::LessLoss => but("less loss than before: was a resistor or a pot across it?"),
        Reason::TooMuchCapacitance => but("more than wax can do: a longer lead, a capacitor across it?"),
        Reason::AsWaxDoes => but(&format!(
            "{:.0} pF more in the winding",
            1e12 * p.c_f.map_or(0.0, |c| c.value)
        )),
        Reason::Unsure => format!(
            "neither unchanged for sure nor changed for sure: {}; {}",
            sizes(p.decided),
            more(p)
        ),
    }
}

fn more(p: &Pair) -> String {
    let Some(n) = p.repeats_needed else {
        return "no more readings after the wax would tell: before it there were too few".into();
    };
    let each = if p.on_days {
        "each on another day"
    } else {
        "laid down anew"
    };
    format!(
        "{n} more reading{} after the wax, {each}, would tell",
        words::plural(n as usize)
    )
}

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
        Remark::UsualLaying => {
            "what laying a pickup down does is not known; the usual value taken promises nothing, and what the witness saw on \
             these days is left out: `coilwright rig repeat`"
                .into()
        }
        Remark::WitnessUnchecked => {
            "the witness was not checked within a day and a half of all of these: a lead that moved looks like wax"
                .into()
        }
        Remark::WitnessTellsLittle => {
            "the witness has more across it than these pickups and is laid down anew for each check, so it tells little of a lead: \
             leave it in its place ([witness] place = \"fixed\"), or put less across it"
                .into()
        }
        Remark::SimulatedAndReal => {
            "simulated and real takes stand in one comparison here: it says nothing of either".into()
        }
        Remark::ColdByResistance => {
            format!("the coils had cooled, by their resistance: within {WARM_K:.0} K of the room")
        }
        Remark::TwoMeters => {
            "the ohms before and after were read on two meters: they say nothing of how warm a coil was; one and \
                              the same would"
                .into()
        }
        Remark::ColdUntold(coils) => format!(
            "nothing says that {} had cooled: give --rested, or --ohms and --room when measuring, before and after",
            coils.map_or("the coils".to_owned(), |n| format!("{n} of the coils"))
        ),
        Remark::RestedYetWarm(coils) => {
            let each: Vec<String> = coils.iter().map(|(name, k)| format!("{name:?} {k:.0} K")).collect();
            format!(
                "rested, and yet warmer than the room by their resistance: {}; was the room's temperature read?",
                each.join(", ")
            )
        }
        Remark::RestedTooLong { rested_h, apart_h } => format!(
            "--rested says {rested_h:.0} h, and the records before and after lie {} apart",
            match apart_h {
                h if *h < 1.5 => format!("{:.0} min", 60.0 * h),
                h => format!("{h:.0} h"),
            }
        ),
    }
}

pub fn potting_text(d: &PottingDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    let days = d.rig.as_deref().map(|r| format!("the days of {}", words::clean(r)));
    let days = days.unwrap_or("what rigs usually do".into());
    let (n, s) = (d.pairs.len(), words::plural(d.pairs.len()));
    let head = format!("{n} pickup{s} before and after the wax, judged by {days}");
    out.line_in(head, BOLD);
    out.stamp(d.simulated);
    d.pairs.iter().for_each(|p| pair(&mut out, p));
    out.rows_in("The lot", d.lot.as_ref().map(lot), BOLD);
    if !d.unpaired.is_empty() {
        let names: Vec<String> = d.unpaired.iter().map(|n| words::clean(n)).collect();
        out.row("note", format!("on one side only: {}", names.join(", ")));
    }
    out.rows("note", &d.notes);
    out.text
}

fn pair(out: &mut Screen, p: &Pair) {
    let (title, paint) = match p.verdict {
        PotVerdict::Other => (STOP, STOP),
        PotVerdict::Warm => (WARN, WARN),
        _ => (BOLD, PLAIN),
    };
    out.line_in(format!("{}: {}", words::clean(&p.pickup), verdict(p.verdict)), title);
    out.row_in("", &p.text, paint);
    if let Some(u) = &p.usual {
        out.row_in("", usual(u), if u.within { PLAIN } else { WARN });
    }
    if !p.level_unlike.is_empty() {
        let keys = p.level_unlike.join(", ");
        out.row(
            "",
            format!("level: cannot tell, {keys} is not the same in these readings, and not all were read again"),
        );
    }
    out.rows("", &p.knock_text);
    let numbers = [
        ("f0", p.f0_hz, Unit::Hertz),
        ("Q", p.q, Unit::Ratio),
        (words::HEIGHT, p.peak_db, Unit::Decibel),
        ("level", p.level_db, Unit::Decibel),
        ("winding", p.c_f, Unit::Farad),
        ("knock", p.knock_db, Unit::Decibel),
    ];
    let shown = |(name, e, unit): (&str, Option<_>, _)| Some(format!("{name} {}", number::bare_interval(&e?, unit)));
    let shown = words::joined(numbers.map(shown));
    out.rows_in("", shown.map(|s| format!("{s} {LEVEL}")), DIM);
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
