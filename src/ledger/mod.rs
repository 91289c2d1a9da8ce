//! The append-only record from which everything else can be rebuilt.
//!
//! What lives here: the entries and their exact bytes ([`entry`]), the hash tree over them ([`tree`]), the SQLite file
//! that keeps both and every projection ([`store`], `schema`), and the check that trusts nothing kept ([`mod@verify`]).
//! What does not: what an entry *means* for the projections (`pipeline`, `rebuild`), and any word about drift.
//!
//! `schema` and `store` hold all the SQL of the project; `entry` and `tree` know neither SQL nor disk.

pub mod checkpoint;
mod digest;
pub mod entry;
mod error;
pub mod note;
pub mod proof;
#[cfg(test)]
mod samples;
mod schema;
pub mod store;
pub mod tree;
pub mod verify;

pub use digest::Digest;
pub use entry::{Body, Entry, Seq};
pub use error::LedgerError;
pub use store::{Head, Ledger, OpenMode, Store, Tx};
pub use verify::{Verification, verify};
