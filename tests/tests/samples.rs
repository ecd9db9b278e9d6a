//! The main job on recordings of an independent simulator, which tells the truth beside them:
//! import → analyse → report, each by the program itself. Runs where the recordings are (see
//! `pumpwitness_tests::samples`).

use pumpwitness_tests::{run, samples};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// How far a time may be off in records of 200 ms rows, ms.
const WITHIN_MS: u64 = 500;
/// Kinds of events that begin at one moment. Others cross a limit slowly or are sums over a window,
/// whose edges are a matter of definition.
const SHARP: [&str; 7] = [
    "dry-run",
    "overload",
    "locked-rotor",
    "voltage-dip",
    "interruption",
    "transducer-open",
    "weak-supply",
];

/// Milliseconds since 1970 of a time in a result or a truth.
fn ms(time: &Value) -> i64 {
    let time: jiff::Timestamp = time.as_str().expect("a time").parse().expect("RFC 3339");
    time.as_millisecond()
}

/// The run or occurrence that starts nearest to a moment.
fn nearest(of: &[Value], at_ms: i64) -> Option<&Value> {
    of.iter().min_by_key(|one| ms(&one["start"]).abs_diff(at_ms))
}

struct Judged {
    name: String,
    faults: Vec<String>,
}

fn words(value: &Value) -> Vec<String> {
    let items = value.as_array().map(Vec::as_slice).unwrap_or_default();
    items.iter().filter_map(Value::as_str).map(str::to_owned).collect()
}

fn judge(folder: &Path) -> Judged {
    let name = folder.file_name().expect("a folder has a name").to_string_lossy().into_owned();
    let truth: Value =
        serde_json::from_slice(&fs::read(folder.join("truth.json")).expect("truth.json")).unwrap();
    let scratch = tempfile::tempdir().unwrap();
    let (table, site) = (folder.join("recording.parquet"), folder.join("site.toml"));
    let (table, site) = (table.to_str().unwrap(), site.to_str().unwrap());
    run(scratch.path(), &["import", table, "--site", site, "--out", "recording.parquet"]).fine();
    let json = run(scratch.path(), &["analyse", "recording.parquet", "--json"]).fine();
    let said: Value = serde_json::from_str(&json).unwrap();
    run(scratch.path(), &["report", "recording.parquet", "--out", "report.html"]).fine();
    let report = fs::read_to_string(scratch.path().join("report.html")).unwrap();
    let mut faults = Vec::new();
    if !report.contains("</html>") || report.len() > 5 << 20 {
        faults.push(format!("report of {} bytes", report.len()));
    }

    // Runs, not counting those a gap hides: their number within one, each at its time, for its reason.
    let true_runs: Vec<&Value> = truth["runs"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|run| run.get("in_gap").is_none_or(|gap| gap == &Value::Bool(false)))
        .collect();
    let runs = said["runs"].as_array().unwrap();
    if runs.len().abs_diff(true_runs.len()) > 1 {
        faults.push(format!("{} runs counted, {} true", runs.len(), true_runs.len()));
    }
    for run in &true_runs {
        let Some(mine) = nearest(runs, ms(&run["start"])) else { break };
        for key in ["start", "stop"] {
            if ms(&mine[key]).abs_diff(ms(&run[key])) > WITHIN_MS {
                faults.push(format!("{key} at {}, true {}", mine[key], run[key]));
            }
        }
        if mine["stop_reason"] != run["stop_reason"] {
            let reasons = (&mine["stop_reason"], &run["stop_reason"]);
            faults.push(format!("stop at {} for {}, true {}", run["stop"], reasons.0, reasons.1));
        }
    }

    // Events with edges: each is found at its time.
    let events = truth["events"].as_array().unwrap().iter();
    for event in events.filter(|event| SHARP.contains(&event["kind"].as_str().unwrap())) {
        let found: Vec<Value> = said["findings"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|finding| finding["kind"] == event["kind"])
            .flat_map(|finding| finding["occurrences"].as_array().unwrap().clone())
            .collect();
        let at_ms = ms(&event["start"]);
        let near = nearest(&found, at_ms);
        if near.is_none_or(|mine| ms(&mine["start"]).abs_diff(at_ms) > WITHIN_MS) {
            faults.push(format!("{} at {} not found at its time", event["kind"], event["start"]));
        }
    }

    // The true causes take the first places, in any order.
    let mut causes: BTreeSet<String> = words(&truth["causes"]).into_iter().collect();
    causes.extend(words(&truth["also_acceptable"]));
    let needed = words(&truth["causes"]);
    let named: Vec<String> = said["verdict"]
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v["cause"].as_str().unwrap().to_owned())
        .collect();
    let first = &named[..needed.len().min(named.len())];
    let right = if needed.len() == 1 {
        first.first().is_some_and(|cause| causes.contains(cause))
    } else {
        needed.iter().all(|cause| first.contains(cause))
    };
    if !right {
        faults.push(format!("named {named:?}, true {needed:?}"));
    }

    // Nothing innocent is alleged.
    let innocent = words(&truth["innocent"]);
    for cause in named.iter().filter(|cause| innocent.contains(cause)) {
        faults.push(format!("alleged {cause}"));
    }
    Judged { name, faults }
}

#[test]
fn every_sample_site_comes_out_right() {
    let Some(folder) = samples() else {
        eprintln!("no sample recordings here: nothing to compare with");
        return;
    };
    let mut sites: Vec<_> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.join("truth.json").is_file())
        .collect();
    sites.sort();
    assert!(!sites.is_empty(), "the folder of samples holds no site");
    let wrong: Vec<_> = sites
        .iter()
        .map(|site| judge(site))
        .filter(|judged| !judged.faults.is_empty())
        .map(|judged| format!("{}: {}", judged.name, judged.faults.join("; ")))
        .collect();
    assert!(wrong.is_empty(), "{} of {} wrong:\n{}", wrong.len(), sites.len(), wrong.join("\n"));
}
