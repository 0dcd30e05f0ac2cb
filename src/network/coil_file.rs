//! The coil file: what `coil` found behind the takes of a pickup, in TOML fit for editing by hand.

use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

use super::coil::{Coil, Eddy};
use crate::failure::{Failure, Result};

pub const SCHEMA: &str = "coilwright/coil/1";

/// A coil with how sure it is. By hand r_ohm, l_h and c_f will do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoilFile {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schema: Option<String>,
    /// The pickup's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// At which the resistance holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    pub r_ohm: f64,
    pub l_h: f64,
    pub c_f: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loss_ohm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub eddy: Option<Eddy>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<Uncertainty>,
}

/// Standard uncertainties of the values above, and how they hang together.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Uncertainty {
    #[serde(default)]
    pub r_ohm: f64,
    #[serde(default)]
    pub l_h: f64,
    #[serde(default)]
    pub c_f: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loss_ohm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub k: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tau: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub emf: Option<f64>,
    /// Rows and columns: r_ohm, l_h, c_f, then those of loss_ohm, k, tau, emf that are there. Left out: none hangs on another.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub correlations: Vec<Vec<f64>>,
}

/// Parameters of a coil as a vector: R, L, C_s, then 1/loss and the metal's k, tau, emf where it has them. The loss goes by
/// its conductance, which may be nought, and whose uncertainty stays normal where the resistance's does not.
pub fn parameters(coil: &Coil) -> Vec<f64> {
    let mut p = vec![coil.r_ohm, coil.l_h, coil.c_f];
    p.extend(coil.loss_ohm.map(|r| 1.0 / r));
    if let Some(e) = coil.eddy {
        p.extend([e.k, e.tau_s, e.emf]);
    }
    p
}

/// The coil of the same kind with other parameters, each kept within what a coil can be.
pub fn with_parameters(coil: &Coil, p: &[f64]) -> Coil {
    let mut rest = p.iter().copied();
    let mut next = || rest.next().unwrap_or(0.0);
    let above = |v: f64, was: f64| v.max(1e-6 * was.abs()).max(f64::MIN_POSITIVE);
    Coil {
        r_ohm: above(next(), coil.r_ohm),
        l_h: above(next(), coil.l_h),
        c_f: next().max(0.0),
        loss_ohm: coil.loss_ohm.map(|r| 1.0 / above(next(), 1.0 / r)),
        eddy: coil.eddy.map(|e| Eddy {
            k: next().clamp(0.0, 0.999_999),
            tau_s: above(next(), e.tau_s),
            emf: next().clamp(-1.0, 1.0),
        }),
    }
}

impl CoilFile {
    /// `place` names the file in messages.
    pub fn parse(place: &str, text: &str) -> Result<CoilFile> {
        let hint = "it holds r_ohm, l_h and c_f, and what `coilwright coil --out` adds";
        let file: CoilFile =
            toml::from_str(text).map_err(|e| Failure::toml(place, text, " is no coil file", &e, hint))?;
        if let Some(schema) = file.schema.as_ref().filter(|s| *s != SCHEMA) {
            return Err(Failure::new(
                format!("{place} is of the kind {schema:?}"),
                format!("this version reads {SCHEMA:?}"),
            ));
        }
        file.coil()
            .check()
            .map_err(|e| Failure::new(format!("{place}: {}", e.what), e.hint))?;
        file.covariance()
            .map_err(|e| Failure::new(format!("{place}: {}", e.what), e.hint))?;
        Ok(file)
    }

    pub fn coil(&self) -> Coil {
        Coil {
            r_ohm: self.r_ohm,
            l_h: self.l_h,
            c_f: self.c_f,
            loss_ohm: self.loss_ohm,
            eddy: self.eddy,
        }
    }

    /// Covariance of [`parameters`]; `None` where the file states no uncertainty.
    pub fn covariance(&self) -> Result<Option<DMatrix<f64>>> {
        let Some(u) = &self.uncertainty else {
            return Ok(None);
        };
        let mut sd = vec![u.r_ohm, u.l_h, u.c_f];
        if let Some(r) = self.loss_ohm {
            sd.push(u.loss_ohm.unwrap_or(0.0) / (r * r));
        }
        if self.eddy.is_some() {
            sd.extend([u.k, u.tau, u.emf].map(|x| x.unwrap_or(0.0)));
        }
        let wrong = |what: &str| {
            Failure::new(
                format!("uncertainty: {what}"),
                "uncertainties are 0 or above, correlations a square list of -1...1 with 1 from corner to corner",
            )
        };
        if sd.iter().any(|s| !(s.is_finite() && *s >= 0.0)) {
            return Err(wrong("a value is negative"));
        }
        let n = sd.len();
        let c = &u.correlations;
        if c.is_empty() {
            return Ok(Some(DMatrix::from_diagonal(
                &sd.iter().map(|s| s * s).collect::<Vec<_>>().into(),
            )));
        }
        if c.len() != n || c.iter().any(|row| row.len() != n) {
            return Err(wrong(&format!("correlations are not {n} lists of {n} numbers")));
        }
        let fits = |a: usize, b: usize| {
            let r = c[a][b];
            (-1.0..=1.0).contains(&r) && (r - c[b][a]).abs() < 1e-6 && (a != b || (r - 1.0).abs() < 1e-9)
        };
        if (0..n).any(|a| (0..n).any(|b| !fits(a, b))) {
            return Err(wrong("correlations are not symmetric or not from -1 to 1"));
        }
        // The sign of 1/loss runs against that of the loss itself.
        let sign = |i: usize| if i == 3 && self.loss_ohm.is_some() { -1.0 } else { 1.0 };
        Ok(Some(DMatrix::from_fn(n, n, |a, b| {
            sign(a) * sign(b) * c[a][b] * sd[a] * sd[b]
        })))
    }

    /// As a file, with a remark at its head. Written line by line: numbers of 1e-10 are to be read by people too.
    pub fn to_toml(&self, remark: &str) -> String {
        let mut s: String = remark.lines().map(|l| format!("# {l}\n")).collect();
        let mut line = |key: &str, value: Option<String>| {
            if let Some(v) = value {
                s.push_str(&format!("{key} = {v}\n"));
            }
        };
        let text = |t: &Option<String>| t.clone().map(|t| toml::Value::String(t).to_string());
        line("schema", text(&self.schema));
        line("name", text(&self.name));
        line("temperature_c", self.temperature_c.map(number));
        line("r_ohm", Some(number(self.r_ohm)));
        line("l_h", Some(number(self.l_h)));
        line("c_f", Some(number(self.c_f)));
        line("loss_ohm", self.loss_ohm.map(number));
        if let Some(e) = &self.eddy {
            line("\n[eddy]\nk", Some(number(e.k)));
            line("tau", Some(number(e.tau_s)));
            line("emf", Some(number(e.emf)));
        }
        if let Some(u) = &self.uncertainty {
            line(
                "\n# Standard uncertainties.\n[uncertainty]\nr_ohm",
                Some(number(u.r_ohm)),
            );
            line("l_h", Some(number(u.l_h)));
            line("c_f", Some(number(u.c_f)));
            line("loss_ohm", u.loss_ohm.map(number));
            line("k", u.k.map(number));
            line("tau", u.tau.map(number));
            line("emf", u.emf.map(number));
            let rows = u.correlations.iter().map(|row| {
                let row: Vec<String> = row.iter().map(|v| format!("{v:?}")).collect();
                format!("    [{}],\n", row.join(", "))
            });
            let rows: String = rows.collect();
            line("correlations", (!rows.is_empty()).then(|| format!("[\n{rows}]")));
        }
        s
    }
}

/// With a point or an exponent, as TOML wants it.
fn number(v: f64) -> String {
    if v != 0.0 && !(1e-3..1e7).contains(&v.abs()) {
        format!("{v:e}")
    } else {
        format!("{v:?}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn by_hand_three_values_will_do() {
        let f = CoilFile::parse("a.toml", "r_ohm = 6000\nl_h = 2.4\nc_f = 120e-12\n").unwrap();
        assert_eq!(f.coil(), Coil::new(6e3, 2.4, 120e-12));
        assert_eq!(f.covariance(), Ok(None));
        for (text, want) in [
            ("r_ohm = 6000\nl_h = 2.4\n", "missing field `c_f`"),
            ("r_ohm = 6000\nl_h = -2.4\nc_f = 0.0\n", "l_h = -2.4 is impossible"),
            (
                "r_ohm = 6000\nl_h = 2.4\nc_f = 0.0\ncf = 1\n",
                "line 4 is no coil file: unknown field `cf`",
            ),
            (
                "schema = \"coilwright/coil/9\"\nr_ohm = 6000\nl_h = 2.4\nc_f = 0.0\n",
                "coil/9",
            ),
            (
                "r_ohm = 6000\nl_h = 2.4\nc_f = 0.0\n[uncertainty]\nl_h = -1.0\n",
                "a.toml: uncertainty: a value is negative",
            ),
            (
                "r_ohm = 6000\nl_h = 2.4\nc_f = 0.0\n[uncertainty]\nl_h = 1.0\ncorrelations = [[1.0]]\n",
                "3 lists of 3",
            ),
        ] {
            let e = CoilFile::parse("a.toml", text).unwrap_err().to_string();
            assert!(e.contains(want) && e.starts_with("a.toml"), "{e}");
        }
    }

    #[test]
    fn reads_back_with_its_uncertainties() {
        let file = CoilFile {
            schema: Some(SCHEMA.into()),
            name: Some("neck-7".into()),
            temperature_c: Some(21.0),
            r_ohm: 6050.0,
            l_h: 2.4,
            c_f: 120e-12,
            loss_ohm: Some(1.5e6),
            eddy: None,
            uncertainty: Some(Uncertainty {
                r_ohm: 10.0,
                l_h: 0.01,
                c_f: 1e-12,
                loss_ohm: Some(1e5),
                correlations: vec![
                    vec![1.0, 0.0, 0.0, 0.0],
                    vec![0.0, 1.0, -0.9, 0.2],
                    vec![0.0, -0.9, 1.0, 0.0],
                    vec![0.0, 0.2, 0.0, 1.0],
                ],
                ..Uncertainty::default()
            }),
        };
        let text = file.to_toml("Coil behind neck-7");
        assert!(text.contains("\nc_f = 1.2e-10\n"), "{text}");
        assert!(text.starts_with("# Coil behind neck-7\n"), "{text}");
        let back = CoilFile::parse("x", &text).unwrap();
        assert_eq!(back, file);
        let c = back.covariance().unwrap().unwrap();
        assert!((c[(1, 2)] / (-0.9 * 0.01 * 1e-12) - 1.0).abs() < 1e-12);
        let sd = 1e5 / 1.5e6f64.powi(2);
        assert!((c[(1, 3)] / (-0.2 * 0.01 * sd) - 1.0).abs() < 1e-12);
        let p = parameters(&back.coil());
        let again = with_parameters(&back.coil(), &p);
        assert!((again.loss_ohm.unwrap() / 1.5e6 - 1.0).abs() < 1e-12);
        assert_eq!((again.r_ohm, again.l_h, again.c_f), (6050.0, 2.4, 120e-12));
    }
}
