//! One voice and few words: `due`, `status` and `ageing` name the same day for the same act, and the daemon asks for a reading once.

use std::time::Duration;

use serde_json::Value;
use twinwhite::clock::Clock;
use twinwhite::daemon::{FileEnd, Notice};
use twinwhite::evaluate::Happened;
use twinwhite::ledger::entry::{self, Transition};
use twinwhite::simulate::Chance;
use twinwhite::units::{Days, Time};

use super::clock::Watch;
use super::site::{HEADER, LOFT, Site, day, lamp, quiet_weeks, screen};

// ------------------------------------------------------------------------------------------------- one voice

/// The loft, whose lamp cannot be turned, and burns `hours` a day and loses `share` of its light in each 1000 h, read weekly for
/// `weeks`.
fn fading(weeks: u32, hours: f64, share: f64, more: &str) -> Site {
    let loft = LOFT.replace("adjustable = [\"level\"]\n", "");
    fading_in(&loft.replace("kind = \"led\"", &format!("kind = \"led\"\n{more}")), weeks, hours, share)
}

fn fading_in(config: &str, weeks: u32, hours: f64, share: f64) -> Site {
    let site = Site::new(config);
    let mut chance = Chance::new(11);
    let rows = (0..weeks).map(|week| {
        let days = 7.0 * f64::from(week);
        let lx = 500.0 * libm::exp(-share * hours * days / 1000.0 + 0.004 * chance.normal());
        format!("{},loft-lamp,0.3457,0.3585,,{lx:.1},{:.0}\n", day(days), hours * days)
            + &screen(day(days), 146.0 + 0.5 * chance.normal())
    });
    site.ingest("weeks.csv", &(HEADER.to_owned() + &rows.collect::<String>()));
    site
}

fn due(site: &Site, within: u32, at: Time) -> Vec<Value> {
    site.json(&format!("due --within {within} --as-of {at}"))["due"].as_array().unwrap().clone()
}

fn of<'a>(list: &'a [Value], task: &str, device: &str) -> Option<&'a Value> {
    list.iter().find(|due| due["task"] == task && due["device"] == device)
}

fn has(due: &Value, source: &str) -> bool {
    due["sources"].as_array().unwrap().iter().any(|one| one == source)
}

#[test]
fn a_lamp_that_leaves_its_aim_is_due_on_the_day_that_ageing_names() {
    // ln 1.2 is lost after 4558 h of 0.04 each 1000 h: day 456 at 10 h; the screen follows nothing and stands still.
    let site = fading(52, 10.0, 0.04, "");
    let now = day(360.0);
    let ageing = site.json(&format!("ageing loft-lamp --as-of {now}"));
    let leaves = &ageing["leaves_aim"];
    let list = due(&site, 200, now);
    let replace = of(&list, "replace", "loft-lamp").unwrap_or_else(|| panic!("{list:?}"));
    assert!(has(replace, "lamp-life"), "{replace}");
    assert_eq!(replace["date"], leaves["act_by"], "{leaves}");
    let reason = replace["reason"].as_str().unwrap();
    for part in ["leaves its aim about ", "likely ", " to ", "it gets dimmer"] {
        assert!(reason.contains(part), "no {part:?} in {reason}");
    }
    // Outside the window there is no such line, and a lamp that stands still has none at all.
    assert_eq!(of(&due(&site, 7, now), "replace", "loft-lamp"), None);
    let still = Site::loft();
    still.ingest("quiet.csv", &quiet_weeks(52));
    assert!(due(&still, 3000, now).iter().all(|due| !has(due, "lamp-life")));
}

#[test]
fn a_display_that_leaves_its_aim_is_to_be_recalibrated() {
    let site = Site::loft();
    let mut chance = Chance::new(5);
    let rows = (0..40).map(|week| {
        let days = 7.0 * f64::from(week);
        let x = 0.3435 + 8e-6 * days + 0.0003 * chance.normal();
        format!("{},loft-screen,{x:.5},0.3550,{:.1},,\n", day(days), 146.0 + 0.5 * chance.normal())
            + &format!("{},loft-lamp,0.3457,0.3585,,{:.1},\n", day(days), 500.0 + 2.0 * chance.normal())
    });
    site.ingest("weeks.csv", &(HEADER.to_owned() + &rows.collect::<String>()));
    let now = day(275.0);
    let leaves = site.json(&format!("ageing loft-screen --as-of {now}"))["leaves_aim"].clone();
    let list = due(&site, 1500, now);
    let lines: Vec<&Value> =
        list.iter().filter(|due| due["task"] == "recalibrate" && due["device"] == "loft-screen").collect();
    assert_eq!(lines.len(), 1, "one line for one act: {list:?}");
    assert_eq!((&lines[0]["source"], &lines[0]["date"]), (&Value::from("display-drift"), &leaves["act_by"]));
}

#[test]
fn a_forecast_that_names_the_act_speaks_alone() {
    // The lamp dims and hangs on a dimmer: as the match comes to its limit, the forecast calls for turning it.
    let site = fading_in(LOFT, 66, 10.0, 0.04);
    let list = (0..35).map(|step| due(&site, 60, day(391.0 + 2.0 * f64::from(step)))).find(|list| {
        list.iter().any(|due| has(due, "forecast") && due["device"] == "loft-lamp" && due["task"] != "read")
    });
    let list = list.expect("an act on the lamp");
    assert!(list.iter().all(|due| !has(due, "lamp-life")), "{list:?}");
}

#[test]
fn rated_hours_end_on_one_day_also_where_the_counter_ran_on() {
    let site = fading(20, 10.0, 0.0, "rated_hours = 3000");
    // A new lamp on the old counter: it has burnt what came since, not what its predecessor did.
    site.ingest("new.csv", &format!("time,device,event\n{},loft-lamp,replaced\n", day(134.0)));
    let rows = (20..30).map(|week| {
        let days = 7.0 * f64::from(week);
        format!("{},loft-lamp,0.3457,0.3585,,{},{:.0}\n", day(days), 500 + week % 3, 10.0 * days)
    });
    site.ingest("more.csv", &(HEADER.to_owned() + &rows.collect::<String>()));
    let now = day(205.0);
    let rated = site.json(&format!("ageing loft-lamp --as-of {now}"))["rated"].clone();
    let list = due(&site, 1000, now);
    let replace = of(&list, "replace", "loft-lamp").unwrap_or_else(|| panic!("{list:?}"));
    assert!(has(replace, "rated-hours"), "{replace}");
    assert_eq!(replace["date"], rated["date"]);
    // 3000 h from 1330 on at 10 h a day: day 433, and not day 300.
    let date = Time::parse(&format!("{}T12:00:00Z", replace["date"].as_str().unwrap())).unwrap();
    assert!((date.since(day(433.0)).0).abs() < 4.0, "{date}");
}

#[test]
fn a_long_record_dates_the_end_of_useful_light_and_is_never_called_tm_21() {
    // 20 h a day, 0.03 each 1000 h: 70 % is left at 11 889 h, which is day 594; the record has 10 080 h. Its aim is left long before.
    let site = fading(73, 20.0, 0.03, "");
    let list = due(&site, 400, day(505.0));
    let replace = of(&list, "replace", "loft-lamp").unwrap_or_else(|| panic!("{list:?}"));
    let reasons: Vec<&str> = replace["reasons"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    let light = reasons.iter().find(|reason| reason.contains("70 % of its first light"));
    // Where the match is out its forecast speaks for the lamp.
    let light = light.unwrap_or_else(|| panic!("{list:?}"));
    assert!(light.contains("an estimate from one lamp by one meter") && light.contains("no TM-21 result"), "{light}");
    // A record of 5000 h has none.
    let short = fading(37, 20.0, 0.03, "");
    let none = |due: &Value| !due["reason"].as_str().unwrap().contains("first light");
    assert!(due(&short, 400, day(255.0)).iter().all(none));
}

#[test]
fn a_match_says_that_nothing_is_to_do_and_what_comes_next() {
    let site = Site::loft();
    site.ingest("quiet.csv", &quiet_weeks(10));
    // Later in the day than the readings.
    let at = day(64.3);
    let text = site.ok(&format!("status --as-of {at}"));
    let line = text
        .lines()
        .find(|line| line.contains("Nothing to do now; next reading of "))
        .unwrap_or_else(|| panic!("{text}"));
    let told = site.json(&format!("status --as-of {at}"))["stations"][0].clone();
    let call = &told["calls"][0];
    assert_eq!(call["act"], "read");
    assert!(
        line.contains(call["device"].as_str().unwrap()) && line.contains(call["reason"].as_str().unwrap()),
        "{line}"
    );
    // `due` has the same day for it.
    let list = due(&site, 60, at);
    let reading = of(&list, "read", call["device"].as_str().unwrap()).unwrap();
    assert_eq!(reading["date"], call["date"], "{list:?}");
}

#[test]
fn after_a_jump_the_first_advice_is_to_look_what_happened() {
    let site = Site::new(&LOFT.replace("adjustable = [\"level\"]\n", ""));
    site.ingest("quiet.csv", &quiet_weeks(10));
    let dimmed = HEADER.to_owned() + &lamp(day(70.0), 330.0) + &lamp(day(70.02), 330.0) + &screen(day(70.0), 146.0);
    site.ingest("dimmed.csv", &dimmed);
    let at = day(70.1);
    let told = |site: &Site| site.json(&format!("status --as-of {at}"))["stations"][0].clone();
    let before = told(&site);
    let advice: Vec<&str> = before["advice"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(advice[0].starts_with("loft-lamp jumped by "), "{advice:?}");
    assert!(advice[0].contains("twinwhite record setting_changed loft-lamp"), "{advice:?}");
    assert!(advice[1..].iter().any(|line| line.contains("replace it")), "{advice:?}");
    let list = due(&site, 60, at);
    let look = of(&list, "look-at-jump", "loft-lamp").unwrap_or_else(|| panic!("{list:?}"));
    assert!(look["reason"].as_str().unwrap().contains("its light jumped, and nobody wrote down why"), "{look}");
    // Once it is written down, what is left is to set it right.
    site.ok(&format!("record setting_changed loft-lamp --at {}", day(69.99)));
    site.ok(&format!("record cleaned loft-lamp --at {}", day(70.05)));
    let after = told(&site)["advice"].to_string();
    assert!(!after.contains("jumped by"), "{after}");
}

#[test]
fn an_act_has_one_day_in_status_and_in_due() {
    let site = fading(66, 10.0, 0.04, "");
    let at_risk = (0..35).map(|step| day(391.0 + 2.0 * f64::from(step))).find_map(|at| {
        let told = site.json(&format!("status --as-of {at}"))["stations"][0].clone();
        (told["verdict"] == "at-risk").then_some((at, told))
    });
    let (at, told) = at_risk.expect("some day it is at risk");
    let calls = told["calls"].as_array().unwrap();
    let act = calls.iter().find(|call| call["reason"].as_str().unwrap().contains("over the station's line"));
    let act = act.unwrap_or_else(|| panic!("{calls:?}"));
    let list = due(&site, 60, at);
    let same = list.iter().find(|due| due["device"] == act["device"] && due["task"] != "read");
    assert_eq!(same.map(|due| &due["date"]), Some(&act["date"]), "{list:?}");
    let advice: Vec<&str> = told["advice"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(advice.iter().any(|line| line.contains("Do it by ") || line.contains("Do it today")), "{advice:?}");
}

// ------------------------------------------------------------------------------------------------- few words

/// What was told of tasks.
#[derive(Default)]
struct Told(Vec<(Time, entry::Alert)>);

impl Told {
    async fn day(&mut self, watch: &mut Watch) -> Vec<Notice> {
        let said = watch.settle().await;
        for notice in &said {
            if let Notice::Happened(Happened::Alert(step)) = notice {
                self.0.push((watch.clock.now(), step.clone()));
            }
        }
        said
    }

    fn raised(&self) -> Vec<String> {
        let raised = self.0.iter().filter(|(_, step)| step.transition == Transition::Raised);
        raised.map(|(at, step)| format!("{} {} {}", &at.to_string()[..10], step.reason, step.subject)).collect()
    }
}

/// Both devices of the tower at their aims, with the scatter of a meter.
fn visit(at: Time, chance: &mut Chance) -> String {
    let mut near = |of: f64, by: f64| of + by * chance.normal();
    let (a, b, c, d) = (near(0.3127, 2e-4), near(0.3127, 2e-4), near(143.0, 0.5), near(500.0, 2.0));
    format!(
        "time,device,x,y,luminance_cd_m2,illuminance_lx\n{at},screen,{a:.5},0.3290,{c:.2},\n{at},lamp,{b:.5},0.3290,,{d:.1}\n"
    )
}

/// Lets the tower live from a Sunday on, read each `every` days at noon, and tells what was told.
async fn live(more: &str, days: u32, every: u32) -> Told {
    let start = Time::parse("2026-03-01T12:00:00Z").unwrap();
    let mut watch = Watch::start_with(&start.to_string(), more);
    let (mut told, mut chance) = (Told::default(), Chance::new(3));
    for gone in 0..days {
        while watch.clock.now() < start.plus(Days(f64::from(gone))) {
            watch.clock.advance(Duration::from_secs(12 * 3600 - 3));
            told.day(&mut watch).await;
        }
        if gone % every == 0 {
            watch.drop_in(&format!("day-{gone}.csv"), &visit(watch.clock.now(), &mut chance));
            let taken = |notice: &Notice| matches!(notice, Notice::File { end: FileEnd::Taken { .. }, .. });
            let mut turns = 0;
            while !told.day(&mut watch).await.iter().any(taken) {
                turns += 1;
                assert!(turns < 200, "day {gone} was not taken in");
                tokio::time::sleep(Duration::from_millis(5)).await;
            }
        }
    }
    watch.stop().await;
    told
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_reads_every_week_is_told_nothing_in_two_years() {
    let mondays = "[[reminder]]\ntask = \"read\"\ndevice = \"lamp\"\ncron = \"0 9 * * Mon\"\n";
    let told = live(mondays, 730, 7).await;
    assert_eq!(told.raised(), Vec::<String>::new());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_device_that_is_learnt_is_asked_for_once() {
    let told = live("", 120, 10).await;
    let learning: Vec<String> = told.raised().into_iter().filter(|line| line.contains(" learning ")).collect();
    // Nine days after the first reading, and not after each of the next.
    assert_eq!(learning, ["2026-03-10 learning read screen", "2026-03-10 learning read lamp"], "{:?}", told.raised());
    let over = told.0.iter().filter(|(_, step)| step.transition == Transition::Cleared && step.subject == "read lamp");
    let over: Vec<&str> = over.map(|(_, step)| step.reason.as_str()).collect();
    assert_eq!(over, ["condition-over"]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_reading_that_nobody_takes_is_asked_for_once_until_it_is_overdue() {
    // Read on the first day, and then no more.
    let told = live("", 100, 1000).await;
    let mut subjects: Vec<String> =
        told.raised().iter().map(|line| line.split_once(' ').unwrap().1.to_owned()).collect();
    let all = subjects.len();
    subjects.sort();
    subjects.dedup();
    assert_eq!(subjects.len(), all, "each thing once: {:?}", told.raised());
    assert!(all <= 6, "{:?}", told.raised());
}
