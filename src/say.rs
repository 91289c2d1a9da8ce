//! Every sentence that status, alerts and messages say, from plain values. Pure.
//!
//! The verdict first, then why, then what to do; plain words, units, local time. Never "matched" where the truth is
//! "unknown".

use crate::alert::{Cleared, Kind};
use crate::color::white::Colorimetry;
use crate::station::{Advice, Judgement, LampFault, Reason, RiskDate, Unmeasured, Verdict};
use crate::units::{Days, Luminance, Time, UvPrime, Xy};
use crate::zone::LocalZone;

/// The verdict in people's words.
pub fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Matched => "matched",
        Verdict::AtRisk => "at risk",
        Verdict::Unknown => "unknown",
        Verdict::Out => "out of tolerance",
    }
}

/// A probability as a whole per cent, never rounded to certainty.
pub fn percent(probability: f64) -> String {
    let percent = probability * 100.0;
    if percent < 1.0 {
        "under 1 %".to_owned()
    } else if percent > 99.0 {
        "over 99 %".to_owned()
    } else {
        format!("{percent:.0} %")
    }
}

/// An age or a wait, in the largest unit that fits.
pub fn span(days: Days) -> String {
    let plural = |count: f64, unit: &str| {
        let count = count.round();
        if count == 1.0 { format!("1 {unit}") } else { format!("{count} {unit}s") }
    };
    let days = days.0.max(0.0);
    if days >= 60.0 {
        plural(days / 30.44, "month")
    } else if days >= 1.5 {
        plural(days, "day")
    } else if days >= 1.0 / 24.0 {
        plural(days * 24.0, "hour")
    } else {
        plural(days * 1440.0, "minute")
    }
}

/// A white as x, y, and its colour temperature and tint where they mean something.
pub fn white(xy: Xy) -> String {
    let colorimetry = Colorimetry::of_xy(xy);
    match (colorimetry.cct_k, colorimetry.duv) {
        (Some(kelvin), Some(duv)) => {
            format!("x {:.4}, y {:.4} ({kelvin:.0} K, {})", xy.x, xy.y, tint(duv))
        }
        _ => format!("x {:.4}, y {:.4}", xy.x, xy.y),
    }
}

/// Duv with its word.
pub fn tint(duv: f64) -> String {
    let word = if duv.abs() < 0.0005 {
        "neutral"
    } else if duv > 0.0 {
        "green"
    } else {
        "magenta"
    };
    format!("Duv {duv:+.4} {word}")
}

/// A white given in u′v′, as [`white`] says it.
pub fn white_uv(uv: UvPrime) -> String {
    match uv.to_xy() {
        Ok(xy) => white(xy),
        Err(_) => format!("u′ {:.4}, v′ {:.4}", uv.u, uv.v),
    }
}

/// One reason of a verdict, as a sentence.
pub fn reason(reason: &Reason, zone: &LocalZone) -> String {
    match reason {
        Reason::NeverRead { device } => format!("{device} was never read."),
        Reason::Stale { device, age, limit } => {
            format!("{device} was last read {} ago; after {} nothing is certain.", span(*age), span(*limit))
        }
        Reason::WhitesDiffer { delta_uv, limit, direction } => format!(
            "The whites differ by Δu′v′ {delta_uv:.4} (tolerance {limit:.4}): the screen is {direction} than the paper.",
        ),
        Reason::LuminancesDiffer { ratio, limit } => {
            let word = if *ratio > 1.0 { "brighter" } else { "dimmer" };
            let times = if *ratio > 1.0 { *ratio } else { 1.0 / ratio };
            format!("The screen is {times:.2} times {word} than the paper asks for (tolerance {limit:.2} times).")
        }
        Reason::DoubtNotDrift { device, readings, last } => {
            let known = match last {
                None => "no reading yet".to_owned(),
                Some(last) => {
                    let count = if *readings == 1 { "1 reading".to_owned() } else { format!("{readings} readings") };
                    format!("{count}, the last on {}", zone.day(*last))
                }
            };
            format!("Too little is known of {device} ({known}): it is the doubt that is large, not the difference.")
        }
        Reason::PossibleStep { device, probability } => format!(
            "The newest reading of {device} lies far from the rest: with {} it has jumped. A second reading decides.",
            percent(*probability)
        ),
        Reason::OffAim { device, delta_uv, direction, level_ratio } => {
            let level = match level_ratio {
                Some(ratio) if *ratio < 0.97 => format!(", {:.0} % dimmer", (1.0 - ratio) * 100.0),
                Some(ratio) if *ratio > 1.03 => format!(", {:.0} % brighter", (ratio - 1.0) * 100.0),
                _ => String::new(),
            };
            format!("{device} is Δu′v′ {delta_uv:.4} from its aim: {direction}{level}.")
        }
        Reason::Holds { delta_uv, limit } => {
            format!("The whites are Δu′v′ {delta_uv:.4} apart (tolerance {limit:.4}).")
        }
        Reason::HeldBack { device, count: 1 } => format!("1 reading of {device} is held back and waits for you."),
        Reason::HeldBack { device, count } => format!("{count} readings of {device} are held back and wait for you."),
        Reason::NotMeasured { what } => match what {
            Unmeasured::DisplayLuminance => "The screen's luminance was not measured; it is not judged.".to_owned(),
            Unmeasured::LampIlluminance => "The lamp's illuminance was not measured; luminance is not judged.".to_owned(),
            Unmeasured::ColourRendering => "The lamp's colour rendering was not measured; it is not judged.".to_owned(),
        },
        Reason::PaperEstimated { sd } => format!(
            "The paper white is calculated from the lamp and the paper's data (± Δu′v′ {sd:.4}), not read.",
        ),
    }
}

/// One piece of advice, as a sentence that begins with what to do.
pub fn advice(advice: &Advice, zone: &LocalZone) -> String {
    let luminance = |l: &Option<Luminance>| l.map(|l| format!(", {:.0} cd/m²", l.get())).unwrap_or_default();
    match advice {
        Advice::Read { device } => format!("Read {device}."),
        Advice::ReadBy { device, date } => format!("Nothing now. Read {device} by {}.", zone.day(*date)),
        Advice::RecalibrateToAim { display, white: aim, luminance: level } => {
            format!("Recalibrate {display} to its aim: {}{}.", white(*aim), luminance(level))
        }
        Advice::RecalibrateToPaper { display, white: aim, luminance: level } => {
            format!("Recalibrate {display} to the paper white as it is now: {}{}.", white(*aim), luminance(level))
        }
        Advice::TurnDimmer { lamp, from, to } => {
            let word = if to > from { "up" } else { "down" };
            format!("Turn the dimmer of {lamp} {word}: from {:.0} to {:.0} lx, then read it.", from.get(), to.get())
        }
        Advice::TurnColourDial { lamp, direction } => {
            format!("Turn the colour dial of {lamp} until it is less {direction}, then read it.")
        }
        Advice::ReplaceLamp { lamp, why } => {
            let why = match why {
                LampFault::Colour { delta_uv } => format!("its colour is Δu′v′ {delta_uv:.4} from its aim"),
                LampFault::Dim { level_ratio } => format!("it gives {:.0} % of its aim's light", level_ratio * 100.0),
            };
            format!("Clean {lamp}, or replace it ({why}). Power off, let it cool, do not look into it.")
        }
        Advice::LookAtHeld { device } => {
            format!("Look at what is held back: `twinwhite history {device}`, then `release` or `retract` it.")
        }
    }
}

/// The date of risk, as it may honestly be called; `None` says why there is no date.
pub fn risk_date(date: Option<&RiskDate>, zone: &LocalZone) -> String {
    match date {
        Some(RiskDate { date, guess: false }) => format!("likely to hold until about {}", zone.day(*date)),
        Some(RiskDate { date, guess: true }) => format!("a guess: until about {}", zone.day(*date)),
        None => "no date can be given yet".to_owned(),
    }
}

/// The first line of an alert: what is wrong where.
pub fn headline(kind: Kind, subject: &str) -> String {
    match kind {
        Kind::MatchOut => format!("Station {subject}: the match is out of tolerance"),
        Kind::MatchAtRisk => format!("Station {subject}: the match is at risk"),
        Kind::ReadingOverdue => format!("{subject}: a reading is overdue"),
        Kind::StepChange => format!("{subject}: its light has jumped"),
        Kind::FileRefused => format!("{subject}: the file was refused"),
        Kind::OffAim => format!("{subject}: off its aim"),
        Kind::ConfigRefused => format!("{subject}: the new configuration was refused, the old one stays in force"),
    }
}

/// The first line of a closing message.
pub fn closing(kind: Kind, subject: &str, why: Cleared, lasted: Days) -> String {
    let end = match why {
        Cleared::ConditionOver => "over".to_owned(),
        Cleared::SpokenFor(by) => format!("closed, since the alert '{}' now says it", by.word()),
        Cleared::Acknowledged => "closed, since it was acknowledged".to_owned(),
    };
    format!("{} - {end} after {}", headline(kind, subject), span(lasted))
}

/// What an alert about a station says beside its headline: why, then what to do.
pub fn of_station(judgement: &Judgement, zone: &LocalZone) -> Vec<String> {
    let risk = format!(
        "Risk of being out of tolerance now {}, within the horizon {}.",
        percent(judgement.risk),
        percent(judgement.risk_within)
    );
    std::iter::once(risk)
        .chain(judgement.reasons.iter().map(|r| reason(r, zone)))
        .chain(judgement.advice.iter().map(|a| advice(a, zone)))
        .collect()
}

/// What an overdue reading's alert says beside its headline.
pub fn of_overdue(last: Option<Time>, now: Time, limit: Days, zone: &LocalZone) -> Vec<String> {
    let since = match last {
        Some(last) => format!("Last read on {}, {} ago; the limit is {}.", zone.day(last), span(now.since(last)), span(limit)),
        None => format!("It was never read; the limit is {}.", span(limit)),
    };
    vec![since, "Until it is read, its stations' match is unknown.".to_owned(), "Read it.".to_owned()]
}
