//! A simulated site with known truth, for demo, tests and benches.
