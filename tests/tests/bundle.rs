//! `bundle` as a user meets it; tests/reference/bundle.py has others read what is in it.

use pumpwitness_tests::{Outcome, run};
use std::fs;
use std::path::Path;

fn bundle(folder: &Path, options: &[&str]) -> Outcome {
    let arguments = [&["bundle", "out/recording.pwa", "--out", "b.zip"], options].concat();
    run(folder, &arguments)
}

#[test]
fn a_bundle_is_made_once_and_the_same_each_time() {
    let folder = tempfile::tempdir().unwrap();
    run(folder.path(), &["demo", "--scenario", "supply-dips", "--out", "out"]).fine();
    let trust = ["--trust", "out/known-loggers.toml"];
    let said = bundle(folder.path(), &trust).fine();
    assert!(said.contains("files packed into b.zip"), "{said}");
    let first = fs::read(folder.path().join("b.zip")).unwrap();
    assert!(first.starts_with(b"PK\x03\x04"));
    let (code, line) = {
        let again = bundle(folder.path(), &trust);
        let (code, line) = again.one_line_error();
        (code, line.to_owned())
    };
    assert!(code == 1 && line.contains("--replace"), "{line}");
    bundle(folder.path(), &[&trust[..], &["--replace"]].concat()).fine();
    assert!(fs::read(folder.path().join("b.zip")).unwrap() == first);
    // Without the record: much smaller, and it says why.
    let said = bundle(folder.path(), &["--replace", "--private"]).fine();
    assert!(said.contains("carries the names"), "{said}");
    let private = fs::read(folder.path().join("b.zip")).unwrap();
    assert!(!private.windows(13).any(|name| *name == b"recording.pwa"[..]));
    assert_eq!(bundle(folder.path(), &["--keep-archive"]).code, 2);
    let missing = run(folder.path(), &["bundle", "none.pwa", "--out", "c.zip"]);
    assert_eq!(missing.one_line_error().0, 1);
    assert!(!folder.path().join("c.zip").exists());
}

#[test]
fn the_analysis_and_the_report_say_what_the_archive_proves() {
    let folder = tempfile::tempdir().unwrap();
    run(folder.path(), &["demo", "--scenario", "supply-dips", "--out", "out"]).fine();
    let json = fs::read_to_string(folder.path().join("out/analysis.json")).unwrap();
    let said: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(said["schema"], "pumpwitness.analysis/1");
    assert_eq!(said["integrity"]["verdict"], "proven");
    assert_eq!(said["integrity"]["troubles"], 0);
    let html = fs::read_to_string(folder.path().join("out/report.html")).unwrap();
    assert!(html.contains("sealed by the known key of the logger"));
    // An altered archive is called so in the report, too.
    let archive = folder.path().join("out/recording.pwa");
    let mut file = fs::read(&archive).unwrap();
    file[8192 + 5 * 4096 + 300] ^= 1;
    fs::write(&archive, file).unwrap();
    run(folder.path(), &["report", "out/recording.pwa", "--out", "r.html"]).fine();
    let html = fs::read_to_string(folder.path().join("r.html")).unwrap();
    assert!(html.contains("damage found"));
}
