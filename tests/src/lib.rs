//! The vocabulary of the tests.
