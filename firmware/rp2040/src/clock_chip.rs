//! Battery-backed clock on I²C. What its registers mean is in `pumpwitness_board::calendar`.

use embassy_time::{Instant, Timer};
use embedded_hal_async::i2c::I2c;
use pumpwitness_board::calendar::{
    ADDRESS, EPOCH_S, SECONDS, STATUS, STOPPED, registers_of, seconds_of,
};

/// Longest wait for the turn of a second, ms.
const TURN_MS: u64 = 1100;
/// Pause between two looks at the seconds, ms: the reading is good to this.
const LOOK_MS: u64 = 5;

/// A reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// ms since 1970.
    pub unix_ms: i64,
    /// When it was read.
    pub at: Instant,
    /// False when the clock has stopped since it was set, or does not answer.
    pub good: bool,
}

/// The clock.
pub struct ClockChip<I> {
    bus: I,
}

impl<I: I2c> ClockChip<I> {
    /// The clock on `bus`.
    pub fn new(bus: I) -> Self {
        Self { bus }
    }

    /// Waits for the turn of a second; at most 1.1 s. A clock that does not answer, or stands
    /// still, reads 2000-01-01, not good.
    pub async fn read(&mut self) -> Reading {
        let since = Instant::now();
        let mut before = None;
        while since.elapsed().as_millis() < TURN_MS {
            let mut registers = [0; 7];
            if self.bus.write_read(ADDRESS, &[SECONDS], &mut registers).await.is_err() {
                break;
            }
            let at = Instant::now();
            if before.is_some_and(|before| before != registers[0]) {
                let mut status = [STOPPED];
                let told = self.bus.write_read(ADDRESS, &[STATUS], &mut status).await;
                let time = seconds_of(&registers);
                let good = told.is_ok() && status[0] & STOPPED == 0 && time.is_some();
                return Reading { unix_ms: time.unwrap_or(EPOCH_S) * 1000, at, good };
            }
            before = Some(registers[0]);
            Timer::after_millis(LOOK_MS).await;
        }
        Reading { unix_ms: EPOCH_S * 1000, at: Instant::now(), good: false }
    }

    /// Sets the clock at the next full second after `unix_ms`, to which time it is told; writing
    /// the seconds starts its second anew. False when it does not answer or the year does not fit.
    pub async fn set(&mut self, unix_ms: i64) -> bool {
        let second = unix_ms.div_euclid(1000) + 1;
        Timer::after_millis((second * 1000 - unix_ms) as u64).await;
        let Some(registers) = registers_of(second) else { return false };
        let mut message = [SECONDS; 8];
        message[1..].copy_from_slice(&registers);
        self.bus.write(ADDRESS, &message).await.is_ok()
            && self.bus.write(ADDRESS, &[STATUS, 0]).await.is_ok()
    }
}
