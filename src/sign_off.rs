//! Signing a print off: the match at that instant, judged, objected to or not, written down and proven in one transaction.
//!
//! What lives here: what a sign-off takes from the estimates and from the ledger, when it is refused, and the act itself. What does
//! not: the entry's form (`ledger/entry/sign_off`), sentences (`say`), reading the printed file and writing certificates (`cli`).

use crate::color::{cct_duv, xy};
use crate::config::Config;
use crate::equipment::ReadWith;
use crate::evaluate;
use crate::ledger::certificate::CannotCertify;
use crate::ledger::checkpoint::SignedHead;
use crate::ledger::entry::sign_off::{
    CertificateState, InstrumentState, Known, MatchState, MeanSd, Override, PrintFile, ReadingState, RuleSetState,
    SignOff, ToleranceState, WhiteState,
};
use crate::ledger::note::VerifierKey;
use crate::ledger::{Body, Certificate, Digest, Ledger, LedgerError, Seq, Tx};
use crate::measured::{Judged, judged};
use crate::pipeline::come_into_force;
use crate::reading::Operator;
use crate::rules::RuleSet;
use crate::say;
use crate::signing::{self, SigningError};
use crate::site::{Station, Things};
use crate::station::rules::{Measured, State, points};
use crate::station::{EstimatedWhite, Judgement, Reason, Spread, Verdict};
use crate::units::{DeviceId, Probability, Time};
use crate::zone::LocalZone;

/// The longest name of a job, in characters.
pub const LONGEST_JOB: usize = 200;

/// Why a print is not signed off.
#[derive(Debug, thiserror::Error)]
pub enum NotSigned {
    /// The match does not hold, or is not known well enough.
    #[error("NOT signed: {}", objections.join(" "))]
    Refused {
        /// What speaks against it, a sentence each; never empty.
        objections: Vec<String>,
    },
    /// The job's name cannot be one.
    #[error("--job: expected a name of 1 to {LONGEST_JOB} characters on one line")]
    Job,
    /// An override without a reason.
    #[error("--override: expected why, in a few words")]
    NoReason,
    /// The ledger failed.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The head could not be signed.
    #[error(transparent)]
    Signing(#[from] SigningError),
    /// The proof could not be made.
    #[error(transparent)]
    Certificate(#[from] CannotCertify),
}

/// What somebody approves.
#[derive(Debug, Clone)]
#[allow(missing_docs)]
pub struct Request<'a> {
    pub station: &'a Station,
    pub job: &'a str,
    pub file: Option<PrintFile>,
    pub operator: Option<&'a Operator>,
    /// Why it is signed even where that would be refused.
    pub over: Option<&'a str>,
    /// Files that lie in the inbox and were not taken in yet.
    pub files_waiting: u64,
}

/// A sign-off that is on record.
#[derive(Debug, Clone)]
#[allow(missing_docs)]
pub struct Signed {
    pub seq: Seq,
    pub body: SignOff,
    pub head: SignedHead,
    pub certificate: Certificate,
}

/// Judges the station now and writes the sign-off down under a signed head of its own, or says what speaks against it.
pub fn sign(ledger: &mut Ledger, config: &Config, request: &Request, now: Time) -> Result<Signed, NotSigned> {
    let job = request.job.trim();
    if job.is_empty() || job.chars().count() > LONGEST_JOB || job.chars().any(char::is_control) {
        return Err(NotSigned::Job);
    }
    let reason = request.over.map(str::trim);
    if reason == Some("") {
        return Err(NotSigned::NoReason);
    }
    ledger.write(now, |tx| {
        come_into_force(tx, config)?;
        let (state, objections) = match_state(tx, config, request.station, now)?;
        let over = match (objections.is_empty(), reason) {
            (true, _) => None,
            (false, None) => return Err(NotSigned::Refused { objections }),
            (false, Some(reason)) => Some(Override { reason: reason.to_owned(), objections }),
        };
        let body = SignOff {
            job: job.to_owned(),
            file: request.file.clone(),
            operator: request.operator.map(|who| who.id.clone()),
            operator_by: request.operator.map(|who| who.by),
            over,
            local_time: LocalZone(config.site.zone).show_full(now),
            state: Box::new(state),
            known: known(tx, request.files_waiting)?,
        };
        let (seq, _) = evaluate::append(tx, config, Body::SignOff(body.clone()))?;
        let head = signing::sign_head(tx, config)?;
        let key = tx.signing_key()?.ok_or(SigningError::NoKey)?;
        let key = VerifierKey::parse(&key).map_err(SigningError::from)?;
        let certificate = Certificate::make(tx, seq, &head, &key, None)?;
        Ok(Signed { seq, body, head, certificate })
    })
}

/// The station's match as of `now`, and what speaks against signing anything off under it.
fn match_state(
    tx: &Tx,
    config: &Config,
    station: &Station,
    now: Time,
) -> Result<(MatchState, Vec<String>), LedgerError> {
    let zone = LocalZone(config.site.zone);
    let Judged { judgement, measured: held, since, estimates } = judged(tx, config, station, now)?;
    let last = |device: &DeviceId| {
        let Some(with) = judgement.read_with.iter().find(|with| with.device == *device) else { return Ok(None) };
        let doubted = estimates.get(device).is_some_and(|known| known.state.doubts(with.seq.get()));
        last_reading(tx, &config.things, with, doubted, now).map(Some)
    };
    let screen = white(&station.display, None, &judgement.display_white, last(&station.display)?);
    let paper = white(&station.lamp, station.papers.first(), &judgement.paper_white, last(&station.lamp)?);
    let objections = objections(station, &judgement, [&screen, &paper], &zone);
    let state = MatchState {
        station: station.id.clone(),
        as_of: now,
        verdict: judgement.verdict.word().to_owned(),
        since,
        risk: Probability::clamped(judgement.risk),
        risk_within: Probability::clamped(judgement.risk_within),
        horizon_days: station.horizon,
        max_risk: station.max_risk,
        tolerance: ToleranceState {
            delta_uv: station.tolerance.delta_uv,
            luminance_ratio: station.tolerance.luminance_ratio,
            ra_min: station.tolerance.ra_min,
        },
        delta_uv: mean_sd(&judgement.delta_uv),
        luminance_ratio: judgement.luminance_ratio.as_ref().map(mean_sd),
        screen,
        paper,
        ra: judgement.rendering.map(|known| known.ra),
        reasons: judgement.reasons.iter().map(|reason| say::reason(reason, &zone)).collect(),
        rules: station.rules.iter().map(|set| rule_set(set, &held)).collect(),
    };
    Ok((state, objections))
}

/// What speaks against it: a verdict of `out` or `unknown`, and readings that are missing or too old.
fn objections(station: &Station, judgement: &Judgement, whites: [&WhiteState; 2], zone: &LocalZone) -> Vec<String> {
    let mut objections = Vec::new();
    if matches!(judgement.verdict, Verdict::Out | Verdict::Unknown) {
        objections.push(say::sign_off::objection(&station.id, judgement.verdict, judgement.risk));
        // What is unknown for want of readings is said below.
        let said_below = |reason: &&Reason| matches!(reason, Reason::NeverRead { .. } | Reason::Stale { .. });
        let first = judgement.reasons.iter().find(|reason| !said_below(reason));
        let first = first.filter(|_| judgement.verdict == Verdict::Out);
        objections.extend(first.map(|reason| say::reason(reason, zone)));
    }
    for white in whites {
        let age = white.last_reading.as_ref().map(|last| last.age_days);
        if age.is_none_or(|age| age > station.max_age) {
            objections.push(say::sign_off::stale(&white.device, age, station.max_age));
        }
    }
    objections.dedup();
    objections
}

/// The newest reading that counts, and what it was read with.
fn last_reading(
    tx: &Tx,
    things: &Things,
    with: &ReadWith,
    doubted: bool,
    now: Time,
) -> Result<ReadingState, LedgerError> {
    let damaged = |what: &str| LedgerError::Damaged { what: format!("entry {}: {what}", with.seq) };
    let entry = tx.raw_entry(with.seq)?.ok_or_else(|| damaged("a reading points at it, and it is not there"))?;
    Ok(ReadingState {
        seq: with.seq,
        leaf: Digest::from_bytes(&entry.leaf).ok_or_else(|| damaged("its leaf is no hash"))?,
        time: with.read,
        entered: Time::parse(&entry.time).map_err(|bad| damaged(&bad.to_string()))?,
        age_days: now.since(with.read),
        doubted,
        instrument: with.instrument.as_ref().map(|id| InstrumentState {
            id: id.clone(),
            serial: (things.instruments.iter().find(|known| known.id == *id))
                .and_then(|known| known.identity.serial.clone()),
            certificate: with.certificate.as_ref().map(|certified| CertificateState {
                seq: certified.seq,
                number: certified.certificate.number.clone(),
                laboratory: certified.certificate.laboratory.clone(),
                until: certified.certificate.until,
            }),
            doubts: with.doubts.iter().map(|doubt| doubt.word().to_owned()).collect(),
        }),
    })
}

fn white(
    device: &DeviceId,
    paper: Option<&DeviceId>,
    white: &EstimatedWhite,
    last_reading: Option<ReadingState>,
) -> WhiteState {
    let at = xy(white.uv()).ok();
    let temperature = cct_duv(white.uv()).ok();
    WhiteState {
        device: device.clone(),
        paper: paper.cloned(),
        u_prime: mean_sd(&white.u),
        v_prime: mean_sd(&white.v),
        x: at.map(|at| at.x),
        y: at.map(|at| at.y),
        cct_k: temperature.map(|known| known.cct_k.get()),
        duv: temperature.map(|known| known.duv.get()),
        luminance_cd_m2: white.luminance.as_ref().map(mean_sd),
        last_reading,
    }
}

fn mean_sd(spread: &Spread) -> MeanSd {
    MeanSd { mean: spread.mean, sd: spread.sd }
}

fn rule_set(set: &RuleSet, measured: &Measured) -> RuleSetState {
    let (mut holds, mut fails, mut not_measured) = (Vec::new(), Vec::new(), Vec::new());
    for point in points(set, measured) {
        let list = match point.state {
            State::Holds { .. } => &mut holds,
            State::Fails => &mut fails,
            State::NotMeasured { .. } => &mut not_measured,
        };
        list.push(point.quantity.word().to_owned());
    }
    RuleSetState { id: set.id.to_string(), edition: set.edition.clone(), holds, fails, not_measured }
}

fn known(tx: &Tx, files_waiting: u64) -> Result<Known, LedgerError> {
    let head = tx.head_now();
    let nothing = || LedgerError::Damaged { what: "no configuration is in force".to_owned() };
    let (config_seq, config_sha256) = tx.config_in_force()?.ok_or_else(nothing)?;
    Ok(Known {
        program: env!("CARGO_PKG_VERSION").to_owned(),
        config_seq,
        config_sha256,
        known_at: Some(tx.now()),
        entries: head.size,
        root: head.root,
        files_waiting,
    })
}
