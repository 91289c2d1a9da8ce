//! Acts and how long a match holds, as the JSON of `status` and `forecast`.

use schemars::JsonSchema;
use serde::Serialize;

use super::answer::LocalDate;
use crate::say;
use crate::station::{Advice, Holds, Judgement};
use crate::units::{DeviceId, Time};
use crate::zone::LocalZone;

/// Until when a match is likely to hold.
#[derive(Debug, Serialize, JsonSchema)]
pub struct HoldsJson {
    /// The day by which it is as likely as not that the match has been out; null for what lies further ahead than may be said.
    date: Option<LocalDate>,
    /// The day by which that is 1 in 10; null likewise.
    early: Option<LocalDate>,
    /// The day by which that is 9 in 10; null likewise.
    late: Option<LocalDate>,
    /// The day up to which it holds with 9 in 10, or as far as may be said.
    at_least: LocalDate,
    /// Further ahead than the readings reach back, or from too few of them.
    guess: bool,
}

/// Something that is to be done by a day.
#[derive(Debug, Serialize, JsonSchema)]
pub struct CallJson {
    /// What: `read`, `recalibrate-to-paper`, ….
    #[schemars(extend("pattern" = "^[a-z-]+$"))]
    act: &'static str,
    /// The thing that it is done to; null where it is none.
    device: Option<DeviceId>,
    /// The day by which.
    date: LocalDate,
    /// The instant by which; in the past only where it is overdue.
    by: Time,
    /// Why by then, as a sentence.
    reason: String,
}

/// One act, or two together, and what it would bring if done well and checked by a reading.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ActJson {
    /// What: `recalibrate-to-paper`, `replace-lamp`, …; two are joined by `+`.
    #[schemars(extend("pattern" = r"^[a-z-]+(\+[a-z-]+)*$"))]
    act: String,
    /// The thing that the first step is done to; null where it is none.
    device: Option<DeviceId>,
    /// Each step as a sentence.
    steps: Vec<String>,
    /// What it costs, in the unit of the configuration's `[costs]`; 0 or more.
    cost: f64,
    /// Probability that the match is out of tolerance just after, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    risk_after: f64,
    /// Probability that it is out at any time within the horizon thereafter, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    risk_within: f64,
    /// Until when the match then holds.
    holds_until: HoldsJson,
    /// Whether this is the act that is advised.
    chosen: bool,
}

impl HoldsJson {
    /// As local dates.
    pub fn of(holds: &Holds, zone: &LocalZone) -> Self {
        let day = |time: Option<Time>| time.map(|time| LocalDate::of(time, zone));
        Self {
            date: day(holds.date),
            early: day(holds.early),
            late: day(holds.late),
            at_least: LocalDate::of(holds.at_least(), zone),
            guess: holds.guess,
        }
    }
}

/// What is to be done by when, the earliest first.
pub fn calls(judgement: &Judgement, zone: &LocalZone) -> Vec<CallJson> {
    let calls = judgement.calls.iter().map(|call| CallJson {
        act: call.advice.word(),
        device: call.advice.device().cloned(),
        date: LocalDate::of(call.by, zone),
        by: call.by,
        reason: say::call_reason(call.why),
    });
    calls.collect()
}

/// Every act that was weighed, the best first; empty where nothing needs doing.
pub fn acts(judgement: &Judgement, zone: &LocalZone) -> Vec<ActJson> {
    let acts = judgement.acts.iter().map(|act| {
        let words: Vec<&str> = act.steps.iter().map(Advice::word).collect();
        ActJson {
            act: words.join("+"),
            device: act.steps.first().and_then(Advice::device).cloned(),
            steps: act.steps.iter().map(|step| say::advice(step, zone)).collect(),
            cost: act.cost,
            risk_after: act.risk_after,
            risk_within: act.risk_within,
            holds_until: HoldsJson::of(&act.holds, zone),
            chosen: act.chosen,
        }
    });
    acts.collect()
}
