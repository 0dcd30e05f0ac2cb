//! One-ports and two-ports of linear circuits, for complex calculation at one angular frequency.
//!
//! Both are kept in homogeneous form, a common factor left open: a short, an open end or a potentiometer at the end of
//! its travel is then an element like any other, and no infinity enters the arithmetic. Chain (ABCD) matrices as in any
//! textbook on two-ports: [V1, I1] = [[A, B], [C, D]] [V2, I2], with I2 flowing out of the port.

use num_complex::Complex64;

const ZERO: Complex64 = Complex64::new(0.0, 0.0);
const ONE: Complex64 = Complex64::new(1.0, 0.0);

/// About the magnitude: within a factor of the square root of two, and far cheaper.
fn size(z: Complex64) -> f64 {
    z.re.abs().max(z.im.abs())
}

/// Whether numbers of this size can be multiplied on without a thought of overflow; what is no number is left as it is.
fn comfortable(k: f64) -> bool {
    !(k > 0.0 && k.is_finite()) || (1e-40..1e40).contains(&k)
}

/// A two-terminal element: any pair of voltage and current that it allows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnePort {
    v: Complex64,
    i: Complex64,
}

impl OnePort {
    fn new(v: Complex64, i: Complex64) -> Self {
        let k = size(v).max(size(i));
        if comfortable(k) {
            OnePort { v, i }
        } else {
            OnePort { v: v / k, i: i / k }
        }
    }

    /// Ohms.
    pub fn impedance_of(z: Complex64) -> Self {
        OnePort::new(z, ONE)
    }

    /// Siemens.
    pub fn admittance_of(y: Complex64) -> Self {
        OnePort::new(ONE, y)
    }

    pub fn resistor(ohm: f64) -> Self {
        OnePort::impedance_of(ohm.into())
    }

    /// `w` in rad/s.
    pub fn capacitor(farad: f64, w: f64) -> Self {
        OnePort::admittance_of(Complex64::new(0.0, w * farad))
    }

    pub fn open() -> Self {
        OnePort { v: ONE, i: ZERO }
    }

    pub const SHORT: OnePort = OnePort { v: ZERO, i: ONE };

    /// How two sources that are tied together share in the voltage: Y1/(Y1 + Y2) and Y2/(Y1 + Y2) of the impedances behind
    /// them. Of two shorts, or two open ends, neither has a say.
    pub fn shares(first: Self, second: Self) -> (Complex64, Complex64) {
        let (a, b) = (first.i * second.v, second.i * first.v);
        let sum = a + b;
        if sum == ZERO { (ZERO, ZERO) } else { (a / sum, b / sum) }
    }

    pub fn series(self, other: Self) -> Self {
        OnePort::new(self.v * other.i + other.v * self.i, self.i * other.i)
    }

    pub fn parallel(self, other: Self) -> Self {
        OnePort::new(self.v * other.v, self.i * other.v + other.i * self.v)
    }

    /// Ohms; not finite for an open end.
    pub fn impedance(self) -> Complex64 {
        self.v / self.i
    }

    /// Siemens; not finite for a short.
    pub fn admittance(self) -> Complex64 {
        self.i / self.v
    }
}

/// A chain matrix [A, B, C, D] divided by `scale`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoPort {
    matrix: [Complex64; 4],
    scale: Complex64,
}

impl TwoPort {
    fn new(matrix: [Complex64; 4], scale: Complex64) -> Self {
        TwoPort { matrix, scale }
    }

    pub fn through() -> Self {
        TwoPort::new([ONE, ZERO, ZERO, ONE], ONE)
    }

    /// The element lies in the line.
    pub fn in_line(z: OnePort) -> Self {
        TwoPort::new([z.i, z.v, ZERO, z.i], z.i)
    }

    /// The element lies across the line.
    pub fn across(y: OnePort) -> Self {
        TwoPort::new([y.v, ZERO, y.i, y.v], y.v)
    }

    /// This one first, as seen from the source, then `next`.
    pub fn then(self, next: Self) -> Self {
        let ([a, b, c, d], [e, f, g, h]) = (self.matrix, next.matrix);
        let m = [a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h];
        // As for one-ports: however long the chain, its numbers stay near 1.
        let k = m.iter().copied().map(size).fold(0.0, f64::max);
        let k = if comfortable(k) { 1.0 } else { k };
        TwoPort::new(m.map(|x| x / k), self.scale * next.scale / k)
    }

    /// Output voltage with nothing connected, over input voltage: 1/A.
    pub fn voltage_ratio(self) -> Complex64 {
        self.scale / self.matrix[0]
    }

    /// Seen into the output with the input shorted: B/A.
    pub fn output_impedance(self) -> OnePort {
        OnePort::new(self.matrix[1], self.matrix[0])
    }
}

/// A circuit put together from its output back to its source.
pub trait Ladder: Sized {
    /// Before all that is there, an element across the line.
    fn put_across(self, y: OnePort) -> Self;
    /// Before all that is there, an element in the line.
    fn put_in_line(self, z: OnePort) -> Self;
}

impl Ladder for TwoPort {
    fn put_across(self, y: OnePort) -> Self {
        TwoPort::across(y).then(self)
    }

    fn put_in_line(self, z: OnePort) -> Self {
        TwoPort::in_line(z).then(self)
    }
}

/// Voltage and current at the input of a circuit whose output is left open and carries `scale` volts: all that a response
/// needs, at a third of a chain matrix's cost.
#[derive(Debug, Clone, Copy)]
pub struct Walk {
    v: Complex64,
    i: Complex64,
    scale: Complex64,
}

impl Walk {
    /// At the open output.
    pub fn open_end() -> Self {
        Walk {
            v: ONE,
            i: ZERO,
            scale: ONE,
        }
    }

    /// Output over input voltage.
    pub fn ratio(self) -> Complex64 {
        self.scale / self.v
    }

    fn new(v: Complex64, i: Complex64, scale: Complex64) -> Self {
        let k = size(v).max(size(i));
        if comfortable(k) {
            Walk { v, i, scale }
        } else {
            Walk {
                v: v / k,
                i: i / k,
                scale: scale / k,
            }
        }
    }
}

impl Ladder for Walk {
    fn put_across(self, y: OnePort) -> Self {
        Walk::new(self.v * y.v, self.i * y.v + self.v * y.i, self.scale * y.v)
    }

    fn put_in_line(self, z: OnePort) -> Self {
        Walk::new(self.v * z.i + self.i * z.v, self.i * z.i, self.scale * z.i)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(x: Complex64, y: Complex64) {
        assert!((x - y).norm() <= 1e-14 * y.norm(), "{x} is not {y}");
    }

    #[test]
    fn elements_in_series_and_parallel() {
        let (r, c) = (OnePort::resistor(1e3), OnePort::capacitor(1e-6, 1e3));
        close(r.impedance(), Complex64::new(1e3, 0.0));
        close(c.impedance(), Complex64::new(0.0, -1e3));
        close(r.series(c).impedance(), Complex64::new(1e3, -1e3));
        // 1/(1 + j) = (1 - j)/2
        close(r.parallel(c).impedance(), Complex64::new(500.0, -500.0));
        close(r.parallel(c).admittance(), Complex64::new(1e-3, 1e-3));
    }

    #[test]
    fn shorts_and_open_ends_are_elements_too() {
        let (short, r) = (OnePort::resistor(0.0), OnePort::resistor(50.0));
        assert_eq!(short.parallel(r).impedance(), ZERO);
        close(short.series(r).impedance(), 50.0.into());
        close(OnePort::open().parallel(r).impedance(), 50.0.into());
        assert_eq!(OnePort::open().series(r).admittance(), ZERO);
        // A capacitor blocks direct current.
        assert_eq!(OnePort::capacitor(1e-9, 0.0).series(r).admittance(), ZERO);
        let shorted = TwoPort::in_line(r).then(TwoPort::across(short));
        assert_eq!(shorted.voltage_ratio(), ZERO);
        assert_eq!(shorted.output_impedance().impedance(), ZERO);
    }

    /// Divider 1 k over 3 k by hand: ratio 3/4, output 750 ohm; A 4/3, B 1 k, C 1/(3 k), D 1.
    #[test]
    fn divider() {
        let t = TwoPort::in_line(OnePort::resistor(1e3)).then(TwoPort::across(OnePort::resistor(3e3)));
        close(t.voltage_ratio(), 0.75.into());
        close(t.output_impedance().impedance(), 750.0.into());
        let [a, b, c, d] = t.matrix.map(|x| x / t.scale);
        for (x, y) in [a, b, c, d].into_iter().zip([4.0 / 3.0, 1e3, 1.0 / 3e3, 1.0]) {
            close(x, Complex64::new(y, 0.0));
        }
        // Reciprocal: AD - BC = 1.
        close(a * d - b * c, ONE);
        assert_eq!(TwoPort::through().then(t), t);
    }

    #[test]
    fn a_long_chain_does_not_overflow() {
        let step = TwoPort::in_line(OnePort::resistor(1e9)).then(TwoPort::across(OnePort::capacitor(1e-15, 1e5)));
        let mut t = step;
        for _ in 0..20 {
            t = t.then(step);
        }
        assert!(t.voltage_ratio().is_finite() && t.output_impedance().impedance().is_finite());
    }
}
