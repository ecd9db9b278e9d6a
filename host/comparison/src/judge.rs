//! The comparison, put together.

use crate::bootstrap::{interval, quantile, single, sorted};
use crate::outcome::{
    CauseChange, Caveat, Change, Comparison, Counting, FindingChange, Judged, Measure,
    MeasureChange, Method, Overall, RateChange, SCHEMA, Seen, Spread,
};
use crate::rank::{mann_whitney, two_sided};
use crate::rates::{Counted, clustering};
use crate::samples::{Samples, spread};
use crate::{Side, holm, rates};
use pumpwitness_analysis::outcome::Analysis;
use std::collections::BTreeSet;

/// Level of significance; the customary one.
const LEVEL: f64 = 0.05;
/// Fewest values of each record for a judgement: below, the normal approximation is poor (common
/// practice: eight).
const FEWEST: usize = 8;
/// Days below which neither weekdays nor weather are averaged out (common practice).
const FEW_DAYS: f64 = 3.0;
/// Days between records from which on the season differs (common practice).
const SEASON_DAYS: f64 = 60.0;

/// Compares two records.
pub fn compare(first: &Side<'_>, second: &Side<'_>) -> Comparison {
    let samples = [Samples::of(first), Samples::of(second)];
    let findings = findings(first.analysis, second.analysis, &samples);
    let causes = causes(first.analysis, second.analysis, &findings);
    let mut rates = rates_of(&samples);
    let mut measures = measures(&samples);
    let mut p: Vec<f64> = rates.iter().map(|rate| rate.p).collect();
    p.extend(measures.iter().filter_map(|measure| measure.p));
    let mut adjusted = holm::adjusted(&p).into_iter();
    for rate in &mut rates {
        rate.p_adjusted = adjusted.next().unwrap_or(1.0);
        judge_rate(rate);
    }
    for measure in &mut measures {
        if measure.p.is_some() {
            measure.p_adjusted = adjusted.next();
        }
        judge_measure(measure);
    }
    Comparison {
        schema: SCHEMA,
        overall: overall(first.analysis, second.analysis, &causes),
        causes,
        findings,
        rates,
        measures,
        caveats: caveats(first, second, &samples),
    }
}

fn findings(first: &Analysis, second: &Analysis, samples: &[Samples; 2]) -> Vec<FindingChange> {
    let mut kinds: Vec<&'static str> = Vec::new();
    for finding in first.findings.iter().chain(&second.findings) {
        if !kinds.contains(&finding.kind) {
            kinds.push(finding.kind);
        }
    }
    let seen = |analysis: &Analysis, kind: &str, days: f64| {
        let finding = analysis.findings.iter().find(|finding| finding.kind == kind)?;
        let per_day = f64::from(finding.count) / days.max(1e-9);
        Some(Seen { severity: finding.severity, count: finding.count, per_day })
    };
    kinds
        .into_iter()
        .map(|kind| {
            let before = seen(first, kind, samples[0].days);
            let after = seen(second, kind, samples[1].days);
            let chance_unseen =
                (before.is_some() && after.is_none()).then(|| chance_unseen(kind, samples));
            let change = match (before.is_some(), chance_unseen) {
                (false, _) => Change::New,
                (true, None) => Change::Remains,
                (true, Some(chance)) if chance > LEVEL => Change::NotSeenAgain,
                (true, Some(_)) => Change::Gone,
            };
            FindingChange { kind, first: before, second: after, change, chance_unseen }
        })
        .collect()
}

/// The chance that the second record shows nothing of a finding although nothing has changed: days
/// without it are taken as they come in the first record, which never counts as all of them.
fn chance_unseen(kind: &str, samples: &[Samples; 2]) -> f64 {
    let days = samples[0].whole_days() as f64;
    let with = samples[0].finding_days.get(kind).copied().unwrap_or(0) as f64;
    // What has no moments of its own holds for the whole record: a day of another shows it.
    let with = if with == 0.0 { days } else { with };
    let share = ((with + 0.5) / (days + 1.0)).min(0.98);
    (1.0 - share).powf(samples[1].days)
}

fn causes(first: &Analysis, second: &Analysis, findings: &[FindingChange]) -> Vec<CauseChange> {
    let mut names: Vec<&'static str> = Vec::new();
    for verdict in first.verdict.iter().chain(&second.verdict) {
        if verdict.cause != "healthy" && !names.contains(&verdict.cause) {
            names.push(verdict.cause);
        }
    }
    let confidence = |analysis: &Analysis, cause: &str| {
        analysis.verdict.iter().find(|verdict| verdict.cause == cause).map(|v| v.confidence)
    };
    names
        .into_iter()
        .map(|cause| {
            let (before, after) = (confidence(first, cause), confidence(second, cause));
            let ruled_out = second.ruled_out.iter().find(|ruled_out| ruled_out.cause == cause);
            let speaking = first.verdict.iter().find(|verdict| verdict.cause == cause);
            // Gone only where what spoke for it is gone too, and the record could speak about it.
            let unsure = findings.iter().any(|finding| {
                finding.change == Change::NotSeenAgain
                    && speaking.is_some_and(|v| v.speaks_for.contains(&finding.kind))
            }) || ruled_out.is_none_or(|ruled_out| !ruled_out.contradicted);
            let change = match (before.is_some(), after.is_some()) {
                (true, true) => Change::Remains,
                (false, _) => Change::New,
                (true, false) if unsure => Change::NotSeenAgain,
                (true, false) => Change::Gone,
            };
            let contradicted = ruled_out
                .filter(|ruled_out| ruled_out.contradicted && after.is_none())
                .map(|ruled_out| ruled_out.because.clone());
            CauseChange { cause, first: before, second: after, change, contradicted }
        })
        .collect()
}

fn overall(first: &Analysis, second: &Analysis, causes: &[CauseChange]) -> Overall {
    if first.verdict.is_empty() || second.verdict.is_empty() {
        return Overall::TooLittle;
    }
    let all = |wanted: &[Change]| causes.iter().all(|cause| wanted.contains(&cause.change));
    if causes.is_empty() {
        Overall::NothingWrong
    } else if all(&[Change::Gone]) {
        Overall::Gone
    } else if all(&[Change::Gone, Change::NotSeenAgain]) {
        Overall::NotSeenAgain
    } else if all(&[Change::Remains]) {
        Overall::Remains
    } else if all(&[Change::New]) {
        Overall::New
    } else {
        Overall::Mixed
    }
}

fn rates_of(samples: &[Samples; 2]) -> Vec<RateChange> {
    let [a, b] = samples;
    let none: &[u64] = &[];
    let mut all = vec![(Counting::Starts, [&a.starts_by_day[..], &b.starts_by_day[..]])];
    let reasons: BTreeSet<_> = a.stops_by_day.keys().chain(b.stops_by_day.keys()).collect();
    for reason in reasons {
        // A record without the reason has none on any day.
        let a = a.stops_by_day.get(reason).map_or(none, Vec::as_slice);
        let b = b.stops_by_day.get(reason).map_or(none, Vec::as_slice);
        all.push((Counting::Stops(*reason), [a, b]));
    }
    all.into_iter()
        .filter_map(|(what, days)| {
            // Whole days only, so that the time of day weighs alike in both.
            let counted = |days: &[u64], samples: &Samples| Counted {
                count: days.iter().sum(),
                days: samples.whole_days() as f64,
            };
            let (first, second) = (counted(days[0], a), counted(days[1], b));
            let clustering = clustering(days);
            let test = rates::compare(first, second, clustering)?;
            Some(RateChange {
                what,
                first: first.count,
                second: second.count,
                first_per_day: first.per_day(),
                second_per_day: second.per_day(),
                ratio: test.ratio.is_finite().then_some(test.ratio),
                interval: (test.interval.0, test.interval.1.is_finite().then_some(test.interval.1)),
                clustering,
                p: test.p,
                p_adjusted: 1.0,
                judged: Judged::TooLittle,
            })
        })
        .collect()
}

fn judge_rate(rate: &mut RateChange) {
    rate.judged = if rate.p_adjusted > LEVEL {
        Judged::NotSeen
    } else if rate.ratio.is_some_and(|ratio| (0.9..1.0 / 0.9).contains(&ratio)) {
        Judged::Slight
    } else {
        Judged::Changed
    };
}

fn measures(samples: &[Samples; 2]) -> Vec<MeasureChange> {
    let [a, b] = samples;
    let mut all = Vec::new();
    for (what, first, second) in [
        (Measure::RunLength, &a.run_s, &b.run_s),
        (Measure::Rest, &a.rest_s, &b.rest_s),
        (Measure::RunningCurrent, &a.current_a, &b.current_a),
        (Measure::PeakCurrent, &a.peak_a, &b.peak_a),
        (Measure::StartPressure, &a.start_bar, &b.start_bar),
        (Measure::StopPressure, &a.stop_bar, &b.stop_bar),
    ] {
        if first.is_empty() || second.is_empty() {
            continue;
        }
        let (before, after) = (spread(first), spread(second));
        let enough = before.count >= FEWEST && after.count >= FEWEST;
        all.push(MeasureChange {
            what,
            first: before,
            second: after,
            first_value: before.median,
            second_value: after.median,
            difference: after.median - before.median,
            interval: interval(&single(first), &single(second), 0.5),
            method: Method::RankSum,
            p: if enough { mann_whitney(first, second).map(|test| test.p) } else { None },
            p_adjusted: None,
            judged: if enough { Judged::NotSeen } else { Judged::TooLittle },
        });
    }
    for (what, share) in
        [(Measure::VoltageLow, 0.05), (Measure::VoltageMedian, 0.5), (Measure::VoltageHigh, 0.95)]
    {
        all.extend(voltage(what, share, a, b));
    }
    all.extend(impedance(a, b));
    all
}

fn voltage(what: Measure, share: f64, a: &Samples, b: &Samples) -> Option<MeasureChange> {
    let (first, second) = (sorted(a.voltage_v.concat()), sorted(b.voltage_v.concat()));
    if first.is_empty() || second.is_empty() {
        return None;
    }
    let (first_value, second_value) = (quantile(&first, share), quantile(&second, share));
    let enough = a.voltage_v.len() >= FEWEST && b.voltage_v.len() >= FEWEST;
    Some(MeasureChange {
        what,
        first: spread(&first),
        second: spread(&second),
        first_value,
        second_value,
        difference: second_value - first_value,
        interval: interval(&a.voltage_v, &b.voltage_v, share),
        method: Method::Blocks,
        p: None,
        p_adjusted: None,
        judged: if enough { Judged::NotSeen } else { Judged::TooLittle },
    })
}

fn impedance(a: &Samples, b: &Samples) -> Option<MeasureChange> {
    let ((first, scatter_a, n_a), (second, scatter_b, n_b)) = (a.impedance?, b.impedance?);
    // Standard error of a median of a normal sample: √(π/2) of that of its mean.
    let error = |scatter: f64, n: usize| {
        scatter / (n.max(1) as f64).sqrt() * (std::f64::consts::PI / 2.0).sqrt()
    };
    let both = error(scatter_a, n_a).hypot(error(scatter_b, n_b));
    let enough = n_a >= FEWEST && n_b >= FEWEST && both > 0.0;
    let about = |ohm: f64, scatter: f64, count| Spread {
        count,
        // A tenth of a normal sample lies 1.2816 standard deviations below its middle.
        tenth: ohm - 1.2816 * scatter,
        median: ohm,
        nine_tenths: ohm + 1.2816 * scatter,
    };
    let difference = second - first;
    Some(MeasureChange {
        what: Measure::SupplyImpedance,
        first: about(first, scatter_a, n_a),
        second: about(second, scatter_b, n_b),
        first_value: first,
        second_value: second,
        difference,
        interval: (difference - 1.96 * both, difference + 1.96 * both),
        method: Method::Normal,
        p: enough.then(|| two_sided(difference / both)),
        p_adjusted: None,
        judged: if enough { Judged::NotSeen } else { Judged::TooLittle },
    })
}

/// Differences below which nothing is to be made of them, as a share of the first value: what
/// sensors of class 1 to 2 and the use of a site do by themselves (common practice).
fn matters(what: Measure) -> f64 {
    match what {
        Measure::RunLength | Measure::Rest | Measure::SupplyImpedance => 0.10,
        Measure::PeakCurrent => 0.05,
        Measure::RunningCurrent | Measure::StartPressure | Measure::StopPressure => 0.02,
        Measure::VoltageLow | Measure::VoltageMedian | Measure::VoltageHigh => 0.01,
    }
}

fn judge_measure(measure: &mut MeasureChange) {
    if measure.judged == Judged::TooLittle {
        return;
    }
    let beyond_chance = match measure.p_adjusted {
        Some(p) => p <= LEVEL,
        None => measure.interval.0 > 0.0 || measure.interval.1 < 0.0,
    };
    if !beyond_chance {
        measure.judged = Judged::NotSeen;
    } else if measure.difference.abs() < matters(measure.what) * measure.first.median.abs() {
        measure.judged = Judged::Slight;
    } else {
        measure.judged = Judged::Changed;
    }
}

fn caveats(first: &Side<'_>, second: &Side<'_>, samples: &[Samples; 2]) -> Vec<Caveat> {
    let mut caveats = Vec::new();
    let (a, b) = (&first.analysis.recording, &second.analysis.recording);
    let apart_ms = b.start.as_millisecond() - a.end.as_millisecond();
    if apart_ms < 0 {
        caveats.push(Caveat::Order);
    }
    let apart = apart_ms as f64 / 86_400_000.0;
    if apart > SEASON_DAYS {
        caveats.push(Caveat::Apart { days: apart });
    }
    for (second, (recording, samples)) in [(false, (a, &samples[0])), (true, (b, &samples[1]))] {
        if samples.days < FEW_DAYS {
            caveats.push(Caveat::Short { second, days: samples.days });
        }
        let whole = recording.end.duration_since(recording.start).as_secs_f64();
        let share = recording.covered_s / whole.max(1e-9);
        if share < 0.9 {
            caveats.push(Caveat::Gaps { second, share });
        }
    }
    let row = |analysis: &Analysis| {
        analysis.statistics.get("row_length_running_s").and_then(serde_json::Value::as_f64)
    };
    if let Some((first_s, second_s)) = row(first.analysis).zip(row(second.analysis))
        && (first_s / second_s > 2.0 || second_s / first_s > 2.0)
    {
        caveats.push(Caveat::Rows { first_s, second_s });
    }
    let columns = [&first.recording.columns, &second.recording.columns];
    for (name, has) in [
        ("voltage", columns.map(|c| !c.voltage_v.is_empty())),
        ("current", columns.map(|c| !c.current_a.is_empty())),
        ("pressure", columns.map(|c| c.pressure_bar.is_some())),
        ("active power", columns.map(|c| c.power_w.is_some())),
    ] {
        if has[0] != has[1] {
            caveats.push(Caveat::Channel { name, second: has[1] });
        }
    }
    caveats
}
