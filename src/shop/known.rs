//! What a rig is known to do to readings besides what its file says: by its study of laying pickups down, and by the checks of its
//! witness. It is put into records, where all who judge them find it.

use super::reading::{self, Shown};
use super::witness::checks::WitnessShown;
use super::witness::eras::Eras;
use super::witness::history::History;
use super::witness::judging::Expected;
use super::witness::repeat::RepeatDocument;
use super::yardstick::{Quantity, Repeatability, Scatter, USUAL_WINDING_F, Witness};
use crate::network::Load;
use crate::record::identity::same_rig;
use crate::record::{Record, RigSummary};
use crate::rig::{Rig, WitnessPlace};

/// What laying a pickup down anew does on a rig.
#[derive(Debug, Clone, Default)]
pub enum Study {
    Told(Box<RepeatDocument>),
    /// What lies there is another rig's.
    OfAnotherRig,
    /// Nobody measured it.
    #[default]
    Unknown,
}

#[derive(Debug, Clone, Default)]
pub struct Known {
    own: RigSummary,
    pub study: Study,
    pub eras: Eras,
    /// Capacitance across the witness in farads, its winding's counted in, with the standard uncertainty of that.
    witness_f: (f64, f64),
    /// The witness is not taken out between its checks.
    in_place: bool,
}

impl Known {
    pub fn of(rig: &Rig, study: Study, eras: Eras) -> Known {
        let witness = rig.witness.as_ref();
        let load = witness.and_then(|w| w.load.as_deref()).map(Load::parse);
        let load = load.map_or(0.0, |l| l.map_or(0.0, |l| l.capacitance()));
        let stated = witness.and_then(|w| w.winding_f);
        let winding = stated.map_or(USUAL_WINDING_F, |f| (f, 0.0));
        let input = rig.input.as_ref().map_or(0.0, |i| i.load_f());
        Known {
            own: rig.summary(),
            study,
            eras,
            witness_f: (winding.0 + load + input, winding.1),
            in_place: witness.is_some_and(|w| w.place == Some(WitnessPlace::Fixed)),
        }
    }

    pub fn is_of(&self, rig: &RigSummary) -> bool {
        same_rig(rig, &self.own)
    }

    /// The study, if it was made on takes of this kind.
    pub fn study(&self, simulated: bool) -> Option<&RepeatDocument> {
        match &self.study {
            Study::Told(d) if d.simulated == simulated => Some(d),
            _ => None,
        }
    }

    /// The history in whose time a record was made, if its checks are of this kind.
    pub fn history(&self, record: &Record) -> Option<&History> {
        self.eras
            .at(&record.taken_at)
            .filter(|h| h.is_of_kind(record.is_simulated()))
    }

    /// Puts into a record of this rig what is known; what nobody measured stays as it was. `winding_f`: the winding's own
    /// capacitance, where it is known.
    pub fn put(&self, record: &mut Record, winding_f: Option<f64>) {
        if !self.is_of(&record.rig) {
            return;
        }
        let simulated = record.is_simulated();
        let days = self.history(record).and_then(History::between_days);
        let share = self.share(reading::whole_f(record, winding_f));
        if let Some(r) = record.resonance.as_mut() {
            r.u_lay = self.study(simulated).map(|s| reading::laying(s, r)).or(r.u_lay);
            r.u_day = days.map(|d| reading::days(&d, share, r)).or(r.u_day);
        }
    }

    /// What its checks are expected to scatter by, before they tell.
    pub fn expected(&self, simulated: bool) -> Expected {
        let usual = Repeatability::usual(self.witness_f.0);
        let study = self.study(simulated);
        let sd = |q: Quantity, studied: Option<f64>| {
            let laying = match self.in_place {
                true => 0.0,
                false => studied.unwrap_or(usual.laying(q).sd),
            };
            laying.hypot(usual.days(q).sd)
        };
        Expected {
            f0: sd(Quantity::F0, study.map(|s| s.f0.sd)),
            q: sd(Quantity::Q, study.map(|s| s.q.sd)),
            level_db: sd(Quantity::Level, study.and_then(|s| Some(s.level_db?.sd))),
        }
    }

    /// What of the witness is shown.
    pub fn shown(&self, record: &Record) -> Option<WitnessShown> {
        let of = |q| {
            let mut parts = reading::parts(record, q)?;
            if self.in_place {
                parts.laying = Scatter::NONE;
            }
            Some(Shown::of(q, reading::value(record, q)?, parts))
        };
        Some(WitnessShown {
            peak: of(Quantity::Peak),
            f0: of(Quantity::F0)?,
            q: of(Quantity::Q)?,
        })
    }

    /// How far f0 of a pickup with so much capacitance across it goes where the witness's goes by one: a lead moves it the less the
    /// more lies there already.
    fn share(&self, whole_f: f64) -> f64 {
        self.witness_f.0 / whole_f
    }

    /// Laid down anew for each check, and with much more across it than the pickup has: what a lead does to it is less than what
    /// laying it down does.
    pub fn tells_little(&self, whole_f: f64) -> bool {
        !self.in_place && self.share(whole_f) > 1.3
    }

    /// The same of what the witness was seen to do between two days. `moved`, `noise`: of its f0, relative. Where it is taken out
    /// for each check, how it was laid down is in what it shows; and how much is across either may not be known for sure. `whole`:
    /// what is across the pickup, with its standard uncertainty. `laying`: what laying down does, where it was counted.
    /// `None` where nobody knows: what the witness shows may be that alone.
    pub fn witness(&self, (moved, noise): (f64, f64), whole: (f64, f64), laying: Option<Scatter>) -> Option<Witness> {
        let share = self.share(whole.0);
        let laid = match self.in_place {
            true => Scatter::NONE,
            false => laying?.times(2f64.sqrt()),
        };
        let scale = (self.witness_f.1 / self.witness_f.0).hypot(whole.1 / whole.0);
        let own = [Scatter::known(noise), laid, Scatter::known(moved * scale)];
        Some(Witness {
            moved: share * moved,
            own: Scatter::sum(&own).times(share),
        })
    }
}
