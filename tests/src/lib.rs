//! The vocabulary of the tests: a host, a session that rolls a transport through it, what was
//! heard, and scores to hold against it.

#![allow(clippy::disallowed_types, reason = "a host's own threads may wait")]

pub mod patience;

pub mod host;

pub mod vst3_host;

pub mod session;
pub mod soak;

pub mod heard;

pub mod score;

pub mod pass_through;

pub mod staging;

pub mod places;
