//! A logger that answers by lot, on a line where waiting costs nothing.

use pumpwitness_link::{LinkError, Transport};
use pumpwitness_local_page::ports::{Line, Place, Ports};
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::frame::{Decoder, FRAME_BYTES_MAX, Found, encode};
use pumpwitness_protocol::message::{
    Identity, Live, PROTOCOL_VERSION, PageAddress, Refusal, Reply, ReplyBody, Request, RequestBody,
    SnapshotRange, Status,
};
use pumpwitness_protocol::settings::{Settings, TransducerKind};
use serde::ser::{Serialize, SerializeTuple, Serializer};
use std::collections::VecDeque;
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

const SECTORS: u32 = 3;

/// Numbers by lot: SplitMix64 (Steele, Lea, Flood 2014; constants from memory).
struct Lot(u64);

impl Lot {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn below(&mut self, bound: u64) -> u64 {
        self.next() % bound
    }

    /// A number of any size: often at an end of its range.
    fn wide(&mut self) -> i64 {
        match self.below(6) {
            0 => 0,
            1 => i64::MAX,
            2 => i64::MIN,
            3 => -1,
            _ => self.next() as i64 >> self.below(64),
        }
    }
}

/// The ports of such a logger. Once it is `calm` the line breaks, as when the logger starts again, and
/// on every later one the answers are right: what it said of itself before may have been anything.
pub struct WildPorts {
    lot: Lot,
    calm: Arc<AtomicBool>,
}

impl WildPorts {
    /// Lots from this seed.
    pub fn new(seed: u64, calm: Arc<AtomicBool>) -> Self {
        Self { lot: Lot(seed), calm }
    }
}

impl Ports for WildPorts {
    fn list(&mut self) -> Vec<Place> {
        vec![Place { name: "wild".to_owned(), what: "a logger".to_owned(), serial: None }]
    }

    fn open(&mut self, _: &str) -> Result<Line, LinkError> {
        Ok(Box::new(Wild {
            lot: Lot(self.lot.next()),
            was_calm: self.calm.load(Ordering::Relaxed),
            calm: Arc::clone(&self.calm),
            decoder: Decoder::new(),
            coming: VecDeque::new(),
            now: Instant::now(),
            looks: 0,
        }))
    }
}

struct Wild {
    lot: Lot,
    /// It was calm when the line was opened.
    was_calm: bool,
    calm: Arc<AtomicBool>,
    decoder: Decoder,
    coming: VecDeque<u8>,
    now: Instant,
    looks: i64,
}

impl Transport for Wild {
    fn name(&self) -> &'static str {
        "wild"
    }

    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        let restarts = !self.was_calm && !self.wild();
        if restarts || (self.wild() && self.lot.below(200) == 0) {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        let count = buffer.len().min(self.coming.len());
        for (place, byte) in buffer.iter_mut().zip(self.coming.drain(..count)) {
            *place = byte;
        }
        if count == 0 {
            self.now += wait;
        }
        Ok(count)
    }

    fn write_all(&mut self, mut bytes: &[u8]) -> io::Result<()> {
        while !bytes.is_empty() {
            let (found, rest) = self.decoder.feed::<Request>(bytes);
            bytes = rest;
            if let Some(Found::Message(Request { id, body })) = found {
                self.answer(id, &body);
            }
        }
        Ok(())
    }

    fn now(&self) -> Instant {
        self.now
    }
}

impl Wild {
    fn wild(&self) -> bool {
        !self.calm.load(Ordering::Relaxed)
    }

    fn answer(&mut self, id: u16, body: &RequestBody) {
        for right in self.right(body) {
            let lot = if self.wild() { self.lot.below(100) } else { 99 };
            match lot {
                0..15 => {
                    let wild = self.of_the_kind(&right);
                    self.send(id, wild);
                }
                15..20 => {
                    let other = self.any_kind();
                    self.send(id, other);
                }
                20..25 => {
                    let refusal = self.refusal();
                    self.send(id, ReplyBody::Refused(refusal));
                }
                25..35 => self.mutated(id, right),
                35..38 => self.damaged(id, right),
                38..40 => {
                    let other = self.lot.next() as u16;
                    self.send(other, right);
                }
                40..42 => {}
                42..44 => {
                    self.send(id, right.clone());
                    self.send(id, right);
                }
                _ => self.send(id, right),
            }
        }
    }

    fn frame(id: u16, body: ReplyBody) -> Vec<u8> {
        let mut frame = [0; FRAME_BYTES_MAX];
        encode(&Reply { id, body }, &mut frame).unwrap().to_vec()
    }

    fn send(&mut self, id: u16, body: ReplyBody) {
        self.coming.extend(Self::frame(id, body));
    }

    /// A reply with some bytes of its coding changed, under a check that fits.
    fn mutated(&mut self, id: u16, body: ReplyBody) {
        let mut bytes = message_in(&Self::frame(id, body));
        for _ in 0..=self.lot.below(4) {
            let at = self.lot.below(bytes.len() as u64) as usize;
            bytes[at] = self.lot.next() as u8;
        }
        if self.lot.below(4) == 0 {
            bytes.truncate(self.lot.below(bytes.len() as u64) as usize);
        }
        let mut frame = [0; FRAME_BYTES_MAX];
        self.coming.extend(encode(&Raw(&bytes), &mut frame).unwrap());
    }

    /// Bits flipped on the line, a frame cut off, or bytes that are none.
    fn damaged(&mut self, id: u16, body: ReplyBody) {
        let mut frame = Self::frame(id, body);
        match self.lot.below(3) {
            0 => {
                let at = self.lot.below(frame.len() as u64) as usize;
                frame[at] ^= 1 << self.lot.below(8);
            }
            1 => frame.truncate(self.lot.below(frame.len() as u64) as usize),
            _ => frame.iter_mut().for_each(|byte| *byte = self.lot.next() as u8),
        }
        self.coming.extend(frame);
    }

    fn refusal(&mut self) -> Refusal {
        match self.lot.below(9) {
            0 => Refusal::Unknown,
            1 => Refusal::Version(self.lot.next() as u16),
            2 => Refusal::Settings,
            3 => Refusal::SiteText,
            4 => Refusal::Range,
            5 => Refusal::Clock,
            6 => Refusal::Memory,
            7 => Refusal::Calibration,
            _ => Refusal::NoSeal,
        }
    }

    /// The right answers to a request.
    fn right(&mut self, body: &RequestBody) -> Vec<ReplyBody> {
        vec![match body {
            RequestBody::Hello { .. } => ReplyBody::Hello(identity()),
            RequestBody::Status => ReplyBody::Status(Status {
                sectors: 4091,
                sectors_used: SECTORS,
                ..Status::default()
            }),
            RequestBody::Live => {
                self.looks += 1;
                ReplyBody::Live(live(200 * self.looks))
            }
            RequestBody::GetSettings => ReplyBody::Settings(Settings::default()),
            RequestBody::GetSite { offset } => {
                let bytes = [].into_iter().collect();
                ReplyBody::Site { offset: *offset, total: 0, bytes }
            }
            RequestBody::Snapshot => ReplyBody::Snapshot(SnapshotRange {
                first_sector: 0,
                last_sector: SECTORS - 1,
                clock_ms: 1_770_000_000_000,
            }),
            RequestBody::GetCalibration => ReplyBody::Calibration(Calibration::default()),
            RequestBody::GetSeal => ReplyBody::Refused(Refusal::NoSeal),
            RequestBody::ReadPages { first, count } => {
                let from = first.sector * 4 + u32::from(first.page);
                let pages = from..from.saturating_add((*count).into()).min(SECTORS * 4);
                let address = |page: u32| PageAddress { sector: page / 4, page: (page % 4) as u8 };
                let end = address(pages.end);
                return pages
                    .map(|page| ReplyBody::PageGone { address: address(page) })
                    .chain([ReplyBody::PagesEnd { next: end }])
                    .collect();
            }
            RequestBody::SetClock { .. }
            | RequestBody::PutSettings(_)
            | RequestBody::PutSite { .. }
            | RequestBody::PutCalibration(_)
            | RequestBody::Arm
            | RequestBody::Release { .. } => ReplyBody::Done,
        }]
    }

    /// A reply of the same kind with whatever values.
    fn of_the_kind(&mut self, right: &ReplyBody) -> ReplyBody {
        let lot = &mut self.lot;
        match right {
            ReplyBody::Hello(_) => ReplyBody::Hello(Identity {
                protocol: if lot.below(4) == 0 { lot.wide() as u16 } else { PROTOCOL_VERSION },
                device: if lot.below(2) == 0 { lot.next().to_le_bytes() } else { *b"WILDWILD" },
                firmware: [lot.next() as u8; 3],
                boot: lot.wide() as u16,
                clock_ms: lot.wide(),
                clock_good: lot.below(2) == 0,
            }),
            ReplyBody::Status(_) => ReplyBody::Status(Status {
                sectors: lot.wide() as u32,
                sectors_used: lot.wide() as u32,
                sectors_bad: lot.wide() as u32,
                oldest_sector: lot.wide() as u32,
                newest_sector: lot.wide() as u32,
                records: lot.wide() as u32,
                frames_lost: lot.wide() as u32,
                captures_dropped: lot.wide() as u32,
                pages_damaged: lot.wide() as u32,
                armed: lot.below(2) == 0,
                full: lot.below(2) == 0,
            }),
            ReplyBody::Live(_) => ReplyBody::Live(Live {
                time_ms: lot.wide(),
                voltage_dv: lot.wide() as i32,
                current_ca: lot.wide() as i32,
                power_w: lot.wide() as i32,
                signal: lot.wide() as i32,
                frequency_chz: lot.wide() as u16,
                lamps_lit: lot.next() as u8,
                lamps_flashing: lot.next() as u8,
                transducer_supply_mv: lot.wide() as u16,
                supply_mv: lot.wide() as u16,
                board_dc: lot.wide() as i16,
                flags: lot.next() as u8,
                running: lot.below(2) == 0,
            }),
            ReplyBody::Settings(_) => ReplyBody::Settings(Settings {
                site: "\u{1b}[2J<b>\n".try_into().unwrap(),
                nominal_dv: lot.wide() as u16,
                rated_current_ma: lot.wide() as u32,
                running_above_ma: lot.wide() as u32,
                transducer: TransducerKind::Ratiometric,
                low_mbar: lot.wide() as i32,
                high_mbar: lot.wide() as i32,
                merge_max_s: lot.next() as u8,
                ..Settings::default()
            }),
            ReplyBody::Site { .. } => {
                let bytes = lot.below(257);
                ReplyBody::Site {
                    offset: lot.wide() as u16,
                    total: lot.wide() as u16,
                    bytes: (0..bytes).map(|_| lot.next() as u8).collect(),
                }
            }
            ReplyBody::Snapshot(_) => {
                let first_sector = lot.wide() as u32;
                let last_sector = match lot.below(3) {
                    0 => lot.wide() as u32,
                    // The most a logger may hold, and one more.
                    n => first_sector.wrapping_add((1 << 16) - 2 + n as u32),
                };
                let clock_ms = lot.wide();
                ReplyBody::Snapshot(SnapshotRange { first_sector, last_sector, clock_ms })
            }
            ReplyBody::PageGone { address } if lot.below(2) == 0 => ReplyBody::Page {
                address: *address,
                bytes: (0..1024).map(|_| lot.next() as u8).collect(),
            },
            _ => {
                let address = PageAddress { sector: lot.wide() as u32, page: lot.next() as u8 };
                ReplyBody::PageGone { address }
            }
        }
    }

    fn any_kind(&mut self) -> ReplyBody {
        match self.lot.below(6) {
            0 => ReplyBody::Hello(identity()),
            1 => ReplyBody::Live(live(0)),
            2 => ReplyBody::Settings(Settings::default()),
            3 => ReplyBody::PagesEnd { next: PageAddress { sector: 0, page: 0 } },
            4 => ReplyBody::Status(Status::default()),
            _ => ReplyBody::Done,
        }
    }
}

fn identity() -> Identity {
    Identity {
        protocol: PROTOCOL_VERSION,
        device: *b"WILDWILD",
        firmware: [0, 1, 0],
        boot: 3,
        clock_ms: 1_770_000_000_000,
        clock_good: true,
    }
}

fn live(after_ms: i64) -> Live {
    Live {
        time_ms: 1_770_000_000_000 + after_ms,
        voltage_dv: 2310,
        frequency_chz: 5000,
        signal: 5000,
        supply_mv: 5000,
        transducer_supply_mv: 24_000,
        ..Live::default()
    }
}

/// The message in a frame (FORMAT.md §1): COBS undone, without the check.
fn message_in(frame: &[u8]) -> Vec<u8> {
    let mut plain = Vec::new();
    let mut rest = &frame[..frame.len() - 1];
    while let Some((code, behind)) = rest.split_first() {
        let (block, left) = behind.split_at(usize::from(*code) - 1);
        plain.extend_from_slice(block);
        if *code < 0xFF && !left.is_empty() {
            plain.push(0);
        }
        rest = left;
    }
    plain.truncate(plain.len() - 4);
    plain
}

/// Bytes that are coded as they are.
struct Raw<'a>(&'a [u8]);

impl Serialize for Raw<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut tuple = serializer.serialize_tuple(self.0.len())?;
        for byte in self.0 {
            tuple.serialize_element(byte)?;
        }
        tuple.end()
    }
}
