//! The coil file: what `coil` found behind the takes of a pickup, in TOML fit for editing by hand.

use nalgebra::DMatrix;
use serde::Deserialize;

use super::coil::Coil;
use super::eddy::Eddy;
use crate::failure::{Failure, Result};
use crate::quantity::toml_number;

pub const SCHEMA: &str = "coilwright/coil/1";

/// An eigenvalue may be this far below nought for each number of a row: correlations that were rounded to three digits.
const ROUNDED: f64 = 1e-3;

/// A coil with how sure it is. By hand r_ohm, l_h and c_f will do.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoilFile {
    pub schema: Option<String>,
    /// The pickup's name.
    pub name: Option<String>,
    /// At which the resistance holds.
    pub temperature_c: Option<f64>,
    pub r_ohm: f64,
    pub l_h: f64,
    pub c_f: f64,
    pub loss_ohm: Option<f64>,
    pub eddy: Option<Eddy>,
    pub uncertainty: Option<Uncertainty>,
}

/// Standard uncertainties of the values above, and how they hang together.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Uncertainty {
    pub r_ohm: f64,
    pub l_h: f64,
    pub c_f: f64,
    pub loss_ohm: Option<f64>,
    pub k: Option<f64>,
    pub tau: Option<f64>,
    pub emf: Option<f64>,
    pub a: Option<f64>,
    pub b: Option<f64>,
    /// Rows and columns: r_ohm, l_h, c_f, then those of loss_ohm, k, tau, emf, a, b that are there. Left out: none hangs on another.
    pub correlations: Vec<Vec<f64>>,
    /// The inputs of the rigs that the takes were made on, where they are known within a tolerance.
    pub input: Vec<InputKnown>,
}

/// A quantity of a rig's input.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InputPart {
    Resistance,
    /// With the lead's.
    Capacitance,
}

/// The input of a rig as the takes have it: factors on what the rig states. They hang together with the coil: what the input
/// has too much, the winding lacks.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct InputKnown {
    pub rig: Option<String>,
    /// Of what its file stated of the measuring chain; of the whole file in files of old. It decides only where these do not
    /// tell what they are factors on.
    pub hash: Option<String>,
    /// What the rig stated: the factors are on these.
    pub stated_ohm: Option<f64>,
    /// With the lead.
    pub stated_f: Option<f64>,
    pub resistance: Option<f64>,
    pub u_resistance: Option<f64>,
    pub capacitance: Option<f64>,
    pub u_capacitance: Option<f64>,
    /// Rows: resistance, capacitance, those that are there. Columns: the coil's parameters as above, then these. Left out:
    /// none hangs on another.
    pub correlations: Vec<Vec<f64>>,
}

impl InputKnown {
    /// The same as factors on what the rig states by now; `None` where nobody knows what they were factors on.
    pub fn restated(&self, (ohm, farad): (Option<f64>, f64)) -> Option<InputKnown> {
        let then_over_now = |factor: Option<f64>, then: Option<f64>, now: Option<f64>| match factor {
            None => Some(1.0),
            Some(_) => Some(then? / now?),
        };
        let r = then_over_now(self.resistance, self.stated_ohm, ohm)?;
        let c = then_over_now(self.capacitance, self.stated_f, Some(farad).filter(|f| *f > 0.0))?;
        Some(InputKnown {
            resistance: self.resistance.map(|v| r * v),
            u_resistance: self.u_resistance.map(|u| r * u),
            capacitance: self.capacitance.map(|v| c * v),
            u_capacitance: self.u_capacitance.map(|u| c * u),
            stated_ohm: ohm,
            stated_f: Some(farad),
            ..self.clone()
        })
    }

    /// Factor and standard uncertainty of those that are there.
    pub fn factors(&self) -> Vec<(InputPart, f64, f64)> {
        let all = [
            (InputPart::Resistance, self.resistance, self.u_resistance),
            (InputPart::Capacitance, self.capacitance, self.u_capacitance),
        ];
        all.into_iter()
            .filter_map(|(part, value, u)| Some((part, value?, u.unwrap_or(0.0))))
            .collect()
    }
}

/// Parameters of a coil as a vector: R, L, C_s, then 1/loss and the metal's k, tau, emf and shape where it has them. The loss goes by
/// its conductance, which may be nought, and whose uncertainty stays normal where the resistance's does not.
pub fn parameters(coil: &Coil) -> Vec<f64> {
    let mut p = vec![coil.r_ohm, coil.l_h, coil.c_f];
    p.extend(coil.loss_ohm.map(|r| 1.0 / r));
    if let Some(e) = coil.eddy {
        p.extend([e.k, e.tau_s, e.emf]);
        p.extend(e.shape().iter().map(|s| s.1));
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
        eddy: coil.eddy.map(|e| {
            let mut now = Eddy {
                k: next(),
                tau_s: next(),
                emf: next(),
                ..e
            };
            for (name, _) in e.shape() {
                *if name == "a" { &mut now.a } else { &mut now.b } = next();
            }
            now.held(e)
        }),
    }
}

impl From<Coil> for CoilFile {
    fn from(coil: Coil) -> Self {
        CoilFile {
            r_ohm: coil.r_ohm,
            l_h: coil.l_h,
            c_f: coil.c_f,
            loss_ohm: coil.loss_ohm,
            eddy: coil.eddy,
            ..CoilFile::default()
        }
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
        let sound = file.coil().check().and_then(|()| file.covariance());
        sound.map_err(|e| e.at(place))?;
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
        let whole = self.covariance_with(u, None)?;
        for input in &u.input {
            self.covariance_with(u, Some(input))?;
        }
        Ok(Some(whole))
    }

    /// Covariance of [`parameters`], then of the factors of an input of this file.
    pub fn with_input(&self, input: &InputKnown) -> Result<Option<DMatrix<f64>>> {
        let of = |u| self.covariance_with(u, Some(input));
        self.uncertainty.as_ref().map(of).transpose()
    }

    fn covariance_with(&self, u: &Uncertainty, input: Option<&InputKnown>) -> Result<DMatrix<f64>> {
        let mut sd = vec![u.r_ohm, u.l_h, u.c_f];
        if let Some(r) = self.loss_ohm {
            sd.push(u.loss_ohm.unwrap_or(0.0) / (r * r));
        }
        if let Some(e) = self.eddy {
            sd.extend([u.k, u.tau, u.emf].map(|x| x.unwrap_or(0.0)));
            let of = |(name, _): (&str, f64)| if name == "a" { u.a } else { u.b };
            sd.extend(e.shape().into_iter().map(|s| of(s).unwrap_or(0.0)));
        }
        let own = sd.len();
        let factors = input.map(InputKnown::factors).unwrap_or_default();
        sd.extend(factors.iter().map(|f| f.2));
        if sd.iter().any(|s| !(s.is_finite() && *s >= 0.0)) {
            return Err(wrong(input, "a value is negative"));
        }
        if factors.iter().any(|f| !(f.1.is_finite() && f.1 > 0.0)) {
            return Err(wrong(input, "a factor is not above 0"));
        }
        let c = correlations(u, input, own, sd.len())?;
        // The sign of 1/loss runs against that of the loss itself.
        let sign = |i: usize| if i == 3 && self.loss_ohm.is_some() { -1.0 } else { 1.0 };
        Ok(DMatrix::from_fn(sd.len(), sd.len(), |a, b| {
            sign(a) * sign(b) * c[(a, b)] * sd[a] * sd[b]
        }))
    }

    /// As a file, with a remark at its head. Written line by line: numbers of 1e-10 are to be read by people too.
    pub fn to_toml(&self, remark: &str) -> String {
        let mut s: String = remark.lines().map(|l| format!("# {l}\n")).collect();
        let text = |t: &Option<String>| t.clone().map(|t| toml::Value::String(t).to_string());
        let value = |v: f64| Some(toml_number(v));
        let optional = |v: Option<f64>| v.map(toml_number);
        let mut lines = vec![
            ("schema", text(&self.schema)),
            ("name", text(&self.name)),
            ("temperature_c", optional(self.temperature_c)),
            ("r_ohm", value(self.r_ohm)),
            ("l_h", value(self.l_h)),
            ("c_f", value(self.c_f)),
            ("loss_ohm", optional(self.loss_ohm)),
        ];
        if let Some(e) = &self.eddy {
            lines.push(("", Some("\n[eddy]".into())));
            lines.extend([("k", value(e.k)), ("tau", value(e.tau_s)), ("emf", value(e.emf))]);
            lines.extend(e.shape().into_iter().map(|(name, v)| (name, value(v))));
        }
        if let Some(u) = &self.uncertainty {
            lines.push(("", Some("\n# Standard uncertainties.\n[uncertainty]".into())));
            lines.extend([("r_ohm", value(u.r_ohm)), ("l_h", value(u.l_h)), ("c_f", value(u.c_f))]);
            lines.extend([("loss_ohm", optional(u.loss_ohm)), ("k", optional(u.k))]);
            lines.extend([("tau", optional(u.tau)), ("emf", optional(u.emf))]);
            lines.extend([("a", optional(u.a)), ("b", optional(u.b))]);
            lines.push(("correlations", lists(&u.correlations)));
            for i in &u.input {
                let head = "\n# Factors on what the rig states.\n[[uncertainty.input]]";
                lines.push(("", Some(head.into())));
                lines.extend([("rig", text(&i.rig)), ("hash", text(&i.hash))]);
                lines.extend([
                    ("stated_ohm", optional(i.stated_ohm)),
                    ("stated_f", optional(i.stated_f)),
                    ("resistance", optional(i.resistance)),
                    ("u_resistance", optional(i.u_resistance)),
                ]);
                lines.extend([
                    ("capacitance", optional(i.capacitance)),
                    ("u_capacitance", optional(i.u_capacitance)),
                ]);
                lines.push(("correlations", lists(&i.correlations)));
            }
        }
        for (key, value) in lines {
            match (key, value) {
                ("", Some(head)) => s.push_str(&format!("{head}\n")),
                (key, Some(value)) => s.push_str(&format!("{key} = {value}\n")),
                (_, None) => {}
            }
        }
        s
    }
}

fn wrong(input: Option<&InputKnown>, what: &str) -> Failure {
    let whose = input.map_or(String::new(), |i| {
        format!(" of the input of {:?}", i.rig.as_deref().unwrap_or("a rig"))
    });
    Failure::new(
        format!("uncertainty{whose}: {what}"),
        "uncertainties are 0 or above, correlations a square list of -1...1 with 1 from corner to corner",
    )
}

/// Correlations of the coil's `own` parameters, then of the input's factors: `n` in all.
fn correlations(u: &Uncertainty, input: Option<&InputKnown>, own: usize, n: usize) -> Result<DMatrix<f64>> {
    let mut c = DMatrix::identity(n, n);
    // Rows from `first` on; what they say of columns before them holds the other way round as well.
    let mut put = |rows: &[Vec<f64>], first: usize, count: usize, length: usize| {
        if !rows.is_empty() && (rows.len() != count || rows.iter().any(|row| row.len() != length)) {
            let what = format!("correlations are not {count} lists of {length} numbers");
            return Err(wrong(input, &what));
        }
        for (a, row) in rows.iter().enumerate() {
            for (b, r) in row.iter().enumerate() {
                c[(first + a, b)] = *r;
                if b < first {
                    c[(b, first + a)] = *r;
                }
            }
        }
        Ok(())
    };
    put(&u.correlations, 0, own, own)?;
    if let Some(input) = input {
        put(&input.correlations, own, n - own, n)?;
    }
    let fits = |a: usize, b: usize| {
        let r = c[(a, b)];
        (-1.0..=1.0).contains(&r) && (r - c[(b, a)]).abs() < 1e-6 && (a != b || (r - 1.0).abs() < 1e-9)
    };
    if (0..n).any(|a| (0..n).any(|b| !fits(a, b))) {
        return Err(wrong(input, "correlations are not symmetric or not from -1 to 1"));
    }
    if c.clone().symmetric_eigenvalues().min() < -ROUNDED * n as f64 {
        return Err(Failure::new(
            wrong(
                input,
                "correlations contradict each other: no three numbers hang together so",
            )
            .what,
            "copy them from the file that `coilwright coil --out` wrote, or leave correlations out",
        ));
    }
    Ok(c)
}

/// Rows of numbers, one a line.
fn lists(rows: &[Vec<f64>]) -> Option<String> {
    let row = |row: &Vec<f64>| {
        let row: Vec<String> = row.iter().map(|v| format!("{v:?}")).collect();
        format!("    [{}],\n", row.join(", "))
    };
    let text: String = rows.iter().map(row).collect();
    (!text.is_empty()).then(|| format!("[\n{text}]"))
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
            (
                "r_ohm = 6000\nl_h = 2.4\nc_f = 1e-10\n[uncertainty]\nl_h = 0.1\ncorrelations = [[1.0,0.9,-0.9],[0.9,1.0,0.9],[-0.9,0.9,1.0]]\n",
                "uncertainty: correlations contradict each other",
            ),
            (
                "r_ohm = 6000\nl_h = 2.4\nc_f = 1e-10\n[uncertainty]\nl_h = 0.1\n[[uncertainty.input]]\nrig = \"north\"\ncapacitance = 1.0\nu_capacitance = 0.1\ncorrelations = [[0.0, 0.8, 0.8, 1.0]]\n",
                "of the input of \"north\": correlations contradict each other",
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
                input: vec![
                    InputKnown {
                        rig: Some("north".into()),
                        hash: Some("ab12".into()),
                        capacitance: Some(0.99),
                        u_capacitance: Some(0.02),
                        correlations: vec![vec![0.0, 0.3, -0.6, 0.1, 1.0]],
                        ..InputKnown::default()
                    },
                    InputKnown {
                        resistance: Some(1.01),
                        u_resistance: Some(0.03),
                        ..InputKnown::default()
                    },
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
        let with = back
            .with_input(&back.uncertainty.as_ref().unwrap().input[0])
            .unwrap()
            .unwrap();
        assert_eq!(with.nrows(), 5);
        assert!((with[(4, 2)] / (-0.6 * 0.02 * 1e-12) - 1.0).abs() < 1e-12 && with[(2, 4)] == with[(4, 2)]);
        let sd = 1e5 / 1.5e6f64.powi(2);
        // The loss goes by its conductance, here as well.
        assert!((with[(4, 3)] / (-0.1 * 0.02 * sd) - 1.0).abs() < 1e-12);
        assert!((c[(1, 3)] / (-0.2 * 0.01 * sd) - 1.0).abs() < 1e-12);
        let p = parameters(&back.coil());
        let again = with_parameters(&back.coil(), &p);
        assert!((again.loss_ohm.unwrap() / 1.5e6 - 1.0).abs() < 1e-12);
        assert_eq!((again.r_ohm, again.l_h, again.c_f), (6050.0, 2.4, 120e-12));
    }

    #[test]
    fn the_shape_of_metal_is_kept() {
        let text = "r_ohm = 6000.0\nl_h = 2.4\nc_f = 1.1e-10\n\n[eddy]\nk = 0.66\ntau = 1.6e-5\nemf = 0.5\n";
        let of = |more: &str| CoilFile::parse("a", &format!("{text}{more}")).unwrap();
        let turn = of("[uncertainty]\nk = 0.1\n");
        assert!(!turn.to_toml("").contains("\na = ") && parameters(&turn.coil()).len() == 6);
        let core = of("a = 7.0\nb = 0.6\n[uncertainty]\nk = 0.1\na = 2.0\nb = 0.1\n");
        assert_eq!(CoilFile::parse("a", &core.to_toml("")).unwrap(), core);
        assert_eq!(parameters(&core.coil())[3..], [0.66, 1.6e-5, 0.5, 7.0, 0.6]);
        assert_eq!(with_parameters(&core.coil(), &parameters(&core.coil())), core.coil());
        let c = core.covariance().unwrap().unwrap();
        assert!(c.nrows() == 8 && c[(6, 6)] == 4.0 && (c[(7, 7)] - 0.01).abs() < 1e-15);
        // Of a shape that a turn has nothing is known, and nothing asked.
        assert_eq!(turn.covariance().unwrap().unwrap().nrows(), 6);
        let wrong = CoilFile::parse("a", &format!("{text}a = -1.0\n")).unwrap_err();
        assert!(wrong.to_string().contains("eddy.a = -1"), "{wrong}");
    }
}
