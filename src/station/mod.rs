//! Which display and lamp must agree, the risk over time, the verdict and the advice. Pure.
//!
//! [`judge`] takes what is believed of a station's display and lamp and returns a [`Judgement`]: plain values. The two
//! whites are compared in [`compare`], the probability of being out of tolerance is integrated in [`risk`] over the shapes
//! of [`region`], what to do is chosen in `advice`. Beside the two whites stand the lamp's colour rendering (`rendering`),
//! foreign light ([`ambient`]) and the points of rule sets ([`rules`]). How long a match holds is in `outlook`; acts are weighed by
//! that in [`acts`], their states made in `after`; what is due by when is in `calls`. Which of some lamps a station should have is weighed in
//! [`candidates`], and whether a screen should be set to meet one in [`screen_aim`]. When a device by itself will
//! have left its aim is told in [`leaving`]; whether the instrument is to blame for what all devices do is asked in [`suspect`]. What is said
//! about it is for `say`.

pub mod acts;
mod advice;
mod after;
pub mod ambient;
mod calls;
pub mod candidates;
pub mod compare;
mod doubt;
mod judgement;
pub mod leaving;
pub mod normal;
mod outlook;
mod passage;
mod reasons;
pub mod region;
mod rendering;
pub mod risk;
pub mod rules;
pub mod screen_aim;
pub mod suspect;

pub use acts::Weighed;
pub use ambient::{Ambient, AtHours};
pub use calls::{Call, CallReason, NextReading, next_reading};
pub use doubt::Doubt;
pub use judgement::{
    Advice, EstimatedWhite, Judgement, LampFault, Reason, RiskDate, Spread, Unmeasured, Verdict, lightness_lost,
};
pub(crate) use outlook::GUESS_BELOW_READINGS;
pub use outlook::Holds;

use crate::color::{Brightener, Move, PaperUnderLamp, UvSpread, delta_uv, direction};
use crate::drift::{DeviceState, Params};
use crate::equipment::ReadWith;
use crate::site::{Bias, Costs, Noise, Paper, Station};
use crate::units::{Days, DeviceId, Time, UvPrime};
use compare::{Comparison, Light, Scale, hypotheses};
use doubt::doubtful;
use outlook::{Outlook, Reach};
use risk::{Difference, risk_path};

pub use rendering::{LampRa, RaKnown, RaSource};
pub use risk::Limits;

/// A risk now above this is a match that is out.
pub const OUT_ABOVE: f64 = 0.5;

/// What is believed of one device.
#[derive(Clone, Copy)]
pub struct Watched<'a> {
    /// Its name.
    pub id: &'a DeviceId,
    /// What its model was told.
    pub params: &'a Params,
    /// Its state.
    pub state: &'a DeviceState,
    /// Where it should be: for a display that follows the paper, the paper white as it is.
    pub aim: UvPrime,
    /// Its level there: cd/m² for a display, lx for a lamp.
    pub aim_level: Option<f64>,
    /// The shared uncertainty of the instrument that reads it most.
    pub bias: Bias,
    /// The scatter of that instrument.
    pub noise: Noise,
}

/// A paper under the station's lamp, and whether anybody read it there.
#[derive(Debug, Clone)]
pub struct LitPaper {
    /// What turns the lamp's white into the paper's.
    pub under: PaperUnderLamp,
    /// When the lit paper was read; absent where its white is calculated.
    pub read: Option<Time>,
}

/// Everything a judgement rests on.
pub struct Seen<'a> {
    /// The station.
    pub station: &'a Station,
    /// Its usual paper.
    pub paper: &'a Paper,
    /// That paper under the lamp as it now burns.
    pub lit: LitPaper,
    /// What is known of the lamp's colour rendering.
    pub rendering: RaKnown,
    /// What a person can turn on its lamp.
    pub adjustable: &'a [crate::site::Adjustable],
    /// What each act costs.
    pub costs: Costs,
    /// When its display's and its lamp's light jumped, where that is news and nobody wrote down why.
    pub jumped: [Option<Time>; 2],
    /// Its display.
    pub display: Watched<'a>,
    /// Its lamp.
    pub lamp: Watched<'a>,
}

impl Seen<'_> {
    /// How this station compares its two whites.
    pub fn comparison(&self) -> Comparison<'_> {
        let of = |device: &Watched| (device.state.scale_instrument().cloned(), device.bias);
        let (display, lamp) = (of(&self.display), of(&self.lamp));
        Comparison {
            station: self.station,
            paper: self.lit.under,
            paper_read_sd: None,
            display_aim: self.display.aim,
            lamp_aim: self.lamp.aim,
            scale: Scale::between((display.0.as_ref(), display.1), (lamp.0.as_ref(), lamp.1)),
        }
    }

    /// Whether the lamp renders colours worse than the station allows.
    pub fn renders_poorly(&self) -> bool {
        self.rendering.breaks(self.station.tolerance.ra_min)
    }

    /// The station's limits as the integrals take them.
    pub fn limits(&self) -> Limits {
        Limits::of(self.station)
    }

    /// Risk on each of the days, and of having been out by then, if nobody touches anything. The first day must be the
    /// earliest.
    pub fn risk_along(&self, comparison: &Comparison, times: &[Time]) -> risk::RiskPath {
        if self.renders_poorly() {
            return risk::RiskPath { on: vec![1.0; times.len()], within: vec![1.0; times.len()] };
        }
        risk_path(&self.differences_along(comparison, times), &self.limits())
    }

    fn differences_along(&self, comparison: &Comparison, times: &[Time]) -> Vec<(f64, Vec<Difference>)> {
        let display = self.display.state.forecast(self.display.params, times);
        let lamp = self.lamp.state.forecast(self.lamp.params, times);
        comparison.differences(&hypotheses(&display), &hypotheses(&lamp), times.len())
    }
}

/// A grid from `now` over `span`: daily at first, later coarser, the last exactly at the end.
pub fn grid(now: Time, span: Days) -> Vec<Time> {
    let mut times = vec![now];
    let mut day = 0.0;
    let mut step = 1.0;
    while day + step * 1.5 < span.0 {
        day += step;
        times.push(now.plus(Days(day)));
        if day >= 14.0 {
            step *= 1.12;
        }
    }
    if span.0 > 0.0 {
        times.push(now.plus(span));
    }
    times
}

/// The verdict and the two risks it rests on, without the reasons.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Assessment {
    /// The verdict.
    pub verdict: Verdict,
    /// See [`Judgement::risk`].
    pub risk: f64,
    /// See [`Judgement::risk_within`].
    pub risk_within: f64,
    /// Whose reading would take the doubt away, where the doubt is the risk.
    pub doubt: Option<Doubt>,
}

/// Assesses a station as of `now`: what [`judge`] says, but for reasons, advice and date, in a fraction of the time.
pub fn assess(seen: &Seen, now: Time) -> Assessment {
    let station = seen.station;
    let comparison = seen.comparison();
    let times = grid(now, station.horizon);
    let ahead = seen.risk_along(&comparison, &times);
    let risk = ahead.on.first().copied().unwrap_or(1.0);
    let risk_within = ahead.within.last().copied().unwrap_or(1.0);
    let max_risk = station.max_risk.get();
    let over = risk > OUT_ABOVE || risk_within > max_risk;
    let doubt = if over && !seen.renders_poorly() {
        doubtful(seen, &comparison, &times, max_risk, risk > OUT_ABOVE)
    } else {
        None
    };
    let blind = [&seen.display, &seen.lamp].into_iter().any(|device| too_old(device.state.last_read(), station, now));
    let verdict = if blind || doubt.is_some() {
        Verdict::Unknown
    } else if risk > OUT_ABOVE {
        Verdict::Out
    } else if risk_within > max_risk {
        Verdict::AtRisk
    } else {
        Verdict::Matched
    };
    Assessment { verdict, risk, risk_within, doubt }
}

/// Judges a station as of `now`, in this foreign light and by what these instruments read.
pub fn judge(seen: &Seen, ambient: Ambient, read_with: Vec<ReadWith>, now: Time) -> Judgement {
    let Assessment { verdict, risk, risk_within, doubt } = assess(seen, now);
    let comparison = seen.comparison();
    let summaries = [&seen.display, &seen.lamp].map(|device| device.state.summary(device.params));
    let picture = Picture::of(seen, &comparison, now);
    let outlook = outlook(seen, &comparison, Reach::of(&summaries), now);
    let mut judgement = Judgement {
        station: seen.station.id.clone(),
        as_of: now,
        verdict,
        risk,
        risk_within,
        risk_date: outlook.risk_date(seen.station.max_risk.get()),
        holds: outlook.holds(),
        delta_uv: picture.delta_uv,
        luminance_ratio: picture.luminance_ratio,
        display_white: picture.display,
        paper_white: picture.paper,
        scale_uncertainty: (comparison.scale.uv, comparison.scale.ln_ratio),
        print_to_screen: picture.ratio_to_rule(seen.station).map(f64::recip),
        rendering: seen.rendering.known().copied(),
        ambient,
        read_with,
        reasons: Vec::new(),
        acts: Vec::new(),
        advice: Vec::new(),
        calls: Vec::new(),
    };
    judgement.reasons = reasons::reasons(seen, &picture, &summaries, &judgement, doubt.as_ref());
    let standing = calls::Standing::new(seen, &comparison, &summaries, &outlook, now);
    if verdict != Verdict::Matched || standing.act_is_near() {
        judgement.acts = acts::weigh(seen, &comparison, &picture, &outlook, Reach::of(&summaries), now);
    }
    let readings = standing.readings(verdict);
    judgement.advice = advice::advise(seen, &picture, &summaries, &judgement, doubt.as_ref(), &readings, &outlook);
    judgement.calls = calls::calls(&judgement, readings, &standing);
    if verdict == Verdict::Matched {
        // What is only weighed for its date is no advice of today.
        judgement.acts.clear();
    }
    acts::mark_chosen(&mut judgement.acts, &judgement.advice);
    judgement
}

/// The path of risk if nobody touches anything, as far ahead as may honestly be said.
fn outlook(seen: &Seen, comparison: &Comparison, reach: Reach, now: Time) -> Outlook {
    if seen.renders_poorly() {
        return Outlook::certainly_out(reach, now);
    }
    let times = reach.times(now, seen.station.horizon);
    let negligible = seen.station.max_risk.get().min(outlook::EARLY);
    Outlook::of(&seen.differences_along(comparison, &times), &seen.limits(), reach, &times, negligible)
}

fn too_old(last_read: Option<Time>, station: &Station, now: Time) -> bool {
    last_read.is_none_or(|last| now.since(last) > station.max_age)
}

/// The numbers of a match at one instant.
pub struct Picture {
    /// See [`Judgement::delta_uv`].
    pub delta_uv: Spread,
    /// See [`Judgement::luminance_ratio`].
    pub luminance_ratio: Option<Spread>,
    /// The display's white.
    pub display: EstimatedWhite,
    /// The paper's white.
    pub paper: EstimatedWhite,
    /// The lamp's own white; `luminance` holds lx.
    pub lamp: EstimatedWhite,
    /// Standard uncertainty of the paper estimate, brighteners left aside.
    pub paper_sd: f64,
    /// What optical brighteners leave in doubt.
    pub brightener: Brightener,
    /// Whether most of the spread of the difference is what is not known of the paper.
    pub paper_is_the_doubt: bool,
}

impl Picture {
    fn of(seen: &Seen, comparison: &Comparison, now: Time) -> Self {
        let display = seen.display.state.forecast(seen.display.params, &[now]);
        let lamp = seen.lamp.state.forecast(seen.lamp.params, &[now]);
        let screen = Light::at(&display.likely, 0, seen.display.aim);
        let light = Light::at(&lamp.likely, 0, seen.lamp.aim);
        let paper = comparison.paper_under(&light);
        let difference = comparison.difference(&screen, &light);
        let (u, v) = difference.uv;
        let distance = u.hypot(v);
        let (uu, uv, vv) = difference.uv_cov;
        let along = if distance > 0.0 {
            (uu * u * u + 2.0 * uv * u * v + vv * v * v) / (distance * distance)
        } else {
            uu.max(vv)
        };
        let spread = |mean: f64, var: f64| Spread { mean, sd: var.max(0.0).sqrt() };
        let level = |spot: Option<compare::Spot>, factor: f64| {
            spot.map(|s| {
                let median = libm::exp(s.mean) * factor;
                Spread { mean: median, sd: median * s.var.max(0.0).sqrt() }
            })
        };
        let own = UvSpread::round(paper.estimate_sd).plus(paper.brightener_spread);
        let own = own.uu + own.vv;
        let paper_spread = paper.spread();
        let paper_level = level(light.ln_level, paper.luminance(1.0));
        let display_level = level(screen.ln_level, 1.0);
        let ratio = display_level.zip(paper_level).map(|(d, p)| {
            let relative = (d.sd / d.mean).hypot(p.sd / p.mean);
            Spread { mean: d.mean / p.mean, sd: d.mean / p.mean * relative }
        });
        Self {
            delta_uv: spread(distance, along),
            luminance_ratio: ratio,
            display: EstimatedWhite {
                u: spread(screen.u.mean, screen.u.var),
                v: spread(screen.v.mean, screen.v.var),
                luminance: display_level,
            },
            paper: EstimatedWhite {
                u: spread(paper.uv.u, paper_spread.uu),
                v: spread(paper.uv.v, paper_spread.vv),
                luminance: paper_level,
            },
            lamp: EstimatedWhite {
                u: spread(light.u.mean, light.u.var),
                v: spread(light.v.mean, light.v.var),
                luminance: level(light.ln_level, 1.0),
            },
            paper_sd: paper.estimate_sd,
            brightener: paper.brightener,
            paper_is_the_doubt: own > 0.5 * (uu + vv) && libm::sqrt(own) > 0.2 * seen.station.tolerance.delta_uv,
        }
    }

    /// Luminance ratio over what the station asks for; absent where it is not judged or not known.
    pub fn ratio_to_rule(&self, station: &Station) -> Option<f64> {
        Some(self.luminance_ratio?.mean / station.luminance.agreed()?)
    }
}

/// How far a device is from its aim.
#[derive(Debug, Clone, PartialEq)]
pub struct OffAim {
    /// The device.
    pub device: DeviceId,
    /// Distance in u′v′.
    pub delta_uv: f64,
    /// In which direction it left its aim.
    pub direction: Option<Move>,
    /// Level ÷ aim, where both are known.
    pub level_ratio: Option<f64>,
}

/// Where a device stands against its aim.
pub fn off_aim_now(device: &Watched, now: Time) -> OffAim {
    let forecast = device.state.forecast(device.params, &[now]);
    let light = Light::at(&forecast.likely, 0, device.aim);
    OffAim {
        device: device.id.clone(),
        delta_uv: delta_uv(device.aim, light.uv()),
        direction: direction(device.aim, light.uv()),
        level_ratio: device.aim_level.zip(light.ln_level).map(|(aim, level)| libm::exp(level.mean) / aim),
    }
}

/// Probability that a device is farther from its aim than `limits` allow.
pub fn off_aim_probability(device: &Watched, limits: &Limits, now: Time) -> f64 {
    let forecast = device.state.forecast(device.params, &[now]);
    let inside: f64 = hypotheses(&forecast)
        .into_iter()
        .map(|(p, path)| {
            let light = Light::at(path, 0, device.aim);
            let away = (light.u.mean - device.aim.u, light.v.mean - device.aim.v);
            let colour = region::inside_circle(away, (light.u.var, 0.0, light.v.var), limits.delta_uv);
            let level = match (limits.ln_ratio, device.aim_level, light.ln_level) {
                (Some(limit), Some(aim), Some(level)) => {
                    region::inside_band(level.mean - libm::log(aim), level.var, limit)
                }
                _ => 1.0,
            };
            p * colour * level
        })
        .sum();
    (1.0 - inside).clamp(0.0, 1.0)
}

#[cfg(test)]
mod act_tests;
#[cfg(test)]
mod invariants;
#[cfg(test)]
mod tests;
