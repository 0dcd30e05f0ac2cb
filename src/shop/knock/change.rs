//! Taps before and after.

use crate::analysis::repeats;
use crate::estimate::{Estimate, Z95};
use crate::record::Record;
use crate::shop::yardstick::Scatter;

/// Knock after less before, in dB; `None` where one side was not tapped. `day` is what the rig's level does between two days.
/// 1.96 u is the half-width of the 95 % interval.
pub fn change(before: &[&Record], after: &[&Record], day: Scatter) -> Option<Estimate> {
    let side = |list: &[&Record]| {
        let levels: Vec<Estimate> = list.iter().filter_map(|r| Some(r.knock.as_ref()?.level_db)).collect();
        repeats::mean(&levels)
    };
    let (b, a) = (side(before)?, side(after)?);
    let half = Scatter::sum(&[Scatter::known(a.u.hypot(b.u)), day]).half_width(0.05);
    Estimate::new(a.value - b.value, half / Z95, a.u_noise.hypot(b.u_noise))
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
        let before = tapped(-12.0, 0.3);
        let after = tapped(-20.0, 0.4);
        let day = Scatter::known(1.2);
        assert_eq!(change(&[&none], &[&after], day), None);
        assert_eq!(change(&[&before], &[&none], day), None);
        let e = change(&[&before], &[&after], day).unwrap();
        assert!((e.value + 8.0).abs() < 1e-12 && (e.u - 1.3).abs() < 1e-9 && (e.u_noise - 0.5).abs() < 1e-12);
    }
}
