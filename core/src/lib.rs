//! Process music, computed.
//!
//! A *phrase* of notes goes round in cycles. A *steady voice* plays it as it is; up to eight
//! *copies* play it too, and move against it: they drift, jump, or build themselves up again at a
//! new *offset*. *Growth* lets the phrase appear note by note. A *fold* recasts its pitches in
//! another mode.
//!
//! Everything is a function of (phrase, settings, song position). The real-time [`player`] and
//! anything that unrolls a piece offline ask the same [`process::Process`] the same question:
//! what sounds in this voice between these two beats? So a picture, an exported file and what a
//! host hears cannot disagree.
//!
//! This crate knows no host, no window and, outside [`exchange`], no file format.
//!
//! ```
//! use procession_core::part::Part;
//! use procession_core::{phrase::Phrase, process::Process, settings::Settings, time::Span};
//!
//! let phrase = Phrase::from_text("D4 F4 G4 A4 C5 A4", 0.25).unwrap();
//! let process = Process::new(phrase, Settings::default(), 0.0);
//! let first_cycle: Vec<_> = process.notes(Part::Steady, Span::new(0.0, 1.5)).collect();
//! assert_eq!(first_cycle.len(), 6);
//! ```
#![forbid(unsafe_code)]
// Printing locks, and may block.
#![warn(clippy::print_stdout, clippy::print_stderr, clippy::dbg_macro)]

// In reading order: each uses only what stands above it.
pub mod time;
pub mod tempo_map;
pub mod note;
pub mod metre;
pub mod phrase;
pub mod mode;
pub mod part;
pub mod marks;
pub mod program;
pub mod settings;
pub mod route;
pub mod starting_points;
pub mod fold;
pub mod motion;
pub mod growth;
pub mod voices;
pub mod boundaries;
pub mod modulation;
pub mod process;
pub mod performed;
pub mod ensemble;
pub mod resulting;
pub mod unrolling;
pub mod performance;
pub mod touch;
pub mod follower;
pub mod partner;
pub mod practice;
pub mod count_in;
pub mod ledger;
pub mod player;
pub mod clock;
pub mod capture;
pub mod engine;
pub mod form;
pub mod snippet;
pub mod fit;
pub mod words;
pub mod exercise;
pub mod pick;
pub mod mallet;
pub mod sonority;
pub mod speech;
pub mod reciter;
pub mod exchange;
