//! What every command needs: the configuration, the ledger, the clock, and who is asking.

use std::env;
use std::path::PathBuf;

use chrono::{NaiveDate, NaiveTime};

use super::args::{AsOf, Cli};
use super::fail::{Failure, Kind};
use crate::clock::Clock;
use crate::config::Config;
use crate::config::find::{self, Platform, Surroundings};
use crate::daemon;
use crate::ledger::{Ledger, OpenMode};
use crate::site::Station;
use crate::units::{DeviceId, OperatorId, StationId, Time};
use crate::zone::LocalZone;

/// One call of the program.
pub struct Session<'a> {
    /// The configuration that is used.
    pub config: Config,
    /// Where it was found.
    pub config_file: PathBuf,
    /// The clock.
    pub clock: &'a dyn Clock,
    /// Who is doing this, if it was said.
    pub operator: Option<OperatorId>,
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
        let operator = match cli.operator.as_deref().map(OperatorId::new).transpose() {
            Ok(operator) => operator,
            Err(bad) => return Err(Failure::new(Kind::Usage, format!("--operator: {bad}"))),
        };
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

    /// The site's local time.
    pub fn zone(&self) -> LocalZone {
        LocalZone(self.config.site.zone)
    }

    /// The instant a query is for.
    pub fn as_of(&self, when: &AsOf) -> Result<Time, Failure> {
        match &when.as_of {
            None => Ok(self.clock.now()),
            // A day means its end.
            Some(text) => match text.trim().parse::<NaiveDate>() {
                Ok(day) => Ok(self.zone().at(day, NaiveTime::from_hms_opt(23, 59, 59).unwrap_or(NaiveTime::MIN))),
                Err(_) => self.zone().read(text).map_err(|bad| Failure::new(Kind::Usage, format!("--as-of: {bad}"))),
            },
        }
    }

    /// The display or lamp that `name` stands for.
    pub fn device(&self, name: &str) -> Result<DeviceId, Failure> {
        let things = &self.config.things;
        let known = things.displays.iter().map(|d| &d.id).chain(things.lamps.iter().map(|l| &l.id));
        find_named(name, known, "display or lamp", DeviceId::as_str).cloned()
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
