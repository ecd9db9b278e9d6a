//! The status light, by half waves.

/// Lit or dark: a wink every two seconds when armed, even blinking when not yet armed, hasty
/// blinking when the memory takes nothing. Half waves are 10 ms at 50 Hz.
pub fn lit(half_waves: u32, armed: bool, failing: bool) -> bool {
    match (failing, armed) {
        (true, _) => half_waves % 20 < 10,
        (false, true) => half_waves % 200 < 10,
        (false, false) => half_waves % 100 < 50,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_three_rhythms() {
        let rises = |armed, failing| {
            (1..=1000).filter(|&n| lit(n, armed, failing) && !lit(n - 1, armed, failing)).count()
        };
        // In ten seconds at 50 Hz.
        assert_eq!((rises(true, false), rises(false, false), rises(true, true)), (5, 10, 50));
    }
}
