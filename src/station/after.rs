//! The states that acts would leave, as paths from now on. Pure.
//!
//! An act counts as done well and checked: the device is set to what it was set to, with the spread that `drift` gives to such an
//! act, and a fresh reading then finds what is expected. Whoever finds something else has more to do, which no plan can know.
//! What cleaning and turning leave is common practice, not a standard.

use super::compare::{Comparison, hypotheses};
use super::outlook::{Outlook, Reach};
use super::{Seen, Watched};
use crate::color::UvSpread;
use crate::drift::{Act, ChannelPath, Forecast, Happening, Path, TargetWhite};
use crate::units::{Time, UvPrime};

/// Light that dust takes in a year in a clean room, at most, in ln level: a tenth (CIE 97, from memory).
const DUST: f64 = 0.105;
/// What turning a dimmer may do to the white, as a standard deviation in u′v′ (common practice).
const DIMMING_UV: f64 = 0.001;
/// What turning a colour dial may do to the level, in ln level (common practice).
const DIALLING_LN: f64 = 0.05;

/// A path that may come about, owned, with its probability.
pub(super) type Likely<'p> = Vec<(f64, &'p Path)>;

/// What all acts of a station are weighed from.
pub(super) struct Ground<'a> {
    pub seen: &'a Seen<'a>,
    pub comparison: &'a Comparison<'a>,
    pub now: Time,
    pub times: Vec<Time>,
    pub reach: Reach,
    display: Forecast,
    lamp: Forecast,
}

impl<'a> Ground<'a> {
    pub fn new(seen: &'a Seen, comparison: &'a Comparison, reach: Reach, now: Time) -> Self {
        let times = reach.coarse_times(now, seen.station.horizon);
        let display = seen.display.state.forecast(seen.display.params, &times);
        let lamp = seen.lamp.state.forecast(seen.lamp.params, &times);
        Self { seen, comparison, now, times, reach, display, lamp }
    }

    /// The display as it will be if nobody touches it.
    pub fn display(&self) -> Likely<'_> {
        hypotheses(&self.display)
    }

    /// The lamp, likewise.
    pub fn lamp(&self) -> Likely<'_> {
        hypotheses(&self.lamp)
    }

    /// How long the match holds with such a display and lamp.
    pub fn outlook(&self, display: &[(f64, &Path)], lamp: &[(f64, &Path)]) -> Outlook {
        self.outlook_by(self.comparison, display, lamp)
    }

    /// How long it holds once the lit paper was read: against the lamp, and both readings scatter.
    pub fn outlook_with_paper_read(&self) -> Outlook {
        let sd = self.seen.lamp.noise.uv * std::f64::consts::SQRT_2;
        let comparison = Comparison { paper_read_sd: Some(sd), ..self.comparison.clone() };
        self.outlook_by(&comparison, &self.display(), &self.lamp())
    }

    fn outlook_by(&self, comparison: &Comparison, display: &[(f64, &Path)], lamp: &[(f64, &Path)]) -> Outlook {
        let differences = comparison.differences(display, lamp, self.times.len());
        Outlook::of(&differences, &self.seen.limits(), self.reach, &self.times, 0.0)
    }

    /// The device as a fresh reading that finds what is expected would leave it.
    pub fn read(&self, device: &Watched) -> Path {
        device.state.after_fresh_reading(device.params, self.now, device.noise, &self.times)
    }

    /// The display set to a white, and to a level in cd/m² (its aim's where none is given).
    pub fn recalibrated(&self, white: UvPrime, level: Option<f64>) -> Path {
        let ln_level = level.filter(|level| *level > 0.0).map(libm::log);
        let target = TargetWhite { uv: white, ln_level, sd_uv: None, sd_ln: None };
        self.done(&self.seen.display, Act::Recalibrated { target: Some(target) })
    }

    /// A new lamp at its aim.
    pub fn replaced(&self) -> Path {
        self.done(&self.seen.lamp, Act::Replaced)
    }

    /// The lamp with its dimmer turned until it reads as its aim; `None` where either is not known.
    pub fn dimmed(&self) -> Option<Path> {
        let ([u, v, _], aim) = (self.lamp_now(), self.seen.lamp.aim_level?);
        let ((u, u_sd), (v, v_sd)) = (u?, v?);
        let sd_uv = Some(libm::hypot(u_sd.max(v_sd), DIMMING_UV));
        Some(self.set_lamp(UvPrime { u, v }, sd_uv, Some((libm::log(aim), None))))
    }

    /// The lamp with its colour dial turned until it reads as its aim.
    pub fn dialled(&self) -> Path {
        let [_, _, level] = self.lamp_now();
        let level = level.map(|(mean, sd)| (mean, Some(libm::hypot(sd, DIALLING_LN))));
        self.set_lamp(self.seen.lamp.aim, None, level)
    }

    /// The lamp without its dust, which took between nothing and a tenth of its light, and no more than it lacks; `None` where it
    /// lacks nothing, or that is not known.
    pub fn cleaned(&self) -> Option<Path> {
        let ([u, v, level], aim) = (self.lamp_now(), self.seen.lamp.aim_level?);
        let ((u, u_sd), (v, v_sd), (level, sd)) = (u?, v?, level?);
        let most = (libm::log(aim) - level).min(DUST);
        let spread = most / libm::sqrt(12.0);
        let level = (level + most / 2.0, Some(libm::hypot(sd, spread)));
        (most > 0.0).then(|| self.set_lamp(UvPrime { u, v }, Some(u_sd.max(v_sd)), Some(level)))
    }

    fn set_lamp(&self, uv: UvPrime, sd_uv: Option<f64>, level: Option<(f64, Option<f64>)>) -> Path {
        let (ln_level, sd_ln) = (level.map(|(mean, _)| mean), level.and_then(|(_, sd)| sd));
        let target = TargetWhite { uv, ln_level, sd_uv, sd_ln };
        self.done(&self.seen.lamp, Act::Recalibrated { target: Some(target) })
    }

    fn done(&self, device: &Watched, act: Act) -> Path {
        let mut state = device.state.clone();
        state.note(device.params, &Happening { time: self.now, act });
        state.after_fresh_reading(device.params, self.now, device.noise, &self.times)
    }

    /// Mean and standard deviation of the lamp's channels now.
    fn lamp_now(&self) -> [Option<(f64, f64)>; 3] {
        let first = |channel: &Option<ChannelPath>| {
            let channel = channel.as_ref()?;
            Some((*channel.mean.first()?, *channel.sd.first()?))
        };
        let [u, v, level] = &self.lamp.likely.channels;
        [first(u), first(v), first(level)]
    }
}

/// The white, u′v′, and the level in cd/m² that the display should have at point `index` of the grid to meet the paper.
pub(super) fn asked_of_display(ground: &Ground, lamp: &[(f64, &Path)], index: usize) -> Option<(UvPrime, Option<f64>)> {
    let (_, likely) = lamp.first()?;
    let light = super::compare::Light::at(likely, index, ground.seen.lamp.aim);
    let paper = ground.comparison.paper.under(light.uv(), UvSpread::default()).ok()?;
    let (u, v) = ground.seen.station.visual_offset;
    let level = light.ln_level.zip(ground.seen.station.luminance.agreed());
    let level = level.map(|(lx, ratio)| paper.luminance(libm::exp(lx.mean)) * ratio);
    Some((UvPrime { u: paper.uv.u + u, v: paper.uv.v + v }, level))
}

/// The path with each channel's mean moved.
pub(super) fn moved(path: &Path, by: [f64; 3]) -> Path {
    let mut path = path.clone();
    for (channel, by) in path.channels.iter_mut().zip(by) {
        channel.iter_mut().flat_map(|channel| &mut channel.mean).for_each(|mean| *mean += by);
    }
    path
}
