//! The append-only record from which everything else can be rebuilt.
//!
//! What lives here: the entries and their exact bytes ([`entry`]), the hash tree over them ([`tree`]) and proofs from it
//! ([`proof`]), signed texts ([`note`]), signed heads and their codes ([`checkpoint`]), what is handed out of one entry
//! ([`certificate`]), the SQLite file that keeps entries, heads and every projection ([`store`], `schema`), and the check
//! that trusts nothing kept ([`mod@verify`]). What does not: what an entry *means* for the projections (`pipeline`,
//! `rebuild`), where a key is kept (`signing`), and any word about drift.
//!
//! `schema` and `store` hold all the SQL of the project; the others know neither SQL nor disk.

pub mod certificate;
pub mod checkpoint;
mod digest;
pub mod entry;
mod error;
mod given;
pub mod note;
pub mod proof;
#[cfg(test)]
mod samples;
mod schema;
pub mod store;
pub mod tree;
pub mod verify;

pub use certificate::Certificate;
pub use digest::Digest;
pub use entry::{Body, Entry, Seq};
pub use error::LedgerError;
pub use given::Given;
pub use store::{Head, Ledger, OpenMode, Store, Tx};
pub use verify::{Fault, Unsound, Verification, verify, verify_against, verify_both};
