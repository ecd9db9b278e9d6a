//! The fuzz targets, each a plain function of its input's bytes, called by the fuzzer
//! (`fuzz_targets/`) and by an ordinary test (`tests/plain.rs`) where there is none; and what they
//! share: records out of chance, and a whole small archive.
//!
//! | target | what it feeds | what has to hold |
//! |---|---|---|
//! | `frame` | bytes on a line | no panic; what is understood comes back the same |
//! | `page` | page bytes, whole and mended; records | the same; written records come back |
//! | `record` | bits; records | the same |
//! | `heads` | heads of slots, sectors, archives | the same |
//! | `service` | requests and half waves, power cuts | every answer is a bounded, valid frame |
//! | `archive_file` | files, foreign and mutated | rows in time order, damage told |
//! | `journal` | operations, power cuts | what a plain list says |
//! | `table` | cells of an imported table | columns of one length in time order |
//! | `site_file` | text | an accepted site written out is accepted again |
//!
//! Long runs, half an hour each on one core with the address sanitiser, at most 1 GiB, November 2026.
//! None found a crash, a hang, or a broken promise:
//!
//! | target | inputs |
//! |---|---|
//! | `frame` | 16 348 976 |
//! | `page` | 6 063 694 |
//! | `record` | 1 416 163 |
//! | `service` | 330 899 |

pub mod archive_file;
pub mod frame;
pub mod heads;
pub mod journal;
pub mod page;
pub mod record;
pub mod service;
pub mod site_file;
pub mod table;

use arbitrary::{Arbitrary, Result, Unstructured};
use pumpwitness_protocol::archive::{ARCHIVE_HEADER_BYTES, ArchiveHeader, trailer};
use pumpwitness_protocol::check::crc32;
use pumpwitness_protocol::message::{Identity, PageAddress, SnapshotRange};
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR, PageWriter};
use pumpwitness_protocol::record::{
    CAPTURE_BLOCK_POINTS, CaptureBlock, CapturePoint, Interval, Mark, Record, Spread, TimedMark,
    Trigger,
};
use pumpwitness_protocol::sector::SectorHeader;
use pumpwitness_protocol::settings::Settings;
use sha2::{Digest, Sha256};

/// The input that the fuzzer makes of `bytes`; none when they are too few.
pub fn input<'a, T: Arbitrary<'a>>(bytes: &'a [u8]) -> Option<T> {
    if bytes.len() < T::size_hint(0).0 {
        return None;
    }
    T::arbitrary_take_rest(Unstructured::new(bytes)).ok()
}

/// A time that FORMAT.md §3 can carry from any other such time, ms since 1970.
pub fn time_ms(u: &mut Unstructured<'_>) -> Result<i64> {
    let value: i64 = u.arbitrary()?;
    Ok(if u.ratio(1, 8)? { value >> 3 } else { value % 4_000_000_000_000 })
}

fn spread(u: &mut Unstructured<'_>) -> Result<Spread> {
    Ok(if u.ratio(1, 8)? {
        Spread { mean: u.arbitrary()?, min: u.arbitrary()?, max: u.arbitrary()? }
    } else {
        let mean = u.int_in_range(-100..=12_000)?;
        Spread {
            mean,
            min: mean - i32::from(u.arbitrary::<u8>()?),
            max: mean + i32::from(u.arbitrary::<u8>()?),
        }
    })
}

/// Any record.
pub fn record(u: &mut Unstructured<'_>) -> Result<Record> {
    Ok(match u.int_in_range(0..=9)? {
        0 => {
            let mut points = heapless::Vec::new();
            for _ in 0..u.int_in_range(0..=CAPTURE_BLOCK_POINTS)? {
                let _ = points.push(CapturePoint {
                    voltage_dv: u.arbitrary()?,
                    current_ca: u.arbitrary()?,
                    power_w: u.arbitrary()?,
                });
            }
            Record::Capture(CaptureBlock {
                capture: u.arbitrary()?,
                first_index: u.arbitrary()?,
                start_ms: time_ms(u)?,
                step_us: u.arbitrary()?,
                trigger: Trigger::from_code(u.int_in_range(0..=4)?).unwrap_or(Trigger::Start),
                points,
            })
        }
        1 => {
            let bytes = u.bytes(u.len().min(24))?;
            let mark = postcard::take_from_bytes::<Mark>(bytes).map_or(Mark::Armed, |(m, _)| m);
            Record::Mark(TimedMark { time_ms: time_ms(u)?, mark })
        }
        _ => Record::Interval(Interval {
            end_ms: time_ms(u)?,
            span_ms: u.arbitrary()?,
            count: u.arbitrary()?,
            voltage_dv: spread(u)?,
            current_ca: spread(u)?,
            power_w: u.arbitrary()?,
            signal: spread(u)?,
            frequency_chz: u.arbitrary()?,
            flags: u.arbitrary()?,
        }),
    })
}

/// Device whose archive [`archive`] is.
pub const DEVICE: [u8; 8] = *b"logger 7";
const FIRST: u32 = 40;
const SECTORS: u32 = 3;
const START_MS: i64 = 1_770_000_000_000;

/// A whole archive of three sectors with ordinary rows and marks.
pub fn archive() -> Vec<u8> {
    let mut file = vec![0; ARCHIVE_HEADER_BYTES];
    let header = ArchiveHeader {
        identity: Identity {
            protocol: 1,
            device: DEVICE,
            firmware: [0, 1, 2],
            boot: 3,
            clock_ms: START_MS,
            clock_good: true,
        },
        range: SnapshotRange {
            first_sector: FIRST,
            last_sector: FIRST + SECTORS - 1,
            clock_ms: START_MS + 1_000_000,
        },
        host_clock_ms: START_MS + 1_000_750,
        settings: Settings::default(),
        site_text: b"[supply]".iter().copied().collect(),
        calibration: pumpwitness_protocol::calibration::Calibration::default(),
        public_key: [0; 32],
        seal: None,
        collected_by: heapless::String::new(),
        program: [0, 1, 0],
    };
    header.encode(file.first_chunk_mut().expect("long enough"));
    let mut previous = [0; 32];
    let mut now_ms = START_MS;
    for sequence in FIRST..FIRST + SECTORS {
        let sector_header = SectorHeader {
            align: 1,
            sequence,
            device: DEVICE,
            previous,
            erased: 1,
            boot: 3,
            opened_ms: now_ms,
        };
        let mut sector = Vec::new();
        for page in 0..PAGES_PER_SECTOR as u8 {
            let address = PageAddress { sector: sequence, page };
            let mut writer = PageWriter::new(address, 1, 3, now_ms);
            for n in 0..30 {
                now_ms += 200;
                let wobble = (now_ms / 200 % 7) as i32;
                let record = if n == 11 {
                    Record::Mark(TimedMark { time_ms: now_ms, mark: Mark::Snapshot })
                } else {
                    Record::Interval(Interval {
                        end_ms: now_ms,
                        span_ms: 200,
                        count: 1,
                        voltage_dv: Spread { mean: 2300 + wobble, min: 2290, max: 2310 },
                        current_ca: Spread { mean: 640 - wobble, min: 600, max: 690 },
                        power_w: 1200 + wobble,
                        signal: Spread { mean: 5000 + wobble, min: 5000, max: 5010 },
                        frequency_chz: 5000,
                        flags: 0,
                    })
                };
                writer.push(&record).expect("thirty fit");
            }
            writer.close_chunk();
            sector.extend_from_slice(writer.bytes());
        }
        sector[..96].copy_from_slice(&sector_header.encode());
        previous = Sha256::digest(&sector).into();
        file.extend(sector);
    }
    let hash = Sha256::digest(&file).into();
    file.extend_from_slice(&trailer(SECTORS, hash));
    file
}

/// Puts the right CRC behind the first `at` bytes, so that what is behind the check is reached.
pub fn mend(bytes: &mut [u8], at: usize) {
    if let Some((before, behind)) = bytes.split_at_mut_checked(at)
        && let Some(crc) = behind.first_chunk_mut()
    {
        *crc = crc32(before).to_le_bytes();
    }
}

/// A page at `address` whose one chunk holds `payload` and passes its check.
pub fn page_of_payload(address: PageAddress, payload: &[u8]) -> [u8; PAGE_BYTES] {
    let mut bytes = *PageWriter::new(address, 1, 1, START_MS).bytes();
    let at = if address.page == 0 { 96 + 24 } else { 24 };
    let payload = &payload[..payload.len().min(PAGE_BYTES - at - 2 - 4)];
    // FORMAT.md §2.2: sector, page, place of the chunk, then length and payload.
    let mut chunk = Vec::new();
    if payload.len() >= 240 {
        chunk.push(0xF0 + (payload.len() >> 8) as u8);
    }
    chunk.push(payload.len() as u8);
    chunk.extend(payload);
    let mut covered = address.sector.to_le_bytes().to_vec();
    covered.push(address.page);
    covered.extend((at as u16).to_le_bytes());
    covered.extend(&chunk);
    chunk.extend(crc32(&covered).to_le_bytes());
    bytes[at..at + chunk.len()].copy_from_slice(&chunk);
    bytes
}
