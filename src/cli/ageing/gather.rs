//! What `ageing` knows: the device's lives from the ledger, and the dates that would have been said before.

use crate::cli::session::Session;
use crate::drift::{DeviceState, Params};
use crate::estimates::{self, Held, lives};
use crate::ledger::{LedgerError, Store};
use crate::life::Lives;
use crate::life::report::{Check, Checks, Found, Known, Question, Report, questions, report};
use crate::station::{Limits, Spread, grid};
use crate::units::{Days, DeviceId, Time};

/// What was found out.
pub struct Gathered {
    pub report: Report,
    pub lives: Lives,
    /// How far it may be from its aim; absent where nothing asks for it.
    pub limits: Option<Limits>,
    /// The risk at which its stations call for something to be done.
    pub max_risk: Option<f64>,
    /// ln level ahead: time, counter, mean and sd.
    pub ahead: Vec<Ahead>,
}

/// The level at a time ahead.
pub struct Ahead {
    pub time: Time,
    pub hours: Option<f64>,
    pub ln_level: Spread,
}

/// Days ahead that the drawing shows at most.
const DRAWN_DAYS: f64 = 730.0;

/// Reads everything there is about `device` up to `as_of`.
pub fn gather(store: &Store, session: &Session, device: &DeviceId, as_of: Time) -> Result<Gathered, LedgerError> {
    let things = &session.config.things;
    let unknown = || LedgerError::Damaged { what: format!("{device} is no display or lamp") };
    let params = crate::aims::params_of(things, device).ok_or_else(unknown)?;
    let held = Held::of(things, device, &params);
    let (limits, max_risk) = (held.limits, held.max_risk);
    let (lives, estimate) = lives(store, things, &held, as_of)?.ok_or_else(unknown)?;

    let (asked, ended_before) = if limits.is_some() { questions(&lives) } else { (Vec::new(), 0) };
    let mut checks = Checks { ended_before, ..Checks::default() };
    for Question { share, asked, known } in asked {
        let then = estimates::at(store, things, device, asked)?.ok_or_else(unknown)?;
        let said = held.leaving(&then, asked).filter(|said| said.about.is_some());
        match known {
            Known::Left(happened) => checks.asked.push(Check { share, asked, said, happened }),
            Known::OnAimUntil(end) => {
                checks.outlived += usize::from(said.and_then(|said| said.late).is_some_and(|late| late < end));
            }
        }
    }
    let leaving = held.leaving(&estimate, as_of);
    let watched = held.watched(&estimate.params, &estimate.state);
    let until = leaving.as_ref().and_then(|l| l.late.or(l.about)).map_or(90.0, |time| time.since(as_of).0);
    let ahead = ahead(&estimate.params, &estimate.state, as_of, until.clamp(30.0, DRAWN_DAYS));
    let found = Found {
        rated_hours: things.lamp(device).and_then(|lamp| lamp.rated_hours).map(|hours| hours.0),
        max_age: things.stations_of(device).map(|station| station.max_age.0).reduce(f64::min).map(Days),
        leaving,
        checks,
    };
    let report = report(&watched, &lives, found, as_of);
    Ok(Gathered { report, lives, limits, max_risk, ahead })
}

fn ahead(params: &Params, state: &DeviceState, now: Time, days: f64) -> Vec<Ahead> {
    let times = grid(now, Days(days));
    let path = state.forecast(params, &times).likely;
    let [.., Some(level)] = &path.channels else { return Vec::new() };
    let rows = times.iter().zip(level.mean.iter().zip(&level.sd));
    rows.map(|(time, (mean, sd))| Ahead {
        time: *time,
        hours: state.hours_in_use().and_then(|hours| hours.counter_at(*time)),
        ln_level: Spread { mean: *mean, sd: *sd },
    })
    .collect()
}
