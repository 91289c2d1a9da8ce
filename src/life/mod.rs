//! The lives of a device: how each thing that stood in its place aged. Pure.
//!
//! A *life* begins with the first reading or a replacement and ends with the next one. Within it, each setting by hand
//! (recalibration, dimmer, service, move) and each unlogged jump begins a new *stretch*: what the device did by itself is the sum over
//! its stretches, what people did to it in between is left out. Cleaning gives light back that was lost to dust, and counts.
//!
//! [`maintenance`] is TM-21's arithmetic for long records, [`report`] all that is said of a device's ageing at one instant.

pub mod maintenance;
pub mod report;

use crate::station::Spread;
use crate::units::{Days, Time, UvPrime};

/// The model just after a reading that it used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// When it was read.
    pub time: Time,
    /// The hours counter then, read or carried on.
    pub hours: Option<f64>,
    /// u′.
    pub u: Spread,
    /// v′.
    pub v: Spread,
    /// ln level, where it was ever read.
    pub ln_level: Option<Spread>,
    /// ln level as it was read.
    pub read_ln: Option<f64>,
    /// Probability that the device was off its aim; absent where it has no limits.
    pub off: Option<f64>,
}

/// A time in which nobody touched the device's light.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Stretch {
    /// The readings in it, in order.
    pub points: Vec<Point>,
    /// The light runs on from the stretch before: nothing was set, only dust taken off.
    joined: bool,
}

/// One thing in its place, from its beginning to its replacement.
#[derive(Debug, Clone, PartialEq)]
pub struct Life {
    /// When it was put in place; of the first one, when it was first read.
    pub began: Time,
    /// When the next one replaced it.
    pub ended: Option<Time>,
    /// Its stretches, in order; never empty.
    pub stretches: Vec<Stretch>,
    /// Its counter ran on from its predecessor's, which ended here.
    counter_from: f64,
}

/// All lives of a device, in order.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Lives(pub Vec<Life>);

/// How long a thing has served: in hours of use where it counts them, else in days of the calendar.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub enum Age {
    Hours(f64),
    Days(f64),
}

impl Age {
    /// Its number, in its own unit.
    pub const fn number(self) -> f64 {
        match self {
            Self::Hours(number) | Self::Days(number) => number,
        }
    }
}

/// A life at one of its readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aged {
    /// When.
    pub time: Time,
    /// How old it was.
    pub age: Age,
    /// ln of the light left of its first, and its standard deviation; absent where no level was read.
    pub ln_left: Option<Spread>,
    /// How far its white has moved by itself since its first reading: u′ and v′.
    pub moved: (Spread, Spread),
}

impl Lives {
    /// A new thing stands in the place.
    pub fn begin_life(&mut self, at: Time) {
        let counter_from = self.0.last().and_then(Life::last_hours).unwrap_or(0.0);
        match self.0.last_mut() {
            // Replaced before it was ever read.
            Some(life) if life.points().next().is_none() => life.began = at,
            Some(life) => {
                life.ended = Some(at);
                self.0.push(Life::new(at, counter_from));
            }
            None => self.0.push(Life::new(at, counter_from)),
        }
    }

    /// Something set its light anew; after mere cleaning (`joined`) the light runs on.
    pub fn begin_stretch(&mut self, joined: bool) {
        let Some(life) = self.0.last_mut() else { return };
        match life.stretches.last_mut() {
            Some(stretch) if stretch.points.is_empty() => stretch.joined &= joined,
            _ => life.stretches.push(Stretch { points: Vec::new(), joined }),
        }
    }

    /// A reading was used.
    pub fn read(&mut self, point: Point) {
        if self.0.is_empty() {
            self.begin_life(point.time);
        }
        let Some(life) = self.0.last_mut() else { return };
        // A counter that went back was the new thing's own.
        if life.points().next().is_none() && point.hours.is_some_and(|hours| hours < life.counter_from) {
            life.counter_from = 0.0;
        }
        if let Some(stretch) = life.stretches.last_mut() {
            stretch.points.push(point);
        }
    }

    /// The thing that stands there now.
    pub fn current(&self) -> Option<&Life> {
        self.0.last()
    }
}

impl Life {
    fn new(began: Time, counter_from: f64) -> Self {
        Self { began, ended: None, stretches: vec![Stretch::default()], counter_from }
    }

    /// All its readings, in order.
    pub fn points(&self) -> impl Iterator<Item = &Point> {
        self.stretches.iter().flat_map(|stretch| &stretch.points)
    }

    fn last_hours(&self) -> Option<f64> {
        self.points().filter_map(|point| point.hours).last()
    }

    /// Whether its hours are known throughout.
    pub fn counts_hours(&self) -> bool {
        self.points().next().is_some() && self.points().all(|point| point.hours.is_some())
    }

    /// How old it is at `time`, its counter then showing `hours`.
    pub fn age(&self, time: Time, hours: Option<f64>) -> Age {
        match hours {
            Some(hours) if self.counts_hours() => Age::Hours((hours - self.counter_from).max(0.0)),
            _ => Age::Days(time.since(self.began).0.max(0.0)),
        }
    }

    /// The readings since its light was last set: counter, and share of the first light as read. What TM-21's arithmetic takes.
    pub fn record(&self) -> Vec<(f64, f64)> {
        let since = self.stretches.iter().rposition(|stretch| !stretch.joined).unwrap_or(0);
        let read = || {
            let points = self.stretches.iter().skip(since).flat_map(|stretch| &stretch.points);
            points.filter_map(|point| Some((point.hours?, point.read_ln?, point.ln_level?.mean)))
        };
        let Some((_, _, first)) = read().next() else { return Vec::new() };
        read().map(|(hours, ln, _)| (hours, libm::exp(ln - first))).collect()
    }

    /// Its ageing, reading by reading: the sum of what it did within its stretches.
    pub fn ageing(&self) -> Vec<Aged> {
        let mut aged: Vec<Aged> = Vec::new();
        let nothing = Spread { mean: 0.0, sd: 0.0 };
        let (mut ln, mut u, mut v): (Option<Spread>, Spread, Spread) = (None, nothing, nothing);
        let (mut first, mut first_ln): (Option<Point>, Option<Spread>) = (None, None);
        for stretch in &self.stretches {
            if !stretch.joined {
                if let Some(last) = aged.last() {
                    (ln, (u, v)) = (last.ln_left, last.moved);
                }
                (first, first_ln) = (None, None);
            }
            for point in &stretch.points {
                let start = *first.get_or_insert(*point);
                if first_ln.is_none() {
                    first_ln = point.ln_level;
                }
                let same = start.time == point.time;
                let ln_left = first_ln.zip(point.ln_level).map(|(from, to)| {
                    // The first reading itself is where counting begins, whatever its scatter.
                    let before = ln.unwrap_or(nothing);
                    if same { before } else { sum(before, from, to) }
                });
                let moved = if same { (u, v) } else { (sum(u, start.u, point.u), sum(v, start.v, point.v)) };
                aged.push(Aged {
                    time: point.time,
                    age: self.age(point.time, point.hours),
                    ln_left: ln_left.or(ln),
                    moved,
                });
            }
        }
        aged
    }
}

/// What was before, and the way from one value to another.
fn sum(before: Spread, from: Spread, to: Spread) -> Spread {
    Spread { mean: before.mean + to.mean - from.mean, sd: before.sd.hypot(from.sd).hypot(to.sd) }
}

/// ln of the light left at `age`, straight between readings; `None` outside what was read, or where the ages are of another kind.
pub fn left_at_age(aged: &[Aged], age: Age) -> Option<f64> {
    let of_kind = |other: &Age| matches!((other, age), (Age::Hours(_), Age::Hours(_)) | (Age::Days(_), Age::Days(_)));
    let known: Vec<(f64, f64)> = aged
        .iter()
        .filter(|one| of_kind(&one.age))
        .filter_map(|one| Some((one.age.number(), one.ln_left?.mean)))
        .collect();
    let at = age.number();
    known.windows(2).find_map(|pair| match pair {
        [(a, x), (b, y)] if (*a..=*b).contains(&at) && b > a => Some(x + (y - x) * (at - a) / (b - a)),
        _ => None,
    })
}

impl Stretch {
    /// When the device left its aim by itself: halfway odds, straight between the reading before and the one that shows it. `None`
    /// where it did not, or was off from the first reading.
    pub fn left_aim(&self) -> Option<Time> {
        self.points.windows(2).find_map(|pair| match pair {
            [Point { time: t0, off: Some(a), .. }, Point { time: t1, off: Some(b), .. }] if *a <= 0.5 && *b > 0.5 => {
                Some(t0.plus(Days((0.5 - a) / (b - a) * t1.since(*t0).0)))
            }
            _ => None,
        })
    }
}

/// The white at a point.
pub fn white_of(point: &Point) -> UvPrime {
    UvPrime { u: point.u.mean, v: point.v.mean }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(day: f64, hours: Option<f64>, lx: f64, off: f64) -> Point {
        let spot = |mean| Spread { mean, sd: 0.001 };
        Point {
            time: Time::from_micros(0).plus(Days(day)),
            hours,
            u: spot(0.2 + 1e-5 * day),
            v: spot(0.47),
            ln_level: Some(Spread { mean: libm::log(lx), sd: 0.01 }),
            read_ln: Some(libm::log(lx)),
            off: Some(off),
        }
    }

    fn left(life: &Life) -> f64 {
        libm::exp(life.ageing().last().unwrap().ln_left.unwrap().mean)
    }

    #[test]
    fn what_people_did_is_left_out() {
        let mut lives = Lives::default();
        for (day, lx) in [(0.0, 500.0), (100.0, 450.0)] {
            lives.read(at(day, None, lx, 0.1));
        }
        // The dimmer is turned up; later dust is taken off.
        lives.begin_stretch(false);
        for (day, lx) in [(101.0, 600.0), (200.0, 540.0)] {
            lives.read(at(day, None, lx, 0.1));
        }
        lives.begin_stretch(true);
        lives.read(at(210.0, None, 570.0, 0.1));
        let life = lives.current().unwrap();
        // 0.9 of the first stretch, then 570/600.
        assert!((left(life) - 0.9 * 0.95).abs() < 1e-12, "{}", left(life));
        let last = *life.ageing().last().unwrap();
        assert_eq!(last.age, Age::Days(210.0));
        assert!((last.moved.0.mean - (1e-3 + 1.09e-3)).abs() < 1e-12);
        let half = libm::exp(left_at_age(&life.ageing(), Age::Days(50.0)).unwrap());
        assert!((half - libm::sqrt(0.9)).abs() < 1e-9);
        assert_eq!(left_at_age(&life.ageing(), Age::Hours(50.0)), None);
    }

    #[test]
    fn a_counter_may_begin_anew_or_run_on() {
        let two = |second: [f64; 2]| {
            let mut lives = Lives::default();
            lives.read(at(0.0, Some(100.0), 500.0, 0.1));
            lives.read(at(100.0, Some(1100.0), 480.0, 0.1));
            lives.begin_life(Time::from_micros(0).plus(Days(101.0)));
            lives.read(at(102.0, Some(second[0]), 500.0, 0.1));
            lives.read(at(150.0, Some(second[1]), 490.0, 0.1));
            let life = lives.current().unwrap().clone();
            assert_eq!(lives.0.len(), 2);
            life.ageing().last().unwrap().age
        };
        assert_eq!(two([8.0, 400.0]), Age::Hours(400.0));
        assert_eq!(two([1108.0, 1500.0]), Age::Hours(400.0));
    }

    #[test]
    fn leaving_is_dated_between_two_readings() {
        let stretch = |offs: &[f64]| Stretch {
            points: offs.iter().enumerate().map(|(n, off)| at(10.0 * n as f64, None, 500.0, *off)).collect(),
            joined: false,
        };
        assert_eq!(stretch(&[0.1, 0.4, 0.8]).left_aim(), Some(Time::from_micros(0).plus(Days(12.5))));
        assert_eq!(stretch(&[0.9, 0.9]).left_aim(), None, "off from the start");
        assert_eq!(stretch(&[0.1, 0.2]).left_aim(), None);
    }

    #[test]
    fn a_life_that_was_never_read_leaves_no_trace() {
        let mut lives = Lives::default();
        lives.begin_stretch(false);
        lives.begin_life(Time::from_micros(0));
        lives.begin_life(Time::from_micros(5));
        lives.read(at(1.0, None, 500.0, 0.1));
        assert_eq!(lives.0.len(), 1);
        assert_eq!(lives.0[0].began, Time::from_micros(5));
    }
}
