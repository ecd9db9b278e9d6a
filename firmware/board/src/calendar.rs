//! Registers of a battery-backed clock chip: 00h to 06h seconds to year in BCD, 0Fh with bit 7 set
//! once the oscillator has stopped (register map from memory).

/// Address on the bus.
pub const ADDRESS: u8 = 0x68;
/// First of the registers that show the time.
pub const SECONDS: u8 = 0x00;
/// Register that tells of a stopped oscillator …
pub const STATUS: u8 = 0x0F;
/// … by this bit; a zero written clears it.
pub const STOPPED: u8 = 0x80;
/// 2000-01-01T00:00:00Z, s since 1970; the two-digit year counts from here.
pub const EPOCH_S: i64 = 946_684_800;

const DAY_S: i64 = 86_400;

/// s since 1970 from the registers; none when they hold no time.
pub fn seconds_of(registers: &[u8; 7]) -> Option<i64> {
    let [second, minute, hour, _, day, month, year] = *registers;
    let (second, minute) = (plain(second)?, plain(minute)?);
    // Bit 6 set: the chip counts twelve hours, which this program never asks of it.
    let hour = plain(hour).filter(|hour| *hour < 24)?;
    // Bit 7 of the month is a century that is not used.
    let (day, month, year) = (plain(day)?, plain(month & 0x7F)?, plain(year)?);
    if second >= 60 || minute >= 60 || !(1..=12).contains(&month) {
        return None;
    }
    let first = days_before(year, month);
    let next = if month == 12 { days_before(year + 1, 1) } else { days_before(year, month + 1) };
    if !(1..=next - first).contains(&day) {
        return None;
    }
    Some(EPOCH_S + (first + day - 1) * DAY_S + (hour * 60 + minute) * 60 + second)
}

/// Registers that show `second`, s since 1970; none outside 2000 to 2099.
pub fn registers_of(second: i64) -> Option<[u8; 7]> {
    let days = (second - EPOCH_S).div_euclid(DAY_S);
    let in_day = (second - EPOCH_S).rem_euclid(DAY_S);
    if !(0..days_before(100, 1)).contains(&days) {
        return None;
    }
    let year = (0..100).rev().find(|&year| days_before(year, 1) <= days)?;
    let month = (1..=12).rev().find(|&month| days_before(year, month) <= days)?;
    let day = days - days_before(year, month) + 1;
    // 2000-01-01 was a Saturday; the chip only counts the weekday on.
    let weekday = (days + 5) % 7 + 1;
    let (hour, minute) = (in_day / 3600, in_day / 60 % 60);
    Some([in_day % 60, minute, hour, weekday, day, month, year].map(bcd))
}

fn bcd(value: i64) -> u8 {
    (((value / 10) << 4) | (value % 10)) as u8
}

fn plain(bcd: u8) -> Option<i64> {
    let (tens, ones) = (bcd >> 4, bcd & 15);
    (tens < 10 && ones < 10).then(|| i64::from(tens) * 10 + i64::from(ones))
}

/// Days from 2000-01-01 to the first of `month` (1 to 12) of year `year` (0 to 100); every fourth
/// year of this century is a leap year.
fn days_before(year: i64, month: i64) -> i64 {
    const BEFORE: [i64; 12] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];
    let leap_day = i64::from(year % 4 == 0 && month > 2);
    year * 365 + (year + 3) / 4 + BEFORE[month as usize - 1] + leap_day
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Seconds and weekdays by Python's datetime (ISO weekday: Monday is 1).
    #[test]
    fn known_moments() {
        for (second, registers) in [
            (946_684_800, [0x00, 0x00, 0x00, 6, 0x01, 0x01, 0x00]),
            (951_868_800, [0x00, 0x00, 0x00, 3, 0x01, 0x03, 0x00]),
            (1_709_251_199, [0x59, 0x59, 0x23, 4, 0x29, 0x02, 0x24]),
            (1_795_604_102, [0x02, 0x55, 0x10, 3, 0x25, 0x11, 0x26]),
            (4_102_444_799, [0x59, 0x59, 0x23, 4, 0x31, 0x12, 0x99]),
        ] {
            assert_eq!(registers_of(second), Some(registers), "{second}");
            assert_eq!(seconds_of(&registers), Some(second), "{second}");
        }
        assert_eq!(registers_of(946_684_799), None);
        assert_eq!(registers_of(4_102_444_800), None);
        assert_eq!(registers_of(i64::MIN / 2), None);
    }

    #[test]
    fn registers_that_hold_no_time() {
        let good = [0x02, 0x55, 0x10, 3, 0x25, 0x11, 0x26];
        for (place, wrong) in [
            (0, 0x60),
            (0, 0x0A),
            (1, 0xFF),
            (2, 0x24),
            (2, 0x50), // 10 in the evening, counted in twelve hours
            (4, 0x31), // November has 30 days
            (4, 0x00),
            (5, 0x00),
            (5, 0x13),
            (6, 0xA0),
        ] {
            let mut registers = good;
            registers[place] = wrong;
            assert_eq!(seconds_of(&registers), None, "{place} {wrong:02x}");
        }
        // The century bit is passed over; 29 February in a common year is not.
        assert!(seconds_of(&[0x02, 0x55, 0x10, 3, 0x25, 0x91, 0x26]).is_some());
        assert_eq!(seconds_of(&[0, 0, 0, 1, 0x29, 0x02, 0x26]), None);
        assert_eq!(seconds_of(&[0xFF; 7]), None);
    }

    proptest! {
        #[test]
        fn there_and_back(second in EPOCH_S..4_102_444_800) {
            prop_assert_eq!(seconds_of(&registers_of(second).unwrap()), Some(second));
        }

        #[test]
        fn any_registers_do_no_harm(registers in any::<[u8; 7]>()) {
            if let Some(second) = seconds_of(&registers) {
                prop_assert!(registers_of(second).is_some());
            }
        }
    }
}
