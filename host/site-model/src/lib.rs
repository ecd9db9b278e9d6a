//! The physical model of a site: what an invented installation does, half wave by half wave, fast
//! enough to drive the real logger core through days in seconds.
//!
//! | subject | file |
//! |---|---|
//! | supply behind its impedance, what happens upstream | `supply` |
//! | contactor and motor circuit, motor, drive train | `contactor`, `motor`, `drivetrain` |
//! | pump curves, well, tank, demand, and the water between them | `pump`, `well`, `tank`, `demand`, `plant` |
//! | pressure switch; drive | `switch`, `drive` |
//! | overload relay; all protection | `overload`, `protection` |
//! | transducer and wires; lamps | `transducer`, `lamps` |
//! | the whole in time; half waves; truth | `site`, `half_waves`, `observer`, `truth` |
//! | a sound site from few choices; faults; chance sites; stories | `design`, `faults`, `chance`, `scenarios` |
//! | raw converter frames | `waveform` |
//!
//! Everything is a pure function of parameters, start and seed: no clock is read. Pressures are
//! gauge unless said otherwise.
//!
//! ```
//! use pumpwitness_core::wave::HalfWave;
//! use pumpwitness_site_model::{Sink, scenario};
//!
//! struct Count(u64);
//! impl Sink for Count {
//!     fn half_wave(&mut self, _: &HalfWave) {
//!         self.0 += 1;
//!     }
//! }
//!
//! let healthy = scenario("healthy").unwrap();
//! let mut site = healthy.model();
//! let mut count = Count(0);
//! site.run(healthy.start_ms + 60_000, &mut count);
//! assert!((5_990..6_025).contains(&count.0));
//! ```
#![forbid(unsafe_code)]

pub mod chance;
pub mod clock;
mod contactor;
pub mod demand;
pub mod design;
pub mod drive;
mod drivetrain;
pub mod faults;
mod half_waves;
pub mod lamps;
pub mod motor;
pub mod noise;
mod observer;
pub mod overload;
pub mod parameters;
mod phasor;
pub mod plant;
pub mod protection;
pub mod pump;
pub mod scenarios;
pub mod site;
pub mod supply;
pub mod switch;
pub mod tank;
pub mod transducer;
pub mod truth;
pub mod waveform;
pub mod well;

pub use chance::random_site;
pub use faults::inflict;
pub use parameters::SiteParameters;
pub use scenarios::{DEFAULT_SCENARIO, Scenario, scenario, scenarios};
pub use site::{Sink, SiteModel};
pub use truth::{Cause, Event, Run, StopReason, Truth};

#[cfg(test)]
mod tests;
