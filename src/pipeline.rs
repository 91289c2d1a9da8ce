//! A file's walk from bytes to commit: the one function that names every stage in order, inside one ledger transaction.
//!
//! formats → admit (color) → ledger → estimates (drift) → evaluate (station, alert, outbox) → commit. Nothing outside the
//! ledger is touched: moving the file is for whoever claimed it, after this has returned. A crash at any point repeats
//! harmlessly, since bytes whose digest the ledger knows end the walk at its first step.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use crate::admit::{Admitted, admit};
use crate::alert::{Kind, Sighting};
use crate::config::Config;
use crate::drift::Fate;
use crate::estimates::{self, Fates};
use crate::evaluate::{self, Condition, Happened, Scope, append};
use crate::fate::Hold;
use crate::formats::{self, Context, Need, Outcome, Unfinished, Warning};
use crate::ledger::Given;
use crate::ledger::entry::{self, CameBy, EventTaken, ReadingTaken, Refusal};
use crate::ledger::store::Standing;
use crate::ledger::{Body, Digest, Ledger, LedgerError, Seq, Store, Tx};
use crate::project::Stirred;
use crate::reading::{Defect, Event, Operator, Patch, Reading, Row};
use crate::say;
use crate::units::{Days, DeviceId, InstrumentId, Time};
use crate::zone::LocalZone;

/// A reading further ahead of the clock than this is held, an event refused: 10 minutes.
const AHEAD: Days = Days(10.0 / 1440.0);

/// A file that came in.
#[derive(Debug, Clone)]
pub struct Incoming<'a> {
    /// Its name, without folders.
    pub name: &'a str,
    /// All of it.
    pub bytes: &'a [u8],
    /// Names the device of rows that name none.
    pub folder_device: Option<DeviceId>,
    /// How it came.
    pub from: CameBy,
    /// Who named it, where somebody did.
    pub operator: Option<Operator>,
}

/// What became of it.
#[derive(Debug, Clone, PartialEq)]
pub enum Taken {
    /// The ledger has these bytes already; nothing changed.
    Known {
        /// The entry of the file.
        file: Seq,
    },
    /// Its rows are in the ledger.
    Accepted(Receipt),
    /// It cannot be read, and the ledger says so.
    Refused {
        /// Everything that is wrong with it.
        defects: Vec<Defect>,
        /// What happened thereby.
        happened: Vec<Happened>,
    },
    /// It is not finished; nothing changed.
    Incomplete(Unfinished),
}

/// What became of rows that were taken in.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Receipt {
    /// Readings that are now in the ledger, with the line each stood on.
    pub readings: Vec<(Seq, u64)>,
    /// Events that are now in the ledger.
    pub events: Vec<(Seq, u64)>,
    /// Rows that the ledger already had.
    pub duplicates: u64,
    /// Readings that wait for a person, and why.
    pub held: Vec<(Seq, u64, Hold)>,
    /// Readings that the model doubts.
    pub doubted: Vec<(Seq, u64)>,
    /// What was noticed of the file and did not keep it from being taken.
    pub warnings: Vec<Row<Warning>>,
    /// Verdicts and alerts that changed thereby.
    pub happened: Vec<Happened>,
}

/// Takes a file in.
pub fn take(ledger: &mut Ledger, config: &Config, incoming: &Incoming, now: Time) -> Result<Taken, LedgerError> {
    let sha256 = Digest::of(incoming.bytes);
    let known = ledger.file(&sha256)?;
    if let Some(known) = &known
        && !known.refused
    {
        return Ok(Taken::Known { file: known.seq });
    }
    let context = Context {
        zone: Some(LocalZone(config.site.zone)),
        folder_device: incoming.folder_device.clone(),
        need: Need::Ledger,
        mappings: config.mappings_for(incoming.name, incoming.folder_device.as_ref()),
        keyword_text: config.keyword_text_for(incoming.name, incoming.folder_device.as_ref()),
    };
    let mut warnings = Vec::new();
    let rows = match formats::parse(incoming.bytes, &context) {
        Outcome::Incomplete { why } => return Ok(Taken::Incomplete(why)),
        Outcome::Refused(defects) => Err(defects),
        Outcome::Records(rows, _, said) => {
            warnings = said;
            admit(rows, &config.things, incoming.folder_device.as_ref())
        }
    };
    let rows = rows.and_then(|rows| {
        let early = not_yet(&rows, now);
        if early.is_empty() { Ok(rows) } else { Err(early) }
    });
    ledger.write(now, |tx| {
        come_into_force(tx, config)?;
        match rows {
            Ok(rows) => {
                let receipt = accept(tx, config, incoming, sha256, rows)?;
                Ok(Taken::Accepted(Receipt { warnings, ..receipt }))
            }
            Err(defects) => {
                let happened = refuse(tx, config, incoming.name, sha256, known.is_some(), defects.clone())?;
                Ok(Taken::Refused { defects, happened })
            }
        }
    })
}

/// Whether what was done lies ahead of the clock, so that nobody can have done it.
pub fn is_not_yet(event: &Event, now: Time) -> bool {
    event.time.since(now) > AHEAD
}

/// What of a file nobody can have done yet. Once that time has come the same file is taken.
fn not_yet(rows: &[Row<Admitted>], now: Time) -> Vec<Defect> {
    let early = rows.iter().filter_map(|Row { line, value }| match value {
        Admitted::Event(event) if is_not_yet(event, now) => {
            let expected = format!("a time that is past: an event is what was done, and the clock shows {now}");
            Some(Defect::at(*line, "time", &event.time.to_string(), expected))
        }
        Admitted::Event(_) | Admitted::Reading(..) => None,
    });
    early.collect()
}

/// Takes one reading or event that was given by hand.
pub fn take_one(ledger: &mut Ledger, config: &Config, row: Admitted, now: Time) -> Result<Receipt, LedgerError> {
    ledger.write(now, |tx| {
        come_into_force(tx, config)?;
        enter(tx, config, None, vec![Row { line: 0, value: row }])
    })
}

/// Refuses a file for a reason that lies outside its content, such as its size.
pub fn refuse_file(
    ledger: &mut Ledger,
    config: &Config,
    name: &str,
    sha256: Digest,
    defects: Vec<Defect>,
    now: Time,
) -> Result<Vec<Happened>, LedgerError> {
    let known = ledger.file(&sha256)?.is_some();
    ledger.write(now, |tx| {
        come_into_force(tx, config)?;
        refuse(tx, config, name, sha256, known, defects)
    })
}

/// Writes the configuration down if it is not the one in force, and renews the estimates it makes void.
pub fn come_into_force(tx: &mut Tx, config: &Config) -> Result<(), LedgerError> {
    let written = entry::Config::of(&config.text, &config.files);
    if tx.config_in_force()?.is_some_and(|(_, in_force)| in_force == written.sha256) {
        return Ok(());
    }
    append(tx, config, Body::Config(written))?;
    estimates::refresh_void(tx, &config.things)
}

fn refuse(
    tx: &mut Tx,
    config: &Config,
    name: &str,
    sha256: Digest,
    known: bool,
    defects: Vec<Defect>,
) -> Result<Vec<Happened>, LedgerError> {
    // The same bad bytes again change nothing.
    if known {
        return Ok(Vec::new());
    }
    let condition = file_condition(name, Sighting::Bad, &defects);
    append(tx, config, Body::Refusal(Refusal { name: name.to_owned(), sha256, defects }))?;
    Ok(evaluate::decide(tx, config, condition)?.into_iter().collect())
}

fn file_condition(name: &str, sighting: Sighting, defects: &[Defect]) -> Condition {
    Condition::of(Kind::FileRefused, name, sighting, say::of_refusal(defects))
}

fn accept(
    tx: &mut Tx,
    config: &Config,
    incoming: &Incoming,
    sha256: Digest,
    rows: Vec<Row<Admitted>>,
) -> Result<Receipt, LedgerError> {
    let file = entry::File {
        name: incoming.name.to_owned(),
        sha256,
        bytes: incoming.bytes.len() as u64,
        taken: 0,
        duplicate: 0,
        from: incoming.from,
        operator: incoming.operator.as_ref().map(|by| by.id.clone()),
        operator_by: incoming.operator.as_ref().map(|by| by.by),
    };
    let mut receipt = enter(tx, config, Some(file), rows)?;
    let again = file_condition(incoming.name, Sighting::Good, &[]);
    receipt.happened.extend(evaluate::decide(tx, config, again)?);
    Ok(receipt)
}

/// Enters rows, brings the estimates up to date and judges what they touch.
fn enter(
    tx: &mut Tx,
    config: &Config,
    file: Option<entry::File>,
    rows: Vec<Row<Admitted>>,
) -> Result<Receipt, LedgerError> {
    let mut places = Places::new(&rows);
    let standings: Vec<Place> = rows.iter().map(|row| places.of(tx, &row.value)).collect::<Result<_, _>>()?;
    let duplicate = standings.iter().filter(|place| matches!(place, Place::Duplicate)).count() as u64;
    let mut receipt = Receipt { duplicates: duplicate, ..Receipt::default() };
    let file = match file {
        Some(file) => {
            let taken = rows.len() as u64 - duplicate;
            Some(append(tx, config, Body::File(entry::File { taken, duplicate, ..file }))?.0)
        }
        None => None,
    };
    let mut stirred: Vec<Stirred> = Vec::new();
    let mut seqs: Vec<Option<Seq>> = Vec::with_capacity(rows.len());
    for (Row { line, value }, place) in rows.into_iter().zip(standings) {
        let conflict_with = match place {
            Place::Duplicate => {
                seqs.push(None);
                continue;
            }
            Place::New => None,
            Place::Conflict(seq) => Some(seq),
            Place::ConflictWithin(index) => seqs.get(index).copied().flatten(),
        };
        let (seq, touched) = enter_row(tx, config, file, line, value, conflict_with, &mut receipt)?;
        seqs.push(Some(seq));
        stirred.extend(touched);
        if stirred.len() > 64 {
            gather(&mut stirred);
        }
    }
    gather(&mut stirred);
    let (fresh, fates) = estimates::refresh(tx, &config.things, &stirred)?;
    tell_fates(&mut receipt, &fates);
    let devices: Vec<DeviceId> = stirred.into_iter().map(|stirred| stirred.device).collect();
    receipt.happened.extend(evaluate::evaluate(tx, config, Scope::Devices(&devices), fresh)?);
    Ok(receipt)
}

fn enter_row(
    tx: &mut Tx,
    config: &Config,
    file: Option<Seq>,
    line: u64,
    row: Admitted,
    conflict_with: Option<Seq>,
    receipt: &mut Receipt,
) -> Result<(Seq, Option<Stirred>), LedgerError> {
    let in_file = file.map(|_| line);
    match row {
        Admitted::Reading(reading, _) => {
            let ahead = reading.time.since(tx.now()) > AHEAD;
            let taken = ReadingTaken { file, line: in_file, conflict_with, ahead, ..ReadingTaken::from(reading) };
            let (seq, stirred) = append(tx, config, Body::ReadingTaken(taken))?;
            receipt.readings.push((seq, line));
            if let Some(other) = conflict_with {
                receipt.held.push((seq, line, Hold::Conflict(other)));
            } else if ahead {
                receipt.held.push((seq, line, Hold::Ahead));
            }
            Ok((seq, stirred))
        }
        Admitted::Event(event) => {
            let (seq, stirred) = append(tx, config, Body::EventTaken(EventTaken { file, line: in_file, event }))?;
            receipt.events.push((seq, line));
            Ok((seq, stirred))
        }
    }
}

/// Keeps one item a device, with the earliest instant.
fn gather(stirred: &mut Vec<Stirred>) {
    let mut earliest: Vec<Stirred> = Vec::new();
    for one in stirred.drain(..) {
        match earliest.iter_mut().find(|known| known.device == one.device) {
            Some(known) => known.from = known.from.min(one.from),
            None => earliest.push(one),
        }
    }
    *stirred = earliest;
}

fn tell_fates(receipt: &mut Receipt, fates: &Fates) {
    let fates: HashMap<Seq, Fate> = fates.iter().copied().collect();
    for (seq, line) in &receipt.readings {
        match fates.get(seq) {
            Some(Fate::Held(why)) => receipt.held.push((*seq, *line, Hold::Model(*why))),
            Some(Fate::Doubted(_)) => receipt.doubted.push((*seq, *line)),
            Some(Fate::Used | Fate::UsedCold | Fate::Outranked) | None => {}
        }
    }
}

/// What a row meets in the ledger or earlier in its own file.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Place {
    New,
    Duplicate,
    Conflict(Seq),
    /// With the row of this index.
    ConflictWithin(usize),
}

/// What two readings have in common that cannot both stand: device, instant, instrument and patch.
type Key<'r> = (&'r DeviceId, Time, Option<&'r InstrumentId>, Patch);

/// The readings of a file under one key: the first, and others than it.
struct Like {
    index: usize,
    first: Given,
    others: Vec<Given>,
}

/// Finds each row's place, asking the ledger only where it can hold a like one.
struct Places<'r> {
    /// The newest instant that the ledger has of each device, as far as it was asked.
    newest: HashMap<&'r DeviceId, Option<Time>>,
    readings: HashMap<Key<'r>, Like>,
    events: Vec<&'r Event>,
    index: usize,
}

impl<'r> Places<'r> {
    fn new(rows: &'r [Row<Admitted>]) -> Self {
        Self { newest: HashMap::new(), readings: HashMap::with_capacity(rows.len()), events: Vec::new(), index: 0 }
    }

    fn of(&mut self, store: &Store, row: &'r Admitted) -> Result<Place, LedgerError> {
        let index = self.index;
        self.index += 1;
        match row {
            Admitted::Reading(reading, _) => self.of_reading(store, reading, index),
            Admitted::Event(event) => {
                let again = self.events.iter().any(|other| same_event(other, event));
                self.events.push(event);
                let known = again || store.event_standing(event)?.is_some();
                Ok(if known { Place::Duplicate } else { Place::New })
            }
        }
    }

    fn of_reading(&mut self, store: &Store, reading: &'r Reading, index: usize) -> Result<Place, LedgerError> {
        if self.may_be_known(store, reading)? {
            match store.reading_standing(reading)? {
                Standing::Duplicate(_) => return Ok(Place::Duplicate),
                Standing::Conflict(seq) => return Ok(Place::Conflict(seq)),
                Standing::New => {}
            }
        }
        let given = Given::of_reading(reading);
        let circumstances = &reading.circumstances;
        let key = (&reading.device, reading.time, circumstances.instrument.as_ref(), circumstances.patch);
        Ok(match self.readings.entry(key) {
            Entry::Vacant(place) => {
                place.insert(Like { index, first: given, others: Vec::new() });
                Place::New
            }
            Entry::Occupied(like) if like.get().first == given || like.get().others.contains(&given) => {
                Place::Duplicate
            }
            Entry::Occupied(mut like) => {
                like.get_mut().others.push(given);
                Place::ConflictWithin(like.get().index)
            }
        })
    }

    fn may_be_known(&mut self, store: &Store, reading: &'r Reading) -> Result<bool, LedgerError> {
        let newest = match self.newest.get(&reading.device) {
            Some(newest) => *newest,
            None => {
                let last = store.last_readings(&reading.device, Time::from_micros(i64::MAX), 1)?;
                let newest = last.first().map(|row| row.time);
                self.newest.insert(&reading.device, newest);
                newest
            }
        };
        Ok(newest.is_some_and(|newest| reading.time <= newest))
    }
}

fn same_event(a: &Event, b: &Event) -> bool {
    a.device == b.device && a.time == b.time && a.kind == b.kind && Given::of_event(a) == Given::of_event(b)
}
