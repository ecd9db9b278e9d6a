//! The whole journey as its first user sees it: `demo`.

use pumpwitness_tests::run;
use serde_json::Value;
use std::fs;
use std::path::Path;

fn demo(folder: &Path, scenario: &str) -> (String, Value, String) {
    let said = run(folder, &["demo", "--scenario", scenario, "--out", "out"]).fine();
    let read = |name: &str| fs::read_to_string(folder.join("out").join(name)).unwrap();
    (said, serde_json::from_str(&read("analysis.json")).unwrap(), read("report.html"))
}

#[test]
fn the_default_story_is_told_right() {
    let folder = tempfile::tempdir().unwrap();
    let said = run(folder.path(), &["demo"]).fine();
    for word in ["source-overdrawn", "running dry", "automatic restarts", "report.html"] {
        assert!(said.contains(word), "{word} not in:\n{said}");
    }
    for name in ["recording.pwa", "site.toml", "analysis.json", "report.html"] {
        assert!(folder.path().join("demo-out").join(name).is_file(), "{name}");
    }
}

#[test]
fn a_healthy_site_says_so_and_alleges_nothing() {
    for scenario in ["healthy", "healthy-drive"] {
        let folder = tempfile::tempdir().unwrap();
        let (said, analysis, report) = demo(folder.path(), scenario);
        assert!(said.contains("healthy"), "{said}");
        let verdict = analysis["verdict"].as_array().unwrap();
        assert_eq!(verdict.len(), 1, "{verdict:?}");
        assert_eq!(verdict[0]["cause"], "healthy");
        for finding in analysis["findings"].as_array().unwrap() {
            assert_eq!(finding["severity"], "info", "{finding}");
        }
        assert!(report.contains("</html>"));
    }
}

/// Two runs of a demo make the same archive, byte for byte: nothing in it depends on the machine's
/// clock or chance.
#[test]
fn a_demo_is_the_same_every_time() {
    let folders = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    let [first, second] = folders.map(|folder| {
        demo(folder.path(), "supply-dips");
        fs::read(folder.path().join("out/recording.pwa")).unwrap()
    });
    assert!(first == second);
}

#[test]
fn wrong_use_is_exit_2_and_names_the_remedy() {
    let folder = tempfile::tempdir().unwrap();
    let outcome = run(folder.path(), &["demo", "--scenario", "atlantis"]);
    let (code, line) = outcome.one_line_error();
    assert_eq!(code, 2);
    assert!(line.contains("--list"), "{line}");
    assert_eq!(run(folder.path(), &["analyze"]).code, 2);
    let listed = run(folder.path(), &["demo", "--list"]).fine();
    assert!(listed.lines().count() > 5 && listed.contains("healthy"));
}
