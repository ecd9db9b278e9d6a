//! `verify` as a user, a script and a forger meet it.

use pumpwitness_tests::{Outcome, run};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::sync::OnceLock;

const HEAD: usize = 8192;
const SECTOR: usize = 4096;
const PAGE: usize = 1024;

/// An archive made by `demo`, and the trust file beside it, once for all tests.
fn demo() -> &'static (Vec<u8>, String) {
    static DEMO: OnceLock<(Vec<u8>, String)> = OnceLock::new();
    DEMO.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let said = run(folder.path(), &["demo", "--scenario", "power-cuts", "--out", "out"]).fine();
        assert!(said.contains("proven: all"), "{said}");
        let out = folder.path().join("out");
        let trust = fs::read_to_string(out.join("known-loggers.toml")).unwrap();
        (fs::read(out.join("recording.pwa")).unwrap(), trust)
    })
}

/// Verifies with the key known.
fn verify(file: &[u8], options: &[&str]) -> Outcome {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("pump.pwa"), file).unwrap();
    fs::write(folder.path().join("trust.toml"), &demo().1).unwrap();
    let arguments = [&["verify", "pump.pwa", "--trust", "trust.toml"], options].concat();
    run(folder.path(), &arguments)
}

fn json(file: &[u8]) -> (i32, Value) {
    let outcome = verify(file, &["--json"]);
    (outcome.code, serde_json::from_str(&outcome.out).unwrap())
}

/// Exit 3, a line that names the place, and a trouble of this kind there.
#[track_caller]
fn told(file: &[u8], kind: &str, sector: u64) {
    let (code, said) = json(file);
    assert_eq!(code, 3);
    assert_eq!(said["verdict"], "damage-found");
    let there = said["troubles"].as_array().unwrap().iter().any(|trouble| {
        trouble["kind"] == kind && trouble["place"]["sector"].as_u64() == Some(sector)
    });
    assert!(there, "no {kind} at sector {sector}: {}", said["troubles"]);
    let outcome = verify(file, &[]);
    let (code, line) = outcome.one_line_error();
    assert_eq!(code, 3, "{line}");
    let text = outcome.out.to_lowercase();
    assert!(text.contains(&format!("sector {sector}")), "{text}");
    assert!(outcome.out.contains("DAMAGE FOUND"), "{}", outcome.out);
}

fn first_sector() -> u64 {
    json(&demo().0).1["file"]["first_sector"].as_u64().unwrap()
}

#[test]
fn a_demo_archive_is_proven() {
    let (code, said) = json(&demo().0);
    assert_eq!(code, 0);
    assert_eq!(said["verdict"], "proven");
    assert_eq!(said["troubles"].as_array().unwrap().len(), 0);
    assert_eq!(said["papers"], "sealed");
    // Sealed each hour of a week, and at the download.
    let seals = said["seals"].as_array().unwrap();
    assert!(seals.len() > 100, "{} seals", seals.len());
    assert!(seals.iter().all(|seal| seal["result"] == "holds"));
    let pages = &said["pages"];
    assert_eq!(pages["proven"].as_u64().unwrap(), said["file"]["sectors"].as_u64().unwrap() * 4);
    let text = verify(&demo().0, &["--require-proof"]).fine();
    assert!(text.contains("PROVEN.") && text.contains("What this does not show"), "{text}");
}

#[test]
fn tampered_archives_exit_3_and_name_the_place() {
    let (whole, first) = (&demo().0, first_sector());
    let sector = |n: usize| HEAD + n * SECTOR;

    let mut flipped = whole.clone();
    flipped[sector(5) + 2 * PAGE + 300] ^= 0x10;
    told(&flipped, "page-damaged", first + 5);

    let mut removed = whole.clone();
    removed.drain(sector(7) + PAGE..sector(7) + 2 * PAGE);
    told(&removed, "page-removed", first + 7);

    let mut swapped = whole.clone();
    let (left, right) = swapped.split_at_mut(sector(9));
    left[sector(3)..sector(4)].swap_with_slice(&mut right[..SECTOR]);
    told(&swapped, "page-swapped", first + 3);
    told(&swapped, "page-swapped", first + 9);

    let mut repeated = whole.clone();
    repeated.copy_within(sector(2)..sector(3), sector(6));
    told(&repeated, "page-repeated", first + 6);

    let cut = &whole[..sector(8) + 500];
    told(cut, "cut-off", first + 8);

    // The device number in a sector's header, with a check that fits.
    let mut foreign = whole.clone();
    foreign[sector(4) + 16] ^= 1;
    let crc = pumpwitness_protocol::check::crc32(&foreign[sector(4)..sector(4) + 92]);
    foreign[sector(4) + 92..sector(4) + 96].copy_from_slice(&crc.to_le_bytes());
    told(&foreign, "from-elsewhere", first + 4);
}

#[test]
fn a_damaged_head_and_end_are_told() {
    let mut head = demo().0.clone();
    head[40] ^= 1;
    let (code, said) = json(&head);
    assert_eq!((code, &said["troubles"][0]["kind"]), (3, &Value::from("head-damaged")));
    let mut end = demo().0.clone();
    let last = end.len() - 1;
    end[last] ^= 1;
    let (code, said) = json(&end);
    assert_eq!((code, &said["troubles"][0]["kind"]), (3, &Value::from("file-hash-differs")));
    let mut longer = demo().0.clone();
    longer.extend_from_slice(b"appendix");
    let (code, said) = json(&longer);
    assert_eq!((code, &said["troubles"][0]["kind"]), (3, &Value::from("bytes-added")));
}

/// The program with a configuration folder of its own.
fn at_home(home: &Path, arguments: &[&str]) -> Outcome {
    let output = std::process::Command::new(pumpwitness_tests::program())
        .args(arguments)
        .current_dir(home)
        .env("HOME", home)
        .env("XDG_CONFIG_HOME", home.join("config"))
        .env("APPDATA", home.join("config"))
        .output()
        .unwrap();
    pumpwitness_tests::outcome(output)
}

#[test]
fn keys_are_remembered_and_a_changed_one_is_an_alarm() {
    let home = tempfile::tempdir().unwrap();
    fs::write(home.path().join("pump.pwa"), &demo().0).unwrap();
    let first = at_home(home.path(), &["verify", "pump.pwa"]).fine();
    assert!(first.contains("SEALED, BY A KEY NOT KNOWN TO YOU"), "{first}");
    let strict = at_home(home.path(), &["verify", "pump.pwa", "--require-proof"]);
    assert_eq!(strict.code, 3);
    let note = ["verify", "pump.pwa", "--remember", "--note", "read at the bench"];
    let remembered = at_home(home.path(), &note);
    assert!(remembered.err.contains("noted in"), "{remembered:?}");
    assert!(remembered.fine().contains("PROVEN."));
    let again = at_home(home.path(), &["verify", "pump.pwa", "--require-proof"]).fine();
    assert!(again.contains("read at the bench"), "{again}");
    // Another key for the same logger.
    let trust = home.path().join("other.toml");
    let other = "b".repeat(64);
    let text = demo().1.replace(key_of(&demo().1), &other);
    fs::write(&trust, text).unwrap();
    let alarm = at_home(home.path(), &["verify", "pump.pwa", "--trust", "other.toml"]);
    assert_eq!(alarm.code, 3);
    assert!(alarm.out.contains("THE TWO DIFFER"), "{}", alarm.out);
    let refused =
        at_home(home.path(), &["verify", "pump.pwa", "--trust", "other.toml", "--remember"]);
    assert_eq!(refused.one_line_error().0, 3);
    assert!(fs::read_to_string(&trust).unwrap().contains(&other));
}

fn key_of(trust: &str) -> &str {
    let line = trust.lines().find(|line| line.starts_with("key = ")).unwrap();
    line.split('"').nth(1).unwrap()
}

#[test]
fn what_cannot_be_read_is_exit_1_and_wrong_use_2() {
    for file in [&b""[..], b"%PDF-1.7", &[0; 9000]] {
        let outcome = verify(file, &[]);
        let (code, line) = outcome.one_line_error();
        assert_eq!(code, 1);
        assert!(line.contains("pump.pwa"), "{line}");
    }
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(run(folder.path(), &["verify", "nothing.pwa"]).one_line_error().0, 1);
    assert_eq!(run(folder.path(), &["verify"]).code, 2);
    assert_eq!(verify(&demo().0, &["--note", "x"]).code, 2);
    fs::write(folder.path().join("pump.pwa"), &demo().0).unwrap();
    let outcome = run(folder.path(), &["verify", "pump.pwa", "--trust", "none.toml"]);
    assert_eq!(outcome.one_line_error().0, 1);
    fs::write(folder.path().join("bad.toml"), "[logger.1]\n").unwrap();
    let outcome = run(folder.path(), &["verify", "pump.pwa", "--trust", "bad.toml"]);
    assert!(outcome.one_line_error().1.contains("bad.toml"));
}
