//! Mail through a real server: what arrives, for whom, and how soon after the file that caused it.

use std::ffi::OsStr;
use std::fs;

use serde_json::json;

use super::site::{LOFT, Said, Site};
use super::tools::{Server, certificates, python, silent_server};

/// A mail server that keeps what it is sent in the site's folder `mails`.
fn mail_server(python: &str, site: &Site, guard: &[&OsStr]) -> Server {
    let folder = site.path("mails");
    fs::create_dir_all(&folder).unwrap();
    Server::start(python, "mail_server.py", &[&[folder.as_os_str()], guard].concat())
}

fn configured(site: &Site, port: u16, to: &[&str]) {
    let to = json!(to);
    let channel = format!(
        "\n[[channel]]\nid = \"mail\"\nkind = \"mail\"\nserver = \"127.0.0.1\"\nport = {port}\nsecurity = \"none\"\n\
         from = \"twinwhite@loft.example\"\nto = {to}\n"
    );
    site.write("twinwhite.toml", format!("{LOFT}{channel}"));
}

/// The mails that arrived, in order.
fn mails(site: &Site) -> Vec<String> {
    let names = site.names("mails").into_iter().filter(|name| name.ends_with(".eml"));
    names.map(|name| fs::read_to_string(site.path(&format!("mails/{name}"))).unwrap().replace("\r\n", "\n")).collect()
}

/// How many messages went out by mail, as the ledger has it.
fn sent(site: &Site) -> i64 {
    let sent = "SELECT count(*) FROM outbox WHERE state = 'sent' AND channel = 'mail'";
    site.ledger().query_row(sent, (), |row| row.get(0)).unwrap()
}

#[test]
fn an_alert_arrives_as_a_mail() {
    let Some(python) = python(&["aiosmtpd"]) else { return };
    let site = Site::bare();
    let server = mail_server(python, &site, &[]);
    configured(&site, server.port, &["ines@loft.example"]);
    let daemon = site.daemon();
    site.write("inbox/bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    daemon.until("the mail", || !mails(&site).is_empty());
    let mail = mails(&site).remove(0);
    for part in [
        "Subject: bad.csv: the file was refused - Harbour loft\n",
        "From: twinwhite@loft.example\n",
        "Auto-Submitted: auto-generated\n",
        "Content-Type: multipart/alternative;",
        "Content-Type: text/plain; charset=utf-8\n",
        "Content-Type: text/html; charset=utf-8\n",
        "\nbad.csv: the file was refused\n",
        "lustre",
        "twinwhite ack 1\n",
    ] {
        assert!(mail.contains(part), "{part}\n{mail}");
    }
    assert!(daemon.stop().success());
    assert_eq!(mails(&site).len(), 1);
    site.audit();
}

#[test]
fn one_who_is_refused_does_not_keep_the_others_from_hearing() {
    let Some(python) = python(&["aiosmtpd"]) else { return };
    let site = Site::bare();
    let server = mail_server(python, &site, &[]);
    configured(&site, server.port, &["nobody@loft.example", "ines@loft.example"]);
    let said = site.ok("check --send mail");
    assert!(said.starts_with("'mail' took a test message."), "{said}");
    let remark = format!(
        "mail server 127.0.0.1, port {} refuses for good, while the others get it: nobody@loft.example: 550",
        server.port
    );
    assert!(said.contains(&format!("But {remark}")), "{said}");
    assert!(mails(&site)[0].starts_with("To: ines@loft.example\n"), "{}", mails(&site)[0]);
    // What a daemon finds out so is still told by `messages` and `status`.
    let daemon = site.daemon();
    site.write("inbox/bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    daemon.wait_for(&[&remark]);
    daemon.until("the mark", || sent(&site) == 1);
    assert!(daemon.stop().success());
    assert!(site.ok("messages").contains(&format!("\n    but {remark}")), "{}", site.ok("messages"));
    assert!(site.run("status").out.contains(&format!("'mail' works, but {remark}")));
    site.audit();
    configured(&site, server.port, &["nobody@loft.example"]);
    let said = site.run("check --send mail");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("'mail' does not work") && said.err.contains("550"), "{}", said.err);
    let port = server.port;
    drop(server);
    configured(&site, port, &["ines@loft.example"]);
    let said = site.run("check --send mail");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("cannot be reached"), "{}", said.err);
    let said = site.run("check --send pigeon");
    assert_eq!((said.code, said.err.as_str()), (1, "twinwhite: there is no channel 'pigeon'; there is log, mail\n"));
}

/// A server on localhost that wants STARTTLS and a password, with these further lines of configuration.
fn guarded(site: &Site, port: u16, lines: &str) {
    let channel = format!(
        "\n[[channel]]\nid = \"mail\"\nkind = \"mail\"\nserver = \"localhost\"\nport = {port}\n\
         from = \"twinwhite@loft.example\"\nto = [\"ines@loft.example\"]\nuser = \"twinwhite\"\n{lines}\n"
    );
    site.write("twinwhite.toml", format!("{LOFT}{channel}"));
}

/// What it says when it fails, which never names a password.
#[track_caller]
fn refused(said: &Said, parts: &[&str]) {
    let all = format!("{}{}", said.out, said.err);
    assert_eq!(said.code, 1, "{all}");
    for part in parts {
        assert!(said.err.contains(part), "{part}: {all}");
    }
    for secret in ["open-sesame", "open-barley", "b3Blbi1"] {
        assert!(!all.contains(secret), "{all}");
    }
}

#[test]
fn behind_starttls_and_a_password() {
    let Some(python) = python(&["aiosmtpd"]) else { return };
    let site = Site::bare();
    let [certificate, key] = certificates(&site);
    let guard = [certificate.as_os_str(), key.as_os_str(), OsStr::new("twinwhite"), OsStr::new("open-sesame")];
    let server = mail_server(python, &site, &guard);
    site.write("mail.secret", "open-sesame\n");
    site.write("wrong.secret", "open-barley\n");
    let port = server.port;
    let send = || site.run("check --send mail");
    guarded(&site, port, "password_file = \"mail.secret\"\nca_file = \"house.pem\"");
    site.ok("check --send mail");
    assert_eq!(mails(&site).len(), 1);
    guarded(&site, port, "password_env = \"LOFT_MAIL\"\nca_file = \"house.pem\"");
    let said = site.run_with(&["check", "--send", "mail"], &[("LOFT_MAIL", "open-sesame")]);
    assert_eq!((said.code, mails(&site).len()), (0, 2), "{}", said.err);
    refused(&send(), &["LOFT_MAIL is not set"]);
    guarded(&site, port, "password_file = \"wrong.secret\"\nca_file = \"house.pem\"");
    refused(&send(), &["does not accept user 'twinwhite' with this password (535", "correct"]);
    guarded(&site, port, "password_file = \"mail.secret\"");
    refused(&send(), &["no safe line to mail server localhost", "ca_file"]);
    guarded(&site, port, "password_file = \"mail.secret\"\nca_file = \"house.pem\"\nsecurity = \"tls\"");
    refused(&send(), &["no safe line", "try security = \"starttls\""]);
    guarded(&site, port, "password_file = \"mail.secret\"\nca_file = \"mail.secret\"");
    refused(&send(), &["mail.secret holds no certificate"]);
    let plain = mail_server(python, &site, &[]);
    guarded(&site, plain.port, "password_file = \"mail.secret\"\nca_file = \"house.pem\"");
    refused(&send(), &["does not offer STARTTLS", "try security = \"tls\""]);
    assert_eq!(mails(&site).len(), 2, "nothing leaves on a line that is not as safe as it is meant to be");
}

#[test]
fn one_who_is_put_off_does_not_keep_the_others_from_hearing() {
    let Some(python) = python(&["aiosmtpd"]) else { return };
    let site = Site::bare();
    let server = mail_server(python, &site, &[]);
    configured(&site, server.port, &["later@loft.example", "ines@loft.example"]);
    refused(&site.run("check --send mail"), &["puts off some, while the others got it", "later@loft.example: 450"]);
    assert!(mails(&site)[0].starts_with("To: ines@loft.example\n"), "{}", mails(&site)[0]);
    // Each is told everything, and nothing twice, also where more has come meanwhile.
    let daemon = site.daemon();
    site.write("inbox/first.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    daemon.until("the first attempt", || mails(&site).len() == 2);
    site.write("inbox/second.csv", "time,device,gloss\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    daemon.until("the second attempt", || mails(&site).len() == 3);
    site.write("mails/later", "");
    daemon.until("the mark", || sent(&site) == 2);
    let told: Vec<[bool; 4]> = mails(&site)[1..]
        .iter()
        .map(|mail| {
            let whom = mail.lines().next().unwrap();
            [whom.contains("ines"), whom.contains("later"), mail.contains("first.csv"), mail.contains("second.csv")]
        })
        .collect();
    assert_eq!(told, [[true, false, true, false], [true, false, false, true], [false, true, true, true]]);
    assert!(daemon.stop().success());
    site.audit();
}

#[test]
fn a_server_that_falls_silent_is_left() {
    let site = Site::bare();
    configured(&site, silent_server("220 loft.example ESMTP\r\n"), &["ines@loft.example"]);
    refused(&site.run("check --send mail"), &["no answer within 10 s"]);
    configured(&site, silent_server("GET / HTTP/1.1\r\n"), &["ines@loft.example"]);
    refused(&site.run("check --send mail"), &["mail server 127.0.0.1"]);
}

#[test]
fn check_looks_at_what_a_channel_needs() {
    let site = Site::bare();
    guarded(&site, 2525, "password_file = \"mail.secret\"\nca_file = \"house.pem\"");
    let said = site.run("check");
    assert_eq!(said.code, 1);
    assert!(
        said.out.contains("mail.secret cannot be read") && said.out.contains("house.pem cannot be read"),
        "{}",
        said.out
    );
    let _ = certificates(&site);
    let secret = site.write("mail.secret", "open-sesame");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let allow = |mode| fs::set_permissions(&secret, fs::Permissions::from_mode(mode)).unwrap();
        allow(0o644);
        let said = site.ok("check");
        assert!(said.contains("everybody on this machine can read") && !said.contains("open-sesame"), "{said}");
        allow(0o600);
    }
    assert!(!site.ok("check").contains("everybody"), "{secret:?}");
}
