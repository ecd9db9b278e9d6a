//! Messages of the link: a table and plain types.
//!
//! | request | reply | for |
//! |---|---|---|
//! | `Hello` | `Hello` | version handshake, identity, clock |
//! | `Status` | `Status` | memory, counters |
//! | `Live` | `Live` | latest readings |
//! | `SetClock` | `Done` | set the clock |
//! | `GetSettings` | `Settings` | settings in force |
//! | `PutSettings` | `Done` | check and put settings in force |
//! | `GetSite` | `Site` | part of the site file's text |
//! | `PutSite` | `Done` | part of the site file's text, in order |
//! | `Arm` | `Done` | recording counts from here; settings and site text are made durable |
//! | `Snapshot` | `Snapshot` | close the open sector, name the closed ones |
//! | `ReadPages` | `Page` or `PageGone`, each page; then `PagesEnd` | bulk download |
//! | `GetCalibration` | `Calibration` | calibration in force |
//! | `PutCalibration` | `Done` | check, keep on the device and put in force |
//! | `GetSeal` | `Seal` | the device's public key, and its seal over all closed sectors |
//! | `Release` | `Done` | sectors up to here are verified on the host and may be reused |
//!
//! Any request may be answered by `Refused`.

use crate::calibration::Calibration;
use crate::page::PAGE_BYTES;
use crate::seal::Seal;
use crate::settings::Settings;
use heapless::Vec;
use serde::{Deserialize, Serialize};

/// Version of the messages; a peer with another major number is refused.
pub const PROTOCOL_VERSION: u16 = 1;
/// Most site-text bytes in one message.
pub const SITE_PART_MAX: usize = 256;
/// Most pages in one `ReadPages`.
pub const WINDOW_PAGES_MAX: u16 = 256;

/// Host to logger.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Request {
    /// Chosen by the host; the reply carries it back.
    pub id: u16,
    /// What is asked.
    pub body: RequestBody,
}

/// What is asked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[allow(clippy::large_enum_variant)] // one at a time
#[allow(missing_docs)] // the table above says it
pub enum RequestBody {
    Hello { protocol: u16 },
    Status,
    Live,
    SetClock { unix_ms: i64 },
    GetSettings,
    PutSettings(Settings),
    GetSite { offset: u16 },
    PutSite { offset: u16, total: u16, bytes: Vec<u8, SITE_PART_MAX> },
    Arm,
    Snapshot,
    ReadPages { first: PageAddress, count: u16 },
    Release { up_to_sector: u32 },
    GetCalibration,
    PutCalibration(Calibration),
    GetSeal,
}

/// Place of a page: sector sequence number and page within it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct PageAddress {
    /// Sequence number of the sector.
    pub sector: u32,
    /// Page within the sector.
    pub page: u8,
}

/// Logger to host.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reply {
    /// Id of the request answered.
    pub id: u16,
    /// The answer.
    pub body: ReplyBody,
}

/// The answer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[allow(clippy::large_enum_variant)] // one at a time
#[allow(missing_docs)] // the table above says it
pub enum ReplyBody {
    Hello(Identity),
    Status(Status),
    Live(Live),
    Done,
    Settings(Settings),
    Site { offset: u16, total: u16, bytes: Vec<u8, SITE_PART_MAX> },
    Snapshot(SnapshotRange),
    Page { address: PageAddress, bytes: Vec<u8, PAGE_BYTES> },
    PageGone { address: PageAddress },
    PagesEnd { next: PageAddress },
    Refused(Refusal),
    Calibration(Calibration),
    Seal { public_key: [u8; 32], seal: Seal },
}

/// Who the logger is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Identity {
    /// [`PROTOCOL_VERSION`] of the logger.
    pub protocol: u16,
    /// Unique number of the device.
    pub device: [u8; 8],
    /// Firmware version, major · minor · patch.
    pub firmware: [u8; 3],
    /// Number of this start.
    pub boot: u16,
    /// The logger's clock, ms since 1970.
    pub clock_ms: i64,
    /// False until the clock has been set since its battery last failed.
    pub clock_good: bool,
}

/// State of the memory and the counters.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// Sectors in the ring.
    pub sectors: u32,
    /// Sectors holding records.
    pub sectors_used: u32,
    /// Sectors retired as bad.
    pub sectors_bad: u32,
    /// Sequence number of the oldest sector held.
    pub oldest_sector: u32,
    /// Sequence number of the sector being written.
    pub newest_sector: u32,
    /// Records stored since the boot.
    pub records: u32,
    /// Frames lost since the boot.
    pub frames_lost: u32,
    /// Captures not kept since the boot.
    pub captures_dropped: u32,
    /// Damaged pages met when mounting.
    pub pages_damaged: u32,
    /// True once armed.
    pub armed: bool,
    /// True when the ring is full and recording has stopped (keep oldest).
    pub full: bool,
}

/// Latest readings, renewed each 10/12 cycles.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Live {
    /// Moment of the readings, ms since 1970.
    pub time_ms: i64,
    /// Line voltage, 0.1 V r.m.s.
    pub voltage_dv: i32,
    /// Motor current, 10 mA r.m.s.
    pub current_ca: i32,
    /// Active power, W.
    pub power_w: i32,
    /// Transducer signal, steps (see `Interval::signal`).
    pub signal: i32,
    /// Frequency, 0.01 Hz.
    pub frequency_chz: u16,
    /// Bit n set: lamp n + 1 lit or flashing.
    pub lamps_lit: u8,
    /// Bit n set: lamp n + 1 flashing.
    pub lamps_flashing: u8,
    /// Transducer supply, mV.
    pub transducer_supply_mv: u16,
    /// Logger supply, mV.
    pub supply_mv: u16,
    /// Board temperature, 0.1 °C.
    pub board_dc: i16,
    /// Flags of the latest interval.
    pub flags: u8,
    /// True while the pump counts as running.
    pub running: bool,
}

/// Closed sectors that a download may read; both ends are included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SnapshotRange {
    /// Oldest.
    pub first_sector: u32,
    /// Newest closed.
    pub last_sector: u32,
    /// The logger's clock when it was taken, ms since 1970.
    pub clock_ms: i64,
}

/// Why a request was not carried out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
pub enum Refusal {
    /// The request could not be decoded.
    #[error("the logger does not know this request")]
    Unknown,
    /// The other side speaks another version.
    #[error("the logger speaks protocol {0}")]
    Version(u16),
    /// Settings outside their range.
    #[error("the logger refused the settings")]
    Settings,
    /// Site text out of order or too long.
    #[error("the logger refused the site text")]
    SiteText,
    /// No such page or sector.
    #[error("the logger does not hold that range")]
    Range,
    /// The clock value is not credible.
    #[error("the logger refused that time")]
    Clock,
    /// Flash failed.
    #[error("the logger's memory failed")]
    Memory,
    /// Calibration outside its range.
    #[error("the logger refused the calibration")]
    Calibration,
    /// The device has no key, or nothing to seal yet.
    #[error("the logger cannot seal its record")]
    NoSeal,
}
