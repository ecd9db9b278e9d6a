//! How long the memory will last.

use pumpwitness_protocol::message::Status;
use pumpwitness_protocol::page::SECTOR_BYTES;

/// Bytes that a day of unbroken running takes, and a day of rest: from the density example of the
/// tests (445 kB a day at a quarter of the time running, 119 kB for a house), rounded up. What a site really takes depends on how restless
/// its supply and its pressure are.
pub const RUNNING_BYTES_PER_DAY: f64 = 1_700_000.0;
/// The same at rest.
pub const RESTING_BYTES_PER_DAY: f64 = 60_000.0;

/// Days that `bytes` last when the pump runs `duty` of the time (0 to 1).
pub fn days(bytes: u64, duty: f64) -> f64 {
    let duty = duty.clamp(0.0, 1.0);
    let per_day = duty * RUNNING_BYTES_PER_DAY + (1.0 - duty) * RESTING_BYTES_PER_DAY;
    bytes as f64 / per_day
}

/// Bytes of the ring, and how many of them hold no record yet.
pub fn bytes(status: &Status) -> (u64, u64) {
    let sector = SECTOR_BYTES as u64;
    let usable = u64::from(status.sectors.saturating_sub(status.sectors_bad));
    let free = usable.saturating_sub(status.sectors_used.into());
    (usable * sector, free * sector)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_busier_pump_fills_the_memory_sooner() {
        assert!(days(16 << 20, 0.25) > days(16 << 20, 0.5));
        assert!((days(1_700_000, 1.0) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn bad_sectors_are_no_room() {
        let status = Status { sectors: 10, sectors_bad: 2, sectors_used: 5, ..Status::default() };
        assert_eq!(bytes(&status), (8 * 4096, 3 * 4096));
        let over = Status { sectors: 1, sectors_bad: 2, sectors_used: 9, ..Status::default() };
        assert_eq!(bytes(&over), (0, 0));
    }
}
