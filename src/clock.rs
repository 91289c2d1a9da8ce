//! The only file that asks what time it is; everyone else is given `now`.
//!
//! A [`Clock`] tells two times: the calendar's (which people set and which may jump) and a monotonic one (for waiting).
//! [`TurnedClock`] is turned by hand, so that a year passes in a test in milliseconds.

use std::future::Future;
use std::pin::Pin;
use std::sync::Mutex;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use tokio::sync::watch;

use crate::units::Time;

/// A source of time.
pub trait Clock: Send + Sync {
    /// The calendar's time now.
    fn now(&self) -> Time;

    /// Time since some fixed start; never goes back.
    fn monotonic(&self) -> Duration;

    /// Ends once this clock's monotonic time has reached `until`. An instant and not a span: what was decided at one
    /// reading of the clock holds although the clock was turned since.
    fn sleep_until(&self, until: Duration) -> Pin<Box<dyn Future<Output = ()> + Send + '_>>;
}

/// The machine's own clock.
pub struct SystemClock {
    start: Instant,
}

impl SystemClock {
    /// A clock whose monotonic time starts now.
    #[allow(clippy::new_without_default)]
    #[allow(clippy::disallowed_methods, reason = "this is the one place that asks")]
    pub fn new() -> Self {
        Self { start: Instant::now() }
    }
}

impl Clock for SystemClock {
    #[allow(clippy::disallowed_methods, reason = "this is the one place that asks")]
    fn now(&self) -> Time {
        let micros = match SystemTime::now().duration_since(UNIX_EPOCH) {
            Ok(after) => i64::try_from(after.as_micros()).unwrap_or(i64::MAX),
            Err(before) => -i64::try_from(before.duration().as_micros()).unwrap_or(i64::MAX),
        };
        Time::from_micros(micros)
    }

    fn monotonic(&self) -> Duration {
        self.start.elapsed()
    }

    fn sleep_until(&self, until: Duration) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        Box::pin(tokio::time::sleep(until.saturating_sub(self.monotonic())))
    }
}

/// A clock that stands still until it is turned.
pub struct TurnedClock {
    start: Time,
    passed: watch::Sender<Duration>,
    /// The calendar's jump against the monotonic time, in microseconds.
    jump: Mutex<i64>,
}

impl TurnedClock {
    /// A clock that shows `start`.
    pub fn new(start: Time) -> Self {
        Self { start, passed: watch::Sender::new(Duration::ZERO), jump: Mutex::new(0) }
    }

    /// Lets `span` pass and wakes all sleepers whose time has come.
    pub fn advance(&self, span: Duration) {
        self.passed.send_modify(|passed| *passed += span);
    }

    /// Sets the calendar to `to` while the monotonic time stands still, as a person or a time service would.
    pub fn set_calendar(&self, to: Time) {
        let steady = self.start.plus_span(*self.passed.borrow());
        *self.jump.lock().unwrap_or_else(|e| e.into_inner()) = to.micros().saturating_sub(steady.micros());
    }
}

impl Clock for TurnedClock {
    fn now(&self) -> Time {
        let steady = self.start.plus_span(*self.passed.borrow());
        let jump = *self.jump.lock().unwrap_or_else(|e| e.into_inner());
        Time::from_micros(steady.micros().saturating_add(jump))
    }

    fn monotonic(&self) -> Duration {
        *self.passed.borrow()
    }

    fn sleep_until(&self, until: Duration) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        let mut passed = self.passed.subscribe();
        Box::pin(async move {
            // The sender lives as long as `self`, so the wait cannot fail.
            let _ = passed.wait_for(|now| *now >= until).await;
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn sleepers_wake_when_turned() {
        let clock = std::sync::Arc::new(TurnedClock::new(Time::parse("2026-01-01T00:00:00Z").unwrap()));
        let sleeper = tokio::spawn({
            let clock = clock.clone();
            async move {
                clock.sleep_until(Duration::from_secs(86_400)).await;
                clock.now()
            }
        });
        tokio::task::yield_now().await;
        clock.advance(Duration::from_secs(90_000));
        assert_eq!(sleeper.await.unwrap().to_string(), "2026-01-02T01:00:00Z");
        clock.set_calendar(Time::parse("1970-01-01T00:00:00Z").unwrap());
        assert_eq!(clock.now().to_string(), "1970-01-01T00:00:00Z");
        assert_eq!(clock.monotonic(), Duration::from_secs(90_000));
    }
}
