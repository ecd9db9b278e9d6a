use super::*;
use crate::client::Limits;
use crate::error::LinkError;
use crate::testing::{Faults, Line, Passed, Peer, Shelf};
use embassy_futures::block_on;
use proptest::prelude::*;
use pumpwitness_core::logger::{FrameSink, LineClosed, Logger, Start};
use pumpwitness_core::wave::HalfWave;
use pumpwitness_journal::ram::RamFlash;
use pumpwitness_protocol::archive::read_trailer;
use pumpwitness_protocol::message::RequestBody;
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR};
use pumpwitness_protocol::record::BootReason;
use pumpwitness_protocol::seal::{Occasion, Seal, Signature, Statement, papers};
use sha2::{Digest, Sha256};
use std::cell::RefCell;
use std::fs;
use std::rc::Rc;
use tempfile::TempDir;

const DEVICE: [u8; 8] = *b"logger 1";
/// The same in every attempt, so that every byte has the same place in each.
const FIRST_ID: u16 = 20_000;
const OPENED_MS: i64 = 1_760_000_000_000;
/// More than one window of pages.
const SECTORS: u32 = 150;

type SharedShelf = Rc<RefCell<Shelf>>;

fn shelf(sectors: u32) -> SharedShelf {
    Shelf::new(DEVICE, 40, sectors, OPENED_MS).shared()
}

/// One attempt over one line, and what passed over it.
fn attempt<P: Peer>(
    peer: P,
    faults: Faults,
    file: &Path,
    release: bool,
) -> (Result<Downloaded, DownloadError>, Passed) {
    let mut client = Client::counting_from(FIRST_ID, Line::new(peer, faults), Limits::default());
    let host_clock_ms = 1_770_000_009_000;
    let download =
        Download { file, replace: false, release, host_clock_ms, collected_by: "J. Fitter" };
    let outcome = download.run(&mut client, |_| {});
    (outcome, client.into_line().passed)
}

fn fetch_from<P: Peer>(peer: P, faults: Faults, file: &Path) -> Result<Downloaded, DownloadError> {
    attempt(peer, faults, file, false).0
}

fn unplug_after(bytes: usize) -> Faults {
    Faults { unplug_after: Some(bytes), ..Faults::default() }
}

fn place(name: &str) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(name);
    (folder, file)
}

/// The whole file of a shelf, made apart from the code under test, with zeros for what is gone.
fn expected_file(shelf: &Shelf) -> Vec<u8> {
    let header = ArchiveHeader {
        identity: shelf.identity.clone(),
        range: pumpwitness_protocol::message::SnapshotRange {
            first_sector: shelf.first,
            last_sector: shelf.last(),
            clock_ms: 1_770_000_000_001,
        },
        host_clock_ms: 1_770_000_009_000,
        settings: shelf.settings.clone(),
        site_text: shelf.site.iter().copied().collect(),
        calibration: pumpwitness_protocol::calibration::Calibration::default(),
        public_key: shelf.sealed.map_or([0; 32], |(public_key, _)| public_key),
        seal: shelf.sealed.map(|(_, seal)| seal),
        collected_by: "J. Fitter".try_into().unwrap(),
        program: PROGRAM,
    };
    let mut head = [0; ARCHIVE_HEADER_BYTES];
    header.encode(&mut head);
    let mut bytes = head.to_vec();
    for sector in shelf.first..=shelf.last() {
        for page in 0..PAGES_PER_SECTOR as u8 {
            let address = PageAddress { sector, page };
            if shelf.gone.contains(&address) {
                bytes.extend([0; PAGE_BYTES]);
            } else {
                bytes.extend(shelf.page(address).unwrap());
            }
        }
    }
    let hash = Sha256::digest(&bytes).into();
    bytes.extend(trailer(header.sectors(), hash));
    bytes
}

fn assert_finished(shelf: &SharedShelf, file: &Path, done: &Downloaded) {
    let bytes = fs::read(file).unwrap();
    assert!(bytes == expected_file(&shelf.borrow()));
    assert_eq!(bytes.len() as u64, archive_bytes(done.sectors));
    let hash: [u8; 32] = Sha256::digest(&bytes).into();
    assert_eq!(done.sha256, hash);
    assert!(!part_of(file).exists());
}

#[test]
fn a_download_is_a_true_copy_and_wastes_no_line() {
    let (_folder, file) = place("a.pwa");
    let shelf = shelf(SECTORS);
    let (done, passed) = attempt(shelf.clone(), Faults::default(), &file, false);
    let done = done.unwrap();
    assert_finished(&shelf, &file, &done);
    assert_eq!((done.pages, done.pages_gone, done.resumed_at), (600, 0, 0));
    assert_eq!((done.pages_damaged, done.pages_torn, done.pages_mended), (0, 0, 0));
    assert!(done.chain_ok() && !done.released);
    // Windows follow each other without a wait, and nearly all that passes is record.
    assert_eq!(passed.waits, 0);
    let payload = u64::from(SECTORS) * SECTOR_BYTES as u64;
    let all = (passed.to_host + passed.to_peer) as u64;
    assert!(payload * 100 >= all * 95, "{payload} of {all} bytes");
    let requests = &shelf.borrow().requests;
    assert!(!requests.iter().any(|body| matches!(body, RequestBody::Release { .. })));
    let windows = requests.iter().filter(|b| matches!(b, RequestBody::ReadPages { .. })).count();
    assert_eq!(windows, 3);
}

#[test]
fn progress_counts_every_page_once() {
    let (_folder, file) = place("a.pwa");
    let mut seen = Vec::new();
    let mut client =
        Client::counting_from(FIRST_ID, Line::new(shelf(3), Faults::default()), Limits::default());
    let download = Download {
        file: &file,
        replace: false,
        release: false,
        host_clock_ms: 0,
        collected_by: "",
    };
    download.run(&mut client, |progress| seen.push((progress.done, progress.total))).unwrap();
    let expected: Vec<_> = (0..=12).map(|page| (page, 12)).collect();
    assert_eq!(seen, expected);
}

#[test]
fn a_finished_file_is_replaced_on_request_only() {
    let (_folder, file) = place("a.pwa");
    fs::write(&file, b"something dear").unwrap();
    let shelf = shelf(2);
    let error = fetch_from(shelf.clone(), Faults::default(), &file).unwrap_err();
    assert!(matches!(error, DownloadError::Exists(_)), "{error}");
    assert_eq!(fs::read(&file).unwrap(), b"something dear");
    assert!(shelf.borrow().requests.is_empty());
    let mut client = Client::counting_from(
        FIRST_ID,
        Line::new(shelf.clone(), Faults::default()),
        Limits::default(),
    );
    let download = Download {
        file: &file,
        replace: true,
        release: false,
        host_clock_ms: 1_770_000_009_000,
        collected_by: "J. Fitter",
    };
    let done = download.run(&mut client, |_| {}).unwrap();
    assert_finished(&shelf, &file, &done);
}

#[test]
fn a_file_that_appears_meanwhile_is_not_replaced() {
    let (_folder, file) = place("a.pwa");
    let mut client =
        Client::counting_from(FIRST_ID, Line::new(shelf(2), Faults::default()), Limits::default());
    let download =
        Download { file: &file, replace: false, release: true, host_clock_ms: 0, collected_by: "" };
    let error = download.run(&mut client, |_| fs::write(&file, b"dear").unwrap()).unwrap_err();
    assert!(matches!(error, DownloadError::Exists(_)), "{error}");
    assert_eq!(fs::read(&file).unwrap(), b"dear");
    assert!(part_of(&file).exists());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn unplugged_anywhere_it_goes_on_to_the_same_bytes(
        cuts in proptest::collection::vec(0usize..330_000, 1..6),
    ) {
        let (_folder, file) = place("a.pwa");
        let shelf = shelf(SECTORS / 2);
        let mut far = 0;
        for cut in cuts {
            match fetch_from(shelf.clone(), unplug_after(cut), &file) {
                Ok(_) => break,
                Err(DownloadError::Client(ClientError::Link(LinkError::Broken { .. }))) => {}
                Err(error) => prop_assert!(false, "{}", error),
            }
            prop_assert!(!file.exists());
            let part = fs::metadata(part_of(&file)).map_or(0, |part| part.len());
            prop_assert!(part >= far);
            far = part;
        }
        if !file.exists() {
            let done = fetch_from(shelf.clone(), Faults::default(), &file).unwrap();
            prop_assert_eq!(done.resumed_at, far.saturating_sub(8192) / 1024);
        }
        prop_assert!(fs::read(&file).unwrap() == expected_file(&shelf.borrow()));
    }

    /// Frames damaged, dropped, doubled and out of order, and the plug pulled as well.
    #[test]
    fn a_noisy_line_costs_time_and_nothing_else(
        seed in any::<u32>(),
        one_in in 8u32..200,
        cut in proptest::option::of(20_000usize..200_000),
    ) {
        let (_folder, file) = place("a.pwa");
        let shelf = shelf(40);
        let mut attempts = 0;
        while !file.exists() {
            attempts += 1;
            prop_assert!(attempts < 50);
            let faults = Faults {
                one_in: Some(one_in),
                seed: seed.wrapping_add(attempts),
                unplug_after: cut,
            };
            match fetch_from(shelf.clone(), faults, &file) {
                // Noise may use up the tries of one attempt; a technician would repeat it.
                Ok(_) | Err(DownloadError::Client(ClientError::Link(_)) | DownloadError::Stuck(_)) => {}
                Err(error) => prop_assert!(false, "{}", error),
            }
        }
        prop_assert!(fs::read(&file).unwrap() == expected_file(&shelf.borrow()));
    }

    /// A .part cut, zeroed or damaged in any place by a computer that lost its power.
    #[test]
    fn whatever_the_disk_did_to_the_part_is_mended(
        keep in 8192usize..8192 + 20 * 4096,
        zeroed in proptest::option::of((8192usize..8192 + 80_000, 1usize..9000)),
        flipped in proptest::collection::vec(8192usize..8192 + 80_000, 0..4),
    ) {
        let (_folder, file) = place("a.pwa");
        let shelf = shelf(20);
        let expected = expected_file(&shelf.borrow());
        let mut part = expected[..keep].to_vec();
        if let Some((from, count)) = zeroed {
            let (from, to) = (from.min(keep), (from + count).min(keep));
            part[from..to].fill(0);
        }
        for at in flipped.into_iter().filter(|at| *at < keep) {
            part[at] ^= 0x10;
        }
        fs::write(part_of(&file), part).unwrap();
        let done = fetch_from(shelf.clone(), Faults::default(), &file).unwrap();
        prop_assert!(fs::read(&file).unwrap() == expected);
        prop_assert!(done.chain_ok());
    }
}

#[test]
fn what_the_logger_no_longer_holds_is_counted_and_zero() {
    let (_folder, file) = place("a.pwa");
    let shelf = shelf(6);
    let lost = [(40, 0), (40, 1), (43, 2), (45, 3)];
    shelf.borrow_mut().gone = lost.map(|(sector, page)| PageAddress { sector, page }).into();
    let (done, _) = attempt(shelf.clone(), Faults::default(), &file, true);
    let done = done.unwrap();
    assert_finished(&shelf, &file, &done);
    assert_eq!(done.pages_gone, 4);
    // 40→41 and 43→44 cannot be checked; nobody follows 45.
    assert_eq!((done.chain_broken.as_slice(), done.chain_unknown), (&[][..], 2));
    assert!(!done.chain_ok() && !done.released);
}

#[test]
fn pages_overwritten_while_the_plug_was_out_are_counted() {
    let (_folder, file) = place("a.pwa");
    let shelf = shelf(20);
    fetch_from(shelf.clone(), unplug_after(40_000), &file).unwrap_err();
    let have = fs::read(part_of(&file)).unwrap();
    let whole = expected_file(&shelf.borrow());
    let gone = (0..15_u32).flat_map(|n| (0..4).map(move |page| (40 + n, page)));
    shelf.borrow_mut().gone = gone.map(|(sector, page)| PageAddress { sector, page }).collect();
    let done = fetch_from(shelf.clone(), Faults::default(), &file).unwrap();
    let bytes = fs::read(&file).unwrap();
    // What was fetched before is kept, what could not be any more is zeros, the rest has come.
    let pages = (have.len() - ARCHIVE_HEADER_BYTES) / PAGE_BYTES;
    let kept = ARCHIVE_HEADER_BYTES + pages * PAGE_BYTES;
    assert!(done.resumed_at == pages as u64 && pages > 8);
    assert!(bytes[..kept] == have[..kept]);
    let lost = ARCHIVE_HEADER_BYTES + 15 * SECTOR_BYTES;
    assert!(bytes[kept..lost].iter().all(|byte| *byte == 0));
    assert!(bytes[lost..bytes.len() - 64] == whole[lost..whole.len() - 64]);
    assert_eq!(done.pages_gone as usize, 60 - pages);
}

#[test]
fn a_changed_sector_is_named_and_kept() {
    let (_folder, file) = place("a.pwa");
    let shelf = shelf(6);
    shelf.borrow_mut().sectors[2][3000] ^= 1;
    let (done, _) = attempt(shelf.clone(), Faults::default(), &file, true);
    let done = done.unwrap();
    assert_finished(&shelf, &file, &done);
    assert_eq!((done.chain_broken.as_slice(), done.chain_unknown), (&[42][..], 0));
    assert_eq!(done.pages_torn + done.pages_damaged, 1);
    assert!(!done.released, "the logger still has the better evidence");
}

#[test]
fn a_changed_sector_that_is_gone_meanwhile_is_not_wiped() {
    let (_folder, file) = place("a.pwa");
    let shelf = shelf(6);
    let expected = {
        let mut shelf = shelf.borrow_mut();
        shelf.sectors[2][3000] ^= 1;
        expected_file(&shelf)
    };
    // All the pages have come; only mending is left.
    fs::write(part_of(&file), &expected[..expected.len() - 64]).unwrap();
    shelf.borrow_mut().gone = (0..4).map(|page| PageAddress { sector: 42, page }).collect();
    let done = fetch_from(shelf.clone(), Faults::default(), &file).unwrap();
    assert!(fs::read(&file).unwrap() == expected);
    assert_eq!((done.chain_broken.as_slice(), done.pages_gone), (&[42][..], 0));
}

#[test]
fn a_page_the_logger_misplaced_is_missing_and_no_other() {
    let (_folder, file) = place("a.pwa");
    let shelf = shelf(6);
    let address = PageAddress { sector: 42, page: 1 };
    shelf.borrow_mut().misplaced = [address].into();
    let done = fetch_from(shelf.clone(), Faults::default(), &file).unwrap();
    shelf.borrow_mut().gone = [address].into();
    assert_finished(&shelf, &file, &done);
    assert_eq!(done.pages_gone, 1);
}

#[test]
fn a_memory_that_fails_now_and_then_is_asked_again() {
    let (_folder, file) = place("a.pwa");
    let shelf = shelf(6);
    shelf.borrow_mut().memory_fails = 3;
    let done = fetch_from(shelf.clone(), Faults::default(), &file).unwrap();
    assert_finished(&shelf, &file, &done);
    let file = file.with_extension("b");
    shelf.borrow_mut().memory_fails = 100;
    let error = fetch_from(shelf.clone(), Faults::default(), &file).unwrap_err();
    assert!(matches!(error, DownloadError::Client(ClientError::Device(_))), "{error}");
    assert!(shelf.borrow().memory_fails > 90);
}

#[test]
fn memory_is_released_only_when_all_is_safe() {
    let (_folder, file) = place("a.pwa");
    let shelf = shelf(6);
    let (done, _) = attempt(shelf.clone(), Faults::default(), &file, true);
    assert!(done.unwrap().released);
    let requests = shelf.borrow().requests.clone();
    assert_eq!(requests.last(), Some(&RequestBody::Release { up_to_sector: 45 }));
    assert_eq!(requests.iter().filter(|b| matches!(b, RequestBody::Release { .. })).count(), 1);
    // The plug pulled at any byte: no release without a finished file.
    let (_, whole) = attempt(shelf.clone(), Faults::default(), &file.with_extension("b"), true);
    for cut in (0..whole.to_host).step_by(997) {
        let (_folder, file) = place("a.pwa");
        shelf.borrow_mut().requests.clear();
        attempt(shelf.clone(), unplug_after(cut), &file, true).0.unwrap_err();
        let asked =
            shelf.borrow().requests.iter().any(|b| matches!(b, RequestBody::Release { .. }));
        assert_eq!(asked, file.exists(), "after {cut} bytes");
    }
    // And when only the answer to it is lost, that is said.
    let (_folder, file) = place("a.pwa");
    let error = attempt(shelf, unplug_after(whole.to_host - 1), &file, true).0.unwrap_err();
    assert!(matches!(error, DownloadError::NotReleased { .. }), "{error}");
    assert!(file.exists() && !part_of(&file).exists());
}

#[test]
fn another_logger_record_or_file_is_not_mixed_in() {
    let (_folder, file) = place("a.pwa");
    fetch_from(shelf(20), unplug_after(40_000), &file).unwrap_err();
    let part = fs::read(part_of(&file)).unwrap();
    let other = Shelf::new(*b"logger 2", 40, 20, OPENED_MS).shared();
    let error = fetch_from(other.clone(), Faults::default(), &file).unwrap_err();
    assert!(matches!(error, DownloadError::OtherLogger { .. }), "{error}");
    // Its memory was cleared, and it has counted up to the same sectors since.
    let cleared = Shelf::new(DEVICE, 40, 20, OPENED_MS + 86_400_000).shared();
    let error = fetch_from(cleared, Faults::default(), &file).unwrap_err();
    assert!(matches!(error, DownloadError::OtherRecord { .. }), "{error}");
    assert!(fs::read(part_of(&file)).unwrap() == part);
    let requests = &other.borrow().requests;
    assert_eq!(requests.len(), 1, "a hello and no more");

    for strange in
        [b"x".repeat(9000), b"PW".to_vec(), part[..8192].iter().map(|b| b ^ (b & 1)).collect()]
    {
        fs::write(part_of(&file), &strange).unwrap();
        let error = fetch_from(shelf(20), Faults::default(), &file).unwrap_err();
        assert!(matches!(error, DownloadError::Foreign { .. }), "{error}");
        assert_eq!(fs::read(part_of(&file)).unwrap(), strange);
    }
}

#[test]
fn two_downloads_do_not_write_one_file() {
    let (_folder, file) = place("a.pwa");
    let mut client =
        Client::counting_from(FIRST_ID, Line::new(shelf(20), Faults::default()), Limits::default());
    let download = Download {
        file: &file,
        replace: false,
        release: false,
        host_clock_ms: 0,
        collected_by: "",
    };
    let mut errors = Vec::new();
    let done = download.run(&mut client, |progress| {
        if progress.done == 7 {
            errors.push(fetch_from(shelf(20), Faults::default(), &file).unwrap_err());
        }
    });
    done.unwrap();
    assert!(matches!(errors[..], [DownloadError::InUse(_)]), "{errors:?}");
}

/// One byte changed on the disk since, in every kind of place, in the first, a middle and the last
/// sector, which no other vouches for.
#[test]
fn a_byte_the_disk_changed_is_mended_wherever_it_is() {
    let shelf = shelf(4);
    let expected = expected_file(&shelf.borrow());
    let body = expected.len() - TRAILER_BYTES;
    for sector in [0, 1, 3] {
        // Sector header, page header, chunk, erased rest; of the first page and of another.
        for at in [30, 100, 130, 1000, 1030, 1060, 2000] {
            let (_folder, file) = place("a.pwa");
            let mut part = expected[..body].to_vec();
            part[ARCHIVE_HEADER_BYTES + sector * SECTOR_BYTES + at] ^= 0x08;
            fs::write(part_of(&file), part).unwrap();
            let done = fetch_from(shelf.clone(), Faults::default(), &file).unwrap();
            assert!(fs::read(&file).unwrap() == expected, "byte {at} of sector {sector}");
            assert_eq!((done.pages_mended, done.chain_ok()), (1, true));
        }
    }
}

/// A page that the disk has changed into another valid one, blank: only the chain knows.
#[test]
fn a_page_the_disk_blanked_is_mended_by_the_chain() {
    let (_folder, file) = place("a.pwa");
    let shelf = shelf(4);
    let expected = expected_file(&shelf.borrow());
    let mut part = expected[..expected.len() - TRAILER_BYTES].to_vec();
    let at = Pages::offset(6) as usize;
    part[at..at + PAGE_BYTES].fill(0xFF);
    fs::write(part_of(&file), part).unwrap();
    let done = fetch_from(shelf.clone(), Faults::default(), &file).unwrap();
    assert!(fs::read(&file).unwrap() == expected);
    assert_eq!((done.pages_mended, done.chain_ok()), (1, true));
}

#[test]
fn a_disk_that_gives_back_other_bytes_is_noticed() {
    let (_folder, file) = place("a.pwa");
    let expected = expected_file(&shelf(3).borrow());
    let body = expected.len() - TRAILER_BYTES;
    let hash: [u8; 32] = Sha256::digest(&expected[..body]).into();
    let check = |bytes: &[u8]| {
        fs::write(&file, bytes).unwrap();
        let Opened::Unfinished(mut part) = part::open(&file).unwrap() else { panic!() };
        verify(&mut part, hash)
    };
    let whole: [u8; 32] = Sha256::digest(&expected).into();
    assert_eq!(check(&expected).unwrap(), whole);
    for at in [9000, body - 1, body, body + 40, expected.len() - 1] {
        let mut changed = expected.clone();
        changed[at] ^= 1;
        let error = check(&changed).unwrap_err();
        assert!(matches!(error, DownloadError::NotAsWritten(_)), "byte {at}: {error}");
    }
    for length in [body, expected.len() - 1, expected.len() + 1] {
        let mut other = expected.clone();
        other.resize(length, 0);
        let error = check(&other).unwrap_err();
        assert!(matches!(error, DownloadError::NotAsWritten(_)), "{length} bytes: {error}");
    }
}

#[test]
fn a_part_that_only_lacks_its_name_is_finished() {
    let (_folder, file) = place("a.pwa");
    let shelf = shelf(3);
    for more in [0, 1, 5000] {
        let mut part = expected_file(&shelf.borrow());
        part.extend(vec![0xAA; more]);
        fs::write(part_of(&file), part).unwrap();
        let done = fetch_from(shelf.clone(), Faults::default(), &file).unwrap();
        assert_finished(&shelf, &file, &done);
        assert_eq!((done.resumed_at, done.pages_mended), (12, 0));
        fs::remove_file(&file).unwrap();
    }
}

#[test]
fn a_part_cut_inside_its_head_begins_anew() {
    let shelf = shelf(3);
    let expected = expected_file(&shelf.borrow());
    for length in [0, 8, 12, 8191] {
        let (_folder, file) = place("a.pwa");
        fs::write(part_of(&file), &expected[..length]).unwrap();
        let done = fetch_from(shelf.clone(), Faults::default(), &file).unwrap();
        assert_finished(&shelf, &file, &done);
    }
}

#[test]
fn nothing_is_left_where_nothing_came() {
    // Unplugged within the first answers: no head yet, so no file either.
    for cut in [0, 20, 60, 300] {
        let (folder, file) = place("a.pwa");
        fetch_from(shelf(3), unplug_after(cut), &file).unwrap_err();
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0, "after {cut} bytes");
    }
    // A range no logger has.
    let (folder, file) = place("a.pwa");
    let broken = shelf(1);
    let mut script = crate::testing::Script::new(move |request| {
        let frames = broken.borrow_mut().receive(&request_bytes(request));
        match request.body {
            RequestBody::Snapshot => {
                let range = pumpwitness_protocol::message::SnapshotRange {
                    first_sector: 9,
                    last_sector: 8,
                    clock_ms: 0,
                };
                vec![crate::testing::framed(
                    request.id,
                    pumpwitness_protocol::message::ReplyBody::Snapshot(range),
                )]
            }
            _ => frames,
        }
    });
    let error = fetch_from(Borrowed(&mut script), Faults::default(), &file).unwrap_err();
    assert!(matches!(error, DownloadError::BadRange(9, 8)), "{error}");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn a_folder_that_cannot_be_written_is_named_before_the_logger_works() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = shelf(3);
    for name in ["absent/a.pwa", "file/a.pwa"] {
        fs::write(folder.path().join("file"), b"").unwrap();
        let file = folder.path().join(name);
        let error = fetch_from(shelf.clone(), Faults::default(), &file).unwrap_err();
        assert!(matches!(error, DownloadError::File { .. }), "{error}");
        assert!(error.to_string().contains("choose a folder"), "{error}");
    }
    let requests = &shelf.borrow().requests;
    assert!(requests.iter().all(|body| matches!(body, RequestBody::Hello { .. })));
}

#[test]
fn a_logger_that_stops_sending_pages_is_given_up() {
    let (_folder, file) = place("a.pwa");
    let shelf = shelf(3);
    let mut script = crate::testing::Script::new(move |request| match request.body {
        RequestBody::ReadPages { .. } => Vec::new(),
        _ => shelf.borrow_mut().receive(&request_bytes(request)),
    });
    let error = fetch_from(Borrowed(&mut script), Faults::default(), &file).unwrap_err();
    assert!(matches!(error, DownloadError::Stuck(PageAddress { sector: 40, page: 0 })), "{error}");
    assert!(part_of(&file).exists());
}

struct Borrowed<'a, P>(&'a mut P);

impl<P: Peer> Peer for Borrowed<'_, P> {
    fn receive(&mut self, bytes: &[u8]) -> Vec<Vec<u8>> {
        self.0.receive(bytes)
    }
}

fn request_bytes(request: &pumpwitness_protocol::message::Request) -> Vec<u8> {
    let mut buffer = [0; pumpwitness_protocol::frame::FRAME_BYTES_MAX];
    pumpwitness_protocol::frame::encode(request, &mut buffer).unwrap().to_vec()
}

/// The logger's own code, with a record of a pump that runs now and then.
struct Real(Logger<RamFlash>);

impl Real {
    fn new() -> Rc<RefCell<Self>> {
        let start = Start {
            firmware: [0, 1, 0],
            reason: BootReason::PowerOn,
            clock_ms: 1_770_000_000_000,
            clock_good: true,
            seed: Some(pumpwitness_core::logger::Seed([7; 32])),
        };
        let mut logger = block_on(Logger::start(RamFlash::erased(34), DEVICE, start)).unwrap();
        for n in 0..120_000_u32 {
            let running = n % 3_000 > 1_000;
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
        Rc::new(RefCell::new(Self(logger)))
    }
}

struct Frames(Vec<Vec<u8>>);

impl FrameSink for Frames {
    async fn send(&mut self, frame: &[u8]) -> Result<(), LineClosed> {
        self.0.push(frame.to_vec());
        Ok(())
    }
}

impl Peer for Real {
    fn receive(&mut self, bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut frames = Frames(Vec::new());
        block_on(self.0.serve(bytes, &mut frames)).unwrap();
        frames.0
    }
}

#[test]
fn the_loggers_own_code_is_downloaded_from_true_to_its_flash() {
    let (_folder, file) = place("a.pwa");
    let logger = Real::new();
    for cut in [9_000, 20_000, 5_000] {
        fetch_from(logger.clone(), unplug_after(cut), &file).unwrap_err();
    }
    let done = fetch_from(logger.clone(), Faults::default(), &file).unwrap();
    assert!(done.resumed_at > 20 && done.sectors > 8, "{done:?}");
    assert!(done.chain_ok());
    assert_eq!((done.pages_gone, done.pages_damaged, done.pages_torn), (0, 0, 0));
    let bytes = fs::read(&file).unwrap();
    let header = ArchiveHeader::decode(&bytes).unwrap();
    let body = bytes.len() - TRAILER_BYTES;
    let hash = Sha256::digest(&bytes[..body]).into();
    assert_eq!(read_trailer(&bytes[body..]), Some((header.sectors(), hash)));
    let logger = logger.borrow();
    let flash = logger.0.flash().bytes().as_chunks::<SECTOR_BYTES>().0;
    let sectors = bytes[ARCHIVE_HEADER_BYTES..body].as_chunks::<SECTOR_BYTES>().0;
    for (sequence, sector) in (header.range.first_sector..).zip(sectors) {
        let of_flash = flash
            .iter()
            .find(|held| SectorHeader::decode(&held[..]).is_some_and(|h| h.sequence == sequence));
        assert!(of_flash == Some(sector), "sector {sequence}");
    }
    // The seal is that of the first attempt, over the last sector of the file.
    let seal = header.seal.unwrap().statement;
    assert_eq!((seal.device, seal.sector), (DEVICE, header.range.last_sector));
    assert_eq!(seal.chain, <[u8; 32]>::from(Sha256::digest(sectors.last().unwrap())));
    let papers = papers(&header.settings, &header.site_text, &header.calibration);
    assert_eq!((seal.papers, seal.time_ms), (papers, header.range.clock_ms));
    assert_ne!(header.public_key, [0; 32]);
    assert_eq!((header.collected_by.as_str(), header.program), ("J. Fitter", PROGRAM));
}

/// A logger without a key gives its record all the same; one with a key has it in the head.
#[test]
fn the_head_tells_of_the_seal() {
    for sealed in [None, Some(([9; 32], some_seal()))] {
        let (_folder, file) = place("a.pwa");
        let shelf = shelf(3);
        shelf.borrow_mut().sealed = sealed;
        fetch_from(shelf.clone(), unplug_after(6_000), &file).unwrap_err();
        // By now another seal would be given.
        shelf.borrow_mut().sealed = None;
        let done = fetch_from(shelf.clone(), Faults::default(), &file).unwrap();
        assert!(done.resumed_at > 0);
        shelf.borrow_mut().sealed = sealed;
        assert_finished(&shelf, &file, &done);
    }
}

fn some_seal() -> Seal {
    Seal {
        statement: Statement {
            device: DEVICE,
            boot: 3,
            occasion: Occasion::Download,
            sector: 42,
            chain: [1; 32],
            time_ms: 5,
            papers: [2; 32],
        },
        signature: Signature::from_bytes(&[3; 64]),
    }
}
