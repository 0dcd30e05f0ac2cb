//! Gauge studies: how much of what is seen is the instrument's (AIAG, Measurement Systems Analysis, 4th ed.).

/// Variance components of a crossed study by analysis of variance, as standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossed {
    /// Repeatability: the same part by the same hand.
    pub equipment: f64,
    /// Reproducibility: hands, and hands with parts where that is not pooled.
    pub appraiser: f64,
    /// Both together.
    pub gauge: f64,
    pub part: f64,
    pub total: f64,
    /// Sums of squares of part, appraiser, interaction, error.
    pub squares: [f64; 4],
    /// F of the interaction.
    pub interaction: f64,
}

/// `x[part][appraiser][trial]`, complete; `pooled`: the interaction counts as error. `None` unless two of each at least.
pub fn crossed(x: &[Vec<Vec<f64>>], pooled: bool) -> Option<Crossed> {
    let (p, a) = (x.len(), x.first()?.len());
    let r = x.first()?.first()?.len();
    let complete = x.iter().all(|q| q.len() == a && q.iter().all(|t| t.len() == r));
    if p < 2 || a < 2 || r < 2 || !complete {
        return None;
    }
    let (pf, af, rf) = (p as f64, a as f64, r as f64);
    let all = || x.iter().flatten().flatten();
    let grand = all().sum::<f64>() / (pf * af * rf);
    let cell = |i: usize, j: usize| x[i][j].iter().sum::<f64>() / rf;
    let of_part = |i: usize| (0..a).map(|j| cell(i, j)).sum::<f64>() / af;
    let of_hand = |j: usize| (0..p).map(|i| cell(i, j)).sum::<f64>() / pf;
    let square = |v: f64| v * v;
    let part = af * rf * (0..p).map(|i| square(of_part(i) - grand)).sum::<f64>();
    let hand = pf * rf * (0..a).map(|j| square(of_hand(j) - grand)).sum::<f64>();
    let cells = rf
        * (0..p)
            .flat_map(|i| (0..a).map(move |j| (i, j)))
            .map(|(i, j)| square(cell(i, j) - of_part(i) - of_hand(j) + grand))
            .sum::<f64>();
    let error: f64 = (0..p)
        .flat_map(|i| (0..a).map(move |j| (i, j)))
        .map(|(i, j)| x[i][j].iter().map(|v| square(v - cell(i, j))).sum::<f64>())
        .sum();
    let (free_cells, free_error) = ((pf - 1.0) * (af - 1.0), pf * af * (rf - 1.0));
    let (ms_part, ms_hand) = (part / (pf - 1.0), hand / (af - 1.0));
    let (ms_cells, ms_error) = (cells / free_cells, error / free_error);
    let above = |v: f64| v.max(0.0);
    let (equipment, hands, both, parts) = if pooled {
        let ms = (cells + error) / (free_cells + free_error);
        (
            ms,
            above((ms_hand - ms) / (pf * rf)),
            0.0,
            above((ms_part - ms) / (af * rf)),
        )
    } else {
        (
            ms_error,
            above((ms_hand - ms_cells) / (pf * rf)),
            above((ms_cells - ms_error) / rf),
            above((ms_part - ms_cells) / (af * rf)),
        )
    };
    let appraiser = hands + both;
    let gauge = equipment + appraiser;
    Some(Crossed {
        equipment: equipment.sqrt(),
        appraiser: appraiser.sqrt(),
        gauge: gauge.sqrt(),
        part: parts.sqrt(),
        total: (gauge + parts).sqrt(),
        squares: [part, hand, cells, error],
        interaction: ms_cells / ms_error,
    })
}

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
