//! The other way: a two-channel take read against the drive file, which no input has heard. What one input does to the reading
//! shows as the distance of the two.

use super::Work;
use super::fits::Fits;
use crate::capture::Take;
use crate::estimate::Estimate;
use crate::fit::kind::Kind;
use crate::fit::model::Param;
use crate::fit::natural::{self, Meaning};
use crate::fit::{self, Fitted, Known, Nuisance, peak};
use crate::transfer::align::Drive;

/// The exciter's corner where the rig states no tolerance: its inductance is known to a tenth (common practice), and with it the
/// corner.
const USUAL_CORNER: f64 = 0.1;

/// The same resonance, read the other way.
pub(super) struct Way {
    pub f0: Estimate,
    pub q: Estimate,
    pub peak: Option<(Estimate, Estimate)>,
}

/// How far the two ways lie apart in a quantity: the distance, and its standard uncertainty.
#[derive(Debug, Clone, Copy)]
pub(super) struct Apart {
    pub by: f64,
    pub u: f64,
}

impl Apart {
    fn of(here: Estimate, there: Estimate) -> Apart {
        // The pickup's noise is in both; counted twice it errs to the safe side.
        Apart {
            by: there.value - here.value,
            u: here.u.hypot(there.u),
        }
    }

    /// What the uncertainties do not explain.
    pub fn unexplained(self) -> f64 {
        (self.by * self.by - self.u * self.u).max(0.0).sqrt()
    }

    /// Whether it is clearly more than they explain.
    pub fn clear(self) -> bool {
        self.by.abs() > CLEARLY * self.u
    }
}

/// Standard uncertainties beyond which two ways differ: once in some hundred takes by chance.
const CLEARLY: f64 = 2.6;

impl Way {
    pub fn f0_from(&self, here: Estimate) -> Apart {
        Apart::of(here, self.f0)
    }

    pub fn q_from(&self, here: Estimate) -> Apart {
        Apart::of(here, self.q)
    }

    pub fn peak_from(&self, here: (Estimate, Estimate)) -> Option<(Apart, Apart)> {
        let there = self.peak?;
        Some((Apart::of(here.0, there.0), Apart::of(here.1, there.1)))
    }
}

impl Work<'_> {
    /// `None` where the drive is not known or was not found in the reference, or no rig tells the exciter's corner.
    pub(super) fn other_way(&self, fits: &Fits) -> Option<Way> {
        let place = self.place?;
        self.options.chain.ohm?;
        let drive = Drive::new(self.options.drive?, self.rate)?;
        let lone = Take {
            pickup: self.take.pickup.clone(),
            reference: None,
            provenance: self.take.provenance.clone(),
            ..*self.take
        };
        let work = Work::new(&lone, self.options);
        let mut p = work.place(&drive, place, true)?.prepared;
        // Latency and clock are the reference channel's: the one to a fraction of a sample, the other for good.
        p.bins.x_clock = None;
        p.setup.nuisance.retain(|n| n.param != Param::Clock);
        self.doubt_corner(&mut p.setup.nuisance);
        let plain = fit::second_order(&p.bins, &p.setup)?;
        let fitted = fit::beside(&p.bins, &p.setup, (&plain, &fits.plain), fits.best())?;
        way(&fitted, fits.best().rung.kind)
    }

    /// The exciter's corner matters here, whatever the reference reads.
    fn doubt_corner(&self, nuisance: &mut Vec<Nuisance>) {
        let (corner, told) = self.options.chain.inverse_corner_output;
        if told.is_none() && corner > 0.0 {
            let prior = Some((corner, USUAL_CORNER * corner));
            let doubtful = Nuisance::new(Param::InverseCorner, corner, [0.0, 1.0], prior, Known::Usual);
            nuisance.push(doubtful);
        }
    }
}

fn way(fitted: &Fitted, kind: Kind) -> Option<Way> {
    let n = natural::of(fitted).filter(|n| n.meaning != Meaning::Local)?;
    (fitted.rung.kind == kind).then(|| Way {
        f0: n.f0,
        q: n.q,
        peak: peak::estimate(fitted).map(|p| (p.hz, p.db)),
    })
}
