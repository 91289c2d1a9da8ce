//! What the benches share: timing, medians and their ratio.

use std::time::Duration;

use twinwhite::clock::{Clock, SystemClock};

pub type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

pub fn timed<T>(clock: &SystemClock, work: impl FnOnce() -> Outcome<T>) -> Outcome<Duration> {
    let start = clock.monotonic();
    std::hint::black_box(work()?);
    Ok(clock.monotonic() - start)
}

pub fn median(times: &mut [Duration]) -> Duration {
    times.sort();
    times.get(times.len() / 2).copied().unwrap_or_default()
}

pub fn ratio(ours: Duration, raw: Duration) -> f64 {
    ours.as_secs_f64() / raw.as_secs_f64()
}
