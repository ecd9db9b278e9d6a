//! Records: what the logger stores. Integer units, chosen so that a step is at or below the
//! analogue error of the channel (hardware-notes), because every bit of noise kept costs flash.

use crate::seal::Seal;
use heapless::Vec;
use serde::{Deserialize, Serialize};

/// Most half-cycles in one [`CaptureBlock`]; a longer capture is several blocks.
pub const CAPTURE_BLOCK_POINTS: usize = 32;

/// Most bytes one encoded [`Mark`] may take.
pub const MARK_BYTES_MAX: usize = 255;

/// Anything the journal stores.
#[derive(Clone, Debug, PartialEq, Eq)]
#[allow(clippy::large_enum_variant)] // one at a time, on the stack, never in arrays
pub enum Record {
    /// Aggregate of one or more 10/12-cycle intervals.
    Interval(Interval),
    /// Part of a half-cycle series around a trigger.
    Capture(CaptureBlock),
    /// Something that happened to the logger itself, or that it decided.
    Mark(TimedMark),
}

/// Mean, minimum and maximum of one channel over an interval, in that channel's unit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Spread {
    /// Mean (for voltage and current: root of the mean square).
    pub mean: i32,
    /// Smallest half-cycle value.
    pub min: i32,
    /// Largest half-cycle value.
    pub max: i32,
}

/// Aggregate over `count` consecutive intervals of 10 cycles (50 Hz) or 12 cycles (60 Hz).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Interval {
    /// End of the interval, ms since 1970-01-01T00:00:00Z by the logger's clock.
    pub end_ms: i64,
    /// Length, ms.
    pub span_ms: u32,
    /// How many 10/12-cycle intervals were merged; 1 unless all channels stood still.
    pub count: u16,
    /// Line voltage, 0.1 V r.m.s.; minimum and maximum are U_rms(1/2).
    pub voltage_dv: Spread,
    /// Motor current, 10 mA r.m.s.
    pub current_ca: Spread,
    /// Mean active power, W; negative when the clamp faces the wrong way.
    pub power_w: i32,
    /// Transducer signal: steps of 2 µA (4–20 mA loop) or 0.0001 of its supply (ratiometric).
    pub signal: Spread,
    /// Mean frequency of the supply, 0.01 Hz; 0 while there is no voltage to measure it on.
    pub frequency_chz: u16,
    /// What to know about the interval: [`flags`].
    pub flags: u8,
}

/// Bits of [`Interval::flags`].
pub mod flags {
    /// A dip, swell or interruption overlaps the interval (IEC 61000-4-30 flagging).
    pub const VOLTAGE_EVENT: u8 = 1 << 0;
    /// A voltage frame was at the end of the converter's range.
    pub const VOLTAGE_OVER_RANGE: u8 = 1 << 1;
    /// A current frame was at the end of the converter's range.
    pub const CURRENT_OVER_RANGE: u8 = 1 << 2;
    /// The transducer signal was outside its live band (NAMUR NE 43 for a loop).
    pub const SIGNAL_FAULT: u8 = 1 << 3;
    /// Frames were lost inside the interval.
    pub const FRAMES_LOST: u8 = 1 << 4;
    /// The cycle length was carried over from before, for want of a voltage.
    pub const FREE_RUNNING: u8 = 1 << 5;
}

/// Why a capture was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[repr(u8)]
pub enum Trigger {
    /// The pump's current rose.
    Start = 0,
    /// U_rms(1/2) fell below the dip threshold.
    Dip = 1,
    /// U_rms(1/2) rose above the swell threshold.
    Swell = 2,
    /// U_rms(1/2) fell below the interruption threshold.
    Interruption = 3,
    /// The transducer signal left its live band.
    SensorLoss = 4,
}

impl Trigger {
    /// The trigger with this code, if there is one.
    pub const fn from_code(code: u8) -> Option<Self> {
        Some(match code {
            0 => Self::Start,
            1 => Self::Dip,
            2 => Self::Swell,
            3 => Self::Interruption,
            4 => Self::SensorLoss,
            _ => return None,
        })
    }
}

/// One half-cycle step of a capture: values over one cycle, renewed each half cycle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CapturePoint {
    /// U_rms(1/2), 0.1 V.
    pub voltage_dv: i32,
    /// Current over the same cycle, 10 mA r.m.s.
    pub current_ca: i32,
    /// Active power over the same cycle, W.
    pub power_w: i32,
}

/// Up to [`CAPTURE_BLOCK_POINTS`] consecutive half-cycle steps of one capture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaptureBlock {
    /// Number of the capture since the boot; blocks of one capture share it.
    pub capture: u16,
    /// Index of the first point within the capture.
    pub first_index: u16,
    /// End of the first point of this block, ms since 1970.
    pub start_ms: i64,
    /// Mean half-cycle length over the block, µs.
    pub step_us: u16,
    /// What set it off.
    pub trigger: Trigger,
    /// The points, oldest first.
    pub points: Vec<CapturePoint, CAPTURE_BLOCK_POINTS>,
}

/// A [`Mark`] and its moment.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TimedMark {
    /// When, ms since 1970 by the logger's clock.
    pub time_ms: i64,
    /// What.
    pub mark: Mark,
}

/// Why the logger started.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum BootReason {
    /// Supply came on.
    PowerOn,
    /// The watchdog bit.
    Watchdog,
    /// A program fault; a [`Mark::Fault`] follows where it could be kept.
    Fault,
    /// Asked for.
    Request,
}

/// A channel of the logger.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Channel {
    /// Line voltage.
    Voltage,
    /// Motor current.
    Current,
    /// Pressure transducer signal.
    Transducer,
    /// Supply of the transducer.
    TransducerSupply,
}

/// State of a channel's sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum SensorState {
    /// Within its live band.
    Good,
    /// Below the live band: loop open (NAMUR NE 43: at or below 3.6 mA), or signal missing.
    Low,
    /// Above the live band (NAMUR NE 43: at or above 21.0 mA).
    High,
}

/// State of a watched lamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum LampState {
    /// Dark.
    Off,
    /// Steadily lit.
    On,
    /// Flashing, with its rate in 0.01 Hz.
    Flashing(u16),
}

/// Kind of a voltage event, IEC 61000-4-30 clauses 5.4 and 5.5 (clause numbers from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum VoltageEvent {
    /// Below the dip threshold.
    Dip,
    /// Above the swell threshold.
    Swell,
    /// Below the interruption threshold.
    Interruption,
}

/// Something that happened to the logger, or that it decided. Stored as postcard bytes; new kinds
/// are added at the end and never reordered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Mark {
    /// The logger started. `boot` counts starts over its life.
    Boot {
        /// Number of this start.
        boot: u16,
        /// Why.
        reason: BootReason,
        /// Firmware version, major · minor · patch.
        firmware: [u8; 3],
    },
    /// The clock was set; the mark's own time is the new one.
    ClockSet {
        /// What the clock showed just before, ms since 1970.
        before_ms: i64,
    },
    /// The logger's own supply is failing; the open page was flushed.
    PowerFailing {
        /// Supply at that moment, mV.
        supply_mv: u16,
    },
    /// A sensor left or regained its live band.
    Sensor {
        /// Which channel.
        channel: Channel,
        /// Its new state.
        state: SensorState,
    },
    /// A watched lamp changed.
    Lamp {
        /// Input number, 1 to 8.
        lamp: u8,
        /// New state.
        state: LampState,
    },
    /// A voltage event ended (or, `open`, was still going on when the logger stopped measuring).
    Voltage {
        /// Kind.
        event: VoltageEvent,
        /// Start, ms since 1970.
        start_ms: i64,
        /// Half cycles from start to end.
        half_cycles: u32,
        /// Lowest (dip, interruption) or highest (swell) U_rms(1/2), 0.1 V.
        extreme_dv: i32,
        /// True when the end was not seen.
        open: bool,
    },
    /// Settings were put in force; the digest is the first 8 bytes of their SHA-256.
    Settings {
        /// First 8 bytes of the SHA-256 of the settings' postcard bytes.
        digest: [u8; 8],
    },
    /// The logger was armed: recording counts from here.
    Armed,
    /// A download snapshot was taken.
    Snapshot,
    /// Slow readings, every ten minutes and on change.
    Health {
        /// Board temperature, 0.1 °C.
        board_dc: i16,
        /// Logger supply, mV.
        supply_mv: u16,
        /// Transducer supply, mV.
        transducer_supply_mv: u16,
    },
    /// Frames the converter delivered but the meter could not take.
    FramesLost {
        /// How many since the last such mark.
        frames: u32,
    },
    /// Captures not kept because of the hourly limit.
    CapturesDropped {
        /// How many since the last such mark.
        captures: u16,
    },
    /// Pages found damaged when the journal was mounted.
    PagesDamaged {
        /// How many.
        pages: u16,
    },
    /// Records that did not fit or could not be written.
    RecordsLost {
        /// How many since the last such mark.
        records: u32,
    },
    /// A program fault kept over a restart.
    Fault {
        /// Program counter or line where it happened.
        place: u32,
    },
    /// The device vouches for all sectors closed so far.
    Seal(Seal),
    /// The clock was compared with the battery-backed clock chip.
    ClockCompared {
        /// How far the clock was ahead of the chip, ms; none when the chip has stopped or does not
        /// answer.
        ahead_ms: Option<i32>,
        /// True when the clock is being brought back to the chip's time, by at most half a
        /// thousandth; a difference of a second or more is only told.
        followed: bool,
    },
    /// A calibration was put in force; what was measured before goes by the one before.
    Calibration {
        /// First 8 bytes of the SHA-256 of the calibration's postcard bytes.
        digest: [u8; 8],
    },
}
