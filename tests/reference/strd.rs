//! The solver against certified answers: nonlinear problems of NIST's Statistical Reference Datasets
//! (https://www.itl.nist.gov/div898/strd/), fixtures/nist_strd. Models, starts, values and standard deviations are the files'.

use std::f64::consts::{PI, TAU};

use coilwright::fit::solve::{self, Patience, Problem, Solution};
use nalgebra::{DMatrix, DVector};

/// A model at one x: its value, and its derivatives by each parameter into the slice.
type Model = fn(b: &[f64], x: f64, d: &mut [f64]) -> f64;

struct Regression {
    name: &'static str,
    model: Model,
    starts: [Vec<f64>; 2],
    values: Vec<f64>,
    deviations: Vec<f64>,
    sum_of_squares: f64,
    /// y, x.
    data: Vec<[f64; 2]>,
}

impl Regression {
    fn new(name: &'static str, text: &str, model: Model) -> Self {
        let numbers = |line: &str| -> Vec<f64> { line.split_whitespace().map(|w| w.parse().unwrap()).collect() };
        let after = |mark: &str| {
            let line = text.lines().find(|l| l.starts_with(mark)).unwrap();
            numbers(line.split_once(':').unwrap().1)[0]
        };
        // "b1 = start1 start2 value deviation"; the model above these lines has equals signs too, but names no such parameter.
        let rows: Vec<Vec<f64>> = text
            .lines()
            .filter_map(|l| l.split_once('='))
            .filter(|(left, _)| {
                let left = left.trim();
                left.len() == 2 && left.starts_with('b') && left.ends_with(|c: char| c.is_ascii_digit())
            })
            .map(|(_, right)| numbers(right))
            .collect();
        let column = |c: usize| -> Vec<f64> { rows.iter().map(|r| r[c]).collect() };
        let data: Vec<[f64; 2]> = text.lines().skip(60).map(|l| numbers(l).try_into().unwrap()).collect();
        assert!(rows.iter().all(|r| r.len() == 4), "{name}");
        assert_eq!(data.len() as f64, after("Number of Observations"), "{name}");
        assert_eq!((data.len() - rows.len()) as f64, after("Degrees of Freedom"), "{name}");
        Regression {
            name,
            model,
            starts: [column(0), column(1)],
            values: column(2),
            deviations: column(3),
            sum_of_squares: after("Residual Sum of Squares"),
            data,
        }
    }

    fn solve(&self, start: usize) -> Solution {
        let n = self.values.len();
        let (low, high) = (vec![f64::NEG_INFINITY; n], vec![f64::INFINITY; n]);
        solve::minimise(self, &self.starts[start], &low, &high, Patience::EXACT)
    }

    /// Standard deviations as NIST has them: scaled by the residual one.
    fn deviations(&self, s: &Solution) -> Vec<f64> {
        let n = self.values.len();
        let variance = s.cost / (self.data.len() - n) as f64;
        let inverse = s
            .inverse
            .as_ref()
            .unwrap_or_else(|| panic!("{}: no inverse", self.name));
        (0..n).map(|i| (inverse[(i, i)] * variance).sqrt()).collect()
    }
}

impl Problem for Regression {
    fn rows(&self) -> usize {
        self.data.len()
    }

    fn residuals(&self, theta: &[f64], out: &mut DVector<f64>) {
        let mut d = vec![0.0; theta.len()];
        for (i, [y, x]) in self.data.iter().enumerate() {
            out[i] = (self.model)(theta, *x, &mut d) - y;
        }
    }

    fn jacobian(&self, theta: &[f64], out: &mut DMatrix<f64>) {
        let mut d = vec![0.0; theta.len()];
        for (i, [_, x]) in self.data.iter().enumerate() {
            (self.model)(theta, *x, &mut d);
            d.iter().enumerate().for_each(|(c, v)| out[(i, c)] = *v);
        }
    }
}

fn gauss2(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    d[0] = (-b[1] * x).exp();
    d[1] = -x * b[0] * d[0];
    let mut y = b[0] * d[0];
    for k in [2, 5] {
        let u = (x - b[k + 1]) / b[k + 2];
        d[k] = (-u * u).exp();
        d[k + 1] = b[k] * d[k] * 2.0 * u / b[k + 2];
        d[k + 2] = d[k + 1] * u;
        y += b[k] * d[k];
    }
    y
}

fn lanczos3(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let mut y = 0.0;
    for k in [0, 2, 4] {
        d[k] = (-b[k + 1] * x).exp();
        d[k + 1] = -x * b[k] * d[k];
        y += b[k] * d[k];
    }
    y
}

fn roszman1(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let (far, u) = (x - b[3], b[2] / (x - b[3]));
    let slope = -1.0 / (PI * (1.0 + u * u) * far);
    d.copy_from_slice(&[1.0, -x, slope, slope * u]);
    b[0] - b[1] * x - u.atan() / PI
}

fn enso(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let year = TAU * x / 12.0;
    (d[0], d[1], d[2]) = (1.0, year.cos(), year.sin());
    let mut y = b[0] + b[1] * d[1] + b[2] * d[2];
    for k in [3, 6] {
        let turn = TAU * x / b[k];
        (d[k + 1], d[k + 2]) = (turn.cos(), turn.sin());
        d[k] = (b[k + 1] * turn.sin() - b[k + 2] * turn.cos()) * turn / b[k];
        y += b[k + 1] * d[k + 1] + b[k + 2] * d[k + 2];
    }
    y
}

fn cubic_over_cubic(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let over = b[0] + x * (b[1] + x * (b[2] + x * b[3]));
    let under = 1.0 + x * (b[4] + x * (b[5] + x * b[6]));
    for k in 0..4 {
        d[k] = x.powi(k as i32) / under;
    }
    for k in 1..4 {
        d[3 + k] = -over * x.powi(k as i32) / (under * under);
    }
    over / under
}

fn mgh09(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let (over, under) = (x * x + x * b[1], x * x + x * b[2] + b[3]);
    let y = b[0] * over / under;
    d.copy_from_slice(&[over / under, b[0] * x / under, -y * x / under, -y / under]);
    y
}

fn eckerle4(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let u = (x - b[2]) / b[1];
    let bell = (-0.5 * u * u).exp() / b[1];
    let y = b[0] * bell;
    d.copy_from_slice(&[bell, y * (u * u - 1.0) / b[1], y * u / b[1]]);
    y
}

fn boxbod(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let left = (-b[1] * x).exp();
    d.copy_from_slice(&[1.0 - left, b[0] * x * left]);
    b[0] * (1.0 - left)
}

macro_rules! regression {
    ($name:literal, $model:expr) => {
        Regression::new(
            $name,
            include_str!(concat!("../../fixtures/nist_strd/", $name, ".dat")),
            $model,
        )
    };
}

/// Digits that agree: the logarithm of the relative error. NaN has none, and more than certified are not to be had.
fn digits(got: f64, want: f64) -> f64 {
    let off = (got / want - 1.0).abs();
    if off.is_nan() { 0.0 } else { (-off.log10()).min(11.0) }
}

const DIGITS: f64 = 6.0;

/// Prints and checks the digits of one end of the solver.
fn certified(r: &Regression, start: usize) -> bool {
    let s = r.solve(start);
    println!(
        "{} from start {}: {:?}, believable: {}",
        r.name,
        start + 1,
        s.ending,
        s.believable()
    );
    let Some(_) = s.inverse else { return false };
    let sum = digits(s.cost, r.sum_of_squares);
    let mut least = sum;
    println!("    sum of squares {sum:4.1}");
    for (i, sd) in r.deviations(&s).into_iter().enumerate() {
        let (value, deviation) = (digits(s.theta[i], r.values[i]), digits(sd, r.deviations[i]));
        println!("    b{}: value {value:4.1}, standard deviation {deviation:4.1}", i + 1);
        least = least.min(value).min(deviation);
    }
    s.believable() && least >= DIGITS
}

#[test]
fn eight_problems_from_both_starts() {
    let all = [
        regression!("Gauss2", gauss2),
        regression!("Lanczos3", lanczos3),
        regression!("Roszman1", roszman1),
        regression!("ENSO", enso),
        regression!("Hahn1", cubic_over_cubic),
        regression!("MGH09", mgh09),
        regression!("Eckerle4", eckerle4),
        regression!("Thurber", cubic_over_cubic),
    ];
    let missed: Vec<String> = all
        .iter()
        .flat_map(|r| [0, 1].map(|start| (r, start)))
        .filter(|(r, start)| !certified(r, *start))
        .map(|(r, start)| format!("{} from start {}", r.name, start + 1))
        .collect();
    assert_eq!(missed, Vec::<String>::new());
}

/// From the first start the rate runs away until nothing depends on it, which looks converged. The fit asks the same verdict
/// of its own solutions (`Solution::believable`).
#[test]
fn a_wrong_end_is_not_believed() {
    let r = regression!("BoxBOD", boxbod);
    assert!(certified(&r, 1));
    let s = r.solve(0);
    assert!(!certified(&r, 0) && digits(s.cost, r.sum_of_squares) < 0.0);
    assert!(!s.believable() && s.idle == [false, true], "{s:?}");
    // In a box the wall stops it: either verdict tells.
    for most in [2.0, 5.0, 10.0, 20.0, 50.0] {
        let s = solve::minimise(&r, &r.starts[0], &[0.0, 0.0], &[1e3, most], Patience::EXACT);
        let right = digits(s.cost, r.sum_of_squares) >= DIGITS;
        println!(
            "rate at most {most}: {:?}, {:?}, on a bound {:?}, idle {:?}",
            s.theta, s.ending, s.at_bound, s.idle
        );
        assert!(right || s.at_bound[1] || !s.believable(), "{s:?}");
    }
}
