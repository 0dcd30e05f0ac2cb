//! Gauge studies: how much of what is seen is the instrument's (AIAG, Measurement Systems Analysis, 4th ed.).

/// Parts that are taken out and laid back: spread of one part's readings, pooled over the parts, and its degrees of freedom.
/// `None` without a part that was read twice.
pub fn within(parts: &[Vec<f64>]) -> Option<(f64, usize)> {
    let (mut sum, mut freedom) = (0.0, 0usize);
    for p in parts.iter().filter(|p| p.len() > 1) {
        let m = p.iter().sum::<f64>() / p.len() as f64;
        sum += p.iter().map(|v| (v - m).powi(2)).sum::<f64>();
        freedom += p.len() - 1;
    }
    (freedom > 0).then(|| ((sum / freedom as f64).sqrt(), freedom))
}
