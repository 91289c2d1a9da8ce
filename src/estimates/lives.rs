//! The lives of a device from the ledger, and how it is held against its aim.
//!
//! What lives here: walking its records into [`Lives`]. What does not: what follows from them (`life`), and when a device leaves its
//! aim (`station::leaving`).

use super::{Met, history};
use crate::drift::{DeviceState, Fate, Params};
use crate::estimates::Estimate;
use crate::ledger::{LedgerError, Store};
use crate::life::{Lives, Point};
use crate::reading::{EventKind, Source};
use crate::site::{AimWhite, Bias, Noise, Station, Things};
use crate::station::leaving::{Leaving, leaving};
use crate::station::{Limits, Spread, Watched, off_aim_probability};
use crate::units::{DeviceId, Time, UvPrime};

/// How a device is held against its aim.
#[derive(Debug, Clone, Copy)]
pub struct Held<'a> {
    device: &'a DeviceId,
    /// How far it may be from its aim; absent where nothing asks for it.
    pub limits: Option<Limits>,
    /// The risk at which its stations call for something to be done; absent where it has none.
    pub max_risk: Option<f64>,
}

impl<'a> Held<'a> {
    /// By the narrowest tolerance of its stations. A display that follows the paper has no aim of its own to leave.
    pub fn of(things: &Things, device: &'a DeviceId, params: &Params) -> Self {
        let stations: Vec<&Station> = things.stations_of(device).collect();
        let follows = things.display(device).is_some_and(|display| display.aim.white == AimWhite::Paper);
        let limited = !stations.is_empty() && !follows && params.aim_white.is_some();
        Self {
            device,
            limits: limited.then(|| Limits::strictest(&stations)),
            max_risk: stations.iter().map(|station| station.max_risk.get()).reduce(f64::min),
        }
    }

    /// Without them, where nobody asks when it left its aim; that spares most of the walk.
    pub fn without_limits(self) -> Self {
        Self { limits: None, ..self }
    }

    /// The device as its state has it.
    pub fn watched<'s>(&'s self, params: &'s Params, state: &'s DeviceState) -> Watched<'s> {
        Watched {
            id: self.device,
            params,
            state,
            // Without an aim there are no limits, and nobody asks for it.
            aim: params.aim_white.unwrap_or(UvPrime { u: 0.2, v: 0.47 }),
            aim_level: params.aim_ln_level.map(libm::exp),
            bias: Bias::default(),
            noise: Noise::default(),
        }
    }

    /// When it leaves its aim; `None` where it has no limits.
    pub fn leaving(&self, estimate: &Estimate, at: Time) -> Option<Leaving> {
        // Without a station there are no limits either.
        let (limits, max_risk) = self.limits.zip(self.max_risk)?;
        Some(leaving(&self.watched(&estimate.params, &estimate.state), &limits, max_risk, at))
    }
}

/// Walks the records of the device up to and including `to` into its lives; `None` for what is no display or lamp of the site.
/// Every reading is met anew, which takes its time on long records.
pub fn lives(store: &Store, things: &Things, held: &Held, to: Time) -> Result<Option<(Lives, Estimate)>, LedgerError> {
    let Some(params) = crate::aims::params_of(things, held.device) else { return Ok(None) };
    let mut lives = Lives::default();
    let mut setting: Option<String> = None;
    let walked = history(store, things, held.device, to, |met, state| {
        note(&mut lives, held, &params, met, state, &mut setting);
    })?;
    Ok(walked.map(|estimate| (lives, estimate)))
}

fn note(lives: &mut Lives, held: &Held, params: &Params, met: &Met, state: &DeviceState, setting: &mut Option<String>) {
    match met {
        Met::Event(row, _) if row.excluded.is_none() => match row.event.kind {
            EventKind::Replaced => lives.begin_life(row.event.time),
            EventKind::Recalibrated
            | EventKind::PartReplaced
            | EventKind::SettingChanged
            | EventKind::Moved
            | EventKind::Damaged
            | EventKind::Repaired
            | EventKind::Firmware
            | EventKind::Serviced => lives.begin_stretch(false),
            EventKind::Cleaned => lives.begin_stretch(true),
            EventKind::Retired
            | EventKind::CrossCalibrated
            | EventKind::NewBatch
            | EventKind::Certificate
            | EventKind::Adjusted => {}
        },
        Met::Reading(row, absorbed) => {
            let now = state.setting().map(str::to_owned);
            let turned = setting.is_some() && now != *setting;
            *setting = now;
            if turned || absorbed.step.is_some() {
                lives.begin_stretch(false);
            }
            // A label is no measurement to age from.
            if absorbed.fate.is_used() && row.source == Source::Measured {
                lives.read(point(held, params, state, row.time, row.ln_level.filter(|_| absorbed.fate == Fate::Used)));
            }
        }
        Met::Event(..) | Met::Passed(_) => {}
    }
}

fn point(held: &Held, params: &Params, state: &DeviceState, time: Time, read_ln: Option<f64>) -> Point {
    let path = state.forecast(params, &[time]).likely;
    let [u, v, level] = path.channels.map(|channel| {
        let channel = channel?;
        Some(Spread { mean: *channel.mean.first()?, sd: *channel.sd.first()? })
    });
    let aim = |of: fn(&UvPrime) -> f64| Spread { mean: params.aim_white.as_ref().map_or(0.0, of), sd: 0.02 };
    let off = held.limits.map(|limits| off_aim_probability(&held.watched(params, state), &limits, time));
    Point {
        time,
        hours: state.hours_in_use().and_then(|hours| hours.counter_at(time)),
        u: u.unwrap_or_else(|| aim(|white| white.u)),
        v: v.unwrap_or_else(|| aim(|white| white.v)),
        ln_level: level,
        read_ln,
        off,
    }
}
