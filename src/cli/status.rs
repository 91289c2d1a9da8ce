//! `status`: the verdict first, then why, then what to do.

pub mod json;

use std::fs;
use std::process::ExitCode;
use std::time::Duration;

use super::args::When;
use super::fail::Failure;
use super::output;
use super::rules;
use super::session::{Asked, Session};
use super::{maintenance, messages};
use crate::alert;
use crate::config::Config;
use crate::daemon;
use crate::ledger::Store;
use crate::measured::{Judged, judged};
use crate::publish::beat::{self, Beat};
use crate::say;
use crate::site::Station;
use crate::station::rules::Measured;
use crate::station::{EstimatedWhite, Judgement, Reason, Verdict};
use crate::units::{DeviceId, Time};
use crate::zone::LocalZone;

/// A file that lies in the inbox longer than this is worth a line.
const LONG_IN_INBOX: Duration = Duration::from_secs(600);

struct Answer<'a> {
    station: &'a Station,
    judgement: Judgement,
    measured: Measured,
    since: Option<Time>,
    /// When its screen and its lamp were last read.
    last_read: [(&'a DeviceId, Option<Time>); 2],
}

/// Answers `status`.
pub fn status(
    session: Session,
    station: Option<&str>,
    exit_code: bool,
    when: &When,
    json: bool,
) -> Result<ExitCode, Failure> {
    let Asked { session, mut ledger, as_of, is_now: now, .. } = session.asked(&when.at, &when.known)?;
    let stations: Vec<&Station> = match station {
        Some(name) => vec![session.station(name)?],
        None => session.config.things.stations.iter().collect(),
    };
    let (answers, channels, maintenance, blind) = ledger.read(|store| {
        let answers = answers(store, &session.config, stations, as_of)?;
        let channels = if now { messages::channel_states(store, &session.config)? } else { Vec::new() };
        let maintenance = if now { store.standing_maintenance(as_of)? } else { Vec::new() };
        let site = session.config.site.id.as_str();
        let blind = now && store.standing_alert(alert::Kind::Blind.word(), site)?.is_some();
        Ok::<_, Failure>((answers, channels, maintenance, blind))
    })?;
    let beat = if now { beat::last(&session.config) } else { None };
    let worst = answers.iter().map(|answer| answer.judgement.verdict).max().unwrap_or(Verdict::Unknown);
    if json {
        let heartbeat = beat.map(|beat| json::Heartbeat::of(beat, as_of, blind));
        let stations = answers.iter().map(|answer| json::StationStatus::of(answer, &session.zone())).collect();
        let maintenance = maintenance.into_iter().map(|row| maintenance::as_json(row, as_of)).collect();
        output::json(&json::Status { as_of, stations, heartbeat, channels, maintenance })?;
    } else {
        let troubled = blind || channels.iter().any(|channel| channel.failing_since.is_some());
        let mut text: String = answers.iter().map(|answer| as_text(answer, troubled, &session.zone())).collect();
        if now {
            let zone = session.zone();
            for work in &maintenance {
                let about = work.subject.as_deref();
                let named = &session.config.things.operators;
                let by = work.operator.as_ref().map(|by| say::who(by, work.operator_by, named));
                let line = say::maintenance(about, work.until, &work.reason, by.as_deref(), &zone);
                text.push_str(&format!("{line}\n"));
            }
            text.push_str(&messages::troubles(&channels, &zone));
            text.push_str(&waiting_files(&session.config));
            if let Some(fails) = beat.as_ref().and_then(|beat| beat.url_fails.as_ref()) {
                let since = zone.show(fails.since);
                text.push_str(&format!("The heartbeat's address fails since {since}: {}.\n", fails.why));
            }
            if let Some(fails) = beat.as_ref().and_then(|beat| beat.heads_fail.as_ref()) {
                text.push_str(&format!("Since {}: {}.\n", zone.show(fails.since), fails.why));
            }
            let gone = daemon::is_running(&session.config.paths.state) == Some(false);
            let seen = match (&beat, blind) {
                (Some(Beat { ended_at: None, at, .. }), _) if gone => say::Seen::CutOff(*at),
                (Some(Beat { ended_at: None, at, .. }), true) => say::Seen::Blind(Some(*at)),
                (None, true) => say::Seen::Blind(None),
                (Some(Beat { ended_at: Some(at), .. }), _) => say::Seen::Ended(*at),
                (Some(last), false) => say::Seen::At(last.at),
                (None, false) => say::Seen::Never,
            };
            text.push_str(&format!("{}\n", say::of_watch(seen, as_of)));
        } else {
            let moment = say::of_moment(as_of, when.known.known_at.as_deref(), &session.zone());
            text.push_str(&format!("{moment}\n"));
        }
        output::print(&text)?;
    }
    Ok(if exit_code { ExitCode::from(worst.exit_code()) } else { ExitCode::SUCCESS })
}

/// What `status` prints of all stations.
pub fn of_all(store: &Store, config: &Config, as_of: Time) -> Result<String, Failure> {
    let answers = answers(store, config, config.things.stations.iter().collect(), as_of)?;
    Ok(answers.iter().map(|answer| as_text(answer, false, &LocalZone(config.site.zone))).collect())
}

fn answers<'a>(
    store: &Store,
    config: &Config,
    stations: Vec<&'a Station>,
    as_of: Time,
) -> Result<Vec<Answer<'a>>, Failure> {
    stations.into_iter().map(|station| answer(store, config, station, as_of)).collect()
}

fn answer<'a>(store: &Store, config: &Config, station: &'a Station, as_of: Time) -> Result<Answer<'a>, Failure> {
    let Judged { estimates, judgement, measured, since } = judged(store, config, station, as_of)?;
    let last = |device| (device, estimates.get(device).and_then(|known| known.state.last_read()));
    let last_read = [last(&station.display), last(&station.lamp)];
    Ok(Answer { station, judgement, measured, since, last_read })
}

/// `troubled`: the watch itself needs somebody, so that nothing may sound as if all were well.
fn as_text(answer: &Answer, troubled: bool, zone: &LocalZone) -> String {
    let judgement = &answer.judgement;
    let since = answer.since.map(|since| format!(", since {}", zone.show(since))).unwrap_or_default();
    let mut text = format!(
        "{}: {}{since}\n",
        output::strong(judgement.station.as_str()),
        output::strong(say::verdict(judgement.verdict))
    );
    text.push_str(&format!(
        "  risk of being out of tolerance: now {}, within {} {}\n",
        say::percent(judgement.risk),
        say::span(answer.station.horizon),
        say::percent(judgement.risk_within)
    ));
    if matches!(judgement.verdict, Verdict::Matched | Verdict::AtRisk) {
        text.push_str(&format!("  {}\n", say::until(judgement, answer.station.max_risk.get(), zone)));
    }
    text.push_str(&format!("  {}\n", say::last_read(&answer.last_read, judgement.as_of, zone)));
    text.push_str("  why:\n");
    for reason in &judgement.reasons {
        text.push_str(&format!("    {}\n", say::reason(reason, zone)));
    }
    if let Some(line) = say::print_line(judgement, answer.station) {
        text.push_str(&format!("    {line}\n"));
    }
    // The white of what was never read is only its aim; that is no knowledge to show.
    let never = |device| judgement.reasons.contains(&Reason::NeverRead { device });
    let screen = (!never(answer.station.display.clone())).then_some(("screen", &judgement.display_white));
    let paper = (!never(answer.station.lamp.clone())).then_some(("paper", &judgement.paper_white));
    for (name, white) in screen.into_iter().chain(paper) {
        text.push_str(&format!("    {name:<6} {}\n", white_text(white)));
    }
    let mut to_do = say::to_do(judgement, answer.station.max_risk.get(), zone);
    if troubled {
        to_do = say::without_all_clear(to_do);
    }
    if !to_do.is_empty() {
        text.push_str("  what to do:\n");
        for line in to_do {
            text.push_str(&format!("    {line}\n"));
        }
    }
    text.push_str(&rules::as_text(answer.station, &answer.measured));
    text.push('\n');
    text
}

fn white_text(white: &EstimatedWhite) -> String {
    let level = white
        .luminance
        .map(|l| format!(", {:.0} ± {:.0} cd/m²", l.mean, l.sd))
        .unwrap_or_else(|| ", luminance never read".to_owned());
    let sd = white.u.sd.max(white.v.sd);
    format!("{} ± {sd:.4} in u′v′{level}", say::white_uv(white.uv()))
}

/// Files that have been lying in the inbox for long: nothing is taken in, or they are not finished.
fn waiting_files(config: &Config) -> String {
    let long = |path: &std::path::Path| {
        let age = fs::metadata(path).ok().and_then(|found| found.modified().ok()).and_then(|at| at.elapsed().ok());
        age.is_some_and(|age| age > LONG_IN_INBOX)
    };
    // Whoever types every reading in needs no inbox.
    if !config.paths.inbox.exists() {
        return String::new();
    }
    let Ok(entries) = fs::read_dir(&config.paths.inbox) else {
        return format!("The inbox {} cannot be read.\n", config.paths.inbox.display());
    };
    let files = entries.flatten().filter(|entry| {
        let hidden = entry.file_name().to_string_lossy().starts_with('.');
        !hidden && entry.file_type().is_ok_and(|kind| kind.is_file()) && long(&entry.path())
    });
    match files.count() {
        0 => String::new(),
        1 => "1 file has been lying in the inbox for over 10 minutes: it is incomplete, or `twinwhite run` is not running.\n"
            .to_owned(),
        count => format!(
            "{count} files have been lying in the inbox for over 10 minutes: they are incomplete, or `twinwhite run` is \
             not running.\n"
        ),
    }
}
