//! What demands that something be done: forecasts, ages of readings, held readings, certificates, and lamps and displays that come to
//! their end. Pure.
//!
//! Reminders demand too; whether a run was served is asked of the record, so their demands are made where that is read.

use chrono::NaiveDate;

use super::due::{Because, Demand, Work};
use crate::drift::{HoursInUse, Thing};
use crate::life::maintenance::LeftAt;
use crate::life::report::Projection;
use crate::site::{Instrument, Station};
use crate::station::leaving::{Cause, Leaving};
use crate::station::{Advice, Call, Judgement};
use crate::units::{Days, DeviceId, Hours, StationId, Time};
use crate::zone::LocalZone;

/// A certificate is spoken of this long before it ends (a laboratory takes weeks; common practice).
pub const CERTIFICATE_NOTICE: Days = Days(30.0);
/// A lamp's end is spoken of from this share of its rated hours on, so that the next one can be ordered.
pub const RATED_NOTICE: f64 = 0.9;
/// A lamp that gives less than this share of its first light has had its useful life (L70; common practice).
pub const USEFUL_LIGHT: f64 = 0.7;

/// What a station's judgement calls for, by its days.
pub fn of_forecast(judgement: &Judgement) -> Vec<Demand> {
    judgement.calls.iter().filter_map(|call| of_call(&judgement.station, call)).collect()
}

fn of_call(station: &StationId, call: &Call) -> Option<Demand> {
    let (work, device) = match &call.advice {
        Advice::Read { device } => (Work::Read, Some(device)),
        Advice::ReadPaper { lamp, .. } => (Work::ReadPaper, Some(lamp)),
        Advice::RecalibrateToAim { display, .. } | Advice::RecalibrateToPaper { display, .. } => {
            (Work::Recalibrate, Some(display))
        }
        Advice::TurnDimmer { lamp, .. } => (Work::TurnDimmer, Some(lamp)),
        Advice::TurnColourDial { lamp, .. } => (Work::TurnColourDial, Some(lamp)),
        Advice::CleanLamp { lamp, .. } => (Work::Clean, Some(lamp)),
        Advice::ReplaceLamp { lamp, .. } => (Work::Replace, Some(lamp)),
        Advice::ShutOutLight { .. } => (Work::ShutOutLight, None),
        // Said of the device itself, whichever station it belongs to.
        Advice::LookAtHeld { .. } => return None,
    };
    let because = Because::Forecast { station: station.clone(), advice: call.advice.clone(), why: call.why };
    Some(Demand { date: call.by, work, device: device.cloned(), because })
}

/// When a device leaves its aim by itself: a lamp is then replaced, a display recalibrated. Nothing where it is only the doubt
/// that grows; readings see to that.
pub fn of_leaving(device: &DeviceId, thing: Thing, leaving: &Leaving) -> Option<Demand> {
    let about = leaving.about.filter(|_| leaving.cause.is_some_and(|cause| cause != Cause::Doubt))?;
    let work = match thing {
        Thing::Lamp(_) => Work::Replace,
        Thing::Display => Work::Recalibrate,
    };
    let date = leaving.act_by.map_or(about, |by| by.min(about));
    let because = Because::LeavesAim { thing, leaving: leaving.clone() };
    Some(Demand { date, work, device: Some(device.clone()), because })
}

/// When a lamp's light has fallen to [`USEFUL_LIGHT`] of its first, by the arithmetic of a long record; nothing where that lies
/// farther ahead than may be said.
pub fn of_light(lamp: &DeviceId, record: &Projection, used: &HoursInUse, now: Time) -> Option<Demand> {
    let (hours, past) = match record.fit.left_at(USEFUL_LIGHT) {
        LeftAt::Passed(hours) => (hours, true),
        LeftAt::Projected(hours) => (hours, false),
        LeftAt::After(_) => return None,
    };
    let counter = record.counter_from + hours;
    let reached = used.reaches(counter - used.began_at)?;
    let date = if past { now } else { reached.date.max(now) };
    let because =
        Because::LightLeft { share: USEFUL_LIGHT, counter: Hours(counter), reached: (!past).then_some(reached) };
    Some(Demand { date, work: Work::Replace, device: Some(lamp.clone()), because })
}

/// When the last reading of a device grows too old for the strictest of its stations.
pub fn of_age(device: &DeviceId, last: Time, stations: &[&Station]) -> Option<Demand> {
    let strictest = stations.iter().min_by(|a, b| a.max_age.0.total_cmp(&b.max_age.0))?;
    let because = Because::MaxAge { station: strictest.id.clone(), last, limit: strictest.max_age };
    Some(Demand { date: last.plus(strictest.max_age), work: Work::Read, device: Some(device.clone()), because })
}

/// Readings that wait for a person.
pub fn of_held(device: &DeviceId, count: u64, now: Time) -> Option<Demand> {
    let because = Because::Held { count };
    (count > 0).then(|| Demand { date: now, work: Work::LookAtHeld, device: Some(device.clone()), because })
}

/// The end of an instrument's certificate: the first instant at which it is no longer good.
pub fn of_certificate(instrument: &Instrument, zone: LocalZone) -> Option<Demand> {
    let until = instrument.certificate_until?;
    let device = DeviceId::new(instrument.id.as_str()).ok();
    let because = Because::Certificate { until };
    Some(Demand { date: certificate_ends(until, zone), work: Work::Certificate, device, because })
}

/// The first instant at which a certificate is no longer good.
fn certificate_ends(until: NaiveDate, zone: LocalZone) -> Time {
    zone.first_of(until.succ_opt().unwrap_or(until))
}

/// How a certificate stands at `now`.
pub fn certificate_stage(until: NaiveDate, now: Time, zone: LocalZone) -> Stage {
    let ends = certificate_ends(until, zone);
    if now >= ends {
        Stage::Over
    } else if ends.since(now) <= CERTIFICATE_NOTICE {
        Stage::Near
    } else {
        Stage::Far
    }
}

/// When a lamp reaches its rated hours; nothing where the lamp that stands there reported none.
pub fn of_rated_hours(lamp: &DeviceId, rated: Hours, used: &HoursInUse, now: Time) -> Option<Demand> {
    let (burnt, reached) = used.burnt(now).zip(used.reaches(rated.0))?;
    let because = Because::RatedHours { now: Hours(burnt), rated, reached };
    Some(Demand { date: reached.date, work: Work::Replace, device: Some(lamp.clone()), because })
}

/// How a lamp's hours stand against those it is rated for.
pub fn rated_stage(hours: f64, rated: Hours) -> Stage {
    /// A count that was carried on and then read may be a little lower than thought.
    const SURELY_FAR: f64 = 0.85;
    let share = hours / rated.0;
    if share >= 1.0 {
        Stage::Over
    } else if share >= RATED_NOTICE {
        Stage::Near
    } else if share >= SURELY_FAR {
        Stage::Nearing
    } else {
        Stage::Far
    }
}

/// How near the end of something is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// Nothing to say.
    Far,
    /// Not near enough to speak of, but no reason to take back what was said.
    Nearing,
    /// To be spoken of.
    Near,
    /// Past.
    Over,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_certificate_is_good_on_its_last_day() {
        let zone = LocalZone(chrono_tz::America::New_York);
        let until = NaiveDate::from_ymd_opt(2026, 3, 31).unwrap();
        let stage = |at: &str| certificate_stage(until, Time::parse(at).unwrap(), zone);
        assert_eq!(stage("2026-03-01T12:00:00Z"), Stage::Far);
        assert_eq!(stage("2026-03-02T12:00:00Z"), Stage::Near);
        assert_eq!(stage("2026-04-01T03:59:59Z"), Stage::Near, "in New York it is still the 31st");
        assert_eq!(stage("2026-04-01T04:00:00Z"), Stage::Over);
    }

    #[test]
    fn hours_have_their_stages() {
        let stage = |hours| rated_stage(hours, Hours(10_000.0));
        assert_eq!(
            [8400.0, 8600.0, 9000.0, 10_000.0].map(stage),
            [Stage::Far, Stage::Nearing, Stage::Near, Stage::Over]
        );
    }
}
