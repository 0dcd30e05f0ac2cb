//! Work on many things by as many threads as there are processors.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What comes of each, in the order of the list.
pub fn each<T: Sync, R: Send>(list: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, R)>> = Mutex::new(Vec::new());
    let workers = std::thread::available_parallelism()
        .map_or(1, usize::from)
        .min(list.len());
    let some = || {
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = list.get(i) else { break };
            let ended = work(item);
            done.lock().unwrap_or_else(|e| e.into_inner()).push((i, ended));
        }
    };
    std::thread::scope(|scope| {
        let others: Vec<_> = (1..workers).map(|_| scope.spawn(some)).collect();
        some();
        for other in others {
            // A fault was told where it happened, once.
            if let Err(fault) = other.join() {
                std::panic::resume_unwind(fault);
            }
        }
    });
    let mut done = done.into_inner().unwrap_or_else(|e| e.into_inner());
    done.sort_by_key(|d| d.0);
    done.into_iter().map(|d| d.1).collect()
}
