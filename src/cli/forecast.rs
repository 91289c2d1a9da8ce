//! `forecast`: state, risk and date of risk ahead, if nobody touches anything.

use serde_json::{Value, json};

use super::acts;
use super::args::AsOf;
use super::fail::{Failure, Kind};
use super::output;
use super::session::Session;
use crate::drift::{ChannelPath, Forecast, Path};
use crate::evaluate::Estimates;
use crate::say;
use crate::station::{self, Judgement, Seen, Verdict};
use crate::units::{Days, DeviceId, Time};

/// The farthest horizon that is answered: ten years.
const FARTHEST_DAYS: f64 = 3653.0;

/// Mean and sd of u′, v′ and ln level, where they were ever read.
type Channels = [Option<(f64, f64)>; 3];

struct Ahead {
    days: f64,
    risk: f64,
    risk_within: f64,
    /// Each device at that day.
    devices: Vec<DeviceAhead>,
}

/// One device at one day ahead.
struct DeviceAhead {
    device: DeviceId,
    channels: Channels,
    /// Where it would be instead if a waiting odd reading is a step: its probability, and the channels then.
    if_stepped: Option<(f64, Channels)>,
}

/// Answers `forecast`.
pub fn forecast(session: Session, station: &str, horizons: &[f64], when: &AsOf, json: bool) -> Result<(), Failure> {
    let as_of = session.as_of(when)?;
    let station = session.station(station)?;
    for days in horizons {
        if !(*days >= 0.0 && *days <= FARTHEST_DAYS) {
            let message = format!("--horizon {days}: expected days from 0 to {FARTHEST_DAYS:.0}");
            return Err(Failure::new(Kind::Usage, message));
        }
    }
    let mut ledger = session.reader()?;
    let (judgement, aheads) = ledger.read(|store| -> Result<_, Failure> {
        let mut estimates = Estimates::new(store, &session.config, as_of);
        estimates.read_station(station)?;
        let seen = estimates.seen(station)?;
        Ok((estimates.judge(&seen)?, ahead(&seen, as_of, horizons)?))
    })?;
    if json {
        output::json(&as_json(&judgement, &aheads, &session, as_of))
    } else {
        output::print(&as_text(&judgement, &aheads, &session, as_of))
    }
}

fn ahead(seen: &Seen, as_of: Time, horizons: &[f64]) -> Result<Vec<Ahead>, Failure> {
    let farthest = horizons.iter().copied().fold(0.0, f64::max);
    let mut times = station::grid(as_of, Days(farthest));
    times.extend(horizons.iter().map(|days| as_of.plus(Days(*days))));
    times.sort();
    times.dedup();
    let comparison = seen.comparison();
    let path = seen.risk_along(&comparison, &times);
    let forecasts = [&seen.display, &seen.lamp].map(|device| (device.id, device.state.forecast(device.params, &times)));
    horizons
        .iter()
        .map(|days| {
            let at = as_of.plus(Days(*days));
            let index = times.binary_search(&at).map_err(|_| Failure::new(Kind::System, "a horizon was lost"))?;
            Ok(Ahead {
                days: *days,
                risk: path.on.get(index).copied().unwrap_or(1.0),
                risk_within: path.within.get(index).copied().unwrap_or(1.0),
                devices: forecasts.iter().map(|(id, forecast)| device_ahead(id, forecast, index)).collect(),
            })
        })
        .collect()
}

fn device_ahead(device: &DeviceId, forecast: &Forecast, index: usize) -> DeviceAhead {
    let if_stepped = forecast.possible.first().map(|step| (step.p, channels(&step.path, index)));
    DeviceAhead { device: device.clone(), channels: channels(&forecast.likely, index), if_stepped }
}

fn channels(path: &Path, index: usize) -> Channels {
    let at = |channel: &Option<ChannelPath>| {
        let channel = channel.as_ref()?;
        Some((*channel.mean.get(index)?, *channel.sd.get(index)?))
    };
    let [u, v, level] = &path.channels;
    [at(u), at(v), at(level)]
}

fn as_json(judgement: &Judgement, aheads: &[Ahead], session: &Session, as_of: Time) -> Value {
    let spread = |number: Option<(f64, f64)>| number.map(|(mean, sd)| json!({ "mean": mean, "sd": sd }));
    let horizons: Vec<Value> = aheads
        .iter()
        .map(|ahead| {
            let devices: Vec<Value> = ahead
                .devices
                .iter()
                .map(|DeviceAhead { device, channels: [u, v, level], if_stepped }| {
                    let if_stepped = if_stepped.map(|(p, [u, v, level])| {
                        json!({ "p": p, "u_prime": spread(u), "v_prime": spread(v), "ln_luminance": spread(level) })
                    });
                    json!({
                        "device": device,
                        "u_prime": spread(*u),
                        "v_prime": spread(*v),
                        "ln_luminance": spread(*level),
                        "if_stepped": if_stepped,
                    })
                })
                .collect();
            json!({
                "days": ahead.days,
                "risk": ahead.risk,
                "risk_within": ahead.risk_within,
                "devices": devices,
            })
        })
        .collect();
    let max_risk = session.config.things.station(&judgement.station).map(|station| station.max_risk);
    json!({
        "station": judgement.station,
        "as_of": as_of,
        "verdict": judgement.verdict.word(),
        "max_risk": max_risk,
        "risk": judgement.risk,
        "risk_date": judgement.risk_date.map(|date| session.zone().date(date.date)),
        "risk_date_is_a_guess": judgement.risk_date.map(|date| date.guess),
        "holds_until": acts::holds(&judgement.holds, &session.zone()),
        "horizons": horizons,
        "acts": acts::acts(judgement, &session.zone()),
    })
}

fn as_text(judgement: &Judgement, aheads: &[Ahead], session: &Session, as_of: Time) -> String {
    let zone = session.zone();
    let max_risk = session.config.things.station(&judgement.station).map(|station| station.max_risk.get());
    let until = match (judgement.verdict, max_risk) {
        (Verdict::Matched | Verdict::AtRisk, Some(max_risk)) => {
            format!("  {}\n", say::until(judgement, max_risk, &zone))
        }
        _ => String::new(),
    };
    let mut text = format!(
        "{}: {}\n{until}\n",
        output::strong(judgement.station.as_str()),
        output::strong(say::verdict(judgement.verdict)),
    );
    let risks = aheads.iter().map(|ahead| {
        [
            say::day(&zone, as_of.plus(Days(ahead.days))),
            format!("{}", ahead.days),
            say::percent(ahead.risk),
            say::percent(ahead.risk_within),
        ]
    });
    text.push_str(&output::table(["on", "in days", "risk that day", "risk up to then"], risks));
    text.push_str("\nif nobody touches them:\n");
    let number = |number: Option<(f64, f64)>| match number {
        Some((mean, sd)) => format!("{mean:.4} ± {sd:.4}"),
        None => "never read".to_owned(),
    };
    let level = |number: Option<(f64, f64)>| match number {
        Some((mean, sd)) => format!("{:.1} ± {:.1} %", libm::exp(mean), sd * 100.0),
        None => "never read".to_owned(),
    };
    let states = aheads.iter().flat_map(|ahead| {
        ahead.devices.iter().map(|DeviceAhead { device, channels: [u, v, l], .. }| {
            let day = say::day(&zone, as_of.plus(Days(ahead.days)));
            [day, device.to_string(), number(*u), number(*v), level(*l)]
        })
    });
    text.push_str(&output::table(["on", "device", "u′", "v′", "cd/m² or lx"], states));
    text
}
