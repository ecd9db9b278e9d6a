//! Battery-backed clock on I²C: address 68h, registers 00h to 06h seconds to year in BCD, register
//! 0Fh with bit 7 set once the oscillator has stopped (register map from memory).

use embassy_time::{Instant, Timer};
use embedded_hal_async::i2c::I2c;

const ADDRESS: u8 = 0x68;
const SECONDS: u8 = 0x00;
const STATUS: u8 = 0x0F;
const STOPPED: u8 = 0x80;
/// 2000-01-01T00:00:00Z, s since 1970; the two-digit year counts from here.
const EPOCH_S: i64 = 946_684_800;
const DAY_S: i64 = 86_400;

/// A reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// ms since 1970.
    pub unix_ms: i64,
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

    /// Waits for the turn of a second, so that the reading is good to some milliseconds; at most
    /// 1.1 s. A clock that does not answer reads 2000-01-01, not good.
    pub async fn read(&mut self) -> Reading {
        let since = Instant::now();
        let mut first = None;
        while since.elapsed().as_millis() < 1100 {
            let mut registers = [0; 7];
            if self.bus.write_read(ADDRESS, &[SECONDS], &mut registers).await.is_err() {
                break;
            }
            if first.is_some_and(|first| first != registers[0]) {
                let mut status = [STOPPED];
                let told = self.bus.write_read(ADDRESS, &[STATUS], &mut status).await;
                let time = seconds_of(&registers);
                let good = told.is_ok() && status[0] & STOPPED == 0 && time.is_some();
                return Reading { unix_ms: time.unwrap_or(EPOCH_S) * 1000, good };
            }
            first = Some(registers[0]);
            Timer::after_millis(5).await;
        }
        Reading { unix_ms: EPOCH_S * 1000, good: false }
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

fn bcd(value: i64) -> u8 {
    ((value / 10) << 4 | value % 10) as u8
}

fn plain(bcd: u8) -> Option<i64> {
    let (tens, ones) = (bcd >> 4, bcd & 15);
    (tens < 10 && ones < 10).then(|| i64::from(tens) * 10 + i64::from(ones))
}

/// Days from 2000-01-01 to the first of `month` (1 to 12) of year `year` (0 to 99); every fourth
/// year of this century is a leap year.
fn days_before(year: i64, month: i64) -> i64 {
    const BEFORE: [i64; 12] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];
    let leap_day = i64::from(year % 4 == 0 && month > 2);
    year * 365 + (year + 3) / 4 + BEFORE[month as usize - 1] + leap_day
}

/// s since 1970 from the registers; none when they hold no time.
fn seconds_of(registers: &[u8; 7]) -> Option<i64> {
    let [second, minute, hour, _, day, month, year] = *registers;
    let (second, minute, hour) = (plain(second)?, plain(minute)?, plain(hour & 0x3F)?);
    let (day, month, year) = (plain(day)?, plain(month & 0x1F)?, plain(year)?);
    let sound = second < 60 && minute < 60 && hour < 24;
    if !sound || !(1..=31).contains(&day) || !(1..=12).contains(&month) {
        return None;
    }
    let days = days_before(year, month) + day - 1;
    Some(EPOCH_S + days * DAY_S + (hour * 60 + minute) * 60 + second)
}

/// Registers that show `second`, s since 1970; none outside 2000 to 2099.
fn registers_of(second: i64) -> Option<[u8; 7]> {
    let days = (second - EPOCH_S).div_euclid(DAY_S);
    let in_day = (second - EPOCH_S).rem_euclid(DAY_S);
    let year = (0..100).rev().find(|&year| days_before(year, 1) <= days)?;
    if days >= days_before(100, 1) {
        return None;
    }
    let month = (1..=12).rev().find(|&month| days_before(year, month) <= days)?;
    let day = days - days_before(year, month) + 1;
    // 2000-01-01 was a Saturday; the chip only counts the weekday on.
    let weekday = (days + 5) % 7 + 1;
    let (hour, minute) = (in_day / 3600, in_day / 60 % 60);
    Some([in_day % 60, minute, hour, weekday, day, month, year].map(bcd))
}
