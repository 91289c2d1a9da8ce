//! The state of each device with its uncertainty, and forecasts. Pure and deterministic.
