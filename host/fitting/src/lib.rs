//! At the open panel: live readings in the units of the trade ([`reading`]), the checks that name a
//! wrong fit ([`checks`]), and how long the memory will last ([`endurance`]).
//!
//! Pure: readings, the technician's own statements and the host's clock come in as values; checks
//! come out as state and sentence. What each wrong fit looks like is told in
//! hardware-notes/channels.md.
#![forbid(unsafe_code)]

pub mod checks;
pub mod endurance;
pub mod reading;

pub use checks::{Check, Checks, State};
pub use reading::{Reading, Signal};
