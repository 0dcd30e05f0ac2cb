//! Work on many things by as many threads as there are processors.

use std::sync::atomic::{AtomicUsize, Ordering};

/// What comes of each, in the order of the list.
pub fn each<T: Sync, R: Send>(list: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let workers = std::thread::available_parallelism()
        .map_or(1, usize::from)
        .min(list.len());
    let some = || {
        let mut done = Vec::new();
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = list.get(i) else { break done };
            done.push((i, work(item)));
        }
    };
    let mut done = std::thread::scope(|scope| {
        let others: Vec<_> = (1..workers).map(|_| scope.spawn(some)).collect();
        let mut done = some();
        for other in others {
            // A fault was told where it happened, once.
            done.extend(other.join().unwrap_or_else(|fault| std::panic::resume_unwind(fault)));
        }
        done
    });
    done.sort_by_key(|d| d.0);
    done.into_iter().map(|d| d.1).collect()
}
