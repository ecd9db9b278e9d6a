use super::*;
use crate::client::Limits;
use crate::transport::Pipe;
use embassy_futures::block_on;
use proptest::prelude::*;
use pumpwitness_core::logger::{FrameSink, LineClosed, Logger, Start};
use pumpwitness_core::wave::HalfWave;
use pumpwitness_journal::ram::RamFlash;
use pumpwitness_protocol::archive::read_trailer;
use pumpwitness_protocol::record::BootReason;
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::Duration;

const LIMITS: Limits = Limits { answer: Duration::from_millis(400), tries: 3 };

type Shared = Arc<Mutex<Logger<RamFlash>>>;

/// A real logger that has recorded some minutes of a pump that runs now and then.
fn logger(device: [u8; 8]) -> Shared {
    let start = Start {
        device,
        firmware: [0, 1, 0],
        reason: BootReason::PowerOn,
        clock_ms: 1_770_000_000_000,
        clock_good: true,
    };
    let mut logger = block_on(Logger::start(RamFlash::erased(34), start)).unwrap();
    for n in 0..200_000_u32 {
        let running = n % 9_000 > 3_000;
        let noise = u64::from(n.wrapping_mul(2_654_435_761) >> 22);
        let half = HalfWave {
            duration_us: 10_000,
            voltage_sq_mv2: (230_000 + noise) * (230_000 + noise),
            current_sq_ma2: if running { (4_000 + noise) * (4_000 + noise) } else { 0 },
            power_mw: if running { 800_000 + noise as i32 * 9 } else { 0 },
            signal: 5_000 + (noise % 17) as i32,
            flags: 0,
        };
        if logger.half_wave(&half) {
            block_on(logger.store()).unwrap();
        }
    }
    Arc::new(Mutex::new(logger))
}

struct Collected(Vec<u8>);

impl FrameSink for Collected {
    async fn send(&mut self, frame: &[u8]) -> Result<(), LineClosed> {
        self.0.extend_from_slice(frame);
        Ok(())
    }
}

/// What happens to the bytes a logger sends.
#[derive(Clone, Copy, Default)]
struct Faults {
    /// The plug is pulled after this many.
    unplug_after: Option<usize>,
    /// One of so many 64-byte pieces is damaged, dropped or doubled, by a fixed seed.
    one_in: Option<u32>,
}

/// Plugs a logger in behind a pipe.
fn plug(logger: &Shared, faults: Faults) -> (Client<Pipe>, JoinHandle<()>) {
    let (host, mut device) = Pipe::pair("test line");
    let logger = Arc::clone(logger);
    let thread = thread::spawn(move || {
        let mut buffer = [0; 4096];
        let mut sent = 0;
        let mut lot = 0x1234_5678_u32;
        while let Ok(count) = device.read(&mut buffer, Duration::from_millis(50)) {
            let mut out = Collected(Vec::new());
            if count > 0 {
                block_on(logger.lock().unwrap().serve(&buffer[..count], &mut out)).unwrap();
            }
            for piece in out.0.chunks(64) {
                lot = lot.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let hit = faults.one_in.is_some_and(|one_in| (lot >> 8).is_multiple_of(one_in));
                let mut piece = piece.to_vec();
                match (hit, lot >> 30) {
                    (false, _) => {}
                    (true, 0) => piece.clear(),
                    (true, 1) => piece.extend(piece.clone()),
                    (true, _) => piece[0] ^= 0x20,
                }
                if let Some(left) = faults.unplug_after.map(|after| after.saturating_sub(sent))
                    && left < piece.len()
                {
                    let _ = device.write_all(&piece[..left]);
                    return;
                }
                sent += piece.len();
                if device.write_all(&piece).is_err() {
                    return;
                }
            }
        }
    });
    (Client::new(host, LIMITS), thread)
}

fn fetch(logger: &Shared, faults: Faults, file: &Path) -> Result<Downloaded, DownloadError> {
    let (mut client, thread) = plug(logger, faults);
    let download =
        Download { file, replace: false, release: false, host_clock_ms: 1_770_000_009_000 };
    let outcome = download.run(&mut client, |_| {});
    drop(client);
    thread.join().unwrap();
    outcome
}

/// What the sectors of the file must be: those of the flash.
fn assert_true_copy(logger: &Shared, file: &Path) {
    let bytes = fs::read(file).unwrap();
    let header = ArchiveHeader::decode(&bytes).unwrap();
    assert_eq!(bytes.len() as u64, archive_bytes(header.sectors()));
    let body = bytes.len() - TRAILER_BYTES;
    let (sectors, hash) = read_trailer(&bytes[body..]).unwrap();
    assert_eq!((sectors, hash), (header.sectors(), Sha256::digest(&bytes[..body]).into()));
    let logger = logger.lock().unwrap();
    let flash = logger.flash().bytes().as_chunks::<SECTOR_BYTES>().0;
    for (index, sector) in bytes[ARCHIVE_HEADER_BYTES..body].chunks(SECTOR_BYTES).enumerate() {
        let sequence = header.range.first_sector + index as u32;
        let of_flash = flash
            .iter()
            .find(|held| SectorHeader::decode(&held[..]).is_some_and(|h| h.sequence == sequence));
        assert!(of_flash.is_some_and(|held| held == sector), "sector {sequence}");
    }
}

#[test]
fn a_download_is_a_true_copy() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.pwa");
    let logger = logger(*b"logger 1");
    let done = fetch(&logger, Faults::default(), &file).unwrap();
    assert_eq!((done.pages_gone, done.resumed_at), (0, 0));
    assert!(done.chain_broken.is_empty() && done.sectors > 5);
    let whole: [u8; 32] = Sha256::digest(fs::read(&file).unwrap()).into();
    assert_eq!(done.sha256, whole);
    assert_true_copy(&logger, &file);
    assert!(!part_of(&file).exists());
    let again = fetch(&logger, Faults::default(), &file);
    assert!(matches!(again, Err(DownloadError::Exists(_))));
}

#[test]
fn a_noisy_line_costs_time_and_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.pwa");
    let logger = logger(*b"logger 1");
    let faults = Faults { one_in: Some(150), ..Faults::default() };
    for _ in 0..20 {
        match fetch(&logger, faults, &file) {
            Ok(_) => {
                assert_true_copy(&logger, &file);
                return;
            }
            // The noise may hit a handshake; a technician would repeat, and so do we.
            Err(DownloadError::Link(_) | DownloadError::Stuck(_)) => {}
            Err(other) => panic!("{other}"),
        }
    }
    panic!("no download in 20 attempts");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn unplugged_anywhere_it_goes_on_to_the_same_file(
        cuts in proptest::collection::vec(0usize..90_000, 1..5),
    ) {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a.pwa");
        let logger = logger(*b"logger 1");
        let mut far = 0;
        for cut in cuts {
            let faults = Faults { unplug_after: Some(cut), ..Faults::default() };
            match fetch(&logger, faults, &file) {
                Ok(_) => break,
                Err(error) => {
                    prop_assert!(matches!(error, DownloadError::Link(LinkError::Broken { .. })),
                        "{}", error);
                    prop_assert!(!file.exists());
                    let part = fs::metadata(part_of(&file)).map_or(0, |part| part.len());
                    prop_assert!(part >= far);
                    far = part;
                }
            }
        }
        if !file.exists() {
            let done = fetch(&logger, Faults::default(), &file).unwrap();
            prop_assert!(done.chain_broken.is_empty());
        }
        assert_true_copy(&logger, &file);
    }
}

#[test]
fn interrupted_and_whole_downloads_are_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let logger = logger(*b"logger 1");
    let (cut, whole) = (folder.path().join("cut.pwa"), folder.path().join("whole.pwa"));
    let faults = Faults { unplug_after: Some(30_000), ..Faults::default() };
    fetch(&logger, faults, &cut).unwrap_err();
    // The same beginning, as an attempt that got no further than the head would leave it.
    let head = fs::read(part_of(&cut)).unwrap()[..ARCHIVE_HEADER_BYTES].to_vec();
    fs::write(part_of(&whole), head).unwrap();
    let resumed = fetch(&logger, Faults::default(), &cut).unwrap();
    fetch(&logger, Faults::default(), &whole).unwrap();
    assert!(resumed.resumed_at > 0);
    assert!(fs::read(cut).unwrap() == fs::read(whole).unwrap());
}

#[test]
fn damage_on_the_disk_before_going_on_is_mended() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.pwa");
    let logger = logger(*b"logger 1");
    let faults = Faults { unplug_after: Some(40_000), ..Faults::default() };
    fetch(&logger, faults, &file).unwrap_err();
    let mut part = fs::read(part_of(&file)).unwrap();
    part[ARCHIVE_HEADER_BYTES + 2_000] ^= 1;
    fs::write(part_of(&file), part).unwrap();
    let done = fetch(&logger, Faults::default(), &file).unwrap();
    assert!(done.chain_broken.is_empty());
    assert_true_copy(&logger, &file);
}

#[test]
fn another_logger_or_another_file_is_not_mixed_in() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.pwa");
    let faults = Faults { unplug_after: Some(20_000), ..Faults::default() };
    fetch(&logger(*b"logger 1"), faults, &file).unwrap_err();
    let error = fetch(&logger(*b"logger 2"), Faults::default(), &file).unwrap_err();
    assert!(matches!(error, DownloadError::OtherLogger { .. }), "{error}");
    fs::write(part_of(&file), vec![b'x'; 9000]).unwrap();
    let error = fetch(&logger(*b"logger 1"), Faults::default(), &file).unwrap_err();
    assert!(matches!(error, DownloadError::Foreign { .. }), "{error}");
    assert_eq!(fs::read(part_of(&file)).unwrap(), vec![b'x'; 9000]);
}

/// A device that does not speak, or speaks nonsense, with or without frame ends.
#[test]
fn silence_and_garbage_end_within_the_limits() {
    for answer in [&b""[..], b"AT\r\nERROR\r\n", &[0x55, 0, 0x12, 0x34, 0], &[0xFF; 3000]] {
        let (host, mut device) = Pipe::pair("test line");
        let thread = thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(count) = device.read(&mut buffer, Duration::from_millis(50)) {
                if count > 0 && device.write_all(answer).is_err() {
                    return;
                }
            }
        });
        let mut client = Client::new(host, LIMITS);
        let error = client.hello().unwrap_err();
        assert!(
            matches!(error, LinkError::Silent { .. } | LinkError::Garbage { .. }),
            "{answer:?}: {error}"
        );
        drop(client);
        thread.join().unwrap();
    }
}
