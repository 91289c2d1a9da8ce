//! Acts and how long a match holds, as the JSON of `status` and `forecast`.

use serde_json::{Value, json};

use crate::say;
use crate::station::{Advice, Holds, Judgement};
use crate::zone::LocalZone;

/// Until when a match holds: local dates, null for what lies further ahead than may be said.
pub fn holds(holds: &Holds, zone: &LocalZone) -> Value {
    json!({
        "date": holds.date.map(|date| zone.date(date)),
        "early": holds.early.map(|date| zone.date(date)),
        "late": holds.late.map(|date| zone.date(date)),
        "at_least": zone.date(holds.at_least()),
        "guess": holds.guess,
    })
}

/// What is to be done by when, the earliest first.
pub fn calls(judgement: &Judgement, zone: &LocalZone) -> Vec<Value> {
    (judgement.calls.iter())
        .map(|call| {
            json!({
                "act": call.advice.word(),
                "device": call.advice.device(),
                "date": zone.date(call.by),
                "by": call.by,
                "reason": say::call_reason(call.why),
            })
        })
        .collect()
}

/// Every act that was weighed, the best first; empty where nothing needs doing.
pub fn acts(judgement: &Judgement, zone: &LocalZone) -> Vec<Value> {
    (judgement.acts.iter())
        .map(|act| {
            let words: Vec<&str> = act.steps.iter().map(Advice::word).collect();
            json!({
                "act": words.join("+"),
                "device": act.steps.first().and_then(Advice::device),
                "steps": act.steps.iter().map(|step| say::advice(step, zone)).collect::<Vec<_>>(),
                "cost": act.cost,
                "risk_after": act.risk_after,
                "risk_within": act.risk_within,
                "holds_until": holds(&act.holds, zone),
                "chosen": act.chosen,
            })
        })
        .collect()
}
