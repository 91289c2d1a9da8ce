//! What is due: the command, and the daemon's reminders under a clock that is turned by hand.

use std::time::Duration;

use serde_json::Value;
use twinwhite::acts;
use twinwhite::daemon::{FileEnd, Notice};
use twinwhite::evaluate::Happened;
use twinwhite::ledger::entry::{self, Transition};
use twinwhite::ledger::{Ledger, OpenMode};
use twinwhite::units::{SiteId, Time};

use super::clock::Watch;
use super::site::{HEADER, LOFT, Site, day, from_now, lamp, screen};

const HOUR: Duration = Duration::from_secs(3600);

fn at(text: &str) -> Time {
    Time::parse(text).unwrap()
}

// ------------------------------------------------------------------------------------------------- the command

/// The loft with a lamp that counts its hours, an instrument with a certificate, and reminders.
fn busy_loft() -> Site {
    let loft = LOFT.replace("kind = \"led\"", "kind = \"led\"\nrated_hours = 2000");
    let site = Site::new(&format!(
        "{loft}\n\
         [[instrument]]\nid = \"spectro-1\"\ncertificate_until = 2025-03-20\n\
         [[reminder]]\ntask = \"read\"\ndevice = \"loft-lamp\"\ncron = \"0 9 * * Mon\"\n\
         [[reminder]]\ntask = \"recalibrate\"\ndevice = \"loft-screen\"\ncron = \"0 9 1 * *\"\n\
         [[reminder]]\ntask = \"sweep the booth\"\ncron = \"30 8 * * Fri\"\n"
    ));
    let rows = (0..8).map(|week| {
        let (time, hours) = (day(7.0 * f64::from(week)), 1100.0 + 70.0 * f64::from(week));
        let scatter = 0.5 * f64::from(week % 3) - 0.5;
        format!("{time},loft-lamp,0.3457,0.3585,,{},{hours}\n", 500.0 + 4.0 * scatter) + &screen(time, 146.0 + scatter)
    });
    site.ingest("weeks.csv", &(HEADER.to_owned() + &rows.collect::<String>()));
    // Its level is ten times too low: held.
    site.ingest("slip.csv", &format!("{HEADER}{},loft-lamp,0.3457,0.3585,,50,\n", day(50.0)));
    site
}

fn due(site: &Site, words: &str) -> Vec<Value> {
    site.json(&format!("due {words}"))["due"].as_array().unwrap().clone()
}

#[track_caller]
fn line<'a>(list: &'a [Value], task: &str, device: Option<&str>) -> &'a Value {
    let fits = |due: &&Value| due["task"] == task && due["device"].as_str() == device;
    list.iter().find(fits).unwrap_or_else(|| panic!("no {task} of {device:?} in {list:?}"))
}

#[test]
fn one_list_from_every_source() {
    let site = busy_loft();
    let list = due(&site, &format!("--within 45 --as-of {}", day(51.0)));
    for due in &list {
        for field in ["date", "task", "reason", "source"] {
            assert!(due[field].as_str().is_some_and(|text| !text.is_empty()), "{field}: {due}");
        }
        assert!(due["device"].is_string() || due["device"].is_null(), "{due}");
        assert!(due["station"].is_string() || due["station"].is_null(), "{due}");
        assert_eq!(due["date"].as_str().unwrap().len(), 10, "{due}");
        assert!(due["reasons"].as_array().unwrap().len() >= due["sources"].as_array().unwrap().len(), "{due}");
    }
    let dates: Vec<&str> = list.iter().map(|due| due["date"].as_str().unwrap()).collect();
    assert!(dates.is_sorted(), "{dates:?}");
    let reading = line(&list, "read", Some("loft-lamp"));
    // Day 51 is Wednesday, 26 February 2025; the lamp was read on Monday the 24th.
    assert_eq!(reading["date"], "2025-03-03");
    let sources: Vec<&str> = reading["sources"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(sources.contains(&"reminder") && sources.contains(&"max-age"), "{reading}");
    assert_eq!(reading["station"], "desk");
    assert_eq!(line(&list, "recalibrate", Some("loft-screen"))["date"], "2025-03-01");
    assert_eq!(line(&list, "sweep the booth", None)["date"], "2025-02-28");
    let certificate = line(&list, "certificate", Some("spectro-1"));
    assert_eq!(
        (&certificate["date"], &certificate["source"]),
        (&Value::from("2025-03-20"), &Value::from("certificate"))
    );
    assert_eq!(line(&list, "look-at-held", Some("loft-lamp"))["source"], "held");
    let lamp = due(&site, &format!("--within 90 --as-of {}", day(51.0)));
    let lamp = line(&lamp, "replace", Some("loft-lamp"));
    assert_eq!((&lamp["source"], &lamp["station"]), (&Value::from("rated-hours"), &Value::Null));
    assert!(lamp["reason"].as_str().unwrap().contains("likely"), "{lamp}");
    // (40 + 490)/(5 + 49) = 9.815 hours a day; 410 h are left on day 49: 41.8 days.
    assert_eq!(lamp["date"], "2025-04-07");
}

#[test]
fn a_second_reading_of_one_moment_waits_in_the_list() {
    let site = Site::loft();
    let moment = day(3.0);
    site.ingest("both.csv", &(HEADER.to_owned() + &lamp(moment, 500.0) + &lamp(moment, 490.0)));
    let list = due(&site, &format!("--within 7 --as-of {}", day(4.0)));
    let held = line(&list, "look-at-held", Some("loft-lamp"));
    assert!(held["reason"].as_str().unwrap().contains("1 reading is held back"), "{held}");
}

#[test]
fn the_list_in_words() {
    let site = busy_loft();
    let pinned = |name: &str, text: &str| {
        insta::with_settings!({ prepend_module_to_snapshot => false, omit_expression => true },
            { insta::assert_snapshot!(name, text) });
    };
    pinned("due-ahead", &site.ok(&format!("due --as-of {}", day(51.0))));
    pinned("due-overdue", &site.ok(&format!("due --within 7 --as-of {}", day(130.0))));
    pinned("due-new", &Site::loft().ok(&format!("due --as-of {}", day(0.0))));
}

#[test]
fn where_nothing_is_due_it_says_until_when() {
    let site = Site::loft();
    site.ingest("quiet.csv", &super::site::quiet_weeks(10));
    let said = site.ok(&format!("due --within 5 --as-of {}", day(64.0)));
    assert!(said.starts_with("Nothing is due until 16 Mar 2025. Next: read "), "{said}");
    assert_eq!(due(&site, &format!("--within 5 --as-of {}", day(64.0))), Vec::<Value>::new());
    let said = site.run("due --within -1");
    assert_eq!(said.code, 2, "{}", said.err);
    let said = site.run("due --within 99999 --json");
    assert_eq!(said.code, 2, "{}", said.err);
}

#[test]
fn a_run_is_served_by_what_it_asks_for() {
    let reminders = "[[reminder]]\ntask = \"read\"\ndevice = \"loft-lamp\"\ncron = \"0 12 * * *\"\n\
                     [[reminder]]\ntask = \"clean\"\ndevice = \"loft-lamp\"\ncron = \"0 12 * * *\"\n\
                     [[reminder]]\ntask = \"recalibrate\"\ndevice = \"loft-screen\"\ncron = \"0 12 * * *\"\n";
    let site = Site::new(&format!("{LOFT}{reminders}"));
    let overdue = |days: f64| {
        let list = due(&site, &format!("--as-of {}", from_now(days)));
        let missed = list.into_iter().filter(|due| {
            due["reasons"].as_array().unwrap().iter().any(|why| why.as_str().unwrap().contains("not served"))
        });
        let mut missed: Vec<String> = missed.map(|due| due["task"].as_str().unwrap().to_owned()).collect();
        missed.sort();
        missed
    };
    site.ingest("first.csv", &format!("{HEADER}{}", screen(from_now(-0.01), 146.0)));
    assert_eq!(overdue(0.0), Vec::<String>::new(), "nobody missed a run before the ledger began");
    assert_eq!(overdue(3.0), ["clean", "read", "recalibrate"]);
    // What was done half a day before the run serves it. The clock says now, so what is done now serves a run that comes within
    // twelve hours; one of the next two days' questions falls behind such a run.
    site.ok("record cleaned loft-lamp");
    site.ok("record recalibrated loft-screen");
    site.ok("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500");
    let (soon, later) = (overdue(0.5), overdue(2.5));
    assert!(soon.is_empty(), "{soon:?}");
    assert_eq!(later, ["clean", "read", "recalibrate"], "the next run asks again");
}

#[test]
fn check_shows_the_next_times_and_certificates() {
    let in_days = |days: f64| from_now(days).to_string()[..10].to_owned();
    let site = Site::new(&format!(
        "{LOFT}[[instrument]]\nid = \"spectro-1\"\ncertificate_until = {}\n\
         [[instrument]]\nid = \"spectro-2\"\ncertificate_until = {}\n\
         [[reminder]]\ntask = \"read\"\ndevice = \"loft-lamp\"\ncron = \"30 0 9 * * Mon\"\n\
         [[reminder]]\ntask = \"sweep\"\ncron = \"0 9 1 */4 *\"\n",
        in_days(-10.0),
        in_days(10.0)
    ));
    let text = site.ok("check");
    assert!(text.contains("the certificate of 'spectro-1' ended on "), "{text}");
    assert!(text.contains("the certificate of 'spectro-2' ends soon, on "), "{text}");
    let times = |name: &str| {
        let line = text.lines().find(|line| line.contains(name)).unwrap();
        line.split("next ").nth(1).unwrap().split(", ").map(str::to_owned).collect::<Vec<_>>()
    };
    let seconds = times("read loft-lamp (30 0 9 * * Mon)");
    assert!(seconds.len() == 3 && seconds.iter().all(|time| time.contains(" 09:00:30")), "{seconds:?}");
    // Three runs over twelve months see both clock changes.
    let months = times("sweep (0 9 1 */4 *)");
    assert!(months.len() == 3 && months.iter().all(|time| time.contains(" 09:00 +0")), "{months:?}");
}

// ------------------------------------------------------------------------------------------------- the daemon

const READ_ON_MONDAYS: &str = "[[reminder]]\ntask = \"read\"\ndevice = \"lamp\"\ncron = \"0 9 * * Mon\"\n";

/// What was told of tasks, with the calendar's time at which it was.
#[derive(Default)]
struct Told {
    steps: Vec<(Time, entry::Alert)>,
    messages: usize,
}

impl Told {
    fn hear(&mut self, now: Time, notices: Vec<Notice>) {
        for notice in notices {
            match notice {
                Notice::Happened(Happened::Alert(step)) => self.steps.push((now, step)),
                Notice::Message(message) if ["task-due", "reminder"].contains(&message.kind.as_str()) => {
                    self.messages += 1;
                }
                _ => {}
            }
        }
    }

    /// When an alert of this subject was raised.
    fn raised(&self, subject: &str) -> Vec<String> {
        let raised = |step: &entry::Alert| step.transition == Transition::Raised && step.subject == subject;
        self.steps.iter().filter(|(_, step)| raised(step)).map(|(at, _)| at.to_string()).collect()
    }

    fn reasons(&self, subject: &str, transition: Transition) -> Vec<&str> {
        let of = |step: &&entry::Alert| step.transition == transition && step.subject == subject;
        self.steps.iter().map(|(_, step)| step).filter(of).map(|step| step.reason.as_str()).collect()
    }
}

/// Lets time pass in steps up to `until`.
async fn pass(watch: &mut Watch, told: &mut Told, step: Duration, until: &str) {
    use twinwhite::clock::Clock;
    while watch.clock.now() < at(until) {
        watch.clock.advance(step - Duration::from_secs(3));
        let said = watch.settle().await;
        told.hear(watch.clock.now(), said);
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn each_run_is_told_once_within_a_minute() {
    let mut watch = Watch::start_with("2026-03-02T08:58:00Z", READ_ON_MONDAYS);
    let mut told = Told::default();
    pass(&mut watch, &mut told, Duration::from_secs(10), "2026-03-02T09:02:00Z").await;
    let first = told.raised("read lamp");
    assert!(
        first.len() == 1 && first[0].as_str() >= "2026-03-02T09:00:00Z" && first[0].as_str() < "2026-03-02T09:01:00Z"
    );
    pass(&mut watch, &mut told, 6 * HOUR, "2026-03-22T20:00:00Z").await;
    let raised = told.raised("read lamp");
    let days: Vec<&str> = raised.iter().map(|at| &at[..10]).collect();
    assert_eq!(days, ["2026-03-02", "2026-03-09", "2026-03-16"]);
    assert_eq!(told.reasons("read lamp", Transition::Cleared), ["due-again", "due-again"]);
    // One message a run; what ends sends none, and a device that nobody has read yet is given time.
    assert_eq!(told.raised("read screen").len(), 0);
    assert_eq!(told.messages, 3);
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn three_weeks_asleep_are_caught_up_once() {
    let mut watch = Watch::start_with("2026-03-02T08:00:00Z", READ_ON_MONDAYS);
    let mut told = Told::default();
    told.hear(at("2026-03-02T08:00:00Z"), watch.settle().await);
    assert_eq!(told.raised("read lamp"), Vec::<String>::new());
    // A suspend: only the calendar goes on. The next wake, at most seconds later, tells.
    watch.clock.set_calendar(at("2026-03-24T10:00:00Z"));
    told.hear(at("2026-03-24T10:00:00Z"), watch.settle().await);
    assert_eq!(told.raised("read lamp").len(), 1);
    let detail = &told.steps.iter().find(|(_, step)| step.subject == "read lamp").unwrap().1.detail;
    assert!(detail.contains("Reminder of Mon 23 Mar 2026, 09:00 (0 9 * * Mon)."), "{detail}");
    pass(&mut watch, &mut told, 6 * HOUR, "2026-03-29T20:00:00Z").await;
    assert_eq!(told.raised("read lamp").len(), 1);
    // Off instead of asleep: the ledger knows what was told.
    let folder = watch.stop().await;
    let mut watch = Watch::start_in(folder, "2026-03-29T21:00:00Z", READ_ON_MONDAYS);
    let mut told = Told::default();
    told.hear(at("2026-03-29T21:00:00Z"), watch.settle().await);
    assert_eq!(told.raised("read lamp").len(), 0);
    let folder = watch.stop().await;
    let mut watch = Watch::start_in(folder, "2026-04-15T10:00:00Z", READ_ON_MONDAYS);
    told.hear(at("2026-04-15T10:00:00Z"), watch.settle().await);
    assert_eq!(told.raised("read lamp").len(), 1);
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_clock_that_is_set_back_tells_nothing_twice() {
    let hourly = "[[reminder]]\ntask = \"look at the booth\"\ncron = \"0 * * * *\"\n";
    let mut watch = Watch::start_with("2026-03-02T08:30:00Z", &format!("{READ_ON_MONDAYS}{hourly}"));
    let mut told = Told::default();
    pass(&mut watch, &mut told, Duration::from_secs(300), "2026-03-02T09:20:00Z").await;
    watch.clock.set_calendar(at("2026-03-02T08:20:00Z"));
    pass(&mut watch, &mut told, Duration::from_secs(300), "2026-03-02T09:50:00Z").await;
    assert_eq!(told.raised("read lamp").len(), 1);
    assert_eq!(told.raised("look at the booth").len(), 1);
    pass(&mut watch, &mut told, Duration::from_secs(300), "2026-03-02T10:10:00Z").await;
    assert_eq!(told.raised("look at the booth").len(), 2, "the next run comes in its time");
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn both_clock_changes_tell_once() {
    let nightly = "[[reminder]]\ntask = \"look at the booth\"\ncron = \"30 1 * * *\"\n";
    for (start, end, runs) in [
        // In Lisbon 01:30 never comes on 29 March 2026: the run is right after the gap, at 01:00 UTC.
        ("2026-03-28T12:00:00Z", "2026-03-30T12:00:00Z", ["2026-03-29T01:00:00Z", "2026-03-30T00:30:00Z"]),
        // And comes twice on 25 October: the run is its first, at 00:30 UTC.
        ("2026-10-24T12:00:00Z", "2026-10-26T12:00:00Z", ["2026-10-25T00:30:00Z", "2026-10-26T01:30:00Z"]),
    ] {
        let mut watch = Watch::start_with(start, nightly);
        let mut told = Told::default();
        pass(&mut watch, &mut told, Duration::from_secs(1800), end).await;
        assert_eq!(told.raised("look at the booth"), runs);
        watch.stop().await;
    }
}

fn reading(time: &str, hours: f64) -> String {
    format!(
        "time,device,x,y,luminance_cd_m2,illuminance_lx,hours\n{time},screen,0.3127,0.3290,143,,\n\
         {time},lamp,0.3127,0.3290,,500,{hours}\n"
    )
}

async fn take_in(watch: &mut Watch, told: &mut Told, name: &str, text: &str) {
    use twinwhite::clock::Clock;
    watch.drop_in(name, text);
    for _ in 0..40 {
        let said = watch.settle().await;
        let taken = |notice: &Notice| matches!(notice, Notice::File { end: FileEnd::Taken { .. }, .. });
        let done = said.iter().any(taken);
        told.hear(watch.clock.now(), said);
        if done {
            return;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("{name} was not taken in");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_read_need_not_be_told_and_what_is_read_is_over() {
    // It begins on a Tuesday: Monday's run was before its time.
    let mut watch = Watch::start_with("2026-03-03T08:00:00Z", READ_ON_MONDAYS);
    let mut told = Told::default();
    take_in(&mut watch, &mut told, "sunday.csv", &reading("2026-03-03T08:00:00Z", 100.0)).await;
    pass(&mut watch, &mut told, 2 * HOUR, "2026-03-08T18:00:00Z").await;
    assert_eq!(told.raised("read lamp"), Vec::<String>::new());
    take_in(&mut watch, &mut told, "evening.csv", &reading("2026-03-08T18:00:00Z", 150.0)).await;
    pass(&mut watch, &mut told, 2 * HOUR, "2026-03-10T08:00:00Z").await;
    assert_eq!(told.raised("read lamp"), Vec::<String>::new(), "read the evening before");
    pass(&mut watch, &mut told, HOUR, "2026-03-16T09:00:00Z").await;
    let before = told.raised("read lamp").len();
    assert!(before >= 1, "the run of the 16th, or a forecast before it");
    pass(&mut watch, &mut told, HOUR, "2026-03-16T11:00:00Z").await;
    take_in(&mut watch, &mut told, "late.csv", &reading("2026-03-16T10:30:00Z", 230.0)).await;
    pass(&mut watch, &mut told, HOUR, "2026-03-16T13:00:00Z").await;
    assert_eq!(told.reasons("read lamp", Transition::Cleared).last(), Some(&"condition-over"));
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn ones_own_words_end_with_an_acknowledgement() {
    use twinwhite::clock::Clock;
    let weekly = "[[reminder]]\ntask = \"sweep\"\ncron = \"0 9 * * Mon\"\n";
    let mut watch = Watch::start_with("2026-03-02T08:00:00Z", weekly);
    let mut told = Told::default();
    pass(&mut watch, &mut told, HOUR, "2026-03-02T10:00:00Z").await;
    assert_eq!(told.raised("sweep").len(), 1);
    let id = told.steps.iter().find(|(_, step)| step.subject == "sweep").unwrap().1.id;
    let config = watch.config();
    let site = SiteId::new("tower").unwrap();
    let mut ledger = Ledger::open(&watch.folder.path().join("state/ledger.db"), &site, OpenMode::Existing).unwrap();
    acts::acknowledge(&mut ledger, &config, id, None, watch.clock.now()).unwrap();
    pass(&mut watch, &mut told, 6 * HOUR, "2026-03-08T20:00:00Z").await;
    assert_eq!(ledger.standing_alert("reminder", "sweep").unwrap(), None);
    assert_eq!(told.raised("sweep").len(), 1);
    pass(&mut watch, &mut told, HOUR, "2026-03-09T10:00:00Z").await;
    assert_eq!(told.raised("sweep").len(), 2);
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn certificates_and_rated_hours_are_told_when_near_and_when_over() {
    let more = "[[instrument]]\nid = \"spectro-1\"\ncertificate_until = 2026-04-10\n\
                [[lamp]]\nid = \"old\"\nkind = \"led\"\naim = { white = \"D65\", illuminance_lx = 500 }\nrated_hours = 1000\n\
                [[station]]\nid = \"shelf\"\ndisplay = \"screen\"\nlamp = \"old\"\npaper = \"grey\"\n\
                tolerance = { delta_uv = 0.005, luminance_ratio = 1.2 }\n";
    let mut watch = Watch::start_with("2026-03-02T08:00:00Z", more);
    let mut told = Told::default();
    let row = |time: &str, hours: f64| {
        format!("time,device,x,y,illuminance_lx,hours\n{time},old,0.3127,0.3290,500,{hours}\n")
    };
    take_in(&mut watch, &mut told, "one.csv", &row("2026-02-25T08:00:00Z", 780.0)).await;
    take_in(&mut watch, &mut told, "two.csv", &row("2026-03-02T08:00:00Z", 820.0)).await;
    pass(&mut watch, &mut told, 6 * HOUR, "2026-04-14T12:00:00Z").await;
    let days = |subject: &str| told.raised(subject).iter().map(|at| at[..10].to_owned()).collect::<Vec<_>>();
    assert_eq!(days("certificate spectro-1"), ["2026-03-12", "2026-04-11"]);
    let words = ["certificate-ends", "certificate-ended"];
    assert_eq!(told.reasons("certificate spectro-1", Transition::Raised), words);
    // Eight hours a day, as was thought before the first count: 900 h after 10 days, 1000 h after 22.5.
    assert_eq!(days("replace old"), ["2026-03-12", "2026-03-25"]);
    assert!(told.steps.iter().all(|(at, step)| step.kind != "task-due" || &at.to_string()[11..13] >= "08"), "at night");
    take_in(&mut watch, &mut told, "new.csv", "time,device,event\n2026-04-14T11:00:00Z,old,replaced\n").await;
    pass(&mut watch, &mut told, HOUR, "2026-04-14T17:00:00Z").await;
    assert_eq!(told.reasons("replace old", Transition::Cleared), ["due-again", "condition-over"]);
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_line_that_was_written_later_missed_nothing() {
    let watch = Watch::start_with("2026-03-02T08:00:00Z", "");
    let folder = watch.stop().await;
    let mut watch = Watch::start_in(folder, "2026-03-10T10:00:00Z", READ_ON_MONDAYS);
    let mut told = Told::default();
    let reminded = |told: &Told| told.steps.iter().filter(|(_, step)| step.run.is_some()).count();
    pass(&mut watch, &mut told, 6 * HOUR, "2026-03-15T10:00:00Z").await;
    assert_eq!(reminded(&told), 0);
    let folder = watch.stop().await;
    // Another line beside it: what was off meanwhile missed the run of a line that stood before and after.
    let more = format!("{READ_ON_MONDAYS}[[reminder]]\ntask = \"sweep\"\ncron = \"0 9 * * Mon\"\n");
    let mut watch = Watch::start_in(folder, "2026-03-17T10:00:00Z", &more);
    told.hear(at("2026-03-17T10:00:00Z"), watch.settle().await);
    assert_eq!(reminded(&told), 1);
    watch.stop().await;
}
