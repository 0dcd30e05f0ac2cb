//! Several takes under unchanged conditions, drawn together into one record.

use crate::estimate::{Estimate, Z95};
use crate::failure::{Failure, Result};
use crate::record::{Finding, Level, Record, Repeat, Resonance, Verdict};

/// One record of N takes: values are weighted means, `u_noise` the larger of what the takes say and what their scatter says.
/// Takes that were rejected are left out, with a note; if all were, the first stands for them.
pub fn combine(records: Vec<Record>) -> Result<Record> {
    let all = records.len();
    let Some(first) = records.first().cloned() else {
        return Err(Failure::new("there is no take", "measure again"));
    };
    if all == 1 {
        return Ok(first);
    }
    let good: Vec<&Record> = records.iter().filter(|r| r.resonance.is_some()).collect();
    let Some(base) = good.first() else { return Ok(first) };
    let readings: Vec<&Resonance> = good.iter().filter_map(|r| r.resonance.as_ref()).collect();
    let mut out = (*base).clone();
    out.budget = None;
    out.taken_at = first.taken_at;
    out.repeats = readings
        .iter()
        .map(|r| Repeat {
            f0_hz: r.f0_hz,
            q: r.q,
            peak_hz: r.peak_hz,
            peak_db: r.peak_db,
            mutual_h: r.mutual_h,
        })
        .collect();
    out.findings = strongest(&good);
    out.verdict = Verdict::from_findings(&out.findings);
    out.notes.push(format!(
        "mean of {} takes; the curve is the first one's",
        readings.len()
    ));
    if readings.len() < all {
        let why = records
            .iter()
            .flat_map(|r| r.findings.iter().filter(|f| f.level == Level::Reject))
            .next()
            .map_or(String::new(), |f| format!(" ({})", f.text));
        out.notes.push(format!(
            "{} of {all} takes rejected and left out{why}",
            all - readings.len()
        ));
    }
    if let Some(r) = out.resonance.as_mut() {
        put_means(r, &readings);
    }
    Ok(out)
}

/// What any take showed, once each, at its strongest.
fn strongest(records: &[&Record]) -> Vec<Finding> {
    let mut out: Vec<Finding> = Vec::new();
    for f in records.iter().flat_map(|r| &r.findings) {
        match out.iter_mut().find(|g| g.code == f.code) {
            Some(g) if f.level > g.level => *g = f.clone(),
            Some(_) => {}
            None => out.push(f.clone()),
        }
    }
    out.sort_by_key(|f| std::cmp::Reverse(f.level));
    out
}

fn put_means(r: &mut Resonance, readings: &[&Resonance]) {
    let column = |pick: &dyn Fn(&Resonance) -> Option<Estimate>| -> Option<Estimate> {
        let list: Option<Vec<Estimate>> = readings.iter().map(|r| pick(r)).collect();
        list.and_then(|l| mean(&l))
    };
    if let Some(e) = column(&|r| Some(r.f0_hz)) {
        r.f0_hz = e;
    }
    if let Some(e) = column(&|r| Some(r.q)) {
        r.q = e;
    }
    r.peak_hz = column(&|r| r.peak_hz);
    r.peak_db = column(&|r| r.peak_db);
    r.mutual_h = column(&|r| r.mutual_h);
    r.level_db = column(&|r| r.level_db);
}

/// Weighted mean of repeats. u_noise = max(computed, s t.975(N-1)/1.96)/sqrt N; what is systematic stays as it is.
pub fn mean(list: &[Estimate]) -> Option<Estimate> {
    let n = list.len() as f64;
    if list.is_empty() {
        return None;
    }
    // Weights by each take's own noise, but no take may count for more than the rest together.
    let typical = list.iter().map(|e| e.u_noise * e.u_noise).sum::<f64>() / n;
    let weight = |e: &Estimate| 1.0 / (e.u_noise * e.u_noise + typical).max(f64::MIN_POSITIVE);
    let total: f64 = list.iter().map(weight).sum();
    let value = list.iter().map(|e| weight(e) * e.value).sum::<f64>() / total;
    let computed = typical.sqrt();
    let scatter = if list.len() > 1 {
        let s = (list.iter().map(|e| (e.value - value).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        s * student(list.len()) / Z95
    } else {
        0.0
    };
    let u_noise = computed.max(scatter) / n.sqrt();
    let systematic = list
        .iter()
        .map(|e| (e.u * e.u - e.u_noise * e.u_noise).max(0.0))
        .sum::<f64>()
        / n;
    Estimate::new(value, (u_noise * u_noise + systematic).sqrt(), u_noise)
}

/// Student's two-sided 95 % point for the mean of `n` readings.
pub fn student(n: usize) -> f64 {
    let freedom = n.saturating_sub(1).max(1) as f64;
    crate::stats::student(0.975, freedom)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn e(value: f64, u_noise: f64) -> Estimate {
        Estimate {
            value,
            u: u_noise.hypot(0.3),
            u_noise,
        }
    }

    #[test]
    fn the_scatter_counts_where_it_is_larger_with_students_factor() {
        // t.975 for 4 degrees of freedom is 2.7764 (handbook tables); s of these is 1.5811.
        let m = mean(&[e(1.0, 0.1), e(2.0, 0.1), e(3.0, 0.1), e(4.0, 0.1), e(5.0, 0.1)]).unwrap();
        let want = 1.581_138_8 * 2.776_445 / 1.959_964 / 5f64.sqrt();
        assert!(
            (m.value - 3.0).abs() < 1e-12 && (m.u_noise - want).abs() < 1e-5,
            "{m:?}"
        );
        assert!((m.u - want.hypot(0.3)).abs() < 1e-5);
        let calm = mean(&[e(3.0, 0.5), e(3.0, 0.5)]).unwrap();
        assert!((calm.u_noise - 0.5 / 2f64.sqrt()).abs() < 1e-12);
    }
}
