//! The Quillmoor print room of the demo: two invented years of two stations, as scenes with their files.
//!
//! The true course of each device is lived by `device`; here stands what happens on which day, who reads when, and what goes
//! wrong. Ageing goes at the rates of `drift::priors`: a screen that turns yellower by 1.8e-5 a day in u′v′ and is set
//! right every hundred days, an LED lamp that hardly moves, a pair of tubes that yellows and loses a fifth of its light.
//! The seed is fixed, so that but for the dates the same happens every time.

use chrono::{NaiveDate, TimeZone};

use super::chance::Chance;
use super::device::{Logged, Planned, Recipe, SimAct, SimDevice};
use super::sheet::{self, Done, Dropped, Line};
use super::spectra::Shape;
use crate::aims::params_of;
use crate::alert::Kind;
use crate::color::xy;
use crate::drift::{Observation, Params};
use crate::site::{Noise, Things};
use crate::units::{DeviceId, Time, Xy};
use crate::zone::LocalZone;

/// The room's configuration, as it is written into the demo's folder.
pub const CONFIG: &str = include_str!("print_room.toml");

/// Days the story spans.
pub const STORY_DAYS: usize = 730;

const SEED: u64 = 20;

/// The room is closed from the first of these days to the day before the second.
const CLOSED: (usize, usize) = (252, 289);
/// Somebody turns the dimmer of the bay's lamp without noticing; later it is found and put back. ln of the level.
const BUMPED: (usize, usize, f64) = (148, 171, -0.33);
/// The bay's screen is recalibrated; once it is forgotten, and the alert that follows is read and put off.
const BAY_RECALIBRATED: [usize; 5] = [96, 190, 289, 518, 610];
const FORGOTTEN: (usize, usize) = (390, 478);
/// The booth's screen is recalibrated.
const BOOTH_RECALIBRATED: [usize; 6] = [110, 226, 330, 446, 560, 664];
/// The booth's tubes are replaced.
const REPLACED: usize = 362;
/// From this day on a visit to the booth is written down under a heading that nobody knows, and put right the day after.
const MISSPELT: usize = 206;

/// At the first usual visit from these days on the lamp's whole spectrum is taken.
const BAY_SPECTRA: [usize; 3] = [20, 300, 600];
const BOOTH_SPECTRA: [usize; 3] = [30, REPLACED + 4, 620];
/// A bright day with the blinds up: what falls on the bay's print with the lamp off, by hour and lx; the sky is bluish.
const BLINDS_UP: usize = 716;
const FOREIGN: [(u32, f64); 3] = [(10, 24.0), (13, 78.0), (16, 41.0)];
const SKY: Xy = Xy { x: 0.295, y: 0.312 };

/// Something that happens in the room.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scene {
    /// When.
    pub at: Time,
    /// What a bystander would say of it, where it is worth saying.
    pub told: Option<String>,
    /// What reaches the program thereby.
    pub deed: Option<Deed>,
}

/// What people do with the program.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Deed {
    /// They drop a file.
    Drop(Dropped),
    /// They acknowledge the alert of this kind and subject, if it stands.
    Acknowledge {
        /// Its kind.
        kind: Kind,
        /// What it is about.
        subject: &'static str,
        /// Who has taken notice.
        by: &'static str,
    },
}

/// Everything that happens, in order, from [`STORY_DAYS`] days before `today` to the day before it. `things` are those of
/// [`CONFIG`]; what they lack does not happen.
pub fn story(things: &Things, zone: LocalZone, today: NaiveDate) -> Vec<Scene> {
    let calendar = Calendar { zone, today };
    let mut chance = Chance::new(SEED);
    let mut scenes = bystanders(&calendar);
    scenes.extend(bay(things, &calendar, &mut chance));
    scenes.extend(booth(things, &calendar, &mut chance));
    scenes.sort_by_key(|scene| scene.at);
    scenes
}

/// When the story begins: at 8 in the morning, [`STORY_DAYS`] days before `today`.
pub fn first_morning(zone: LocalZone, today: NaiveDate) -> Time {
    Calendar { zone, today }.at(0, 8, 0)
}

/// Days of the story as local time.
struct Calendar {
    zone: LocalZone,
    today: NaiveDate,
}

impl Calendar {
    fn date(&self, day: usize) -> NaiveDate {
        let back = chrono::Days::new((STORY_DAYS.saturating_sub(day)) as u64);
        self.today.checked_sub_days(back).unwrap_or(self.today)
    }

    fn at(&self, day: usize, hour: u32, minute: u32) -> Time {
        let local = self.date(day).and_hms_opt(hour, minute, 0).unwrap_or_default();
        // Nothing happens in the small hours, when clocks are changed.
        let found = self.zone.0.from_local_datetime(&local).earliest();
        found.map_or_else(|| Time::from_chrono(local.and_utc()), Time::from_chrono)
    }
}

/// Somebody comes and reads a station.
#[derive(Clone, Copy)]
struct Visit {
    day: usize,
    minute: u32,
    /// Minutes since everything was switched on.
    warmup_min: f64,
    by: &'static str,
}

/// Visits every `often` days, those on `wanted` days among them, none while the room is closed.
fn visits(chance: &mut Chance, often: (f64, f64), wanted: &[usize], people: &[&'static str]) -> Vec<Visit> {
    let mut days = wanted.to_vec();
    let mut day = 0;
    while day < STORY_DAYS {
        let closed = (CLOSED.0..CLOSED.1).contains(&day);
        if !closed && wanted.iter().all(|wanted| wanted.abs_diff(day) > 3) {
            days.push(day);
        }
        day += chance.between(often.0, often.1).round().max(1.0) as usize;
    }
    days.sort_unstable();
    days.dedup();
    days.iter()
        .map(|day| Visit {
            day: *day,
            minute: chance.between(5.0, 50.0) as u32,
            // One in fifteen does not wait until all is warm.
            warmup_min: if chance.happens(0.07) { 6.0 } else { chance.between(45.0, 90.0).round() },
            by: people.get(chance.between(0.0, people.len() as f64) as usize).copied().unwrap_or("ines"),
        })
        .collect()
}

/// How a device of the room moves, beside what the configuration says of it.
struct Course {
    slope: [f64; 3],
    decay: (f64, f64),
    miss_new: [f64; 3],
    acts: Vec<(f64, SimAct)>,
}

/// One reading of each visit.
fn readings(params: Params, course: Course, visits: &[Visit], chance: &mut Chance) -> Vec<Observation> {
    let white = 1e-6;
    let noise = Noise { uv: 0.0005, level: 0.01 };
    let plan = (visits.iter())
        .map(|visit| Planned {
            day: visit.day as f64,
            cold: (visit.warmup_min < params.warm_up_min)
                .then(|| (visit.warmup_min, [0.001 * chance.normal(), 0.001 * chance.normal(), -0.05])),
            // Not just after something was done, where a single reading cannot be told from the deed.
            stray: (chance.happens(0.02) && course.acts.iter().all(|(day, _)| (day - visit.day as f64).abs() > 30.0))
                .then(|| [0.006 * chance.normal(), 0.006 * chance.normal(), -0.08]),
            by_other: false,
        })
        .collect();
    let recipe = Recipe {
        params,
        start: Time::from_micros(0),
        days: STORY_DAYS,
        miss_first: course.miss_new,
        miss_new: course.miss_new,
        miss_recalibrated: [0.0003, 0.0003, 0.005],
        slope: course.slope,
        slope_sd: [white, white, 1e-5],
        slope_change: [0.03 * white, 0.03 * white, 1e-6],
        decay: course.decay,
        wander: [0.0002, 0.0002, 0.003],
        wander_days: 25.0,
        hours: None,
        acts: course.acts,
        plan,
        noise,
        declared: noise,
        instrument: None,
        other: None,
    };
    let SimDevice { log, .. } = recipe.live(chance);
    let mut seen: Vec<Observation> = (log.into_iter())
        .filter_map(|entry| match entry {
            Logged::Reading(observation, _) => Some(observation),
            Logged::Event(_) => None,
        })
        .collect();
    seen.sort_by_key(|observation| observation.seq);
    seen
}

/// What is no reading and no event.
fn bystanders(calendar: &Calendar) -> Vec<Scene> {
    let told =
        |day: usize, hour, what: &str| Scene { at: calendar.at(day, hour, 0), told: Some(what.to_owned()), deed: None };
    let put_off = Deed::Acknowledge { kind: Kind::MatchAtRisk, subject: "bay", by: "ines" };
    vec![
        told(CLOSED.0, 8, "The room closes for five weeks; nobody reads."),
        told(CLOSED.1, 8, "The room opens again."),
        told(BUMPED.0, 18, "Somebody brushes against the dimmer of bay-lamp. Nobody notices."),
        told(FORGOTTEN.0, 18, "bay-screen is due to be recalibrated. It is forgotten."),
        Scene {
            deed: Some(put_off),
            ..told(FORGOTTEN.1, 17, "Ines takes notice of the alert on bay, and puts it off.")
        },
    ]
}

fn bay(things: &Things, calendar: &Calendar, chance: &mut Chance) -> Vec<Scene> {
    let (Some(screen), Some(lamp)) = (device("bay-screen", things), device("bay-lamp", things)) else {
        return Vec::new();
    };
    let mut wanted = BAY_RECALIBRATED.to_vec();
    wanted.extend([BUMPED.1, CLOSED.0 - 2, CLOSED.1, STORY_DAYS - 4]);
    let visits = visits(chance, (6.0, 9.0), &wanted, &["ines", "ines", "maren"]);
    let of_screen = Course {
        slope: [1.0e-5, 1.5e-5, -1.0e-4],
        decay: (0.0, 100.0),
        miss_new: [0.0004, 0.0004, 0.01],
        acts: BAY_RECALIBRATED.map(|day| (day as f64, SimAct::Recalibrated(None))).to_vec(),
    };
    let (bump, back) = ([0.0, 0.0, BUMPED.2], [0.0, 0.0, -BUMPED.2]);
    let of_lamp = Course {
        slope: [-0.1e-5, -0.15e-5, -0.6e-4],
        decay: (0.02, 200.0),
        miss_new: [0.0003, 0.0003, 0.01],
        acts: vec![(BUMPED.0 as f64, SimAct::Step(bump)), (BUMPED.1 as f64, SimAct::Step(back))],
    };
    let screens = readings(screen.1, of_screen, &visits, &mut chance.split());
    let lamps = readings(lamp.1, of_lamp, &visits, &mut chance.split());

    let spectra = first_visits(&visits, &BAY_SPECTRA, &BAY_RECALIBRATED);
    let mut scenes = Vec::new();
    for (visit, (of_screen, of_lamp)) in visits.iter().zip(screens.iter().zip(&lamps)) {
        let Some(lines) = Lines::of(calendar, visit, (&screen.0, of_screen), (&lamp.0, of_lamp)) else { continue };
        let both = lines.both();
        if spectra.contains(&visit.day) {
            scenes.extend(with_spectrum(&lines, &both, "bay", Shape::Panel));
            continue;
        }
        scenes.push(if BAY_RECALIBRATED.contains(&visit.day) {
            recalibrated(calendar, visit, &screen.0, &both, "bay")
        } else {
            drop_at(lines.at, None, sheet::of_both(format!("{}-bay.csv", lines.date), &both))
        });
    }
    scenes.push(done(calendar, BUMPED.1, &lamp.0, "setting_changed", "ines", "dimmer put back to its mark"));
    scenes.push(blinds_up(calendar, &lamp.0));
    scenes
}

fn booth(things: &Things, calendar: &Calendar, chance: &mut Chance) -> Vec<Scene> {
    let (Some(screen), Some(lamp)) = (device("booth-screen", things), device("booth-lamp", things)) else {
        return Vec::new();
    };
    let mut wanted = BOOTH_RECALIBRATED.to_vec();
    wanted.extend([REPLACED, REPLACED + 5, MISSPELT, CLOSED.0 - 3, CLOSED.1, STORY_DAYS - 2]);
    let visits = visits(chance, (8.0, 13.0), &wanted, &["tomas", "tomas", "maren"]);
    let of_screen = Course {
        slope: [0.2e-5, 0.3e-5, -0.8e-4],
        decay: (0.0, 100.0),
        miss_new: [0.0004, 0.0004, 0.01],
        acts: BOOTH_RECALIBRATED.map(|day| (day as f64, SimAct::Recalibrated(None))).to_vec(),
    };
    let of_lamp = Course {
        slope: [0.8e-5, 1.12e-5, -1.8e-4],
        decay: (0.06, 120.0),
        miss_new: [0.0004, 0.0004, 0.02],
        acts: vec![(REPLACED as f64, SimAct::Replaced)],
    };
    let screens = readings(screen.1, of_screen, &visits, &mut chance.split());
    let lamps = readings(lamp.1, of_lamp, &visits, &mut chance.split());

    let spectra = first_visits(&visits, &BOOTH_SPECTRA, &[&BOOTH_RECALIBRATED[..], &[MISSPELT]].concat());
    let mut scenes = Vec::new();
    for (visit, (of_screen, of_lamp)) in visits.iter().zip(screens.iter().zip(&lamps)) {
        let Some(lines) = Lines::of(calendar, visit, (&screen.0, of_screen), (&lamp.0, of_lamp)) else { continue };
        let both = lines.both();
        if spectra.contains(&visit.day) {
            scenes.extend(with_spectrum(&lines, &both, "booth", Shape::Tubes));
            continue;
        }
        if BOOTH_RECALIBRATED.contains(&visit.day) {
            scenes.push(recalibrated(calendar, visit, &screen.0, &both, "booth"));
            continue;
        }
        let (at, date) = (lines.at, lines.date);
        if visit.by == "maren" && visit.day != MISSPELT {
            scenes.push(drop_at(at, None, sheet::as_json(format!("{date}-booth.json"), &[], &both)));
            continue;
        }
        let [of_screen, of_lamp] = &both;
        let screen_file = sheet::of_one(format!("{date}-booth-screen.csv"), of_screen, of_screen.level.0);
        let lamp_file = |column| sheet::of_one(format!("{date}-booth-lamp.csv"), of_lamp, column);
        scenes.push(drop_at(at, None, screen_file));
        if visit.day == MISSPELT {
            scenes.push(drop_at(at, None, lamp_file("illuminance_lux")));
            let mended = "The heading in that file is put right, and the file dropped again.";
            scenes.push(drop_at(calendar.at(visit.day + 1, 10, 5), Some(mended), lamp_file(of_lamp.level.0)));
        } else {
            scenes.push(drop_at(at, None, lamp_file(of_lamp.level.0)));
        }
    }
    scenes.push(done(calendar, REPLACED, &lamp.0, "replaced", "tomas", "a new pair of tubes"));
    scenes
}

fn device(name: &str, things: &Things) -> Option<(DeviceId, Params)> {
    let id = DeviceId::new(name).ok()?;
    let params = params_of(things, &id)?;
    Some((id, params))
}

/// A visit's two readings as numbers to write down.
struct Lines<'a> {
    at: Time,
    date: NaiveDate,
    time: String,
    visit: &'a Visit,
    screen: (&'a DeviceId, Xy, f64),
    lamp: (&'a DeviceId, Xy, f64),
}

impl<'a> Lines<'a> {
    fn of(
        calendar: &Calendar,
        visit: &'a Visit,
        screen: (&'a DeviceId, &Observation),
        lamp: (&'a DeviceId, &Observation),
    ) -> Option<Self> {
        let numbers = |(device, seen): (&'a DeviceId, &Observation)| {
            Some((device, xy(seen.white).ok()?, libm::exp(seen.ln_level?)))
        };
        let at = calendar.at(visit.day, 9, visit.minute);
        let time = calendar.zone.show(at);
        let date = calendar.date(visit.day);
        // A file is dropped a few minutes after the reading.
        let at = Time::from_micros(at.micros().saturating_add(8 * 60 * 1_000_000));
        Some(Self { at, date, time, visit, screen: numbers(screen)?, lamp: numbers(lamp)? })
    }

    fn both(&self) -> [Line<'_>; 2] {
        let line = |(device, white, level): (&'a DeviceId, Xy, f64), column| Line {
            time: &self.time,
            device,
            white,
            level: (column, level),
            operator: self.visit.by,
            warmup_min: self.visit.warmup_min,
        };
        [line(self.screen, "luminance_cd_m2"), line(self.lamp, "illuminance_lx")]
    }
}

/// For each of `from` the day of the first warm visit from then on that is not one of `but`.
fn first_visits(visits: &[Visit], from: &[usize], but: &[usize]) -> Vec<usize> {
    let usual = |visit: &&Visit| visit.warmup_min > 30.0 && !but.contains(&visit.day);
    from.iter()
        .filter_map(|day| visits.iter().filter(usual).find(|visit| visit.day >= *day))
        .map(|visit| visit.day)
        .collect()
}

/// A visit at which the lamp's spectrum is taken in place of its white alone.
fn with_spectrum(lines: &Lines, both: &[Line; 2], station: &str, shape: Shape) -> Vec<Scene> {
    let [of_screen, of_lamp] = both;
    let screen = sheet::of_one(format!("{}-{station}-screen.csv", lines.date), of_screen, of_screen.level.0);
    let name = format!("{}-{station}-lamp-spectrum.csv", lines.date);
    let told = format!("The whole spectrum of {} is taken, not its white alone.", of_lamp.device);
    let lamp = sheet::of_spectrum(name, of_lamp, shape).map(|file| drop_at(lines.at, Some(&told), file));
    std::iter::once(drop_at(lines.at, None, screen)).chain(lamp).collect()
}

/// With the lamp off somebody reads what the window adds, through the day.
fn blinds_up(calendar: &Calendar, lamp: &DeviceId) -> Scene {
    let readings = FOREIGN.map(|(hour, lx)| (calendar.zone.show(calendar.at(BLINDS_UP, hour, 0)), lx, SKY));
    let file = sheet::of_foreign(format!("{}-bay-window.csv", calendar.date(BLINDS_UP)), lamp, "maren", &readings);
    let told =
        "A bright day with the blinds up: with the lamp off, Maren reads what the window adds to the bay's light.";
    drop_at(calendar.at(BLINDS_UP, 16, 20), Some(told), file)
}

fn drop_at(at: Time, told: Option<&str>, file: Dropped) -> Scene {
    Scene { at, told: told.map(str::to_owned), deed: Some(Deed::Drop(file)) }
}

/// The screen is recalibrated in the morning and read at once; one file tells both.
fn recalibrated(calendar: &Calendar, visit: &Visit, screen: &DeviceId, both: &[Line; 2], station: &str) -> Scene {
    let time = calendar.zone.show(calendar.at(visit.day, 8, 30));
    let act = Done { time: &time, device: screen, event: "recalibrated", by: visit.by, note: "to its aim" };
    let file = sheet::as_json(format!("{}-{station}.json", calendar.date(visit.day)), &[act], both);
    let told = format!("{screen} is recalibrated to its aim, and read.");
    drop_at(calendar.at(visit.day, 9, 58), Some(&told), file)
}

/// Something is done in the morning of `day`, before anybody reads, and written down by itself.
fn done(
    calendar: &Calendar,
    day: usize,
    device: &DeviceId,
    event: &'static str,
    by: &str,
    note: &'static str,
) -> Scene {
    let at = calendar.at(day, 8, 30);
    let name = format!("{}-{device}-{event}.csv", calendar.date(day));
    let file = sheet::of_event(name, &Done { time: &calendar.zone.show(at), device, event, by, note });
    let told = format!("{device}: {} ({note}).", event.replace('_', " "));
    drop_at(calendar.at(day, 8, 38), Some(&told), file)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;

    #[test]
    fn the_same_happens_every_time_and_all_of_it_before_today() {
        let config = Config::parse(CONFIG, "print_room.toml", std::path::Path::new("")).unwrap();
        let zone = LocalZone(config.site.zone);
        let today = NaiveDate::from_ymd_opt(2027, 3, 31).unwrap();
        let told = |today| story(&config.things, zone, today);
        let scenes = told(today);
        assert_eq!(scenes, told(today));
        assert!(scenes.is_sorted_by_key(|scene| scene.at));
        let (first, last) = (scenes.first().unwrap(), scenes.last().unwrap());
        assert!(first.at >= first_morning(zone, today));
        assert!(last.at < Calendar { zone, today }.at(STORY_DAYS, 0, 0));
        // Another day moves the dates and nothing else.
        let numbers = |scenes: &[Scene]| -> Vec<String> {
            let files = scenes.iter().filter_map(|scene| match &scene.deed {
                Some(Deed::Drop(file)) => Some(&file.text),
                _ => None,
            });
            files.map(|text| text.split(['-', ' ', ',', ':']).filter(|word| word.contains('.')).collect()).collect()
        };
        let other = told(NaiveDate::from_ymd_opt(2031, 11, 2).unwrap());
        assert_eq!(numbers(&scenes), numbers(&other));
        assert!(numbers(&scenes).len() > 200);
    }
}
