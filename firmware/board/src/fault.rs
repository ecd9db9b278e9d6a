//! A fault's place on its way over a restart: two words in registers that a restart leaves alone
//! and power-on clears.

const SEAL: u32 = 0x7057_F417;

/// The words to keep.
pub const fn words(place: u32) -> [u32; 2] {
    [SEAL ^ place.rotate_left(7), place]
}

/// The place they keep, if they keep one.
pub fn place(words: [u32; 2]) -> Option<u32> {
    (self::words(words[1]) == words).then_some(words[1])
}

/// Place of a panic: its line, with a sum over the file's name in the upper 16 bits.
pub fn panic_place(file: &str, line: u32) -> u32 {
    let sum = file.bytes().fold(0_u32, |sum, byte| sum.wrapping_mul(31) + u32::from(byte));
    sum << 16 | (line & 0xFFFF)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_place_comes_back(kept in any::<u32>(), bit in 0..64_u32) {
            let mut words = words(kept);
            prop_assert_eq!(place(words), Some(kept));
            words[(bit / 32) as usize] ^= 1 << (bit % 32);
            prop_assert_eq!(place(words), None);
        }
    }

    #[test]
    fn nothing_is_kept_at_power_on() {
        assert_eq!(place([0; 2]), None);
        assert_eq!(place([u32::MAX; 2]), None);
    }

    #[test]
    fn panics_are_told_apart_by_file_and_line() {
        assert_eq!(panic_place("src/main.rs", 12) & 0xFFFF, 12);
        assert_ne!(panic_place("src/main.rs", 12), panic_place("src/line.rs", 12));
        assert_ne!(panic_place(&"long/".repeat(99), 1), 1);
    }
}
