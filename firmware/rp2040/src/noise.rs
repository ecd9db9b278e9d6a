//! The seed of the device's key, from the chip's ring oscillator and the converter's lowest bits.
//! Tests and hashing are in `pumpwitness_board::noise`.

use crate::converter;
use embassy_rp::pac::ROSC;
use embassy_time::Instant;
use pumpwitness_board::noise::{Gatherer, RAW_BITS};

/// Processor cycles from one bit to the next: 2 µs, some turns of the oscillator, so that bits
/// depend less on each other.
const PAUSE_CYCLES: u32 = 250;

/// A seed; none when the oscillator fails its health test. Takes some 20 ms; conversions must have
/// gone on for as long before.
pub fn seed() -> Option<[u8; 32]> {
    let mut gatherer = Gatherer::default();
    converter::stir(&mut gatherer);
    for _ in 0..RAW_BITS {
        gatherer.bit(ROSC.randombit().read().randombit());
        cortex_m::asm::delay(PAUSE_CYCLES);
    }
    // Conversions of these 20 ms, and how long it took.
    converter::stir(&mut gatherer);
    gatherer.stir(&Instant::now().as_ticks().to_le_bytes());
    gatherer.seed().ok()
}
