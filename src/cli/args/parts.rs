//! What several commands take, and what stands below a command.

use std::path::PathBuf;

use clap::{Args, Subcommand};

/// What can be done with the ledger.
#[derive(Debug, Subcommand)]
pub enum Audit {
    /// Recompute every hash, every signed head and every derived table; or check a certificate, anywhere
    #[command(after_help = "\
Examples:
  twinwhite audit verify                                  exit code 1 when something does not match
  twinwhite audit verify --head kept.head                 the ledger must hold the head that somebody kept
  twinwhite audit verify quillmoor-77.proof.json --head kept.head
  twinwhite audit verify quillmoor-77.proof.json --head 7ZK3-0QWE-11M9
  twinwhite audit verify quillmoor-77.proof.json --head kept.head --file calendar.pdf

A certificate needs neither ledger nor configuration. HEAD is a file that holds a signed head (a mail will do), or a short code.
The file proves; a code of 60 bits is for the eye. Without --head only the inner agreement of a certificate is checked.")]
    Verify {
        /// A certificate, as `audit prove` makes it [default: the whole ledger].
        certificate: Option<PathBuf>,
        /// A signed head that was kept elsewhere, or its short code; more than once for several.
        #[arg(long, value_name = "HEAD")]
        head: Vec<String>,
        /// The verifier key that was kept elsewhere, for a certificate.
        #[arg(long, value_name = "KEY", requires = "certificate")]
        key: Option<String>,
        /// A print file: is it the one that was signed off under this certificate?
        #[arg(long, value_name = "PRINTFILE", requires = "certificate")]
        file: Option<PathBuf>,
        #[allow(missing_docs)]
        #[command(flatten)]
        output: Json,
    },

    /// The entries of the ledger in words, all or those that fit
    #[command(after_help = "\
Examples:
  twinwhite audit show --kind sign-off
  twinwhite audit show --job 'harbour calendar 2027'
  twinwhite audit show --station bay --from 2026-03-01 --until 2026-03-31
  twinwhite audit show --by ines --last 20 --json

An entry is never changed: one that does not match its leaf is marked. One that was taken back is shown beside the entry that takes
it back.")]
    Show {
        #[allow(missing_docs)]
        #[command(flatten)]
        which: Which,
        #[allow(missing_docs)]
        #[command(flatten)]
        output: Json,
    },

    /// The whole ledger as text: JSON Lines, CSV and signed heads, with the description that another checker needs
    #[command(after_help = "\
Examples:
  twinwhite audit export ledger-2026-12
  python3 contrib/check_ledger.py ledger-2026-12 --head kept.head")]
    Export {
        /// A new or empty folder.
        folder: PathBuf,
        #[allow(missing_docs)]
        #[command(flatten)]
        output: Json,
    },

    /// The newest signed head and its short code, to be kept outside; signs one where there is news
    #[command(after_help = "\
Examples:
  twinwhite audit head
  twinwhite audit head --json

Whoever keeps it can later prove that nothing up to it was changed. Send it to somebody who cannot write here.")]
    Head {
        #[allow(missing_docs)]
        #[command(flatten)]
        output: Json,
    },

    /// A certificate of one entry: the entry, its proof, a signed head and the key in one file
    #[command(after_help = "\
Examples:
  twinwhite audit prove 77 -o quillmoor-77.proof.json
  twinwhite audit prove 77                                to standard output
  twinwhite audit prove 77 --head kept.head -o proof.json connected with a head that somebody kept")]
    Prove {
        /// The entry's number.
        seq: i64,
        /// A file with a signed head that somebody kept; the certificate then shows that it is of the same history.
        #[arg(long, value_name = "FILE")]
        head: Option<PathBuf>,
        /// The file to write. Of a sign-off its page for people is written beside it, of the same name but .html.
        #[arg(short, long = "out", value_name = "FILE")]
        out: Option<PathBuf>,
        #[allow(missing_docs)]
        #[command(flatten)]
        output: Json,
    },

    /// The key that signs heads: show it, replace it, or give it up
    #[command(after_help = "\
Examples:
  twinwhite audit key                                     the verifier key, to be kept outside
  twinwhite audit key --rotate 'a year is over'           the old key signs for the new one
  twinwhite audit key --lost 'the disk broke'             nothing vouches for the new one: tell everybody who keeps the old

The private key lies in a file that only twinwhite's user may read. Keep a copy where nobody else gets at it.")]
    Key {
        /// Replace it, and say why; the old key must still be there.
        #[arg(long, value_name = "REASON", conflicts_with = "lost")]
        rotate: Option<String>,
        /// It is gone, or somebody else may have it: replace it, and say why.
        #[arg(long, value_name = "REASON")]
        lost: Option<String>,
        #[allow(missing_docs)]
        #[command(flatten)]
        output: Json,
    },
}

/// What `maintenance --help` says at its end.
pub const MAINTENANCE_HELP: &str = "\
Examples:
  twinwhite maintenance                                   what stands and what was
  twinwhite --operator ines maintenance bay --until 2026-12-04 --reason 'the walls are being painted'
  twinwhite maintenance --whole-site --until '2026-12-04 18:00' --reason 'no power on Friday'
  twinwhite maintenance --end 3

Alerts are raised and verdicts are judged all the same. When it is over, what still stands is told, and what came and went
meanwhile is told in one line. A day as the end means its evening.";

/// What `sign --help` says at its end.
pub const SIGN_HELP: &str = "\
Examples:
  twinwhite --operator ines sign bay --job 'harbour calendar 2027'
  twinwhite --operator ines sign bay --job 4711 --file calendar.pdf --out certificates
  twinwhite --operator ines sign booth --job 4712 --override 'the client sat beside me and accepts it'

Refused where the match is out or unknown, or a reading is missing or too old, unless --override says why; that is recorded and shown.
The certificate is one small file, and a page of HTML beside it. The code is for writing down: whoever has it, or the signed head, can
check the certificate without this computer. `twinwhite retract SEQ --reason TEXT` takes a sign-off back by a new entry.";

/// What `backup --help` ends with.
pub const BACKUP_HELP: &str = "\
Examples:
  twinwhite backup usb/quillmoor.backup
  twinwhite backup usb/quillmoor.backup --json            from a timer, each night

It is made aside, checked from the first entry to the last, signed heads included, and then takes its name in one step. An older
backup of the same history under that name makes room, or is kept beside it where it still has spectra that were pruned since;
anything else there is refused. Not in it: the private key, the configuration's file and secrets, and the archive.";

/// What is approved.
#[derive(Debug, Clone, Args)]
pub struct Signing {
    /// The station at which it was judged.
    pub station: String,
    /// What was approved: a name or number of the house.
    #[arg(long, value_name = "NAME")]
    pub job: String,
    /// The file that was printed; its hash goes on record, not the file.
    #[arg(long, value_name = "PRINTFILE")]
    pub file: Option<PathBuf>,
    /// Sign although the program objects, and say why.
    #[arg(long = "override", value_name = "REASON")]
    pub over: Option<String>,
    /// The folder for certificate and page.
    #[arg(short, long, value_name = "FOLDER", default_value = ".")]
    pub out: PathBuf,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub output: Json,
}

/// Which spectra go.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
Examples:
  twinwhite prune --spectra-before 2024-07-01             says what would go
  twinwhite prune --spectra-before 2024-07-01 --yes       takes it out

White and level of each reading stay, and so do those spectra that estimates rest on, and all of newer readings. Every leaf, root,
head and certificate stays valid: a new entry names what was taken out of which, and `audit verify` holds both against each other.
It cannot be undone; a backup made before has everything.")]
pub struct Pruning {
    /// Of readings made before this: a day, or a local time, or RFC 3339.
    #[arg(long, value_name = "TIME")]
    pub spectra_before: String,
    /// Do it, and not only say what would go.
    #[arg(long)]
    pub yes: bool,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub output: Json,
}

/// Which entries are shown; each that is given must fit.
#[derive(Debug, Clone, Args)]
pub struct Which {
    /// Only what names this display, lamp, paper or instrument.
    #[arg(long, value_name = "THING")]
    pub device: Option<String>,
    /// Only what names this station.
    #[arg(long, value_name = "STATION")]
    pub station: Option<String>,
    /// Only the sign-offs of this job.
    #[arg(long, value_name = "NAME")]
    pub job: Option<String>,
    /// Only what this operator did.
    #[arg(long, value_name = "OPERATOR")]
    pub by: Option<String>,
    /// Only entries of this kind, like sign-off, reading, event, retract, verdict or alert.
    #[arg(long, value_name = "KIND")]
    pub kind: Option<String>,
    /// Only what was written at that time or later; a day means its beginning.
    #[arg(long, value_name = "TIME")]
    pub from: Option<String>,
    /// Only what was written by that time; a day means its end.
    #[arg(long, value_name = "TIME")]
    pub until: Option<String>,
    /// Only the last of them.
    #[arg(long, value_name = "COUNT")]
    pub last: Option<usize>,
}

/// What `init` would ask for.
#[derive(Debug, Clone, Args)]
pub struct Answers {
    /// The folder to begin in; made if it is not there [default: this one].
    #[arg(long, value_name = "FOLDER")]
    pub dir: Option<PathBuf>,
    /// The screen: name, white, level.
    #[arg(long, value_name = "ANSWER")]
    pub display: Option<String>,
    /// The lamp: name, white, level, kind.
    #[arg(long, value_name = "ANSWER")]
    pub lamp: Option<String>,
    /// The paper: name, and its white or what sort it is.
    #[arg(long, value_name = "ANSWER")]
    pub paper: Option<String>,
    /// The folder where readings will be dropped.
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<String>,
}

/// What is inspected, and how it is shown.
#[derive(Debug, Clone, Args)]
pub struct Look {
    /// The files.
    #[arg(required = true)]
    pub files: Vec<PathBuf>,
    /// Only the reading with this id.
    #[arg(long, value_name = "ID")]
    pub only: Option<String>,
    /// Every figure of every reading, also where there are many.
    #[arg(long)]
    pub full: bool,
    /// Draw spectra and hue shifts into this file.
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,
    /// The tables of ISO 23603, if you own them, as CSV: nm,standard_1…5,d50_1…5.
    #[arg(long, value_name = "FILE")]
    pub tables: Option<PathBuf>,
}

/// How a command answers.
#[derive(Debug, Clone, Copy, Args)]
pub struct Json {
    /// Answer in JSON, numbers unrounded.
    #[arg(long)]
    pub json: bool,
}

/// The instant a query is asked for.
#[derive(Debug, Clone, Args)]
pub struct AsOf {
    /// Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time.
    #[arg(long, value_name = "TIME")]
    pub as_of: Option<String>,
}

/// The instant a query is asked for, and the instant whose knowledge answers it.
#[derive(Debug, Clone, Args)]
pub struct When {
    #[allow(missing_docs)]
    #[command(flatten)]
    pub at: AsOf,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub known: KnownAt,
}

/// The instant whose knowledge answers a query.
#[derive(Debug, Clone, Args)]
pub struct KnownAt {
    /// Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of
    /// --as-of the earlier of both counts.
    #[arg(long, value_name = "TIME")]
    pub known_at: Option<String>,
}
