//! Webhooks through a real receiver, whose Python recomputes the signature: what arrives, and what is said when nothing does.

use std::ffi::OsStr;
use std::fs;

use serde_json::Value;
use twinwhite::clock::{Clock, SystemClock};

use super::site::{LOFT, Site, repository};
use super::tools::{Server, certificates, closed_port, python, silent_server};

/// The key of the signature.
const SECRET: &str = "three-old-tiles";
/// A part of an address that is a secret.
const TOKEN: &str = "T0KEN4711";

/// A receiver that keeps what is posted in the site's folder `posts`.
fn receiver(python: &str, site: &Site, tls: &[&OsStr]) -> Server {
    let folder = site.path("posts");
    fs::create_dir_all(&folder).unwrap();
    Server::start(python, "receiver.py", &[&[folder.as_os_str(), OsStr::new(SECRET)], tls].concat())
}

fn configured(site: &Site, lines: &str) {
    site.write("hook.secret", format!("{SECRET}\n"));
    site.write("twinwhite.toml", format!("{LOFT}\n[[channel]]\nid = \"hook\"\nkind = \"webhook\"\n{lines}\n"));
}

/// What was posted, in order.
fn posts(site: &Site) -> Vec<Value> {
    let names = site.names("posts").into_iter().filter(|name| name.ends_with(".json"));
    names.map(|name| serde_json::from_slice(&fs::read(site.path(&format!("posts/{name}"))).unwrap()).unwrap()).collect()
}

/// A header of a post.
fn header<'a>(post: &'a Value, name: &str) -> Option<&'a str> {
    let mut headers = post["headers"].as_object().unwrap().iter();
    headers.find(|(known, _)| known.eq_ignore_ascii_case(name)).and_then(|(_, value)| value.as_str())
}

/// Sends a test message, which fails; what is said, which names no secret.
#[track_caller]
fn failed(site: &Site, parts: &[&str]) -> String {
    let said = site.run("check --send hook");
    assert_eq!(said.code, 1, "{}", said.out);
    for part in parts {
        assert!(said.err.contains(part), "{part}: {}", said.err);
    }
    for secret in [SECRET, TOKEN] {
        assert!(!said.err.contains(secret), "{}", said.err);
    }
    said.err
}

#[test]
fn a_post_is_signed_and_bears_its_key() {
    let Some(python) = python(&["hmac"]) else { return };
    let site = Site::bare();
    let server = receiver(python, &site, &[]);
    configured(&site, &format!("url = \"http://127.0.0.1:{}/taken\"\nsecret_file = \"hook.secret\"", server.port));
    let before = SystemClock::new().now().micros() / 1_000_000;
    site.ok("check --send hook");
    let post = posts(&site).remove(0);
    assert_eq!((&post["signed"], &post["forged"]), (&Value::Bool(true), &Value::Bool(false)), "{post}");
    let signed_at: i64 =
        header(&post, "Twinwhite-Signature").unwrap().split(['=', ',']).nth(1).unwrap().parse().unwrap();
    assert!((before..before + 60).contains(&signed_at), "{post}");
    assert_eq!(header(&post, "Content-Type"), Some("application/json"));
    assert_eq!(header(&post, "Idempotency-Key"), post["body"]["key"].as_str());
    assert_eq!(post["body"]["messages"][0]["state"], "test");
    assert_eq!(post["body"]["site_name"], "Harbour loft");
    configured(&site, &format!("url = \"http://127.0.0.1:{}/taken\"", server.port));
    site.ok("check --send hook");
    let post = posts(&site).remove(1);
    assert_eq!(header(&post, "Twinwhite-Signature"), None, "without a secret there is no signature");
}

#[test]
fn the_readme_says_how_a_signature_is_checked() {
    let script = fs::read_to_string(repository("tests/fixtures/outside/receiver.py")).unwrap();
    let check = script.split("# As README.md says it.\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let readme = fs::read_to_string(repository("README.md")).unwrap();
    assert!(check.lines().count() == 4 && readme.contains(&format!("```python\n{check}\n```\n")), "{check}");
}

#[test]
fn what_a_receiver_answers_is_said() {
    let Some(python) = python(&["hmac"]) else { return };
    let site = Site::bare();
    let server = receiver(python, &site, &[]);
    let at = |path: &str| {
        configured(&site, &format!("url = \"http://127.0.0.1:{}{path}\"\nsecret_file = \"hook.secret\"", server.port));
    };
    at("/broken");
    failed(&site, &["127.0.0.1 did not take it: 500", "the shelf is full"]);
    at("/cut");
    failed(&site, &["broke off", "may have taken"]);
    at("/moved");
    failed(&site, &["302", "redirects are not followed"]);
    let paths: Vec<Value> = posts(&site).iter().map(|post| post["path"].clone()).collect();
    assert_eq!(paths, ["/broken", "/cut", "/moved"], "each was asked once and none followed");
    configured(&site, &format!("url = \"http://127.0.0.1:{}/\"", closed_port()));
    failed(&site, &["127.0.0.1 cannot be reached", "refuses connections"]);
    configured(&site, "url = \"https://nowhere.quillmoor.invalid/\"");
    failed(&site, &["nowhere.quillmoor.invalid cannot be reached"]);
    configured(&site, &format!("url = \"http://127.0.0.1:{}/\"", silent_server("")));
    failed(&site, &["no answer within 20 s"]);
}

#[test]
fn an_address_that_is_a_secret_is_never_said() {
    let Some(python) = python(&["hmac"]) else { return };
    let site = Site::bare();
    let server = receiver(python, &site, &[]);
    configured(&site, "url_file = \"hook.url\"\nsecret_file = \"hook.secret\"");
    let at = |url: String| site.write("hook.url", url);
    at(format!("http://127.0.0.1:{}/taken/{TOKEN}\n", server.port));
    let said = site.ok("check --send hook");
    assert!(!said.contains(TOKEN) && posts(&site)[0]["path"] == format!("/taken/{TOKEN}"), "{said}");
    for path in ["echo", "broken", "cut"] {
        at(format!("http://127.0.0.1:{}/{path}/{TOKEN}?{TOKEN}={TOKEN}", server.port));
        let said = failed(&site, &["the web address"]);
        assert!(!said.contains(&server.port.to_string()), "{said}");
    }
    for url in [
        format!("http://127.0.0.1:{}/{TOKEN}", closed_port()),
        format!("http://{TOKEN}.quillmoor.example/"),
        format!("https://{TOKEN}:x@quillmoor.example/"),
        format!("{TOKEN} is no address"),
        format!("https://{TOKEN}.quillmoor.invalid/"),
    ] {
        at(url);
        failed(&site, &["the web address"]);
    }
}

#[test]
fn check_says_where_messages_go_in_the_clear() {
    let site = Site::bare();
    configured(&site, "url = \"http://192.168.1.20/in\"");
    let said = site.ok("check");
    assert!(said.contains("'hook' posts in the clear"), "{said}");
    configured(&site, "url = \"http://localhost/in\"");
    assert!(!site.ok("check").contains("in the clear"));
    configured(&site, "url_file = \"hook.url\"");
    site.write("hook.url", format!("http://{TOKEN}.quillmoor.example/"));
    let said = site.run("check");
    assert!(said.code == 1 && said.out.contains("not encrypted") && !said.out.contains(TOKEN), "{}", said.out);
}

#[test]
fn over_tls_only_the_authority_that_is_named_is_trusted() {
    let Some(python) = python(&["hmac"]) else { return };
    let site = Site::bare();
    let [certificate, key] = certificates(&site);
    let server = receiver(python, &site, &[certificate.as_os_str(), key.as_os_str()]);
    let url = format!("url = \"https://localhost:{}/taken\"", server.port);
    configured(&site, &format!("{url}\nca_file = \"house.pem\""));
    site.ok("check --send hook");
    configured(&site, &url);
    failed(&site, &["no safe line to localhost", "certificate"]);
    assert_eq!(posts(&site).len(), 1);
}

#[test]
fn what_was_cut_off_is_posted_again_under_the_same_key() {
    let Some(python) = python(&["hmac"]) else { return };
    let site = Site::bare();
    let server = receiver(python, &site, &[]);
    configured(&site, &format!("url = \"http://127.0.0.1:{}/once-cut\"\nsecret_file = \"hook.secret\"", server.port));
    let daemon = site.daemon();
    site.write("inbox/bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    daemon.until("the second post", || posts(&site).len() == 2);
    daemon.until("the mark", || {
        let sent = "SELECT count(*) FROM outbox WHERE state = 'sent' AND channel = 'hook'";
        site.ledger().query_row(sent, (), |row| row.get::<_, i64>(0)).unwrap() == 1
    });
    assert!(daemon.stop().success());
    let posts = posts(&site);
    assert_eq!(posts[0]["body"], posts[1]["body"]);
    assert_eq!(posts[0]["body"]["messages"][0]["key"], "harbour-loft/1/raised");
    assert_eq!(header(&posts[0], "Idempotency-Key"), header(&posts[1], "Idempotency-Key"));
    assert_eq!((posts.len(), &posts[1]["signed"]), (2, &Value::Bool(true)));
    site.audit();
}
