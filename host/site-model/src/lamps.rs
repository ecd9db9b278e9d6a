//! Lamps on the control panel, as the logger's lamp inputs see them.

use crate::clock::Instant;
use crate::truth::StopReason;

/// What makes a lamp light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LampRole {
    /// Steady while the pump waits after running dry.
    DryRun,
    /// Flashes once a second while the pump waits after an overload or a failed start.
    Overload,
    /// Steady while the supply is out of its band.
    Supply,
    /// Steady while the pump runs.
    Running,
}

/// Watched lamps, input 1 first.
pub type Lamps = [Option<LampRole>; 8];

/// Which are lit: bit 0 is input 1. Lamps need the supply.
pub fn lit(lamps: &Lamps, at: Instant, held: Option<StopReason>, running: bool, live: bool) -> u8 {
    if !live {
        return 0;
    }
    let mut bits = 0;
    for (input, role) in lamps.iter().enumerate() {
        let on = match role {
            None => false,
            Some(LampRole::DryRun) => held == Some(StopReason::DryRun),
            Some(LampRole::Overload) => {
                matches!(held, Some(StopReason::Overload | StopReason::FailedStart))
                    && at.unix_us.rem_euclid(1_000_000) < 500_000
            }
            Some(LampRole::Supply) => held == Some(StopReason::SupplyOutOfRange),
            Some(LampRole::Running) => running,
        };
        bits |= u8::from(on) << input;
    }
    bits
}
