//! `records` as a user runs it: archives added, listed, looked for; and what is none is refused.

use pumpwitness_protocol::archive::{ArchiveHeader, trailer};
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::message::{Identity, SnapshotRange};
use pumpwitness_protocol::page::SECTOR_BYTES;
use pumpwitness_protocol::settings::Settings;
use pumpwitness_tests::{Outcome, program, run};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::fs;
use std::path::Path;
use std::process::Command;

const SITE: &str = "[site]\nname = \"../Poço\"\ntime_zone = \"Europe/Lisbon\"\n[supply]\n\
    nominal_v = 230\nfrequency_hz = 50\n[motor]\nrated_current_a = 6\n";
/// 2026-03-01T00:00:00Z.
const MARCH_MS: i64 = 1_772_323_200_000;

/// An archive without rows, collected on a day of March.
fn archive(day: i64, site_text: &str) -> Vec<u8> {
    let clock_ms = MARCH_MS + day * 86_400_000;
    let header = ArchiveHeader {
        identity: Identity {
            protocol: 1,
            device: *b"RECORDS1",
            firmware: [0, 1, 0],
            boot: 1,
            clock_ms,
            clock_good: true,
        },
        range: SnapshotRange { first_sector: 5, last_sector: 5, clock_ms },
        host_clock_ms: clock_ms,
        settings: Settings::default(),
        site_text: site_text.bytes().collect(),
        calibration: Calibration::default(),
        public_key: [0; 32],
        seal: None,
        collected_by: "A. Fitter".chars().collect(),
        program: [0, 1, 0],
    };
    let mut head = [0; 8192];
    header.encode(&mut head);
    let mut file = head.to_vec();
    file.extend([0xFF; SECTOR_BYTES]);
    let hash = Sha256::digest(&file).into();
    file.extend(trailer(1, hash));
    file
}

fn listed(folder: &Path, arguments: &[&str]) -> Value {
    let all = [&["records", "--folder", "kept", "--json"], arguments].concat();
    serde_json::from_str(&run(folder, &all).fine()).unwrap()
}

fn count(folder: &Path, arguments: &[&str]) -> usize {
    listed(folder, arguments)["records"].as_array().unwrap().len()
}

#[test]
fn added_listed_and_looked_for() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path();
    for day in [0, 10] {
        fs::write(place.join(format!("{day}.pwa")), archive(day, SITE)).unwrap();
    }
    fs::write(place.join("bare.pwa"), archive(20, "no site file")).unwrap();
    let add = ["records", "--folder", "kept", "--add", "0.pwa", "10.pwa", "bare.pwa"];
    let said = run(place, &add).fine();
    assert_eq!(said.matches("filed as").count(), 3, "{said}");
    let said = run(place, &add).fine();
    assert_eq!(said.matches("was here already").count(), 3, "{said}");
    assert_eq!(fs::read_dir(place).unwrap().count(), 4);

    assert_eq!(count(place, &[]), 3);
    assert_eq!(count(place, &["--site", "POÇO"]), 2);
    assert_eq!(count(place, &["--from", "2026-03-11"]), 2);
    assert_eq!(count(place, &["--from", "2026-03-02", "--to", "2026-03-11"]), 1);
    assert_eq!(count(place, &["--words", "poço 2026-03"]), 2);
    assert_eq!(count(place, &["--words", "poço overload"]), 0);
    assert_eq!(count(place, &["--cause", "healthy"]), 0);
    let all = listed(place, &[]);
    assert_eq!(all["schema"], "pumpwitness.records/1");
    let first = &all["records"][2];
    assert_eq!(first["id"], "20260301T000000Z_5245434f52445331");
    assert_eq!(fs::read(place.join(first["file"].as_str().unwrap())).unwrap(), archive(0, SITE));
    let said = run(place, &["records", "--folder", "kept", "--site", "poço"]).fine();
    assert!(said.contains("2 of 3 records in kept"), "{said}");
}

#[test]
fn the_folder_can_be_named_by_the_environment() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("0.pwa"), archive(0, SITE)).unwrap();
    let outcome = Command::new(program())
        .args(["records", "--add", "0.pwa"])
        .current_dir(folder.path())
        .env("PUMPWITNESS_RECORDS", folder.path().join("mine"))
        .output()
        .unwrap();
    pumpwitness_tests::outcome(outcome).fine();
    assert!(folder.path().join("mine").is_dir());
}

#[test]
fn what_cannot_be_kept_is_named_and_the_rest_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path();
    fs::write(place.join("table.csv"), "time,voltage_v\n").unwrap();
    let whole = archive(0, SITE);
    fs::write(place.join("good.pwa"), &whole).unwrap();
    fs::write(place.join("cut.pwa"), &whole[..100]).unwrap();
    let refused = |arguments: &[&str]| -> Outcome {
        run(place, &[&["records", "--folder", "kept"], arguments].concat())
    };
    let outcome = refused(&["--add", "table.csv"]);
    let (code, line) = outcome.one_line_error();
    assert!(code == 1 && line.contains("no archive of a logger"), "{line}");
    let outcome = refused(&["--add", "cut.pwa"]);
    assert!(outcome.one_line_error().1.contains("cut off"), "{outcome:?}");
    let outcome = refused(&["--add", "cut.pwa", "good.pwa", "table.csv", "absent.pwa"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.ends_with("pumpwitness: 3 of 4 files were not added\n"), "{outcome:?}");
    assert_eq!(count(place, &[]), 1);
    for wrong in [&["--from", "yesterday"][..], &["--to", "2026-13-01"]] {
        let outcome = refused(wrong);
        let (code, line) = outcome.one_line_error();
        assert!(code == 2 && line.contains("2026-03-31"), "{line}");
    }
    let outcome = run(place, &["records", "--folder", "good.pwa"]);
    assert_eq!(outcome.one_line_error().0, 2);
}
