//! The tables, as an append-only list of migrations counted in SQLite's `user_version`.
//!
//! A step once released is never changed; a new one is added below it. All missing steps run in one transaction, so a
//! store is wholly of one version or of another. What lives not here: any reading or writing of rows (`store`).
//!
//! `entry` and `head` are the ledger, `signed_head` what was signed of it, which nobody can make anew without the key; every
//! other table is a projection of the entries. `entry` is keyed by its number alone: one
//! ledger holds one site only, and 10 000 rows of 500 bytes took 94 ms of processor time that way, 134 ms keyed by site and
//! number without a rowid. To the world at large the key is (site, seq).

use rusqlite::Connection;

use super::error::LedgerError;
use super::store::backfill;

/// Marks the file as ours ("twwh"), so that another program's database is not taken for an empty ledger.
const APPLICATION_ID: i64 = 0x7477_7768;

const MIGRATIONS: &[&str] = &[
    // 1
    "
    CREATE TABLE entry (
        site TEXT NOT NULL,
        seq  INTEGER PRIMARY KEY,       -- from 1, without gaps
        time TEXT NOT NULL,             -- of appending, RFC 3339 in UTC
        kind TEXT NOT NULL,
        body TEXT NOT NULL,             -- JSON on one line
        leaf BLOB NOT NULL              -- RFC 9162 leaf hash over the other columns (entry.rs)
    ) STRICT;

    CREATE TABLE head (
        site     TEXT NOT NULL PRIMARY KEY,
        size     INTEGER NOT NULL,
        root     BLOB NOT NULL,
        frontier BLOB NOT NULL          -- roots of the full subtrees, the largest first
    ) STRICT;

    CREATE TABLE reading (
        seq        INTEGER PRIMARY KEY,
        device     TEXT NOT NULL,
        time_us    INTEGER NOT NULL,    -- when it was measured, microseconds of UTC since 1970
        instrument TEXT NOT NULL,       -- '' for none
        patch      TEXT NOT NULL,
        given      BLOB NOT NULL,       -- digest of colour and level as received
        u REAL NOT NULL,
        v REAL NOT NULL,
        suu REAL, suv REAL, svv REAL,   -- variance that the conversion adds, where it does
        ln_level   REAL,
        hours      REAL,
        warmup_min REAL,
        setting    TEXT,
        label      INTEGER NOT NULL,    -- 1: copied from a label
        excluded   TEXT,                -- why it does not count; NULL: it counts
        released   INTEGER NOT NULL     -- 1: somebody let it count
    ) STRICT;
    -- Finds the readings of a device in an order that does not depend on arrival, and forbids the same one twice.
    CREATE UNIQUE INDEX reading_key ON reading (device, time_us, instrument, patch, given);

    CREATE TABLE event (
        seq       INTEGER PRIMARY KEY,
        device    TEXT NOT NULL,
        time_us   INTEGER NOT NULL,
        kind      TEXT NOT NULL,
        given     BLOB NOT NULL,        -- digest of the target and of `other`
        operator  TEXT,
        note      TEXT,
        target_x  REAL,
        target_y  REAL,
        target_luminance REAL,
        other     TEXT,
        excluded  TEXT
    ) STRICT;
    CREATE UNIQUE INDEX event_key ON event (device, time_us, kind, given);

    CREATE TABLE file (
        sha256  BLOB NOT NULL PRIMARY KEY,
        seq     INTEGER NOT NULL,
        name    TEXT NOT NULL,
        refused INTEGER NOT NULL
    ) STRICT;

    CREATE TABLE config_in_force (
        seq    INTEGER PRIMARY KEY,
        sha256 BLOB NOT NULL
    ) STRICT;

    CREATE TABLE estimate (
        device  TEXT NOT NULL PRIMARY KEY,
        upto_us INTEGER NOT NULL,
        params  BLOB NOT NULL,          -- digest of everything beside readings and events that went into it
        state   BLOB NOT NULL
    ) STRICT;

    CREATE TABLE checkpoint (
        device  TEXT NOT NULL,
        time_us INTEGER NOT NULL,       -- holds all that was measured or done up to and including it
        state   BLOB NOT NULL,
        PRIMARY KEY (device, time_us)
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE verdict (
        station  TEXT NOT NULL PRIMARY KEY,
        verdict  TEXT NOT NULL,
        since_us INTEGER NOT NULL,
        seq      INTEGER NOT NULL
    ) STRICT;

    CREATE TABLE alert (
        id              INTEGER PRIMARY KEY,
        kind            TEXT NOT NULL,
        subject         TEXT NOT NULL,
        raised_us       INTEGER NOT NULL,
        acknowledged_us INTEGER,
        cleared_us      INTEGER,
        operator        TEXT,
        reason          TEXT NOT NULL,
        detail          TEXT NOT NULL
    ) STRICT;
    -- One alert of a kind stands for a subject at a time.
    CREATE UNIQUE INDEX alert_standing ON alert (kind, subject) WHERE cleared_us IS NULL;

    CREATE TABLE outbox (
        key        TEXT NOT NULL PRIMARY KEY,
        alert      INTEGER,
        channel    TEXT NOT NULL,
        body       TEXT NOT NULL,
        created_us INTEGER NOT NULL,
        state      TEXT NOT NULL
    ) STRICT;
    CREATE INDEX outbox_due ON outbox (created_us, key) WHERE state = 'due';
    ",
    // 2
    "
    ALTER TABLE reading ADD COLUMN spectral INTEGER NOT NULL DEFAULT 0;  -- 1: its entry holds a spectrum
    ALTER TABLE reading ADD COLUMN ra REAL;                              -- as somebody else worked it out
    ALTER TABLE reading ADD COLUMN named TEXT;                           -- of lit paper: the row's own name, as of a paper

    -- Readings held no spectrum and no Ra before. What lit paper was called stands in its entry.
    UPDATE reading SET named = (SELECT json_extract(body, '$.reading.id') FROM entry WHERE entry.seq = reading.seq)
    WHERE patch = 'paper';

    -- The newest of what few readings have, however many there are. Only those few are in them.
    CREATE INDEX reading_spectrum ON reading (device, time_us, instrument, given) WHERE spectral = 1 AND patch = 'white';
    CREATE INDEX reading_ra ON reading (device, label, time_us, instrument, given) WHERE ra IS NOT NULL AND patch = 'white';
    CREATE INDEX reading_patch ON reading (device, patch, time_us, instrument, given) WHERE patch <> 'white';
    ",
    // 3
    "
    ALTER TABLE alert ADD COLUMN run_us INTEGER;  -- the run of a reminder that it tells of
    CREATE INDEX alert_run ON alert (subject, run_us) WHERE run_us IS NOT NULL;

    CREATE TABLE first_use (
        device     TEXT NOT NULL,
        instrument TEXT NOT NULL,
        time_us    INTEGER NOT NULL,    -- of its first reading of white that was measured and counts
        PRIMARY KEY (device, instrument)
    ) STRICT, WITHOUT ROWID;
    CREATE INDEX first_use_instrument ON first_use (instrument, device);
    CREATE INDEX first_use_time ON first_use (time_us, device);

    INSERT INTO first_use (device, instrument, time_us)
    SELECT device, instrument, min(time_us) FROM reading
    WHERE instrument <> '' AND patch = 'white' AND label = 0 AND excluded IS NULL GROUP BY device, instrument;
    ",
    // 4
    "
    ALTER TABLE alert ADD COLUMN repeated_us INTEGER;  -- when people were last told again that it stands
    ALTER TABLE outbox ADD COLUMN ended_us INTEGER;    -- when it was delivered or given up
    CREATE INDEX outbox_sent ON outbox (channel, ended_us) WHERE state = 'sent' AND ended_us IS NOT NULL;
    CREATE INDEX outbox_given_up ON outbox (created_us, key) WHERE state = 'given_up';

    CREATE TABLE maintenance (
        id       INTEGER PRIMARY KEY,
        subject  TEXT,                  -- a station or a thing; NULL: the whole site
        from_us  INTEGER NOT NULL,
        until_us INTEGER NOT NULL,      -- as it was announced
        ended_us INTEGER,               -- where somebody ended it sooner
        reason   TEXT NOT NULL,
        operator TEXT
    ) STRICT;
    CREATE INDEX maintenance_standing ON maintenance (until_us) WHERE ended_us IS NULL;

    -- What messages say since when, and when they ended, as a rebuild finds it in the entries.
    UPDATE outbox SET body = json_object(
        'key', body ->> '$.key', 'site', body ->> '$.site', 'alert', json(body -> '$.alert'), 'kind', body ->> '$.kind',
        'subject', body ->> '$.subject', 'state', body ->> '$.state', 'at', body ->> '$.at',
        'at_local', body ->> '$.at_local', 'since', first.at, 'since_local', first.at_local,
        'headline', body ->> '$.headline', 'lines', json(body -> '$.lines'))
    FROM (SELECT alert AS id, body ->> '$.at' AS at, body ->> '$.at_local' AS at_local FROM outbox
          WHERE channel = 'log' AND body ->> '$.state' = 'raised') AS first
    WHERE outbox.alert = first.id;
    UPDATE outbox SET ended_us = told.us
    FROM (SELECT body ->> '$.key' AS key, unixepoch(substr(time, 1, 19)) * 1000000
                 + CAST(substr(rtrim(substr(time, 21), 'Z') || '000000', 1, 6) AS INTEGER) AS us
          FROM entry WHERE kind = 'delivery') AS told
    WHERE outbox.key = told.key;
    ",
    // 5
    "
    ALTER TABLE outbox ADD COLUMN remark TEXT;  -- what the channel complained of though it took the message
    ",
    // 6, and `heads::backfill`
    "
    CREATE TABLE subtree (
        level INTEGER NOT NULL,         -- over 2^level entries: 8, 16 or 24
        idx   INTEGER NOT NULL,         -- how many of that level stand to its left
        hash  BLOB NOT NULL,
        PRIMARY KEY (level, idx)
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE signed_head (
        size    INTEGER PRIMARY KEY,
        root    BLOB NOT NULL,
        time_us INTEGER NOT NULL,
        note    TEXT NOT NULL           -- the whole signed note
    ) STRICT;

    CREATE TABLE signing_key (
        seq INTEGER PRIMARY KEY,        -- of the entry that names it
        key TEXT NOT NULL               -- verifier key
    ) STRICT;
    ",
    // 7
    "
    CREATE TABLE sign_off (
        seq       INTEGER PRIMARY KEY,
        station   TEXT NOT NULL,
        job       TEXT NOT NULL,
        time_us   INTEGER NOT NULL,
        verdict   TEXT NOT NULL,
        operator  TEXT,
        overridden INTEGER NOT NULL,    -- 1: it was signed although the program objected
        withdrawn INTEGER               -- the entry that took it back
    ) STRICT;
    CREATE INDEX sign_off_job ON sign_off (job);
    ",
    // 8
    "
    ALTER TABLE alert ADD COLUMN operator_by TEXT;        -- whence the operator is known; no entry said so before
    ALTER TABLE maintenance ADD COLUMN operator_by TEXT;

    CREATE TABLE correction (
        seq    INTEGER PRIMARY KEY,     -- the entry that takes another back or lets it count
        target INTEGER NOT NULL
    ) STRICT;
    CREATE INDEX correction_target ON correction (target, seq);
    INSERT INTO correction (seq, target) SELECT seq, body ->> '$.seq' FROM entry WHERE kind IN ('retract', 'release');
    ",
    // 9
    "
    CREATE TABLE pruned (
        seq INTEGER PRIMARY KEY,        -- of a reading whose spectrum was taken out
        by  INTEGER NOT NULL            -- the entry that says so
    ) STRICT;
    CREATE INDEX reading_spectral ON reading (time_us, seq) WHERE spectral = 1;
    ",
];

/// The version this program writes.
pub(super) const VERSION: i64 = MIGRATIONS.len() as i64;

/// The projections, each with the columns that give its rows an order that depends on content alone.
pub(super) const PROJECTIONS: &[(&str, &str)] = &[
    ("alert", "id"),
    ("checkpoint", "device, time_us"),
    ("config_in_force", "seq"),
    ("correction", "seq"),
    ("estimate", "device"),
    ("event", "seq"),
    ("file", "sha256"),
    ("first_use", "device, instrument"),
    ("maintenance", "id"),
    ("outbox", "key"),
    ("pruned", "seq"),
    ("reading", "seq"),
    ("sign_off", "seq"),
    ("signing_key", "seq"),
    ("verdict", "station"),
];

/// What a file holds before anything is done to it.
pub(super) enum Found {
    /// Nothing yet.
    Empty,
    /// A ledger of this version, not newer than ours.
    Version(i64),
    /// Something else.
    Foreign,
}

/// Looks at what the file is; refuses a ledger newer than this program.
pub(super) fn look(conn: &Connection) -> Result<Found, LedgerError> {
    if !conn.is_autocommit() {
        return look_once(conn);
    }
    // One snapshot for all questions: between two of them another process may make the ledger.
    let snapshot = conn.unchecked_transaction()?;
    let found = look_once(&snapshot);
    snapshot.finish()?;
    found
}

fn look_once(conn: &Connection) -> Result<Found, LedgerError> {
    let number = |pragma: &str| conn.query_row(&format!("PRAGMA {pragma}"), (), |row| row.get::<_, i64>(0));
    if number("application_id")? == APPLICATION_ID {
        let found = number("user_version")?;
        return if found > VERSION {
            Err(LedgerError::Newer { found, known: VERSION })
        } else {
            Ok(Found::Version(found))
        };
    }
    let tables: bool = conn.query_row("SELECT EXISTS (SELECT 1 FROM sqlite_schema)", (), |row| row.get(0))?;
    Ok(if tables { Found::Foreign } else { Found::Empty })
}

/// Brings the store to this program's version. Must run inside a write transaction.
pub(super) fn migrate(conn: &Connection, from: i64) -> Result<(), LedgerError> {
    let done = usize::try_from(from).unwrap_or(0);
    for step in MIGRATIONS.iter().skip(done) {
        conn.execute_batch(step)?;
    }
    if done < 6 {
        backfill(conn)?;
    }
    conn.pragma_update(None, "application_id", APPLICATION_ID)?;
    conn.pragma_update(None, "user_version", VERSION)?;
    Ok(())
}
