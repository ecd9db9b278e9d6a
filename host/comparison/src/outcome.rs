//! What a comparison says: schema `pumpwitness.comparison/1`. "First" and "second" are the records
//! in the order given, before and after a repair as a rule.

use pumpwitness_analysis::outcome::{Severity, StopReason};
use serde::Serialize;

/// Schema of the whole.
pub const SCHEMA: &str = "pumpwitness.comparison/1";

/// The whole comparison.
#[derive(Clone, Debug, Serialize)]
pub struct Comparison {
    /// [`SCHEMA`].
    pub schema: &'static str,
    /// The whole in one word.
    pub overall: Overall,
    /// Causes of either record.
    pub causes: Vec<CauseChange>,
    /// Findings of either record.
    pub findings: Vec<FindingChange>,
    /// Starts and stops by reason.
    pub rates: Vec<RateChange>,
    /// Lengths, currents, pressures, voltages.
    pub measures: Vec<MeasureChange>,
    /// What weakens the comparison.
    pub caveats: Vec<Caveat>,
}

/// The whole in one word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Overall {
    /// Neither record shows anything wrong.
    NothingWrong,
    /// What the first showed, the second does not, and it is long enough to have shown it.
    Gone,
    /// What the first showed, the second does not, but it is too short to say that it is gone.
    NotSeenAgain,
    /// The second shows what the first showed.
    Remains,
    /// The second shows something, the first nothing.
    New,
    /// Some of it is gone, some remains or is new.
    Mixed,
    /// A record is too short or too thin for a verdict.
    TooLittle,
}

/// How something stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// In the second only.
    New,
    /// In the first only, and the second is long enough to have shown it.
    Gone,
    /// In the first only, and the second is too short to tell, or cannot speak about it.
    NotSeenAgain,
    /// In both.
    Remains,
}

/// A cause in either verdict.
#[derive(Clone, Debug, Serialize)]
pub struct CauseChange {
    /// Cause.
    pub cause: &'static str,
    /// Confidence in the first record; `None` where it is not in its verdict.
    pub first: Option<f64>,
    /// Confidence in the second.
    pub second: Option<f64>,
    /// How it stands.
    pub change: Change,
    /// Why the second record contradicts it, where it does.
    pub contradicted: Option<String>,
}

/// A finding in either record.
#[derive(Clone, Debug, Serialize)]
pub struct FindingChange {
    /// Kind.
    pub kind: &'static str,
    /// In the first record.
    pub first: Option<Seen>,
    /// In the second.
    pub second: Option<Seen>,
    /// How it stands.
    pub change: Change,
    /// For what is not in the second: the chance of that if nothing had changed.
    pub chance_unseen: Option<f64>,
}

/// How a finding was seen in one record.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Seen {
    /// Severity.
    pub severity: Severity,
    /// How often.
    pub count: u32,
    /// How often a day of record.
    pub per_day: f64,
}

/// What is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Counting {
    /// Starts.
    Starts,
    /// Stops by a reason.
    Stops(StopReason),
}

/// A rate in both records.
#[derive(Clone, Debug, Serialize)]
pub struct RateChange {
    /// What is counted.
    pub what: Counting,
    /// Counts in the first record.
    pub first: u64,
    /// Counts in the second.
    pub second: u64,
    /// A day, in the first.
    pub first_per_day: f64,
    /// A day, in the second.
    pub second_per_day: f64,
    /// Second rate over first; `None` where the first is nought.
    pub ratio: Option<f64>,
    /// 95 % interval of the ratio; the upper end may be missing.
    pub interval: (f64, Option<f64>),
    /// How much more the counts by day scatter than independent ones; they were divided by it.
    pub clustering: f64,
    /// p of the exact conditional test, and the same for all tests together.
    pub p: f64,
    /// Corrected for the number of tests.
    pub p_adjusted: f64,
    /// What that comes to.
    pub judged: Judged,
}

/// What is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)] // the names say it
pub enum Measure {
    RunLength,
    Rest,
    RunningCurrent,
    PeakCurrent,
    StartPressure,
    StopPressure,
    VoltageLow,
    VoltageMedian,
    VoltageHigh,
    SupplyImpedance,
}

/// How the difference was judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Rank sums of Mann and Whitney; the interval by resampling.
    RankSum,
    /// Resampling in blocks of six hours.
    Blocks,
    /// Normal approximation of two medians.
    Normal,
}

/// A measure in both records. Its unit is that of the measure: s, A, bar, V or Ω.
#[derive(Clone, Debug, Serialize)]
pub struct MeasureChange {
    /// What.
    pub what: Measure,
    /// How it lies in the first record.
    pub first: Spread,
    /// In the second.
    pub second: Spread,
    /// The value spoken of, in the first: the median, for voltages that of the named share.
    pub first_value: f64,
    /// In the second.
    pub second_value: f64,
    /// Second less first.
    pub difference: f64,
    /// 95 % interval of it.
    pub interval: (f64, f64),
    /// How it was judged.
    pub method: Method,
    /// p, where the method gives one.
    pub p: Option<f64>,
    /// Corrected for the number of tests.
    pub p_adjusted: Option<f64>,
    /// What that comes to.
    pub judged: Judged,
}

/// How values lie.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Spread {
    /// How many.
    pub count: usize,
    /// A tenth are smaller.
    pub tenth: f64,
    /// Half are smaller.
    pub median: f64,
    /// A tenth are larger.
    pub nine_tenths: f64,
}

/// What a difference comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Judged {
    /// More than chance and more than nothing to speak of.
    Changed,
    /// More than chance, but too small to matter by itself.
    Slight,
    /// No more than chance explains.
    NotSeen,
    /// Too few values to tell.
    TooLittle,
}

/// What weakens the comparison.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Caveat {
    /// A record covers fewer than three days.
    Short {
        /// True for the second record.
        second: bool,
        /// Covered time, days.
        days: f64,
    },
    /// The records overlap in time, or the second lies before the first.
    Order,
    /// They lie far apart: another season.
    Apart {
        /// Days from the end of the first to the start of the second.
        days: f64,
    },
    /// They were sampled differently.
    Rows {
        /// Usual length of a row in the first, s.
        first_s: f64,
        /// In the second.
        second_s: f64,
    },
    /// A channel that only one of them has.
    Channel {
        /// Which.
        name: &'static str,
        /// True where only the second has it.
        second: bool,
    },
    /// Much of a record is missing.
    Gaps {
        /// True for the second.
        second: bool,
        /// Covered share.
        share: f64,
    },
}
