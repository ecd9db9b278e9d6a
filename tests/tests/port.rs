//! `arm` and `collect` through a virtual serial port, by the program itself: as it should be, and
//! with a port that is absent, busy, unplugged half-way, silent, or no logger at all.
#![cfg(unix)]

use pumpwitness_protocol::archive::{
    ARCHIVE_HEADER_BYTES, ArchiveHeader, TRAILER_BYTES, read_trailer,
};
use pumpwitness_protocol::page::SECTOR_BYTES;
use pumpwitness_protocol::sector::SectorHeader;
use pumpwitness_site_model::scenario;
use pumpwitness_tests::run;
use pumpwitness_virtual_logger::VirtualLogger;
use pumpwitness_virtual_logger::port::{Device, Plugged};
use sha2::{Digest, Sha256};
use std::fs;
use std::path::Path;
use std::sync::{Arc, Mutex};

const SITE: &str = "[site]\nname = \"Orchard\"\n[supply]\nnominal_v = 230\nfrequency_hz = 50\n\
    [motor]\nrated_current_a = 6\n[transducer]\nkind = \"4-20ma\"\nlow_bar = 0\nhigh_bar = 10\n";
/// Half a day is enough to fill several windows of pages.
const HOURS: i64 = 12;

type Shared = Arc<Mutex<VirtualLogger>>;

fn logger(device: [u8; 8]) -> Shared {
    let story = scenario("healthy").unwrap();
    Arc::new(Mutex::new(VirtualLogger::new(device, 4 << 20, story.start_ms).unwrap()))
}

fn live(logger: &Shared) {
    let story = scenario("healthy").unwrap();
    story.model().run(story.start_ms + HOURS * 3_600_000, &mut *logger.lock().unwrap());
}

fn arm(folder: &Path, port: &str) {
    fs::write(folder.join("site.toml"), SITE).unwrap();
    let said = run(folder, &["arm", "--site", "site.toml", "--port", port, "--keep-clock"]).fine();
    assert!(said.contains("armed for Orchard"), "{said}");
}

/// The archive's sectors are those of the flash, and its hash is right.
fn assert_true_copy(logger: &Shared, file: &Path) {
    let bytes = fs::read(file).unwrap();
    let header = ArchiveHeader::decode(&bytes).unwrap();
    assert_eq!(header.settings.site, "Orchard");
    assert_eq!(header.site_text, SITE.as_bytes());
    let body = bytes.len() - TRAILER_BYTES;
    let hash: [u8; 32] = Sha256::digest(&bytes[..body]).into();
    assert_eq!(read_trailer(&bytes[body..]), Some((header.sectors(), hash)));
    let logger = logger.lock().unwrap();
    let flash: Vec<_> = logger
        .flash_bytes()
        .chunks(SECTOR_BYTES)
        .filter_map(|sector| Some((SectorHeader::decode(sector)?.sequence, sector)))
        .collect();
    let sectors = bytes[ARCHIVE_HEADER_BYTES..body].chunks(SECTOR_BYTES);
    assert_eq!(sectors.len(), header.sectors() as usize);
    for (sequence, sector) in (header.range.first_sector..).zip(sectors) {
        assert!(flash.contains(&(sequence, sector)), "sector {sequence}");
    }
}

#[test]
fn armed_lived_collected_analysed() {
    let folder = tempfile::tempdir().unwrap();
    let logger = logger(*b"TEST0001");
    let plug = Plugged::new(Arc::clone(&logger), None).unwrap();
    arm(folder.path(), plug.path());
    drop(plug);
    live(&logger);
    let plug = Plugged::new(Arc::clone(&logger), None).unwrap();
    let collect = ["collect", "--port", plug.path(), "--out", "a.pwa"];
    let said = run(folder.path(), &collect).fine();
    assert!(said.contains("SHA-256") && said.contains("\nProof   "), "{said}");
    assert_true_copy(&logger, &folder.path().join("a.pwa"));
    // The archive carries its site file: nothing else is needed to read it.
    let said = run(folder.path(), &["analyse", "a.pwa", "--json"]).fine();
    let said: serde_json::Value = serde_json::from_str(&said).unwrap();
    assert!(said["recording"]["covered_s"].as_f64().unwrap() > 11.9 * 3600.0);
    let again = run(folder.path(), &collect);
    assert!(again.one_line_error().1.contains("exists"));
}

/// Without a file named, the record goes where all are kept; unplugged in between, it goes on there.
#[test]
fn collected_into_the_folder_of_recordings() {
    let folder = tempfile::tempdir().unwrap();
    let records = folder.path().join("records");
    let logger = logger(*b"TEST0010");
    let plug = Plugged::new(Arc::clone(&logger), None).unwrap();
    arm(folder.path(), plug.path());
    drop(plug);
    live(&logger);
    let plug = Plugged::new(Arc::clone(&logger), Some(25_000)).unwrap();
    let collect = |port: &str| {
        run(folder.path(), &["collect", "--port", port, "--folder", "records", "--by", "J. Fitter"])
    };
    assert_eq!(collect(plug.path()).one_line_error().0, 1);
    assert!(records.join("incoming/5445535430303130.pwa.part").exists());
    let list = ["records", "--folder", "records"];
    assert!(run(folder.path(), &list).fine().contains("no records in records yet"));

    let plug = Plugged::new(Arc::clone(&logger), None).unwrap();
    let said = collect(plug.path()).fine();
    for words in ["gone on with", "filed as", "Proof   ", "Verdict mechanical-drag"] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert_eq!(fs::read_dir(records.join("incoming")).unwrap().count(), 0);
    let listed = run(folder.path(), &[&list[..], &["--json"]].concat()).fine();
    let listed: serde_json::Value = serde_json::from_str(&listed).unwrap();
    let record = &listed["records"][0];
    assert_eq!(record["site"], "Orchard");
    assert_eq!(record["collected_by"], "J. Fitter");
    // The site file of these tests declares less than the motor draws.
    assert_eq!(record["causes"][0]["cause"], "mechanical-drag");
    let file = folder.path().join(record["file"].as_str().unwrap());
    assert!(file.starts_with(records.join("orchard")), "{}", file.display());
    assert_true_copy(&logger, &file);
}

/// A crash after the download and before the filing: the next command that comes by files it.
#[test]
fn a_download_that_was_not_filed_is_filed_later() {
    let folder = tempfile::tempdir().unwrap();
    let logger = logger(*b"TEST0011");
    let plug = Plugged::new(Arc::clone(&logger), None).unwrap();
    arm(folder.path(), plug.path());
    let waiting = folder.path().join("records/incoming");
    fs::create_dir_all(&waiting).unwrap();
    let out = "records/incoming/5445535430303131.pwa";
    run(folder.path(), &["collect", "--port", plug.path(), "--out", out]).fine();
    let outcome = run(folder.path(), &["records", "--folder", "records"]);
    assert!(outcome.err.contains("is filed now as"), "{outcome:?}");
    assert!(outcome.fine().contains("1 record in records"));
    assert_eq!(fs::read_dir(waiting).unwrap().count(), 0);
}

#[test]
fn unplugged_half_way_it_goes_on_to_a_true_copy() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.pwa");
    let logger = logger(*b"TEST0002");
    let plug = Plugged::new(Arc::clone(&logger), None).unwrap();
    arm(folder.path(), plug.path());
    drop(plug);
    live(&logger);
    let mut far = 0;
    // The last, too, ends before the 56 pages of the record, whatever was kept of the two before.
    for fuse in [9_000, 25_000, 30_000] {
        let plug = Plugged::new(Arc::clone(&logger), Some(fuse)).unwrap();
        let outcome = run(folder.path(), &["collect", "--port", plug.path(), "--out", "a.pwa"]);
        let (code, line) = outcome.one_line_error();
        assert_eq!(code, 1);
        assert!(line.contains("plug the logger in again"), "{line}");
        assert!(!file.exists());
        let part = fs::metadata(folder.path().join("a.pwa.part")).unwrap().len();
        assert!(part > far, "{part} bytes after {fuse}");
        far = part;
    }
    let plug = Plugged::new(Arc::clone(&logger), None).unwrap();
    let said = run(folder.path(), &["collect", "--port", plug.path(), "--out", "a.pwa"]).fine();
    assert!(said.contains("gone on with"), "{said}");
    assert_true_copy(&logger, &file);
    assert!(!folder.path().join("a.pwa.part").exists());
}

#[test]
fn another_loggers_unfinished_file_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let first = logger(*b"TEST0003");
    live(&first);
    let plug = Plugged::new(first, Some(20_000)).unwrap();
    let collect = |port: &str| run(folder.path(), &["collect", "--port", port, "--out", "a.pwa"]);
    assert_eq!(collect(plug.path()).one_line_error().0, 1);
    let part = fs::read(folder.path().join("a.pwa.part")).unwrap();
    let other = logger(*b"TEST0004");
    let plug = Plugged::new(other, None).unwrap();
    let outcome = collect(plug.path());
    assert!(outcome.one_line_error().1.contains("another file"), "{outcome:?}");
    assert!(fs::read(folder.path().join("a.pwa.part")).unwrap() == part);
}

#[test]
fn absent_and_busy_ports_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let absent = run(folder.path(), &["collect", "--port", "/dev/no-such-port", "--out", "a.pwa"]);
    let (code, line) = absent.one_line_error();
    assert_eq!(code, 1);
    assert!(line.contains("no such port"), "{line}");
    let plug = Plugged::new(logger(*b"TEST0005"), None).unwrap();
    let _other_program = serialport::new(plug.path(), 115_200).open().unwrap();
    let busy = run(folder.path(), &["collect", "--port", plug.path(), "--out", "a.pwa"]);
    let (code, line) = busy.one_line_error();
    assert_eq!(code, 1);
    assert!(line.contains("in use"), "{line}");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}

/// Answers with what is no frame, or not at all.
struct Stranger(&'static [u8]);

impl Device for Stranger {
    fn receive(&mut self, _: &[u8], answer: &mut Vec<u8>) {
        answer.extend_from_slice(self.0);
    }
}

#[test]
fn strangers_and_silence_are_named() {
    let folder = tempfile::tempdir().unwrap();
    for says in [&b""[..], b"\0\x13garbage\0\x44\0", &[0xA5; 5000]] {
        let plug = Plugged::new(Arc::new(Mutex::new(Stranger(says))), None).unwrap();
        let outcome = run(folder.path(), &["collect", "--port", plug.path(), "--out", "a.pwa"]);
        let (code, line) = outcome.one_line_error();
        assert_eq!(code, 1);
        assert!(line.contains("logger"), "{line}");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0, "{says:?}");
    }
}

/// Readings beside a reference change what the logger keeps, once, and every archive carries it.
#[test]
fn a_calibration_is_kept_and_collected() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path();
    let logger = logger(*b"PORT0009");
    let port = Plugged::new(Arc::clone(&logger), None).unwrap();
    let file = include_str!("../../host/link/example-calibration.toml");
    fs::write(place.join("calibration.toml"), file).unwrap();
    let put = ["calibrate", "--file", "calibration.toml", "--port", port.path()];
    let dry = run(place, &[&put[..], &["--dry-run"]].concat()).fine();
    let said = run(place, &["calibrate", "--show", "--port", port.path()]).fine();
    assert!(said.contains("Never calibrated") && dry.contains("by = \"J. Fitter\""), "{said}");
    let said = run(place, &put).fine();
    assert!(said.contains("gain_v_per_count = 0.015207077"), "{said}");
    let shown = run(place, &["calibrate", "--show", "--port", port.path()]).fine();
    assert!(said.ends_with(&shown), "{shown}");
    let again = run(place, &put);
    let (code, error) = again.one_line_error();
    assert!(code == 1 && error.contains("take them again"), "{error}");
    arm(place, port.path());
    run(place, &["collect", "--out", "a.pwa", "--port", port.path(), "--by", "J. Fitter"]).fine();
    let header = ArchiveHeader::decode(&fs::read(place.join("a.pwa")).unwrap()).unwrap();
    assert_eq!(header.calibration.voltage.gain_nano, 15_207_077);
    assert_eq!(header.collected_by, "J. Fitter");
    assert_eq!(header.seal.unwrap().statement.sector, header.range.last_sector);
}
