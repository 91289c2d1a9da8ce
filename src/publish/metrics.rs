//! The metrics as OpenMetrics text (OpenMetrics 1.0), which the classic text format's readers take too: gauges only, base units in the names.
//!
//! [`text()`] is all there is to it: the daemon puts it into a file for a text collector, and a page may serve the same.

use std::fmt::{Error, Write};
use std::fs;

use prometheus_client::collector::Collector;
use prometheus_client::encoding::{DescriptorEncoder, EncodeMetric, text};
use prometheus_client::metrics::MetricType;
use prometheus_client::metrics::gauge::ConstGauge;
use prometheus_client::registry::{Registry, Unit};

use super::beat::Beat;
use crate::alert::Kind;
use crate::config::Config;
use crate::evaluate::Estimates;
use crate::ledger::{LedgerError, Store};
use crate::station::{self, Verdict};
use crate::units::{Hours, Time};

/// SQLite's journal lies beside the ledger under this ending.
const JOURNAL: &str = "-wal";
const REASON: &str = ".reason.txt";

/// A label's name and value.
type Label = (&'static str, String);

/// One family of figures.
#[derive(Debug)]
struct Family {
    name: &'static str,
    help: &'static str,
    unit: Option<Unit>,
    values: Vec<(Vec<Label>, f64)>,
}

/// All families, in the order in which they are written.
#[derive(Debug, Default)]
struct Figures(Vec<Family>);

/// Everything as of the beat, as text.
pub fn text(store: &Store, config: &Config, ledger_file: &std::path::Path, beat: &Beat) -> Result<String, LedgerError> {
    let figures = gather(store, config, ledger_file, beat)?;
    let mut registry = Registry::with_prefix("twinwhite");
    registry.register_collector(Box::new(figures));
    let mut out = String::new();
    // A text in memory takes everything; nothing of ours fails to be written as one.
    if text::encode(&mut out, &registry).is_err() {
        let _ = out.write_str("# EOF\n");
    }
    Ok(out)
}

impl Collector for Figures {
    fn encode(&self, mut encoder: DescriptorEncoder) -> Result<(), Error> {
        for family in self.0.iter().filter(|family| !family.values.is_empty()) {
            let unit = family.unit.as_ref();
            let mut metric = encoder.encode_descriptor(family.name, family.help, unit, MetricType::Gauge)?;
            for (labels, value) in &family.values {
                ConstGauge::new(*value).encode(metric.encode_family(&labels.as_slice())?)?;
            }
        }
        Ok(())
    }
}

impl Figures {
    fn family(&mut self, name: &'static str, help: &'static str, unit: Option<Unit>, values: Vec<(Vec<Label>, f64)>) {
        self.0.push(Family { name, help, unit, values });
    }

    fn single(&mut self, name: &'static str, help: &'static str, unit: Option<Unit>, value: f64) {
        self.family(name, help, unit, vec![(Vec::new(), value)]);
    }
}

fn gather(store: &Store, config: &Config, ledger_file: &std::path::Path, beat: &Beat) -> Result<Figures, LedgerError> {
    let mut figures = Figures::default();
    let version = vec![("version", beat.version.clone())];
    figures.family("build_info", "The program that wrote this; always 1.", None, vec![(version, 1.0)]);
    figures.single(
        "heartbeat_timestamp",
        "When the watch last looked through everything, since 1970. Older than three minutes: nobody watches.",
        Some(Unit::Seconds),
        unix(beat.at),
    );
    if config.publish.url.is_some() {
        let fails = f64::from(u8::from(beat.url_fails.is_some()));
        figures.single(
            "heartbeat_url_failing",
            "1 while the outgoing URL of the heartbeat fails, else 0.",
            None,
            fails,
        );
    }
    of_stations(store, config, beat.at, &mut figures)?;
    let waiting = beat.files_waiting as f64;
    figures.single("inbox_waiting_files", "Files in the inbox that are not whole yet.", None, waiting);
    let quarantined = quarantined(config);
    figures.single("quarantine_files", "Refused files that lie in quarantine.", None, quarantined as f64);
    of_messages(store, config, &mut figures)?;
    let standing = store.standing_alerts()?;
    let of_kind = |kind: Kind| {
        let count = standing.iter().filter(|row| row.kind == kind.word()).count();
        (vec![("kind", kind.word().to_owned())], count as f64)
    };
    let kinds = Kind::ALL.into_iter().map(of_kind).collect();
    figures.family("standing_alerts", "Alerts that are not over, by kind.", None, kinds);
    figures.single("ledger_entries", "Entries of the ledger.", None, beat.entries as f64);
    let size = |path: &std::path::Path| fs::metadata(path).map_or(0.0, |found| found.len() as f64);
    let mut journal = ledger_file.as_os_str().to_owned();
    journal.push(JOURNAL);
    figures.single("store_size", "Size of the ledger's file.", Some(Unit::Bytes), size(ledger_file));
    figures.single("journal_size", "Size of the journal beside it.", Some(Unit::Bytes), size(journal.as_ref()));
    Ok(figures)
}

fn of_stations(store: &Store, config: &Config, at: Time, figures: &mut Figures) -> Result<(), LedgerError> {
    let things = &config.things;
    let mut estimates = Estimates::new(store, config, at);
    let (mut verdicts, mut risks, mut within) = (Vec::new(), Vec::new(), Vec::new());
    for station in &things.stations {
        estimates.read_station(station)?;
        let seen = station::assess(&estimates.seen(station)?, at);
        let label = || ("station", station.id.to_string());
        for verdict in Verdict::ALL {
            let labels = vec![label(), ("verdict", verdict.word().to_owned())];
            verdicts.push((labels, f64::from(u8::from(verdict == seen.verdict))));
        }
        risks.push((vec![label()], seen.risk));
        within.push((vec![label()], seen.risk_within));
    }
    let ratio = || Some(Unit::Other("ratio".to_owned()));
    figures.family(
        "station_verdict",
        "1 for the verdict of the station as of the heartbeat, 0 for the others.",
        None,
        verdicts,
    );
    figures.family("station_risk", "Probability that the match is out of tolerance now.", ratio(), risks);
    let help = "Probability that the match is out of tolerance at any time within the station's horizon.";
    figures.family("station_risk_within_horizon", help, ratio(), within);

    let (mut ages, mut last_readings) = (Vec::new(), Vec::new());
    let (mut burnt, mut left) = (Vec::new(), Vec::new());
    let lamps = things.lamps.iter().map(|lamp| &lamp.id);
    for device in lamps.chain(things.displays.iter().map(|display| &display.id)) {
        estimates.read([device])?;
        let Some(estimate) = estimates.get(device) else { continue };
        let label = || vec![("device", device.to_string())];
        if let Some(read) = estimate.state.last_read() {
            ages.push((label(), at.since(read).0 * 86_400.0));
            last_readings.push((label(), unix(read)));
        }
        let Some(lamp) = things.lamp(device) else { continue };
        let Some(used) = estimate.state.hours_in_use() else { continue };
        if let Some(counter) = used.counter_at(at) {
            let own = counter - used.began_at;
            burnt.push((label(), seconds(own)));
            left.extend(lamp.rated_hours.map(|Hours(rated)| (label(), seconds(rated - own))));
        }
    }
    let time = || Some(Unit::Seconds);
    figures.family("device_reading_age", "Age of the newest reading as of the heartbeat.", time(), ages);
    let help = "When the newest reading was made, since 1970.";
    figures.family("device_last_reading_timestamp", help, time(), last_readings);
    figures.family("lamp_burnt", "How long the lamp has burnt, as read or carried on.", time(), burnt);
    let help = "What is left of the lamp's rated life; negative once it is over.";
    figures.family("lamp_rated_left", help, time(), left);
    Ok(())
}

fn of_messages(store: &Store, config: &Config, figures: &mut Figures) -> Result<(), LedgerError> {
    let counted = store.messages_by_channel()?;
    let log = std::iter::once(crate::outbox::LOG_CHANNEL);
    let mut channels: Vec<&str> = log.chain(config.channels.iter().map(|channel| channel.id.as_str())).collect();
    for (channel, ..) in &counted {
        if !channels.contains(&channel.as_str()) {
            channels.push(channel);
        }
    }
    let of = |pick: fn(&(String, i64, i64)) -> i64| {
        let one = |channel: &&str| {
            let count = counted.iter().find(|row| row.0 == **channel).map_or(0, pick);
            (vec![("channel", (*channel).to_owned())], count as f64)
        };
        channels.iter().map(one).collect()
    };
    figures.family("messages_due", "Messages that wait to be delivered.", None, of(|row| row.1));
    figures.family("messages_given_up", "Messages that could not be delivered.", None, of(|row| row.2));
    Ok(())
}

fn quarantined(config: &Config) -> usize {
    let Ok(entries) = fs::read_dir(&config.paths.quarantine) else { return 0 };
    let names = entries.flatten().map(|entry| entry.file_name().to_string_lossy().into_owned());
    names.filter(|name| !name.starts_with('.') && !name.ends_with(REASON)).count()
}

fn unix(time: Time) -> f64 {
    time.micros() as f64 / 1e6
}

fn seconds(hours: f64) -> f64 {
    hours * 3600.0
}
