//! What `ageing` knows: the device's lives from the ledger, and the dates that would have been said before.

use crate::cli::session::Session;
use crate::drift::{DeviceState, Fate, Params};
use crate::estimates::{self, Met};
use crate::ledger::{LedgerError, Store};
use crate::life::report::{Check, Checks, Found, Known, Question, Report, questions, report};
use crate::life::{Lives, Point};
use crate::reading::{EventKind, Source};
use crate::site::{AimWhite, Bias, Noise, Station};
use crate::station::leaving::{Leaving, leaving};
use crate::station::{Limits, Spread, Watched, grid, off_aim_probability};
use crate::units::{Days, DeviceId, Time, UvPrime};

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

/// How a device is held against its aim.
struct Held<'a> {
    device: &'a DeviceId,
    limits: Option<Limits>,
    max_risk: f64,
}

impl Held<'_> {
    fn watched<'s>(&'s self, params: &'s Params, state: &'s DeviceState) -> Watched<'s> {
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

    fn leaving(&self, params: &Params, state: &DeviceState, lives: &Lives, at: Time) -> Option<Leaving> {
        let limits = self.limits?;
        let watched = self.watched(params, state);
        let life = lives.0.iter().rfind(|life| life.began <= at)?;
        let readings = life.points().filter(|point| point.time <= at).count() as u64;
        Some(leaving(&watched, &limits, self.max_risk, readings, at))
    }
}

/// Days ahead that the drawing shows at most.
const DRAWN_DAYS: f64 = 730.0;

/// Reads everything there is about `device` up to `as_of`.
pub fn gather(store: &Store, session: &Session, device: &DeviceId, as_of: Time) -> Result<Gathered, LedgerError> {
    let things = &session.config.things;
    let stations: Vec<&Station> = things.stations_of(device).collect();
    let follows = things.display(device).is_some_and(|display| display.aim.white == AimWhite::Paper);
    let max_risk = stations.iter().map(|station| station.max_risk.get()).reduce(f64::min);
    let unknown = || LedgerError::Damaged { what: format!("{device} is no display or lamp") };
    let params = crate::aims::params_of(things, device).ok_or_else(unknown)?;
    let limited = !stations.is_empty() && !follows && params.aim_white.is_some();
    let limits = limited.then(|| Limits::strictest(&stations));
    let held = Held { device, limits, max_risk: max_risk.unwrap_or(0.2) };

    let mut lives = Lives::default();
    let mut setting: Option<String> = None;
    let estimate = estimates::history(store, things, device, as_of, |met, state| {
        note(&mut lives, &held, &params, met, state, &mut setting);
    })?
    .ok_or_else(unknown)?;

    let (asked, ended_before) = if limits.is_some() { questions(&lives) } else { (Vec::new(), 0) };
    let mut checks = Checks { ended_before, ..Checks::default() };
    for Question { share, asked, known } in asked {
        let then = estimates::at(store, things, device, asked)?.ok_or_else(unknown)?;
        let said = held.leaving(&then.params, &then.state, &lives, asked).filter(|said| said.about.is_some());
        match known {
            Known::Left(happened) => checks.asked.push(Check { share, asked, said, happened }),
            Known::OnAimUntil(end) => {
                checks.outlived += usize::from(said.and_then(|said| said.late).is_some_and(|late| late < end));
            }
        }
    }
    let leaving = held.leaving(&estimate.params, &estimate.state, &lives, as_of);
    let watched = held.watched(&estimate.params, &estimate.state);
    let until = leaving.as_ref().and_then(|l| l.late.or(l.about)).map_or(90.0, |time| time.since(as_of).0);
    let ahead = ahead(&estimate.params, &estimate.state, as_of, until.clamp(30.0, DRAWN_DAYS));
    let found = Found {
        rated_hours: things.lamp(device).and_then(|lamp| lamp.rated_hours).map(|hours| hours.0),
        max_age: stations.iter().map(|station| station.max_age.0).reduce(f64::min).map(Days),
        leaving,
        checks,
    };
    let report = report(&watched, &lives, found, as_of);
    Ok(Gathered { report, lives, limits, max_risk, ahead })
}

fn note(lives: &mut Lives, held: &Held, params: &Params, met: &Met, state: &DeviceState, setting: &mut Option<String>) {
    match met {
        Met::Event(row, _) if row.excluded.is_none() => match row.event.kind {
            EventKind::Replaced => lives.begin_life(row.event.time),
            EventKind::Recalibrated
            | EventKind::PartReplaced
            | EventKind::SettingChanged
            | EventKind::Moved
            | EventKind::Serviced => lives.begin_stretch(false),
            EventKind::Cleaned => lives.begin_stretch(true),
            EventKind::Retired | EventKind::CrossCalibrated | EventKind::NewBatch => {}
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
        hours: state.hours_of_use(time).and_then(|hours| hours.counter),
        u: u.unwrap_or_else(|| aim(|white| white.u)),
        v: v.unwrap_or_else(|| aim(|white| white.v)),
        ln_level: level,
        read_ln,
        off,
    }
}

fn ahead(params: &Params, state: &DeviceState, now: Time, days: f64) -> Vec<Ahead> {
    let times = grid(now, Days(days));
    let path = state.forecast(params, &times).likely;
    let [.., Some(level)] = &path.channels else { return Vec::new() };
    let rows = times.iter().zip(level.mean.iter().zip(&level.sd));
    rows.map(|(time, (mean, sd))| Ahead {
        time: *time,
        hours: state.hours_of_use(*time).and_then(|hours| hours.counter),
        ln_level: Spread { mean: *mean, sd: *sd },
    })
    .collect()
}
