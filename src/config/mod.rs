//! The configuration file: as written, and as understood.
