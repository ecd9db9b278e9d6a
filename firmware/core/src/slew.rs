//! Brings the clock back by running it a little faster or slower, so that no time is told twice and
//! none is left out.

/// Differences from here on are not believed: no crystal drifts so far from one comparison to the
/// next.
const BELIEVED_MS: i64 = 1000;
/// A clock that is being brought back runs off by at most one part in this: half a second takes 17
/// minutes.
const SHARE: i64 = 2000;

/// What is still to be made up for.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Slew {
    left_us: i64,
}

impl Slew {
    /// The clock is ahead by so much; true when it will be brought back.
    pub(crate) fn ahead(&mut self, ms: i64) -> bool {
        let believed = (1 - BELIEVED_MS..BELIEVED_MS).contains(&ms);
        self.left_us = if believed { -ms * 1000 } else { 0 };
        believed
    }

    /// Microseconds by which the clock moves on while `us` pass.
    pub(crate) fn pass(&mut self, us: u32) -> u32 {
        if self.left_us == 0 {
            return us;
        }
        let most = i64::from(us) / SHARE;
        let by_us = self.left_us.clamp(-most, most);
        self.left_us -= by_us;
        us.saturating_add_signed(by_us as i32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// In an hour every difference that is believed is made up for, and none of it twice.
        #[test]
        fn an_hour_brings_the_clock_back(
            ahead_ms in -999_i64..=999,
            half_waves in proptest::collection::vec(7_000_u32..12_000, 400_000),
        ) {
            let mut slew = Slew::default();
            prop_assert!(slew.ahead(ahead_ms));
            let mut off_us = ahead_ms * 1000;
            for us in half_waves {
                let step = slew.pass(us);
                prop_assert!(step.abs_diff(us) <= us / 2000);
                off_us += i64::from(step) - i64::from(us);
            }
            prop_assert_eq!(off_us, 0);
        }
    }

    #[test]
    fn a_jump_is_not_followed() {
        for ms in [1000, -1000, i64::MAX, i64::MIN] {
            let mut slew = Slew::default();
            assert!(!slew.ahead(ms));
            assert_eq!(slew.pass(10_000), 10_000);
        }
    }
}
