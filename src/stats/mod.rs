//! Statistics of a shop: plain samples in, numbers with their meaning out. No records, no words, no files.
//!
//! Checked against published worked examples (`tests/reference/stats.rs`).

pub mod chart;
pub mod gauge;
pub mod paired;
pub mod tolerance;

/// Arithmetic mean; `None` of nothing.
pub fn mean(x: &[f64]) -> Option<f64> {
    (!x.is_empty()).then(|| x.iter().sum::<f64>() / x.len() as f64)
}

/// Standard deviation with n - 1; `None` below two values.
pub fn sd(x: &[f64]) -> Option<f64> {
    if x.len() < 2 {
        return None;
    }
    let m = mean(x)?;
    Some((x.iter().map(|v| (v - m).powi(2)).sum::<f64>() / (x.len() - 1) as f64).sqrt())
}
