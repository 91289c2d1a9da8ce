//! How the project's values stand in columns: ids and words as text, instants as microseconds, digests as 32 bytes.

use rusqlite::ToSql;
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSqlOutput, ValueRef};

use crate::ledger::digest::Digest;
use crate::ledger::entry::Seq;
use crate::reading::{EventKind, OperatorBy, Patch};
use crate::units::{DeviceId, InstrumentId, OperatorId, StationId, Time};

macro_rules! ids {
    ($($name:ident),*) => {$(
        impl ToSql for $name {
            fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
                Ok(self.as_str().into())
            }
        }

        impl FromSql for $name {
            fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
                Self::new(value.as_str()?).map_err(|bad| FromSqlError::Other(Box::new(bad)))
            }
        }
    )*};
}

ids!(DeviceId, InstrumentId, OperatorId, StationId);

macro_rules! words {
    ($name:ident, $expected:literal, $to:expr, $from:expr) => {
        impl ToSql for $name {
            fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
                let word: &'static str = $to(*self);
                Ok(word.into())
            }
        }

        impl FromSql for $name {
            fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
                let word = value.as_str()?;
                $from(word).ok_or_else(|| FromSqlError::Other(format!("'{word}' is not {}", $expected).into()))
            }
        }
    };
}
pub(super) use words;

words!(EventKind, "an event", EventKind::word, EventKind::from_word);
words!(OperatorBy, "how an operator is known", OperatorBy::word, OperatorBy::from_word);
words!(Patch, "a patch", patch_word, |word| PATCHES.into_iter().find(|patch| patch_word(*patch) == word));

const PATCHES: [Patch; 4] = [Patch::White, Patch::Black, Patch::Paper, Patch::Ambient];

const fn patch_word(patch: Patch) -> &'static str {
    match patch {
        Patch::White => "white",
        Patch::Black => "black",
        Patch::Paper => "paper",
        Patch::Ambient => "ambient",
    }
}

impl ToSql for Time {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.micros().into())
    }
}

impl FromSql for Time {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        value.as_i64().map(Self::from_micros)
    }
}

impl ToSql for Seq {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.get().into())
    }
}

impl FromSql for Seq {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let number = value.as_i64()?;
        Self::new(number).ok_or(FromSqlError::OutOfRange(number))
    }
}

impl ToSql for Digest {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.as_bytes().as_slice().into())
    }
}

impl FromSql for Digest {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let bytes = value.as_blob()?;
        Self::from_bytes(bytes).ok_or_else(|| FromSqlError::Other("a digest has 32 bytes".into()))
    }
}
