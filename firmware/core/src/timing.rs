//! Where half waves end: the schedule that follows the zero crossings of the fundamental.
//!
//! The next end is always scheduled half a cycle after the last. Crossings are seen [`Schedule::
//! ahead`] frames before the frames they belong to are summed up, and draw the schedule towards
//! them: by a quarter of their distance when they are close, so that noise and the distortion at
//! the edges of a dip hardly move the ends; not at all when one or two lie far off; by all of it
//! when four in a row do, or when nothing was followed before. With no crossing to follow the
//! schedule runs on at the last good length, so that an interruption is measured in half waves too.

/// One frame in the schedule's unit.
pub(crate) const FRAME: i32 = 1 << 16;

/// Stray crossings in a row that count as a new phase: two cycles.
const STRAYS_MAX: u8 = 4;
/// Half waves without a crossing after which the next crossings are followed at once.
const MISSES_MAX: u8 = 3;

/// Lowest and highest frequency followed, Hz: IEC 61000-4-30 class A ranges (42.5–57.5 and
/// 51–69 Hz), with a little room on both sides.
const SLOWEST_HZ: u32 = 41;
const FASTEST_HZ: u32 = 71;

/// The schedule. All lengths are frames × 2¹⁶.
#[derive(Clone, Debug)]
pub(crate) struct Schedule {
    /// Half a cycle at the last good frequency.
    half: i32,
    shortest: i32,
    longest: i32,
    /// From the frame last summed up to the next end.
    until: i32,
    /// From the last end to the frame last summed up.
    since: i32,
    /// Age of the last two crossings at the newest frame; the older one second.
    ages: [i32; 2],
    /// Crossings in a row, up to 3.
    crossings: u8,
    ahead: i32,
    followed: bool,
    locked: bool,
    strays: u8,
    misses: u8,
    outliers: u8,
}

/// An end of a half wave inside the step just taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct End {
    /// Place in the step.
    pub at: i32,
    /// Length of the half wave.
    pub length: i32,
    /// True when a crossing stands behind it.
    pub measured: bool,
}

impl Schedule {
    /// A schedule at the nominal frequency.
    pub(crate) fn new(frames_per_s: u32, nominal_hz: u8) -> Self {
        let half_of = |hz: u32| ((u64::from(frames_per_s) << 16) / u64::from(2 * hz)) as i32;
        let half = half_of(nominal_hz.into());
        Self {
            half,
            shortest: half_of(FASTEST_HZ),
            longest: half_of(SLOWEST_HZ),
            until: half,
            since: 0,
            ages: [i32::MAX / 4; 2],
            crossings: 0,
            ahead: (half / FRAME / 16 + 1) * FRAME,
            followed: false,
            locked: false,
            strays: 0,
            misses: 0,
            outliers: 0,
        }
    }

    /// Whole frames by which crossings must be known before their frames are summed up.
    pub(crate) fn ahead(&self) -> usize {
        (self.ahead / FRAME) as usize
    }

    /// Takes a crossing `at` within the newest step, before [`Self::step`] for that step.
    pub(crate) fn crossing(&mut self, at: i32) {
        let last = self.ages[0] + at;
        if last < self.shortest / 2 {
            // Noise around the crossing before.
            return;
        }
        let cycle = self.ages[1] + at;
        let first = cycle - last;
        let regular = (2 * self.shortest..=2 * self.longest).contains(&cycle)
            && (last - first).abs() < cycle / 8;
        self.crossings = if last <= 2 * self.longest { (self.crossings + 1).min(3) } else { 1 };
        self.ages = [-at, last - at];
        let place = self.ahead + at;
        let distance = place - self.until;
        if self.locked && distance.abs() <= self.ahead - FRAME {
            if !self.followed {
                self.until += distance / 4;
                self.followed = true;
                self.strays = 0;
                self.misses = 0;
            }
            if regular && self.crossings == 3 {
                self.learn(cycle / 2);
            }
            return;
        }
        self.strays = self.strays.saturating_add(1);
        if self.crossings == 3 && regular && (!self.locked || self.strays >= STRAYS_MAX) {
            self.half = cycle / 2;
            self.until =
                if self.since + place >= self.half / 2 { place } else { place + self.half };
            self.locked = true;
            self.followed = false;
            self.strays = 0;
            self.misses = 0;
        }
    }

    /// Moves the length of half a cycle towards a measured one; one that differs by more than 3 %
    /// must come three times.
    fn learn(&mut self, measured: i32) {
        let difference = measured - self.half;
        if difference.abs() <= self.half / 32 {
            self.half += difference / 8;
            self.outliers = 0;
        } else {
            self.outliers += 1;
            if self.outliers == 3 {
                self.half = measured;
                self.outliers = 0;
            }
        }
    }

    /// Moves on by a frame; gives the end inside this step, if there is one.
    pub(crate) fn step(&mut self) -> Option<End> {
        for age in &mut self.ages {
            *age = age.saturating_add(FRAME).min(i32::MAX / 4);
        }
        let end = (self.until <= FRAME).then(|| {
            let at = self.until.max(0);
            let end = End { at, length: self.since + at, measured: self.followed };
            if !self.followed {
                self.misses = self.misses.saturating_add(1);
                if self.misses >= MISSES_MAX {
                    self.locked = false;
                }
            }
            self.followed = false;
            self.since = -at;
            self.until = at + self.half;
            end
        });
        self.until -= FRAME;
        self.since += FRAME;
        end
    }

    /// Forgets the crossings seen: frames were lost and their places mean nothing any more.
    pub(crate) fn forget(&mut self) {
        self.locked = false;
        self.followed = false;
        self.crossings = 0;
        self.ages = [i32::MAX / 4; 2];
    }
}
