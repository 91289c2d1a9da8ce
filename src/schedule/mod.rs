//! When things are due. Pure.
