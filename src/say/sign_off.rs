//! A sign-off in sentences: what speaks against one, and what was signed, for the terminal, for whoever checks a certificate, and
//! for the page in [`page`].

pub mod page;

use chrono::{FixedOffset, Offset, Utc};

use super::{percent, span, tint, verdict};
use crate::ledger::entry::sign_off::{CertificateState, InstrumentState, MeanSd, ReadingState, SignOff, WhiteState};
use crate::reading::OperatorBy;
use crate::station::Verdict;
use crate::units::{Days, DeviceId, OperatorId, StationId, Time};

/// Why a verdict forbids to sign.
pub fn objection(station: &StationId, found: Verdict, risk: f64) -> String {
    let risk = percent(risk);
    match found {
        Verdict::Out => format!("{station} is out of tolerance (risk {risk})."),
        _ => format!("Whether {station} matches is unknown."),
    }
}

/// Why a device's reading is not enough to sign.
pub fn stale(device: &DeviceId, age: Option<Days>, limit: Days) -> String {
    match age {
        None => format!("{device} was never read."),
        Some(age) => format!("{device} was last read {} ago, and a reading counts for {}.", span(age), span(limit)),
    }
}

/// How to sign all the same.
pub const HOW_TO_OVERRIDE: &str = "Put it right first (`twinwhite status` says how), or say why it is signed all the same: --override 'REASON'. Then what spoke against it and your reason stay on record.";

/// What was signed, as lines of a name and what there is to say: who, when, and how the match stood.
pub fn facts(signed: &SignOff) -> Vec<(&'static str, String)> {
    let state = &signed.state;
    let mut facts = vec![("job", signed.job.clone()), ("approved", format!("{}, {}", who(signed), signed.local_time))];
    if let Some(file) = &signed.file {
        facts.push(("file", format!("{} ({} bytes), SHA-256 {}", file.name, file.bytes, file.sha256)));
    }
    if let Some(over) = &signed.over {
        facts.push(("objection", over.objections.join(" ")));
        facts.push(("signed anyway", over.reason.clone()));
    }
    facts.push(("match", verdict_line(signed)));
    facts.push(("reasons", state.reasons.join(" ")));
    let ratio = state.luminance_ratio.map(|ratio| {
        let limit = state
            .tolerance
            .luminance_ratio
            .map(|limit| format!(" (tolerance: {limit:.2} times more or less than agreed)"));
        format!("; screen ÷ paper luminance {:.2} ± {:.2}{}", ratio.mean, ratio.sd, limit.unwrap_or_default())
    });
    facts.push((
        "difference",
        format!(
            "Δu′v′ {:.4} ± {:.4} (tolerance {:.4}){}",
            state.delta_uv.mean,
            state.delta_uv.sd,
            state.tolerance.delta_uv,
            ratio.unwrap_or_default()
        ),
    ));
    facts.push(("screen", format!("{}: {}", state.screen.device, white(&state.screen))));
    let paper = state.paper.paper.as_ref().map_or(String::new(), |paper| format!("{paper} under "));
    facts.push(("paper", format!("{paper}{}: {}", state.paper.device, white(&state.paper))));
    let local = Local::of(signed);
    facts.extend([("screen read", reading(&state.screen, local)), ("lamp read", reading(&state.paper, local))]);
    facts.extend(state.ra.map(|ra| ("rendering", format!("Ra {ra:.0} (CIE 13.3)"))));
    for set in &state.rules {
        let list = |points: &[String]| if points.is_empty() { "none".to_owned() } else { points.join(", ") };
        let said = format!(
            "{} ({}): {} hold; fail: {}; not measured: {}",
            set.id,
            set.edition,
            set.holds.len(),
            list(&set.fails),
            list(&set.not_measured)
        );
        facts.push(("rules", said));
    }
    if signed.known.files_waiting > 0 {
        facts.push(("not read yet", format!("{} in the inbox", super::count(signed.known.files_waiting, "file"))));
    }
    facts.push((
        "known",
        format!(
            "as of {}, known at {}: {} of the ledger, root {}; configuration of entry {}; twinwhite {}",
            local.second(state.as_of),
            local.second(signed.known.known_at.unwrap_or(state.as_of)),
            super::entries(signed.known.entries),
            signed.known.root,
            signed.known.config_seq,
            signed.known.program
        ),
    ));
    facts
}

/// The verdict with its risk, in one line.
pub fn verdict_line(signed: &SignOff) -> String {
    let state = &signed.state;
    let word =
        Verdict::from_word(&state.verdict).map_or_else(|| state.verdict.clone(), |word| verdict(word).to_owned());
    format!(
        "{}: {word}; risk of being out of tolerance {} at that moment, {} within {} (something is to be done from {} on)",
        state.station,
        percent(state.risk.get()),
        percent(state.risk_within.get()),
        span(state.horizon_days),
        percent(state.max_risk.get())
    )
}

/// Who approved it, and how sure that is.
pub fn who(signed: &SignOff) -> String {
    let name = |id: &OperatorId| id.to_string();
    match (&signed.operator, signed.operator_by) {
        (None, _) => "by somebody who is not named".to_owned(),
        (Some(id), Some(OperatorBy::Login)) => {
            format!("by {} (the login name of the computer; nobody checked who sat there)", name(id))
        }
        (Some(id), _) => format!("by {} (as told on the command line; nobody checked it)", name(id)),
    }
}

fn white(of: &WhiteState) -> String {
    let at = match (of.x, of.y) {
        (Some(x), Some(y)) => format!("x {x:.4}, y {y:.4}"),
        _ => format!("u′ {:.4}, v′ {:.4}", of.u_prime.mean, of.v_prime.mean),
    };
    let temperature = match (of.cct_k, of.duv) {
        (Some(cct), Some(duv)) => format!(" ({cct:.0} K, {})", tint(duv)),
        _ => String::new(),
    };
    let level = of
        .luminance_cd_m2
        .map_or("luminance never read".to_owned(), |MeanSd { mean, sd }| format!("{mean:.1} ± {sd:.1} cd/m²"));
    format!("{at}{temperature} ± {:.4} in u′v′, {level}", of.u_prime.sd.max(of.v_prime.sd))
}

fn reading(of: &WhiteState, local: Local) -> String {
    let Some(ReadingState { seq, time, entered, age_days, instrument, doubted, .. }) = &of.last_reading else {
        return "never".to_owned();
    };
    let with = instrument.as_ref().map_or(String::new(), |instrument| format!(" with {}", with_instrument(instrument)));
    let late = entered.since(*time);
    let late = if late.0 > 1.0 { format!(", written down {} after it was made", span(late)) } else { String::new() };
    let doubt =
        if *doubted { "; it lies far from the rest, and only another one could tell what to make of it" } else { "" };
    format!("{}, {} before (entry {seq}){with}{late}{doubt}", local.minute(*time), span(*age_days))
}

fn with_instrument(of: &InstrumentState) -> String {
    let serial = of.serial.as_ref().map_or(String::new(), |serial| format!(", serial {serial}"));
    let doubtful = |word: &str| of.doubts.iter().any(|doubt| doubt == word);
    let certificate = match &of.certificate {
        None => "no certificate known".to_owned(),
        Some(CertificateState { until, number, .. }) => {
            let number = number.as_ref().map_or(String::new(), |number| format!(" {number}"));
            if doubtful("certificate-ended") {
                format!("its certificate{number} had ended on {until}")
            } else {
                format!("certificate{number} good until {until}")
            }
        }
    };
    let damaged = if doubtful("instrument-damaged") { ", damaged at the time" } else { "" };
    format!("{}{serial} ({certificate}{damaged})", of.id)
}

/// The local time of the sign-off, by the offset from UTC that stands at the end of its own time.
#[derive(Clone, Copy)]
struct Local(FixedOffset);

impl Local {
    fn of(signed: &SignOff) -> Self {
        let offset = signed.local_time.rsplit(' ').next().and_then(|offset| offset.parse().ok());
        Self(offset.unwrap_or(Utc.fix()))
    }

    fn minute(self, time: Time) -> String {
        time.to_chrono().with_timezone(&self.0).format("%Y-%m-%d %H:%M %:z").to_string()
    }

    fn second(self, time: Time) -> String {
        time.to_chrono().with_timezone(&self.0).format("%Y-%m-%d %H:%M:%S %:z").to_string()
    }
}
