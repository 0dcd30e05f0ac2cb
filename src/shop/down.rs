//! Where a response has fallen by 3 dB, which tells more than f0 and Q where there is no peak.

use crate::estimate::Estimate;
use crate::record::{Curve, PeakFrom, Record, Resonance};

const BY_DB: f64 = 3.0;
/// A measured point more uncertain than this does not tell where a curve falls.
const TOO_VAGUE_DB: f64 = 1.0;

/// On the fitted curve, with the noise of its f0 and Q; on the measured one where no model follows that. What the chain leaves open
/// of the curve, f0 tells.
pub fn down(record: &Record) -> Option<Estimate> {
    let r = record.reading()?;
    let curve = record.curve.as_ref()?;
    let relative = |e: &Estimate| e.u_noise / e.value;
    let (hz, noise) = match r.peak_from {
        PeakFrom::Model => {
            let q = with_q(r.q.value) * relative(&r.q);
            (fall(&modelled(curve))?.0, together(r, relative(&r.f0_hz), q))
        }
        PeakFrom::Curve => measured(curve)?,
    };
    let chain = (r.f0_hz.u.powi(2) - r.f0_hz.u_noise.powi(2)).max(0.0).sqrt() / r.f0_hz.value;
    Estimate::new(hz, hz * noise.hypot(chain), hz * noise)
}

/// d ln f/d ln Q of 1/((1 - x^2)^2 + (x/Q)^2) at half the power of its lows: x^2 = (D - b)/2 with b = 1/Q^2 - 2 and
/// D = sqrt(b^2 + 4 (10^0.3 - 1)), so 1/(Q^2 D).
pub fn with_q(q: f64) -> f64 {
    let b = 1.0 / (q * q) - 2.0;
    let d = (b * b + 4.0 * (10f64.powf(BY_DB / 10.0) - 1.0)).sqrt();
    1.0 / (q * q * d)
}

/// f0 and Q are found together, and what one has too much the other has too little.
fn together(r: &Resonance, f0: f64, q: f64) -> f64 {
    (f0 * f0 + q * q + 2.0 * r.corr_f0_q * f0 * q).max(0.0).sqrt()
}

/// Points of a curve: the logarithm of the frequency, and the level.
fn modelled(curve: &Curve) -> Vec<(f64, f64)> {
    let points = curve.freq_hz.iter().zip(&curve.model_db);
    points.map(|(f, db)| (f.ln(), *db)).collect()
}

/// Where the measured curve falls, and its relative standard uncertainty by the noise there.
fn measured(curve: &Curve) -> Option<(f64, f64)> {
    let all = curve.freq_hz.iter().zip(&curve.mag_db).zip(&curve.u_db);
    let sure = all.filter(|(_, u)| **u <= TOO_VAGUE_DB);
    let (hz, per_db) = fall(&sure.map(|((f, db), _)| (f.ln(), *db)).collect::<Vec<_>>())?;
    let u_db = curve.u_db.get(curve.freq_hz.partition_point(|f| *f < hz))?;
    Some((hz, u_db * per_db))
}

/// In hertz, and d ln f per decibel there.
fn fall(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let steps = points.windows(2).map(|w| (w[0], w[1]));
    let (a, b) = steps.into_iter().find(|(a, b)| a.1 >= -BY_DB && b.1 < -BY_DB)?;
    let per_db = (b.0 - a.0) / (a.1 - b.1);
    Some(((a.0 + per_db * (a.1 + BY_DB)).exp(), per_db))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Scatters, store};
    use crate::shop::reading::parts;
    use crate::shop::yardstick::Quantity;

    /// A response 1/((1 - x^2)^2 + (x/Q)^2), on the record's own frequencies.
    fn record(f0: f64, q: f64) -> Record {
        let bytes = include_bytes!("../../fixtures/records/0.1.0/record.json");
        let mut record = store::parse(bytes, "record.json".as_ref()).unwrap();
        let r = record.resonance.as_mut().unwrap();
        (r.peak_hz, r.peak_db, r.peak_from) = (None, None, PeakFrom::Model);
        r.f0_hz = Estimate::new(f0, 0.02 * f0, 0.02 * f0).unwrap();
        r.q = Estimate::new(q, 0.03 * q, 0.03 * q).unwrap();
        r.corr_f0_q = -0.9;
        let curve = record.curve.as_mut().unwrap();
        let db = |f: &f64| {
            let x = f / f0;
            -10.0 * ((1.0 - x * x).powi(2) + (x / q).powi(2)).log10()
        };
        curve.model_db = curve.freq_hz.iter().map(db).collect();
        curve.mag_db = curve.model_db.clone();
        curve.u_db = vec![0.01; curve.freq_hz.len()];
        record
    }

    /// With Q 0.5 it is 1/(1 + x^2)^2, 3 dB down at f0 sqrt(10^(3/20) - 1).
    #[test]
    fn three_decibels_down() {
        let mut record = record(3000.0, 0.5);
        let want = 3000.0 * (10f64.powf(3.0 / 20.0) - 1.0).sqrt();
        let near = |got: Option<Estimate>| {
            let got = got.unwrap().value;
            assert!((got / want - 1.0).abs() < 2e-4, "{got}, not {want}");
        };
        near(down(&record));
        // Noise at the low end of what was measured is no fall.
        record.resonance.as_mut().unwrap().peak_from = PeakFrom::Curve;
        let curve = record.curve.as_mut().unwrap();
        (curve.mag_db[1], curve.u_db[1]) = (-9.0, 5.0);
        near(down(&record));
        record.curve.as_mut().unwrap().mag_db.fill(0.0);
        assert_eq!(down(&record), None);
    }

    /// Its noise is what f0 and Q, drawn with their covariance, do to the fall: ends of the ellipse's axes. Laying down, as studied,
    /// does to it what it does to both.
    #[test]
    fn its_uncertainty_is_that_of_f0_and_q_together() {
        let (f0, q) = (3000.0, 0.55);
        let mut base = record(f0, q);
        let middle = down(&base).unwrap();
        let moved =
            |df: f64, dq: f64| (down(&record(f0 * (1.0 + df), q * (1.0 + dq))).unwrap().value / middle.value).ln();
        // Cholesky's factors of the covariance: 2 %, 3 % and -0.9 between them.
        let (along, across) = (
            moved(0.002, -0.9 * 0.003) / 0.1,
            moved(0.0, 0.19f64.sqrt() * 0.003) / 0.1,
        );
        let noise = along.hypot(across);
        let got = middle.u_noise / middle.value;
        assert!((got / noise - 1.0).abs() < 0.02, "{got}, not {noise}");
        assert!(noise < 0.6 * 0.02f64.hypot(with_q(q) * 0.03), "{noise}");
        base.resonance.as_mut().unwrap().u_lay = Some(Scatters {
            f0_hz: 0.001 * f0,
            q: 0.01 * q,
            peak_hz: None,
            peak_db: None,
            level_db: None,
            freedom: 9.0,
        });
        let laid = moved(0.0001, 0.0).hypot(moved(0.0, 0.001)) * 10.0;
        let got = parts(&base, Quantity::Down).unwrap().laying;
        assert!(
            !got.usual.any() && (got.sd / laid - 1.0).abs() < 0.02,
            "{got:?}, not {laid}"
        );
    }
}
