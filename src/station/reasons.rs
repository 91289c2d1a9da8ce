//! Why a verdict is what it is, the weightiest reason first. Pure.

use super::{
    Doubt, EstimatedWhite, GUESS_BELOW_READINGS, Judgement, LampRa, Picture, RaKnown, Reason, Seen, Unmeasured,
    Verdict, Watched,
};
use crate::color::{Brightener, delta_uv, direction};
use crate::drift::Summary;
use crate::site::Station;

/// A share of a limit from which a device's distance from its aim is worth a reason.
const WORTH_SAYING: f64 = 0.3;

/// The reasons of a judgement whose numbers stand, the weightiest first.
pub(super) fn reasons(
    seen: &Seen,
    picture: &Picture,
    summaries: &[Summary; 2],
    judgement: &Judgement,
    doubt: Option<&Doubt>,
) -> Vec<Reason> {
    let station = seen.station;
    let devices = [(&seen.display, &picture.display, &summaries[0]), (&seen.lamp, &picture.lamp, &summaries[1])];
    let mut said = Vec::new();
    for (device, _, summary) in devices {
        match summary.last_read {
            None => said.push(Reason::NeverRead { device: device.id.clone() }),
            Some((last, _)) if !summary.by_label && judgement.as_of.since(last) > station.max_age => {
                said.push(Reason::Stale {
                    device: device.id.clone(),
                    age: judgement.as_of.since(last),
                    limit: station.max_age,
                })
            }
            Some(_) => {}
        }
    }
    for (device, white, summary) in devices {
        if summary.by_label {
            said.push(Reason::LabelOnly { device: device.id.clone(), sd: white.u.sd.hypot(white.v.sd) });
        }
    }
    if let Some(doubt) = doubt {
        for ((device, _, summary), helps) in devices.into_iter().zip([doubt.display, doubt.lamp]) {
            if helps && summary.last_read.is_some() && summary.waiting.is_empty() && !summary.by_label {
                said.push(Reason::DoubtNotDrift {
                    device: device.id.clone(),
                    readings: summary.used,
                    last: summary.last_read.map(|(last, _)| last),
                });
            }
        }
    }
    if seen.renders_poorly() {
        said.extend(rendering(seen));
    }
    let both_read = summaries.iter().all(|s| s.last_read.is_some());
    let limit = station.tolerance.delta_uv;
    let delta = picture.delta_uv.mean;
    if both_read && delta > limit {
        let seen_from_paper = direction(picture.paper.uv(), picture.display.uv());
        said.push(Reason::WhitesDiffer { delta_uv: delta, limit, direction: seen_from_paper });
    }
    let agreed = station.luminance.agreed();
    if let (Some(limit), Some(ratio), Some(agreed)) =
        (station.tolerance.luminance_ratio, picture.ratio_to_rule(station), agreed)
        && both_read
        && (ratio > limit || ratio < 1.0 / limit)
    {
        said.push(Reason::LuminancesDiffer { ratio, limit, agreed });
    }
    if both_read && delta <= limit {
        said.push(Reason::Holds { delta_uv: delta, limit });
    }
    for (device, _, summary) in devices {
        if (1..GUESS_BELOW_READINGS).contains(&summary.used) && !summary.by_label {
            said.push(Reason::FewReadings { device: device.id.clone(), readings: summary.used });
        }
    }
    for (device, _, summary) in devices {
        if let Some((_, probability)) = summary.waiting.last() {
            said.push(Reason::PossibleStep { device: device.id.clone(), probability: *probability });
        }
    }
    if judgement.verdict != Verdict::Matched {
        let mut off: Vec<_> = devices
            .into_iter()
            .filter(|(_, _, summary)| summary.last_read.is_some())
            .filter_map(|(device, white, _)| off_aim(device, white, station))
            .collect();
        off.sort_by(|a, b| b.0.total_cmp(&a.0));
        said.extend(off.into_iter().map(|(_, reason)| reason));
    }
    for (device, _, summary) in devices {
        if summary.held_count > 0 {
            said.push(Reason::HeldBack { device: device.id.clone(), count: summary.held_count });
        }
    }
    said.extend(instruments(judgement));
    if agreed.is_some() && station.tolerance.luminance_ratio.is_some() && both_read {
        if picture.display.luminance.is_none() {
            said.push(Reason::NotMeasured { what: Unmeasured::DisplayLuminance });
        }
        if picture.lamp.luminance.is_none() {
            said.push(Reason::NotMeasured { what: Unmeasured::LampIlluminance });
        }
    }
    if !seen.renders_poorly() {
        said.extend(rendering(seen));
    }
    for (device, _, summary) in devices {
        if summary.tint_open {
            said.push(Reason::TintUnknown { device: device.id.clone() });
        }
    }
    said.extend(paper(seen, picture));
    said.extend(ambient(judgement, station));
    said
}

/// What speaks against the instruments, one reason for all that one of them read.
fn instruments(judgement: &Judgement) -> Vec<Reason> {
    let mut said: Vec<Reason> = Vec::new();
    for with in &judgement.read_with {
        let Some(by) = &with.instrument else { continue };
        for found in &with.doubts {
            let same = said.iter_mut().find_map(|reason| match reason {
                Reason::InstrumentDoubt { instrument, devices, doubt } if instrument == by && doubt == found => {
                    Some(devices)
                }
                _ => None,
            });
            match same {
                Some(devices) => devices.push(with.device.clone()),
                None => {
                    let devices = vec![with.device.clone()];
                    said.push(Reason::InstrumentDoubt { instrument: by.clone(), devices, doubt: *found });
                }
            }
        }
    }
    said
}

/// How the lamp's colour rendering stands to the limit, where there is one.
fn rendering(seen: &Seen) -> Option<Reason> {
    let limit = seen.station.tolerance.ra_min?;
    Some(match seen.rendering {
        RaKnown::Never => Reason::NotMeasured { what: Unmeasured::ColourRendering },
        RaKnown::NotSince { changed } => Reason::RenderingNotSince { lamp: seen.lamp.id.clone(), changed },
        RaKnown::Known(LampRa { ra, when, source }) if ra < limit => Reason::RenderingPoor { ra, limit, when, source },
        RaKnown::Known(LampRa { ra, when, source }) => Reason::RenderingHolds { ra, limit, when, source },
    })
}

/// How the paper white is known, where that matters. That nobody knows what a brightener does is always said.
fn paper(seen: &Seen, picture: &Picture) -> Option<Reason> {
    if let Some(when) = seen.lit.read {
        return Some(Reason::PaperRead { paper: seen.paper.id.clone(), when });
    }
    let matters = |sd: f64| sd > 0.2 * seen.station.tolerance.delta_uv;
    match picture.brightener {
        Brightener::Uncertain { lamp_uv, sd, .. } if lamp_uv.is_none() || matters(sd) => {
            Some(Reason::PaperBrightened { sd, lamp_uv })
        }
        _ => matters(picture.paper_sd).then_some(Reason::PaperEstimated { sd: picture.paper_sd }),
    }
}

/// Foreign light on the print, where it is more than the station allows.
fn ambient(judgement: &Judgement, station: &Station) -> Option<Reason> {
    let worst = judgement.ambient.worst()?;
    let (share, limit) = (worst.share?, station.ambient_max);
    (share > limit).then_some(Reason::AmbientLight {
        share,
        limit,
        from_hour: worst.from,
        to_hour: worst.to,
        pull: worst.pull,
    })
}

/// How far a device is from its aim, as a share of the station's limits and as a reason, when that is worth saying.
fn off_aim(device: &Watched, white: &EstimatedWhite, station: &Station) -> Option<(f64, Reason)> {
    let distance = delta_uv(device.aim, white.uv());
    let level_ratio = device.aim_level.zip(white.luminance).map(|(aim, level)| level.mean / aim);
    let ln_limit = station.tolerance.luminance_ratio.map_or(f64::INFINITY, libm::log);
    let level_share = level_ratio.map_or(0.0, |ratio| libm::log(ratio).abs() / ln_limit);
    let share = (distance / station.tolerance.delta_uv).max(level_share);
    (share > WORTH_SAYING).then(|| {
        let reason = Reason::OffAim {
            device: device.id.clone(),
            delta_uv: distance,
            direction: direction(device.aim, white.uv()),
            level_ratio,
        };
        (share, reason)
    })
}
