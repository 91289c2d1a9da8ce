//! Mail through a real server: what arrives, for whom, and how soon after the file that caused it.

use std::fs;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

use serde_json::json;

use super::site::{LOFT, Site, repository};
use super::tools::python;

/// A mail server that keeps what it is sent in the site's folder `mails`.
struct Server {
    child: Child,
    port: u16,
}

impl Server {
    fn start(python: &str, site: &Site) -> Self {
        fs::create_dir_all(site.path("mails")).unwrap();
        let mut child = Command::new(python)
            .arg(repository("tests/fixtures/outside/mail_server.py"))
            .arg(site.path("mails"))
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        Self { child, port: line.trim().parse().unwrap() }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
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

#[test]
fn an_alert_arrives_as_a_mail() {
    let Some(python) = python(&["aiosmtpd"]) else { return };
    let site = Site::bare();
    let server = Server::start(python, &site);
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
    let server = Server::start(python, &site);
    configured(&site, server.port, &["nobody@loft.example", "ines@loft.example"]);
    let said = site.ok("check --send mail");
    assert!(said.starts_with("'mail' took a test message."), "{said}");
    assert!(said.contains("refuses nobody@loft.example for good") && said.contains("550"), "{said}");
    assert!(mails(&site)[0].starts_with("To: ines@loft.example\n"), "{}", mails(&site)[0]);
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
