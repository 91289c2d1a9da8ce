//! What is believed of a thing before it was read, by kind, as data with sources.
//!
//! Slopes are per day of eight burning hours ([`HOURS_PER_DAY`]), the use that is assumed where no hours are reported.
//! Sources: `[sim]` the two-year rooms of the project's statistical notes (sd 1e-5 per day in u′v′, 1e-4 per day in ln
//! level); `[TM-21]` IES TM-21-11 on a published test of 24 sources over 9 744 h (Meeker and Escobar, Statistical
//! Methods for Reliability Data): decay rates 1.6e-5 per hour at 25 °C and 3.4e-5 at 65 °C, that is 1.3e-4 and 2.7e-4
//! per day; `[DOE]` the US Department of Energy's L Prize lamp, 95.6 % of its light and 0.0009 in u′v′ after 40 890 h:
//! the sober end; `[trade]` half the light after 25 000 h for tube backlights and 50 000 h for LED backlights (2.2e-4
//! and 1.1e-4 per day), graphic-arts tubes given up after about 2 500 h. The heavy tail over slopes (settings with a
//! multiple of the sd) covers the rest.

use crate::site::LampKind;

/// Burning hours that one day of ageing stands for.
pub const HOURS_PER_DAY: f64 = 8.0;

/// What is watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thing {
    /// A screen.
    Display,
    /// A lamp of this kind.
    Lamp(LampKind),
}

/// Beliefs about one channel. Units: u′v′ (dimensionless) or ln level; time in days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChannelPrior {
    /// Where the level is thought to be when no aim is known.
    pub level: f64,
    /// Standard deviation of that guess.
    pub level_sd: f64,
    /// Standard deviation of a device around its aim before its first reading: most stations begin matched.
    pub new_about_aim: f64,
    /// The same where the first reading says that it does not stand at its aim, and where a step may have led.
    pub level_about_aim: f64,
    /// Mean slope of the kind, per day.
    pub slope: f64,
    /// Standard deviation of the slope over devices of the kind, per day.
    pub slope_sd: f64,
    /// Change of the slope in one day as a share of its sd, the grid's values: 0.06 is its own size in 280 days, 0.04 in 625.
    /// Lamps that were followed over 9 744 h ([TM-21]) lose light more steadily than whites move.
    pub slope_changes: [f64; 2],
    /// Standing sd of the wander, the grid's values.
    pub wander: [f64; WANDERS],
    /// Standard deviation left around the aim or target after a recalibration that no reading has yet followed.
    pub after_recalibration: f64,
    /// The same after a replacement by a new thing.
    pub after_replacement: f64,
    /// Extra sd of a reading taken on switching on, cold.
    pub cold: f64,
    /// Sd added to the level by each act, where it adds.
    pub moved: f64,
    /// As above.
    pub cleaned: f64,
    /// As above.
    pub serviced: f64,
    /// As above.
    pub setting_changed: f64,
    /// As above.
    pub part_replaced: f64,
    /// Typical size of an unlogged step.
    pub step: f64,
    /// Sd the level gains over the first 100 h of a fresh tube.
    pub settling: f64,
}

/// Sd of a level copied from a label, in ln level. The spread of a label's colour comes with it (`color::label_white`).
pub const LABEL_LN_SD: f64 = 0.1;

/// How many values of the wander the grid has.
pub const WANDERS: usize = 3;

/// Beliefs about a kind of thing: u′, v′, ln level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DriftPrior {
    /// One for each channel.
    pub channels: [ChannelPrior; 3],
}

const CHROMA: ChannelPrior = ChannelPrior {
    level: 0.2,
    level_sd: 0.1,
    new_about_aim: 0.003,
    level_about_aim: 0.02,
    slope: 0.0,
    slope_sd: 1e-5,
    slope_changes: [0.01, 0.06],
    wander: [0.00011, 0.00032, 0.0009],
    after_recalibration: 0.001,
    after_replacement: 0.003,
    cold: 0.003,
    moved: 0.001,
    cleaned: 0.0008,
    serviced: 0.004,
    setting_changed: 0.01,
    part_replaced: 0.002,
    step: 0.008,
    settling: 0.001,
};

const LEVEL: ChannelPrior = ChannelPrior {
    level: 5.5,
    level_sd: 3.0,
    new_about_aim: 0.08,
    level_about_aim: 0.7,
    slope: -5e-5,
    slope_sd: 1e-4,
    slope_changes: [0.01, 0.04],
    wander: [0.0025, 0.007, 0.02],
    after_recalibration: 0.014,
    after_replacement: 0.08,
    cold: 0.05,
    moved: 0.05,
    cleaned: 0.03,
    serviced: 0.15,
    setting_changed: 0.5,
    part_replaced: 0.07,
    step: 0.25,
    settling: 0.06,
};

/// What is believed of `thing` before it was read.
pub const fn drift_prior(thing: Thing) -> DriftPrior {
    let chroma = CHROMA;
    // v′ of a white lies near 0.47, u′ near 0.2.
    let v = ChannelPrior { level: 0.47, ..chroma };
    let level = match thing {
        // [trade] backlights; [sim].
        Thing::Display => ChannelPrior { slope: -5e-5, slope_sd: 1e-4, ..LEVEL },
        // [DOE] next to nothing, [TM-21] 25 °C; moving a lamp changes its distance.
        Thing::Lamp(LampKind::Led) => ChannelPrior { slope: -5e-5, slope_sd: 1e-4, moved: 0.15, ..LEVEL },
        // [TM-21] 65 °C, [trade].
        Thing::Lamp(LampKind::Fluorescent) => ChannelPrior { slope: -1.5e-4, slope_sd: 1.5e-4, moved: 0.15, ..LEVEL },
        Thing::Lamp(LampKind::Halogen) => ChannelPrior { slope: -1e-4, slope_sd: 2e-4, moved: 0.15, ..LEVEL },
        Thing::Lamp(LampKind::Other) => ChannelPrior { slope: -5e-5, slope_sd: 1.5e-4, moved: 0.15, ..LEVEL },
    };
    DriftPrior { channels: [chroma, v, level] }
}

/// Readings by kind of light source need not be odd by accident: how often, as rates.
pub mod odd {
    /// Share of readings that are off for a reason of their own (angle, stray light, wrong patch).
    pub const STRAY_SHARE: f64 = 0.05;
    /// Of those, the share in which only the level is off.
    pub const STRAY_LEVEL_ONLY: f64 = 0.35;
    /// Unlogged steps of level alone (a bumped dimmer), per year.
    pub const LEVEL_STEPS_PER_YEAR: f64 = 0.2;
    /// Unlogged steps that move the colour, per year.
    pub const COLOUR_STEPS_PER_YEAR: f64 = 0.05;
    /// Probability that a device was set elsewhere than was thought, where the first reading since is odd.
    pub const SET_ELSEWHERE: f64 = 0.35;
    /// Days between readings beyond which a gap says no more about steps.
    pub const LONGEST_GAP: f64 = 60.0;
    /// χ² beyond which a reading is odd: 1 in 1000 of honest ones, for one, two and three channels.
    pub const GATE: [f64; 3] = [10.83, 13.82, 16.27];
    /// |z| beyond which a channel of an odd reading counts as moved.
    pub const MOVED: f64 = 2.5;
}
