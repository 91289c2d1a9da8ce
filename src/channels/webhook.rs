//! A webhook: the group as JSON, posted with a key by which a repeat is told and a signature by which it is trusted.
//!
//! `Twinwhite-Signature: t=1772616600,sha256=<hex>`: HMAC-SHA-256 (RFC 2104) with the configured secret over the seconds
//! since 1970, a full stop and the body's bytes. Only an answer 2xx means that it was taken; redirects are not followed.

use std::io::Read;
use std::time::Duration;

use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use ureq::http::Uri;
use ureq::tls::{RootCerts, TlsConfig};
use ureq::{Agent, Error};

use super::secret::{self, Secret};
use super::{SendError, said};
use crate::config::{Webhook, reach_of};
use crate::outbox::Group;
use crate::units::Time;

/// From the look for the host's number to the last byte of the answer.
const WHOLE: Duration = Duration::from_secs(20);
/// Until the connection stands.
const CONNECT: Duration = Duration::from_secs(10);
/// Of an answer no more is read.
const ANSWER: u64 = 4096;

/// Posts the group.
pub(super) fn send(webhook: &Webhook, group: &Group, now: Time) -> Result<(), SendError> {
    let (url, hidden) = secret::address(&webhook.url)?;
    let peer = peer(&url, hidden);
    if let Err(found) = reach_of(&url) {
        let advice = "correct the address where it stands; http:// is for localhost and numbers of private networks";
        return Err(SendError::Refused { peer, answer: format!("found {found}"), advice });
    }
    let key = webhook.secret.as_ref().map(secret::read).transpose()?;
    let body = serde_json::to_vec(group).map_err(|why| SendError::Letter(why.to_string()))?;
    let mut request =
        agent(webhook)?.post(&url).header("Content-Type", "application/json").header("Idempotency-Key", &group.key);
    if let Some(signature) = key.as_ref().and_then(|key| signature(key, now, &body)) {
        request = request.header("Twinwhite-Signature", &signature);
    }
    let answer = request.send(&body[..]).map_err(|error| trouble(error, &peer))?;
    let status = answer.status();
    if status.is_success() {
        return Ok(());
    }
    let mut text = Vec::new();
    // An answer that breaks off says as much as it says.
    let _ = answer.into_body().into_reader().take(ANSWER).read_to_end(&mut text);
    let mut text = String::from_utf8_lossy(&text).into_owned();
    if hidden {
        text = without(&text, &url);
    }
    if let Some(key) = &key {
        text = text.replace(key.reveal(), "…");
    }
    let advice = match status.as_u16() {
        300..=399 => "redirects are not followed: put the address that it leads to",
        401 | 403 => "see the address, and the secret on both sides",
        404 | 410 => "see the address",
        _ => "see what the receiver has logged",
    };
    Err(SendError::Refused { peer, answer: format!("{status}, {}", said(&text)), advice })
}

fn agent(webhook: &Webhook) -> Result<Agent, SendError> {
    let roots = match &webhook.ca_file {
        Some(path) => RootCerts::new_with_certs(&secret::certificates(path)?),
        None => RootCerts::WebPki,
    };
    let config = Agent::config_builder()
        .timeout_global(Some(WHOLE))
        .timeout_connect(Some(CONNECT))
        .max_redirects(0)
        .http_status_as_error(false)
        .user_agent(concat!("twinwhite/", env!("CARGO_PKG_VERSION")))
        .tls_config(TlsConfig::builder().root_certs(roots).build())
        .build();
    Ok(config.into())
}

/// `t=<seconds>,sha256=<hex>`.
fn signature(key: &Secret, now: Time, body: &[u8]) -> Option<String> {
    let seconds = now.micros().div_euclid(1_000_000);
    // HMAC takes keys of every length.
    let mut mac = Hmac::<Sha256>::new_from_slice(key.reveal().as_bytes()).ok()?;
    mac.update(format!("{seconds}.").as_bytes());
    mac.update(body);
    let hex: String = mac.finalize().into_bytes().iter().map(|byte| format!("{byte:02x}")).collect();
    Some(format!("t={seconds},sha256={hex}"))
}

/// How people know the other side: its host, unless the address is a secret.
fn peer(url: &str, hidden: bool) -> String {
    let host = url.parse::<Uri>().ok().and_then(|uri| uri.host().map(str::to_owned));
    host.filter(|_| !hidden).unwrap_or_else(|| "the web address".to_owned())
}

/// A text less what it repeats of a secret address.
fn without(text: &str, url: &str) -> String {
    let mut text = text.replace(url, "…");
    for part in url.split(['/', '?', '&', '=', '#']).filter(|part| part.len() >= 6) {
        text = text.replace(part, "…");
    }
    text
}

/// The library's errors in our words: its own may repeat the address.
fn trouble(error: Error, peer: &str) -> SendError {
    let peer = peer.to_owned();
    let unreachable = |why: &str| SendError::Unreachable { peer: peer.clone(), why: why.to_owned() };
    match error {
        Error::HostNotFound => unreachable("its name is not known"),
        Error::ConnectionFailed => unreachable("no connection"),
        Error::InvalidProxyUrl | Error::ConnectProxyFailed(_) => {
            unreachable("the proxy of the environment does not help")
        }
        Error::Timeout(ureq::Timeout::Resolve | ureq::Timeout::Connect) => unreachable("no answer in time"),
        Error::Timeout(_) => SendError::BrokenOff { peer, why: format!("no answer within {} s", WHOLE.as_secs()) },
        Error::Io(why) if why.kind() == std::io::ErrorKind::ConnectionRefused => unreachable("it refuses connections"),
        // What the system says of a name has no kind of its own.
        Error::Io(why) if why.to_string().contains("lookup address") => unreachable("its name is not known"),
        // So the TLS library's complaints arrive.
        Error::Io(why) if why.kind() == std::io::ErrorKind::InvalidData => {
            SendError::Unsafe { peer, why: said(&why.to_string()) }
        }
        Error::Io(why) => SendError::BrokenOff { peer, why: said(&why.kind().to_string()) },
        Error::Rustls(why) => SendError::Unsafe { peer, why: said(&why.to_string()) },
        Error::Tls(_) | Error::TlsRequired | Error::Pem(_) => SendError::Unsafe { peer, why: "TLS failed".to_owned() },
        Error::Protocol(_) | Error::Http(_) | Error::LargeResponseHeader(..) => {
            SendError::BrokenOff { peer, why: "its answer is not HTTP".to_owned() }
        }
        _ => SendError::BrokenOff { peer, why: "the exchange failed".to_owned() },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_error_repeats_a_secret_address() {
        let url = "https://hooks.quillmoor.example/services/T0KENT0KEN?key=geheimnis";
        for error in [
            Error::BadUri(url.to_owned()),
            Error::RequireHttpsOnly(url.to_owned()),
            Error::ConnectProxyFailed(url.to_owned()),
            Error::Io(std::io::Error::other(url.to_owned())),
            Error::Other(url.to_owned().into()),
            Error::HostNotFound,
        ] {
            let told = trouble(error, &peer(url, true)).to_string();
            assert!(!["T0KEN", "geheimnis", "quillmoor"].iter().any(|part| told.contains(part)), "{told}");
        }
        let told = without("no POST to /services/T0KENT0KEN?key=geheimnis here", url);
        assert_eq!(told, "no POST to /…/…?key=… here");
        assert_eq!(peer(url, false), "hooks.quillmoor.example");
    }
}
