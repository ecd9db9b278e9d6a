//! At the open panel: live readings in the units of the trade ([`reading`]), the checks that name a
//! wrong fit ([`checks`]), how long the memory will last ([`endurance`]), and the watch over a logger
//! that feeds them ([`session`]).
//!
//! All but the session is pure: readings, the technician's own statements and the host's clock come in as values; checks
//! come out as state and sentence. What each wrong fit looks like is told in
//! hardware-notes/channels.md.
#![forbid(unsafe_code)]

pub mod checks;
pub mod endurance;
pub mod reading;
pub mod session;

pub use checks::{Check, Checks, State};
pub use reading::{Reading, Signal};
pub use session::Session;
