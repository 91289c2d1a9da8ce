//! The append-only record from which everything else can be rebuilt.
