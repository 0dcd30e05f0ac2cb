//! Closed formulas of the second-order pickup: EMF behind R and L, shunted by C and R_p.

use std::f64::consts::TAU;

use num_complex::Complex64;

/// V/e = g0 w0^2 / (w0^2 - w^2 + j w w0/Q).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SecondOrder {
    /// Natural frequency in hertz; neither the frequency of the peak nor that of a half-power edge.
    pub f0_hz: f64,
    pub q: f64,
    /// Gain at direct current.
    pub g0: f64,
}

impl SecondOrder {
    /// Of a coil `r_ohm`, `l_h` with everything parallel to it: capacitance `c_f`, resistance `rp_ohm` (infinity: none); and
    /// a loss resistance parallel to L that lies, like L, between the EMF and R. Without loss g0 = R_p/(R + R_p),
    /// w0^2 = (1 + R/R_p)/(L C), w0/Q = R/L + 1/(R_p C). `None` where C is zero or a value is not a positive number: there is
    /// no second-order circuit then.
    ///
    /// With Y = 1/R_p + s C, R_l the loss and H = R_l/(R_l + s L) before R: the denominator of V/e is
    /// 1 + R Y + s L (Y + (1 + R Y)/R_l), sorted by powers of s below.
    pub fn with_loss(r_ohm: f64, l_h: f64, c_f: f64, rp_ohm: f64, loss_ohm: f64) -> Option<Self> {
        let (g, loss) = (1.0 / rp_ohm, 1.0 / loss_ohm);
        let d0 = 1.0 + r_ohm * g;
        let d1 = r_ohm * c_f + l_h * (g + d0 * loss);
        let d2 = l_h * c_f * (1.0 + r_ohm * loss);
        let w0 = (d0 / d2).sqrt();
        let so = SecondOrder {
            f0_hz: w0 / TAU,
            q: d0 / (w0 * d1),
            g0: 1.0 / d0,
        };
        let usable = |x: f64| x.is_finite() && x > 0.0;
        (usable(so.f0_hz) && usable(so.q) && usable(so.g0)).then_some(so)
    }

    /// Output over EMF at the angular frequency `w` in rad/s.
    pub fn response(&self, w: f64) -> Complex64 {
        let x = w / (TAU * self.f0_hz);
        self.g0 / Complex64::new(1.0 - x * x, x / self.q)
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// The closed formulas of the peak, which `peak::find` looks for on the curve itself.
    impl SecondOrder {
        fn without_loss(r_ohm: f64, l_h: f64, c_f: f64, rp_ohm: f64) -> Option<Self> {
            Self::with_loss(r_ohm, l_h, c_f, rp_ohm, f64::INFINITY)
        }

        /// Square of peak over natural frequency, where there is a peak: Q > 1/sqrt 2.
        fn peak_x2(&self) -> Option<f64> {
            let x2 = 1.0 - 0.5 / (self.q * self.q);
            (x2 > 0.0).then_some(x2)
        }

        /// f0 sqrt(1 - 1/(2 Q^2)) in hertz; `None` where the response only falls.
        pub fn peak_hz(&self) -> Option<f64> {
            Some(self.f0_hz * self.peak_x2()?.sqrt())
        }

        /// Height of the peak over the gain at direct current in dB: 20 log10 of Q/sqrt(1 - 1/(4 Q^2)).
        pub fn peak_db(&self) -> Option<f64> {
            self.peak_x2()?;
            Some(20.0 * (self.q / (1.0 - 0.25 / (self.q * self.q)).sqrt()).log10())
        }

        /// The frequencies in hertz on both sides of the peak with half its power, from |H|^2; `None` where the response
        /// does not fall that far below the peak (Q up to 1.3066).
        fn half_power_hz(&self) -> Option<(f64, f64)> {
            let x2 = self.peak_x2()?;
            let half = (1.0 - x2 * x2).sqrt();
            (x2 > half).then(|| (self.f0_hz * (x2 - half).sqrt(), self.f0_hz * (x2 + half).sqrt()))
        }
    }

    const NO: f64 = f64::NAN;

    /// [R ohm, L H, C pF, R_p ohm, f0 Hz, Q, H(0), f_peak Hz, peak dB re EMF, peak dB re H(0), -3 dB width Hz], NaN: none.
    /// ngspice 39, AC analysis of series R-L with shunt C and R_p: f0 from the -90 degree crossing, Q from |H(f0)|/|H(0)|.
    #[rustfmt::skip]
    pub const NGSPICE: [[f64; 11]; 9] = [
        [6000.0, 2.4, 120.0, 10e6, 9381.108, 17.68297, 0.99940, 9373.605, 24.9494, 24.9546, 530.942],
        [6000.0, 2.4, 120.0, 1e6, 9406.388, 5.45558, 0.99404, 9327.043, 14.7215, 14.7735, 1739.102],
        [6000.0, 2.4, 620.0, 200e3, 4187.331, 2.49039, 0.97087, 4014.996, 7.8473, 8.1040, 1760.706],
        [6000.0, 2.4, 620.0, 111_111.111, 4235.834, 1.56408, 0.94877, 3778.243, 3.8965, 4.3533, 3169.025],
        [6000.0, 2.4, 1120.0, 200e3, 3115.474, 2.81078, 0.97087, 3015.278, 8.8595, 9.1162, 1147.957],
        [8000.0, 4.4, 570.0, 333_333.333, 3215.928, 2.85345, 0.97656, 3115.621, 9.0369, 9.2428, 1165.907],
        [13000.0, 8.0, 850.0, 333_333.333, 1967.313, 2.39814, 0.96246, 1879.849, 7.4582, 7.7905, 862.667],
        [6000.0, 2.4, 620.0, 47e3, 4381.347, 0.74772, 0.88679, 1424.296, -0.9948, 0.0488, NO],
        [6000.0, 2.4, 620.0, 10e3, 5218.896, 0.20020, 0.62500, NO, NO, NO, NO],
    ];

    #[test]
    fn agrees_with_a_circuit_simulator() {
        for row in NGSPICE {
            let [r, l, pf, rp, f0, q, g0, fp, db_emf, db_dc, width] = row;
            let s = SecondOrder::without_loss(r, l, pf * 1e-12, rp).unwrap();
            // To the last digit printed.
            let near = |name: &str, got: f64, want: f64, last: f64| {
                assert!(
                    (got - want).abs() <= 0.6 * last,
                    "{name}: {got} is not {want} in {row:?}"
                );
            };
            near("f0", s.f0_hz, f0, 1e-3);
            near("q", s.q, q, 1e-5);
            near("g0", s.g0, g0, 1e-5);
            match (s.peak_hz(), s.peak_db()) {
                (Some(hz), Some(db)) => {
                    near("peak", hz, fp, 2e-3);
                    near("peak re dc", db, db_dc, 1e-4);
                    near("peak re emf", db + 20.0 * s.g0.log10(), db_emf, 1e-4);
                    let there = s.response(TAU * hz).norm();
                    near("at the peak", 20.0 * there.log10(), db_emf, 1e-4);
                }
                (None, None) => assert!(fp.is_nan() && db_emf.is_nan(), "{row:?}"),
                other => panic!("{other:?}"),
            }
            match s.half_power_hz() {
                Some((low, high)) => near("width", high - low, width, 1e-3),
                None => assert!(width.is_nan(), "{row:?}"),
            }
            // -90 degrees at f0 with the height g0 Q.
            let at = s.response(TAU * f0);
            assert!((at.arg().to_degrees() + 90.0).abs() < 1e-4 && (at.norm() / (g0 * q) - 1.0).abs() < 2e-5);
        }
    }

    #[test]
    fn no_peak_below_the_limit_and_none_without_capacitance() {
        let at = |q| SecondOrder { f0_hz: 1e3, q, g0: 1.0 };
        let limit = std::f64::consts::FRAC_1_SQRT_2;
        assert!(at(limit * 0.999_999).peak_hz().is_none() && at(limit * 0.999_999).peak_db().is_none());
        assert!(at(limit * 1.000_001).peak_hz().is_some() && at(limit * 1.000_001).peak_db().is_some());
        // (1 - 1/(2 Q^2))^2 = 1/2 at Q = 1.3066.
        assert!(at(1.3065).half_power_hz().is_none() && at(1.3066).half_power_hz().is_some());
        for bad in [
            SecondOrder::without_loss(6e3, 2.4, 0.0, 1e6),
            SecondOrder::without_loss(6e3, 0.0, 1e-10, 1e6),
            SecondOrder::without_loss(6e3, 2.4, 1e-10, 0.0),
            SecondOrder::without_loss(6e3, f64::NAN, 1e-10, 1e6),
            SecondOrder::without_loss(6e3, -2.4, 1e-10, 1e6),
        ] {
            assert_eq!(bad, None);
        }
        let unloaded = SecondOrder::without_loss(6e3, 2.4, 1e-10, f64::INFINITY).unwrap();
        assert_eq!(unloaded.g0, 1.0);
        // Without R_p only R damps: Q = w0 L/R.
        assert!((unloaded.q / (TAU * unloaded.f0_hz * 2.4 / 6e3) - 1.0).abs() < 1e-14);
    }
}
