//! What the wax of this shop has done before: the history of changes that new ones are held against.

use serde::{Deserialize, Serialize};

use super::document::{Pair, PotVerdict, PottingDocument, Usual};
use super::less;
use crate::failure::{Failure, Result, of_kind};
use crate::stats::{mean, sd, student};

pub const SCHEMA: &str = "coilwright/wax/1";

/// Changes from which on they tell what is usual (choice).
const ENOUGH: usize = 10;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WaxHistory {
    pub schema: String,
    pub rig: String,
    pub changes: Vec<WaxChange>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WaxChange {
    pub pickup: String,
    /// Ids of the records.
    pub before: Vec<String>,
    pub after: Vec<String>,
    /// Of the winding's capacitance, in farads: under whatever load.
    pub c_f: f64,
    /// Of Q, relative.
    pub q: f64,
    /// Of records of the built-in bench; such and real ones are never put into one range.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
}

impl WaxHistory {
    pub fn new(rig: &str) -> Self {
        WaxHistory {
            schema: SCHEMA.into(),
            rig: rig.into(),
            changes: Vec::new(),
        }
    }

    /// `place` names the file in messages.
    pub fn parse(place: &str, bytes: &[u8]) -> Result<WaxHistory> {
        let wrong = |why: String| {
            Failure::new(
                format!("{place} is no history of wax: {why}"),
                "move it aside to begin anew",
            )
        };
        let h: WaxHistory = serde_json::from_slice(bytes).map_err(|e| wrong(e.to_string()))?;
        of_kind(&h.schema, SCHEMA).map_err(|what| wrong(format!("it {what}")))?;
        if h.changes.iter().any(|c| !(c.c_f.abs() < 1.0 && c.q.abs() < 1e6)) {
            return Err(wrong("it holds a change that no wax makes".into()));
        }
        Ok(h)
    }

    /// Adds what was read of each pair once; what was warm, or is to be looked at, says nothing of the wax. How many came in.
    pub fn keep(&mut self, document: &PottingDocument) -> usize {
        let before = self.changes.len();
        for p in &document.pairs {
            let known = self.changes.iter().any(|c| same(c, p));
            if let (Some(c), Some(q), true, false) = (p.c_f, p.q_relative, p.is_of_wax(), known) {
                self.changes.push(WaxChange {
                    pickup: p.pickup.clone(),
                    before: p.before.clone(),
                    after: p.after.clone(),
                    c_f: c.value,
                    q,
                    simulated: document.simulated,
                });
            }
        }
        self.changes.len() - before
    }

    /// Says of each pair whether it is what this shop's wax usually does, and which took less than their mates. It has no say in the
    /// verdict.
    pub fn hold_against(&self, document: &mut PottingDocument) {
        for p in &mut document.pairs {
            p.usual = self.usual(p, document.simulated);
        }
        let of_dip = |c: &WaxChange| document.pairs.iter().any(|p| same(c, p));
        let others = self.changes.iter().filter(|c| c.simulated == document.simulated);
        let others: Vec<f64> = others.filter(|c| !of_dip(c)).map(|c| c.c_f).collect();
        if others.len() >= ENOUGH {
            less::name(&mut document.pairs, Some(&others));
        }
    }

    /// What the rig's days do to this pair they do to all pairs of its day alike, which the scatter of those before does not hold.
    fn usual(&self, p: &Pair, simulated: bool) -> Option<Usual> {
        let (c, q) = (p.c_f?, p.q_relative?);
        let others = self.changes.iter();
        let others = others.filter(|x| x.simulated == simulated && !same(x, p));
        let (of_c, of_q): (Vec<f64>, Vec<f64>) = others.map(|x| (x.c_f, x.q)).unzip();
        if of_c.len() < ENOUGH || p.verdict == PotVerdict::Warm {
            return None;
        }
        let usual_c = range(&of_c, c.half_width_95())?;
        let usual_q = range(&of_q, p.decided.map_or(0.0, |d| d[1].half_95))?;
        let within = |r: [f64; 2], v: f64| (r[0]..=r[1]).contains(&v);
        Some(Usual {
            changes: of_c.len(),
            c_f: usual_c,
            q: usual_q,
            within: within(usual_c, c.value) && within(usual_q, q),
        })
    }
}

fn same(c: &WaxChange, p: &Pair) -> bool {
    let shared = |a: &[String], b: &[String]| a.iter().any(|id| b.contains(id));
    shared(&c.before, &p.before) || shared(&c.after, &p.after)
}

/// Where the next one lies with 95 % probability: mean ± t s sqrt(1 + 1/n) (prediction interval of a normal sample), and the
/// half-width of its own interval.
fn range(v: &[f64], own: f64) -> Option<[f64; 2]> {
    let n = v.len() as f64;
    let t = student(0.975, n - 1.0);
    let (m, half) = (mean(v)?, (t * sd(v)? * (1.0 + 1.0 / n).sqrt()).hypot(own));
    Some([m - half, m + half])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::Estimate;

    fn pair(name: &str, c: f64, q: f64, verdict: PotVerdict) -> Pair {
        Pair {
            pickup: name.into(),
            before: vec![format!("{name}-b")],
            after: vec![format!("{name}-a")],
            q_relative: Some(q),
            c_f: Estimate::new(c, 0.0, 0.0),
            verdict,
            p_equivalence: Some(0.5),
            ..Pair::default()
        }
    }

    fn document(pairs: Vec<Pair>) -> PottingDocument {
        PottingDocument {
            pairs,
            ..PottingDocument::default()
        }
    }

    /// Ten of 8 to 12 pF: t(0.975, 9) = 2.2622 (published table), mean 10, s 1.333 pF; 10 ± 3.16.
    #[test]
    fn a_new_change_is_held_against_those_before() {
        let values = [8.0, 9.0, 9.0, 10.0, 10.0, 10.0, 10.0, 11.0, 11.0, 12.0];
        let pairs = values.iter().enumerate().map(|(i, c)| {
            let q = -0.01 + 0.001 * (i as f64 - 4.5);
            pair(&format!("p{i}"), c * 1e-12, q, PotVerdict::Wax)
        });
        let mut old = document(pairs.collect());
        let mut h = WaxHistory::new("north");
        assert_eq!((h.keep(&old), h.keep(&old)), (10, 0));
        let s = (12.0f64 / 9.0).sqrt();
        let half = 2.2622 * s * 1.1f64.sqrt();
        let mut new = document(vec![
            pair("a", 12.0e-12, -0.01, PotVerdict::Wax),
            pair("b", 14.0e-12, -0.01, PotVerdict::Wax),
            pair("c", 10.0e-12, -0.2, PotVerdict::CannotTell),
            pair("d", 10.0e-12, -0.01, PotVerdict::Warm),
        ]);
        h.hold_against(&mut new);
        let u: Vec<Option<&Usual>> = new.pairs.iter().map(|p| p.usual.as_ref()).collect();
        let first = u[0].unwrap();
        assert!(
            (first.c_f[0] * 1e12 - (10.0 - half)).abs() < 1e-3 && (first.c_f[1] * 1e12 - (10.0 + half)).abs() < 1e-3
        );
        assert_eq!((first.changes, first.within), (10, true));
        assert!(!u[1].unwrap().within && !u[2].unwrap().within && u[3].is_none());
        // The built-in bench's wax is not the shop's.
        let mut bench = document(vec![pair("s", 10.0e-12, -0.01, PotVerdict::Wax)]);
        bench.simulated = true;
        h.hold_against(&mut bench);
        assert!(bench.pairs[0].usual.is_none());
        // Its own entry does not vouch for itself: nine are too few.
        h.hold_against(&mut old);
        assert!(old.pairs.iter().all(|p| p.usual.is_none()));
        // What is to be looked at teaches nothing.
        let mut odd = document(vec![pair("e", 60e-12, -0.5, PotVerdict::Other)]);
        assert_eq!(h.keep(&odd), 0);
        h.hold_against(&mut odd);
        assert!(!odd.pairs[0].usual.as_ref().unwrap().within);
        let text = serde_json::to_vec(&h).unwrap();
        assert_eq!(WaxHistory::parse("h", &text), Ok(h));
        assert!(
            WaxHistory::parse("w.json", b"{}")
                .unwrap_err()
                .to_string()
                .starts_with("w.json is no history of wax")
        );
    }
}
