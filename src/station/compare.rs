//! The difference of the two whites along a grid of times, from the forecasts of a display and a lamp.
//!
//! Paper white = lamp white carried through the paper (`color::paper`), by its value and its Jacobian; luminance of the
//! paper = illuminance × luminous reflectance / π. The uncertainties that are added here and not in a device's own
//! forecast are constant in time: the paper estimate's own, and the part of the instruments' bias that does not cancel
//! ([`Scale`]).

use super::risk::{Difference, LnRatio};
use crate::color::{Brightener, PaperLight, PaperUnderLamp, UvSpread};
use crate::drift::{ChannelPath, Forecast, Path};
use crate::site::{Bias, Station};
use crate::units::{InstrumentId, UvPrime};

/// Standard deviation in u′ and in v′ given to a device whose colour was never read, about its aim. Wide enough that no
/// tolerance of the trade can be kept with it: the risk of what was never read is high.
const NEVER_READ_SD: f64 = 0.02;

/// Standard uncertainty that no further reading by the same instruments takes away.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Scale {
    /// Of the difference of the two whites, in u′ and in v′ alike.
    pub uv: f64,
    /// Of the natural log of the luminance ratio.
    pub ln_ratio: f64,
}

impl Scale {
    /// The part of two instruments' biases that does not cancel.
    ///
    /// Within one instrument the share `common` of its colour bias is the same on screen and on lit paper and cancels;
    /// nothing of the level cancels between a luminance and an illuminance head. Two instruments share nothing.
    pub fn between(display: (Option<&InstrumentId>, Bias), lamp: (Option<&InstrumentId>, Bias)) -> Self {
        let same = display.0.is_some() && display.0 == lamp.0;
        let (a, b) = (display.1, lamp.1);
        let uv = if same { a.uv * (1.0 - a.common) } else { a.uv.hypot(b.uv) };
        Self { uv, ln_ratio: a.level.hypot(b.level) }
    }
}

/// What turns two forecasts into a difference at one station.
#[derive(Clone)]
pub struct Comparison<'a> {
    /// The station whose rule and offset apply.
    pub station: &'a Station,
    /// Its paper.
    pub paper: PaperUnderLamp,
    /// Where it is asked what a reading of the lit paper would settle: the standard uncertainty in u′ and in v′ that it would
    /// leave of the paper against the lamp.
    pub paper_read_sd: Option<f64>,
    /// Where the display should be; stands in where its colour was never read.
    pub display_aim: UvPrime,
    /// Where the lamp should be; stands in where its colour was never read.
    pub lamp_aim: UvPrime,
    /// See [`Scale`].
    pub scale: Scale,
}

/// One number of a path at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Spot {
    pub mean: f64,
    pub var: f64,
    /// Of the variance, what movement from the first time on adds.
    pub fresh: f64,
    /// Of the covariance with the time before, the same; 0 at the first.
    pub fresh_carry: f64,
}

/// The colour and level of one device at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Light {
    pub u: Spot,
    pub v: Spot,
    pub ln_level: Option<Spot>,
}

impl Light {
    /// The light of `path` at the time with this index; `aim` stands in where the colour was never read.
    pub fn at(path: &Path, index: usize, aim: UvPrime) -> Self {
        let unread = |mean| Spot { mean, var: NEVER_READ_SD * NEVER_READ_SD, fresh: 0.0, fresh_carry: 0.0 };
        let [u, v, level] = &path.channels;
        let spot = |channel: &Option<ChannelPath>| channel.as_ref().and_then(|c| spot(c, index));
        Self {
            u: spot(u).unwrap_or_else(|| unread(aim.u)),
            v: spot(v).unwrap_or_else(|| unread(aim.v)),
            ln_level: spot(level),
        }
    }

    /// Its mean chromaticity.
    pub fn uv(&self) -> UvPrime {
        UvPrime { u: self.u.mean, v: self.v.mean }
    }
}

fn spot(channel: &ChannelPath, index: usize) -> Option<Spot> {
    let (mean, sd) = (*channel.mean.get(index)?, *channel.sd.get(index)?);
    let carry = index.checked_sub(1).and_then(|before| channel.fresh_next.get(before)).copied();
    let fresh = channel.fresh.get(index).copied().unwrap_or(0.0);
    Some(Spot { mean, var: sd * sd, fresh, fresh_carry: carry.unwrap_or(0.0) })
}

/// The hypotheses of a forecast with their probabilities.
pub fn hypotheses(forecast: &Forecast) -> Vec<(f64, &Path)> {
    let stepped: f64 = forecast.possible.iter().map(|h| h.p).sum();
    let mut all = vec![((1.0 - stepped).max(0.0), &forecast.likely)];
    all.extend(forecast.possible.iter().map(|h| (h.p, &h.path)));
    all
}

impl Comparison<'_> {
    /// Every pair of a display's and a lamp's hypotheses, with its probability and its differences at `count` times.
    pub fn differences(
        &self,
        display: &[(f64, &Path)],
        lamp: &[(f64, &Path)],
        count: usize,
    ) -> Vec<(f64, Vec<Difference>)> {
        let mut pairs = Vec::with_capacity(display.len() * lamp.len());
        for (screen_p, screen) in display {
            for (light_p, light) in lamp {
                let along = (0..count)
                    .map(|index| {
                        let screen = Light::at(screen, index, self.display_aim);
                        self.difference(&screen, &Light::at(light, index, self.lamp_aim))
                    })
                    .collect();
                pairs.push((screen_p * light_p, along));
            }
        }
        pairs
    }

    /// The difference at one time. Where the lamp is no light that paper can be calculated under, the lamp's own white
    /// stands for the paper's.
    pub fn difference(&self, screen: &Light, light: &Light) -> Difference {
        let paper = self.paper_under(light);
        let (paper_sd, brightener) = match self.paper_read_sd {
            Some(sd) => (paper.estimate_sd.min(sd), UvSpread::default()),
            None => (paper.estimate_sd, paper.brightener_spread),
        };
        let through = |u: f64, v: f64| UvSpread { uu: u, uv: 0.0, vv: v }.through(paper.by_lamp);
        let fresh = through(light.u.fresh, light.v.fresh);
        let carry = through(light.u.fresh_carry, light.v.fresh_carry);
        let still = self.scale.uv * self.scale.uv + paper_sd * paper_sd;
        let (offset_u, offset_v) = self.station.visual_offset;
        let spread = paper.lamp_spread.plus(brightener);
        Difference {
            uv: (screen.u.mean - paper.uv.u - offset_u, screen.v.mean - paper.uv.v - offset_v),
            uv_cov: (screen.u.var + spread.uu + still, spread.uv, screen.v.var + spread.vv + still),
            uv_fresh: (screen.u.fresh + fresh.uu, fresh.uv, screen.v.fresh + fresh.vv),
            uv_fresh_carry: (screen.u.fresh_carry + carry.uu, carry.uv, screen.v.fresh_carry + carry.vv),
            ln_ratio: self.ln_ratio(screen, light, paper.reflectance),
        }
    }

    /// The paper white under the lamp as it stands at one time.
    pub fn paper_under(&self, light: &Light) -> PaperLight {
        let spread = UvSpread { uu: light.u.var, uv: 0.0, vv: light.v.var };
        self.paper.under(light.uv(), spread).unwrap_or(PaperLight {
            uv: light.uv(),
            reflectance: 1.0,
            estimate_sd: NEVER_READ_SD,
            by_lamp: [[1.0, 0.0], [0.0, 1.0]],
            lamp_spread: spread,
            brightener: Brightener::NoneKnown,
            brightener_spread: UvSpread::default(),
        })
    }

    fn ln_ratio(&self, screen: &Light, light: &Light, reflectance: f64) -> Option<LnRatio> {
        let wanted = self.station.luminance.agreed()?;
        let (display, lamp) = (screen.ln_level?, light.ln_level?);
        let still = self.scale.ln_ratio * self.scale.ln_ratio;
        Some(LnRatio {
            mean: display.mean - lamp.mean - libm::log(reflectance / std::f64::consts::PI) - libm::log(wanted),
            var: display.var + lamp.var + still,
            fresh: display.fresh + lamp.fresh,
            fresh_carry: display.fresh_carry + lamp.fresh_carry,
        })
    }
}
