//! What other meters read of a pickup when it left and today: ohms, and gauss at the poles.

use super::document::{Look, Magnet, OhmsMoved};
use crate::coil::behind::OHMMETER;
use crate::copper::PER_K;
use crate::network::knob::UNIFORM;
use crate::record::Record;
use crate::record::about::Pole;
use crate::record::meters::Reading;
use crate::record::ohms::Ohms;
use crate::shop::yardstick::Scatter;
use crate::stats::Answer;

/// What one meter's last digit and its probes do to two readings, half-width, relative (a guess of ours).
const ONE_METER: f64 = 0.003;
/// Standard uncertainty of a room that nobody read, in kelvins, and of one that a thermometer did (guesses of ours).
const ROOM_K: (f64, f64) = (4.0, 1.0);
/// A probe that is laid on the poles anew reads as much otherwise, relative (a guess of ours).
const PROBE: f64 = 0.2;

/// The two readings of one meter, else the first of each.
fn pair(left: &Record, today: &Record) -> Option<(Ohms, Ohms)> {
    let (left, today) = (left.ohms(), today.ohms());
    let named = |o: &&Ohms| o.meter.is_some();
    let one = left.iter().filter(named).find_map(|a| {
        let b = today.iter().find(|b| b.meter == a.meter)?;
        Some((a.clone(), b.clone()))
    });
    one.or_else(|| Some((left.first()?.clone(), today.first()?.clone())))
}

/// `matters`: from which size on a difference of resistance does, relative.
pub(super) fn ohms(left: &Record, today: &Record, matters: f64) -> Option<OhmsMoved> {
    let (a, b) = pair(left, today)?;
    let one_meter = a.meter.is_some() && a.meter == b.meter;
    let meter = match one_meter {
        true => ONE_METER,
        false => OHMMETER,
    };
    let rooms = a.temperature_c.and(b.temperature_c).is_some();
    let (left_ohm, today_ohm) = match rooms {
        true => (a.at_20(), b.at_20()),
        false => (a.ohm, b.ohm),
    };
    let room = PER_K * if rooms { ROOM_K.1 } else { ROOM_K.0 };
    let difference = (today_ohm / left_ohm).ln();
    let u = 2f64.sqrt() * (UNIFORM * meter).hypot(room);
    let half = Scatter::known(u).half_width(0.05);
    Some(OhmsMoved {
        left_ohm,
        today_ohm,
        difference,
        u,
        half,
        one_meter,
        answer: Answer::by(difference.abs(), [half, half], matters),
    })
}

/// Probe, middle of the poles in size, and their sign.
fn gauss(record: &Record) -> Vec<(String, f64, f64)> {
    let all = record.noted.iter().flat_map(|n| &n.readings);
    let of = |r: &Reading| match r {
        Reading::Gauss { meter, poles_t } => Some((meter.clone(), r.figure(), poles_t.iter().sum::<f64>().signum())),
        _ => None,
    };
    all.filter_map(of).collect()
}

/// The pole that is up, as the last probe had it: plus is north, as gauss meters usually have it (common practice).
pub fn pole(record: &Record) -> Option<Pole> {
    let (_, _, sign) = gauss(record).pop()?;
    match sign {
        s if s > 0.0 => Some(Pole::North),
        s if s < 0.0 => Some(Pole::South),
        _ => None,
    }
}

/// What one probe read both times, and what follows where that changed.
pub(super) fn magnet(left: &Record, today: &Record) -> (Magnet, Option<Look>) {
    let before = gauss(left);
    // Of several the last holds.
    let found = gauss(today).into_iter().rev().find_map(|(probe, now, sign)| {
        let (_, was, sign_was) = before.iter().rev().find(|b| b.0 == probe)?;
        Some((probe, now / was, sign == *sign_was)).filter(|f| f.1.is_finite())
    });
    let Some((probe, ratio, one_pole)) = found else {
        return (Magnet::NotHeard, None);
    };
    let look = match one_pole {
        false => Some(Look::MagnetTurned),
        true if (ratio - 1.0).abs() > PROBE => Some(Look::Magnet { ratio }),
        true => None,
    };
    (Magnet::Read { probe, ratio }, look)
}
