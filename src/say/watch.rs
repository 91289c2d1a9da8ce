//! Whether anybody watches, in sentences: the age of the last complete look, and when the devices of a station were last read. Pure.

use super::{count, day, span};
use crate::units::{Days, DeviceId, Time};
use crate::zone::LocalZone;

/// A watch that did not finish a look for longer than this is over, or blind. Three minutes; it looks once in one.
const SILENT: Days = Days(3.0 / 1440.0);

/// What is known of the watch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seen {
    /// It never finished a look.
    Never,
    /// It finished one at this time, and the inbox could be looked through since.
    At(Time),
    /// It was ended at this time.
    Ended(Time),
    /// It finished one at this time, and was cut off since.
    CutOff(Time),
    /// It finished one at this time (if ever), and has found since that the inbox cannot be looked through.
    Blind(Option<Time>),
}

/// The watch's own line, at the end of `status`.
pub fn of_watch(seen: Seen, now: Time) -> String {
    match seen {
        Seen::Never => "No watch runs here: readings come by `twinwhite add` and `twinwhite ingest`, nothing is taken from the inbox.".to_owned(),
        Seen::Ended(at) => format!(
            "Nobody is watching: `twinwhite run` was ended {} ago; what was dropped into the inbox since is not counted.",
            age(now.since(at))
        ),
        Seen::CutOff(last) => format!(
            "Nobody is watching: `twinwhite run` was cut off; it last finished a look {} ago, and what was dropped into the inbox since is not \
             counted. Start it again.",
            age(now.since(last))
        ),
        Seen::Blind(last) => {
            let since = last.map(|last| format!("; it last looked through everything {} ago", age(now.since(last))));
            format!(
                "The watch is blind: the inbox cannot be looked through{}. What lies there is not counted.",
                since.unwrap_or_default()
            )
        }
        Seen::At(last) if now.since(last) <= SILENT => {
            format!("The watch is alive: it last looked through everything {} ago.", age(now.since(last)))
        }
        Seen::At(last) => format!(
            "Nobody is watching: `twinwhite run` last finished a look {} ago; what was dropped into the inbox since is not counted.",
            age(now.since(last))
        ),
    }
}

fn age(days: Days) -> String {
    let seconds = (days.0 * 86_400.0).round().max(0.0);
    if seconds < 120.0 { format!("{seconds} s") } else { span(days) }
}

/// When each device was last read: `last read: bay-lamp 27 Nov 2026 (2 days ago), bay-screen never`.
pub fn last_read(devices: &[(&DeviceId, Option<Time>)], now: Time, zone: &LocalZone) -> String {
    let one = |(device, read): &(&DeviceId, Option<Time>)| match read {
        None => format!("{device} never"),
        Some(read) if zone.day(*read) == zone.day(now) => format!("{device} today"),
        Some(read) => {
            let days = zone.day(now).signed_duration_since(zone.day(*read)).num_days();
            format!("{device} {} ({} ago)", day(zone, *read), count(u64::try_from(days).unwrap_or(0), "day"))
        }
    };
    format!("last read: {}", devices.iter().map(one).collect::<Vec<_>>().join(", "))
}

/// Which moment an answer speaks of that is not about now; `known` is the moment whose knowledge answers, as it was typed.
pub fn of_moment(at: Time, known: Option<&str>, zone: &LocalZone) -> String {
    let known = known.map(|known| format!(", as it was known at {known}")).unwrap_or_default();
    format!("All this is as of {}{known}.", zone.show_full(at))
}

/// What the alert of a blind watch says beside its headline.
pub fn of_blind(why: &str) -> Vec<String> {
    vec![
        format!("For a minute or longer: {why}."),
        "Readings that are dropped now are not taken in, and no verdict knows of them.".to_owned(),
        "`twinwhite add` and `twinwhite ingest` work meanwhile.".to_owned(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn alive_silent_blind_and_never_are_four_things() {
        let now = Time::parse("2026-03-02T09:00:00Z").unwrap();
        let ago = |minutes: f64| now.plus(Days(-minutes / 1440.0));
        assert!(of_watch(Seen::At(ago(40.0 / 60.0)), now).ends_with("looked through everything 40 s ago."));
        assert!(of_watch(Seen::At(ago(2.9)), now).starts_with("The watch is alive"));
        let silent = of_watch(Seen::At(ago(180.0)), now);
        assert!(silent.starts_with("Nobody is watching: ") && silent.contains("3 hours ago"), "{silent}");
        let ended = of_watch(Seen::Ended(ago(1.0)), now);
        assert!(ended.starts_with("Nobody is watching: `twinwhite run` was ended 60 s ago"), "{ended}");
        let cut = of_watch(Seen::CutOff(ago(1.0)), now);
        assert!(
            cut.starts_with("Nobody is watching: `twinwhite run` was cut off; it last finished a look 60 s ago"),
            "{cut}"
        );
        assert!(of_watch(Seen::Blind(Some(ago(0.5))), now).starts_with("The watch is blind"));
        assert!(of_watch(Seen::Never, now).starts_with("No watch runs here"));
    }

    #[test]
    fn last_readings_bear_their_age() {
        let zone = LocalZone(chrono_tz::Europe::Lisbon);
        let now = Time::parse("2026-03-02T09:00:00Z").unwrap();
        let (lamp, screen) = (DeviceId::new("lamp").unwrap(), DeviceId::new("screen").unwrap());
        let said = last_read(&[(&lamp, Some(now.plus(Days(-12.0)))), (&screen, None)], now, &zone);
        assert_eq!(said, "last read: lamp 18 Feb 2026 (12 days ago), screen never");
    }
}
