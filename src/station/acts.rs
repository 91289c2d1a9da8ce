//! The acts that could bring a station back, weighed by the path of risk after each. Pure.
//!
//! What an act gains is how long the match then holds: the days until the risk of having been out passes the station's line. The
//! act chosen holds longest for its cost, of those that hold at least for the station's horizon; where none does, the one that
//! holds longest; where none brings the risk under its line at all but the match is out, the one that most likely brings it in.
//! A display is not made to follow a lamp that left its aim by far: that would only carry the fault on. Where no single act
//! holds, a lamp and its display may both have to be set.

use super::after::{Ground, asked_of_display, moved};
use super::compare::Comparison;
use super::outlook::{Holds, Outlook, Reach};
use super::{Advice, LampFault, OUT_ABOVE, Picture, Seen};
use crate::color::{delta_uv, direction, xy};
use crate::drift::Path;
use crate::site::{Adjustable, Costs};
use crate::units::{Days, DeviceId, Illuminance, Luminance, Time, UvPrime};

/// A lamp this many tolerances from its aim in colour is not followed.
const LAMP_FAR_COLOUR: f64 = 2.0;
/// Nor is one that gives less than this share of its aim's light.
const LAMP_FAR_LEVEL: f64 = 0.7;
/// A calibration away from the aim is worth it only if it holds this many times as long as one to the aim: the aim is what the
/// next person will calibrate to.
const WORTH_ANOTHER_AIM: f64 = 1.25;
/// A move of less than this share of a limit is not led.
const WORTH_LEADING: f64 = 0.05;
/// A calibration does not lead the drift by more days than this, nor than the readings reach back.
const LEAD_AT_MOST: f64 = 180.0;

/// An act, or two that belong together, and what it would leave.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighed {
    /// What is done, in this order.
    pub steps: Vec<Advice>,
    /// By the costs of the configuration.
    pub cost: f64,
    /// Probability of being out right after it.
    pub risk_after: f64,
    /// Probability of being out at any time within the station's horizon after it.
    pub risk_within: f64,
    /// Until when the match then holds.
    pub holds: Holds,
    /// Days until the risk passes the station's line, or as many as may be looked ahead.
    pub days: f64,
    /// Whether it is what is advised.
    pub chosen: bool,
}

impl Weighed {
    /// How many of the rungs of the choice it reaches: holds for the horizon, holds at all, is more likely in than out.
    fn rung(&self, horizon: Days, max_risk: f64) -> u8 {
        if self.risk_within <= max_risk && self.days >= horizon.0 {
            3
        } else if self.days > 0.0 && self.risk_after <= max_risk {
            2
        } else {
            u8::from(self.risk_after <= OUT_ABOVE)
        }
    }

    /// What counts on a rung, higher for better.
    fn worth(&self, rung: u8) -> f64 {
        match rung {
            3 => self.days / self.cost,
            2 => self.days,
            _ => -self.risk_after,
        }
    }

    /// Whether it helps enough to be named beside the one that is advised.
    pub fn helps(&self, max_risk: f64) -> bool {
        self.days > 0.0 && self.risk_after <= max_risk
    }
}

/// Weighs every act that could be done at the station, the best first. `untouched` is the path of risk if none is.
pub(super) fn weigh(
    seen: &Seen,
    comparison: &Comparison,
    picture: &Picture,
    untouched: &Outlook,
    reach: Reach,
    now: Time,
) -> Vec<Weighed> {
    let ground = Ground::new(seen, comparison, reach, now);
    let station = seen.station;
    let max_risk = station.max_risk.get();
    let as_found = Weigher { ground: &ground, picture };
    let mut all = as_found.readings();
    let lamps = as_found.of_lamp();
    for (advice, path) in &lamps {
        // A new lamp renders as its maker says; nothing else changes how this one does.
        let outlook = ground.outlook(&ground.display(), &[(1.0, path)]);
        all.push(as_found.weighed(vec![advice.clone()], outlook));
    }
    if !as_found.lamp_is_far() {
        all.extend(as_found.recalibrations(None, &ground.lamp()));
    }
    if !all.iter().any(|act| act.rung(station.horizon, max_risk) == 3) {
        // A lamp that is only cleaned stays as far from its aim as it was.
        let set = |advice: &Advice| !(as_found.lamp_is_far() && matches!(advice, Advice::CleanLamp { .. }));
        for (advice, path) in lamps.iter().filter(|(advice, _)| set(advice)) {
            all.extend(as_found.recalibrations(Some(advice), &[(1.0, path)]));
        }
    }
    if seen.renders_poorly() {
        for act in &mut all {
            if !act.steps.iter().any(|step| matches!(step, Advice::ReplaceLamp { .. })) {
                *act = as_found.weighed(act.steps.clone(), Outlook::certainly_out(reach, now));
            }
        }
    }
    // What leaves more risk than nothing does is no help, whatever it costs.
    let (now_risk, within) = (untouched.risk_now(), untouched.risk_within(station.horizon));
    let order = |act: &Weighed| {
        let rung = act.rung(station.horizon, max_risk);
        let worse = act.risk_within > within && act.risk_after > now_risk;
        if worse { (0, -act.risk_after) } else { (rung, act.worth(rung)) }
    };
    // Stable, and the cheaper stand first: they win a tie.
    all.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    all.sort_by(|a, b| {
        let ((a, better), (b, than)) = (order(a), order(b));
        b.cmp(&a).then(than.total_cmp(&better))
    });
    all
}

/// The best of the acts, weighed as [`weigh`] leaves them, if it helps at all; more than a reading is wanted where the match is
/// out or will be whatever a reading may find.
pub(super) fn best<'w>(acts: &'w [Weighed], untouched: &Outlook, horizon: Days, max_risk: f64) -> Option<&'w Weighed> {
    let better = |act: &&Weighed| {
        act.rung(horizon, max_risk) > 0
            && act.risk_within <= untouched.risk_within(horizon)
            && act.risk_after <= untouched.risk_now().max(max_risk)
    };
    acts.iter().find(better)
}

/// Marks what is advised: of acts that share steps, the one that has most of them.
pub(super) fn mark_chosen(acts: &mut [Weighed], advice: &[Advice]) {
    for act in acts.iter_mut() {
        act.chosen = act.steps.iter().all(|step| advice.contains(step));
    }
    let whole: Vec<Advice> =
        acts.iter().filter(|act| act.chosen && act.steps.len() > 1).flat_map(|a| a.steps.clone()).collect();
    for act in acts.iter_mut().filter(|act| act.steps.len() == 1) {
        act.chosen &= !act.steps.iter().any(|step| whole.contains(step));
    }
}

struct Weigher<'a> {
    ground: &'a Ground<'a>,
    picture: &'a Picture,
}

impl Weigher<'_> {
    fn seen(&self) -> &Seen<'_> {
        self.ground.seen
    }

    fn weighed(&self, steps: Vec<Advice>, outlook: Outlook) -> Weighed {
        let station = self.seen().station;
        Weighed {
            cost: steps.iter().map(|step| cost(step, &self.seen().costs, &station.display)).sum(),
            steps,
            risk_after: outlook.risk_now(),
            risk_within: outlook.risk_within(station.horizon),
            holds: outlook.holds(),
            days: outlook.keeps(station.max_risk.get()),
            chosen: false,
        }
    }

    fn readings(&self) -> Vec<Weighed> {
        let (ground, seen) = (self.ground, self.seen());
        let (display, lamp) = (ground.read(&seen.display), ground.read(&seen.lamp));
        let read = |device: &super::Watched| vec![Advice::Read { device: device.id.clone() }];
        let mut all = vec![
            self.weighed(read(&seen.display), ground.outlook(&[(1.0, &display)], &ground.lamp())),
            self.weighed(read(&seen.lamp), ground.outlook(&ground.display(), &[(1.0, &lamp)])),
        ];
        if seen.lit.read.is_none() {
            let paper = Advice::ReadPaper { paper: seen.paper.id.clone(), lamp: seen.lamp.id.clone() };
            all.push(self.weighed(vec![paper], ground.outlook_with_paper_read()));
        }
        all
    }

    /// What can be done to the lamp, and its path after it.
    fn of_lamp(&self) -> Vec<(Advice, Path)> {
        let (ground, seen) = (self.ground, self.seen());
        let lamp = || seen.lamp.id.clone();
        let level = seen.lamp.aim_level.zip(self.picture.lamp.luminance);
        let mut all = Vec::new();
        let lx = level.and_then(|(aim, now)| Some((Illuminance::new(now.mean).ok()?, Illuminance::new(aim).ok()?)));
        if let Some(((from, to), path)) = lx.filter(|_| self.turns(Adjustable::Level)).zip(ground.dimmed()) {
            all.push((Advice::TurnDimmer { lamp: lamp(), from, to }, path));
        }
        if self.turns(Adjustable::Cct) {
            let direction = direction(self.picture.lamp.uv(), seen.lamp.aim);
            let white = xy(seen.lamp.aim).ok();
            all.push((Advice::TurnColourDial { lamp: lamp(), direction, white }, ground.dialled()));
        }
        if let Some(((aim, now), path)) = level.zip(ground.cleaned()) {
            all.push((Advice::CleanLamp { lamp: lamp(), level_ratio: now.mean / aim }, path));
        }
        all.push((Advice::ReplaceLamp { lamp: lamp(), why: self.fault() }, ground.replaced()));
        all
    }

    fn turns(&self, what: Adjustable) -> bool {
        self.seen().adjustable.contains(&what)
    }

    fn lamp_distance(&self) -> f64 {
        delta_uv(self.seen().lamp.aim, self.picture.lamp.uv())
    }

    /// The lamp's level over its aim, where the station judges luminance.
    fn level_ratio(&self) -> Option<f64> {
        let judged = self.seen().limits().ln_ratio.is_some();
        let level = self.seen().lamp.aim_level.zip(self.picture.lamp.luminance).filter(|_| judged);
        level.map(|(aim, now)| now.mean / aim)
    }

    fn lamp_is_far(&self) -> bool {
        let colour = self.lamp_distance() > LAMP_FAR_COLOUR * self.seen().station.tolerance.delta_uv;
        colour || self.level_ratio().is_some_and(|ratio| ratio < LAMP_FAR_LEVEL)
    }

    fn fault(&self) -> LampFault {
        let seen = self.seen();
        let poor = seen.rendering.known().zip(seen.station.tolerance.ra_min).filter(|_| seen.renders_poorly());
        if let Some((known, limit)) = poor {
            return LampFault::Rendering { ra: known.ra, limit };
        }
        let distance = self.lamp_distance();
        match self.level_ratio() {
            _ if distance > seen.station.tolerance.delta_uv => LampFault::Colour { delta_uv: distance },
            Some(level_ratio) if level_ratio < LAMP_FAR_LEVEL => LampFault::Dim { level_ratio },
            _ => LampFault::Ageing,
        }
    }

    /// Recalibrations of the display beside such a lamp, which `first` would leave: to its aim, and to the paper white of
    /// the middle of the time that it should hold, where that is worth another aim.
    fn recalibrations(&self, first: Option<&Advice>, lamp: &[(f64, &Path)]) -> Vec<Weighed> {
        let (ground, seen) = (self.ground, self.seen());
        let steps = |last: Advice| first.cloned().into_iter().chain([last]).collect::<Vec<_>>();
        let level = |level: Option<f64>| level.and_then(|level| Luminance::new(level).ok());
        let display = || seen.display.id.clone();
        let mut all = Vec::new();
        if let Ok(white) = xy(seen.display.aim) {
            let path = ground.recalibrated(seen.display.aim, seen.display.aim_level);
            let luminance = level(seen.display.aim_level);
            let outlook = ground.outlook(&[(1.0, &path)], lamp);
            all.push(self.weighed(steps(Advice::RecalibrateToAim { display: display(), white, luminance }), outlook));
        }
        let Some(led) = self.led(lamp) else { return all };
        let horizon = seen.station.horizon;
        let days = led.outlook.keeps(seen.station.max_risk.get());
        let to_aim = all.first();
        // The aim will do where it holds nearly as long.
        if let Ok(white) = xy(led.white)
            && to_aim.is_none_or(|aim| aim.days < horizon.0 || days > WORTH_ANOTHER_AIM * aim.days)
        {
            let luminance = level(led.level.or(seen.display.aim_level));
            let act = Advice::RecalibrateToPaper { display: display(), white, luminance, meets: led.meets };
            all.push(self.weighed(steps(act), led.outlook));
        }
        all
    }

    /// The aim that leads the lamp's drift by as much as holds longest: by nothing, by half of the time that this holds, or by half
    /// of what that one holds. The lamp's expected path is straight enough that its middle is its mean. The display's own drift is
    /// not led: a screen calibrated to what is wrong today would be hard to explain to whoever checks it.
    fn led(&self, lamp: &[(f64, &Path)]) -> Option<Led> {
        let (ground, max_risk) = (self.ground, self.seen().station.max_risk.get());
        let (white, level) = asked_of_display(ground, lamp, 0)?;
        let path = ground.recalibrated(white, level);
        let farthest = ground.reach.observed.0.min(LEAD_AT_MOST);
        let outlook = ground.outlook(&[(1.0, &path)], lamp);
        let mut best = Led { white, level, meets: ground.now, outlook };
        for _ in 0..2 {
            let middle = ground.now.plus(Days(best.outlook.keeps(max_risk).min(farthest) / 2.0));
            let index = ground.times.partition_point(|time| *time <= middle).saturating_sub(1);
            let meets = *ground.times.get(index)?;
            if meets <= best.meets {
                break;
            }
            let (there, level_there) = asked_of_display(ground, lamp, index)?;
            // A lamp that hardly moves needs no lead.
            let far = |limit: f64, by: f64| by.abs() > WORTH_LEADING * limit;
            let limits = self.seen().limits();
            let ln_by = level.zip(level_there).map_or(0.0, |(from, to)| libm::log(to / from));
            if !far(limits.delta_uv, delta_uv(white, there)) && !limits.ln_ratio.is_some_and(|limit| far(limit, ln_by))
            {
                break;
            }
            let set = moved(&path, [there.u - white.u, there.v - white.v, ln_by]);
            let outlook = ground.outlook(&[(1.0, &set)], lamp);
            if outlook.keeps(max_risk) <= best.outlook.keeps(max_risk) {
                break;
            }
            best = Led { white: there, level: level_there.or(level), meets, outlook };
        }
        Some(best)
    }
}

/// A calibration that meets the paper on a day.
struct Led {
    white: UvPrime,
    level: Option<f64>,
    meets: Time,
    outlook: Outlook,
}

/// What an act costs; other advice costs nothing.
fn cost(act: &Advice, costs: &Costs, display: &DeviceId) -> f64 {
    match act {
        Advice::Read { device } if device == display => costs.read_display,
        Advice::Read { .. } => costs.read_lamp,
        Advice::ReadPaper { .. } => costs.read_paper,
        Advice::RecalibrateToAim { .. } | Advice::RecalibrateToPaper { .. } => costs.recalibrate,
        Advice::TurnDimmer { .. } | Advice::TurnColourDial { .. } => costs.turn_lamp,
        Advice::CleanLamp { .. } => costs.clean_lamp,
        Advice::ReplaceLamp { .. } => costs.replace_lamp,
        Advice::ShutOutLight { .. } | Advice::LookAtHeld { .. } | Advice::LookAtJump { .. } => 0.0,
    }
}
