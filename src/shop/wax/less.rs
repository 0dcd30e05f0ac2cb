//! Which of a dip took clearly less than their mates.

use super::document::{Pair, TookLess};
use crate::stats::odd::{below, odd};
use crate::stats::{mean, sd};

/// Of clean dips so many have one that is named.
const RISK: f64 = 0.05;

/// Names them; `before`: the changes that this shop's wax made before, in farads, whose scatter tells more than that of one dip.
pub(super) fn name(pairs: &mut [Pair], before: Option<&[f64]>) {
    let of_wax = pairs.iter().enumerate().filter(|(_, p)| p.is_of_wax());
    let (dip, values): (Vec<usize>, Vec<f64>) = of_wax.filter_map(|(i, p)| Some((i, p.c_f?.value))).unzip();
    let known = before.and_then(|b| Some((sd(b)?, (b.len() - 1) as f64)));
    let low = match known {
        Some(known) => below(&values, known, RISK),
        None => {
            let far = odd(&values, RISK).into_iter().map(|o| o.at);
            let low = |at: &usize| mean(&values).is_some_and(|m| values[*at] < m);
            far.filter(low).collect()
        }
    };
    pairs.iter_mut().for_each(|p| p.took_less = None);
    let rest = (0..values.len()).filter(|i| !low.contains(i));
    let rest: Vec<f64> = rest.map(|i| values[i]).collect();
    let Some(mates_c_f) = mean(&rest) else { return };
    for at in low {
        pairs[dip[at]].took_less = Some(TookLess {
            c_f: values[at],
            mates_c_f,
            by_history: known.is_some(),
        });
    }
}
