//! Ways to follow a device, all with the same face: the product's, an oracle and the simple ones it must beat.

use super::device::{Logged, SimDevice};
use super::oracle::Oracle;
use super::simple::{self, Way};
use super::trend::Trend;
use crate::drift::{Act, ChannelPath, DeviceState, Forecast, Observation, Path};
use crate::units::{Days, Time};

/// Mean and sd of the true u′, v′, ln level.
pub type Guess = [(f64, f64); 3];

/// Which way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// The project's own.
    Product,
    /// See [`Way::Last`].
    LastReading,
    /// See [`Way::Line`].
    Line,
    /// See [`Way::LineOf8`].
    LineOf8,
    /// See [`Way::TheilSen`].
    TheilSen,
    /// A local linear trend by maximum likelihood, slope free.
    Likeliest,
    /// The average over its settings, with a weak prior on the slope and no gate.
    Averaged,
    /// One filter that knows every noise, the strays and the steps.
    Oracle,
}

impl Method {
    /// All, in the order of the table.
    pub const ALL: [Self; 8] = [
        Self::Product,
        Self::LastReading,
        Self::Line,
        Self::LineOf8,
        Self::TheilSen,
        Self::Likeliest,
        Self::Averaged,
        Self::Oracle,
    ];

    /// As the table calls it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Product => "product",
            Self::LastReading => "last",
            Self::Line => "line",
            Self::LineOf8 => "line of 8",
            Self::TheilSen => "Theil-Sen",
            Self::Likeliest => "likeliest",
            Self::Averaged => "average",
            Self::Oracle => "oracle",
        }
    }
}

/// Follows one device; fed in order of time.
#[derive(Debug, Clone)]
pub enum Follower {
    /// See [`Method::Product`].
    Product(Box<DeviceState>),
    /// See [`Method::Oracle`].
    Oracle(Box<Oracle>),
    /// Points since the device was last set anew, as (day, values).
    Simple(Vec<(f64, [f64; 3])>, Way),
    /// See [`Trend`].
    Trend(Box<Trend>),
}

impl Follower {
    /// One that has seen nothing.
    pub fn new(method: Method, device: &SimDevice) -> Self {
        let aim = device.recipe.aim();
        match method {
            Method::Product => Self::Product(Box::new(DeviceState::new(&device.recipe.params))),
            Method::Oracle => Self::Oracle(Box::new(Oracle::new(device))),
            Method::LastReading => Self::Simple(Vec::new(), Way::Last),
            Method::Line => Self::Simple(Vec::new(), Way::Line),
            Method::LineOf8 => Self::Simple(Vec::new(), Way::LineOf8),
            Method::TheilSen => Self::Simple(Vec::new(), Way::TheilSen),
            Method::Likeliest => Self::Trend(Box::new(Trend::new(aim, false))),
            Method::Averaged => Self::Trend(Box::new(Trend::new(aim, true))),
        }
    }

    /// Feeds it one entry; true where it reports an unlogged step.
    pub fn see(&mut self, device: &SimDevice, entry: &Logged) -> bool {
        let params = &device.recipe.params;
        let day = device.day_of(entry.time());
        match (self, entry) {
            (Self::Product(state), Logged::Reading(observation, _)) => {
                return state.absorb(params, observation).step.is_some();
            }
            (Self::Product(state), Logged::Event(happening)) => {
                state.note(params, happening);
            }
            (Self::Oracle(oracle), entry) => oracle.see(device, entry),
            (Self::Simple(points, _), Logged::Reading(observation, _)) => points.push((day, values(observation))),
            (Self::Simple(points, _), Logged::Event(happening)) => {
                *points = vec![(day, goal_of(device, happening.act))];
            }
            (Self::Trend(trend), Logged::Reading(observation, _)) => {
                let Observation { noise, .. } = observation;
                trend.read(day, values(observation), [noise.uv, noise.uv, noise.level]);
            }
            (Self::Trend(trend), Logged::Event(happening)) => {
                trend.set(day, goal_of(device, happening.act), happening.act == Act::Replaced);
            }
        }
        false
    }

    /// What it thinks lies ahead on each of `days`; nothing before the first reading.
    pub fn forecast(&self, device: &SimDevice, days: &[f64]) -> Option<Forecast> {
        let times: Vec<Time> = days.iter().map(|day| device.recipe.start.plus(Days(*day))).collect();
        let guesses = match self {
            Self::Product(state) => return Some(state.forecast(&device.recipe.params, &times)),
            Self::Oracle(oracle) => days.iter().map(|day| oracle.guess(device, *day)).collect(),
            Self::Simple(points, way) => {
                points.last()?;
                simple::guesses(*way, points, device.recipe.declared, days)
            }
            Self::Trend(trend) => trend.guesses(days),
        };
        let mut likely = path(&guesses);
        if let Self::Oracle(oracle) = self {
            for (c, channel) in likely.channels.iter_mut().enumerate() {
                let Some(channel) = channel else { continue };
                channel.fresh = days.iter().map(|day| oracle.fresh(device, c, *day, *day)).collect();
                channel.fresh_next = days.windows(2).map(|w| oracle.fresh(device, c, w[0], w[1])).collect();
            }
        }
        Some(Forecast { times, likely, possible: Vec::new() })
    }
}

/// The path of plain guesses: all their spread is of the present and the trend.
fn path(guesses: &[Guess]) -> Path {
    let channels = [0, 1, 2].map(|c: usize| {
        Some(ChannelPath {
            mean: guesses.iter().map(|guess| guess[c].0).collect(),
            sd: guesses.iter().map(|guess| guess[c].1).collect(),
            fresh: vec![0.0; guesses.len()],
            fresh_next: vec![0.0; guesses.len().saturating_sub(1)],
        })
    });
    Path { channels }
}

/// What a reading says of u′, v′, ln level.
pub fn values(observation: &Observation) -> [f64; 3] {
    [observation.white.u, observation.white.v, observation.ln_level.unwrap_or_default()]
}

/// Where an act sets the device: the target it names, else the aim.
pub fn goal_of(device: &SimDevice, act: Act) -> [f64; 3] {
    let aim = device.recipe.aim();
    match act {
        Act::Recalibrated { target: Some(target) } => [target.uv.u, target.uv.v, target.ln_level.unwrap_or(aim[2])],
        _ => aim,
    }
}
