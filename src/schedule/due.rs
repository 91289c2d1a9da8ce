//! What is due: demands from several sources, and one line for each thing that is to be done. Pure.
//!
//! A *demand* is one source's wish that something be done by a day. Demands for the same work on the same thing are one line that
//! names all their reasons; the earliest date counts. What is due already and what lies ahead stay two lines: doing the
//! first does not spare the second (last Monday's reading, and next Monday's).

use std::cmp::Ordering;

use chrono::NaiveDate;

use super::Task;
use crate::drift::{Reached, Thing};
use crate::station::leaving::Leaving;
use crate::station::{Advice, CallReason};
use crate::units::{Days, DeviceId, Hours, StationId, Time};

/// What is to be done. Ordered as people would go about it on a day.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)]
pub enum Work {
    Read,
    /// Read the paper under the lamp.
    ReadPaper,
    LookAtHeld,
    LookAtJump,
    ShutOutLight,
    Clean,
    TurnDimmer,
    TurnColourDial,
    Recalibrate,
    Replace,
    Certificate,
    Repair,
    /// In the words of a reminder.
    Other(String),
}

impl Work {
    /// The word, or the reminder's own words, in JSON and texts.
    pub fn word(&self) -> &str {
        match self {
            Self::Read => "read",
            Self::ReadPaper => "read-paper",
            Self::LookAtHeld => "look-at-held",
            Self::LookAtJump => "look-at-jump",
            Self::ShutOutLight => "shut-out-light",
            Self::Clean => "clean",
            Self::TurnDimmer => "turn-dimmer",
            Self::TurnColourDial => "turn-colour-dial",
            Self::Recalibrate => "recalibrate",
            Self::Replace => "replace",
            Self::Certificate => "certificate",
            Self::Repair => "repair",
            Self::Other(words) => words,
        }
    }
}

impl From<&Task> for Work {
    fn from(task: &Task) -> Self {
        match task {
            Task::Read => Self::Read,
            Task::Recalibrate => Self::Recalibrate,
            Task::Clean => Self::Clean,
            Task::Certificate => Self::Certificate,
            Task::Other(words) => Self::Other(words.clone()),
        }
    }
}

/// Where a demand comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    /// A station's judgement.
    Forecast,
    /// A line of the calendar.
    Reminder,
    /// The age of a device's last reading.
    MaxAge,
    /// Readings that are held back.
    Held,
    /// An instrument's certificate.
    Certificate,
    /// An instrument that was damaged.
    Damage,
    /// The hours a lamp is rated for.
    RatedHours,
    /// What is left of a lamp's life as its light and its white go.
    LampLife,
    /// A display that leaves its aim.
    DisplayDrift,
}

impl Source {
    /// Every source.
    pub const ALL: [Self; 9] = [
        Self::Forecast,
        Self::Reminder,
        Self::MaxAge,
        Self::Held,
        Self::Certificate,
        Self::Damage,
        Self::RatedHours,
        Self::LampLife,
        Self::DisplayDrift,
    ];

    /// The source's word in JSON and texts.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Forecast => "forecast",
            Self::Reminder => "reminder",
            Self::MaxAge => "max-age",
            Self::Held => "held",
            Self::Certificate => "certificate",
            Self::Damage => "damage",
            Self::RatedHours => "rated-hours",
            Self::LampLife => "lamp-life",
            Self::DisplayDrift => "display-drift",
        }
    }
}

/// Why something is due.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub enum Because {
    /// A station's judgement calls for it.
    Forecast { station: StationId, advice: Advice, why: CallReason },
    /// A line of the calendar asks for it; `served` by nothing yet where the run has passed.
    Reminder { line: String, run: Time },
    /// Readings of the device are trusted for so long.
    MaxAge { station: StationId, last: Time, limit: Days },
    /// So many readings are held back.
    Held { count: u64 },
    /// The last day on which the instrument's certificate is good.
    Certificate { until: NaiveDate },
    /// The instrument was damaged then, and nobody has repaired it.
    Damaged { since: Time },
    /// The lamp will have burnt the hours it is rated for.
    RatedHours { now: Hours, rated: Hours, reached: Reached },
    /// The device will leave its aim by itself, or has left it.
    LeavesAim { thing: Thing, leaving: Leaving },
    /// Only this share of the lamp's first light is left when its counter stands there; `reached` is absent where it has stood there.
    LightLeft { share: f64, counter: Hours, reached: Option<Reached> },
}

impl Because {
    /// Where it comes from.
    pub const fn source(&self) -> Source {
        match self {
            Self::Forecast { .. } => Source::Forecast,
            Self::Reminder { .. } => Source::Reminder,
            Self::MaxAge { .. } => Source::MaxAge,
            Self::Held { .. } => Source::Held,
            Self::Certificate { .. } => Source::Certificate,
            Self::Damaged { .. } => Source::Damage,
            Self::RatedHours { .. } => Source::RatedHours,
            Self::LeavesAim { thing: Thing::Display, .. } => Source::DisplayDrift,
            Self::LeavesAim { thing: Thing::Lamp(_), .. } | Self::LightLeft { .. } => Source::LampLife,
        }
    }

    /// The station that asks, if one does.
    pub const fn station(&self) -> Option<&StationId> {
        match self {
            Self::Forecast { station, .. } | Self::MaxAge { station, .. } => Some(station),
            _ => None,
        }
    }
}

/// One source's wish.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Demand {
    /// By when.
    pub date: Time,
    pub work: Work,
    /// The thing it is about: a display, lamp, paper or instrument.
    pub device: Option<DeviceId>,
    pub because: Because,
}

/// One line of what is due.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Due {
    /// By when: the earliest of its demands.
    pub date: Time,
    pub work: Work,
    pub device: Option<DeviceId>,
    /// The demands' dates and reasons, the earliest first; never empty.
    pub because: Vec<(Time, Because)>,
}

impl Due {
    /// The stations that ask for it, each once, the most urgent first.
    pub fn stations(&self) -> Vec<&StationId> {
        let mut stations = Vec::new();
        for station in self.because.iter().filter_map(|(_, why)| why.station()) {
            if !stations.contains(&station) {
                stations.push(station);
            }
        }
        stations
    }

    /// Where it comes from, each source once, the most urgent first.
    pub fn sources(&self) -> Vec<Source> {
        let mut sources: Vec<Source> = Vec::new();
        for source in self.because.iter().map(|(_, why)| why.source()) {
            if !sources.contains(&source) {
                sources.push(source);
            }
        }
        sources
    }
}

/// One list of all demands as of `now`, by date. The order in which they are given does not matter.
pub fn merge(mut demands: Vec<Demand>, now: Time) -> Vec<Due> {
    demands.sort_by(before);
    demands.dedup();
    let mut list: Vec<Due> = Vec::new();
    for Demand { date, work, device, because } in demands {
        let same = |due: &&mut Due| {
            let one_place = device.is_some() || due.because.iter().any(|(_, why)| why.station() == because.station());
            due.work == work && due.device == device && one_place && (due.date <= now) == (date <= now)
        };
        match list.iter_mut().find(same) {
            Some(due) => due.because.push((date, because)),
            None => list.push(Due { date, work, device, because: vec![(date, because)] }),
        }
    }
    list
}

/// A total order: what is left equal by it is equal.
fn before(a: &Demand, b: &Demand) -> Ordering {
    fn key(of: &Demand) -> (Time, Source, Option<&StationId>, &Work, Option<&DeviceId>) {
        (of.date, of.because.source(), of.because.station(), &of.work, of.device.as_ref())
    }
    // Two reasons of one source for one thing on one day differ in figures alone; their text orders them.
    key(a).cmp(&key(b)).then_with(|| format!("{:?}", a.because).cmp(&format!("{:?}", b.because)))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn day(days: f64) -> Time {
        Time::parse("2026-03-02T09:00:00Z").unwrap().plus(Days(days))
    }

    fn lamp() -> Option<DeviceId> {
        DeviceId::new("bay-lamp").ok()
    }

    fn reminder(date: Time) -> Demand {
        let because = Because::Reminder { line: "0 9 * * Mon".into(), run: date };
        Demand { date, work: Work::Read, device: lamp(), because }
    }

    fn forecast(date: Time, station: &str) -> Demand {
        let advice = Advice::Read { device: lamp().unwrap() };
        let station = StationId::new(station).unwrap();
        let because = Because::Forecast { station, advice, why: CallReason::Decides };
        Demand { date, work: Work::Read, device: lamp(), because }
    }

    fn too_old(date: Time) -> Demand {
        let station = StationId::new("bay").unwrap();
        let because = Because::MaxAge { station, last: date.plus(Days(-45.0)), limit: Days(45.0) };
        Demand { date, work: Work::Read, device: lamp(), because }
    }

    #[test]
    fn one_line_names_all_reasons_and_the_earliest_date_counts() {
        let list = merge(vec![reminder(day(7.0)), too_old(day(20.0)), forecast(day(5.0), "bay")], day(0.0));
        assert_eq!(list.len(), 1);
        assert_eq!(list[0].date, day(5.0));
        assert_eq!(list[0].sources(), [Source::Forecast, Source::Reminder, Source::MaxAge]);
        assert_eq!(list[0].stations(), [&StationId::new("bay").unwrap()]);
    }

    #[test]
    fn what_is_due_already_does_not_spare_what_lies_ahead() {
        let list = merge(vec![reminder(day(6.0)), reminder(day(-1.0)), forecast(day(0.0), "bay")], day(0.0));
        let dates: Vec<(Time, usize)> = list.iter().map(|due| (due.date, due.because.len())).collect();
        assert_eq!(dates, [(day(-1.0), 2), (day(6.0), 1)]);
    }

    #[test]
    fn work_without_a_device_belongs_to_its_station_or_its_words() {
        let shut = |station: &str| Demand {
            date: day(0.0),
            work: Work::ShutOutLight,
            device: None,
            because: Because::Forecast {
                station: StationId::new(station).unwrap(),
                advice: Advice::ShutOutLight { from_hour: 13, to_hour: 16 },
                why: CallReason::ForeignLight,
            },
        };
        let own = |words: &str| Demand { work: Work::Other(words.into()), device: None, ..reminder(day(0.0)) };
        let list = merge(vec![shut("bay"), shut("booth"), own("sweep"), own("sweep"), own("order tubes")], day(0.0));
        assert_eq!(list.len(), 4);
    }

    fn any_demand() -> impl Strategy<Value = Demand> {
        let devices = prop::option::of(prop::sample::select(vec!["bay-lamp", "bay-screen"]));
        (0u8..4, -6i8..6, devices, prop::sample::select(vec!["bay", "booth"])).prop_map(|(of, at, device, station)| {
            let date = day(f64::from(at));
            let demand = match of {
                0 => reminder(date),
                1 => forecast(date, station),
                2 => too_old(date),
                _ => Demand { work: Work::Other("sweep".into()), ..reminder(date) },
            };
            Demand { device: device.and_then(|id| DeviceId::new(id).ok()), ..demand }
        })
    }

    proptest! {
        #[test]
        fn sorted_without_doubles_and_the_same_in_any_order(
            demands in prop::collection::vec(any_demand(), 0..24),
            turn in 0usize..24,
        ) {
            let now = day(0.0);
            let list = merge(demands.clone(), now);
            prop_assert!(list.is_sorted_by_key(|due| due.date));
            for (at, due) in list.iter().enumerate() {
                prop_assert!(due.because.iter().all(|(date, _)| *date >= due.date));
                prop_assert_eq!(due.because.first().map(|(date, _)| *date), Some(due.date));
                let again = list.iter().skip(at + 1).find(|other| {
                    let one = other.device.is_some() || other.stations() == due.stations();
                    other.work == due.work && other.device == due.device && one
                        && (other.date <= now) == (due.date <= now)
                });
                prop_assert!(again.is_none(), "{due:?} {again:?}");
            }
            let mut distinct: Vec<&Demand> = Vec::new();
            for demand in &demands {
                if !distinct.contains(&demand) {
                    distinct.push(demand);
                }
            }
            prop_assert_eq!(list.iter().map(|due| due.because.len()).sum::<usize>(), distinct.len(), "none is lost");
            let mut turned = demands;
            turned.reverse();
            let by = turn.min(turned.len());
            turned.rotate_left(by);
            prop_assert_eq!(merge(turned, now), list);
        }
    }
}
