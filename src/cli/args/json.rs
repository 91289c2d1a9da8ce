//! Which commands were asked to answer in JSON.

use super::{Audit, Command, Pruning, Signing};

impl Command {
    /// Whether the answer, and a failure, is wanted in JSON.
    pub const fn wants_json(&self) -> bool {
        match self {
            Self::Add { output, .. }
            | Self::Ingest { output, .. }
            | Self::Inspect { output, .. }
            | Self::Compare { output, .. }
            | Self::Status { output, .. }
            | Self::History { output, .. }
            | Self::Ageing { output, .. }
            | Self::Forecast { output, .. }
            | Self::Backtest { output, .. }
            | Self::Due { output, .. }
            | Self::Alerts { output, .. }
            | Self::Messages { output }
            | Self::Sign(Signing { output, .. })
            | Self::Prune(Pruning { output, .. })
            | Self::Maintenance { output, .. }
            | Self::Check { output, .. }
            | Self::Backup { output, .. }
            | Self::Restore { output, .. }
            | Self::Audit(
                Audit::Verify { output, .. }
                | Audit::Head { output }
                | Audit::Prove { output, .. }
                | Audit::Key { output, .. }
                | Audit::Show { output, .. }
                | Audit::Export { output, .. },
            ) => output.json,
            Self::Init(_)
            | Self::Run { .. }
            | Self::Ack { .. }
            | Self::Resend { .. }
            | Self::Record { .. }
            | Self::Retract { .. }
            | Self::Release { .. }
            | Self::Desktop { .. }
            | Self::Rebuild
            | Self::Demo { .. } => false,
        }
    }
}
