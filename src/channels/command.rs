//! A command: a program that is started for each group.

use std::process::Stdio;
use std::time::Duration;

use tokio::io::AsyncWriteExt;
use tokio::process::Command;

/// A command that has not ended by then is ended, and its messages tried again.
const COMMAND_PATIENCE: Duration = Duration::from_secs(30);

/// Starts a program without a shell, gives it the message, and waits for it to end well.
pub async fn run(program: &str, arguments: &[String], message: &str) -> Result<(), String> {
    let mut command = Command::new(program);
    command.args(arguments).stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::piped()).kill_on_drop(true);
    let mut child = command.spawn().map_err(|why| format!("'{program}' cannot be started: {why}"))?;
    let mut input = child.stdin.take();
    let work = async move {
        if let Some(mut stdin) = input.take() {
            // A program that does not read its input may close it; only how it ends counts.
            let _ = stdin.write_all(message.as_bytes()).await;
            let _ = stdin.shutdown().await;
        }
        child.wait_with_output().await
    };
    match tokio::time::timeout(COMMAND_PATIENCE, work).await {
        Err(_) => Err(format!("'{program}' did not end within {} s", COMMAND_PATIENCE.as_secs())),
        Ok(Err(why)) => Err(format!("'{program}': {why}")),
        Ok(Ok(output)) if output.status.success() => Ok(()),
        Ok(Ok(output)) => {
            let said: String = String::from_utf8_lossy(&output.stderr).trim().chars().take(200).collect();
            Err(format!("'{program}' ended with {}: {said}", output.status))
        }
    }
}
