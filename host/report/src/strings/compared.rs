//! Words of the comparison.

use crate::format::{NBSP, counted, duration, significant};
use pumpwitness_comparison::outcome::{Caveat, Change, Counting, Judged, Measure, Method, Overall};

/// Kind of document.
pub const KIND: &str = "Pump installation: two records compared";
/// Heading of page one.
pub const PAGE_ONE: &str = "Result";
/// Heading of the causes.
pub const CAUSES: &str = "Causes in both records";
/// Over the table of causes.
pub const CAUSES_CAPTION: &str = "Confidence in each record";
/// Over the table of findings.
pub const FINDINGS_CAPTION: &str = "Severity in each record, and how often";
/// Heading of the findings.
pub const FINDINGS: &str = "Findings in both records";
/// Heading of starts and stops.
pub const RATES: &str = "Starts, and stops by reason";
/// Heading of the measures.
pub const MEASURES: &str = "Lengths, currents, pressures, voltages";
/// Heading of the method.
pub const METHOD: &str = "How the records were compared";
/// Heading of the caveats.
pub const CAVEATS: &str = "What weakens the comparison";
/// Panel of what changed.
pub const CHANGED: &str = "What changed";
/// Over the table of what changed.
pub const CHANGED_CAPTION: &str = "More than chance explains, and enough to matter";
/// Panel of findings.
pub const GONE_NEW: &str = "Findings: gone, new, remaining";
/// Heading of the records.
pub const RECORDS: &str = "The two records";
/// Nothing changed.
pub const NOTHING_CHANGED: &str =
    "No measure differs by more than chance explains and enough to matter.";
/// No finding in either.
pub const NO_FINDINGS: &str = "Neither record has a finding.";
/// No cause in either.
pub const NO_CAUSES: &str = "Neither record names a cause of anything wrong.";
/// No caveat.
pub const NO_CAVEATS: &str =
    "Nothing was met that weakens it beyond what is said under the method.";
/// Always said.
pub const NOT_WHY: &str = "A difference is not its reason: season, weather and use differ between \
    two records too. What was done between them is not part of the record.";
/// No whole days.
pub const NO_WHOLE_DAYS: &str =
    "A record has no whole day, so starts and stops a day are not compared.";
/// Where single findings are.
pub const REPORTS: &str = "Each record has a report of its own, with pictures of every finding.";
/// The picture.
pub const PICTURE: &str = "From the value that a tenth of a record's values stay below to the one \
    that a tenth exceed; the mark is the median. Outlined: the first record; filled: the second. \
    Each line has a scale of its own that begins at nought, that of voltages excepted.";

/// Columns.
pub mod columns {
    #![allow(missing_docs)] // the words say it
    pub const WHAT: &str = "What";
    pub const CAUSE: &str = "Cause";
    pub const FINDING: &str = "Finding";
    pub const STANDS: &str = "How it stands";
    pub const DIFFERENCE: &str = "Difference (95 % interval)";
    pub const RATIO: &str = "Ratio (95 % interval)";
    pub const JUDGED: &str = "Judged";
    pub const P: &str = "p, corrected";
    pub const METHOD: &str = "Method";
}

/// Method, with sources.
pub const METHODS: &[&str] = &[
    "Rank sums (Mann and Whitney 1947, normal approximation with corrections for ties and \
     continuity) say whether run lengths, rests, currents and pressures of the two records come \
     from one distribution. Intervals of differences of medians come from 2000 resamples (Efron \
     1979) with a fixed seed.",
    "Starts and stops are counted in whole days of the record and compared by the exact conditional \
     test of two Poisson counts (Przyborowski and Wilenski 1940); the interval of the ratio is that \
     of Clopper and Pearson (1934). Where the counts of the days scatter more than independent \
     counts would, they are divided by that excess first (McCullagh and Nelder 1989).",
    "Voltages are ten-minute means, resampled in blocks of six hours (Künsch 1989), for a supply \
     has its daily course. Supply impedances are compared by the scatter over the starts.",
    "p is the chance of a difference at least as large if nothing had changed. All p of this report \
     are corrected together for their number (Holm 1979), and 0.05 is the customary bound. “Slight” \
     is more than chance but less than what sensors and use do by themselves (bounds: 10 % of \
     lengths and impedance, 5 % of peak currents, 2 % of currents and pressures, 1 % of voltages; \
     common practice).",
    "A finding that is in the first record only is called gone when the second is long enough: when \
     the chance that it would show none, had nothing changed, is below 5 %, counted in days with and \
     without it. A cause is called gone when the second record contradicts it as well.",
    "Runs that follow one another are alike, so p comes out smaller than for independent ones; a p \
     near the bound is to be read with that in mind.",
];

/// Name of a record: before and after, or by site.
pub fn sides(one_site: bool) -> [&'static str; 2] {
    if one_site { ["Before", "After"] } else { ["First site", "Second site"] }
}

/// Headline.
pub fn overall(overall: Overall, one_site: bool) -> &'static str {
    match (overall, one_site) {
        (Overall::NothingWrong, true) => "Neither record shows anything wrong",
        (Overall::NothingWrong, false) => "Neither site shows anything wrong",
        (Overall::Gone, true) => "What the first record showed is gone in the second",
        (Overall::NotSeenAgain, true) => {
            "What the first record showed is not seen in the second, which cannot yet say that it is gone"
        }
        (Overall::Gone | Overall::NotSeenAgain, false) => {
            "Only the first site shows something wrong"
        }
        (Overall::Remains, true) => "The second record still shows what the first showed",
        (Overall::Remains, false) => "Both sites show the same",
        (Overall::New, true) => "The second record shows something that the first did not",
        (Overall::New, false) => "Only the second site shows something wrong",
        (Overall::Mixed, true) => "Some of what the first record showed has changed, some has not",
        (Overall::Mixed, false) => "The sites show different things",
        (Overall::TooLittle, _) => "A record is too short or too thin to compare verdicts",
    }
}

/// How something stands.
pub fn change(change: Change, one_site: bool) -> &'static str {
    match (change, one_site) {
        (Change::New, true) => "new",
        (Change::New, false) => "second site only",
        (Change::Gone, true) => "gone",
        (Change::NotSeenAgain, true) => {
            "not seen again; too short or no word on it to call it gone"
        }
        (Change::Gone | Change::NotSeenAgain, false) => "first site only",
        (Change::Remains, true) => "remains",
        (Change::Remains, false) => "both sites",
    }
}

/// What a difference comes to.
pub fn judged(judged: Judged) -> &'static str {
    match judged {
        Judged::Changed => "changed",
        Judged::Slight => "slight",
        Judged::NotSeen => "no more than chance",
        Judged::TooLittle => "too few values",
    }
}

/// How it was judged.
pub fn method(method: Method) -> &'static str {
    match method {
        Method::RankSum => "rank sums",
        Method::Blocks => "resampled blocks",
        Method::Normal => "scatter of starts",
    }
}

/// What was counted.
pub fn counting(what: Counting) -> String {
    match what {
        Counting::Starts => "Starts a day".to_owned(),
        Counting::Stops(reason) => format!("Stops a day: {}", super::stops::name(reason)),
    }
}

/// What was measured.
pub fn measure(what: Measure) -> &'static str {
    match what {
        Measure::RunLength => "Length of a run, median",
        Measure::Rest => "Rest between runs, median",
        Measure::RunningCurrent => "Running current, median",
        Measure::PeakCurrent => "Peak current of a start, median",
        Measure::StartPressure => "Pressure at the start, median",
        Measure::StopPressure => "Pressure at the cut-out, median",
        Measure::VoltageLow => "Voltage, 5 % of the time below",
        Measure::VoltageMedian => "Voltage, median",
        Measure::VoltageHigh => "Voltage, 5 % of the time above",
        Measure::SupplyImpedance => "Supply impedance, median",
    }
}

/// A caveat in a sentence.
pub fn caveat(caveat: &Caveat, sides: [&str; 2]) -> String {
    let side = |second: bool| sides[usize::from(second)].to_lowercase();
    match caveat {
        Caveat::Short { second, days } => format!(
            "The record “{}” covers {}; below three days neither weekdays nor weather are averaged \
             out.",
            side(*second),
            duration(days * 86_400.0)
        ),
        Caveat::Order => {
            "The second record does not begin after the end of the first: it cannot show what came \
             afterwards."
                .to_owned()
        }
        Caveat::Apart { days } => format!(
            "{} lie between the records: another season, other use, another water level.",
            duration(days * 86_400.0)
        ),
        Caveat::Rows { first_s, second_s } => format!(
            "The records were sampled differently: rows of {} and of {} while running.",
            duration(*first_s),
            duration(*second_s)
        ),
        Caveat::Channel { name, second } => {
            format!("Only the record “{}” has a channel for {name}.", side(*second))
        }
        Caveat::Gaps { second, share } => format!(
            "In the record “{}” only {} of the time is covered.",
            side(*second),
            crate::format::percent(*share)
        ),
    }
}

/// Of how many values.
pub fn of_values(count: usize) -> String {
    counted(count, "value", "values")
}

/// A p.
pub fn p(p: f64) -> String {
    if p < 0.001 { format!("<{NBSP}0.001") } else { significant((p * 1000.0).round() / 1000.0, 2) }
}

/// A chance: one that is nearly none is not said to be none.
pub fn chance(chance: f64) -> String {
    if chance < 0.001 { format!("below 0.1{NBSP}%") } else { crate::format::percent(chance) }
}

/// Name of the picture.
pub const PICTURE_TITLE: &str = "How the values of both records lie";
