//! Which display and lamp must agree, the risk over time, the verdict and the advice. Pure.

pub mod normal;
pub mod region;
