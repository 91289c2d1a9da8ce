//! How good a station's forecasts were on its own past, in one paragraph.

use super::{day, span};
use crate::trial::Trial;
use crate::trial::device::{DeviceTrial, Verdict};
use crate::trial::matches::MatchTrial;
use crate::zone::LocalZone;

/// The verdict on a device's forecasts.
pub fn forecasts_verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::TooFew => "too few to tell",
        Verdict::Held => "held",
        Verdict::TooNarrow => "were surer than they should have been",
        Verdict::TooWide => "were less sure than they could have been",
    }
}

/// What came of all forecasts, a line each: the match, then its devices.
pub fn backtest(trial: &Trial, zone: &LocalZone) -> Vec<String> {
    let devices = trial.devices.iter().map(|device| format!("{}{}", of_device(device), mended(device)));
    std::iter::once(of_match(&trial.matches, zone)).chain(devices).collect()
}

fn of_match(trial: &MatchTrial, zone: &LocalZone) -> String {
    if trial.weeks == 0 {
        return "Its match was never judged: display and lamp must both have been read for a week.".to_owned();
    }
    let weeks = count(trial.weeks, "week");
    let unknown = match trial.weeks_unknown {
        0 => String::new(),
        unknown => format!(", unknown in {unknown} more,"),
    };
    let mut text = format!("Its match was judged in {weeks}{unknown} and was out of tolerance in {}.", trial.weeks_out);
    let leads: Vec<String> = trial.drifted.iter().filter_map(|(_, lead)| lead.map(span)).collect();
    text.push_str(&match trial.drifted.as_slice() {
        [] => " It never drifted out.".to_owned(),
        drifted => {
            let missed: Vec<String> =
                drifted.iter().filter(|(_, lead)| lead.is_none()).map(|(at, _)| day(zone, *at)).collect();
            let warned = match leads.as_slice() {
                [] => "none was warned of".to_owned(),
                leads => format!("{} warned of, {} ahead", was(leads.len()), leads.join(", ")),
            };
            let missed =
                if missed.is_empty() { String::new() } else { format!("; without a warning on {}", missed.join(", ")) };
            format!(" It drifted out {}: {warned}{missed}.", times(drifted.len()))
        }
    });
    if !trial.jumped.is_empty() {
        text.push_str(&format!(
            " {} it went out after a jump or after something was done, which no forecast foretells.",
            capital(&times(trial.jumped.len()))
        ));
    }
    if trial.right + trial.wrong + trial.open > 0 {
        let open = match trial.open {
            0 => String::new(),
            open => format!(", {open} not to be judged"),
        };
        text.push_str(&format!(" Warnings: {} right, {} for nothing{open}.", trial.right, trial.wrong));
    }
    text
}

fn of_device(trial: &DeviceTrial) -> String {
    let (within, of) = trial.within_band_in_all();
    if of == 0 {
        return format!("{}: no forecast could be held against a reading yet.", trial.device);
    }
    let share = 100.0 * within as f64 / of as f64;
    let mut text = format!(
        "{}: forecasts {}; {share:.0} % of {of} numbers read a month or more later lay within the 90 % band.",
        trial.device,
        forecasts_verdict(trial.verdict()),
    );
    let errors = [("colour", trial.colour_error_against_last()), ("level", trial.error_against_last(2))];
    let errors: Vec<String> =
        errors.iter().filter_map(|(what, error)| Some(format!("{:.2} in {what}", (*error)?))).collect();
    if !errors.is_empty() {
        text.push_str(&format!(" Errors, as a share of those of \"it stays as last read\": {}.", errors.join(", ")));
    }
    text
}

/// Where the model's own record has changed its spread.
fn mended(trial: &DeviceTrial) -> String {
    let channels = ["u′", "v′", "level"].iter().zip(&trial.verified);
    let changed: Vec<String> = channels
        .filter(|(_, record)| record.factor() != 1.0)
        .map(|(what, record)| format!("of {what} by {:.1}", libm::sqrt(record.factor())))
        .collect();
    if changed.is_empty() {
        return String::new();
    }
    format!(" So its bands ahead are now multiplied: {}.", changed.join(", "))
}

fn count(count: usize, unit: &str) -> String {
    if count == 1 { format!("1 {unit}") } else { format!("{count} {unit}s") }
}

fn times(count: usize) -> String {
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        count => format!("{count} times"),
    }
}

fn was(count: usize) -> String {
    if count == 1 { "1 was".to_owned() } else { format!("{count} were") }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}
