//! Columns in, findings out.

pub mod outcome;
