//! The same work for many seeds, on as many threads as there are cores; what comes out does not depend on how many.

use std::ops::Range;
use std::sync::atomic::{AtomicU64, Ordering};

/// `work` of each seed, in their order.
pub fn for_each_seed<T: Send>(seeds: Range<u64>, work: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let next = AtomicU64::new(seeds.start);
    let share = || {
        let mut done = Vec::new();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= seeds.end {
                return done;
            }
            done.push((seed, work(seed)));
        }
    };
    let mut all = Vec::new();
    std::thread::scope(|scope| {
        let workers: Vec<_> = (1..threads).map(|_| scope.spawn(share)).collect();
        all = share();
        for worker in workers {
            match worker.join() {
                Ok(done) => all.extend(done),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
    });
    all.sort_by_key(|(seed, _)| *seed);
    all.into_iter().map(|(_, done)| done).collect()
}
