//! Wrong fits, as what they make of the half waves that the sensors would see
//! (hardware-notes/channels.md tells each).

use pumpwitness_core::wave::HalfWave;
use pumpwitness_protocol::record::flags;
use pumpwitness_site_model::Sink;

/// A wrong fit.
pub struct Misfit {
    /// Short fixed name.
    pub key: &'static str,
    /// Title.
    pub title: &'static str,
    /// Planted when a lesson begins.
    first: bool,
}

const CLAMP_BOTH: &str = "clamp-round-both";
const CLAMP_TURNED: &str = "clamp-turned";
const CLAMP_RATIO: &str = "clamp-ratio";
const LOOP_OPEN: &str = "loop-open";
const OTHER_RANGE: &str = "transducer-range";
const SENSE_OFF: &str = "voltage-sense-off";
const LOAD_SIDE: &str = "voltage-load-side";
/// The one whose putting right includes a lamp test.
pub const LAMP_UNSEEN: &str = "lamp-unseen";

/// All of them, in the order in which they are best found.
pub const MISFITS: [Misfit; 8] = [
    misfit(SENSE_OFF, "Voltage sense not plugged in", false),
    misfit(LOAD_SIDE, "Voltage sense on the motor's side of the contactor", false),
    misfit(LOOP_OPEN, "Transducer's loop open at a terminal", true),
    misfit(OTHER_RANGE, "Transducer of another range than the site file says", false),
    misfit(CLAMP_BOTH, "Clamp round both conductors", true),
    misfit(CLAMP_TURNED, "Clamp the wrong way round", true),
    misfit(CLAMP_RATIO, "Clamp of another ratio than the logger is set to", false),
    misfit(LAMP_UNSEEN, "Sensor of lamp 2 beside its lamp", true),
];

const fn misfit(key: &'static str, title: &'static str, first: bool) -> Misfit {
    Misfit { key, title, first }
}

/// A clamp of a fifth of the ratio, say 20 A for 100 A.
const RATIO: i64 = 5;
/// A transducer of 16 bar where the site file says 10: its signal rises by so much less.
const RANGE: (i32, i32) = (10, 16);
/// Signal at the low end of the loop, 4 mA in steps.
const LOOP_LOW: i32 = 2000;
/// What the sense shows of nothing, mV², and a clamp round both conductors of a current.
const NOTHING_MV2: u64 = 250 * 250;
const CANCELLED: u64 = 250;
/// Mean square below which no motor current flows, mA²: 0.5 A.
const AT_REST_MA2: u64 = 500 * 500;

/// Which are planted, and the lamps of the panel.
#[derive(Clone, Debug)]
pub struct Misfits {
    planted: Vec<&'static str>,
    /// As the panel lights them by itself, and in a lamp test.
    panel: u8,
    test_until_us: i64,
    testing: bool,
}

impl Misfits {
    /// Those of a first lesson.
    pub fn first_lesson() -> Self {
        let planted = MISFITS.iter().filter(|misfit| misfit.first).map(|misfit| misfit.key);
        Self { planted: planted.collect(), panel: 0, test_until_us: i64::MIN, testing: false }
    }

    /// True where it is there.
    pub fn planted(&self, key: &str) -> bool {
        self.planted.contains(&key)
    }

    /// Plants one, or puts it right; false when there is none of that key.
    pub fn plant(&mut self, key: &str, planted: bool) -> bool {
        let Some(misfit) = MISFITS.iter().find(|misfit| misfit.key == key) else { return false };
        self.planted.retain(|other| *other != misfit.key);
        if planted {
            self.planted.push(misfit.key);
        }
        true
    }

    /// All lamps are lit until then, µs since 1970.
    pub fn test_lamps_until(&mut self, until_us: i64) {
        self.test_until_us = until_us;
    }

    /// A lamp test goes on.
    pub fn testing(&self, now_us: i64) -> bool {
        now_us < self.test_until_us
    }

    /// Lamps lit on the panel; bit 0 is lamp 1.
    pub fn lit(&self) -> u8 {
        if self.testing { 0b11 } else { self.panel }
    }

    /// What the sensors see of them.
    fn seen(&self) -> u8 {
        self.lit() & if self.planted(LAMP_UNSEEN) { 0b01 } else { 0b11 }
    }

    /// Hands on the lamps, which a test may have lit.
    pub fn lamp_test(&mut self, now_us: i64, sink: &mut impl Sink) {
        self.testing = self.testing(now_us);
        sink.lamps(self.seen(), now_us);
    }

    /// The sink before which they stand.
    pub fn before<'a, S: Sink>(&'a mut self, sink: &'a mut S) -> Before<'a, S> {
        Before { misfits: self, sink }
    }

    fn bend(&self, wave: &HalfWave) -> HalfWave {
        let mut bent = *wave;
        let no_voltage = |bent: &mut HalfWave| {
            bent.voltage_sq_mv2 = NOTHING_MV2;
            bent.power_mw = 0;
            bent.flags |= flags::FREE_RUNNING;
        };
        for key in &self.planted {
            match *key {
                SENSE_OFF => no_voltage(&mut bent),
                LOAD_SIDE if wave.current_sq_ma2 < AT_REST_MA2 => no_voltage(&mut bent),
                LOOP_OPEN => {
                    bent.signal = 0;
                    bent.flags |= flags::SIGNAL_FAULT;
                }
                OTHER_RANGE if !self.planted(LOOP_OPEN) => {
                    bent.signal = LOOP_LOW + (bent.signal - LOOP_LOW) * RANGE.0 / RANGE.1;
                }
                CLAMP_BOTH => {
                    bent.current_sq_ma2 /= CANCELLED * CANCELLED;
                    bent.power_mw /= CANCELLED as i32;
                }
                CLAMP_TURNED => bent.power_mw = -bent.power_mw,
                CLAMP_RATIO => {
                    bent.current_sq_ma2 /= (RATIO * RATIO) as u64;
                    bent.power_mw /= RATIO as i32;
                }
                _ => {}
            }
        }
        bent
    }
}

/// A sink behind wrong fits.
pub struct Before<'a, S> {
    misfits: &'a mut Misfits,
    sink: &'a mut S,
}

impl<S: Sink> Sink for Before<'_, S> {
    fn half_wave(&mut self, wave: &HalfWave) {
        if self.misfits.planted.is_empty() {
            self.sink.half_wave(wave);
        } else {
            self.sink.half_wave(&self.misfits.bend(wave));
        }
    }

    fn lamps(&mut self, lit: u8, at_us: i64) {
        self.misfits.panel = lit;
        self.sink.lamps(self.misfits.seen(), at_us);
    }

    fn logger_power(&mut self, on: bool, at_us: i64) {
        self.sink.logger_power(on, at_us);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RUNNING: HalfWave = HalfWave {
        duration_us: 10_000,
        voltage_sq_mv2: 230_000 * 230_000,
        current_sq_ma2: 6_000 * 6_000,
        power_mw: 1_000_000,
        signal: 4000,
        flags: 0,
    };

    fn bent(keys: &[&'static str]) -> HalfWave {
        let mut misfits = Misfits::first_lesson();
        assert!(MISFITS.iter().all(|misfit| misfits.plant(misfit.key, false)));
        assert!(keys.iter().all(|key| misfits.plant(key, true)));
        misfits.bend(&RUNNING)
    }

    #[test]
    fn each_wrong_fit_shows_as_hardware_notes_tell() {
        assert_eq!(bent(&[]), RUNNING);
        assert_eq!(bent(&[CLAMP_TURNED]).power_mw, -1_000_000);
        assert!(bent(&[CLAMP_BOTH]).current_sq_ma2 < 50 * 50);
        assert_eq!(bent(&[CLAMP_RATIO]).current_sq_ma2, 1_200 * 1_200);
        assert!(bent(&[SENSE_OFF]).voltage_sq_mv2 < 1_000 * 1_000);
        assert_eq!(bent(&[LOAD_SIDE]), RUNNING, "the voltage leaves with the current only");
        assert_eq!(bent(&[OTHER_RANGE]).signal, 3250);
        let open = bent(&[OTHER_RANGE, LOOP_OPEN]);
        assert_eq!((open.signal, open.flags), (0, flags::SIGNAL_FAULT));
        assert!(!Misfits::first_lesson().plant("no such", true));
    }
}
