//! What `analyse` says: the JSON contract `pumpwitness.analysis/1`, as types. Field names are the
//! contract; fields may be added, these do not change without a new schema number.

use jiff::Timestamp;
use serde::Serialize;
use std::collections::BTreeMap;

/// Schema of the whole.
pub const SCHEMA: &str = "pumpwitness.analysis/1";

/// The whole analysis.
#[derive(Clone, Debug, Serialize)]
pub struct Analysis {
    /// [`SCHEMA`].
    pub schema: &'static str,
    /// What was analysed.
    pub recording: RecordingSummary,
    /// Every run, in time order.
    pub runs: Vec<Run>,
    /// Stops by reason.
    pub stops: BTreeMap<StopReason, u32>,
    /// Starts in a day of covered time.
    pub starts_per_day: f64,
    /// Most starts in any 60 minutes.
    pub starts_per_hour_max: f64,
    /// What was observed, most severe first.
    pub findings: Vec<Finding>,
    /// What best explains it, best first; exactly one entry `healthy` when nothing is wrong; empty
    /// when something is wrong that no cause explains, or there is nothing to judge.
    pub verdict: Vec<Verdict>,
    /// Causes the record contradicts, and causes it cannot speak about.
    pub ruled_out: Vec<RuledOut>,
    /// Figures by name; the unit is in the name.
    pub statistics: serde_json::Map<String, serde_json::Value>,
}

/// What was analysed.
#[derive(Clone, Debug, Serialize)]
pub struct RecordingSummary {
    /// First moment covered.
    #[serde(with = "millis")]
    pub start: Timestamp,
    /// Last moment covered.
    #[serde(with = "millis")]
    pub end: Timestamp,
    /// Time covered by rows, s.
    pub covered_s: f64,
    /// Rows.
    pub rows: usize,
    /// What told the runs: `current`, `power`, `pressure` (by its rises and falls) or `nothing`.
    pub runs_from: &'static str,
    /// SHA-256 of the file, hex.
    pub sha256: String,
    /// Stretches without rows.
    pub gaps: Vec<Gap>,
}

/// A stretch without rows.
#[derive(Clone, Debug, Serialize)]
pub struct Gap {
    /// Start.
    #[serde(with = "millis")]
    pub start: Timestamp,
    /// End.
    #[serde(with = "millis")]
    pub end: Timestamp,
}

/// One start-to-stop of the pump.
#[derive(Clone, Debug, Serialize)]
pub struct Run {
    /// Start; the start of the record where it was already running.
    #[serde(with = "millis")]
    pub start: Timestamp,
    /// Stop; the end of the record where it was still running.
    #[serde(with = "millis")]
    pub stop: Timestamp,
    /// Length, s.
    pub duration_s: f64,
    /// Largest half-cycle current, A; `None` without a current channel.
    pub peak_current_a: Option<f64>,
    /// Median current once up to speed, A.
    pub running_current_a: Option<f64>,
    /// Pressure at the start, bar.
    pub start_pressure_bar: Option<f64>,
    /// Pressure at the stop, bar.
    pub stop_pressure_bar: Option<f64>,
    /// Why it stopped; `None` where the stop was not seen (end of record, gap).
    pub stop_reason: Option<StopReason>,
    /// True when the start followed a protective stop by a fixed wait.
    pub automatic_restart: bool,
    /// Label of a watched lamp that lit at the stop and stands for a reason.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lamp: Option<String>,
}

/// Why a run stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum StopReason {
    /// Cut-out pressure reached.
    CutOut,
    /// Drive asleep for want of demand.
    NoDemand,
    /// Protection against running dry.
    DryRun,
    /// Overload protection.
    Overload,
    /// Over-temperature protection.
    OverTemperature,
    /// Supply gone.
    SupplyLost,
    /// Supply outside its band.
    SupplyOutOfRange,
    /// Sensor failed.
    SensorFault,
    /// The motor never came up to speed.
    FailedStart,
    /// The record does not say.
    Unexplained,
}

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing; alleges nothing.
    Info,
    /// Worth an eye.
    Watch,
    /// Wrong.
    Fault,
}

/// Whose matter it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)] // the words say it
pub enum PointsTo {
    Supply,
    Source,
    Tank,
    Pipework,
    Control,
    Sensor,
    Motor,
    Wiring,
    None,
}

/// Something observed.
#[derive(Clone, Debug, Serialize)]
pub struct Finding {
    /// Kind, of the catalogue, e.g. `short-cycling`.
    pub kind: &'static str,
    /// How much it matters.
    pub severity: Severity,
    /// First moment.
    #[serde(with = "millis")]
    pub start: Timestamp,
    /// Last moment.
    #[serde(with = "millis")]
    pub end: Timestamp,
    /// How often.
    pub count: u32,
    /// 0 to 1.
    pub confidence: f64,
    /// Whose matter.
    pub points_to: PointsTo,
    /// Figures by name; the unit is in the name.
    pub measured: BTreeMap<&'static str, f64>,
    /// What it was judged against.
    pub limit: Option<Limit>,
    /// Each time it was seen, in time order.
    pub occurrences: Vec<Occurrence>,
    /// One or two plain sentences with figures.
    pub text: String,
}

/// What a finding was judged against.
#[derive(Clone, Debug, Serialize)]
pub struct Limit {
    /// Value.
    pub value: f64,
    /// Unit.
    pub unit: &'static str,
    /// Standard and clause, handbook, "site file", "nameplate", "this record", or "common practice".
    pub source: String,
}

/// One time something was seen.
#[derive(Clone, Debug, Serialize)]
pub struct Occurrence {
    /// Start.
    #[serde(with = "millis")]
    pub start: Timestamp,
    /// End.
    #[serde(with = "millis")]
    pub end: Timestamp,
    /// The figure that made it count, in the unit of the finding's main measure.
    pub value: f64,
}

/// A cause and how it stands.
#[derive(Clone, Debug, Serialize)]
pub struct Verdict {
    /// Cause, of the catalogue, e.g. `waterlogged-tank`.
    pub cause: &'static str,
    /// Whose matter.
    pub points_to: PointsTo,
    /// 0 to 1.
    pub confidence: f64,
    /// Finding kinds that speak for it.
    #[serde(rename = "for")]
    pub speaks_for: Vec<&'static str>,
    /// Finding kinds or facts that speak against it.
    pub against: Vec<String>,
    /// What would settle it, each a sentence with its caution.
    pub next_checks: Vec<String>,
    /// Plain words for page one.
    pub text: String,
}

/// A cause the record contradicts or cannot speak about.
#[derive(Clone, Debug, Serialize)]
pub struct RuledOut {
    /// Cause.
    pub cause: &'static str,
    /// Why, with figures.
    pub because: String,
    /// True when contradicted; false when the record cannot speak about it.
    pub contradicted: bool,
}

/// RFC 3339 UTC with milliseconds.
mod millis {
    use jiff::Timestamp;
    use serde::Serializer;

    pub fn serialize<S: Serializer>(time: &Timestamp, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&format_args!("{time:.3}"))
    }
}
