//! What alerts say: the headline, why, then what to do; and the file beside one that was refused. Pure.

use super::advice::{look_first, write_down};
use super::{advice, day, direction_word, level_word, percent, reason, span, to_do};
use crate::alert::{Cleared, Kind};
use crate::drift::StepFound;
use crate::reading::Defect;
use crate::site::Station;
use crate::station::suspect::Suspicion;
use crate::station::{Advice, Judgement, Limits, OffAim};
use crate::units::{Days, DeviceId, Time};
use crate::zone::LocalZone;

/// The first line of an alert: what is wrong where.
pub fn headline(kind: Kind, subject: &str) -> String {
    match kind {
        Kind::MatchOut => format!("Station {subject}: the match is out of tolerance"),
        Kind::MatchAtRisk => format!("Station {subject}: the match is at risk"),
        Kind::ReadingOverdue => format!("{subject}: a reading is overdue"),
        Kind::StepChange => format!("{subject}: its light has jumped"),
        Kind::FileRefused => format!("{subject}: the file was refused"),
        Kind::OffAim => format!("{subject}: off its aim"),
        Kind::TaskDue => format!("Due: {subject}"),
        Kind::Reminder => format!("Reminder: {subject}"),
        Kind::InstrumentSuspect => format!("{subject}: this instrument is suspect"),
        Kind::Blind => format!("{subject}: the watch is blind, its inbox cannot be looked through"),
        Kind::ChannelFailing => format!("Messages through '{subject}' do not get through"),
        Kind::ConfigRefused => format!("{subject}: the new configuration was refused, the old one stays in force"),
    }
}

/// Where it matters: the stations whose match holds or is not known, and those where it is out.
pub fn place(holding: &[&Station], out: &[&Station]) -> String {
    let names = |stations: &[&Station]| match stations.len() {
        0..=3 => stations.iter().map(|station| station.id.as_str()).collect::<Vec<_>>().join(", "),
        many => format!("{many} stations"),
    };
    let holding = if holding.is_empty() { String::new() } else { format!(" ({})", names(holding)) };
    let out = match out {
        [] => String::new(),
        out => format!("; the match at {} is out", names(out)),
    };
    format!("{holding}{out}")
}

/// The first line of a step's alert: `bay-lamp: its light jumped, 34 % dimmer (bay)`.
pub fn step_headline(device: &DeviceId, step: &StepFound, place: &str) -> String {
    let moved = match level_word(Some(libm::exp(step.delta_ln))) {
        Some(level) => format!("its light jumped, {level}"),
        None => "its white jumped".to_owned(),
    };
    format!("{device}: {moved}{place}")
}

/// The first line of the alert of a device off its aim: `bay-lamp: 34 % dimmer than its aim (bay)`.
pub fn off_aim_headline(off: &OffAim, limits: &Limits, place: &str) -> String {
    let of_colour = off.delta_uv / limits.delta_uv;
    let of_level = level_share(off, limits).unwrap_or(0.0);
    let colour = direction_word(off.direction.as_ref());
    let colour = colour.filter(|_| of_colour > 1.0 || of_colour >= of_level);
    let level = level_word(off.level_ratio).filter(|_| of_level > 1.0 || of_level > of_colour);
    let words: Vec<String> = level.into_iter().chain(colour).collect();
    match words.as_slice() {
        [] => format!("{}: off its aim{place}", off.device),
        words => format!("{}: {} than its aim{place}", off.device, words.join(", ")),
    }
}

/// The first line of a closing message.
pub fn closing(kind: Kind, subject: &str, why: Cleared, lasted: Days) -> String {
    let lasted = span(lasted);
    let end = match why {
        Cleared::ConditionOver => format!("over after {lasted}"),
        Cleared::SpokenFor(by) => format!("closed after {lasted}, since the alert '{}' now speaks for it", by.word()),
        Cleared::DueAgain => format!("closed after {lasted}, since it is due again"),
        Cleared::Acknowledged => format!("closed after {lasted}, since it was acknowledged"),
    };
    format!("{} - {end}", headline(kind, subject))
}

/// What a closing message says: from when to when it stood, and that nothing is to be done. The alarm's advice is over with it.
pub fn of_end(why: Cleared, raised: Time, ended: Time, zone: &LocalZone) -> Vec<String> {
    let stood =
        format!("It stood from {} to {}, for {}.", zone.show(raised), zone.show(ended), span(ended.since(raised)));
    let then = match why {
        Cleared::ConditionOver => "Nothing is to be done about it any more.".to_owned(),
        Cleared::SpokenFor(by) => format!("What is to be done, the alert '{}' says now.", by.word()),
        Cleared::DueAgain => "What is to be done is told anew.".to_owned(),
        Cleared::Acknowledged => "Somebody has taken notice; nothing more is asked.".to_owned(),
    };
    vec![stood, then]
}

/// The first line of a message that tells again of an alert that still stands.
pub fn still(kind: Kind, subject: &str, lasted: Days) -> String {
    format!("{} - still, for {} now", headline(kind, subject), span(lasted))
}

/// The first line of messages that leave together: the worst one's, and how many more there are.
pub fn of_group(first: &str, more: usize) -> String {
    match more {
        0 => first.to_owned(),
        _ => format!("{first}, and {more} more"),
    }
}

/// What the alert of a failing channel says beside its headline.
pub fn of_failing(channel: &str, attempts: u32, why: &str, waiting: usize, give_up: Days) -> Vec<String> {
    vec![
        format!("Tried at least {attempts} times in a row. Last answer: {}.", why.trim_end_matches('.')),
        format!(
            "{} for it; nothing is lost: it is tried again, at most an hour apart, for {}.",
            match waiting {
                1 => "1 message waits".to_owned(),
                _ => format!("{waiting} messages wait"),
            },
            span(give_up)
        ),
        format!("`twinwhite check --send {channel}` tries it at once and says what is wrong."),
    ]
}

/// What is said, loudly, when messages are given up.
pub fn given_up(channel: &str, messages: usize, after: Days) -> String {
    let messages = super::count(messages as u64, "message");
    format!(
        "{messages} given up: '{channel}' did not get them through for {}; `twinwhite messages` lists them, `twinwhite resend` tries again",
        span(after)
    )
}

/// What an alert about a station says beside its headline: why, then what to do.
pub fn of_station(judgement: &Judgement, horizon: Days, max_risk: f64, zone: &LocalZone) -> Vec<String> {
    let risk = format!(
        "Risk of being out of tolerance: now {}, within {} {}.",
        percent(judgement.risk),
        span(horizon),
        percent(judgement.risk_within)
    );
    std::iter::once(risk)
        .chain(judgement.reasons.iter().map(|r| reason(r, zone)))
        .chain(to_do(judgement, max_risk, zone))
        .collect()
}

/// What an overdue reading's alert says beside its headline.
pub fn of_overdue(device: &DeviceId, last: Option<Time>, now: Time, limit: Days, zone: &LocalZone) -> Vec<String> {
    let since = match last {
        Some(last) => {
            format!("Last read on {}, {} ago; the limit is {}.", day(zone, last), span(now.since(last)), span(limit))
        }
        None => format!("It was never read; the limit is {}.", span(limit)),
    };
    vec![since, "Until then the match of its stations is unknown.".to_owned(), format!("Read {device}.")]
}

/// A move of the white below this, in u′v′, is not called one: below the scatter of matching by eye (CIE TN 001).
const SAME_WHITE: f64 = 0.001;

/// What a step's alert says beside its headline.
pub fn of_step(device: &DeviceId, lamp: bool, step: &StepFound, zone: &LocalZone) -> Vec<String> {
    let when = match step.after {
        Some(after) if zone.day(after) == zone.day(step.began) => format!("On {}", day(zone, step.began)),
        Some(after) => format!("Between {} and {}", day(zone, after), day(zone, step.began)),
        None => format!("By {}", day(zone, step.began)),
    };
    let colour = step.delta_u.hypot(step.delta_v);
    let moved = match level_word(Some(libm::exp(step.delta_ln))) {
        Some(level) if colour < SAME_WHITE => format!("its light became {level}; its white did not move"),
        Some(level) => format!("its white moved by Δu′v′ {colour:.4} and its light became {level}"),
        None => format!("its white moved by Δu′v′ {colour:.4}"),
    };
    vec![format!("{when} {moved}."), format!("{} {}", look_first(lamp), write_down(device, lamp))]
}

/// What the alert of a suspect instrument says beside its headline.
pub fn of_suspect(suspicion: &Suspicion, zone: &LocalZone) -> Vec<String> {
    let Suspicion { instrument, since, devices, uv, ln_level } = suspicion;
    let names: Vec<&str> = devices.iter().map(DeviceId::as_str).collect();
    let together = match level_word(Some(libm::exp(*ln_level))) {
        Some(level) => format!("their light became {level}"),
        None => format!("their whites moved by Δu′v′ {:.4}, all in one direction", uv.0.hypot(uv.1)),
    };
    let one = names.first().copied().unwrap_or_default();
    vec![
        format!("Since {} all that it reads seem to have changed at once: {together}.", day(zone, *since)),
        format!("These are {}. That is likelier the instrument than so many devices.", names.join(", ")),
        format!(
            "Read one of them, such as {one}, with another instrument: if that finds it as it was, it is {instrument}."
        ),
        "Or look at it: its window or diffuser clean, its setting as before, its own calibration done.".to_owned(),
        format!(
            "Then write down what was done: `twinwhite record serviced {instrument}`. Until then this alert speaks for theirs."
        ),
    ]
}

/// What the alert of a device off its aim says beside its headline.
/// `first` is what to do before it is set: to look what made it jump.
pub fn of_off_aim(
    off: &OffAim,
    probability: f64,
    limits: &Limits,
    stations: &[&Station],
    first: Option<&Advice>,
    zone: &LocalZone,
) -> Vec<String> {
    let names: Vec<&str> = stations.iter().map(|station| station.id.as_str()).collect();
    let mut lines = vec![
        what_is_off(off, limits),
        format!("That it is off by more than its limits is {} sure.", percent(probability)),
        format!("Stations that rest on it: {}.", names.join(", ")),
    ];
    lines.extend(first.map(|first| advice(first, zone)));
    lines.push(format!("Bring {} back to its aim; `twinwhite status` says how.", off.device));
    lines
}

/// How far the level is off, as a share of its limit; `None` where it is not judged or not known.
fn level_share(off: &OffAim, limits: &Limits) -> Option<f64> {
    let (ratio, limit) = off.level_ratio.zip(limits.ln_ratio)?;
    Some(libm::log(ratio).abs() / limit.max(f64::MIN_POSITIVE))
}

/// What is off, by how much and in which direction: the colour, the level or both.
fn what_is_off(off: &OffAim, limits: &Limits) -> String {
    let direction = direction_word(off.direction.as_ref()).map(|word| format!(", {word}")).unwrap_or_default();
    let colour = format!("Δu′v′ {:.4} (limit {:.4})", off.delta_uv, limits.delta_uv);
    // Each as a share of its limit.
    let of_colour = off.delta_uv / limits.delta_uv;
    let judged = off.level_ratio.zip(limits.ln_ratio).zip(level_share(off, limits));
    let Some(((ratio, limit), of_level)) = judged else {
        return format!("Its colour is off by {colour}{direction}.");
    };
    let level = level_with_limit(ratio, libm::exp(limit));
    let over = |share: f64| if share > 1.0 { "off" } else { "at the edge of its limit" };
    match (of_colour > 1.0, of_level > 1.0) {
        (true, true) => format!("Its colour is off by {colour}{direction}, and its level: {level}."),
        _ if of_level > of_colour => {
            format!("Its level is {}: {level}. Its colour is within its limit.", over(of_level))
        }
        (true, _) => format!("Its colour is off by {colour}{direction}. Its level is within its limit."),
        _ => format!("Its colour is {}: {colour}{direction}. Its level is within its limit.", over(of_colour)),
    }
}

/// A level against its aim, with the limit on that side: `30 % dimmer than its aim (limit 17 %)`.
fn level_with_limit(ratio: f64, limit: f64) -> String {
    let (word, by, most) =
        if ratio < 1.0 { ("dimmer", 1.0 - ratio, 1.0 - limit.recip()) } else { ("brighter", ratio - 1.0, limit - 1.0) };
    // As many digits as tell the two apart.
    let digits = usize::from(by < 0.05);
    format!("{:.digits$} % {word} than its aim (limit {:.digits$} %)", by * 100.0, most * 100.0)
}

/// What the alert of a refused file says beside its headline: the first defects, and where the file went.
pub fn of_refusal(defects: &[Defect]) -> Vec<String> {
    const SHOWN: usize = 5;
    let mut lines: Vec<String> = defects.iter().take(SHOWN).map(|defect| format!("{defect}.")).collect();
    if defects.len() > SHOWN {
        lines.push(format!("And {} more.", defects.len() - SHOWN));
    }
    lines.push(
        "Nothing of it was taken. Put it right and drop it in again; `twinwhite ack` ends this alert.".to_owned(),
    );
    lines
}

/// What stands beside a file in quarantine.
pub fn reason_file(name: &str, defects: &[Defect]) -> String {
    let mut text = format!("{name} was refused: nothing of it was taken in.\n\n");
    for defect in defects {
        text.push_str(&format!("- {defect}\n"));
    }
    text.push_str("\nPut it right and drop it into the inbox again.\n");
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::StationId;

    #[test]
    fn a_step_names_what_moved() {
        let zone = LocalZone(chrono_tz::Europe::Lisbon);
        let began = Time::parse("2026-04-26T09:00:00Z").unwrap();
        let lamp = DeviceId::new("bay-lamp").unwrap();
        let first = |delta_u, delta_ln| {
            let after = Some(began.plus(Days(-7.0)));
            let step = StepFound { after, began, seqs: vec![7, 8], delta_u, delta_v: 0.0, delta_ln };
            of_step(&lamp, true, &step, &zone).remove(0)
        };
        let between = "Between 19 Apr 2026 and 26 Apr 2026";
        let after = Some(began.plus(Days(-0.1)));
        let step = StepFound { after, began, seqs: vec![7, 8], delta_u: 0.004, delta_v: 0.0, delta_ln: 0.0 };
        assert_eq!(of_step(&lamp, true, &step, &zone)[0], "On 26 Apr 2026 its white moved by Δu′v′ 0.0040.");
        assert_eq!(first(0.0002, -0.33), format!("{between} its light became 28 % dimmer; its white did not move."));
        assert_eq!(first(0.004, 0.0), format!("{between} its white moved by Δu′v′ 0.0040."));
        assert_eq!(
            first(0.004, 0.1),
            format!("{between} its white moved by Δu′v′ 0.0040 and its light became 11 % brighter.")
        );
    }

    #[test]
    fn off_its_aim_says_in_what() {
        let limits = Limits { delta_uv: 0.005, ln_ratio: Some(libm::log(1.2)) };
        let device = DeviceId::new("bay-lamp").unwrap();
        let zone = LocalZone(chrono_tz::Europe::Lisbon);
        let first = |delta_uv, level_ratio, limits: &Limits| {
            let off = OffAim { device: device.clone(), delta_uv, direction: None, level_ratio };
            of_off_aim(&off, 0.7, limits, &[], None, &zone).remove(0)
        };
        let said = |delta_uv, level| first(delta_uv, Some(level), &limits);
        assert_eq!(
            said(0.0003, 0.7),
            "Its level is off: 30 % dimmer than its aim (limit 17 %). Its colour is within its limit."
        );
        assert_eq!(
            said(0.0003, 1.25),
            "Its level is off: 25 % brighter than its aim (limit 20 %). Its colour is within its limit."
        );
        assert_eq!(
            said(0.0003, 0.84),
            "Its level is at the edge of its limit: 16 % dimmer than its aim (limit 17 %). Its colour is within its limit."
        );
        // Colour that moved within its limit is not called off beside a level that is.
        assert!(said(0.0035, 0.7).starts_with("Its level is off: "), "{}", said(0.0035, 0.7));
        let colour = "Its colour is off by Δu′v′ 0.0086 (limit 0.0050)";
        assert_eq!(said(0.0086, 1.01), format!("{colour}. Its level is within its limit."));
        assert_eq!(said(0.0086, 0.7), format!("{colour}, and its level: 30 % dimmer than its aim (limit 17 %)."));
        assert_eq!(first(0.0086, None, &limits), format!("{colour}."), "a level that was never read is not judged");
        let colour_only = Limits { ln_ratio: None, ..limits };
        assert_eq!(first(0.0086, Some(0.7), &colour_only), format!("{colour}."));
        // A narrow limit on the level, near which no word would be said elsewhere.
        let narrow = Limits { ln_ratio: Some(libm::log(1.02)), ..limits };
        assert_eq!(
            first(0.0003, Some(0.977), &narrow),
            "Its level is off: 2.3 % dimmer than its aim (limit 2.0 %). Its colour is within its limit."
        );
        let to = crate::color::direction(
            crate::units::UvPrime { u: 0.1978, v: 0.4683 },
            crate::units::UvPrime { u: 0.2050, v: 0.4760 },
        );
        let off = OffAim { device: device.clone(), delta_uv: 0.0105, direction: to, level_ratio: Some(1.0) };
        assert!(of_off_aim(&off, 0.9, &limits, &[], None, &zone)[0].contains("(limit 0.0050), yellower"));
        let first_line = |off: &OffAim| off_aim_headline(off, &limits, " (bay)");
        assert_eq!(first_line(&off), "bay-lamp: yellower and more magenta than its aim (bay)");
        let both = OffAim { level_ratio: Some(0.66), ..off.clone() };
        assert_eq!(first_line(&both), "bay-lamp: 34 % dimmer, yellower and more magenta than its aim (bay)");
        // Colour that moved within its limit is not named beside a level that is out of its own.
        let level = OffAim { delta_uv: 0.004, ..both };
        assert_eq!(first_line(&level), "bay-lamp: 34 % dimmer than its aim (bay)");
        assert_eq!(first_line(&OffAim { direction: None, ..off }), "bay-lamp: off its aim (bay)");
    }

    #[test]
    fn an_alert_that_ends_says_how_and_after_what_time() {
        let bay = StationId::new("bay").unwrap();
        let end = |why, days| closing(Kind::MatchAtRisk, bay.as_str(), why, Days(days));
        assert_eq!(end(Cleared::ConditionOver, 12.0), "Station bay: the match is at risk - over after 12 days");
        assert_eq!(
            end(Cleared::SpokenFor(Kind::MatchOut), 0.5),
            "Station bay: the match is at risk - closed after 12 hours, since the alert 'match-out' now speaks for it"
        );
    }
}
