//! Every sentence that status, alerts and messages say, from plain values. Pure. Of alerts in `alerts`, of what to do in `advice`, of light in `lighting`, of
//! lamps that are looked at in [`lamp`], of ageing in [`ageing`], of mails in [`letter`], of rule sets in [`rules`], of forecasts on trial in `backtest`; here verdicts, reasons, and
//! what becomes of readings.
//!
//! The verdict first, then why, then what to do; plain words, units, local time. Never "matched" where the truth is
//! "unknown".

mod advice;
pub mod ageing;
mod alerts;
mod backtest;
mod due;
mod entries;
mod keys;
mod equipment;
mod watch;
pub mod lamp;
pub mod letter;
mod lighting;
pub mod rules;
pub mod sign_off;
mod summary;

use crate::color::{Move, cct_duv, uv_prime, xy};
use crate::drift::{Doubt, Fate, HeldWhy, SlipFactor};
use crate::fate::{Excluded, Hold};
use crate::reading::Patch;
use crate::station::{Reason, Unmeasured, Verdict};
use crate::units::{Days, Time, UvPrime, Xy};
use crate::zone::LocalZone;

pub use advice::{advice, call_reason, holds, to_do, to_do_now, until, without_all_clear};
pub use alerts::{
    closing, given_up, headline, of_end, of_failing, of_group, of_off_aim, of_overdue, of_refusal, of_station, of_step,
    of_suspect, off_aim_headline, place, reason_file, step_headline, still,
};
pub use backtest::{backtest, forecasts_verdict};
pub use due::{because, entry as due_entry, of_certificate, of_rated_hours, of_run, of_wanted, runs, work};
pub use entries::entry;
pub use equipment::{entered_late, event_details, who};
pub use keys::{head_lines, key_event};
pub use lighting::{print_line, print_looks};
pub use summary::{Intake, StationLine, maintenance, summary, summary_headline};
pub use watch::{Seen, last_read, of_blind, of_moment, of_watch};

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
pub fn white(at: Xy) -> String {
    match uv_prime(at).ok().and_then(|uv| cct_duv(uv).ok()) {
        Some(t) => format!("x {:.4}, y {:.4} ({:.0} K, {})", at.x, at.y, t.cct_k.get(), tint(t.duv.get())),
        None => format!("x {:.4}, y {:.4}", at.x, at.y),
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
    // Never a minus before nothing.
    if duv.abs() < 0.00005 { format!("Duv 0.0000 {word}") } else { format!("Duv {duv:+.4} {word}") }
}

/// A white given in u′v′, as [`white`] says it.
pub fn white_uv(uv: UvPrime) -> String {
    match xy(uv) {
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
        Reason::WhitesDiffer { delta_uv, limit, direction } => {
            let word = direction_word(direction.as_ref());
            let word = word.map(|word| format!(": the screen is {word} than the paper")).unwrap_or_default();
            format!("The whites differ by Δu′v′ {delta_uv:.4} (tolerance {limit:.4}){word}.")
        }
        Reason::LuminancesDiffer { ratio, limit, agreed } => {
            let word = if *ratio > 1.0 { "brighter" } else { "dimmer" };
            let times = if *ratio > 1.0 { *ratio } else { 1.0 / ratio };
            format!(
                "{} The screen is {times:.2} times {word} than the paper asks for (tolerance {limit:.2} times).",
                print_looks(ratio.recip(), *agreed)
            )
        }
        Reason::DoubtNotDrift { device, readings, last } => {
            let known = match last {
                None => "no reading yet".to_owned(),
                Some(last) => {
                    let count = if *readings == 1 { "1 reading".to_owned() } else { format!("{readings} readings") };
                    format!("{count}, the last on {}", day(zone, *last))
                }
            };
            format!("Too little is known of {device} ({known}): it is the doubt that is large, not the difference.")
        }
        Reason::FewReadings { device, readings } => format!(
            "Little is known of {device} yet ({}): how it drifts is assumed from its kind.",
            count(*readings, "reading")
        ),
        Reason::PossibleStep { device, probability } => format!(
            "The newest reading of {device} lies far from the rest: with {} it has jumped. A second reading decides.",
            percent(*probability)
        ),
        Reason::OffAim { device, delta_uv, direction, level_ratio } => {
            let word = direction_word(direction.as_ref()).map(|word| format!(", {word}")).unwrap_or_default();
            let level = level_word(*level_ratio).map(|level| format!(", {level}")).unwrap_or_default();
            format!("{device} is Δu′v′ {delta_uv:.4} from its aim{word}{level}.")
        }
        Reason::Holds { delta_uv, limit } => {
            format!("The whites are Δu′v′ {delta_uv:.4} apart (tolerance {limit:.4}).")
        }
        Reason::HeldBack { device, count: 1 } => format!("1 reading of {device} is held back and waits for you."),
        Reason::HeldBack { device, count } => format!("{count} readings of {device} are held back and wait for you."),
        Reason::NotMeasured { what } => match what {
            Unmeasured::DisplayLuminance => "The screen's luminance was not measured; it is not judged.".to_owned(),
            Unmeasured::LampIlluminance => {
                "The lamp's illuminance was not measured; luminance is not judged.".to_owned()
            }
            Unmeasured::ColourRendering => "The lamp's colour rendering was not measured; it is not judged.".to_owned(),
        },
        Reason::PaperRead { paper, when } => lighting::paper_read(paper, *when, zone),
        Reason::PaperBrightened { sd, lamp_uv } => lighting::paper_brightened(*sd, *lamp_uv),
        Reason::RenderingPoor { ra, limit, when, source } | Reason::RenderingHolds { ra, limit, when, source } => {
            lighting::rendering(*ra, *limit, *when, *source, zone)
        }
        Reason::RenderingNotSince { lamp, changed } => lighting::rendering_not_since(lamp, *changed, zone),
        Reason::LabelOnly { device, sd } => lighting::label_only(device, *sd),
        Reason::TintUnknown { device } => lighting::tint_unknown(device),
        Reason::AmbientLight { share, limit, from_hour, to_hour, pull } => {
            lighting::ambient(*share, *limit, (*from_hour, *to_hour), pull.as_ref())
        }
        Reason::InstrumentDoubt { instrument, devices, doubt } => {
            equipment::instrument_doubt(instrument, devices, *doubt, zone)
        }
        Reason::PaperEstimated { sd } => {
            format!("The paper white is calculated from the lamp and the paper's data (± Δu′v′ {sd:.4}), not read.",)
        }
    }
}

/// What is said of a reading that the model doubts.
pub const DOUBTED: &str = "far from what was expected; the next reading decides whether the device has jumped";

/// Why a reading is held back.
pub fn hold(why: &Hold) -> String {
    match why {
        Hold::Conflict(other) => format!(
            "entry {other} has the same device, time, instrument and patch with other values; `retract` the wrong one, or \
             `release` this one"
        ),
        Hold::Ahead => "its time lies ahead of the clock; `release` it, or `retract` it".to_owned(),
        Hold::Model(why) => held(why),
    }
}

fn held(why: &HeldWhy) -> String {
    match why {
        HeldWhy::UnitSlip { factor, too_high } => {
            let word = if *too_high { "too high" } else { "too low" };
            let cause = match factor {
                SlipFactor::Ten => "a slipped decimal point?",
                SlipFactor::Thousand => "a thousands mark or a prefix?",
                SlipFactor::FootCandles => "foot-candles in place of lux?",
                SlipFactor::FootLamberts => "foot-lamberts in place of cd/m²?",
            };
            let times = (factor.ratio() * 1e4).round() / 1e4;
            format!("its level is {times} times {word}: {cause} `release` it if it is right")
        }
        HeldWhy::HoursBackwards { before, after } => format!(
            "its hours counter fell from {before} to {after} although no replacement is on record; record it, or `release` \
             the reading"
        ),
    }
}

/// Why a reading is not used, or is used with less weight; `None` where there is nothing to say.
pub fn fate(fate: Option<Fate>, excluded: Option<&str>, patch: Patch) -> Option<String> {
    match (excluded.and_then(Excluded::from_word), fate) {
        (Some(Excluded::Retracted), _) => Some("taken back".to_owned()),
        (Some(Excluded::Conflict), _) => Some("held back: another entry has the same key and other values".to_owned()),
        (Some(Excluded::Ahead), _) => Some("held back: its time lay ahead of the clock".to_owned()),
        (None, Some(Fate::Used)) => None,
        (None, Some(Fate::UsedCold)) => Some("read before it was warm; counts for less".to_owned()),
        (None, Some(Fate::Outranked)) => Some("a label; a measurement stands in its place".to_owned()),
        (None, Some(Fate::Doubted(Doubt::PossibleStep))) => Some(format!("doubted: {DOUBTED}")),
        (None, Some(Fate::Doubted(Doubt::NotBorneOut))) => {
            Some("doubted: far from what was expected, and later readings did not bear it out".to_owned())
        }
        (None, Some(Fate::Doubted(Doubt::Overtaken))) => {
            Some("doubted: far from what was expected, and then the device was set anew".to_owned())
        }
        (None, Some(Fate::Held(why))) => Some(format!("held back: {}", held(&why))),
        (None, None) => Some(match patch {
            Patch::White => "not looked at".to_owned(),
            Patch::Black => "the display's black; kept, not part of the white".to_owned(),
            Patch::Paper => "the lit paper; kept, not part of the lamp's own white".to_owned(),
            Patch::Ambient => "foreign light; kept, not part of the white".to_owned(),
        }),
    }
}

/// A count with its word.
pub fn count(count: u64, word: &str) -> String {
    if count == 1 { format!("1 {word}") } else { format!("{count} {word}s") }
}

/// A count of entries with its word.
pub fn entries<N: PartialEq + From<u8> + std::fmt::Display>(count: N) -> String {
    if count == N::from(1) { "1 entry".to_owned() } else { format!("{count} entries") }
}

/// Where a white has gone, like "bluer and slightly greener"; `None` where no word is worth saying.
fn direction_word(direction: Option<&Move>) -> Option<String> {
    direction.filter(|to| to.along.is_some() || to.across.is_some()).map(Move::to_string)
}

/// How a level stands to what it should be, or was, like "12 % dimmer"; `None` within 3 %.
fn level_word(ratio: Option<f64>) -> Option<String> {
    match ratio? {
        ratio if ratio < 0.97 => Some(format!("{:.0} % dimmer", (1.0 - ratio) * 100.0)),
        ratio if ratio > 1.03 => Some(format!("{:.0} % brighter", (ratio - 1.0) * 100.0)),
        _ => None,
    }
}

/// A day in the site's time, like 4 Mar 2026.
pub fn day(zone: &LocalZone, time: Time) -> String {
    time.to_chrono().with_timezone(&zone.0).format("%-d %b %Y").to_string()
}
