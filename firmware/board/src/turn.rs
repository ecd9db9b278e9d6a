//! One converter input for two supplies: an analogue switch shows it the transducer's supply, and
//! once a second, for some milliseconds, the logger's own.
//!
//! The switch and the filter behind it take time, so frames just after a turn count for neither; the
//! transducer's supply meanwhile reads as it did before.

/// From one look at the logger's supply to the next, visits.
const EVERY: u16 = 500;
/// Visits after a turn of the switch whose frames are passed over. With visits 2 ms apart that is
/// forty times the 100 µs of the input's filter (hardware-notes).
const SETTLE: u16 = 2;
/// Visits over which the logger's supply is then read.
const READ: u16 = 1;

/// Which supply the switch is to show.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Shown {
    /// The transducer's.
    #[default]
    Transducer,
    /// The logger's own.
    Logger,
}

/// Turns the switch, visit by visit, and sorts what the input read.
#[derive(Clone, Debug)]
pub struct Turn {
    visit: u16,
    transducer: u16,
    logger: u16,
}

impl Default for Turn {
    /// Looks at the logger's supply at once.
    fn default() -> Self {
        Self { visit: EVERY - 1, transducer: 0, logger: 0 }
    }
}

impl Turn {
    /// A new visit begins; how the switch is to stand from now on. All frames of the visit were
    /// converted before.
    pub fn visit(&mut self) -> Shown {
        self.visit = if self.visit + 1 < EVERY { self.visit + 1 } else { 0 };
        if self.visit < SETTLE + READ { Shown::Logger } else { Shown::Transducer }
    }

    /// Sorts a frame's count of the input; gives what the frame is to say of the transducer's
    /// supply.
    pub fn sort(&mut self, count: u16) -> u16 {
        match self.visit {
            // Turned at visit 0: the frames of visit 0 were converted before that.
            visit if (1..=SETTLE).contains(&visit) => {}
            visit if (SETTLE + 1..=SETTLE + READ).contains(&visit) => self.logger = count,
            visit if visit > SETTLE + READ && visit <= SETTLE + READ + SETTLE => {}
            _ => self.transducer = count,
        }
        self.transducer
    }

    /// The logger's supply as last read, counts; 0 before the first look.
    pub fn logger(&self) -> u16 {
        self.logger
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The input as a switch with a filter behind it shows it: ten frames a visit, each frame's
    /// reading moved all but e⁻² of the way (200 µs of a 100 µs filter).
    #[test]
    fn neither_supply_leaks_into_the_other() {
        const TRANSDUCER: u16 = 39_000;
        const LOGGER: u16 = 33_000;
        let mut turn = Turn::default();
        let mut reading = f64::from(TRANSDUCER);
        let mut target = reading;
        let mut looks = 0;
        for visit in 1..=5000_u32 {
            let mut frames = [0; 10];
            for frame in &mut frames {
                reading = target + (reading - target) * 0.135;
                *frame = reading.round() as u16;
            }
            let shown = turn.visit();
            target = f64::from(if shown == Shown::Logger { LOGGER } else { TRANSDUCER });
            looks += u32::from(shown == Shown::Logger);
            for frame in frames {
                assert_eq!(turn.sort(frame), TRANSDUCER, "{visit}");
            }
            if visit >= u32::from(1 + SETTLE + READ) {
                assert!(turn.logger().abs_diff(LOGGER) <= 1, "{visit}: {}", turn.logger());
            }
        }
        assert_eq!(looks, 10 * u32::from(SETTLE + READ));
    }
}
