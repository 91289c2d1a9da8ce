//! The one-page certificate of a sign-off that is handed to a client: the same facts as the file beside it, to be read and printed.
//!
//! It loads nothing, stands in black on white since it is printed, and says how it is checked and what it cannot prove. Pure.

use maud::{DOCTYPE, html};

use super::{facts, verdict_line, who};
use crate::ledger::Certificate;
use crate::ledger::entry::sign_off::SignOff;

/// What a signature under this scheme cannot show.
pub const LIMIT: &str = "What this cannot show: that the person named was there, that the instruments told the truth beyond their \
certificates, whether the sign-off was withdrawn since (ask for it to be proven anew), or that the ledger was not rewritten as a \
whole by somebody who holds its key and every copy of its heads. A head that you keep yourself rules the last out. This page is \
for reading: what counts is what the check of the file says.";

const STYLE: &str = "@page{margin:18mm}body{font:11pt/1.45 Georgia,serif;color:#111;max-width:44em;margin:2em auto;padding:0 1em}\
h1{font-size:1.5em;margin:0}h1+p{margin:.2em 0 1.2em;color:#444}.flag{border:2px solid #111;padding:.6em .9em;margin:1em 0}\
table{border-collapse:collapse;width:100%}th{text-align:left;font-weight:normal;color:#555;white-space:nowrap;padding:.25em 1.2em .25em 0;\
vertical-align:top}td{padding:.25em 0;overflow-wrap:anywhere}tr{border-top:1px solid #ccc}.code{font:bold 1.5em/1.6 monospace;\
letter-spacing:.08em}pre{font-size:8.5pt;white-space:pre-wrap;overflow-wrap:anywhere;border-left:3px solid #ccc;padding-left:.8em}\
small{color:#444}";

/// The page. `file` is the name of the certificate's own file; `withdrawn` says how the sign-off was taken back, where it was.
pub fn page(site: &str, signed: &SignOff, certificate: &Certificate, file: &str, withdrawn: Option<&str>) -> String {
    let entry = &certificate.entry;
    let title = match withdrawn {
        None => format!("{}: signed off", signed.job),
        Some(_) => format!("{}: sign-off withdrawn", signed.job),
    };
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (STYLE) }
            }
            body {
                h1 { (title) }
                p { (site) " · " (signed.local_time) " · " (who(signed)) }
                @if let Some(how) = withdrawn { div.flag { strong { "It no longer stands. " } (how) } }
                @if let Some(over) = &signed.over {
                    div.flag {
                        strong { "Signed although the program objected. " }
                        (over.objections.join(" ")) br;
                        "Reason given: " (over.reason)
                    }
                }
                p { strong { (verdict_line(signed)) "." } }
                @for reason in &signed.state.reasons { p { (reason) } }
                table {
                    @for (name, said) in facts(signed).into_iter().filter(|(name, _)| !["job", "approved", "match", "reasons"].contains(name)) {
                        tr { th { (name) } td { (said) } }
                    }
                }
                h2 { "To check it" }
                p { "Write this code down, where nobody of the print room can change it:" }
                p.code { (certificate.code) }
                p {
                    "This is entry " (entry.seq) " of the ledger of " (entry.site) ". The file " code { (file) }
                    " proves that it stands there unchanged: "
                    code { "twinwhite audit verify " (file) " --head HEAD" }
                    ", HEAD being the code above as somebody wrote it down at the time, or better the signed head below as somebody kept it. "
                    "Any other checker that follows the published description will do."
                }
                pre { (certificate.head) }
                p { small { "Verifier key: " (certificate.key) } }
                p { small { (LIMIT) } }
            }
        }
    };
    markup.into_string()
}
