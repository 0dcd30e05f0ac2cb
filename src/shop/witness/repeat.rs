//! What laying a pickup down anew does on a rig, and which sign the rig has.

use serde::{Deserialize, Serialize};

use crate::failure::{Failure, Result, of_kind};
use crate::record::identity::same_rig;
use crate::record::{Record, Resonance};
use crate::rig::Rig;
use crate::shop::alike::goes_with;
use crate::stats::{gauge, grouped, student};

const REPEAT: &str = "coilwright/repeat/1";

/// How far apart the rig can tell pickups: `coilwright/repeat/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RepeatDocument {
    pub schema: String,
    pub rig: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Of what the rig's file stated of the measuring chain: provenance.
    pub hash: String,
    pub pickups: usize,
    pub readings: usize,
    pub freedom: usize,
    /// Standard deviations of one reading about its pickup's mean, with 95 % intervals: relative for f0 and Q, dB for heights and
    /// levels.
    pub f0: Spread,
    pub q: Spread,
    pub peak_db: Option<Spread>,
    pub level_db: Option<Spread>,
    /// From this relative difference in f0 on two single readings are told apart (95 %): t sqrt 2 standard deviations, t of Student
    /// with their freedom.
    pub tells_f0: f64,
    pub tells_q: f64,
    /// From takes of the built-in bench.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    pub sd: f64,
    pub low: f64,
    pub high: f64,
    /// Degrees of freedom; 0 in documents of old, which have one number for all.
    #[serde(default)]
    pub freedom: usize,
}

impl RepeatDocument {
    /// `place` names the file in messages.
    pub fn parse(place: &str, bytes: &[u8]) -> Result<Self> {
        let wrong = |what: String| Failure::new(what, "measure it again with `coilwright rig repeat`");
        let document: Self =
            serde_json::from_slice(bytes).map_err(|e| wrong(format!("{place} tells no repeatability: {e}")))?;
        of_kind(&document.schema, REPEAT).map_err(|what| wrong(format!("{place} {what}")))?;
        let sound = |s: &Spread| s.sd.is_finite() && s.sd >= 0.0;
        let of_levels = [&document.peak_db, &document.level_db];
        if !(sound(&document.f0) && sound(&document.q) && of_levels.into_iter().flatten().all(sound)) {
            return Err(wrong(format!("{place} holds a scatter that no readings have")));
        }
        Ok(document)
    }

    /// Of the quantity that was studied least: documents of old have one freedom for all.
    pub fn freedom(&self) -> f64 {
        let levels = [&self.peak_db, &self.level_db].into_iter().flatten();
        let each = [&self.f0, &self.q].into_iter().chain(levels).map(|s| s.freedom);
        each.filter(|f| *f > 0).fold(self.freedom, usize::min) as f64
    }

    pub fn of(rig: &Rig, records: &[Record]) -> Result<Self> {
        let good: Vec<&Record> = records.iter().filter(|r| r.reading().is_some()).collect();
        for (i, r) in good.iter().enumerate() {
            goes_with(r, &good[..i])?;
            if !same_rig(&r.rig, &rig.summary()) {
                return Err(Failure::new(
                    format!("the record of {:?} was made with another rig", r.pickup.name),
                    "give records of this rig only: two rigs are never mixed",
                ));
            }
        }
        // Two coils of one pickup are two windings.
        let coil = |r: &Record| (r.pickup.name.clone(), r.pickup.over.clone());
        let read = good.into_iter().filter_map(|r| Some((coil(r), r.reading()?.clone())));
        let mut groups: Vec<Vec<Resonance>> = grouped(read).into_iter().map(|g| g.1).collect();
        groups.retain(|g| g.len() > 1);
        let spreads = within(&groups).map(|s| Some(Spread::of(s?)));
        let [Some(f0), Some(q), peak_db, level_db] = spreads else {
            return Err(Failure::new(
                "no pickup was read twice",
                "give two or three records of each pickup, taken out and laid back between them",
            ));
        };
        let told = |s: &Spread| student(0.975, s.freedom as f64) * std::f64::consts::SQRT_2 * s.sd;
        Ok(RepeatDocument {
            schema: REPEAT.into(),
            rig: rig.name.clone(),
            unit: rig.unit.clone(),
            hash: rig.chain_hash(),
            pickups: groups.len(),
            readings: groups.iter().map(Vec::len).sum(),
            freedom: f0.freedom,
            tells_f0: told(&f0),
            tells_q: told(&q),
            simulated: records.iter().any(Record::is_simulated),
            f0,
            q,
            peak_db,
            level_db,
        })
    }
}

/// What laying down anew did where pickups were read several times, with its degrees of freedom: to f0 and Q, relative, to the peak's
/// height and the level. `groups`: the readings of one pickup each.
pub fn within(groups: &[Vec<Resonance>]) -> [Option<(f64, usize)>; 4] {
    let of: [fn(&Resonance) -> Option<f64>; 4] = [
        |r| Some(r.f0_hz.value.ln()),
        |r| Some(r.q.value.ln()),
        |r| Some(r.peak_db?.value),
        |r| Some(r.level_db?.value),
    ];
    of.map(|of| {
        let parts: Vec<Vec<f64>> = groups.iter().map(|g| g.iter().filter_map(of).collect()).collect();
        gauge::within(&parts)
    })
}

impl Spread {
    /// With the interval of a standard deviation (chi-square; any textbook).
    fn of((sd, freedom): (f64, usize)) -> Self {
        use statrs::distribution::{ChiSquared, ContinuousCDF};
        let f = freedom as f64;
        let at = |p: f64| ChiSquared::new(f).map_or(f64::NAN, |d| sd * (f / d.inverse_cdf(p)).sqrt());
        Spread {
            sd,
            low: at(0.975),
            high: at(0.025),
            freedom,
        }
    }
}

/// Which sign the rig has: `coilwright/polarity/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PolarityDocument {
    pub schema: String,
    pub rig: Option<String>,
    pub pickup: String,
    /// What the winding is known to be.
    pub known: i8,
    /// What to write as exciter.sign.
    pub sign: i8,
    /// What stood there when the record was made.
    pub stated: Option<i8>,
}

impl PolarityDocument {
    pub fn of(record: &Record, known: i8) -> Result<Self> {
        let Some(r) = &record.resonance else {
            return Err(Failure::new(
                "the record has no reading",
                "measure the known pickup again",
            ));
        };
        if !record.rig.given {
            return Err(Failure::new(
                "the record was made without a rig file",
                "measure the known pickup with --rig",
            ));
        }
        let stated = record.rig.sign();
        // The record's polarity has the stated sign in it.
        let sign = known * r.polarity.signum() * stated.unwrap_or(1);
        Ok(PolarityDocument {
            schema: "coilwright/polarity/1".into(),
            rig: record.rig.name.clone(),
            pickup: record.pickup.name.clone(),
            known,
            sign,
            stated,
        })
    }
}
