//! Taps before and after.

use crate::analysis::repeats;
use crate::estimate::Estimate;
use crate::record::Record;

/// Knock after less before, in dB; `None` where one side was not tapped. `day_db` is what the rig's level does between two days.
pub fn change(before: &[Record], after: &[Record], day_db: f64) -> Option<Estimate> {
    let side = |list: &[Record]| {
        let levels: Vec<Estimate> = list.iter().filter_map(|r| Some(r.knock.as_ref()?.level_db)).collect();
        repeats::mean(&levels)
    };
    let (b, a) = (side(before)?, side(after)?);
    let noise = a.u_noise.hypot(b.u_noise);
    Estimate::new(a.value - b.value, a.u.hypot(b.u).hypot(day_db), noise)
}

/// What a change means to the shop.
pub fn change_words(e: &Estimate) -> String {
    let sure = e.value.abs() > e.half_width_95();
    match (sure, e.value < 0.0) {
        (false, _) => "tapped: no difference for sure".into(),
        (true, true) => format!("tapped: {:.0} dB quieter than before", -e.value),
        (true, false) => format!(
            "tapped: {:.0} dB louder than before; was it tapped alike, and is anything loose?",
            e.value
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::samples;

    fn tapped(level: f64, u: f64) -> Record {
        let mut record = samples::Recipe::default().record();
        let mut knock = samples::knock();
        knock.level_db = samples::e(level, u, u);
        record.knock = Some(knock);
        record
    }

    #[test]
    fn a_change_is_the_difference_and_both_hands_scatter() {
        let none = samples::Recipe::default().record();
        assert_eq!(change(std::slice::from_ref(&none), &[tapped(-20.0, 0.5)], 0.0), None);
        assert_eq!(change(&[tapped(-20.0, 0.5)], &[none], 0.0), None);
        let e = change(&[tapped(-12.0, 0.3)], &[tapped(-20.0, 0.4)], 1.2).unwrap();
        assert!((e.value + 8.0).abs() < 1e-12 && (e.u - 1.3).abs() < 1e-12 && (e.u_noise - 0.5).abs() < 1e-12);
        assert_eq!(change_words(&e), "tapped: 8 dB quieter than before");
        let e = change(&[tapped(-20.0, 0.5)], &[tapped(-20.5, 0.5)], 0.0).unwrap();
        assert_eq!(change_words(&e), "tapped: no difference for sure");
        let e = change(&[tapped(-20.0, 0.5)], &[tapped(-14.0, 0.5)], 0.0).unwrap();
        assert!(change_words(&e).starts_with("tapped: 6 dB louder than before"));
    }
}
