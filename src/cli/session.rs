//! What every command needs: the configuration, the ledger, the clock, and who is asking.

use std::env;
use std::path::{Path, PathBuf};

use chrono::{NaiveDate, NaiveTime};

use super::args::{AsOf, Cli, KnownAt};
use super::fail::{Failure, Kind};
use super::operator;
use crate::clock::Clock;
use crate::config::find::{self, Platform, Surroundings};
use crate::config::{Config, NamedFile};
use crate::daemon;
use crate::ledger::{Body, Entry, Ledger, OpenMode};
use crate::reading::{Operator, ThingKind};
use crate::rebuild;
use crate::say;
use crate::site::Station;
use crate::units::{DeviceId, StationId, Time};
use crate::zone::LocalZone;

/// One call of the program.
pub struct Session<'a> {
    /// The configuration that is used.
    pub config: Config,
    /// Where it was found.
    pub config_file: PathBuf,
    /// The clock.
    pub clock: &'a dyn Clock,
    /// Who is doing this, as far as that can be known.
    pub operator: Option<Operator>,
}

/// What a query is asked of.
pub struct Asked<'a> {
    /// With the configuration that holds for the answer.
    pub session: Session<'a>,
    /// What is known.
    pub ledger: Ledger,
    /// The instant that the answer speaks of.
    pub as_of: Time,
    /// That instant, where `--as-of` gave one.
    pub given: Option<Time>,
    /// Whether it speaks of now, as known now.
    pub is_now: bool,
}

/// The file that `--config` named or that is found in the usual places.
pub fn config_file(cli: &Cli) -> Result<PathBuf, Failure> {
    let surroundings = Surroundings {
        named: cli.config.clone(),
        folder: env::current_dir()?,
        variables: env::vars_os().filter_map(|(k, v)| Some((k.into_string().ok()?, v.into_string().ok()?))).collect(),
        platform: Platform::HERE,
    };
    Ok(find::find(&surroundings)?)
}

impl<'a> Session<'a> {
    /// Reads the configuration.
    pub fn open(cli: &Cli, clock: &'a dyn Clock) -> Result<Self, Failure> {
        let config_file = config_file(cli)?;
        let config = find::load(&config_file)?;
        let operator = operator::operator(cli.operator.as_deref(), &config.things)?;
        Ok(Self { config, config_file, clock, operator })
    }

    /// The ledger, to write to it; begun where there is none.
    pub fn ledger(&self) -> Result<Ledger, Failure> {
        Ok(daemon::open_ledger(&self.config, self.clock, false)?)
    }

    /// The ledger, only to read; an empty one in memory where none was begun yet, since nothing is known then.
    pub fn reader(&self) -> Result<Ledger, Failure> {
        let path = self.config.paths.state.join(daemon::LEDGER_FILE);
        if path.exists() {
            Ok(Ledger::open(&path, &self.config.site.id, OpenMode::ReadOnly)?)
        } else {
            Ok(Ledger::in_memory(&self.config.site.id)?)
        }
    }

    /// What a query is asked of: the ledger and the configuration of now, or of the instant whose knowledge shall answer.
    pub fn asked(self, when: &AsOf, known: &KnownAt) -> Result<Asked<'a>, Failure> {
        let given = when.as_of.is_some().then(|| self.as_of(when)).transpose()?;
        let Some(text) = &known.known_at else {
            let ledger = self.reader()?;
            return Ok(Asked {
                as_of: given.unwrap_or_else(|| self.clock.now()),
                given,
                is_now: given.is_none(),
                ledger,
                session: self,
            });
        };
        let zone = self.zone();
        let at = self.instant("--known-at", text)?;
        let nothing = || {
            let message =
                format!("--known-at {}: the ledger knew nothing yet, not even a configuration", zone.show(at));
            Failure::new(Kind::NotFound, message)
        };
        let now = self.reader()?;
        let last = now.last_entry_by(at)?.ok_or_else(nothing)?;
        let pruned = now.pruned_since(last)?;
        if pruned > 0 {
            let readings = say::count(u64::try_from(pruned).unwrap_or(0), "reading");
            eprintln!(
                "Known then were also the spectra of {readings}, which were taken out since: what rests on them is missing here."
            );
        }
        let path = self.config.paths.state.join(daemon::LEDGER_FILE);
        let ledger = rebuild::as_it_was(&path, &self.config.site.id, last, &self.config)?;
        let (seq, _) = ledger.config_in_force()?.ok_or_else(nothing)?;
        let Some(Entry { body: Body::Config(written), .. }) = ledger.entry(seq)? else { return Err(nothing()) };
        let files: Vec<NamedFile> = written.files.iter().map(NamedFile::from).collect();
        let config =
            Config::parse_with(&written.text, &format!("entry {seq}"), Path::new("."), &files).map_err(|mistakes| {
                let message = format!("the configuration in force then is not understood by this version:\n{mistakes}");
                Failure::new(Kind::Config, message)
            })?;
        let session = Self { config, ..self };
        let given = given.map(|given| given.min(at));
        Ok(Asked { as_of: given.unwrap_or(at), given, is_now: false, ledger, session })
    }

    /// The site's local time.
    pub fn zone(&self) -> LocalZone {
        LocalZone(self.config.site.zone)
    }

    /// The instant a query is for.
    pub fn as_of(&self, when: &AsOf) -> Result<Time, Failure> {
        match &when.as_of {
            None => Ok(self.clock.now()),
            Some(text) => self.instant("--as-of", text),
        }
    }

    /// An instant as it was typed after `option`; a bare day means its end.
    pub fn instant(&self, option: &str, text: &str) -> Result<Time, Failure> {
        self.typed(option, text, NaiveTime::from_hms_opt(23, 59, 59).unwrap_or(NaiveTime::MIN))
    }

    /// An instant as it was typed after `option`; a bare day means its beginning.
    pub fn beginning(&self, option: &str, text: &str) -> Result<Time, Failure> {
        self.typed(option, text, NaiveTime::MIN)
    }

    fn typed(&self, option: &str, text: &str, of_a_day: NaiveTime) -> Result<Time, Failure> {
        match text.trim().parse::<NaiveDate>() {
            Ok(day) => Ok(self.zone().at(day, of_a_day)),
            Err(_) => self.zone().read(text).map_err(|bad| Failure::new(Kind::Usage, format!("{option}: {bad}"))),
        }
    }

    /// The display or lamp that `name` stands for.
    pub fn device(&self, name: &str) -> Result<DeviceId, Failure> {
        let things = &self.config.things;
        let known = things.displays.iter().map(|d| &d.id).chain(things.lamps.iter().map(|l| &l.id));
        find_named(name, known, "display or lamp", DeviceId::as_str).cloned()
    }

    /// The display, lamp, paper or instrument that `name` stands for.
    pub fn thing(&self, name: &str) -> Result<(DeviceId, ThingKind), Failure> {
        let things = &self.config.things;
        let all: Vec<(DeviceId, ThingKind)> =
            things.ids().filter_map(|id| Some((DeviceId::new(id).ok()?, things.kind_of(id)?))).collect();
        find_named(name, all.iter(), "display, lamp, paper or instrument", |(id, _)| id.as_str()).cloned()
    }

    /// The station that `name` stands for.
    pub fn station(&self, name: &str) -> Result<&Station, Failure> {
        let stations = self.config.things.stations.iter();
        find_named(name, stations, "station", |station: &Station| StationId::as_str(&station.id))
    }
}

fn find_named<'t, T>(
    name: &str,
    known: impl Iterator<Item = &'t T>,
    what: &str,
    id: impl Fn(&T) -> &str,
) -> Result<&'t T, Failure> {
    let known: Vec<&T> = known.collect();
    if let Some(found) = known.iter().find(|thing| id(thing) == name) {
        return Ok(found);
    }
    let names: Vec<&str> = known.iter().map(|thing| id(thing)).collect();
    let message = format!("there is no {what} '{name}' in the configuration; there is {}", names.join(", "));
    Err(Failure::new(Kind::NotFound, message))
}
