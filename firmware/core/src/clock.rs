//! The recorder's clock: told once, then advanced by the measured half waves.

/// A moment, ms since 1970 and the microseconds behind them. Whole microseconds are added, so
/// nothing is rounded away however long it runs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Clock {
    ms: i64,
    us: u32,
}

impl Clock {
    /// The clock at a whole millisecond.
    pub(crate) fn at(ms: i64) -> Self {
        Self { ms, us: 0 }
    }

    /// Milliseconds since 1970, rounded down.
    pub(crate) fn ms(self) -> i64 {
        self.ms
    }

    /// Moves on.
    pub(crate) fn advance(&mut self, us: u32) {
        let us = self.us + us;
        self.ms = self.ms.saturating_add((us / 1000).into());
        self.us = us % 1000;
    }

    /// The moment `us` earlier.
    pub(crate) fn back(self, us: u32) -> Self {
        let below = us.saturating_sub(self.us).div_ceil(1000);
        Self { ms: self.ms.saturating_sub(below.into()), us: self.us + below * 1000 - us }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn back_undoes_advance(ms in -1_i64 << 50..1_i64 << 50, steps in proptest::collection::vec(0_u32..200_000, 1..50)) {
            let mut clock = Clock::at(ms);
            for step in &steps {
                clock.advance(*step);
            }
            let total: u32 = steps.iter().sum();
            prop_assert_eq!(clock.ms() - ms, i64::from(total / 1000));
            prop_assert_eq!(clock.back(total), Clock::at(ms));
        }
    }
}
