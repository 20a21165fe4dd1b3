//! Sonority
