//! What is said where a channel is missing: no sentence may rest on it. The record of each plant is
//! analysed whole and with channels taken away, and every sentence of the result is read.

use super::marks::mark;
use super::plant::Plant;
use super::run;
use crate::analyse;
use crate::outcome::Analysis;
use pumpwitness_protocol::record::{LampState, Mark};
use pumpwitness_recording::Recording;
use std::collections::BTreeSet;

/// A channel, the unit of its figures, and words that only who saw it may say.
struct Channel {
    name: &'static str,
    unit: &'static str,
    words: &'static [&'static str],
}

const CHANNELS: [Channel; 4] = [
    Channel {
        name: "voltage",
        unit: "V",
        words: &[
            "supply was present",
            "supply present",
            "voltage was normal",
            "same voltage",
            "voltage dipped",
            "supply dipped",
            "supply was gone",
            "voltage gave way",
        ],
    },
    Channel {
        name: "current",
        unit: "A",
        words: &["the motor drew", "current stood at", "this pump's current", "starting current"],
    },
    Channel {
        name: "power",
        unit: "W",
        words: &["power stood at", "loaded power", "power fell", "as its power tells"],
    },
    Channel {
        name: "pressure",
        unit: "bar",
        words: &[
            "the pressure fell",
            "the pressure stood",
            "did not rise",
            "no longer rises",
            "no longer rose",
            "the pressure lay",
            "fills as if",
            "before the pressure at which",
        ],
    },
];

/// Sentences that speak of what is declared or missing rest on no channel.
/// Heat in a connection is reckoned from current and resistance.
const NO_READING: [&str; 9] = [
    "current squared times resistance",
    "not recorded",
    "does not hold",
    "declare",
    "rated",
    "nominal",
    "nameplate",
    "site file",
    "could not be judged",
];

fn without(recording: &Recording, missing: &[&str]) -> Recording {
    let mut worse = recording.clone();
    let columns = &mut worse.columns;
    for name in missing {
        match *name {
            "voltage" => columns.voltage_v.clear(),
            "current" => columns.current_a.clear(),
            "power" => columns.power_w = None,
            "pressure" => (columns.pressure_bar, columns.loop_ma) = (None, None),
            other => panic!("no channel {other}"),
        }
    }
    worse
}

/// Every sentence of a result, with where it stands.
fn sentences(analysis: &Analysis) -> Vec<(String, String)> {
    let mut texts: Vec<(String, &str)> = Vec::new();
    texts.extend(analysis.findings.iter().map(|f| (f.kind.to_owned(), f.text.as_str())));
    for verdict in &analysis.verdict {
        texts.push((format!("verdict {}", verdict.cause), &verdict.text));
        for against in &verdict.against {
            texts.push((format!("against {}", verdict.cause), against));
        }
    }
    let out = analysis.ruled_out.iter();
    texts.extend(out.map(|out| (format!("ruled out {}", out.cause), out.because.as_str())));
    texts
        .into_iter()
        .flat_map(|(place, text)| {
            text.split(". ")
                .map(move |part| (place.clone(), part.to_lowercase()))
                .collect::<Vec<_>>()
        })
        .collect()
}

/// Numbers that stand before `unit` as a word of its own.
fn figures(sentence: &str, unit: &str) -> usize {
    let words: Vec<&str> = sentence.split_whitespace().collect();
    words
        .windows(2)
        .filter(|pair| {
            pair[0].trim_start_matches('(').parse::<f64>().is_ok()
                && pair[1].trim_end_matches([',', '.', ';', ':', ')']) == unit
        })
        .count()
}

/// What is wrong with the sentences of a result made without the channels that are `missing`.
fn objections(analysis: &Analysis, missing: &[&str], label: &str) -> Vec<String> {
    let mut objections = Vec::new();
    for (place, sentence) in sentences(analysis) {
        let story = format!("{label} without {missing:?}, {place}: {sentence}");
        for broken in ["nan", "inf ", "inf,", "-0 ", "-0.00 "] {
            if format!(" {sentence} ").contains(&format!(" {broken}")) {
                objections.push(format!("\"{broken}\": {story}"));
            }
        }
        let reading = !NO_READING.iter().any(|words| sentence.contains(words));
        for channel in CHANNELS.iter().filter(|c| reading && missing.contains(&c.name)) {
            if figures(&sentence, &channel.unit.to_lowercase()) > 0 {
                objections.push(format!("a figure in {}: {story}", channel.unit));
            }
            let said = channel.words.iter().filter(|words| sentence.contains(**words));
            objections.extend(said.map(|words| format!("\"{words}\": {story}")));
        }
    }
    objections
}

/// Plants that show, between them, most of what there is to find.
fn plants() -> Vec<(&'static str, Plant)> {
    let held = Plant { held_bar: Some(3.0), precharge_bar: 2.0, tank_l: 20.0, ..Plant::default() };
    vec![
        ("sound", Plant::default()),
        ("no air", Plant { gas_share: 0.12, ..Plant::default() }),
        ("high precharge", Plant { real_precharge_bar: Some(2.8), ..Plant::default() }),
        ("narrow", Plant { real_cut_in: Some(2.6), real_cut_out: Some(3.4), ..Plant::default() }),
        ("leak", Plant { leak_l_per_h: 40.0, hours: 60.0, ..Plant::default() }),
        ("dry", Plant { well_l: Some(50.0), well_refill_lpm: 3.0, ..Plant::default() }),
        ("blocked", Plant { flow_share: 0.4, ..Plant::default() }),
        ("shut", Plant { shut_valve: true, ..Plant::default() }),
        ("drag", Plant { current_share: 1.35, ..Plant::default() }),
        ("hot", Plant { heat_trip_s: Some(50.0), ..Plant::default() }),
        ("open", Plant { open_circuit: |t| (t / 3600.0) % 6.0 > 3.0, ..Plant::default() }),
        (
            "dips",
            Plant {
                source_v: |t| if t % 5_000.0 > 4_999.4 { 0.75 } else { 1.01 },
                ..Plant::default()
            },
        ),
        (
            "outages",
            Plant {
                source_v: |t| if t % 20_000.0 > 19_000.0 { 0.0 } else { 1.01 },
                ..Plant::default()
            },
        ),
        (
            "low",
            Plant {
                source_v: |t| if (t / 3600.0) % 10.0 > 7.0 { 0.86 } else { 1.0 },
                ..Plant::default()
            },
        ),
        ("weak", Plant { source_ohm: |t| 0.6 + 1.5 * t / 108_000.0, ..Plant::default() }),
        ("ceiling", Plant { reading: |_, bar| bar.min(2.9), ..Plant::default() }),
        ("drift", Plant { reading: |t, bar| bar + 0.5 * t / 108_000.0, ..Plant::default() }),
        (
            "loose wire",
            Plant {
                reading: |t, bar| if t % 3_000.0 > 2_999.0 { -2.5 } else { bar },
                ..Plant::default()
            },
        ),
        ("drive", held.clone()),
        (
            "low drive",
            Plant {
                source_v: |t| if (t / 3600.0) % 10.0 > 5.0 { 0.72 } else { 1.0 },
                ..held.clone()
            },
        ),
        (
            "dry drive",
            Plant { well_l: Some(40.0), well_refill_lpm: 3.0, hours: 40.0, ..held.clone() },
        ),
        ("hunting", Plant { tank_l: 8.0, loop_gain: 6.0, ..held }),
    ]
}

const SUBSETS: [&[&str]; 9] = [
    &[],
    &["voltage"],
    &["current"],
    &["power"],
    &["pressure"],
    &["current", "power"],
    &["voltage", "power"],
    &["voltage", "pressure", "power"],
    &["voltage", "current", "power"],
];

#[test]
fn no_sentence_rests_on_a_channel_that_is_missing() {
    let mut kinds = BTreeSet::new();
    let mut found_without = BTreeSet::new();
    let mut all = Vec::new();
    for (label, plant) in plants() {
        let whole = plant.record();
        for missing in SUBSETS {
            let analysis = analyse(&without(&whole, missing), &plant.site());
            all.extend(objections(&analysis, missing, label));
            kinds.extend(analysis.findings.iter().map(|f| f.kind));
            if !missing.is_empty() {
                found_without.extend(analysis.findings.iter().map(|f| f.kind));
            }
        }
    }
    assert!(all.is_empty(), "{} objections:\n{}", all.len(), all.join("\n"));
    // The reading above proves little where nothing is said.
    for kind in [
        "dry-run",
        "no-draw",
        "over-temperature-pattern",
        "overload",
        "dead-head",
        "falling-yield",
        "short-cycling",
        "speed-reduction",
        "weak-supply",
        "voltage-dip",
    ] {
        assert!(kinds.contains(kind) && found_without.contains(kind), "{kind} was never found");
    }
}

/// A check that finds nothing wrong with wrong sentences would be none.
#[test]
fn the_reader_notices() {
    let mut analysis = run(&Plant::default());
    analysis.ruled_out.clear();
    analysis.verdict.truncate(1);
    let mut said = |text: &str, missing: &[&str]| {
        analysis.verdict[0].text = text.to_owned();
        !objections(&analysis, missing, "made up").is_empty()
    };
    assert!(said("It drew NaN A.", &[]));
    assert!(said("It moved by -0.00 bar.", &[]));
    let drew = "The motor drew 6.2 A at 228 V.";
    assert!(!said(drew, &[]) && !said(drew, &["power"]));
    assert!(said(drew, &["voltage"]) && said(drew, &["current"]));
    assert!(said("It stood at 1.20 bar.", &["pressure"]));
    assert!(!said("It is to reach 3.50 bar as declared.", &["pressure"]));
}

/// A reason that a watched lamp alone gives is told as the lamp's.
#[test]
fn a_lamp_alone_is_no_reading() {
    let plant = Plant { well_l: Some(50.0), well_refill_lpm: 3.0, ..Plant::default() };
    let mut record = without(&plant.record(), &["current", "power"]);
    let stops: Vec<i64> =
        analyse(&record, &plant.site()).runs.iter().map(|r| r.stop.as_millisecond()).collect();
    for stop_ms in stops {
        record.marks.push(mark(stop_ms + 1_000, Mark::Lamp { lamp: 1, state: LampState::On }));
        record.marks.push(mark(stop_ms + 60_000, Mark::Lamp { lamp: 1, state: LampState::Off }));
    }
    let mut site = plant.site();
    site.lamps = vec![(1, "no water".to_owned())];
    let analysis = analyse(&record, &site);
    let objections = objections(&analysis, &["current", "power"], "lamp");
    assert!(objections.is_empty(), "{objections:?}");
    let dry = analysis.findings.iter().find(|f| f.kind == "dry-run").expect("the lamp is heard");
    assert!(dry.text.contains("lamp alone"), "{}", dry.text);
    assert_eq!(dry.severity, crate::outcome::Severity::Watch);
}
