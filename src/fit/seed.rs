//! Where the search for a richer model begins.

use super::Fitted;
use super::kind::{Kind, Metal};
use super::param::Param;

/// Where a search begins: at the end of a plainer one, but for what is said.
pub(super) struct Seed<'a> {
    pub params: Vec<Param>,
    pub below: Option<(Kind, &'a [f64])>,
    pub plain: &'a Fitted,
}

impl Seed<'_> {
    /// Starting values for all parameters of a model.
    pub fn starts(&self, kind: Kind) -> Vec<Vec<f64>> {
        let has = |kind: Kind| self.below.is_some_and(|b| b.0 == kind);
        if kind.other && !self.below.is_some_and(|b| b.0.other) {
            return self.others();
        }
        match kind.metal {
            Metal::None => vec![self.with(&[])],
            _ if has(kind) => vec![self.with(&[])],
            Metal::Turn => self.turns(),
            Metal::Core => [1e-5, 1e-4, 1e-3].map(|tau| self.with(&core(0.2, tau))).to_vec(),
            Metal::CoreAndSheet => {
                let besides = [5e-6, 4e-5].map(|tau| self.with(&sheet(0.03, 0.05, tau)));
                let anew = [1e-4, 1e-3].map(|tau| self.with(&[&core(0.3, tau)[..], &sheet(0.06, 0.15, 8e-6)].concat()));
                besides.into_iter().chain(anew).collect()
            }
        }
    }

    fn with(&self, said: &[(Param, f64)]) -> Vec<f64> {
        let before = |p: Param| {
            let (kind, theta) = self.below?;
            let place = kind.params().iter().position(|q| *q == p)?;
            Some(theta[place])
        };
        let value = |p: &Param| {
            let set = said.iter().find(|v| v.0 == *p).map(|v| v.1);
            set.or_else(|| before(*p)).or(self.plain.get(*p)).unwrap_or(0.0)
        };
        self.params.iter().map(value).collect()
    }

    /// A turn's pole near its zero, at some corners.
    fn turns(&self) -> Vec<Vec<f64>> {
        let near = |corner: f64, apart: f64| {
            let p = self.plain.model.f_ref / corner;
            self.with(&[(Param::Pole, p), (Param::Zero, apart * p)])
        };
        let corners = [400.0, 1500.0, 5000.0, 15e3, 60e3];
        corners
            .into_iter()
            .flat_map(|corner| [0.8, 0.95].map(|apart| near(corner, apart)))
            .collect()
    }

    /// Another coil that resonates somewhere above.
    fn others(&self) -> Vec<Vec<f64>> {
        let at = |hz: f64| {
            let ratio = self.plain.model.f_ref / hz;
            self.with(&[
                (Param::OtherSize, 0.01),
                (Param::OtherSlope, 0.0),
                (Param::OtherLnB3, (0.2 * ratio).ln()),
                (Param::OtherLnB4, 2.0 * ratio.ln()),
            ])
        };
        [7e3, 9.5e3, 13e3].map(at).to_vec()
    }
}

fn core(share: f64, tau_s: f64) -> [(Param, f64); 4] {
    [
        (Param::CoreL, share),
        (Param::CoreEmf, share),
        (Param::CoreLnTau, tau_s.ln()),
        (Param::CoreLnA, 0.0),
    ]
}

fn sheet(of_l: f64, of_emf: f64, tau_s: f64) -> [(Param, f64); 3] {
    [
        (Param::SheetL, of_l),
        (Param::SheetEmf, of_emf),
        (Param::SheetLnTau, tau_s.ln()),
    ]
}
