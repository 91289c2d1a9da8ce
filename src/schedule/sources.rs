//! What demands that something be done: forecasts, ages of readings, held readings, certificates, and lamps and displays that come to
//! their end. Pure.
//!
//! Reminders demand too; whether a run was served is asked of the record, so their demands are made where that is read.

use chrono::NaiveDate;

use super::due::{Because, Demand, Work};
use crate::drift::{HoursInUse, Thing};
use crate::life::maintenance::LeftAt;
use crate::life::report::Projection;
use crate::site::Station;
use crate::station::leaving::{Cause, Leaving};
use crate::station::{Advice, Call, Judgement};
use crate::units::{Days, DeviceId, Hours, InstrumentId, StationId, Time};
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
        Advice::LookAtJump { device, .. } => (Work::LookAtJump, Some(device)),
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
pub fn of_certificate(instrument: &InstrumentId, until: NaiveDate, zone: LocalZone) -> Demand {
    let device = DeviceId::new(instrument.as_str()).ok();
    let because = Because::Certificate { until };
    // The last instant at which it is good, so that the day is one on which something can still be done.
    let date = certificate_ends(until, zone).plus(Days(-1.0 / 86_400.0));
    Demand { date, work: Work::Certificate, device, because }
}

/// An instrument that is damaged.
pub fn of_damage(instrument: &InstrumentId, since: Time) -> Demand {
    let device = DeviceId::new(instrument.as_str()).ok();
    Demand { date: since, work: Work::Repair, device, because: Because::Damaged { since } }
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

    fn leaving(cause: Option<Cause>, act_by: Option<f64>, about: Option<f64>) -> Leaving {
        let at = |days: Option<f64>| days.map(|days| Time::from_micros(0).plus(Days(days)));
        Leaving {
            off_now: 0.0,
            about: at(about),
            early: at(about),
            late: None,
            act_by: at(act_by),
            guess: false,
            cause,
            farthest: Time::from_micros(0).plus(Days(900.0)),
        }
    }

    #[test]
    fn what_leaves_its_aim_is_due_before_it_does() {
        let id = DeviceId::new("bay-lamp").unwrap();
        let lamp = Thing::Lamp(crate::site::LampKind::Led);
        let due = |thing, leaving: &Leaving| of_leaving(&id, thing, leaving).map(|demand| (demand.work, demand.date));
        let day = |days| Time::from_micros(0).plus(Days(days));
        let dims = leaving(Some(Cause::Dimmer), Some(60.0), Some(90.0));
        assert_eq!(due(lamp, &dims), Some((Work::Replace, day(60.0))));
        assert_eq!(due(Thing::Display, &dims), Some((Work::Recalibrate, day(60.0))));
        let bold = leaving(Some(Cause::Dimmer), Some(120.0), Some(90.0));
        assert_eq!(
            due(lamp, &bold),
            Some((Work::Replace, day(90.0))),
            "a station that dares more does not wait for longer"
        );
        assert_eq!(due(lamp, &leaving(Some(Cause::Doubt), Some(60.0), Some(90.0))), None, "a reading sees to that");
        assert_eq!(due(lamp, &leaving(None, Some(60.0), None)), None, "no date, nothing due");
    }

    #[test]
    fn useful_light_ends_on_the_day_that_the_hours_come() {
        // 2e-5 an hour: 70 % is left after 17 834 h of record, which began at 100 h on the counter.
        let record: Vec<(f64, f64)> =
            (0..=8).map(|n| 1000.0 * f64::from(n)).map(|hours| (hours, libm::exp(-2e-5 * hours))).collect();
        let fit = crate::life::maintenance::Maintenance::of(&record).unwrap();
        let found = Projection { fit, counter_from: 100.0 };
        let now = Time::from_micros(0);
        let used = |counter| HoursInUse {
            at: now,
            counter: Some(counter),
            began_at: 0.0,
            per_day: 10.0,
            counted: Days(800.0),
        };
        let id = DeviceId::new("bay-lamp").unwrap();
        let due = of_light(&id, &found, &used(8100.0), now).unwrap();
        assert_eq!(due.because.source(), crate::schedule::Source::LampLife);
        let days = due.date.since(now).0;
        assert!((days - (17_933.747 - 8100.0) / 10.0).abs() < 0.01, "{days}");
        // What may be said ends at six times the record.
        let slow: Vec<(f64, f64)> = record.iter().map(|(hours, _)| (*hours, libm::exp(-1e-6 * hours))).collect();
        let fit = crate::life::maintenance::Maintenance::of(&slow).unwrap();
        assert_eq!(of_light(&id, &Projection { fit, counter_from: 0.0 }, &used(8000.0), now), None);
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
