//! What a reading against a standard came to, where no number tells it.

use crate::shop::standard::{Elsewhere, Judged, Looks, Why};

/// Puts the words into what was judged.
pub fn put(judged: &mut Judged) {
    judged.reasons = judged.why.iter().map(why).collect();
    judged.fault = judged.looks.map(|l| looks(l).to_owned());
}

fn why(why: &Why) -> String {
    match why {
        Why::Finding(f) => f.text.clone(),
        Why::Elsewhere(e) => elsewhere(e),
        Why::Turned => "wound or wired the other way".into(),
        Why::OtherExciter => "the standard's level is of another rig's exciter: take it out to judge the rest".into(),
        Why::SignUnknown => {
            "of one of the two rigs the sign is not known, so polarity is not told: `coilwright rig polarity`".into()
        }
        Why::NoPeak { wanted: true } => "no peak, where the standard has one".into(),
        Why::NoPeak { wanted: false } => "no peak, and f0 and Q tell little without one".into(),
    }
}

pub fn elsewhere(e: &Elsewhere) -> String {
    let spelt = |l: &str| if l.is_empty() { "none".to_owned() } else { l.to_owned() };
    match e {
        Elsewhere::Definition => {
            "the standard was read by another model than this take: make it anew from its records".into()
        }
        Elsewhere::Changed(what) => {
            format!("the bench was changed since the standard was measured ({what}): make that anew")
        }
        Elsewhere::RigFile(keys) => {
            format!("{keys} is not what it was for the standard: make that anew from its records")
        }
        Elsewhere::Load { taken, of } => format!(
            "measured under {}, and the standard is of {1}: give --load \"{1}\"",
            taken.as_deref().map_or("a load that was not told".into(), spelt),
            spelt(of)
        ),
    }
}

fn looks(looks: Looks) -> &'static str {
    match looks {
        Looks::Open => "open winding, or nothing plugged in",
        Looks::OhmsAlone => "only the ohms are off: another wire, a joint, or a winding still warm",
        Looks::ShortedTurns => "shorted turns: less inductance, much more loss",
        Looks::TurnsMissing => "turns missing: less resistance, less inductance",
        Looks::TurnsTooMany => "too many turns: more resistance, more inductance",
        Looks::MoreLoss => "more loss or more resistance: a joint, a cover, a plate",
        Looks::Swapped => "start and finish swapped, or wound the other way; the magnet plays no part",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::store;
    use crate::shop::standard::{Allowed, Call, Standard, judge};
    use crate::shop::witness::eras::Eras;

    /// A verdict goes out with its sentence: one under another load names the load to give.
    #[test]
    fn words_are_put_into_what_was_judged() {
        let bytes = include_bytes!("../../fixtures/records/0.1.0-shop/takes/neck-7/0001/record.json");
        let record = store::parse(bytes, "record.json".as_ref()).unwrap();
        let allowed = Allowed {
            f0: Some(0.02),
            q: Some(0.08),
            ..Allowed::default()
        };
        let mut standard = Standard::from("neck set", std::slice::from_ref(&record), allowed)
            .unwrap()
            .0;
        standard.load = Some("cap=470p".into());
        let mut j = judge(&record, Some(&standard), &Eras::default(), false).unwrap();
        assert_eq!((j.call, j.reasons.len()), (Call::CannotTell, 0));
        put(&mut j);
        assert!(
            j.reasons[0].ends_with("the standard is of cap=470p: give --load \"cap=470p\""),
            "{:?}",
            j.reasons
        );
        assert_eq!(j.fault, None);
        j.looks = Some(Looks::ShortedTurns);
        put(&mut j);
        assert!(j.fault.is_some_and(|f| f.starts_with("shorted turns")));
    }
}
