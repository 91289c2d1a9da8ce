//! What is to be done by when, and which reading is worth taking next. Pure.
//!
//! A reading is asked for only when it may change what is done. Far from the limit that is not before the last one is too old;
//! near it, a horizon before the risk passes its line, if what the reading may plausibly find decides whether anything need be
//! done: either the doubt alone is the risk, and a reading that finds what is expected takes it away; or a lucky one would, where
//! lucky is an outcome as probable as a reading is cheap beside a calibration (the value of information against its price). A
//! device with few readings is read weekly until its drift can be told from its scatter (common practice).
//!
//! What a reading may find follows from two forecasts, without it and with it (law of total variance): it moves the mean at any
//! later day by a normal number times √(variance without − variance with), the same number on all days.
//!
//! An act is due by the day on which the risk passes its line. Days are counted from now in whole ones, so that a day stands for
//! the same hour of the clock, and rounded down, so that whoever acts on that day is in time.

use super::compare::Comparison;
use super::doubt::{Doubt, doubtful};
use super::normal::quantile;
use super::outlook::{GUESS_BELOW_READINGS, Outlook, Reach};
use super::risk::risk_path;
use super::{Advice, Judgement, Seen, Verdict, Watched, grid, outlook};
use crate::drift::{Path, Summary};
use crate::units::{Days, DeviceId, Time};

/// While a device has few readings it is read this often (common practice: weekly).
const LEARNING: Days = Days(7.0);
/// A second reading sooner than this after the first finds the same hour's wander again.
const SOONEST_AGAIN: Days = Days(1.0);
/// Acts further ahead than this are not planned: by then there will have been readings.
const PLANNED_AHEAD: Days = Days(60.0);

/// Something that is to be done by a day.
#[derive(Debug, Clone, PartialEq)]
pub struct Call {
    /// What.
    pub advice: Advice,
    /// By when; in the past only where it is overdue.
    pub by: Time,
    /// Why by then.
    pub why: CallReason,
}

/// Why something is due.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CallReason {
    /// The device was never read.
    NeverRead,
    /// Its newest reading lies far from the rest, or it is known by a label only.
    Unsettled,
    /// So few readings that its drift cannot be told from its scatter.
    Learning {
        /// How many there are.
        readings: u64,
    },
    /// Its last reading will then be too old.
    TooOld {
        /// The longest a reading counts for.
        limit: Days,
    },
    /// Its spread will then be the risk, and a reading takes it away.
    Doubt {
        /// The share of the risk that is left once it was read.
        left: f64,
    },
    /// Whether anything needs doing will then hang on what a reading finds.
    Decides,
    /// Its light jumped, and nobody wrote down why.
    Jumped,
    /// The match is out.
    Out,
    /// More foreign light falls on the print than the station allows.
    ForeignLight,
    /// The risk passes the station's line.
    RiskPasses {
        /// As of [`RiskDate`](super::RiskDate).
        guess: bool,
    },
}

impl CallReason {
    /// Whether it asks for knowledge and not for an act.
    pub const fn is_reading(self) -> bool {
        !matches!(self, Self::Jumped | Self::Out | Self::ForeignLight | Self::RiskPasses { .. })
    }
}

/// A reading that is worth taking.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct NextReading {
    pub device: DeviceId,
    pub by: Time,
    pub why: CallReason,
}

/// The reading of a station's devices that is to be taken next, if any is; `None` where both are known by what no reading betters
/// until something is done.
pub fn next_reading(seen: &Seen, now: Time) -> Option<NextReading> {
    let comparison = seen.comparison();
    let summaries = [&seen.display, &seen.lamp].map(|device| device.state.summary(device.params));
    let outlook = outlook(seen, &comparison, Reach::of(&summaries), now);
    let standing = Standing::new(seen, &comparison, &summaries, &outlook, now);
    let mut readings = standing.device_readings();
    readings.sort_by_key(|reading| reading.by);
    readings.into_iter().next()
}

/// A station as it stands.
pub(super) struct Standing<'a> {
    pub seen: &'a Seen<'a>,
    pub comparison: &'a Comparison<'a>,
    pub summaries: &'a [Summary; 2],
    pub outlook: &'a Outlook,
    pub now: Time,
    /// Which readings take the doubt away that will be the risk, and in how many days it will; absent where it is no doubt.
    doubt: Option<(f64, Doubt)>,
}

impl<'a> Standing<'a> {
    pub fn new(
        seen: &'a Seen<'a>,
        comparison: &'a Comparison<'a>,
        summaries: &'a [Summary; 2],
        outlook: &'a Outlook,
        now: Time,
    ) -> Self {
        let bare = Self { seen, comparison, summaries, outlook, now, doubt: None };
        let doubt = bare.soon_at_risk().and_then(|days| {
            let times = grid(now.plus(Days(days)), seen.station.horizon);
            Some((days, doubtful(seen, comparison, &times, bare.max_risk(), false)?))
        });
        Self { doubt, ..bare }
    }

    fn devices(&self) -> [(&Watched<'_>, &Summary); 2] {
        let [display, lamp] = self.summaries;
        [(&self.seen.display, display), (&self.seen.lamp, lamp)]
    }

    fn max_risk(&self) -> f64 {
        self.seen.station.max_risk.get()
    }

    /// Days until a horizon before the risk passes its line, from when on the station would be at risk; `None` where other
    /// readings will have come before, since what there is will be too old by then.
    fn soon_at_risk(&self) -> Option<f64> {
        if self.seen.renders_poorly() {
            return None;
        }
        let passes = self.outlook.passes(self.max_risk())?;
        let days = (passes - self.seen.station.horizon.0).floor().max(0.0);
        let at = self.now.plus(Days(days));
        let limit = self.seen.station.max_age;
        let stale = |summary: &Summary| summary.last_read.is_none_or(|(last, _)| at.since(last) > limit);
        (!self.summaries.iter().any(stale)).then_some(days)
    }

    /// Whether the risk passes its line so soon that what to do against it is planned.
    pub fn act_is_near(&self) -> bool {
        let days = self.outlook.passes(self.max_risk());
        days.is_some_and(|days| days <= PLANNED_AHEAD.0) && self.doubt.is_none()
    }

    /// The whole day from now that `at` falls in; `at` itself where it has passed.
    fn whole_day(&self, at: Time) -> Time {
        let days = at.since(self.now).0;
        if days < 0.0 { at } else { self.now.plus(Days(days.floor())) }
    }

    /// The readings that are wanted of each device, by when and why.
    fn device_readings(&self) -> Vec<NextReading> {
        let informative = self.informative();
        let mut readings = Vec::new();
        for (place, (device, summary)) in self.devices().into_iter().enumerate() {
            let limit = self.seen.station.max_age;
            let mut wanted: Vec<(Time, CallReason)> = Vec::new();
            match summary.last_read {
                None if !summary.by_label => wanted.push((self.now, CallReason::NeverRead)),
                None => {}
                Some((last, _)) => {
                    // A limit, not a plan: to the instant, as everything else says it.
                    wanted.push((last.plus(limit), CallReason::TooOld { limit }));
                    if summary.used < GUESS_BELOW_READINGS {
                        // A plan and no limit: it is not overdue because it was not followed.
                        let next = self.whole_day(last.plus(LEARNING)).max(self.now);
                        wanted.push((next, CallReason::Learning { readings: summary.used }));
                    }
                    if !summary.waiting.is_empty() {
                        wanted.push((self.now, CallReason::Unsettled));
                    }
                    let again = last.plus(SOONEST_AGAIN).max(self.now);
                    let of_this = informative.iter().filter(|(which, ..)| *which == place);
                    wanted.extend(of_this.map(|(_, by, why)| ((*by).max(again), *why)));
                }
            }
            if let Some((by, why)) = wanted.into_iter().min_by_key(|(by, _)| *by) {
                readings.push(NextReading { device: device.id.clone(), by, why });
            }
        }
        readings
    }

    /// The readings, by device, that may change whether anything is to be done.
    fn informative(&self) -> Vec<(usize, Time, CallReason)> {
        let Some(days) = self.soon_at_risk() else { return Vec::new() };
        let at = self.now.plus(Days(days));
        let ahead = Ahead::of(self, at);
        if let Some((_, doubt)) = self.doubt {
            let before = ahead.risk([0.0, 0.0], [false, false]);
            let read = [doubt.display, doubt.lamp];
            let left = (ahead.risk([0.0, 0.0], read) / before.max(f64::MIN_POSITIVE)).min(1.0);
            let places = read.into_iter().enumerate().filter(|(_, helps)| *helps);
            return places.map(|(place, _)| (place, at, CallReason::Doubt { left })).collect();
        }
        // The lucky outcome that is as probable as a reading is cheap.
        let costs = self.seen.costs;
        [costs.read_display, costs.read_lamp]
            .into_iter()
            .enumerate()
            .filter(|(place, cost)| {
                let share = (cost / costs.recalibrate).clamp(1e-6, 1.0);
                let mut lucky = [0.0, 0.0];
                let mut read = [false, false];
                if let (Some(z), Some(read)) = (lucky.get_mut(*place), read.get_mut(*place)) {
                    (*z, *read) = (quantile(share), true);
                }
                share < 0.5 && ahead.risk(lucky, read) <= self.max_risk()
            })
            .map(|(place, _)| (place, at, CallReason::Decides))
            .collect()
    }

    /// The readings that are called for under this verdict, the earliest first.
    pub fn readings(&self, verdict: Verdict) -> Vec<Call> {
        let mut calls: Vec<Call> = (self.device_readings().into_iter())
            // What is out is put right first; that ends with a reading.
            .filter(|reading| match verdict {
                Verdict::Out => matches!(reading.why, CallReason::NeverRead | CallReason::Unsettled),
                _ => true,
            })
            .map(|NextReading { device, by, why }| Call { advice: Advice::Read { device }, by, why })
            .collect();
        if let Some((days, Doubt { paper: true, .. })) = self.doubt {
            let paper = Advice::ReadPaper { paper: self.seen.paper.id.clone(), lamp: self.seen.lamp.id.clone() };
            calls.push(Call { advice: paper, by: self.now.plus(Days(days)), why: CallReason::Doubt { left: 0.0 } });
        }
        calls.sort_by_key(|call| call.by);
        calls
    }

    /// By when an act is due, and why; `None` where nothing but a reading is.
    fn act_due(&self, judgement: &Judgement) -> Option<(Time, CallReason)> {
        match judgement.verdict {
            Verdict::Out => Some((self.now, CallReason::Out)),
            Verdict::Unknown => None,
            Verdict::AtRisk | Verdict::Matched => {
                let risk = judgement.risk_date?;
                let days = self.outlook.passes(self.max_risk())?.floor();
                Some((self.now.plus(Days(days)), CallReason::RiskPasses { guess: risk.guess }))
            }
        }
    }
}

/// All that is called for at a station whose advice stands: the readings, and the acts by their day.
pub(super) fn calls(judgement: &Judgement, mut readings: Vec<Call>, standing: &Standing) -> Vec<Call> {
    if judgement.verdict == Verdict::Unknown {
        // What takes the doubt away is due now, whatever was planned.
        let now = |advice: &Advice| matches!(advice, Advice::Read { .. } | Advice::ReadPaper { .. });
        for advice in judgement.advice.iter().filter(|advice| now(advice)) {
            match readings.iter_mut().find(|call| call.advice == *advice) {
                Some(call) if call.by > standing.now => {
                    (call.by, call.why) = (standing.now, CallReason::Unsettled);
                }
                Some(_) => {}
                None => {
                    let (advice, by) = (advice.clone(), standing.now);
                    readings.push(Call { advice, by, why: CallReason::Unsettled });
                }
            }
        }
    }
    if let Some((by, why)) = standing.act_due(judgement) {
        let best =
            super::acts::best(&judgement.acts, standing.outlook, standing.seen.station.horizon, standing.max_risk());
        let planned = |step: &&Advice| match judgement.verdict {
            Verdict::Matched => true,
            _ => judgement.advice.contains(step),
        };
        let steps = best.into_iter().flat_map(|act| &act.steps).filter(planned);
        let steps = steps.filter(|step| !matches!(step, Advice::Read { .. } | Advice::ReadPaper { .. }));
        readings.extend(steps.map(|step| Call { advice: step.clone(), by, why }));
    }
    readings.extend(judgement.advice.iter().filter_map(|advice| {
        let why = match advice {
            Advice::ShutOutLight { .. } => CallReason::ForeignLight,
            Advice::LookAtJump { .. } => CallReason::Jumped,
            _ => return None,
        };
        Some(Call { advice: advice.clone(), by: standing.now, why })
    }));
    readings.sort_by_key(|call| call.by);
    readings
}

/// A horizon that begins on a day to come, without and with readings on that day.
struct Ahead<'a> {
    standing: &'a Standing<'a>,
    times: Vec<Time>,
    /// Display and lamp: as they are forecast, and as a reading that finds what is expected would leave them.
    unread: [Path; 2],
    read: [Path; 2],
    /// Signs of the mean difference in u′, v′ and ln luminance, display minus paper.
    away: [f64; 3],
}

impl<'a> Ahead<'a> {
    fn of(standing: &'a Standing<'a>, at: Time) -> Self {
        let seen = standing.seen;
        let times = grid(at, seen.station.horizon);
        let devices = [&seen.display, &seen.lamp];
        let unread = devices.map(|device| device.state.forecast(device.params, &times).likely);
        let read = devices.map(|d| d.state.after_fresh_reading(d.params, at, d.noise, &times));
        let [screen, light] = &unread;
        let last = times.len().saturating_sub(1);
        let screen = super::compare::Light::at(screen, last, seen.display.aim);
        let light = super::compare::Light::at(light, last, seen.lamp.aim);
        let difference = standing.comparison.difference(&screen, &light);
        let (u, v) = difference.uv;
        let length = u.hypot(v).max(f64::MIN_POSITIVE);
        let level = difference.ln_ratio.map_or(0.0, |ratio| ratio.mean.signum());
        Self { standing, times, unread, read, away: [u / length, v / length, level] }
    }

    /// Risk of being out within the horizon if the devices are read as told, and each finds `outcome` standard deviations
    /// towards the limit.
    fn risk(&self, outcome: [f64; 2], is_read: [bool; 2]) -> f64 {
        let [display, lamp] = [(0, 1.0), (1, -1.0)].map(|(place, sign): (usize, f64)| {
            let (unread, read) = (self.unread.get(place), self.read.get(place));
            let z = outcome.get(place).copied().unwrap_or(0.0) * sign;
            match (unread, read, is_read.get(place)) {
                (Some(unread), Some(read), Some(true)) => shifted(unread, read, z, self.away),
                (Some(unread), ..) => unread.clone(),
                _ => Path { channels: [None, None, None] },
            }
        });
        let standing = self.standing;
        let differences = standing.comparison.differences(&[(1.0, &display)], &[(1.0, &lamp)], self.times.len());
        risk_path(&differences, &standing.seen.limits()).within.last().copied().unwrap_or(1.0)
    }
}

/// The path after a reading that found `z` standard deviations more than expected in the direction of `away`.
fn shifted(unread: &Path, read: &Path, z: f64, away: [f64; 3]) -> Path {
    let mut path = read.clone();
    for ((channel, before), away) in path.channels.iter_mut().zip(&unread.channels).zip(away) {
        let (Some(channel), Some(before)) = (channel, before) else { continue };
        for ((mean, sd), before) in channel.mean.iter_mut().zip(&channel.sd).zip(&before.sd) {
            *mean += z * away * libm::sqrt((before * before - sd * sd).max(0.0));
        }
    }
    path
}
