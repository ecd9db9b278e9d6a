//! Bad input through the program: always one clear line and an exit code, or a counted loss; never
//! a panic, a hang or half a file.

use pumpwitness_tests::{Outcome, run};
use std::fs;
use std::path::Path;
use std::sync::OnceLock;
use tempfile::TempDir;

const SITE: &str = "[supply]\nnominal_v = 230\nfrequency_hz = 50\n[motor]\nrated_current_a = 6\n\
    [control]\nkind = \"pressure-switch\"\ncut_in_bar = 2\ncut_out_bar = 3.5\n\
    [transducer]\nkind = \"4-20ma\"\nlow_bar = 0\nhigh_bar = 10\n";

/// An archive made by `demo`, once for all tests.
fn archive() -> &'static [u8] {
    static ARCHIVE: OnceLock<Vec<u8>> = OnceLock::new();
    ARCHIVE.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        run(folder.path(), &["demo", "--scenario", "healthy", "--out", "out"]).fine();
        fs::read(folder.path().join("out/recording.pwa")).unwrap()
    })
}

fn with_file(name: &str, bytes: &[u8]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join(name), bytes).unwrap();
    fs::write(folder.path().join("site.toml"), SITE).unwrap();
    folder
}

fn analyse(bytes: &[u8]) -> Outcome {
    let folder = with_file("recording.pwa", bytes);
    run(folder.path(), &["analyse", "recording.pwa", "--json"])
}

#[test]
fn empty_foreign_and_missing_archives_are_refused() {
    for bytes in [&b""[..], b"\x7fELF\x02\x01\x01", b"%PDF-1.7\n", &[0; 9000], &[0xFF; 9000]] {
        let outcome = analyse(bytes);
        let (code, line) = outcome.one_line_error();
        assert_eq!(code, 1);
        assert!(line.contains("recording.pwa"), "{line}");
    }
}

/// Every command that reads or writes a file says which, and what to do, in plain words.
#[test]
fn a_file_or_folder_that_is_not_there_is_told_with_a_remedy() {
    let folder = with_file("recording.pwa", archive());
    fs::write(folder.path().join("table.csv"), "time,current_a\n1777852800,0\n1777852801,5\n")
        .unwrap();
    let absent = "there is no such file: check its name and its folder";
    let nowhere = "there is no such folder: make it first, or name another";
    for (line, place, remedy) in [
        ("analyse nothing.pwa", "nothing.pwa", absent),
        ("analyse recording.pwa --site none.toml", "none.toml", absent),
        ("report nothing.pwa --out r.html", "nothing.pwa", absent),
        ("report recording.pwa --out none/r.html", "none/r.html", nowhere),
        ("compare nothing.pwa recording.pwa --out r.html", "nothing.pwa", absent),
        ("compare recording.pwa nothing.pwa --out r.html", "nothing.pwa", absent),
        ("verify nothing.pwa", "nothing.pwa", absent),
        ("verify recording.pwa --trust none.toml", "none.toml", absent),
        ("bundle nothing.pwa --out r.zip", "nothing.pwa", absent),
        ("bundle recording.pwa --out none/r.zip", "none/r.zip", nowhere),
        ("export nothing.pwa --out r.csv", "nothing.pwa", absent),
        ("export recording.pwa --out none/r.csv", "none/r.csv", nowhere),
        ("import nothing.csv --site site.toml --out r.parquet", "nothing.csv", absent),
        ("import table.csv --site none.toml --out r.parquet", "none.toml", absent),
        ("import table.csv --site site.toml --out none/r.parquet", "none/r.parquet", nowhere),
        ("records --add nothing.pwa --folder kept", "nothing.pwa", absent),
        ("calibrate --file none.toml", "none.toml", absent),
        ("arm --site none.toml", "none.toml", absent),
        ("watch --site none.toml", "none.toml", absent),
        ("analyse .", ".", "this is a folder: name a file in it"),
        ("verify .", ".", "this is a folder: name a file in it"),
    ] {
        let words: Vec<&str> = line.split(' ').collect();
        let outcome = run(folder.path(), &words);
        let (code, told) = outcome.one_line_error();
        assert_eq!(code, 1, "{line}: {told}");
        assert!(told.contains(place) && told.ends_with(remedy), "{line}: {told}");
    }
}

#[test]
fn a_truncated_archive_is_refused_or_its_loss_is_told() {
    let whole = archive();
    for part in [1, 9, 500, 8191, 8192, 8193, 20_000, whole.len() / 2, whole.len() - 1] {
        let outcome = analyse(&whole[..part]);
        if outcome.code == 0 {
            let folder = with_file("recording.pwa", &whole[..part]);
            let report = run(folder.path(), &["report", "recording.pwa", "--out", "r.html"]);
            report.fine();
            let html = fs::read_to_string(folder.path().join("r.html")).unwrap();
            assert!(html.contains("cut off") || html.contains("unfinished"), "{part}");
        } else {
            assert_eq!(outcome.one_line_error().0, 1, "cut at {part}");
        }
    }
}

#[test]
fn a_flipped_bit_is_told_and_costs_a_page_at_most() {
    let whole = archive();
    let fine: serde_json::Value = serde_json::from_str(&analyse(whole).fine()).unwrap();
    let rows = fine["recording"]["rows"].as_u64().unwrap();
    let mut place = 8192 + 37;
    while place < whole.len() - 64 {
        let mut bad = whole.to_vec();
        bad[place] ^= 0x40;
        let folder = with_file("recording.pwa", &bad);
        let outcome = run(folder.path(), &["analyse", "recording.pwa", "--json"]);
        let said: serde_json::Value = serde_json::from_str(&outcome.fine()).unwrap();
        let kept = said["recording"]["rows"].as_u64().unwrap();
        assert!(kept <= rows && kept + 2000 > rows, "byte {place}: {kept} of {rows} rows");
        run(folder.path(), &["report", "recording.pwa", "--out", "r.html"]).fine();
        let html = fs::read_to_string(folder.path().join("r.html")).unwrap();
        assert!(html.contains("damaged") || html.contains("changed"), "byte {place} not told");
        place += whole.len() / 7;
    }
    let mut bad = whole.to_vec();
    bad[100] ^= 1;
    assert_eq!(analyse(&bad).one_line_error().0, 1);
}

fn import(csv: &str) -> (Outcome, TempDir) {
    let folder = with_file("table.csv", csv.as_bytes());
    let outcome =
        run(folder.path(), &["import", "table.csv", "--site", "site.toml", "--out", "out.parquet"]);
    (outcome, folder)
}

/// The table is refused with a line that has these words, and nothing is left behind.
fn refused(csv: &str, needles: &[&str]) {
    let (outcome, folder) = import(csv);
    let (code, line) = outcome.one_line_error();
    assert_eq!(code, 1, "{line}");
    for needle in needles {
        assert!(line.contains(needle), "{needle:?} not in {line}");
    }
    let mut left: Vec<_> =
        fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    left.sort();
    assert_eq!(left, ["site.toml", "table.csv"]);
}

#[test]
fn tables_that_cannot_be_read_are_refused() {
    refused("", &["table.csv"]);
    refused("time,voltage_v\n", &["table.csv"]);
    refused("voltage_v,current_a\n230,1\n", &["time"]);
    refused("time,colour\n2026-01-01T00:00:00Z,red\n", &["colour"]);
    refused(
        "time,voltage_v\n2026-01-01T00:00:00Z,230\n2026-01-01T00:00:01Z,abc\n",
        &["voltage_v", "abc", "row 2"],
    );
    refused("time,voltage_v\nyesterday,230\n", &["yesterday"]);
    refused(
        "time,pressure_bar,pressure_psi\n2026-01-01T00:00:00Z,2,29\n",
        &["pressure_bar", "pressure_psi"],
    );
    refused("time,voltage_v\n2026-01-01T00:00:00Z,230,77,88\n", &["table.csv", "more cells"]);
}

#[test]
fn unordered_and_repeated_times_are_put_right_and_told() {
    let (outcome, folder) = import(
        "time,voltage_v,current_a\n2026-01-01T00:00:02Z,231,0\n2026-01-01T00:00:01Z,230,0\n\
         2026-01-01T00:00:02Z,231,0\n2026-01-01T00:00:03Z,229,0\n",
    );
    outcome.fine();
    let json = run(folder.path(), &["analyse", "out.parquet", "--json"]).fine();
    let said: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(said["recording"]["rows"], 3);
    assert_eq!(said["recording"]["end"], "2026-01-01T00:00:03.000Z");
}

#[test]
fn a_site_file_with_impossible_values_is_refused_by_key() {
    let cases = [
        ("rated_current_a = 6", "rated_current_a = -6", "rated_current_a"),
        ("nominal_v = 230", "nominal_v = 1e9", "nominal_v"),
        ("nominal_v = 230", "nominal_v = \"230\"", "nominal_v"),
        ("frequency_hz = 50", "frequency_hz = 55", "frequency_hz"),
        ("cut_out_bar = 3.5", "cut_out_bar = 1.0", "cut_out_bar"),
        ("cut_in_bar = 2", "cut_in_bar = 2\ncut_in_psi = 29", "cut_in"),
        ("high_bar = 10", "high_bar = 0", "high_bar"),
        ("[supply]", "[suply]", "suply"),
        ("cut_in_bar = 2", "cut_inn_bar = 2", "cut_inn_bar"),
        ("[motor]", "[motor", "line"),
    ];
    for (from, to, named) in cases {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("site.toml"), SITE.replace(from, to)).unwrap();
        fs::write(folder.path().join("t.csv"), "time,voltage_v\n2026-01-01T00:00:00Z,230\n")
            .unwrap();
        let outcome = run(folder.path(), &["analyse", "t.csv", "--site", "site.toml"]);
        let (code, line) = outcome.one_line_error();
        assert_eq!(code, 1, "{line}");
        assert!(line.contains("site.toml") && line.contains(named), "{to}: {line}");
    }
}

#[test]
fn outputs_are_not_overwritten_and_not_left_half() {
    let csv = "time,voltage_v,current_a\n2026-01-01T00:00:01Z,231,0\n2026-01-01T00:00:02Z,230,0\n";
    let (outcome, folder) = import(csv);
    outcome.fine();
    let import = ["import", "table.csv", "--site", "site.toml", "--out", "out.parquet"];
    let again = run(folder.path(), &import);
    assert!(again.one_line_error().1.contains("--replace"));
    let report = run(folder.path(), &["report", "out.parquet", "--out", "no/such/folder/r.html"]);
    assert_eq!(report.one_line_error().0, 1);
    let export = run(folder.path(), &["export", "out.parquet", "--out", "t.xlsx"]);
    assert_eq!(export.one_line_error().0, 2);
    assert!(!Path::new(&folder.path().join("t.xlsx")).exists());
}
