//! Spectra of short stretches under a window, one after another.

use std::sync::Arc;

use num_complex::Complex64;
use realfft::{RealFftPlanner, RealToComplex};

/// Has a plan of its own: in the one that [`super::fft`] keeps lies that of the whole take.
pub struct Short {
    plan: Arc<dyn RealToComplex<f64>>,
    window: Vec<f64>,
}

impl Short {
    /// `window`: the weight by the place in samples from the stretch's beginning, that of the first sample being a half.
    pub fn new(length: usize, window: impl Fn(f64) -> f64) -> Self {
        Short {
            plan: RealFftPlanner::new().plan_fft_forward(length.max(2)),
            window: (0..length).map(|i| window(i as f64 + 0.5)).collect(),
        }
    }

    /// Sum of the squared window.
    pub fn energy(&self) -> f64 {
        self.window.iter().map(|w| w * w).sum()
    }

    pub fn bins(&self) -> usize {
        self.window.len() / 2 + 1
    }

    pub fn spectrum(&self, samples: impl Iterator<Item = f64>) -> Vec<Complex64> {
        let mut input: Vec<f64> = samples.zip(&self.window).map(|(v, w)| v * w).collect();
        let mut out = self.plan.make_output_vec();
        // Fails only on lengths that are not the plan's.
        let _ = self.plan.process(&mut input, &mut out);
        out
    }
}
