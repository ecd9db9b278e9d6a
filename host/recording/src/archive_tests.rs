use super::*;
use crate::file::sha256_hex;
use proptest::prelude::*;
use pumpwitness_protocol::archive::trailer;
use pumpwitness_protocol::message::{Identity, SnapshotRange};
use pumpwitness_protocol::page::PageWriter;
use pumpwitness_protocol::record::{Interval, Mark, Record, Spread, TimedMark};
use pumpwitness_protocol::settings::Settings;
use std::sync::LazyLock;

const DEVICE: [u8; 8] = *b"logger 7";
const FIRST: u32 = 40;
const SECTORS: u32 = 5;
const START_MS: i64 = 1_770_000_000_000;

/// Rows of an archive: `ROWS_PER_PAGE` a page, one every 200 ms.
const ROWS_PER_PAGE: usize = 30;
const ROWS: usize = ROWS_PER_PAGE * PAGES_PER_SECTOR * SECTORS as usize;

fn row(index: usize) -> Record {
    let wobble = (index % 7) as i32;
    Record::Interval(Interval {
        end_ms: START_MS + 200 * (index as i64 + 1),
        span_ms: 200,
        count: 1,
        voltage_dv: Spread { mean: 2300 + wobble, min: 2290, max: 2310 },
        current_ca: Spread { mean: 640 - wobble, min: 600, max: 690 },
        power_w: 1200 + wobble,
        signal: Spread { mean: 5000 + wobble, min: 5000, max: 5010 },
        frequency_chz: 5000,
        flags: 0,
    })
}

fn header() -> ArchiveHeader {
    ArchiveHeader {
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
    }
}

fn write_archive() -> Vec<u8> {
    let mut file = vec![0; ARCHIVE_HEADER_BYTES];
    header().encode((&mut file[..]).try_into().unwrap());
    let mut previous = [0xAA; 32];
    let mut index = 0;
    for sequence in FIRST..FIRST + SECTORS {
        let opened_ms = START_MS + 200 * index as i64;
        let mut sector = Vec::new();
        for page in 0..PAGES_PER_SECTOR as u8 {
            let address = PageAddress { sector: sequence, page };
            let mut writer = PageWriter::new(address, 1, 3, START_MS + 200 * index as i64);
            for _ in 0..ROWS_PER_PAGE {
                writer.push(&row(index)).unwrap();
                index += 1;
            }
            if page == 0 && sequence == FIRST {
                writer
                    .push(&Record::Mark(TimedMark { time_ms: START_MS + 1, mark: Mark::Snapshot }))
                    .unwrap();
            }
            writer.close_chunk();
            sector.extend_from_slice(writer.bytes());
        }
        let header = SectorHeader {
            align: 1,
            sequence,
            device: DEVICE,
            previous,
            erased: 1,
            boot: 3,
            opened_ms,
        };
        let encoded = header.encode();
        sector[..encoded.len()].copy_from_slice(&encoded);
        previous = Sha256::digest(&sector).into();
        file.extend_from_slice(&sector);
    }
    let hash = Sha256::digest(&file).into();
    file.extend_from_slice(&trailer(SECTORS, hash));
    file
}

static ARCHIVE: LazyLock<Vec<u8>> = LazyLock::new(write_archive);

/// Byte at which a page lies in the file.
fn page_at(sector: usize, page: usize) -> usize {
    ARCHIVE_HEADER_BYTES + sector * SECTOR_BYTES + page * PAGE_BYTES
}

#[test]
fn a_whole_archive_comes_back_whole() {
    let recording = read_archive("a.pwa", &ARCHIVE).unwrap();
    assert_eq!(recording.columns.len(), ROWS);
    assert_eq!(recording.columns.end_ms[0], START_MS + 200);
    assert_eq!(recording.columns.voltage_v[0].mean[8], 230.1);
    assert_eq!(recording.marks.len(), 1);
    let source = recording.source;
    assert_eq!(source.losses, [""; 0]);
    assert_eq!(source.pages_good, 20);
    assert_eq!(source.pages_damaged, 0);
    assert_eq!(source.clock_offset_ms, Some(750));
    assert_eq!(source.device.as_deref(), Some("6c6f676765722037"));
    assert_eq!(source.firmware.as_deref(), Some("0.1.2"));
    assert_eq!(source.site_text.as_deref(), Some("[supply]"));
    assert_eq!(source.sha256, sha256_hex(&ARCHIVE));
}

#[test]
fn a_damaged_page_is_skipped_counted_and_found_by_the_chain() {
    let mut file = ARCHIVE.clone();
    file[page_at(2, 1) + 5] ^= 1;
    let recording = read_archive("a", &file).unwrap();
    assert_eq!(recording.columns.len(), ROWS - ROWS_PER_PAGE);
    assert_eq!(recording.source.pages_damaged, 1);
    assert_eq!(
        recording.source.losses,
        [
            "the archive is not as it was downloaded: its hash differs from the one in its end mark",
            "1 pages are damaged: they were skipped",
            "the hash chain is broken: sector 42 changed after the logger closed it",
        ]
    );
}

#[test]
fn pages_the_logger_no_longer_held_are_no_damage() {
    let mut file = ARCHIVE.clone();
    file[page_at(0, 0)..page_at(0, 2)].fill(0);
    let body = file.len() - TRAILER_BYTES;
    let hash = Sha256::digest(&file[..body]).into();
    file.truncate(body);
    file.extend_from_slice(&trailer(SECTORS, hash));
    let recording = read_archive("a", &file).unwrap();
    assert_eq!(recording.columns.len(), ROWS - 2 * ROWS_PER_PAGE);
    assert_eq!(
        recording.source.losses,
        ["2 pages were no longer held by the logger when it was read"]
    );
}

#[test]
fn a_swapped_or_foreign_sector_is_not_believed() {
    let mut file = ARCHIVE.clone();
    let (left, right) = file.split_at_mut(page_at(2, 0));
    left[page_at(1, 0)..].swap_with_slice(&mut right[..SECTOR_BYTES]);
    let recording = read_archive("a", &file).unwrap();
    assert_eq!(recording.columns.len(), ROWS - 2 * 4 * ROWS_PER_PAGE);
    assert_eq!(recording.source.pages_damaged, 8);
    assert!(recording.source.losses.iter().any(|loss| loss.contains("sectors 41, 42")));
}

#[test]
fn an_unfinished_download_gives_what_is_there() {
    let recording = read_archive("a", &ARCHIVE[..page_at(3, 2) + 100]).unwrap();
    assert_eq!(recording.columns.len(), 14 * ROWS_PER_PAGE);
    assert_eq!(
        recording.source.losses,
        [
            "the archive has no end mark: its download was not finished, or it was cut off",
            "2 of 5 sectors are not in the file",
            "1 pages are damaged: they were skipped",
        ]
    );
}

#[test]
fn a_head_that_does_not_pass_is_an_error() {
    assert!(matches!(read_archive("a", b""), Err(Problem::ArchiveHead(_))));
    assert!(matches!(read_archive("a", b"PAR1...."), Err(Problem::ArchiveHead(_))));
    assert!(matches!(read_archive("a", &ARCHIVE[..5000]), Err(Problem::ArchiveHead(_))));
    let mut file = ARCHIVE.clone();
    file[30] ^= 4;
    assert!(matches!(read_archive("a", &file), Err(Problem::ArchiveHead(_))));
    // The head alone is an unfinished download without rows.
    let recording = read_archive("a", &ARCHIVE[..ARCHIVE_HEADER_BYTES]).unwrap();
    assert!(recording.columns.is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    /// One flipped bit anywhere: an error, or a recording that says so and has no invented row.
    #[test]
    fn any_flipped_bit_is_told(at in 0..ARCHIVE.len(), bit in 0..8) {
        let mut file = ARCHIVE.clone();
        file[at] ^= 1_u8 << bit;
        let Ok(recording) = read_archive("a", &file) else { return Ok(()) };
        prop_assert!(!recording.source.losses.is_empty());
        let whole = read_archive("a", &ARCHIVE).unwrap();
        let mut rows = whole.columns.end_ms.iter().zip(&whole.columns.voltage_v[0].mean);
        for row in recording.columns.end_ms.iter().zip(&recording.columns.voltage_v[0].mean) {
            prop_assert!(rows.any(|original| original == row));
        }
    }

    #[test]
    fn cut_anywhere_it_is_told(length in 0..ARCHIVE.len()) {
        if let Ok(recording) = read_archive("a", &ARCHIVE[..length]) {
            prop_assert!(!recording.source.losses.is_empty());
        }
    }

    /// Garbage behind a good head, with the pages' own checks as the only guard.
    #[test]
    fn garbage_behind_a_good_head_gives_nothing(bytes in prop::collection::vec(any::<u8>(), 0..20_000)) {
        let mut file = ARCHIVE[..ARCHIVE_HEADER_BYTES].to_vec();
        file.extend_from_slice(&bytes);
        let recording = read_archive("a", &file).unwrap();
        prop_assert!(recording.columns.is_empty());
        prop_assert!(!recording.source.losses.is_empty());
    }
}
