//! The judgement hangs on what a record shows against its nameplate, not on the size of its
//! numbers: the same record as on other mains, with another motor, by another transducer, is judged
//! the same. On the recordings of the independent simulator, where they are (see
//! `pumpwitness_tests::samples`).

use pumpwitness_analysis::analyse;
use pumpwitness_analysis::outcome::Analysis;
use pumpwitness_recording::{Channel, ImportOptions, Recording, read_any};
use pumpwitness_site_file::Site;
use pumpwitness_tests::samples;
use std::fs;

fn each(channels: &mut [Channel], change: impl Fn(f32) -> f32) {
    for channel in channels {
        for values in [&mut channel.mean, &mut channel.min, &mut channel.max] {
            for value in values {
                *value = change(*value);
            }
        }
    }
}

/// Other voltage and current: powers of two, which floating-point numbers take without rounding.
fn other_mains(recording: &mut Recording, site: &mut Site, volts: f32, amps: f32) {
    let columns = &mut recording.columns;
    each(&mut columns.voltage_v, |v| v * volts);
    each(&mut columns.current_a, |i| i * amps);
    for watts in columns.power_w.iter_mut().flatten() {
        *watts *= volts * amps;
    }
    site.supply.nominal_v *= f64::from(volts);
    site.motor.rated_current_a *= f64::from(amps);
}

/// 60 Hz for 50 Hz and the other way round.
fn other_frequency(recording: &mut Recording, site: &mut Site) {
    let other = if site.supply.frequency_hz < 55.0 { 60.0 } else { 50.0 };
    let factor = (other / site.supply.frequency_hz) as f32;
    for hertz in recording.columns.frequency_hz.iter_mut().flatten() {
        *hertz *= factor;
    }
    site.supply.frequency_hz = other;
}

/// A transducer of twice the span: the loop current moves half as far from 4 mA.
fn other_transducer(recording: &mut Recording, site: &mut Site) {
    if let Some(transducer) = &mut site.transducer {
        transducer.high_bar = 2.0 * transducer.high_bar - transducer.low_bar;
        each(recording.columns.loop_ma.as_mut_slice(), |ma| 4.0 + (ma - 4.0) / 2.0);
    }
}

/// What is said, less the figures that are to change.
fn said(analysis: &Analysis) -> Vec<String> {
    let runs = analysis.runs.iter().map(|run| {
        format!(
            "run {} to {}: {:?} {}",
            run.start, run.stop, run.stop_reason, run.automatic_restart
        )
    });
    let findings = analysis.findings.iter().map(|finding| {
        let times: Vec<_> = finding.occurrences.iter().map(|o| o.start.as_millisecond()).collect();
        format!("finding {} {:?} {:?}", finding.kind, finding.severity, times)
    });
    let causes = analysis
        .verdict
        .iter()
        .map(|cause| format!("cause {} {:.3}", cause.cause, cause.confidence));
    let ruled_out = analysis.ruled_out.iter().map(|out| format!("not {}", out.cause));
    causes.chain(ruled_out).chain(findings).chain(runs).collect()
}

type Change = fn(&mut Recording, &mut Site);

#[test]
fn the_same_record_on_another_nameplate_is_judged_the_same() {
    let Some(folder) = samples() else {
        eprintln!("no sample recordings here: nothing to compare with");
        return;
    };
    let changes: [(&str, Change); 5] = [
        ("half the voltage, twice the current", |r, s| other_mains(r, s, 0.5, 2.0)),
        ("twice the voltage, half the current", |r, s| other_mains(r, s, 2.0, 0.5)),
        ("a motor four times as large", |r, s| other_mains(r, s, 1.0, 4.0)),
        ("another frequency", other_frequency),
        ("a transducer of twice the span", other_transducer),
    ];
    let mut sites = 0;
    let mut wrong = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let folder = entry.unwrap().path();
        let Ok(text) = fs::read_to_string(folder.join("site.toml")) else { continue };
        let site = pumpwitness_site_file::parse(&text).expect("the site file is sound");
        let options = ImportOptions::default();
        let recording = read_any(&folder.join("recording.parquet"), &options, Some(&site))
            .expect("the recording is sound");
        let before = said(&analyse(&recording, &site));
        assert!(before.len() > 10, "{}: {before:?}", folder.display());
        sites += 1;
        for (name, change) in changes {
            let (mut recording, mut site) = (recording.clone(), site.clone());
            change(&mut recording, &mut site);
            let after = said(&analyse(&recording, &site));
            if let Some((a, b)) = before.iter().zip(&after).find(|(a, b)| a != b) {
                wrong.push(format!("{}, {name}: {a} became {b}", folder.display()));
            } else if before.len() != after.len() {
                wrong.push(format!(
                    "{}, {name}: {} not {}",
                    folder.display(),
                    after.len(),
                    before.len()
                ));
            }
        }
    }
    assert!(sites > 0, "the folder of samples holds no site");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
