//! Suites across crates.
