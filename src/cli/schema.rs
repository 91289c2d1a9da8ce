//! The schemas of every answer in JSON, as JSON Schema 2020-12: what scripts may rely on.
//!
//! A schema is made from the very structs that the answer is written from; their doc comments are its descriptions. It is strict,
//! so that an answer with an undocumented field does not pass.

use schemars::generate::SchemaSettings;
use schemars::transform::RecursiveTransform;
use schemars::{JsonSchema, Schema};
use serde_json::{Map, Value, json};

use crate::ledger::Certificate;

use super::{
    ageing, alerts, audit, backtest, backup, check, compare, due, fail, forecast, history, inspect, maintenance,
    messages, prune, send, sign, status, take,
};

/// Said at the end of every schema's description.
const GROWTH: &str = "Every field is listed here and is always there, null where it cannot be known, unless its description says \
     otherwise; numbers are not rounded. Later versions may add fields, and words to those that a field can hold: readers should pass \
     over what they do not know.";

/// The schema of what one command answers.
pub struct Published {
    /// The command as it is typed, without the program's name; `failure` is what any command says on standard error when it fails.
    pub command: &'static str,
    /// What its JSON is like.
    pub schema: Schema,
}

impl Published {
    fn of<T: JsonSchema>(command: &'static str) -> Self {
        let settings = SchemaSettings::draft2020_12().for_serialize().with_transform(RecursiveTransform(closed));
        let made = settings.into_generator().into_root_schema_for::<T>();
        let about = made.get("description").and_then(Value::as_str).unwrap_or_default();
        let title = match command {
            "failure" => "A failure of twinwhite, on standard error, where --json was asked for".to_owned(),
            command => format!("twinwhite {command} --json"),
        };
        let mut schema = Map::new();
        schema.insert("$schema".to_owned(), json!(made.get("$schema")));
        schema.insert("$id".to_owned(), json!(file_name(command)));
        schema.insert("title".to_owned(), json!(title));
        schema.insert("description".to_owned(), json!(format!("{about}\n\n{GROWTH}")));
        for (key, value) in made.as_object().into_iter().flatten() {
            schema.entry(key).or_insert_with(|| value.clone());
        }
        Self { command, schema: schema.into() }
    }

    /// The name of its file in `contrib/schema`.
    pub fn file_name(&self) -> String {
        file_name(self.command)
    }
}

fn file_name(command: &str) -> String {
    format!("{}.json", command.replace("--", "").replace(' ', "-"))
}

/// Forbids fields that are not listed. A field that stands beside alternatives belongs to each of them.
fn closed(schema: &mut Schema) {
    if schema.get("properties").is_none() {
        return;
    }
    let Some(Value::Array(mut alternatives)) = schema.remove("oneOf") else {
        schema.insert("additionalProperties".to_owned(), json!(false));
        return;
    };
    let (fields, needed) = (schema.remove("properties"), schema.remove("required"));
    for alternative in &mut alternatives {
        if let (Some(Value::Object(fields)), Some(Value::Object(all))) = (&fields, alternative.get_mut("properties")) {
            let own = std::mem::replace(all, fields.clone());
            all.extend(own);
        }
        if let (Some(Value::Array(needed)), Some(Value::Array(own))) = (&needed, alternative.get_mut("required")) {
            own.splice(0..0, needed.iter().cloned());
        }
    }
    schema.insert("oneOf".to_owned(), Value::Array(alternatives));
}

/// Every schema there is: one for each command that takes `--json`, and that of failures.
pub fn schemas() -> Vec<Published> {
    vec![
        Published::of::<take::ReceiptJson>("add"),
        Published::of::<ageing::json::Ageing>("ageing"),
        Published::of::<alerts::Alerts>("alerts"),
        Published::of::<audit::export::Exported>("audit export"),
        Published::of::<audit::show::Shown>("audit show"),
        Published::of::<audit::head::HeadJson>("audit head"),
        Published::of::<audit::key::KeyJson>("audit key"),
        Published::of::<Certificate>("audit prove"),
        Published::of::<audit::Verified>("audit verify"),
        Published::of::<audit::certificate::Checked>("audit verify certificate"),
        Published::of::<backtest::json::Backtest>("backtest"),
        Published::of::<backup::BackupJson>("backup"),
        Published::of::<prune::PrunedJson>("prune"),
        Published::of::<check::Checked>("check"),
        Published::of::<send::Sent>("check --send"),
        Published::of::<compare::json::Compared>("compare"),
        Published::of::<due::DueList>("due"),
        Published::of::<fail::Failed>("failure"),
        Published::of::<forecast::Forecasted>("forecast"),
        Published::of::<history::History>("history"),
        Published::of::<take::Ingested>("ingest"),
        Published::of::<inspect::json::Inspected>("inspect"),
        Published::of::<maintenance::Answer>("maintenance"),
        Published::of::<messages::Answer>("messages"),
        Published::of::<sign::SignedJson>("sign"),
        Published::of::<backup::RestoredJson>("restore"),
        Published::of::<status::json::Status>("status"),
    ]
}
