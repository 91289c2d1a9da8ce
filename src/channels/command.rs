//! A command: started without a shell, given the group as JSON on its standard input, and waited for.

use std::process::Stdio;

use tokio::io::AsyncWriteExt;
use tokio::process::Command;

use super::{PATIENCE, SendError, said};
use crate::outbox::Group;

/// Starts the program and waits for it to end well; one that takes too long is ended.
pub(super) async fn send(program: &str, arguments: &[String], group: &Group) -> Result<(), SendError> {
    let failed = |found: String| SendError::Command { program: program.to_owned(), found };
    let message = serde_json::to_vec(group).map_err(|why| SendError::Letter(why.to_string()))?;
    let mut command = Command::new(program);
    command.args(arguments).stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::piped()).kill_on_drop(true);
    let mut child = command.spawn().map_err(|why| failed(format!("cannot be started: {why}")))?;
    let mut input = child.stdin.take();
    let work = async move {
        if let Some(mut stdin) = input.take() {
            // A program that does not read its input may close it; only how it ends counts.
            let _ = stdin.write_all(&message).await;
            let _ = stdin.shutdown().await;
        }
        child.wait_with_output().await
    };
    match tokio::time::timeout(PATIENCE, work).await {
        Err(_) => Err(failed(format!("did not end within {} s", PATIENCE.as_secs()))),
        Ok(Err(why)) => Err(failed(format!("was lost: {why}"))),
        Ok(Ok(output)) if output.status.success() => Ok(()),
        Ok(Ok(output)) => {
            let words = said(&String::from_utf8_lossy(&output.stderr));
            Err(failed(format!("ended with {}: {words}", output.status)))
        }
    }
}
