//! What `ageing` says: how a lamp or a display ages, when it leaves its aim, what to do, and how far such dates were right. Pure.

mod acts;

use super::{count, day, direction_word, span};
use crate::drift::{Reached, Thing};
use crate::life::Age;
use crate::life::maintenance::{FARTHEST_TIMES, LEAST_HOURS, LeftAt, NoProjection, WIDEST_GAP_HOURS};
use crate::life::report::{Check, LifeLine, Report, WhitePath};
use crate::station::Spread;
use crate::station::leaving::{Cause, Leaving};
use crate::units::{Days, Hours, Time};
use crate::zone::LocalZone;

pub use acts::acts;

/// Past dates that are told one by one.
const CHECKS_LISTED: usize = 6;

/// The verdict in one sentence.
pub fn headline(report: &Report, zone: &LocalZone) -> String {
    let device = &report.device;
    let Some(age) = report.age else {
        return match report.last_read {
            None => format!("{device} was never read: nothing can be said of its ageing."),
            Some(_) => format!("{device} was not read since it was replaced: nothing can be said of its ageing yet."),
        };
    };
    let light = match report.light_left {
        Some(left) => format!("gives {:.0} % of its first light after {}", left.mean * 100.0, self::age(age)),
        None => format!("has served {} (its level was never read)", self::age(age)),
    };
    if report.retired {
        return format!(
            "{device} is out of use; it {}.",
            light.replacen("gives", "gave", 1).replacen("has served", "had served", 1)
        );
    }
    let Some(leaving) = &report.leaving else { return format!("{device} {light}.") };
    format!("{device} {light}{}.", leaves(leaving, report.as_of, zone))
}

/// The second half of the verdict, with the word that joins it to the first.
fn leaves(leaving: &Leaving, now: Time, zone: &LocalZone) -> String {
    let cause = leaving.cause.as_ref();
    if leaving.is_off() {
        return match cause.filter(|cause| **cause != Cause::Doubt) {
            None => " and may be off its aim: too little is known of it".to_owned(),
            Some(cause) => format!(" and is off its aim: {}", became(cause)),
        };
    }
    let day = |time| day(zone, time);
    match (leaving.about, leaving.early) {
        (Some(about), _) if cause == Some(&Cause::Doubt) => format!(
            " and may leave its aim by about {}, {}: too little is known of it yet, its drift does not say so",
            day(about),
            range(leaving, now, zone)
        ),
        (Some(about), _) => {
            let word = if leaving.guess { "by a guess leaves" } else { "leaves" };
            let cause = cause.map(|cause| format!(": {}", becomes(cause))).unwrap_or_default();
            format!(" and {word} its aim about {}, {}{cause}", day(about), range(leaving, now, zone))
        }
        (None, Some(early)) => {
            format!("; no date can be given yet for when it leaves its aim, but hardly before {}", day(early))
        }
        (None, None) if leaving.farthest > now => {
            format!(" and holds its aim as far ahead as can be told, until {} at least", day(leaving.farthest))
        }
        (None, None) => "; no date can be given yet for when it leaves its aim".to_owned(),
    }
}

/// When a device leaves its aim by itself, as a reason to do something about it.
pub fn leaves_aim(leaving: &Leaving, now: Time, zone: &LocalZone) -> String {
    let cause = leaving.cause.as_ref();
    let Some(about) = leaving.about.filter(|_| !leaving.is_off()) else {
        return format!("It is off its aim: {}.", cause.map_or("it moved".to_owned(), became));
    };
    let why = cause.map(|cause| format!(": {}", becomes(cause))).unwrap_or_default();
    let guess = if leaving.guess { " (a guess)" } else { "" };
    let risk = match leaving.act_by.filter(|by| *by < about) {
        Some(by) => format!("; from {} on the risk of that is over its station's line", day(zone, by)),
        None => String::new(),
    };
    format!(
        "By its own drift it leaves its aim about {}, {}{guess}{why}{risk}.",
        day(zone, about),
        range(leaving, now, zone)
    )
}

/// When only a share of a lamp's first light is left, by the arithmetic of a long record.
pub fn light_left(share: f64, counter: Hours, reached: Option<&Reached>, zone: &LocalZone) -> String {
    let (share, hours) = (share * 100.0, thousands(counter.0));
    let when = match reached {
        None => format!("{share:.0} % of its first light was left when its counter stood at {hours} h"),
        Some(reached) => format!(
            "{share:.0} % of its first light is left at about {hours} h, about {}, likely {} to {} at this use",
            day(zone, reached.date),
            day(zone, reached.likely.0),
            day(zone, reached.likely.1)
        ),
    };
    format!("{when} ({NO_TM21}).")
}

/// What is said of every figure that TM-21's arithmetic gives here.
const NO_TM21: &str = "an estimate from one lamp by one meter with the arithmetic of TM-21; no TM-21 result";

fn range(leaving: &Leaving, now: Time, zone: &LocalZone) -> String {
    let early = match leaving.early.filter(|early| *early > now) {
        Some(early) => format!("likely {}", day(zone, early)),
        None => "likely from now".to_owned(),
    };
    match leaving.late {
        Some(late) => format!("{early} to {}", day(zone, late)),
        None => format!("{early} or much later"),
    }
}

/// What takes it out, ahead.
fn becomes(cause: &Cause) -> String {
    match cause {
        Cause::Colour(direction) => match direction_word(direction.as_ref()) {
            Some(word) => format!("its white turns {word}"),
            None => "its white moves".to_owned(),
        },
        Cause::Dimmer => "it gets dimmer".to_owned(),
        Cause::Brighter => "it gets brighter".to_owned(),
        Cause::Doubt => "too little is known of it".to_owned(),
    }
}

/// What took it out.
fn became(cause: &Cause) -> String {
    match cause {
        Cause::Colour(direction) => match direction_word(direction.as_ref()) {
            Some(word) => format!("its white is {word}"),
            None => "its white moved".to_owned(),
        },
        Cause::Dimmer => "it is too dim".to_owned(),
        Cause::Brighter => "it is too bright".to_owned(),
        Cause::Doubt => "too little is known of it".to_owned(),
    }
}

/// An age with its unit.
pub fn age(age: Age) -> String {
    match age {
        Age::Hours(hours) => format!("{} h", thousands(hours)),
        Age::Days(days) => span(Days(days)),
    }
}

/// A whole number with a comma at the thousands.
pub fn thousands(number: f64) -> String {
    let digits = format!("{:.0}", number.abs());
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    if number < -0.5 { format!("-{text}") } else { text }
}

/// Why: each fact with the word it stands under.
pub fn facts(report: &Report, zone: &LocalZone) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    if let Some(left) = report.light_left {
        facts.push(("light", light(report, left)));
    }
    if let Some(white) = &report.white {
        facts.push(("white", self::white(white)));
    }
    if let Some(hours) = report.hours {
        let counter = hours
            .counter_at(report.as_of)
            .map(|c| format!("; the counter stands at about {} h", thousands(c)))
            .unwrap_or_default();
        facts.push(("use", format!("{:.1} ± {:.1} h a day{counter}", hours.per_day, hours.per_day_sd())));
    }
    if let Some(rated) = report.rated {
        facts.push((
            "rated",
            match (rated.used, rated.reached) {
                (Some(used), Some(reached)) if used < 1.0 => format!(
                    "{:.0} % of {} h used; the rest lasts until about {} at this use",
                    used * 100.0,
                    thousands(rated.hours),
                    day(zone, reached.date)
                ),
                (Some(used), _) => {
                    format!("{:.0} % of {} h used: past its rated hours", used * 100.0, thousands(rated.hours))
                }
                _ => format!(
                    "{} h; its hours are not reported, so what is used of them is not known",
                    thousands(rated.hours)
                ),
            },
        ));
    }
    if report.age.is_some() && report.light_left.is_some() && report.hours.is_some() && report.thing != Thing::Display {
        facts.push(("projection", projection(report)));
    }
    facts
}

fn light(report: &Report, left: Spread) -> String {
    let mut text = format!("{:.1} ± {:.1} % of its first light", left.mean * 100.0, left.sd * 100.0);
    let Some(rate) = report.light_rate else { return text };
    let change = |rate: Spread| {
        let word = if rate.mean < 0.0 { "falls" } else { "rises" };
        format!("{word} {:.1} ± {:.1} %", rate.mean.abs() * 100.0, rate.sd * 100.0)
    };
    let faint = rate.per_year.mean.abs() < 1.645 * rate.per_year.sd;
    text.push_str(&match rate.per_1000_h {
        Some(per) => format!("; {} per 1000 h, {:.1} % a year", change(per), rate.per_year.mean.abs() * 100.0),
        None => format!("; {} a year (no hours reported)", change(rate.per_year)),
    });
    if faint {
        text.push_str(", which cannot be told from standing still");
    }
    text
}

fn white(white: &WhitePath) -> String {
    let word = |direction: &Option<crate::color::Move>| {
        direction_word(direction.as_ref()).map(|word| format!(", {word}")).unwrap_or_default()
    };
    let moved = format!("moved Δu′v′ {:.4} by itself since its first reading{}", white.moved, word(&white.direction));
    let per = match white.speed.per_1000_h {
        Some(per) => format!("{:.4} ± {:.4} per 1000 h", per.mean, per.sd),
        None => format!("{:.4} ± {:.4} a year", white.speed.per_year.mean, white.speed.per_year.sd),
    };
    if white.told {
        let year = if white.speed.per_1000_h.is_some() {
            format!(", {:.4} a year", white.speed.per_year.mean)
        } else {
            String::new()
        };
        format!("{moved}; moves {per}{year}{}", word(&white.towards_word))
    } else {
        format!("{moved}; its speed ({per}) cannot be told from standing still")
    }
}

/// What TM-21's arithmetic says, never as a TM-21 result.
fn projection(report: &Report) -> String {
    match &report.projection {
        Ok(projection) => {
            let at = |hours: f64| thousands(projection.counter_from + hours);
            let left = match projection.fit.left_at(0.7) {
                LeftAt::Passed(hours) => format!("70 % of its first light was left at {} h", at(hours)),
                LeftAt::Projected(hours) => format!("70 % of its first light is left at about {} h", at(hours)),
                LeftAt::After(hours) => format!(
                    "more than 70 % of its first light is left at {} h; no more may be said than {FARTHEST_TIMES:.0} times the record",
                    at(hours)
                ),
            };
            format!("{left} ({NO_TM21})")
        }
        Err(NoProjection::Short { hours }) => format!(
            "none: {} h of unbroken record, {} are needed; until then the forecast above is all there is",
            thousands(*hours),
            thousands(LEAST_HOURS)
        ),
        Err(NoProjection::Gap { hours }) => format!(
            "none: {} h without a reading in the part of the record that counts, {} at most are allowed",
            thousands(*hours),
            thousands(WIDEST_GAP_HOURS)
        ),
    }
}

/// The predecessors' table: its header, and a row for each life.
pub fn lives(report: &Report, zone: &LocalZone) -> ([String; 5], Vec<[String; 5]>) {
    let same = report.age.map(age).unwrap_or_default();
    let per = if matches!(report.age, Some(Age::Hours(_))) { "white moved per 1000 h" } else { "white moved a year" };
    let header = ["in place", "served", "light left", &format!("light left at {same}"), per].map(str::to_owned);
    let share = |left: Option<f64>| left.map_or_else(|| "-".to_owned(), |left| format!("{:.0} %", left * 100.0));
    let row = |life: &LifeLine| {
        let until = life.to.map_or_else(|| "now".to_owned(), |to| day(zone, to));
        [
            format!("{} to {until}", day(zone, life.from)),
            age(life.served),
            share(life.left_now_or_at_end),
            share(life.left_at_same_age),
            life.moved_per.map_or_else(|| "-".to_owned(), |moved| format!("{moved:.4}")),
        ]
    };
    (header, report.lives.iter().map(row).collect())
}

/// How far such dates were right before.
pub fn checks(report: &Report, zone: &LocalZone) -> Vec<String> {
    let checks = &report.checks;
    let ended = match checks.ended_before {
        0 => None,
        n => Some(format!(
            "{} it was set anew, cleaned or replaced before it left its aim; no date can be held against that.",
            count(n as u64, "time")
        )),
    };
    let outlived = (checks.outlived > 0).then(|| {
        format!(
            "{} came too early: the likely range was over and it was still on its aim.",
            count(checks.outlived as u64, "such date")
        )
    });
    if checks.asked.is_empty() {
        let none = "No such date could be checked yet: it has not left its aim by itself since it is read.".to_owned();
        return std::iter::once(none).chain(outlived).chain(ended).collect();
    }
    let mut lines = Vec::new();
    let held: Vec<bool> = checks.asked.iter().filter_map(Check::within).collect();
    let mut errors: Vec<f64> = checks.asked.iter().filter_map(Check::error).map(f64::abs).collect();
    errors.sort_by(f64::total_cmp);
    let middle = errors.get(errors.len().saturating_sub(1) / 2);
    if let Some((middle, farthest)) = middle.zip(errors.last()) {
        let hits = held.iter().filter(|held| **held).count();
        lines.push(format!(
            "Of {} said before it left its aim, {hits} had the day in their likely range; half were off by no more than {}, \
             the farthest by {:.0}.",
            count(held.len() as u64, "such date"),
            count(middle.round() as u64, "day"),
            farthest
        ));
    } else {
        lines.push("It has left its aim before, and no date would have been said.".to_owned());
    }
    let earlier = checks.asked.len().saturating_sub(CHECKS_LISTED);
    if earlier > 0 {
        lines.push(format!("The newest of them, after {earlier} more:"));
    }
    lines.extend(checks.asked.iter().skip(earlier).map(|check| self::check(check, zone)));
    lines.extend(outlived);
    lines.extend(ended);
    lines
}

fn check(check: &Check, zone: &LocalZone) -> String {
    let when = format!("{:.0} % of the way, {}", check.share * 100.0, day(zone, check.asked));
    let happened = day(zone, check.happened);
    let said = check.said.as_ref().and_then(|said| Some((said, said.about?)));
    let Some((said, about)) = said else { return format!("{when}: no date was said; it left {happened}.") };
    let guess = if said.guess { "a guess, " } else { "" };
    let error = about.since(check.happened).0;
    let off = match error.round() {
        0.0 => "to the day".to_owned(),
        e if e < 0.0 => format!("{} too early", count(e.abs() as u64, "day")),
        e => format!("{} too late", count(e as u64, "day")),
    };
    let held = if check.within() == Some(true) { "within" } else { "outside" };
    format!(
        "{when}: {guess}about {}, {}; it left {happened}, {held} the range, {off}.",
        day(zone, about),
        range(said, check.asked, zone)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_grouped() {
        assert_eq!(
            [0.0, 999.4, 999.6, 12_345.0, 1_234_567.0].map(thousands),
            ["0", "999", "1,000", "12,345", "1,234,567"]
        );
        assert_eq!((thousands(-0.2), thousands(-1500.0)), ("0".to_owned(), "-1,500".to_owned()));
        assert_eq!(age(Age::Days(400.0)), "13 months");
    }
}
