//! The analysis as text for people at a terminal.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use pumpwitness_analysis::outcome::{Analysis, Finding, Severity, StopReason};
use pumpwitness_evidence::text::wrapped;
use pumpwitness_report::strings::causes::name;
use std::fmt::Write;

/// Everything `analyse` prints without `--json`.
pub fn full(analysis: &Analysis, zone: &TimeZone) -> String {
    let mut text = head(analysis, zone);
    verdict(&mut text, analysis, true);
    stops(&mut text, analysis);
    findings(&mut text, analysis, zone);
    ruled_out(&mut text, analysis);
    words(&mut text);
    text
}

/// What the words above mean, for those whom they concern and who do not use them daily.
const WORDS: &[(&str, &str)] = &[
    (
        "confidence",
        "our judgement of how well the record bears it out, 100 % at most; no share of cases",
    ),
    ("fault, watch, info", "wrong; worth an eye; worth knowing, alleges nothing"),
    ("declared, rated", "as the site file says, which was not checked by this record"),
    (
        "cut-in, cut-out",
        "pressures at which the switch starts and stops the pump; their distance is its differential",
    ),
    ("precharge", "air pressure in the tank when it holds no water"),
    ("load, loaded", "what the motor takes; loaded, it moves water"),
    ("median", "the value in the middle: half lie above, half below"),
    ("limit", "what was judged against, and where it comes from"),
];

fn words(text: &mut String) {
    let _ = writeln!(text, "\nWords");
    for (word, meaning) in WORDS {
        wrapped(text, "  ", &format!("{word}: {meaning}."));
    }
}

/// Verdict and stop ledger only, as `demo` prints them.
pub fn short(analysis: &Analysis, zone: &TimeZone) -> String {
    let mut text = head(analysis, zone);
    verdict(&mut text, analysis, false);
    stops(&mut text, analysis);
    text
}

fn head(analysis: &Analysis, zone: &TimeZone) -> String {
    let recording = &analysis.recording;
    let mut text = String::new();
    let _ = writeln!(
        text,
        "Record   {} to {} ({}), {:.1} h covered{}",
        moment(recording.start, zone),
        moment(recording.end, zone),
        zone.iana_name().unwrap_or("UTC"),
        recording.covered_s / 3600.0,
        match recording.gaps.len() {
            0 => String::new(),
            1 => ", 1 gap".to_owned(),
            gaps => format!(", {gaps} gaps"),
        }
    );
    let _ = writeln!(
        text,
        "Runs     {} ({:.1} starts a day, at most {:.0} in an hour)",
        analysis.runs.len(),
        analysis.starts_per_day,
        analysis.starts_per_hour_max
    );
    text
}

fn verdict(text: &mut String, analysis: &Analysis, with_checks: bool) {
    let _ = writeln!(text, "\nVerdict");
    if analysis.verdict.is_empty() {
        let _ = writeln!(
            text,
            "  no cause is named: see the findings, and what cannot be spoken about"
        );
    }
    for verdict in &analysis.verdict {
        let _ = writeln!(
            text,
            "  {}: {} (confidence {:.0} %)",
            verdict.cause,
            name(verdict.cause),
            (verdict.confidence * 100.0).round()
        );
        wrapped(text, "    ", &verdict.text);
        for against in &verdict.against {
            wrapped(text, "    against: ", against);
        }
        if with_checks {
            for check in &verdict.next_checks {
                wrapped(text, "    check: ", check);
            }
        }
    }
}

fn stops(text: &mut String, analysis: &Analysis) {
    let _ = writeln!(text, "\nStops by reason, as far as the record tells");
    if analysis.stops.is_empty() {
        let _ = writeln!(text, "  none seen");
    }
    for (reason, count) in &analysis.stops {
        let _ = writeln!(text, "  {count:>6}  {}", in_words(*reason));
    }
    let automatic = analysis.runs.iter().filter(|run| run.automatic_restart).count();
    if automatic > 0 {
        let _ = writeln!(
            text,
            "  {automatic:>6}  starts after an even wait, as automatic restarts make them"
        );
    }
}

fn in_words(reason: StopReason) -> &'static str {
    match reason {
        StopReason::CutOut => "cut-out pressure reached",
        StopReason::NoDemand => "no demand (drive asleep)",
        StopReason::DryRun => "running dry",
        StopReason::Overload => "overload",
        StopReason::OverTemperature => "over-temperature",
        StopReason::SupplyLost => "supply lost",
        StopReason::SupplyOutOfRange => "supply out of range",
        StopReason::SensorFault => "sensor fault",
        StopReason::FailedStart => "failed start",
        StopReason::Unexplained => "the record does not say",
    }
}

fn findings(text: &mut String, analysis: &Analysis, zone: &TimeZone) {
    let _ = writeln!(text, "\nFindings");
    if analysis.findings.is_empty() {
        let _ = writeln!(text, "  none");
    }
    for finding in &analysis.findings {
        let _ = writeln!(
            text,
            "  [{}] {}, {} ×, {} to {}",
            severity(finding),
            finding.kind,
            finding.count,
            moment(finding.start, zone),
            moment(finding.end, zone)
        );
        wrapped(text, "    ", &finding.text);
        if let Some(limit) = &finding.limit {
            let line = format!("limit: {} {} ({})", figure(limit.value), limit.unit, limit.source);
            wrapped(text, "    ", &line);
        }
    }
}

fn severity(finding: &Finding) -> &'static str {
    match finding.severity {
        Severity::Info => "info",
        Severity::Watch => "watch",
        Severity::Fault => "fault",
    }
}

fn ruled_out(text: &mut String, analysis: &Analysis) {
    for (title, contradicted) in
        [("Ruled out by this record", true), ("This record cannot speak about", false)]
    {
        let mut causes =
            analysis.ruled_out.iter().filter(|cause| cause.contradicted == contradicted).peekable();
        if causes.peek().is_some() {
            let _ = writeln!(text, "\n{title}");
        }
        for cause in causes {
            let line = format!("{} ({}): {}", cause.cause, name(cause.cause), cause.because);
            wrapped(text, "  ", &line);
        }
    }
}

/// Four significant figures at most, no trailing zeros.
fn figure(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let decimals = (3 - value.abs().log10().floor() as i32).clamp(0, 6) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

fn moment(time: Timestamp, zone: &TimeZone) -> String {
    zone.to_datetime(time).strftime("%Y-%m-%d %H:%M:%S").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pumpwitness_evidence::text::WIDTH;

    #[test]
    fn text_is_wrapped_under_its_lead() {
        let mut text = String::new();
        wrapped(&mut text, "  check: ", &"twelve chars ".repeat(10));
        assert_eq!(text.lines().count(), 2);
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH));
        assert!(text.lines().nth(1).unwrap().starts_with("         "));
    }

    #[test]
    fn figures_are_short() {
        assert_eq!(figure(207.0), "207");
        assert_eq!(figure(0.29167), "0.2917");
        assert_eq!(figure(0.0), "0");
        assert_eq!(figure(-4.5), "-4.5");
    }
}
