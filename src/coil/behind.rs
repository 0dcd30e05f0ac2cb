//! The coil behind the records of one pickup: the `coilwright/coil/1` document.

use nalgebra::DMatrix;

pub use super::told::{OHMMETER, Stated, input_of, input_u, load_of, whole_load};
use super::told::{reading, spelt, usual_input_u};
use crate::copper::warmth;
use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::fit::joint::{self, Cannot, CoilFit, InputLeft, Known, Point, Seen, Take};
use crate::network::coil_file::{InputPart, SCHEMA};
use crate::network::knob::UNIFORM;
use crate::network::{Coil, Eddy, Load};
use crate::record::identity::same_rig;
use crate::record::meters::LEAST_WINDING_OHM;
use crate::record::{Code, Model, Record};

/// What is known besides the records.
#[derive(Debug, Clone, Default)]
pub struct About {
    /// The ohmmeter's reading; left out, the records' own.
    pub ohms: Option<f64>,
    /// At which it was read.
    pub room_c: Option<f64>,
    /// Half-width of the ohmmeter's reading, relative; left out, [`OHMMETER`].
    pub ohmmeter: Option<f64>,
    pub stated: Stated,
}

mod document;
mod findings;
mod parts;
#[cfg(test)]
mod tests;

pub use document::*;
use findings::findings;

/// Points of a curve this far above the resonance say nothing of the coil (relative).
const ABOVE_F0: f64 = 4.0;
const CURVE_FROM_HZ: f64 = 80.0;
/// A record without any noise of its own is believed to this (relative).
const LEAST_U: f64 = 1e-5;

/// The ohmmeter's reading, and the temperature it belongs to.
#[derive(Debug, Clone, Copy)]
struct Ohms {
    value: f64,
    at_c: Option<f64>,
}

/// Finds the coil.
pub fn find(records: &[Record], about: &About) -> Result<CoilDocument> {
    let used: Vec<&Record> = records.iter().filter(|r| r.reading().is_some()).collect();
    let left_out = left_out(records);
    if used.is_empty() {
        return Err(Failure::new(
            "none of the records has a reading",
            "give two or more takes of the pickup under different loads",
        ));
    }
    let mut notes = Vec::new();
    if !left_out.is_empty() {
        notes.push(format!("left out, without a reading: {}", left_out.join(", ")));
    }
    if used.iter().any(|r| r.is_simulated()) {
        notes.push("simulated: takes of the built-in bench, no real pickup".into());
    }
    let ohms = resistance(&used, about, &mut notes)?;
    let takes = takes(&used, ohms.at_c, about.stated.input)?;
    notes.extend(unknown_temperatures(&used, ohms.at_c));
    if about.ohmmeter.is_none() {
        notes.push(format!(
            "the ohmmeter's reading is taken as right within {:.0} % (--tolerance ohms=...)",
            100.0 * OHMMETER
        ));
    }
    let parts = parts::known(&used, &takes, &about.stated);
    // Takes as warm as the reading, by one thermometer, leave nothing open; the others hang on it alike.
    let thermometers = used.iter().map(|r| warm_during(r, ohms.at_c).1).fold(0.0, f64::max);
    let known = Known {
        r_ohm: ohms.value,
        r_u: (UNIFORM * about.ohmmeter.unwrap_or(OHMMETER)).hypot(thermometers) * ohms.value,
        tolerances: parts::with_usual(&about.stated.parts),
        read: parts::read(&used, &takes, &parts, about.stated.input),
        metal: used.iter().any(|r| needs_curve(r)),
    };
    let fit = joint::fit(&takes, &known).map_err(|why| cannot(why, &takes, &left_out))?;
    Ok(CoilDocument {
        known: parts,
        notes,
        ..document(&used, &takes, &fit, ohms)
    })
}

/// The records without a reading, as a person would name them.
fn left_out(records: &[Record]) -> Vec<String> {
    let name = |r: &Record| {
        let load = r.load.as_ref().map_or("an unknown load", |l| l.text.as_str());
        let load = if load.is_empty() { "none" } else { load };
        format!("{:?} under {load} ({})", r.pickup.name, r.taken_at)
    };
    records.iter().filter(|r| r.reading().is_none()).map(name).collect()
}

/// Says whose resistance is taken as it stands, for want of a temperature.
fn unknown_temperatures(used: &[&Record], r_at: Option<f64>) -> Option<String> {
    let without = used.iter().filter(|r| r.pickup.temperature_c.is_none()).count();
    let whose = match (r_at, without) {
        (Some(_), 0) => return None,
        (None, _) => "of the ohmmeter's reading is".to_owned(),
        (Some(_), n) if n == used.len() => "of the takes is".to_owned(),
        (Some(_), n) => format!("of {n} of the takes is"),
    };
    Some(format!(
        "the temperature {whose} not known: the resistance is taken as it was read (0.4 % for each kelvin between them)"
    ))
}

fn cannot(why: Cannot, takes: &[Take], left_out: &[String]) -> Failure {
    let load = takes.first().map_or_else(String::new, |t| spelt(&t.load));
    match why {
        Cannot::OneLoad if !left_out.is_empty() => Failure::new(
            format!(
                "all takes with a reading are under one load ({load}), and one load cannot tell L from C; no reading has {}",
                left_out.join(", ")
            ),
            "measure that again, by what its record says, or under another known capacitor",
        ),
        Cannot::OneLoad => Failure::new(
            format!("all takes are under one load ({load}): one load cannot tell L from C"),
            "measure the pickup once more with a known capacitor across it, such as --load cap=1n",
        ),
        Cannot::NoFit => Failure::new(
            "no coil explains these takes",
            "check that all are of one pickup and that each record's load is what hung on it",
        ),
    }
}

fn resistance(records: &[&Record], about: &About, notes: &mut Vec<String>) -> Result<Ohms> {
    let of_record = |r: &&Record| {
        Some(Ohms {
            value: r.pickup.r_ohm?,
            at_c: r.pickup.temperature_c,
        })
    };
    let ohms = match (about.ohms, records.iter().find_map(of_record)) {
        (Some(value), _) => Ohms {
            value,
            at_c: about.room_c,
        },
        (None, None) => {
            return Err(Failure::new(
                "the winding's resistance is not known: no record has it",
                "give the ohmmeter's reading, as --ohms 6.05k, with --room 21C",
            ));
        }
        (None, Some(_)) if about.room_c.is_some() => {
            return Err(Failure::new(
                "--room is given without --ohms: it is the temperature of the ohmmeter's reading",
                "give both, or leave both to the records",
            ));
        }
        (None, Some(ohms)) => {
            notes.push(format!(
                "resistance from the first record that has it: {:.0} ohms",
                ohms.value
            ));
            ohms
        }
    };
    if ohms.value < LEAST_WINDING_OHM {
        notes.push(format!("{0} ohms are little for a pickup: was {0}k meant?", ohms.value));
    }
    Ok(ohms)
}

/// Whether f0 and Q do not hold all that the take says.
fn needs_curve(r: &Record) -> bool {
    let metal = r.fit.as_ref().is_some_and(|f| f.model != Model::SecondOrder);
    metal || r.findings.iter().any(|f| f.code == Code::PoorFit)
}

/// Resistance during a take over that of the ohmmeter's reading, as far as it is known, with its standard uncertainty.
fn warm_during(record: &Record, r_at: Option<f64>) -> (f64, f64) {
    match (record.pickup.temperature_c, r_at) {
        (Some(t), Some(at)) => warmth(t, at),
        _ => (1.0, 0.0),
    }
}

/// The records as the fit wants them.
fn takes(used: &[&Record], r_at: Option<f64>, input: Option<f64>) -> Result<Vec<Take>> {
    let metal = used.iter().any(|r| needs_curve(r));
    let take = |r: &&Record| {
        let same = |o: &&Record| same_rig(&o.rig, &r.rig);
        let load = load_of(r)?;
        let (input_ohm, input_f) = input_of(r);
        // A capacitance for which nothing is stated was read on a meter, and errs with all that was.
        let [ohm, farad] = input_u(r, input);
        // Which coil does not matter: it is the load that makes the order.
        let trial = Coil::new(6e3, 2.4, 100e-12);
        let simple = load.with_input(input_ohm, input_f).second_order(&trial).is_some();
        Ok(Take {
            seen: seen(r, &load, simple && !metal)?,
            load,
            input_ohm,
            input_f,
            input_u: [ohm.unwrap_or(usual_input_u(r)[0]), farad.unwrap_or(0.0)],
            warm: warm_during(r, r_at).0,
            rig: used.iter().position(same).unwrap_or(used.len()),
        })
    };
    used.iter().map(take).collect()
}

/// What a take says: all of it in f0 and Q where its circuit is of second order, else by its curve.
fn seen(record: &Record, load: &Load, second_order: bool) -> Result<Seen> {
    let r = reading(record)?;
    let sound = |e: Estimate| {
        let noise = if e.u_noise > 0.0 { e.u_noise } else { e.u };
        let noise = noise.max(LEAST_U * e.value.abs());
        Estimate {
            u: e.u.max(noise),
            u_noise: noise,
            ..e
        }
    };
    if second_order {
        return Ok(Seen::Resonance {
            f0_hz: sound(r.f0_hz),
            q: Some(sound(r.q)),
            corr: r.corr_f0_q.clamp(-0.99, 0.99),
        });
    }
    let points = points(record, r.f0_hz.value);
    if points.len() < 20 {
        return Err(Failure::new(
            format!("record {:?} under {load} holds no curve to fit", record.pickup.name),
            "analyse its take again, or leave it out",
        ));
    }
    Ok(Seen::Curve {
        points,
        f0_hz: sound(without_misfit(record, r.f0_hz)),
    })
}

/// f0 as the chain leaves it open: what a model misses is none of the rig's. Records of old do not tell what u is made of, but have
/// f0 of another model.
fn without_misfit(record: &Record, f0_hz: Estimate) -> Estimate {
    let eddy = record.fit.as_ref().and_then(|f| f.eddy.as_ref());
    match (&record.budget, eddy) {
        (Some(b), _) => {
            let p = &b.f0_hz;
            let squares: f64 = [p.noise, p.stated, p.unstated, p.ways].iter().map(|v| v * v).sum();
            Estimate {
                u: squares.sqrt(),
                ..f0_hz
            }
        }
        (None, Some(e)) => e.f0_hz,
        (None, None) => f0_hz,
    }
}

/// The curve of a record as the fit wants it, the sign of the winding taken out.
pub fn points(record: &Record, f0_hz: f64) -> Vec<Point> {
    const DB: f64 = 20.0 * std::f64::consts::LOG10_E;
    let Some(c) = &record.curve else {
        return Vec::new();
    };
    let top = (ABOVE_F0 * f0_hz).min(20_000.0);
    let mut points: Vec<Point> = (0..c.freq_hz.len())
        .filter_map(|i| {
            let hz = *c.freq_hz.get(i)?;
            let (mag, phase, u) = (*c.mag_db.get(i)?, *c.phase_deg.get(i)?, *c.u_db.get(i)?);
            ((CURVE_FROM_HZ..=top).contains(&hz) && u < 3.0).then(|| Point {
                hz,
                ln_mag: mag / DB,
                phase: phase.to_radians(),
                u: u / DB,
            })
        })
        .collect();
    // At low frequency the phase is 0, or half a turn for a winding of the other sense.
    let lows = points.iter().take(8).map(|p| p.phase.cos()).sum::<f64>();
    if lows < 0.0 {
        points.iter_mut().for_each(|p| p.phase -= std::f64::consts::PI);
    }
    points
}

fn document(used: &[&Record], takes: &[Take], fit: &CoilFit, ohms: Ohms) -> CoilDocument {
    let of = |i: usize, value: f64, k: f64| {
        let sd = |m: &DMatrix<f64>| m[(i, i)].max(0.0).sqrt() * k;
        Estimate {
            value,
            u: sd(&fit.covariance).max(sd(&fit.noise)),
            u_noise: sd(&fit.noise),
        }
    };
    let shape = |e: Eddy, name: &str| {
        let all = e.shape();
        let i = all.iter().position(|s| s.0 == name)?;
        Some(of(6 + i, all[i].1, 1.0))
    };
    let coil = &fit.coil;
    let (l_h, c_f) = (of(1, coil.l_h, 1.0), of(2, coil.c_f, 1.0));
    CoilDocument {
        schema: SCHEMA.into(),
        pickup: Named {
            name: used[0].pickup.name.clone(),
        },
        r_ohm: of(0, coil.r_ohm, 1.0),
        loss_ohm: coil.loss_ohm.map(|r| of(3, r, r * r)),
        eddy: coil.eddy.map(|e| EddyFound {
            k: of(3, e.k, 1.0),
            tau: of(4, e.tau_s, 1.0),
            emf: of(5, e.emf, 1.0),
            a: shape(e, "a"),
            b: shape(e, "b"),
        }),
        correlations: correlations(&fit.covariance, coil.loss_ohm.is_some()),
        reduced_chi2: fit.reduced_chi2,
        temperature_c: ohms.at_c,
        from_parts: fit.from_parts,
        inputs: fit.inputs.iter().filter_map(|i| input_found(used, fit, i)).collect(),
        takes: agreement(used, takes, fit),
        advice: fit.advice.as_ref().map(|a| AdviceFound {
            load: spelt(&a.load),
            u_l_h: a.l * l_h.u,
            u_c_f: a.c * c_f.u,
        }),
        findings: findings(used, takes, fit, [&l_h, &c_f], ohms.value),
        l_h,
        c_f,
        known: Vec::new(),
        notes: Vec::new(),
    }
}

fn agreement(used: &[&Record], takes: &[Take], fit: &CoilFit) -> Vec<TakeAgreement> {
    let all = used.iter().zip(takes).zip(&fit.agreement);
    all.map(|((r, t), a)| TakeAgreement {
        id: r.id.clone(),
        load: spelt(&t.load),
        peak_hz: r.resonance.as_ref().and_then(|x| Some(x.peak_hz?.value)),
        f0_hz: r.resonance.as_ref().map_or(0.0, |x| x.f0_hz.value),
        f0_off: a.rms_db.is_none().then_some(a.f0),
        q_off: a.q,
        curve_db: a.rms_db,
    })
    .collect()
}

fn correlations(covariance: &DMatrix<f64>, loss: bool) -> Vec<Vec<f64>> {
    let n = covariance.nrows();
    // The loss is told as a resistance, of which the conductance is the other way round.
    let sign = |i: usize| if loss && i == 3 { -1.0 } else { 1.0 };
    let of = |a: usize, b: usize| {
        let s = (covariance[(a, a)] * covariance[(b, b)]).sqrt();
        match (a == b, s > 0.0) {
            (true, _) => 1.0,
            (false, true) => (sign(a) * sign(b) * covariance[(a, b)] / s).clamp(-1.0, 1.0),
            (false, false) => 0.0,
        }
    };
    (0..n).map(|a| (0..n).map(|b| of(a, b)).collect()).collect()
}

fn input_found(used: &[&Record], fit: &CoilFit, left: &InputLeft) -> Option<InputFound> {
    let own = fit.covariance.nrows();
    let record = used.get(left.rig)?;
    let (rig, (ohm, farad)) = (&record.rig, input_of(record));
    let of = |part: InputPart| {
        let k = left.factors.iter().position(|f| f.0 == part)?;
        let sd = |m: &DMatrix<f64>| m[(own + k, own + k)].max(0.0).sqrt();
        Estimate::new(left.factors[k].1, sd(&left.covariance), sd(&left.noise))
    };
    Some(InputFound {
        rig: rig.name.clone(),
        hash: rig.told_chain().or_else(|| rig.hash.clone()),
        stated_ohm: ohm,
        stated_f: Some(farad),
        resistance: of(InputPart::Resistance),
        capacitance: of(InputPart::Capacitance),
        correlations: correlations(&left.covariance, fit.coil.loss_ohm.is_some()).split_off(own),
    })
}
