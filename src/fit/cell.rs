//! Bins as the last word counts them: alone where they must be, else a few neighbours drawn together without loss.
//!
//! Over bins so close that H is a constant, sum |Y - H X|^2 is |y - H x|^2 plus a part that H cannot change, with
//! x^2 = sum |X|^2 and y = sum conj(X) Y / x. At the weighted mean frequency the slope of H drops out of the first part; what
//! is left is its bend, (width/(f0/Q))^2/24 of H: a part in ten millions with the widths taken here. In the second part the
//! slope would pass for noise, and is taken off as the search for the minimum found it.

use std::ops::Range;

use num_complex::Complex64;

use crate::transfer::bins::Bins;

/// A few neighbouring bins.
#[derive(Debug, Clone, Copy)]
pub struct Cell {
    pub f: f64,
    pub x: Complex64,
    pub y: Complex64,
    /// Change of `x` per ppm of the clock; one-channel takes only. What of it does not follow X over a cell is a cell of its own,
    /// where x is nought.
    pub x_clock: Complex64,
    /// The part of sum |Y|^2 that does not follow X.
    pub rest: f64,
    pub syy: f64,
    pub sxx: f64,
    pub syx: Complex64,
    pub bins: u32,
}

impl Cell {
    /// Variance of Y - H X in one bin, as it counts for the uncertainty (density x transform length).
    pub fn variance(&self, h: Complex64, length: f64) -> f64 {
        super::variance(self.syy, self.sxx, self.syx, h) * length
    }
}

/// Widest cell: so much of the frequency, so much of the resonance's width f0/Q, and not more bins than this.
const WIDTH: f64 = 0.002;
const WIDTH_OF_RESONANCE: f64 = 0.0015;
const MOST_BINS: usize = 16;

/// The used bins of a band. `resonance_hz`: the width f0/Q of the resonance; `slope`: of H, per hertz.
pub fn cells(bins: &Bins, band: [f64; 2], resonance_hz: f64, slope: impl Fn(f64) -> Complex64) -> Vec<Cell> {
    let Range { start: mut i, end: to } = bins.inside(band);
    let mut out = Vec::new();
    while i < to {
        let hz = (WIDTH * bins.freq(i)).min(WIDTH_OF_RESONANCE * resonance_hz);
        let width = ((hz / bins.spacing_hz) as usize).clamp(1, MOST_BINS);
        let stop = (i + width).min(to);
        draw_together(bins, i..stop, &slope, &mut out);
        i = stop;
    }
    out
}

/// A bin by itself.
fn single(bins: &Bins, k: usize) -> Cell {
    Cell {
        f: bins.freq(k),
        x: bins.x[k],
        y: bins.y[k],
        x_clock: bins.x_clock.as_ref().map_or(Complex64::new(0.0, 0.0), |xt| xt[k]),
        rest: 0.0,
        syy: bins.syy[k],
        sxx: bins.sxx[k],
        syx: bins.syx[k],
        bins: 1,
    }
}

fn draw_together(bins: &Bins, near: Range<usize>, slope: impl Fn(f64) -> Complex64, out: &mut Vec<Cell>) {
    let zero = Complex64::new(0.0, 0.0);
    let (mut xx, mut xy, mut yy, mut fx, mut count, mut last) = (0.0, zero, 0.0, 0.0, 0, near.start);
    // By the distance from the cell's first bin: the frequencies themselves are much larger than what they differ by.
    let (mut near_xx, mut near_xy, mut square) = (0.0, zero, 0.0);
    let begin = bins.freq(near.start);
    for k in near.clone().filter(|k| bins.used[*k]) {
        let p = bins.x[k].norm_sqr();
        let c = bins.x[k].conj() * bins.y[k];
        xx += p;
        xy += c;
        yy += bins.y[k].norm_sqr();
        fx += p * bins.freq(k);
        let off = bins.freq(k) - begin;
        near_xx += off * p;
        near_xy += off * c;
        square += off * off * p;
        count += 1;
        last = k;
    }
    if count == 1 {
        return out.push(single(bins, last));
    }
    if count == 0 || xx <= 0.0 {
        return;
    }
    let x = xx.sqrt();
    let y = xy / x;
    let h = slope(fx / xx);
    let middle = near_xx / xx;
    let along = near_xy - middle * xy;
    let spread = square - middle * near_xx;
    let sloped = 2.0 * (h.conj() * along).re - h.norm_sqr() * spread;
    let clock = bins.x_clock.as_ref().map(|c| across(bins, c, near, (x, y)));
    let [along_x, beside, answer] = clock.unwrap_or_default();
    let cell = Cell {
        f: fx / xx,
        x: x.into(),
        y,
        x_clock: along_x,
        rest: (yy - y.norm_sqr() - answer.norm_sqr() - sloped).max(0.0),
        bins: count,
        ..single(bins, last)
    };
    out.push(cell);
    if beside.re > 0.0 {
        out.push(Cell {
            x: zero,
            y: answer,
            x_clock: beside,
            rest: 0.0,
            bins: 0,
            ..cell
        });
    }
}

/// The clock's part of a cell whose X and Y are drawn together as `x` and `y`: what of it follows X, what does not, and Y along
/// the latter.
fn across(bins: &Bins, clock: &[Complex64], cell: Range<usize>, (x, y): (f64, Complex64)) -> [Complex64; 3] {
    let zero = Complex64::new(0.0, 0.0);
    let (mut xc, mut cy, mut cc) = (zero, zero, 0.0);
    for k in cell.filter(|k| bins.used[*k]) {
        xc += bins.x[k].conj() * clock[k];
        cy += clock[k].conj() * bins.y[k];
        cc += clock[k].norm_sqr();
    }
    let along = xc / x;
    // What rounding leaves of nothing is no direction.
    let beside = cc - along.norm_sqr();
    if beside <= 1e-12 * cc {
        return [along, zero, zero];
    }
    let beside = beside.sqrt();
    [along, beside.into(), (cy - along.conj() * y) / beside]
}
