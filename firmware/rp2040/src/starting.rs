//! From a flash that has told its number to a logger at work: mount, meter, make.
//!
//! The stack is short and a logger is large: it is made where it stays, and each step is a future of
//! its own, polled through a pointer. What a step needs of the stack is gone when the next begins.

use crate::clock_chip::Reading;
use crate::converter::{Converter, Parts};
use crate::interrupts;
use crate::lamps::Lamps;
use crate::logging::{CLOCK_READ, Flash};
use crate::metering::{HALF_WAVES, Heard, meter};
use crate::noise;
use core::future::Future;
use core::pin::{Pin, pin};
use pumpwitness_core::logger::{Logger, Seed, Start};
use pumpwitness_core::sampling::meter_config;
use pumpwitness_protocol::record::{BootReason, Mark};
use static_cell::StaticCell;

/// Firmware version, major · minor · patch.
const FIRMWARE: [u8; 3] = [0, 1, 0];

/// What a logger begins with.
pub struct Birth {
    /// Its memory.
    pub flash: Flash,
    /// Unique number.
    pub device: [u8; 8],
    /// Why it starts.
    pub reason: BootReason,
    /// Where the fault was, if one was the reason.
    pub fault: Option<u32>,
    /// Pins and engines of the converter.
    pub parts: Parts,
    /// Lamp inputs.
    pub lamps: Lamps,
}

/// A logger at work, and the half wave its clock begins with.
pub struct Started {
    /// The logger.
    pub logger: &'static mut Logger<Flash>,
    /// The half wave.
    pub first: Heard,
}

/// A step that takes its stack only while it is polled. Made of `pin!` where it is called: a future
/// handed to a function by value would stand in the caller's state twice.
pub type Step<'a, T> = Pin<&'a mut dyn Future<Output = T>>;

/// Mounts the journal, sets the meter to work by the kept settings and starts the logger; none when
/// the flash cannot be read.
pub async fn start(birth: Birth) -> Option<Started> {
    let Birth { flash, device, reason, fault, parts, lamps } = birth;
    let logger = settle(flash, device);
    {
        let mount: Step<_> = pin!(logger.mount());
        mount.await.ok()?;
    }
    let config = meter_config(logger.settings(), logger.calibration());
    // The metering executor has room for its one task, which is spawned here only.
    interrupts::metering().spawn(meter(Converter::start(parts), lamps, config).ok()?);
    // Read while the journal was mounted.
    let reading = CLOCK_READ.wait().await;
    // The recorder's clock begins where the first half wave begins.
    let first = HALF_WAVES.receive().await;
    let start = Start {
        firmware: FIRMWARE,
        reason,
        clock_ms: clock_at(&first, reading) - i64::from(first.half.duration_us / 1000),
        clock_good: reading.good,
        seed: noise::seed().map(Seed),
    };
    {
        let begin: Step<_> = pin!(logger.begin(start));
        begin.await;
    }
    if let Some(place) = fault {
        logger.mark(Mark::Fault { place });
    }
    Some(Started { logger, first })
}

/// What the clock chip showed when the half wave ended, ms since 1970.
pub fn clock_at(heard: &Heard, reading: Reading) -> i64 {
    let since_ms = (heard.ended.as_micros() as i64 - reading.at.as_micros() as i64) / 1000;
    reading.unix_ms + since_ms
}

/// Makes the logger where it stays: it is too large to be handed about on the stack.
#[inline(never)]
fn settle(flash: Flash, device: [u8; 8]) -> &'static mut Logger<Flash> {
    static LOGGER: StaticCell<Logger<Flash>> = StaticCell::new();
    LOGGER.uninit().write(Logger::new(flash, device))
}
