//! What a reading's uncertainty is made of, and which parts of it enter which question.

use serde::Serialize;

use super::matters::Quantity;
use super::scatter::{Scatter, Usual};
use crate::estimate::Estimate;

/// How well the usual values are known: as if from a study of so many degrees of freedom (a guess of ours).
const USUAL_FREEDOM: f64 = 30.0;
/// What a day does to the capacitance across a pickup, in farads: leads that lie otherwise.
const USUAL_DAY_F: f64 = 2e-12;
const USUAL_DAY_Q: f64 = 0.005;
/// The peak of a second-order response is about 20 lg Q high.
pub const DB_PER_LN_Q: f64 = 20.0 / std::f64::consts::LN_10;

fn usual(sd: f64, usual: Usual) -> Scatter {
    Scatter {
        usual,
        ..Scatter::studied(sd, USUAL_FREEDOM)
    }
}

/// Capacitance of a winding where nothing is said (common practice: 40 to 300 pF), with its standard uncertainty.
pub const USUAL_WINDING_F: (f64, f64) = (120e-12, 40e-12);

/// What a rig does to the readings of one pickup, quantity by quantity, as the pickup is laid down anew and as days go by. Usual
/// values, a guess of ours, until the rig knows its own.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeatability {
    laying: [Scatter; Quantity::ALL.len()],
    days: [Scatter; Quantity::ALL.len()],
}

impl Repeatability {
    /// For a pickup with so much capacitance across it, winding, lead and input together.
    pub fn usual(whole_f: f64) -> Repeatability {
        // f0 goes with the root of the capacitance.
        let day_f0 = 0.5 * USUAL_DAY_F / whole_f;
        let of = |q| match q {
            Quantity::Peak | Quantity::Down => (0.0015, day_f0),
            Quantity::F0 => (0.001, day_f0),
            Quantity::Q => (0.01, USUAL_DAY_Q),
            // The last digit, and half a kelvin of a hand; thermometer and winding a kelvin apart (copper: 0.39 %).
            Quantity::Ohms => (0.002, 0.004),
            // Of the curve the top moves most.
            Quantity::Height | Quantity::Curve => (0.1, DB_PER_LN_Q * USUAL_DAY_Q),
            Quantity::Level => (0.3, 0.1),
        };
        Repeatability {
            laying: Quantity::ALL.map(|q| usual(of(q).0, Usual::LAYING)),
            days: Quantity::ALL.map(|q| usual(of(q).1, Usual::DAYS)),
        }
    }

    /// From a study of laying down, and from the rig's history, scaled to this pickup; a small one is pooled with what was there.
    pub fn with(mut self, quantity: Quantity, laying: Option<Scatter>, days: Option<Scatter>) -> Repeatability {
        for (known, told) in [(&mut self.laying, laying), (&mut self.days, days)] {
            let known = &mut known[quantity as usize];
            *known = told.map_or(*known, |told| told.or_pooled(*known));
        }
        self
    }

    pub fn laying(&self, quantity: Quantity) -> Scatter {
        self.laying[quantity as usize]
    }

    pub fn days(&self, quantity: Quantity) -> Scatter {
        self.days[quantity as usize]
    }

    /// The parts of one reading.
    pub fn reading(&self, quantity: Quantity, e: &Estimate) -> Parts {
        let systematic = (e.u * e.u - e.u_noise * e.u_noise).max(0.0).sqrt();
        Parts {
            noise: quantity.uncertainty(e.value, e.u_noise),
            laying: self.laying(quantity),
            days: self.days(quantity),
            chain: quantity.uncertainty(e.value, systematic),
            ..Parts::EXACT
        }
    }
}

/// What a reading of one quantity, or the mean of several, is uncertain by; all as the quantity is compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parts {
    /// Standard uncertainty by the noise of the takes, of their mean.
    pub noise: f64,
    /// Of one placement.
    pub laying: Scatter,
    /// Of one day.
    pub days: Scatter,
    /// Standard uncertainty by the measuring chain: tolerances, ways of reading, misfit.
    pub chain: f64,
    /// So many in the mean.
    pub placements: f64,
    pub on_days: f64,
}

impl Parts {
    /// Of a limit, or of a value that was agreed on.
    pub const EXACT: Parts = Parts {
        noise: 0.0,
        laying: Scatter::NONE,
        days: Scatter::NONE,
        chain: 0.0,
        placements: 1.0,
        on_days: 1.0,
    };

    /// Of a value of which the noise is all that is not known.
    pub fn of_noise(noise: f64) -> Parts {
        Parts { noise, ..Parts::EXACT }
    }

    fn laid_down(&self) -> Scatter {
        self.laying.times(self.placements.recip().sqrt())
    }

    fn of_days(&self) -> Scatter {
        self.days.times(self.on_days.recip().sqrt())
    }

    /// Of this pickup on this rig, now, about what many more placements would come to.
    pub fn here(&self) -> Scatter {
        Scatter::sum(&[Scatter::known(self.noise), self.laid_down()])
    }

    /// With so many placements more, each on a day of its own where that is asked for.
    pub(super) fn more(&self, placements: f64, days: f64) -> Parts {
        let now = self.placements + placements;
        Parts {
            noise: self.noise * (self.placements / now).sqrt(),
            placements: now,
            on_days: self.on_days + days,
            ..*self
        }
    }
}

/// What is held against what, and so what lies between them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Question {
    /// Two readings of a pickup that stayed where it is: repeats, loads that were changed on it.
    #[default]
    InPlace,
    /// Two pickups, or one laid down anew, in one sitting on one rig.
    #[serde(rename = "same-sitting")]
    LaidDown,
    /// On one rig on two days.
    OtherDay,
    /// On two rigs, or a reading against what does not come from this rig.
    OtherRig,
    /// What was predicted of a pickup and a reading of it: how that was laid down counts, and the chain.
    Predicted,
}

impl Question {
    pub(super) fn days(self) -> bool {
        matches!(self, Question::OtherDay | Question::OtherRig)
    }
}

/// How far the witness, or what was measured for it in the same sittings, moved between the days of both readings, scaled to the
/// pickup, and how sure that is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Witness {
    pub moved: f64,
    pub own: Scatter,
}

/// Two readings of one quantity and what lies between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Between {
    pub question: Question,
    pub first: Parts,
    pub second: Parts,
    /// What the witness saw of these very days, where it was looked at about both.
    pub witness: Option<Witness>,
}

impl Between {
    pub fn new(question: Question, first: Parts, second: Parts) -> Between {
        Between {
            question,
            first,
            second,
            witness: None,
        }
    }

    /// Of the difference, once [`Between::taken_off`] has been.
    pub fn scatter(&self) -> Scatter {
        let (a, b) = (&self.first, &self.second);
        let mut parts = vec![Scatter::known(a.noise.hypot(b.noise))];
        let mut laid = a.laid_down().shared(b.laid_down());
        let mut of_days = self.seen().1;
        if self.measured().is_some() {
            // How the witness lay is known by the same study as how the pickup did.
            (laid, of_days) = (laid.shared(of_days), Scatter::NONE);
        }
        parts.extend((self.question != Question::InPlace).then_some(laid));
        parts.extend(self.question.days().then_some(of_days));
        if matches!(self.question, Question::OtherRig | Question::Predicted) {
            parts.push(Scatter::known(a.chain.hypot(b.chain)));
        }
        Scatter::sum(&parts)
    }

    /// What the days did, as far as the witness tells: to be taken off the difference.
    pub fn taken_off(&self) -> f64 {
        if self.question.days() { self.seen().0 } else { 0.0 }
    }

    /// What days do between both readings, before anything is taken off.
    pub fn days(&self) -> Scatter {
        self.first.of_days().shared(self.second.of_days())
    }

    /// What the witness saw, in the place of what days usually do: a guess has no say beside what was measured of these very days.
    fn measured(&self) -> Option<Witness> {
        self.witness
            .filter(|_| self.question == Question::OtherDay && self.days().usual.days)
    }

    /// What the days did between both readings, and how unsure that is: what the rig's days do (nothing, by their scatter) and what
    /// the witness saw of these, each with the weight of its variance.
    fn seen(&self) -> (f64, Scatter) {
        if let Some(w) = self.measured() {
            return (w.moved, w.own);
        }
        let days = self.days();
        let witness = self
            .witness
            .filter(|_| days.sd > 0.0 && self.question == Question::OtherDay);
        let Some(w) = witness else { return (0.0, days) };
        let (of_days, own) = (days.sd * days.sd, w.own.sd * w.own.sd);
        let weight = of_days / (of_days + own);
        // The variance left is of_days own/(of_days + own); its freedom by the shares in which it hangs on either.
        let open = (1.0 - weight).powi(2) / days.freedom + weight * weight / w.own.freedom;
        let left = Scatter {
            sd: (weight * own).sqrt(),
            freedom: open.recip(),
            usual: days.usual.or(w.own.usual),
        };
        (weight * w.moved, left)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(laying: f64, days: f64, chain: f64) -> Parts {
        Parts {
            noise: 0.3,
            laying: Scatter::studied(laying, 9.0),
            days: Scatter::studied(days, 12.0),
            chain,
            ..Parts::EXACT
        }
    }

    #[test]
    fn each_question_has_its_parts() {
        let p = parts(1.0, 2.0, 4.0);
        let u = |q: Question| Between::new(q, p, p).scatter().sd.powi(2);
        let noise = 2.0 * 0.09;
        for (question, want) in [
            (Question::InPlace, noise),
            (Question::LaidDown, noise + 2.0),
            (Question::OtherDay, noise + 2.0 + 8.0),
            (Question::OtherRig, noise + 2.0 + 8.0 + 32.0),
            (Question::Predicted, noise + 2.0 + 32.0),
        ] {
            assert!((u(question) - want).abs() < 1e-12, "{question:?}: {}", u(question));
        }
        // One study behind both: its freedom once. Four placements on two days each count as such.
        let laid = Between::new(Question::LaidDown, p, p).scatter();
        assert!((laid.freedom - 9.0 * (laid.sd.powi(4) / 4.0)).abs() < 1e-9, "{laid:?}");
        let mean = Parts {
            placements: 4.0,
            on_days: 2.0,
            ..p
        };
        let u = Between::new(Question::OtherDay, mean, Parts::EXACT)
            .scatter()
            .sd
            .powi(2);
        assert!((u - (0.09 + 0.25 + 2.0)).abs() < 1e-12, "{u}");
    }

    /// The witness moved by 3: as sure as the days are wild, half is believed; without doubt, all of it.
    #[test]
    fn what_the_witness_saw_is_taken_off_by_its_weight() {
        let mut b = Between::new(Question::OtherDay, parts(0.0, 1.0, 0.0), parts(0.0, 1.0, 0.0));
        let alone = b.scatter().sd.powi(2);
        let seen = |sd: f64| Witness {
            moved: 3.0,
            own: Scatter::known(sd),
        };
        b.witness = Some(seen(2f64.sqrt()));
        assert!((b.taken_off() - 1.5).abs() < 1e-12);
        assert!((alone - b.scatter().sd.powi(2) - 1.0).abs() < 1e-12);
        b.witness = Some(seen(0.0));
        assert_eq!(b.taken_off(), 3.0);
        assert!((b.scatter().sd - 0.3 * 2f64.sqrt()).abs() < 1e-12);
        b.question = Question::LaidDown;
        assert_eq!(b.taken_off(), 0.0);
    }

    /// Of days that nobody knows all of it is taken off, and its own scatter is what is left, known by one study with how the pickup
    /// lay.
    #[test]
    fn what_was_measured_of_the_days_replaces_a_guess() {
        let guess = Parts {
            days: usual(5.0, Usual::DAYS),
            ..parts(1.0, 0.0, 0.0)
        };
        let mut b = Between::new(Question::OtherDay, guess, guess);
        b.witness = Some(Witness {
            moved: 3.0,
            own: Scatter::studied(2.0, 9.0),
        });
        assert_eq!(b.taken_off(), 3.0);
        let s = b.scatter();
        assert!(
            (s.sd.powi(2) - (2.0 * 0.09 + 2.0 + 4.0)).abs() < 1e-12 && !s.usual.days,
            "{s:?}"
        );
        assert!(s.freedom < 9.0 * 1.1, "{s:?}");
    }

    #[test]
    fn usual_values_give_way_to_studies() {
        let rig = Repeatability::usual(400e-12);
        assert!((rig.days(Quantity::Peak).sd - 0.0025).abs() < 1e-12);
        let reading = |rig: &Repeatability| {
            let e = Estimate::new(4000.0, 10.0, 6.0).unwrap();
            rig.reading(Quantity::Peak, &e)
        };
        let p = reading(&rig);
        assert!((p.noise - 0.0015).abs() < 1e-12 && (p.chain - 0.002).abs() < 1e-12);
        let s = p.here();
        // Student's t of about 120 degrees of freedom is 1.98 (tables).
        assert!(
            s.usual.any() && (s.half_width(0.05) - 1.98 * 0.0015 * 2f64.sqrt()).abs() < 2e-5,
            "{s:?}"
        );
        let own = rig.with(Quantity::Peak, Some(Scatter::studied(0.002, 9.0)), None);
        let s = reading(&own).here();
        assert!(!s.usual.any() && s.half_width(0.05) > 0.0025 * 2.0, "{s:?}");
    }
}
