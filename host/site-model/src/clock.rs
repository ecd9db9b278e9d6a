//! Time at the site: an argument everywhere, read from no clock.

/// A moment, with the site's own time of day at hand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Instant {
    /// µs since 1970-01-01T00:00:00Z.
    pub unix_us: i64,
    local_us: i64,
}

const DAY_US: i64 = 86_400_000_000;

impl Instant {
    /// `unix_us` at a site whose clocks are `offset_h` hours ahead of UTC.
    pub fn new(unix_us: i64, offset_h: f64) -> Self {
        Self { unix_us, local_us: unix_us + (offset_h * 3.6e9) as i64 }
    }

    /// ms since 1970.
    pub fn unix_ms(self) -> i64 {
        self.unix_us.div_euclid(1000)
    }

    /// Local hour of the day, 0 to 24.
    pub fn hour(self) -> f64 {
        self.local_us.rem_euclid(DAY_US) as f64 / 3.6e9
    }

    /// Local day, counted from 1970.
    pub fn day(self) -> i64 {
        self.local_us.div_euclid(DAY_US)
    }
}

/// A stretch of the local day, h; over midnight when `from` is above `to`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hours {
    /// First.
    pub from: f64,
    /// Last.
    pub to: f64,
}

impl Hours {
    /// The whole day.
    pub const ALL: Self = Self { from: 0.0, to: 24.0 };

    /// True inside.
    pub fn contain(self, hour: f64) -> bool {
        if self.from <= self.to {
            (self.from..self.to).contains(&hour)
        } else {
            hour >= self.from || hour < self.to
        }
    }
}

/// Seconds as µs.
pub fn us(seconds: f64) -> i64 {
    (seconds * 1e6) as i64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_run_over_midnight() {
        let night = Hours { from: 22.0, to: 6.0 };
        assert!(night.contain(23.0) && night.contain(2.0) && !night.contain(12.0));
        // 2026-05-04T06:00:00Z at UTC+1 is seven o'clock.
        let at = Instant::new(1_777_874_400_000_000, 1.0);
        assert!((at.hour() - 7.0).abs() < 1e-9);
    }
}
