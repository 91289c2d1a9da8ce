//! What leaves when: groups, a channel that is dead for days, restarts, quiet hours, maintenance, telling again, the summary.
//! The daemon runs under a clock that is turned by hand; the channel is a program that can be made to fail.

use std::fs;
use std::path::Path;
use std::time::Duration;

use serde_json::{Value, json};
use twinwhite::acts;
use twinwhite::clock::Clock;
use twinwhite::daemon;
use twinwhite::ledger::checkpoint::SignedHead;
use twinwhite::ledger::entry::CameBy;
use twinwhite::ledger::store::SignedRow;
use twinwhite::ledger::{Ledger, OpenMode};
use twinwhite::pipeline::{self, Incoming, Taken};
use twinwhite::units::{Days, SiteId, Time};

use super::clock::Watch;
use super::site::{LOFT, Site, from_now};

const HOUR: Duration = Duration::from_secs(3600);

/// Fails while there is a file `down`; else keeps what it is given, whole, in the order of arrival.
const SCRIPT: &str = r#"cd "$1" || exit 9
if [ -e down ]; then echo 'nobody answers' >&2; exit 7; fi
n=$(ls | grep -c json); cat > part && mv part "$(printf %04d "$n").json"
"#;

/// A room whose folder holds a program for each of these channels.
fn room(channels: &[&str]) -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    let script = folder.path().join("tell.sh");
    fs::write(&script, SCRIPT).unwrap();
    let mut more = String::new();
    for id in channels {
        let to = folder.path().join(id);
        fs::create_dir(&to).unwrap();
        let run = json!(["/bin/sh", script, to]);
        more.push_str(&format!("\n[[channel]]\nid = \"{id}\"\nkind = \"command\"\nrun = {run}\n"));
    }
    (folder, more)
}

/// The groups that a channel took, in order.
fn told(folder: &Path, channel: &str) -> Vec<Value> {
    let mut names: Vec<_> = fs::read_dir(folder.join(channel)).unwrap().map(|entry| entry.unwrap().path()).collect();
    names.retain(|path| path.extension().is_some_and(|kind| kind == "json"));
    names.sort();
    names.iter().map(|path| serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()).collect()
}

fn ledger(folder: &Path) -> Ledger {
    Ledger::open(&folder.join("state/ledger.db"), &SiteId::new("tower").unwrap(), OpenMode::ReadOnly).unwrap()
}

/// The heads that the ledger in this folder keeps, the smallest first.
fn signed_heads(folder: &Path) -> Vec<SignedRow> {
    ledger(folder).signed_heads(-1, u32::MAX).unwrap()
}

fn entries(folder: &Path) -> i64 {
    ledger(folder).head().unwrap().size
}

/// Kind, subject and what is told, of each message of a group.
fn messages(group: &Value) -> Vec<String> {
    let word = |message: &Value, key: &str| message[key].as_str().unwrap().to_owned();
    let one = |m: &Value| format!("{} {} {}", word(m, "kind"), word(m, "subject"), word(m, "state"));
    group["messages"].as_array().unwrap().iter().map(one).collect()
}

/// Lets the daemon come round until `channel` has taken so many groups.
async fn until_told(watch: &mut Watch, channel: &str, count: usize) -> Vec<Value> {
    for _ in 0..1500 {
        let all = told(watch.folder.path(), channel);
        if all.len() >= count {
            return all;
        }
        watch.settle().await;
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    panic!("'{channel}' was told {} groups, not {count}", told(watch.folder.path(), channel).len());
}

/// Lets time pass by the hour, so that everything that falls due is done.
async fn pass(watch: &mut Watch, hours: u32) {
    for _ in 0..hours {
        watch.clock.advance(HOUR);
        watch.settle().await;
        tokio::time::sleep(Duration::from_millis(15)).await;
        watch.settle().await;
    }
}

fn bad_file(watch: &Watch, name: &str) {
    watch.drop_in(name, &format!("time,device,lustre\n2026-03-02T09:00:00Z,lamp,{}\n", name.len()));
}

/// A bad file whose content no other has.
async fn refuse(watch: &mut Watch, number: usize) {
    watch.drop_in(&format!("bad-{number}.csv"), &format!("time,device,lustre\n2026-03-02T09:00:00Z,lamp,{number}\n"));
    watch.settle().await;
    watch.settle().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn ten_alarms_are_two_messages() {
    let (folder, more) = room(&["mail"]);
    let mut watch = Watch::start_in(folder, "2026-03-02T10:00:00Z", &more);
    refuse(&mut watch, 0).await;
    let first = until_told(&mut watch, "mail", 1).await;
    assert_eq!(messages(&first[0]), ["file-refused bad-0.csv raised"]);
    let sent = watch.clock.now();
    for number in 1..10 {
        refuse(&mut watch, number).await;
    }
    assert_eq!(told(watch.folder.path(), "mail").len(), 1, "the others wait for five minutes");
    let all = until_told(&mut watch, "mail", 2).await;
    assert!(watch.clock.now().since(sent) >= Days(4.9 / 1440.0));
    assert_eq!(messages(&all[1]).len(), 9, "{:?}", messages(&all[1]));
    assert_eq!(all[1]["headline"], "bad-1.csv: the file was refused, and 8 more");
    pass(&mut watch, 2).await;
    assert_eq!(told(watch.folder.path(), "mail").len(), 2, "nothing is told twice");
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn three_days_of_a_dead_channel_lose_nothing_and_end_in_one_message() {
    let (folder, more) = room(&["mail", "hook"]);
    let more = format!("{more}\n[messages]\nrepeat_h = 0\n");
    let down = folder.path().join("mail/down");
    fs::write(&down, "").unwrap();
    let mut watch = Watch::start_in(folder, "2026-03-02T10:00:00Z", &more);
    for number in 0..12 {
        refuse(&mut watch, number).await;
        pass(&mut watch, 6).await;
    }
    let others: Vec<String> = told(watch.folder.path(), "hook").iter().flat_map(messages).collect();
    assert!(others.contains(&"channel-failing mail raised".to_owned()), "{others:?}");
    assert!(told(watch.folder.path(), "mail").is_empty());
    fs::remove_file(down).unwrap();
    let groups = until_told(&mut watch, "mail", 1).await;
    pass(&mut watch, 2).await;
    let mut expected: Vec<String> = (0..12).map(|number| format!("file-refused bad-{number}.csv raised")).collect();
    let mut all = messages(&groups[0]);
    all.sort();
    expected.sort();
    assert_eq!(all, expected);
    assert_eq!(told(watch.folder.path(), "mail").len(), 1, "one message");
    let others: Vec<String> = told(watch.folder.path(), "hook").iter().flat_map(messages).collect();
    assert_eq!(others.iter().filter(|told| told.starts_with("channel-failing mail")).count(), 2, "{others:?}");
    assert!(others.contains(&"channel-failing mail cleared".to_owned()), "{others:?}");
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_channel_does_not_take_for_long_is_given_up_and_can_be_sent_again() {
    let (folder, more) = room(&["mail"]);
    let down = folder.path().join("mail/down");
    fs::write(&down, "").unwrap();
    let more = format!("{more}\n[messages]\ngive_up_days = 2\nrepeat_h = 0\n");
    let mut watch = Watch::start_in(folder, "2026-03-02T10:00:00Z", &more);
    refuse(&mut watch, 0).await;
    pass(&mut watch, 54).await;
    let config = watch.config();
    let mut ledger = daemon::open_ledger(&config, watch.clock.as_ref(), false).unwrap();
    let lost = ledger.given_up_messages().unwrap();
    assert_eq!(lost.iter().map(|row| row.key.as_str()).collect::<Vec<_>>(), ["tower/1/raised/mail"]);
    fs::remove_file(down).unwrap();
    assert_eq!(acts::resend(&mut ledger, &config, &[], None, watch.clock.now()).unwrap(), 1);
    let groups = until_told(&mut watch, "mail", 1).await;
    assert_eq!(messages(&groups[0]), ["file-refused bad-0.csv raised"]);
    assert!(ledger.given_up_messages().unwrap().is_empty());
    watch.stop().await;
}

/// Somebody set it right before the daemon was begun: nobody is told that it is wrong, but that it was.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_right_again_is_not_told_as_wrong() {
    let (folder, more) = room(&["mail"]);
    let watch = Watch::start_in(folder, "2026-03-02T10:00:00Z", &more);
    let config = watch.config();
    let folder = watch.stop().await;
    let mut ledger =
        Ledger::open(&folder.path().join("state/ledger.db"), &SiteId::new("tower").unwrap(), OpenMode::Existing)
            .unwrap();
    let mut take = |read: &str, at: &str| {
        let rows = format!("time,device,x,y,illuminance_lx\n{read},lamp,0.3127,0.3290,500\n");
        let incoming = Incoming {
            name: "by-hand.csv",
            bytes: rows.as_bytes(),
            folder_device: None,
            from: CameBy::Ingest,
            operator: None,
        };
        match pipeline::take(&mut ledger, &config, &incoming, Time::parse(at).unwrap()).unwrap() {
            Taken::Accepted(receipt) => receipt,
            other => panic!("{other:?}"),
        }
    };
    take("2025-10-01T10:00:00Z", "2026-03-02T10:20:00Z");
    take("2026-03-02T10:21:00Z", "2026-03-02T10:22:00Z");
    drop(ledger);
    let mut watch = Watch::start_in(folder, "2026-03-02T10:25:00Z", &more);
    let about_age = |groups: &[Value]| -> Vec<String> {
        groups.iter().flat_map(messages).filter(|told| told.starts_with("reading-overdue lamp ")).collect()
    };
    let until = Time::parse("2026-03-02T10:34:00Z").unwrap();
    while watch.clock.now() < until {
        watch.clock.advance(Duration::from_secs(60));
        watch.settle().await;
        assert_eq!(about_age(&told(watch.folder.path(), "mail")), Vec::<String>::new(), "{}", watch.clock.now());
    }
    pass(&mut watch, 2).await;
    assert_eq!(about_age(&told(watch.folder.path(), "mail")), ["reading-overdue lamp cleared"]);
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_restart_repeats_nothing_and_keeps_the_five_minutes() {
    let (folder, more) = room(&["mail"]);
    let mut watch = Watch::start_in(folder, "2026-03-02T10:00:00Z", &more);
    refuse(&mut watch, 0).await;
    until_told(&mut watch, "mail", 1).await;
    refuse(&mut watch, 1).await;
    let stopped = watch.clock.now();
    let folder = watch.stop().await;
    let mut watch = Watch::start_in(folder, &stopped.to_string(), &more);
    watch.settle().await;
    assert_eq!(told(watch.folder.path(), "mail").len(), 1);
    let all = until_told(&mut watch, "mail", 2).await;
    assert_eq!(messages(&all[1]), ["file-refused bad-1.csv raised"]);
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn quiet_hours_end_in_one_message() {
    let (folder, more) = room(&["mail"]);
    let more = format!("{more}\n[quiet]\nfrom = \"20:00\"\nuntil = \"08:00\"\n");
    let mut watch = Watch::start_in(folder, "2026-03-02T21:00:00Z", &more);
    for number in 0..3 {
        refuse(&mut watch, number).await;
    }
    pass(&mut watch, 10).await;
    assert!(told(watch.folder.path(), "mail").is_empty(), "it is night");
    pass(&mut watch, 1).await;
    let groups = until_told(&mut watch, "mail", 1).await;
    assert_eq!(messages(&groups[0]).len(), 3);
    assert!(watch.clock.now() >= Time::parse("2026-03-03T08:00:00Z").unwrap());
    watch.stop().await;
}

/// Rows of both devices at their aims, one of each on eight evenings; the lamp gives `last` at the newest.
fn evenings(last: f64) -> String {
    let mut rows = "time,device,x,y,luminance_cd_m2,illuminance_lx\n".to_owned();
    for day in 1..=8 {
        let lx = if day == 8 { last } else { 500.0 + f64::from(day % 3) };
        rows.push_str(&format!("2026-03-{day:02}T20:30:00Z,screen,0.3127,0.3290,{:.1},\n", 143.0 + f64::from(day % 2)));
        rows.push_str(&format!("2026-03-{day:02}T20:31:00Z,lamp,0.3127,0.3290,,{lx}\n"));
        if day == 8 {
            rows.push_str(&format!("2026-03-{day:02}T20:41:00Z,lamp,0.3127,0.3290,,{lx}\n"));
        }
    }
    rows
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_match_that_is_excepted_passes_also_where_its_cause_speaks_for_it() {
    let (folder, more) = room(&["mail"]);
    let more = format!("{more}\n[quiet]\nfrom = \"20:00\"\nuntil = \"08:00\"\nexcept = [\"match-out\"]\n");
    let mut watch = Watch::start_in(folder, "2026-03-08T21:00:00Z", &more);
    watch.drop_in("evenings.csv", &evenings(330.0));
    refuse(&mut watch, 0).await;
    let groups = until_told(&mut watch, "mail", 1).await;
    let told_now = messages(&groups[0]);
    assert!(told_now.contains(&"off-aim lamp raised".to_owned()), "{told_now:?}");
    assert!(!told_now.iter().any(|told| told.starts_with("file-refused")), "that waits: {told_now:?}");
    let headline = groups[0]["headline"].as_str().unwrap();
    assert!(headline.starts_with("lamp: 34 % dimmer than its aim; the match at desk is out"), "{headline}");
    let said = groups[0]["messages"][0]["lines"].to_string();
    let (look, set) = (said.find("Look first whether a dimmer or dial was turned"), said.find("Bring lamp back"));
    assert!(look.is_some() && look < set, "{said}");
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn maintenance_holds_messages_until_its_end() {
    let (folder, more) = room(&["mail"]);
    let mut watch = Watch::start_in(folder, "2026-03-02T10:00:00Z", &more);
    let config = watch.config();
    let mut ledger = daemon::open_ledger(&config, watch.clock.as_ref(), false).unwrap();
    let now = watch.clock.now();
    let until = now.plus(Days(2.0));
    let unknown = acts::begin_maintenance(&mut ledger, &config, Some("attic"), until, "painting", None, now);
    assert!(unknown.unwrap_err().to_string().contains("'attic'"));
    acts::begin_maintenance(&mut ledger, &config, None, until, "painting", None, now).unwrap();
    refuse(&mut watch, 0).await;
    pass(&mut watch, 47).await;
    assert!(told(watch.folder.path(), "mail").is_empty());
    pass(&mut watch, 2).await;
    let groups = until_told(&mut watch, "mail", 1).await;
    assert_eq!(messages(&groups[0]), ["file-refused bad-0.csv raised"]);
    // Ended sooner, what waits is told at once.
    let now = watch.clock.now();
    let id = acts::begin_maintenance(&mut ledger, &config, None, now.plus(Days(9.0)), "again", None, now).unwrap();
    bad_file(&watch, "other.csv");
    pass(&mut watch, 1).await;
    assert_eq!(told(watch.folder.path(), "mail").len(), 1);
    acts::end_maintenance(&mut ledger, &config, id, None, watch.clock.now()).unwrap();
    assert_eq!(messages(&until_told(&mut watch, "mail", 2).await[1]), ["file-refused other.csv raised"]);
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_nobody_acknowledges_is_told_again_and_its_end_says_how_long_it_took() {
    let (folder, more) = room(&["mail"]);
    let more = format!("{more}\n[messages]\nrepeat_h = 24\n");
    let mut watch = Watch::start_in(folder, "2026-03-02T10:00:00Z", &more);
    refuse(&mut watch, 0).await;
    until_told(&mut watch, "mail", 1).await;
    pass(&mut watch, 25).await;
    let stopped = watch.clock.now();
    let folder = watch.stop().await;
    // The daemon that hears of the end is not the one that told of the beginning.
    let mut watch = Watch::start_in(folder, &stopped.to_string(), &more);
    let again = until_told(&mut watch, "mail", 2).await;
    assert_eq!(messages(&again[1]), ["file-refused bad-0.csv still"]);
    assert_eq!(again[1]["headline"], "bad-0.csv: the file was refused - still, for 24 hours now");
    assert_eq!(again[1]["messages"][0]["since"], again[0]["messages"][0]["at"]);
    let config = watch.config();
    let mut ledger = daemon::open_ledger(&config, watch.clock.as_ref(), false).unwrap();
    acts::acknowledge(&mut ledger, &config, 1, None, watch.clock.now()).unwrap();
    let end = until_told(&mut watch, "mail", 3).await;
    assert_eq!(messages(&end[2]), ["file-refused bad-0.csv cleared"]);
    assert!(end[2]["headline"].as_str().unwrap().contains("closed after 25 hours"), "{}", end[2]["headline"]);
    let lines = end[2]["messages"][0]["lines"].to_string();
    assert!(lines.contains("It stood from 2026-03-02 10:00 to ") && !lines.contains("Put it right"), "{lines}");
    pass(&mut watch, 48).await;
    assert_eq!(told(watch.folder.path(), "mail").len(), 3);
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_summary_comes_once_a_morning_and_never_takes_silence_for_health() {
    let (folder, more) = room(&["mail"]);
    let more = format!("{more}\n[messages]\nsummary = \"08:00\"\n");
    let mut watch = Watch::start_in(folder, "2026-03-02T07:00:00Z", &more);
    pass(&mut watch, 2).await;
    let first = until_told(&mut watch, "mail", 1).await;
    assert_eq!(first[0]["headline"], "This morning: desk unknown - nothing was ever read");
    let rows = "time,device,x,y,luminance_cd_m2,illuminance_lx\n2026-03-02T09:00:00Z,screen,0.3127,0.3290,143,\n\
                2026-03-02T09:05:00Z,lamp,0.3127,0.3290,,500\n";
    watch.drop_in("first.csv", rows);
    pass(&mut watch, 24).await;
    let second = until_told(&mut watch, "mail", 2).await;
    let said = second[1]["messages"][0]["lines"].to_string();
    assert!(said.contains("2 readings came in during the last 24 hours"), "{said}");
    // Whoever keeps the message has the newest head: its code to compare by eye, its text to check.
    let lines = second[1]["messages"][0]["lines"].as_array().unwrap();
    let lines: Vec<&str> = lines.iter().map(|line| line.as_str().unwrap()).collect();
    let head = SignedHead::find(&lines.join("\n")).unwrap();
    let told = format!("Signed head of the ledger at {} entries, code {}.", head.checkpoint.head.size, head.code);
    assert!(lines.iter().any(|line| line.starts_with(&told)), "{told} {said}");
    let kept = signed_heads(watch.folder.path()).into_iter().find(|kept| kept.note == head.note);
    assert!(kept.is_some(), "the ledger has it too: {head:?}");
    pass(&mut watch, 24).await;
    let third = until_told(&mut watch, "mail", 3).await;
    let headline = third[2]["headline"].as_str().unwrap();
    assert!(headline.ends_with("nothing came in since yesterday, last reading 2 Mar 2026"), "{headline}");
    assert_eq!(third.len(), 3, "one a day");
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_head_is_signed_an_hour_after_the_last_if_there_is_news() {
    let mut watch = Watch::start_in(tempfile::tempdir().unwrap(), "2026-03-02T10:00:00Z", "");
    let folder = watch.folder.path().to_owned();
    let rows = "time,device,x,y,luminance_cd_m2,illuminance_lx\n2026-03-02T09:00:00Z,screen,0.3127,0.3290,143,\n\
                2026-03-02T09:05:00Z,lamp,0.3127,0.3290,,500\n";
    watch.settle().await;
    watch.drop_in("first.csv", rows);
    watch.settle().await;
    watch.settle().await;
    let first = signed_heads(&folder);
    assert_eq!(first.len(), 1, "one at the beginning, and none within the hour: {first:?}");
    watch.clock.advance(HOUR / 2);
    watch.settle().await;
    assert_eq!(signed_heads(&folder), first);
    pass(&mut watch, 1).await;
    let second = signed_heads(&folder);
    assert_eq!((second.len(), second.first()), (2, first.first()), "{second:?}");
    let apart = second[1].time.since(second[0].time);
    assert!(apart >= Days(1.0 / 24.0) && apart < Days(2.0 / 24.0), "{apart:?}");
    assert_eq!(second[1].head.size, entries(&folder), "it covers all there is");
    // Hours without an entry are hours without a head.
    pass(&mut watch, 5).await;
    assert_eq!((entries(&folder), signed_heads(&folder)), (second[1].head.size, second.clone()));
    refuse(&mut watch, 1).await;
    pass(&mut watch, 2).await;
    let third = signed_heads(&folder);
    assert!(third.len() > second.len() && third.starts_with(&second), "{third:?}");
    watch.stop().await;
}

#[test]
fn status_tells_of_a_channel_that_fails_and_of_maintenance() {
    let site = Site::new(&format!("{LOFT}\n[[channel]]\nid = \"desk\"\nkind = \"command\"\nrun = [\"/bin/false\"]\n"));
    assert_eq!(site.json("status")["channels"][1]["failing_since"], Value::Null);
    let daemon = site.daemon();
    site.write("inbox/bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    daemon.wait_for(&["Messages through 'desk' do not get through"]);
    assert!(daemon.stop().success());
    let said = site.ok("status");
    assert!(
        said.contains("Messages through 'desk' do not get through since ") && said.contains(": 1 message waits.\n"),
        "{said}"
    );
    assert!(site.json("status")["channels"][1]["failing_since"].is_string());
    let until = from_now(3.0);
    site.ok(&format!("--operator ines maintenance desk --until {until} --reason painting"));
    assert!(site.ok("status").contains(": painting, ines (as typed). Its messages wait until then.\n"));
    assert_eq!(site.json("status")["maintenance"][0]["reason"], "painting");
    site.audit();
}
