//! The main job on recordings of an independent simulator, which tells the truth beside them:
//! import → analyse → report, each by the program itself. Runs where the recordings are (see
//! `pumpwitness_tests::samples`).

use pumpwitness_tests::{run, samples};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

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

    // Runs within ±1 % of the truth, not counting those a gap hides.
    let true_runs = truth["runs"].as_array().unwrap();
    let seen = true_runs
        .iter()
        .filter(|run| run.get("in_gap").is_none_or(|gap| gap == &Value::Bool(false)))
        .count();
    let counted = said["runs"].as_array().unwrap().len();
    if counted.abs_diff(seen) * 100 > seen.max(100) {
        faults.push(format!("{counted} runs counted, {seen} true"));
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
