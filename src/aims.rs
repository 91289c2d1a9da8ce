//! Where each device should be, from the configuration alone: what the model is told of it. Pure.

use crate::color::{PaperUnderLamp, UvSpread, uv_prime};
use crate::drift::{Params, Thing};
use crate::site::{AimWhite, Display, Things};
use crate::units::{DeviceId, Luminance, UvPrime};

/// What the configuration tells the model of a device; `None` for what is no display or lamp of the site.
pub fn params_of(things: &Things, device: &DeviceId) -> Option<Params> {
    let ln = |level: f64| (level > 0.0).then(|| libm::log(level));
    if let Some(lamp) = things.lamp(device) {
        return Some(Params {
            thing: Thing::Lamp(lamp.kind),
            aim_white: uv_prime(lamp.aim.white).ok(),
            aim_ln_level: ln(lamp.aim.illuminance.get()),
            warm_up_min: lamp.warm_up_min,
        });
    }
    let display = things.display(device)?;
    let (white, level) = display_aim(things, display);
    Some(Params {
        thing: Thing::Display,
        aim_white: white,
        aim_ln_level: level.and_then(ln),
        warm_up_min: display.warm_up_min,
    })
}

/// Where a display should be: its own aim, or the paper white under its station's lamp at *its* aim, and the luminance.
pub fn display_aim(things: &Things, display: &Display) -> (Option<UvPrime>, Option<f64>) {
    let own_level = display.aim.luminance.map(Luminance::get);
    match display.aim.white {
        AimWhite::Fixed(xy) => (uv_prime(xy).ok(), own_level),
        AimWhite::Paper => {
            let station = things.stations_of(&display.id).next();
            let lamp = station.and_then(|station| things.lamp(&station.lamp));
            let paper = station.and_then(|station| station.papers.first()).and_then(|id| things.paper(id));
            let lit = lamp.zip(paper).and_then(|(lamp, paper)| {
                let light = uv_prime(lamp.aim.white).ok()?;
                let white = PaperUnderLamp::of(paper, None).ok()?.under(light, UvSpread::default()).ok()?;
                Some((white.uv, white.luminance(lamp.aim.illuminance.get())))
            });
            (lit.map(|(white, _)| white), own_level.or(lit.map(|(_, level)| level)))
        }
    }
}
