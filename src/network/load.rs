//! What hangs on a pickup: volume and tone controls, treble bleed, cable, test lead, input.

use std::sync::Arc;

use num_complex::Complex64;

use super::coil::Coil;
use super::elements::{Ladder, OnePort, TwoPort, Walk};
use super::second_order::SecondOrder;

#[cfg(test)]
mod tests;

/// All parts that the load notation knows; the notation itself is in `Load::parse` and `Display`.
///
/// From the winding outwards: `cap`, `res`, tone from the hot side; the volume potentiometer with the bleed from its top to
/// its wiper; at the wiper the tone, cable, lead and amp. Without a volume potentiometer all sit at one node.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Load {
    pub vol: Option<Volume>,
    pub tone: Option<Tone>,
    pub tone_from: ToneFrom,
    pub bleed: Option<Bleed>,
    pub cable: Option<Cable>,
    /// Capacitance of the test lead in farads.
    pub lead_f: Option<f64>,
    pub amp: Option<Amp>,
    /// A capacitor to ground at the pickup, in farads.
    pub cap_f: Option<f64>,
    /// A resistor to ground at the pickup, in ohms.
    pub res_ohm: Option<f64>,
}

/// Volume potentiometer as a voltage divider.
#[derive(Debug, Clone, PartialEq)]
pub struct Volume {
    pub ohm: f64,
    pub taper: Taper,
    /// 0 to 1, 1 = full up.
    pub rotation: f64,
}

/// Tone potentiometer as a variable resistor in series with its capacitor; full up = all of the resistance in circuit.
#[derive(Debug, Clone, PartialEq)]
pub struct Tone {
    pub ohm: f64,
    pub taper: Taper,
    pub farad: f64,
    /// 0 to 1, 1 = full up.
    pub rotation: f64,
}

/// Where the tone branch hangs.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum ToneFrom {
    /// At the pickup.
    #[default]
    Hot,
    /// At the wiper of the volume potentiometer.
    Wiper,
}

/// Treble bleed from the top of the volume potentiometer to its wiper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bleed {
    Capacitor { farad: f64 },
    Parallel { farad: f64, ohm: f64 },
    Series { farad: f64, ohm: f64 },
}

/// Guitar cable, lumped: far shorter than the wavelength.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cable {
    pub length_m: f64,
    pub farad_per_m: f64,
}

/// Input of what follows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Amp {
    pub ohm: f64,
    pub farad: f64,
}

/// Share of a potentiometer's resistance over its rotation.
#[derive(Debug, Clone, PartialEq)]
pub enum Taper {
    Linear,
    /// Two straight pieces that meet at half rotation with so many per cent of the resistance (common practice: real
    /// tracks are printed in pieces, with 10 to 20 % at half).
    Audio {
        percent: f64,
    },
    /// A named track of a wiring file.
    Track(Arc<Track>),
}

/// A track as it was measured, or one that its wiper can leave.
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    pub name: String,
    pub course: Course,
    /// From this rotation on the wiper has left the track: nothing of it is in circuit any more.
    pub open_from: Option<f64>,
}

#[derive(Debug, Clone, PartialEq)]
pub enum Course {
    Like(Taper),
    /// (rotation, share) from 0 to 1, straight lines between.
    Points(Vec<(f64, f64)>),
}

/// Per cent of an audio track at half rotation where nothing else is said.
pub const AUDIO_PERCENT: f64 = 10.0;

impl Taper {
    /// The usual audio track.
    pub const AUDIO: Taper = Taper::Audio { percent: AUDIO_PERCENT };

    /// Resistance from the counter-clockwise end to the wiper over the whole, at a rotation of 0 to 1.
    pub fn share(&self, rotation: f64) -> f64 {
        match self {
            Taper::Linear => rotation,
            Taper::Audio { percent } => {
                let half = percent / 100.0;
                if rotation <= 0.5 {
                    2.0 * rotation * half
                } else {
                    half + (2.0 * rotation - 1.0) * (1.0 - half)
                }
            }
            Taper::Track(t) => match &t.course {
                Course::Like(taper) => taper.share(rotation),
                Course::Points(points) => between(points, rotation),
            },
        }
    }

    /// Resistance from the counter-clockwise end to the wiper, in ohms; `None` where the wiper has left the track.
    fn to_wiper(&self, whole_ohm: f64, rotation: f64) -> Option<f64> {
        (!self.is_open(rotation)).then(|| whole_ohm * self.share(rotation))
    }

    /// Whether the wiper has left the track at this rotation.
    pub fn is_open(&self, rotation: f64) -> bool {
        match self {
            Taper::Track(t) => t.open_from.is_some_and(|from| rotation >= from),
            _ => false,
        }
    }
}

/// On the straight lines through points of rising first number.
fn between(points: &[(f64, f64)], x: f64) -> f64 {
    let next = points.partition_point(|p| p.0 < x).clamp(1, points.len() - 1);
    let ((xa, ya), (xb, yb)) = (points[next - 1], points[next]);
    ya + (yb - ya) * (x - xa) / (xb - xa)
}

impl Volume {
    /// Between wiper and ground, in ohms; `None` where the wiper has left the track.
    fn lower_ohm(&self) -> Option<f64> {
        self.taper.to_wiper(self.ohm, self.rotation)
    }

    /// Between top and wiper, in ohms.
    fn upper_ohm(&self) -> f64 {
        match self.taper.is_open(self.rotation) {
            true => 0.0,
            false => self.ohm * (1.0 - self.taper.share(self.rotation)),
        }
    }
}

impl Tone {
    /// Resistance in circuit, in ohms; `None` where the wiper has left the track, and the branch does nothing.
    fn in_circuit_ohm(&self) -> Option<f64> {
        self.taper.to_wiper(self.ohm, self.rotation)
    }

    fn branch(&self, w: f64) -> OnePort {
        match self.in_circuit_ohm() {
            Some(ohm) => OnePort::resistor(ohm).series(OnePort::capacitor(self.farad, w)),
            None => OnePort::open(),
        }
    }
}

impl Bleed {
    fn branch(&self, w: f64) -> OnePort {
        match *self {
            Bleed::Capacitor { farad } => OnePort::capacitor(farad, w),
            Bleed::Parallel { farad, ohm } => OnePort::capacitor(farad, w).parallel(OnePort::resistor(ohm)),
            Bleed::Series { farad, ohm } => OnePort::capacitor(farad, w).series(OnePort::resistor(ohm)),
        }
    }
}

impl Cable {
    /// Capacitance of the whole length, in farads.
    pub fn farad(&self) -> f64 {
        self.length_m * self.farad_per_m
    }
}

impl Load {
    /// Capacitance of cable, lead and input together, in farads.
    fn line_f(&self) -> f64 {
        self.cable.map_or(0.0, |c| c.farad()) + self.lead_f.unwrap_or(0.0) + self.amp.map_or(0.0, |a| a.farad)
    }

    /// Capacitance that hangs on the line as such, in farads: capacitor, cable, lead and input, not what a control holds back.
    pub fn capacitance(&self) -> f64 {
        self.cap_f.unwrap_or(0.0) + self.line_f()
    }

    /// This load with a resistor and a capacitor more at its output: an instrument that looks on.
    pub fn with_input(&self, ohm: Option<f64>, farad: f64) -> Load {
        let mut load = self.clone();
        if farad > 0.0 {
            load.lead_f = Some(load.lead_f.unwrap_or(0.0) + farad);
        }
        if let Some(ohm) = ohm {
            let there = load.amp.unwrap_or(Amp {
                ohm: f64::INFINITY,
                farad: 0.0,
            });
            load.amp = Some(Amp {
                ohm: 1.0 / (1.0 / there.ohm + 1.0 / ohm),
                ..there
            });
        }
        load
    }

    /// Puts this load before what hangs on its output; `w` in rad/s.
    pub fn put_before<L: Ladder>(&self, end: L, w: f64) -> L {
        let across = |t: L, part: Option<OnePort>| match part {
            Some(part) => t.put_across(part),
            None => t,
        };
        let line = Some(self.line_f()).filter(|f| *f > 0.0);
        let tone = self.tone.as_ref().map(|x| x.branch(w));
        let tone_at = |place| tone.filter(|_| self.tone_from == place);
        let mut t = across(end, self.amp.map(|a| OnePort::resistor(a.ohm)));
        t = across(t, line.map(|f| OnePort::capacitor(f, w)));
        t = across(t, tone_at(ToneFrom::Wiper));
        if let Some(v) = &self.vol {
            t = across(t, v.lower_ohm().map(OnePort::resistor));
            let upper = OnePort::resistor(v.upper_ohm());
            t = t.put_in_line(match &self.bleed {
                Some(b) => upper.parallel(b.branch(w)),
                None => upper,
            });
        }
        t = across(t, tone_at(ToneFrom::Hot));
        t = across(t, self.res_ohm.map(OnePort::resistor));
        across(t, self.cap_f.map(|f| OnePort::capacitor(f, w)))
    }

    /// From the pickup's terminals to the input that follows; `w` in rad/s.
    pub fn two_port(&self, w: f64) -> TwoPort {
        self.put_before(TwoPort::through(), w)
    }

    /// Output voltage over EMF with this load on a coil; `w` in rad/s.
    pub fn response(&self, coil: &Coil, w: f64) -> Complex64 {
        coil.drive(self.put_before(Walk::open_end(), w), w)
    }

    /// The closed formulas, where coil and load make a second-order circuit; `None` where they do not: metal as a shorted
    /// turn, a tone branch with both resistance and capacitance, capacitance behind a volume control that is not full up.
    pub fn second_order(&self, coil: &Coil) -> Option<SecondOrder> {
        if coil.eddy.is_some() {
            return None;
        }
        let (upper, lower) = match &self.vol {
            Some(v) => (v.upper_ohm(), v.lower_ohm().unwrap_or(f64::INFINITY)),
            None => (0.0, f64::INFINITY),
        };
        let at_one_node = upper == 0.0;
        let (mut hot_f, mut wiper_f) = (coil.c_f + self.cap_f.unwrap_or(0.0), self.line_f());
        let tone = self.tone.as_ref().filter(|t| t.farad > 0.0);
        if let Some((tone, ohm)) = tone.and_then(|t| Some((t, t.in_circuit_ohm()?))) {
            if ohm > 0.0 {
                return None;
            }
            match self.tone_from {
                ToneFrom::Hot => hot_f += tone.farad,
                ToneFrom::Wiper => wiper_f += tone.farad,
            }
        }
        if at_one_node {
            hot_f += wiper_f;
        } else if wiper_f > 0.0 || self.bleed.is_some() {
            return None;
        }
        let behind = 1.0 / (1.0 / lower + self.amp.map_or(0.0, |a| 1.0 / a.ohm));
        let (chain, divided) = match at_one_node {
            true => (behind, 1.0),
            false => (upper + behind, behind / (upper + behind)),
        };
        let rp = 1.0 / (1.0 / chain + self.res_ohm.map_or(0.0, |r| 1.0 / r));
        let s = SecondOrder::with_loss(coil.r_ohm, coil.l_h, hot_f, rp, coil.loss_ohm.unwrap_or(f64::INFINITY))?;
        // Turned down to nothing there is no response to speak of.
        (divided > 0.0).then_some(SecondOrder {
            g0: s.g0 * divided,
            ..s
        })
    }

    /// Parts that have no effect, in words; empty for a load in order.
    pub fn remarks(&self) -> Vec<String> {
        let mut r = Vec::new();
        if self.bleed.is_some() && self.vol.is_none() {
            r.push("load: bleed has no effect without vol".to_owned());
        }
        if self.tone_from == ToneFrom::Wiper && self.tone.is_none() {
            r.push("load: tone-from has no effect without tone".to_owned());
        } else if self.tone_from == ToneFrom::Wiper && self.vol.is_none() {
            r.push("load: tone-from=wiper has no effect without vol".to_owned());
        }
        r
    }
}
