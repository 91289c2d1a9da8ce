//! Whether an instrument, rather than the devices it reads, has changed. Pure.
//!
//! Devices drift and jump each on their own. When all that one instrument has lately read jump together, in one direction and
//! by about as much, the instrument is the nearest cause: a dirty or shifted head, another setting of it, another calibration.
//! What is compared are jumps that passed the gate of each device's own model, found or still waiting to be borne out.
//!
//! Colour is compared over all devices. A level that moves alone is compared among displays and among lamps, since a luminance
//! and an illuminance head are two.

use crate::drift::LightKind;
use crate::units::{Days, DeviceId, InstrumentId, Time};

/// Jumps that began within this time of each other are one.
const TOGETHER: Days = Days(7.0);
/// So many devices must have jumped; two where the site has no more.
const DEVICES: usize = 3;
/// A white that moved by less than this in u′v′ did not move: about the scatter of two readings.
const SAME_WHITE: f64 = 0.001;
/// The same of a level, as a ratio's logarithm.
const SAME_LEVEL: f64 = 0.02;
/// Jumps are alike that lie no further than this share of the common one from it.
const ALIKE: f64 = 0.5;

/// The newest jump of one device, by the readings of one instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct Jump {
    /// The device.
    pub device: DeviceId,
    /// What kind of light it gives.
    pub light: LightKind,
    /// The instrument whose readings show it.
    pub instrument: InstrumentId,
    /// The first reading that did.
    pub began: Time,
    /// Change of u′ and v′.
    pub uv: (f64, f64),
    /// Change of ln level; 0 where it was not read.
    pub ln_level: f64,
}

/// A reading of a device that has not jumped.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Calm {
    pub light: LightKind,
    pub instrument: InstrumentId,
    pub time: Time,
}

/// An instrument that is suspect.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspicion {
    /// The instrument.
    pub instrument: InstrumentId,
    /// The first of its readings that showed the jump.
    pub since: Time,
    /// The devices that jumped, in the order of their first such readings.
    pub devices: Vec<DeviceId>,
    /// The common jump of the white.
    pub uv: (f64, f64),
    /// The common jump of ln level; 0 where the white moved.
    pub ln_level: f64,
}

/// The instruments that are suspect, by name. `devices` is how many displays and lamps the site has.
pub fn suspicions(jumps: &[Jump], calm: &[Calm], devices: usize) -> Vec<Suspicion> {
    let mut instruments: Vec<&InstrumentId> = jumps.iter().map(|jump| &jump.instrument).collect();
    instruments.sort();
    instruments.dedup();
    instruments.into_iter().filter_map(|instrument| suspicion(instrument, jumps, calm, devices)).collect()
}

fn suspicion(instrument: &InstrumentId, jumps: &[Jump], calm: &[Calm], devices: usize) -> Option<Suspicion> {
    let newest = jumps.iter().filter(|jump| jump.instrument == *instrument).map(|jump| jump.began).max()?;
    let mut own: Vec<&Jump> =
        jumps.iter().filter(|jump| jump.instrument == *instrument && newest.since(jump.began) <= TOGETHER).collect();
    own.sort_by(|one, two| (one.began, &one.device).cmp(&(two.began, &two.device)));
    let calm: Vec<&Calm> = calm.iter().filter(|calm| calm.instrument == *instrument).collect();
    let least = devices.clamp(2, DEVICES);
    let coloured: Vec<&Jump> = own.iter().copied().filter(|jump| jump.uv.0.hypot(jump.uv.1) >= SAME_WHITE).collect();
    let by_colour = common(&own, &coloured, &calm.iter().map(|calm| calm.time).collect::<Vec<_>>(), least, true);
    let by_level = || {
        [LightKind::Display, LightKind::Lamp].into_iter().find_map(|light| {
            let of_kind: Vec<&Jump> = own.iter().copied().filter(|jump| jump.light == light).collect();
            let is_level = |jump: &&Jump| jump.uv.0.hypot(jump.uv.1) < SAME_WHITE && jump.ln_level.abs() >= SAME_LEVEL;
            let level: Vec<&Jump> = of_kind.iter().copied().filter(is_level).collect();
            let calm: Vec<Time> = calm.iter().filter(|calm| calm.light == light).map(|calm| calm.time).collect();
            common(&of_kind, &level, &calm, least, false)
        })
    };
    by_colour.or_else(by_level).map(|found| Suspicion { instrument: instrument.clone(), ..found })
}

/// The jump that most of `all` have in common, out of those that may (`candidates`), if no device stood calm since.
fn common(all: &[&Jump], candidates: &[&Jump], calm: &[Time], least: usize, colour: bool) -> Option<Suspicion> {
    let first = candidates.first()?;
    let middle = |value: fn(&Jump) -> f64| median(candidates.iter().map(|jump| value(jump)).collect());
    let (u, v, ln) = (middle(|jump| jump.uv.0), middle(|jump| jump.uv.1), middle(|jump| jump.ln_level));
    let is_alike = |jump: &&&Jump| match colour {
        true => (jump.uv.0 - u).hypot(jump.uv.1 - v) <= (ALIKE * u.hypot(v)).max(SAME_WHITE),
        false => (jump.ln_level - ln).abs() <= (ALIKE * ln.abs()).max(SAME_LEVEL),
    };
    let alike: Vec<&&Jump> = candidates.iter().filter(is_alike).collect();
    let since = alike.first()?.began;
    let one_direction = if colour { u.hypot(v) >= SAME_WHITE } else { ln.abs() >= SAME_LEVEL };
    let most = 2 * alike.len() > all.len();
    if alike.len() < least || !most || !one_direction || calm.iter().any(|time| *time >= since) {
        return None;
    }
    Some(Suspicion {
        instrument: first.instrument.clone(),
        since,
        devices: alike.iter().map(|jump| jump.device.clone()).collect(),
        uv: (u, v),
        ln_level: if colour { 0.0 } else { ln },
    })
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    let at = |place: usize| values.get(place).copied().unwrap_or(0.0);
    if values.len() % 2 == 1 { at(half) } else { 0.5 * (at(half.saturating_sub(1)) + at(half)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(days: f64) -> Time {
        Time::parse("2026-01-01T00:00:00Z").unwrap().plus(Days(days))
    }

    fn jump(device: &str, began: f64, uv: (f64, f64), ln_level: f64) -> Jump {
        let light = if device.ends_with("lamp") { LightKind::Lamp } else { LightKind::Display };
        Jump {
            device: DeviceId::new(device).unwrap(),
            light,
            instrument: meter("meter"),
            began: day(began),
            uv,
            ln_level,
        }
    }

    fn meter(name: &str) -> InstrumentId {
        InstrumentId::new(name).unwrap()
    }

    fn calm(light: LightKind, at: f64) -> Calm {
        Calm { light, instrument: meter("meter"), time: day(at) }
    }

    #[test]
    fn three_that_jump_alike_mean_the_instrument() {
        let jumps = [
            jump("c-screen", 2.0, (0.0035, -0.001), 0.0),
            jump("a-lamp", 0.0, (0.004, -0.0008), 0.0),
            jump("b-lamp", 1.0, (0.0042, -0.0012), 0.05),
        ];
        let found = suspicions(&jumps, &[calm(LightKind::Lamp, -1.0)], 8);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].devices.iter().map(DeviceId::as_str).collect::<Vec<_>>(), ["a-lamp", "b-lamp", "c-screen"]);
        assert_eq!((found[0].since, found[0].uv), (day(0.0), (0.004, -0.001)));
        assert_eq!(suspicions(&jumps, &[calm(LightKind::Lamp, 1.5)], 8), [], "another stood still since");
        assert_eq!(suspicions(&jumps[..2], &[], 8), [], "two of many prove nothing");
        assert_eq!(suspicions(&jumps[..2], &[], 2).len(), 1, "unless there are no more");
        assert_eq!(suspicions(&jumps[..1], &[], 1), []);
    }

    #[test]
    fn what_differs_in_direction_size_time_or_instrument_does_not() {
        let alike = |device| jump(device, 0.0, (0.004, 0.0), 0.0);
        let (a, b) = (alike("a-lamp"), alike("b-lamp"));
        for other in [
            jump("c-lamp", 0.0, (-0.004, 0.0), 0.0),
            jump("c-lamp", 0.0, (0.012, 0.0), 0.0),
            jump("c-lamp", 9.0, (0.004, 0.0), 0.0),
            Jump { instrument: meter("another"), ..alike("c-lamp") },
        ] {
            assert_eq!(suspicions(&[a.clone(), b.clone(), other], &[], 8), []);
        }
    }

    #[test]
    fn levels_are_compared_within_a_kind() {
        let jumps: Vec<Jump> =
            ["a-lamp", "b-lamp", "c-lamp"].iter().map(|id| jump(id, 0.0, (0.0002, 0.0), -0.12)).collect();
        let found = suspicions(&jumps, &[calm(LightKind::Display, 1.0)], 8);
        assert_eq!((found.len(), found[0].ln_level), (1, -0.12), "the screens are read by another head");
        assert_eq!(suspicions(&jumps, &[calm(LightKind::Lamp, 1.0)], 8), []);
    }
}
