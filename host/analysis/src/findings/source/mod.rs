//! Findings about the water source.

pub mod dry_run;
pub mod falling_yield;
