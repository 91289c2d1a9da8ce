//! What can be typed: the one definition that parsing and `--help` come from.

mod json;
mod parts;

use std::path::PathBuf;

use clap::{Parser, Subcommand};

pub use parts::{
    Answers, AsOf, Audit, BACKUP_HELP, Json, KnownAt, Look, MAINTENANCE_HELP, Pruning, SIGN_HELP, Signing, When, Which,
};

/// Keeps watch over the match between your screens and the lamps you judge prints under.
///
/// Drop the readings you already make into a folder; twinwhite says whether each station's match still holds, how sure
/// that is, when it will not, and what is the cheapest thing to do about it.
#[derive(Debug, Parser)]
#[command(
    name = "twinwhite",
    version,
    disable_help_subcommand = true,
    after_help = "\
Start here:
  twinwhite demo                        look around in an invented print room first
  twinwhite init                        four questions, and a watch of my own is ready
  twinwhite status                      does the match hold, and what is there to do?

Exit codes:
  0    done
  1    something failed, and standard error says what
  2    it was called wrongly
  `status --exit-code` ends with 0 matched, 10 at risk, 11 out, 12 unknown

Environment:
  TWINWHITE_CONFIG    the configuration file, as --config
  NO_COLOR            if it holds anything, nothing is set in bold
  COLUMNS             width of the text, where the terminal does not tell its own; in a pipe, of drawings alone
  TZ                  the time zone that `init` writes, before the system's own

Files:
  twinwhite.toml                   the configuration, in the current folder
  ~/.config/twinwhite/twinwhite.toml, /etc/xdg/twinwhite/twinwhite.toml, /etc/twinwhite/twinwhite.toml
                                   else there (Linux)

Never look into a lamp. Work on ballasts, dimmers and wiring is for qualified people; local codes come first."
)]
pub struct Cli {
    /// The configuration file [default: ./twinwhite.toml, else the user's, else the system's].
    #[arg(long, global = true, env = "TWINWHITE_CONFIG", value_name = "FILE")]
    pub config: Option<PathBuf>,

    /// Who is doing this, one of the configuration's operators; goes into the ledger [default: the login name, marked as that].
    #[arg(long, global = true, value_name = "ID")]
    pub operator: Option<String>,

    #[allow(missing_docs)]
    #[command(subcommand)]
    pub command: Command,
}

/// One command.
#[derive(Debug, Subcommand)]
#[allow(missing_docs)]
pub enum Command {
    /// Begin a watch: four questions, and a commented configuration that is ready for `add` and `run`
    #[command(after_help = "\
Examples:
  twinwhite init
  twinwhite init --dir prints
  twinwhite init --display 'Desk screen, 120 cd/m2' --lamp 'Desk lamp, D50, led' --paper 'Rag matte, 96.8 0.6 -1.9' --folder inbox

Enter takes what stands in brackets. Of screen and lamp say a name, then if you like a white (D50, D55, D65, or kelvin such as
5800 K), a level (cd/m2 or lx) and the lamp's kind (led, fluorescent, halogen); of the paper a name, and L a b or one of matte,
glossy, uncoated, cream. In a pipe each line is one answer. A configuration that is there already is never touched.")]
    Init(Answers),

    /// Watch the folder, judge the stations, raise alerts, until stopped
    #[command(after_help = "\
Examples:
  twinwhite run
  twinwhite --config /etc/twinwhite/twinwhite.toml run
  twinwhite run --new-ledger            the archive holds files but the old ledger is gone for good

Send SIGHUP to read the configuration again; SIGTERM or Ctrl-C to stop.")]
    Run {
        /// Begin a new ledger although the archive is not empty; the first entry says so.
        #[arg(long)]
        new_ledger: bool,
    },

    /// Enter one reading by hand
    #[command(after_help = "\
Examples:
  twinwhite add bay-screen x=0.3128 y=0.3291 luminance_cd_m2=144
  twinwhite add bay-lamp cct_k=6480 duv=0.0012 illuminance_lx=497 instrument=spectro-1
  twinwhite add bay-lamp u_prime=0.1979 v_prime=0.4690 illuminance_lx=497 time='2026-03-04 09:30'

Fields are named as the columns of a CSV file; without time= the reading is of now.")]
    Add {
        /// The display or lamp that was read.
        device: String,
        /// Fields of the reading, as name=value.
        #[arg(required = true, value_name = "FIELD=VALUE")]
        fields: Vec<String>,
        #[command(flatten)]
        output: Json,
    },

    /// Take files of readings or events in once, daemon or no daemon; the files stay where they are
    #[command(after_help = "\
Examples:
  twinwhite ingest readings.csv
  twinwhite ingest 2025/*.csv events.jsonl
  twinwhite ingest readings.csv --json

Says what was taken, held back, seen before and refused. Exit code 1 if any file was refused.")]
    Ingest {
        /// The files.
        #[arg(required = true)]
        files: Vec<PathBuf>,
        /// The device of all readings in files that name none.
        #[arg(long, value_name = "ID")]
        device: Option<String>,
        #[command(flatten)]
        output: Json,
    },

    /// The colorimetry of the readings in a file; stores nothing, needs no configuration
    #[command(after_help = "\
Examples:
  twinwhite inspect readings.csv
  twinwhite inspect lamp.spdx --svg lamp.svg
  twinwhite inspect lamps.csv --only shelf-lamp
  twinwhite inspect lamps.json --json
  twinwhite --config twinwhite.toml inspect log-7.csv       with the [[mapping]] of a configuration

Of a lamp's spectrum: whether to judge prints under it, why, and which colours it pushes where; then every figure. A spectrum
stands in columns nm380, nm385, … at any steps from 400 nm or below to 700 nm or above, in CGATS.17 or in TM-27.")]
    Inspect {
        #[command(flatten)]
        look: Look,
        #[command(flatten)]
        output: Json,
    },

    /// Which of these lamps should a station have, and to what must its screen be calibrated to meet each?
    #[command(after_help = "\
Examples:
  twinwhite compare shop.csv --station bay
  twinwhite compare a.spdx b.spdx labels.csv --station bay --json

Each reading of a file is one candidate: spectra tell most, coordinates less, a label (source = label, with cct_k and ra)
least; it says how much a measurement would settle. Measure at the print, with the lamp warmed up.")]
    Compare {
        /// Files with readings of the lamps.
        #[arg(required = true)]
        files: Vec<PathBuf>,
        /// The station that needs a lamp.
        #[arg(long, value_name = "ID")]
        station: String,
        #[command(flatten)]
        when: AsOf,
        #[command(flatten)]
        output: Json,
    },

    /// Does the match hold at each station, since when, why, and what is there to do?
    #[command(after_help = "\
Examples:
  twinwhite status
  twinwhite status bay
  twinwhite status --json
  twinwhite status --as-of 2026-03-04T09:30:00Z       what the readings made up to then say
  twinwhite status --known-at 2026-03-04T09:30:00Z    what twinwhite said then
  twinwhite status --exit-code          0 matched, 10 at risk, 11 out, 12 unknown; the worst station counts")]
    Status {
        /// Only this station.
        station: Option<String>,
        /// Tell the verdict by the exit code: 0 matched, 10 at-risk, 11 out, 12 unknown.
        #[arg(long)]
        exit_code: bool,
        #[command(flatten)]
        when: When,
        #[command(flatten)]
        output: Json,
    },

    /// One thing over time: who it is, readings, model, records, and what corrects them
    #[command(after_help = "\
Examples:
  twinwhite history bay-lamp
  twinwhite history bay-lamp --svg bay-lamp.svg
  twinwhite history spectro-1                         its certificates, adjustments, damage and repairs
  twinwhite history bay-screen --known-at 2026-03-04 --json")]
    History {
        /// The display, lamp, paper or instrument.
        device: String,
        /// Only the newest N readings.
        #[arg(long, value_name = "N")]
        last: Option<usize>,
        /// Draw readings, model, forecast, events, and what is not used and why, into this file.
        #[arg(long, value_name = "FILE")]
        svg: Option<PathBuf>,
        #[command(flatten)]
        when: When,
        #[command(flatten)]
        output: Json,
    },

    /// How a lamp or display ages, when it leaves its aim, and how far such dates were right before
    #[command(after_help = "\
Examples:
  twinwhite ageing bay-lamp
  twinwhite ageing bay-lamp --svg bay-lamp-ageing.svg
  twinwhite ageing bay-screen --as-of '2026-03-04 09:30' --json

The date is the day by which it has left its aim as likely as not; the likely range holds eight in ten. What people did (dimmer,
recalibration, another place) is left out of its ageing; each `replaced` begins a new life.")]
    Ageing {
        /// The display or lamp.
        device: String,
        /// Draw light over age and the way of its white into this file.
        #[arg(long, value_name = "FILE")]
        svg: Option<PathBuf>,
        #[command(flatten)]
        when: AsOf,
        #[command(flatten)]
        output: Json,
    },

    /// State, risk and date of risk ahead
    #[command(after_help = "\
Examples:
  twinwhite forecast bay
  twinwhite forecast bay --horizon 30,60,90
  twinwhite forecast bay --as-of 2026-03-04T09:30:00Z --json")]
    Forecast {
        /// The station.
        station: String,
        /// Days ahead, separated by commas.
        #[arg(long, value_delimiter = ',', default_values_t = [30.0, 60.0, 90.0], value_name = "DAYS")]
        horizon: Vec<f64>,
        #[command(flatten)]
        when: When,
        #[command(flatten)]
        output: Json,
    },

    /// How good were the forecasts on the station's own past?
    #[command(after_help = "\
Examples:
  twinwhite backtest
  twinwhite backtest bay
  twinwhite backtest bay --json

Asks every forecast again as it would have been asked then, with only what was read before, and holds it against what was
read later: how many readings fell within the bands, how that compares with taking the last reading for granted, which
breaches were warned of and how long before. Where bands proved too narrow on a device, the daemon widens them.")]
    Backtest {
        /// Only this station.
        station: Option<String>,
        #[command(flatten)]
        when: AsOf,
        #[command(flatten)]
        output: Json,
    },

    /// What is due, by date: overdue first, with the reason of each
    #[command(after_help = "\
Examples:
  twinwhite due
  twinwhite due --within 90
  twinwhite due --ics due.ics
  twinwhite due --json
  twinwhite due --as-of 2026-03-04T09:30:00Z

One list from forecasts, reminders, the age of readings, held readings, certificates, rated hours, and lamps and displays
that come to leave their aim. A reminder's run is served by what it asks for, done up to half its interval (at most 30 days)
before it: read by a reading, recalibrate and clean by their events, certificate by one that is good until the next run; your own words by acknowledging the alert. What was not
served is asked for again by the next run.")]
    Due {
        /// Days ahead.
        #[arg(long, default_value_t = 30.0, value_name = "DAYS")]
        within: f64,
        /// Write the list into this file as iCalendar (RFC 5545), going on from what the file held before.
        #[arg(long, value_name = "FILE", conflicts_with = "known_at")]
        ics: Option<PathBuf>,
        #[command(flatten)]
        when: When,
        #[command(flatten)]
        output: Json,
    },

    /// All alerts, newest first
    #[command(after_help = "\
Examples:
  twinwhite alerts
  twinwhite alerts --json")]
    Alerts {
        /// Only those that are not cleared.
        #[arg(long)]
        open: bool,
        #[command(flatten)]
        known: KnownAt,
        #[command(flatten)]
        output: Json,
    },

    /// Say that you have taken notice of an alert
    #[command(after_help = "Example:\n  twinwhite --operator ines ack 17")]
    Ack {
        /// The alert's number, as `twinwhite alerts` shows it.
        id: i64,
    },

    /// Sign a print off: the match as it stands now goes on record, and a certificate is handed out
    #[command(after_help = SIGN_HELP)]
    Sign(Signing),

    /// What waits to be told, what was given up, and whether every channel works
    #[command(after_help = "\
Examples:
  twinwhite messages
  twinwhite messages --json")]
    Messages {
        #[command(flatten)]
        output: Json,
    },

    /// Have messages tried again that were given up
    #[command(after_help = "\
Examples:
  twinwhite resend harbour-loft/17/raised/mail
  twinwhite resend --all")]
    Resend {
        /// Keys of messages, as `twinwhite messages` shows them.
        #[arg(value_name = "KEY", required_unless_present = "all", conflicts_with = "all")]
        keys: Vec<String>,
        /// All of them.
        #[arg(long)]
        all: bool,
    },

    /// Say that something is being worked on: messages about it wait until then, and the record says why
    #[command(after_help = MAINTENANCE_HELP)]
    Maintenance {
        /// The station, display, lamp, paper or instrument that is worked on; with a station goes all that stands at it.
        #[arg(requires = "until", conflicts_with_all = ["whole_site", "end"])]
        subject: Option<String>,
        /// Everything.
        #[arg(long, requires = "until", conflicts_with = "end")]
        whole_site: bool,
        /// When it will be over, at most 90 days ahead: a day, or a local time, or RFC 3339.
        #[arg(long, value_name = "TIME", requires = "reason")]
        until: Option<String>,
        /// What is done.
        #[arg(long, requires = "until")]
        reason: Option<String>,
        /// End the maintenance with this number now.
        #[arg(long, value_name = "ID", conflicts_with_all = ["until", "reason"])]
        end: Option<i64>,
        #[command(flatten)]
        output: Json,
    },

    /// Write down something that was done to a device
    #[command(after_help = "\
Examples:
  twinwhite record recalibrated bay-screen
  twinwhite record recalibrated bay-screen x=0.3127 y=0.3290 luminance_cd_m2=145
  twinwhite record replaced bay-lamp --at '2026-03-04 09:30' note='new tube'
  twinwhite record certificate spectro-1 --file certificate.pdf number=K-204 issued=2026-03-02 until=2027-03-01 \\
      laboratory='Quillmoor Light' results='within 0.0012 in x and y'
  twinwhite record damaged spectro-1 note='fell from the shelf'
  twinwhite record moved spectro-1 place='cabinet 2'

Of displays and lamps: recalibrated, setting_changed, cleaned, part_replaced (lamps), and all below but three.
Of instruments: certificate, adjusted, cross_calibrated.
Of any: replaced, moved, serviced, damaged, repaired, firmware, retired. Of papers: new_batch.

Before you change a lamp: power off, let it cool, do not look into it. Ballasts, dimmers and wiring are for qualified
people. Used tubes hold mercury: hand them in as special waste.")]
    Record {
        /// What was done.
        event: String,
        /// The thing it was done to.
        device: String,
        /// When; now if not given. RFC 3339, or local time of the site.
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
        /// A file that belongs to it, such as a certificate: the ledger keeps its digest. Keep the file yourself.
        #[arg(long, value_name = "FILE")]
        file: Option<PathBuf>,
        /// Further fields as name=value: note; x, y, luminance_cd_m2 (what a recalibration aimed at); other (instrument);
        /// until, number, issued, laboratory, results (of a certificate); firmware; place.
        #[arg(value_name = "FIELD=VALUE")]
        fields: Vec<String>,
    },

    /// Take a wrong record back by a new one; nothing is erased
    #[command(after_help = "Example:\n  twinwhite retract 118 --reason 'read with the blinds open'")]
    Retract {
        /// The number of the reading or event in the ledger, as `twinwhite history` shows it, or of the sign-off, as
        /// `twinwhite audit show --kind sign-off` shows it.
        seq: i64,
        /// Why.
        #[arg(long)]
        reason: String,
    },

    /// Let a reading count that was held back
    #[command(after_help = "Example:\n  twinwhite release 118")]
    Release {
        /// The number of the reading in the ledger, as `twinwhite history` shows it.
        seq: i64,
    },

    /// Are configuration, folders, ledger, time zone, reminders and channels sound?
    #[command(after_help = "\
Examples:
  twinwhite --config twinwhite.toml check
  twinwhite check --send mail           sends a test message through the channel 'mail' and says whether it was taken")]
    Check {
        /// Send a test message through this channel and do nothing else.
        #[arg(long, value_name = "CHANNEL")]
        send: Option<String>,
        #[command(flatten)]
        output: Json,
    },

    /// Show messages on this desktop, as the user who sits at it; the channel 'desktop' lays them down
    #[command(after_help = "\
Examples:
  twinwhite desktop                                       for as long as the session lasts
  twinwhite desktop --folder /var/lib/twinwhite/desktop   without a configuration
  twinwhite desktop --once                                what is new, and no longer

It only reads the folder, and shows each message once for each user.")]
    Desktop {
        /// The folder of messages [default: that of the configuration's channel].
        #[arg(long, value_name = "FOLDER")]
        folder: Option<PathBuf>,
        /// Look once and end.
        #[arg(long)]
        once: bool,
    },

    /// Make everything that is derived from the ledger anew
    #[command(after_help = "Example:\n  twinwhite rebuild")]
    Rebuild,

    /// Take the spectra of old readings out of the ledger, where nothing rests on them
    Prune(Pruning),

    /// Write the whole ledger into one file, also while `run` works, and check it
    #[command(after_help = BACKUP_HELP)]
    Backup {
        /// The file to write; its folder must be there.
        file: PathBuf,
        #[command(flatten)]
        output: Json,
    },

    /// Put a backup in place: where there is no ledger, or where the ledger is its beginning
    #[command(after_help = "\
Examples:
  twinwhite restore usb/quillmoor.backup
  twinwhite restore usb/quillmoor.backup --json

The configuration must be there, `run` must not be running. The backup is checked first, also against signed heads in the state
folder and the folder of copies: what they say is lost is told. A ledger that holds more or something else, or is damaged, is
never overwritten.")]
    Restore {
        /// The backup.
        file: PathBuf,
        #[command(flatten)]
        output: Json,
    },

    /// The ledger: is it whole and unchanged, and how does somebody outside know?
    #[command(subcommand)]
    Audit(Audit),

    /// An invented print room: two simulated years in seconds, then yours to look around in
    #[command(after_help = "\
Examples:
  twinwhite demo
  twinwhite demo --dir quillmoor")]
    Demo {
        /// The folder to make; must not exist or be empty [default: a new temporary folder].
        #[arg(long, value_name = "FOLDER")]
        dir: Option<PathBuf>,
    },
}
