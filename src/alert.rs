//! Life of an alert as one function of last state, verdict and now. Pure.
