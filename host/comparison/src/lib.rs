//! Two analysed records in, what changed between them and how surely out: before and after a
//! repair, or two sites. No clock, no file; chance has a fixed seed, so the same records give the
//! same result.
//!
//! # Layers
//!
//! [`samples`] takes from each record what is compared: lengths, currents, counts by day, voltages.
//! `rank`, `rates`, [`bootstrap`] and `holm` are the tests, each named with its source. [`outcome`]
//! is what comes out, `judge` puts it together.
//!
//! # What significance means here
//!
//! A small p says that the difference is larger than the scatter within the records explains. It
//! does not say what made it: season, weather and use differ between two records as well. Runs that
//! follow one another are alike, so p is smaller than it would be for independent runs; counts are
//! corrected for that as far as the days show it.

pub mod bootstrap;
mod holm;
mod judge;
pub mod outcome;
pub mod rank;
pub mod rates;
pub mod samples;

pub use judge::compare;

use pumpwitness_analysis::outcome::Analysis;
use pumpwitness_recording::Recording;

/// One of the two records.
#[derive(Clone, Copy, Debug)]
pub struct Side<'a> {
    /// What was found in it.
    pub analysis: &'a Analysis,
    /// Its rows.
    pub recording: &'a Recording,
}
