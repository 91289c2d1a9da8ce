//! `forecast`: state, risk and date of risk ahead, if nobody touches anything.

use schemars::JsonSchema;
use serde::Serialize;

use super::acts::{ActJson, HoldsJson, acts};
use super::answer::{LocalDate, MeanSd};
use super::args::When;
use super::fail::{Failure, Kind};
use super::output;
use super::session::{Asked, Session};
use crate::drift::{ChannelPath, Forecast, Path};
use crate::evaluate::Estimates;
use crate::say;
use crate::station::{self, Judgement, Seen, Verdict};
use crate::units::{Days, DeviceId, Probability, StationId, Time};

/// The farthest horizon that is answered: ten years.
const FARTHEST_DAYS: f64 = 3653.0;

/// State, risk and date of risk of one station ahead, if nobody touches anything.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Forecasted {
    /// The station.
    station: StationId,
    /// The instant that the answer speaks of.
    as_of: Time,
    /// Whether its match holds; `unknown` is never good.
    #[schemars(extend("enum" = Verdict::ALL.map(Verdict::word)))]
    verdict: &'static str,
    /// The risk within the horizon from which the station is at risk.
    max_risk: Option<Probability>,
    /// Probability that the match is out of tolerance now, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    risk: f64,
    /// The first day on which the risk up to then passes `max_risk`; null where that lies beyond what may be said.
    risk_date: Option<LocalDate>,
    /// Whether that day rests on too little to be more than a guess; null without a day.
    risk_date_is_a_guess: Option<bool>,
    /// Until when the match is likely to hold.
    holds_until: HoldsJson,
    /// The days ahead that were asked for, in the order asked.
    horizons: Vec<HorizonJson>,
    /// Every act that was weighed, the best first; empty where nothing needs doing.
    acts: Vec<ActJson>,
}

/// How things will stand so many days ahead.
#[derive(Debug, Serialize, JsonSchema)]
pub struct HorizonJson {
    /// Days ahead, 0 to 3653.
    #[schemars(range(min = 0.0, max = 3653.0))]
    days: f64,
    /// Probability that the match is out of tolerance on that day, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    risk: f64,
    /// Probability that it is out at any time up to that day, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    risk_within: f64,
    /// Display and lamp on that day.
    devices: Vec<DeviceJson>,
}

/// The true state of one device on one day, not what a reading would show.
#[derive(Debug, Serialize, JsonSchema)]
pub struct DeviceJson {
    /// The display or lamp.
    device: DeviceId,
    /// CIE 1976 u′; null where it was never read.
    u_prime: Option<MeanSd>,
    /// CIE 1976 v′; null where it was never read.
    v_prime: Option<MeanSd>,
    /// Natural logarithm of illuminance in lx for a lamp, of luminance in cd/m² for a display; null where it was never read.
    ln_luminance: Option<MeanSd>,
    /// Where it would be instead if the odd reading that waits for a second one is a step; null where none waits.
    if_stepped: Option<IfStepped>,
}

/// A state that holds if an odd reading proves to be a step.
#[derive(Debug, Serialize, JsonSchema)]
pub struct IfStepped {
    /// Probability that it is one, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    p: f64,
    /// CIE 1976 u′ then; null where it was never read.
    u_prime: Option<MeanSd>,
    /// CIE 1976 v′ then; null where it was never read.
    v_prime: Option<MeanSd>,
    /// Natural logarithm of the level then; null where it was never read.
    ln_luminance: Option<MeanSd>,
}

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
pub fn forecast(session: Session, station: &str, horizons: &[f64], when: &When, json: bool) -> Result<(), Failure> {
    let Asked { session, mut ledger, as_of, .. } = session.asked(&when.at, &when.known)?;
    let station = session.station(station)?;
    for days in horizons {
        if !(*days >= 0.0 && *days <= FARTHEST_DAYS) {
            let message = format!("--horizon {days}: expected days from 0 to {FARTHEST_DAYS:.0}");
            return Err(Failure::new(Kind::Usage, message));
        }
    }
    let (judgement, aheads) = ledger.read(|store| -> Result<_, Failure> {
        let mut estimates = Estimates::new(store, &session.config, as_of);
        estimates.read_station(station)?;
        let seen = estimates.seen(station)?;
        Ok((estimates.judge(&seen)?, ahead(&seen, as_of, horizons)?))
    })?;
    if json {
        output::json(&Forecasted::of(&judgement, &aheads, &session, as_of))
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

impl Forecasted {
    fn of(judgement: &Judgement, aheads: &[Ahead], session: &Session, as_of: Time) -> Self {
        let zone = session.zone();
        Self {
            station: judgement.station.clone(),
            as_of,
            verdict: judgement.verdict.word(),
            max_risk: session.config.things.station(&judgement.station).map(|station| station.max_risk),
            risk: judgement.risk,
            risk_date: judgement.risk_date.map(|date| LocalDate::of(date.date, &zone)),
            risk_date_is_a_guess: judgement.risk_date.map(|date| date.guess),
            holds_until: HoldsJson::of(&judgement.holds, &zone),
            horizons: aheads.iter().map(HorizonJson::of).collect(),
            acts: acts(judgement, &zone),
        }
    }
}

impl HorizonJson {
    fn of(ahead: &Ahead) -> Self {
        Self {
            days: ahead.days,
            risk: ahead.risk,
            risk_within: ahead.risk_within,
            devices: ahead.devices.iter().map(DeviceJson::of).collect(),
        }
    }
}

impl DeviceJson {
    fn of(ahead: &DeviceAhead) -> Self {
        let [u_prime, v_prime, ln_luminance] = ahead.channels.map(|channel| channel.map(MeanSd::from));
        let if_stepped = ahead.if_stepped.map(|(p, channels)| {
            let [u_prime, v_prime, ln_luminance] = channels.map(|channel| channel.map(MeanSd::from));
            IfStepped { p, u_prime, v_prime, ln_luminance }
        });
        Self { device: ahead.device.clone(), u_prime, v_prime, ln_luminance, if_stepped }
    }
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
