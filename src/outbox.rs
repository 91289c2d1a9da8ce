//! Turns alert changes into messages with stable keys. Pure.
