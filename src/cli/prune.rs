//! `prune`: old spectra taken out, after saying which.

use schemars::JsonSchema;
use serde::Serialize;

use super::args::Pruning;
use super::fail::{Failure, Kind};
use super::output::{self, Progress};
use super::session::Session;
use crate::ledger::Seq;
use crate::prune::{self, PruneError};
use crate::say;
use crate::units::Time;

/// Which spectra went, or would go.
#[derive(Debug, Serialize, JsonSchema)]
pub struct PrunedJson {
    /// Of readings made before this instant.
    before: Time,
    /// Whether it was done; without `--yes` it is only said.
    done: bool,
    /// The entries of the readings that lose their spectrum, in the order of their times.
    go: Vec<Seq>,
    /// Those as old that keep it, since something rests on it.
    stay: Vec<Seq>,
    /// The entries that say so; empty where nothing was done.
    said_by: Vec<Seq>,
    /// How many bytes shorter the ledger's entries are; 0 where nothing was done.
    #[schemars(range(min = 0))]
    bytes: usize,
}

/// Says what would go, and with `--yes` takes it out.
pub fn prune(session: Session, given: &Pruning) -> Result<(), Failure> {
    let (zone, now) = (session.zone(), session.clock.now());
    let before = session.beginning("--spectra-before", &given.spectra_before)?;
    let done = if given.yes {
        let mut ledger = session.ledger()?;
        let mut progress = Progress::of("entries compared");
        let (config, operator) = (&session.config, session.operator.as_ref());
        prune::prune(&mut ledger, config, before, operator, now, |done| progress.at(done))?
    } else {
        let choice = session.reader()?.read(|store| prune::choose(store, &session.config.things, before, now))?;
        prune::Done { choice, by: Vec::new(), bytes: 0 }
    };
    let prune::Done { choice, by, bytes } = done;
    let (go, stay) = (choice.go.len(), choice.stay.len());
    if given.output.json {
        let (go, stay) = (choice.go, choice.stay);
        return output::json(&PrunedJson { before, done: given.yes, go, stay, said_by: by, bytes });
    }
    let count = |number: usize, what: &str| say::count(u64::try_from(number).unwrap_or(u64::MAX), what);
    let made = format!("made before {}", zone.show(before));
    let staying = match stay {
        0 => String::new(),
        _ => format!("{} as old keep theirs, since something rests on it.\n", count(stay, "reading")),
    };
    if go == 0 {
        return output::print(&format!("No spectrum of readings {made} can go.\n{staying}"));
    }
    if !given.yes {
        return output::print(&format!(
            "The spectra of {} {made} would go.\n{staying}White and level stay, estimates and verdicts stay the same, and every proof \
             holds. But rendering indices and the white on a paper that is new to the station can no longer be worked out for days \
             before then.\nThis cannot be undone: keep a backup (`twinwhite backup FILE`), then say --yes.\n",
            count(go, "reading")
        ));
    }
    let entries: Vec<String> = by.iter().map(Seq::to_string).collect();
    output::print(&format!(
        "The spectra of {} {made} were taken out: {} less. Entry {} says so, and who did it.\n{staying}What is derived from the ledger \
         was made anew and is the same. The file keeps its length and fills the room again; the next backup is smaller.\n",
        count(go, "reading"),
        size(bytes),
        entries.join(", ")
    ))
}

/// Bytes as people say them.
fn size(bytes: usize) -> String {
    match bytes {
        0..10_000 => format!("{bytes} bytes"),
        10_000..10_000_000 => format!("{} kB", bytes / 1000),
        _ => format!("{} MB", bytes / 1_000_000),
    }
}

impl From<PruneError> for Failure {
    fn from(error: PruneError) -> Self {
        match error {
            PruneError::Ledger(why) => why.into(),
            PruneError::NotPast { .. } => Self::new(Kind::Usage, format!("--spectra-before: {error}")),
            PruneError::Differs { .. } => Self::new(Kind::Ledger, error.to_string()),
        }
    }
}
