//! A finding being written.

use crate::facts::{Facts, Stretch};
use crate::limits::Bound;
use crate::outcome::{Finding, Limit, Occurrence, PointsTo, Severity};
use jiff::Timestamp;

/// Most occurrences listed one by one; `count` tells all.
const LISTED: usize = 10_000;

/// A finding being written.
#[derive(Clone, Debug)]
pub struct Draft {
    kind: &'static str,
    severity: Severity,
    confidence: f64,
    points_to: PointsTo,
    measured: Vec<(&'static str, f64)>,
    limit: Option<Limit>,
    occurrences: Vec<(Stretch, f64)>,
    text: String,
}

impl Draft {
    /// Begins.
    pub fn new(kind: &'static str, severity: Severity, points_to: PointsTo, text: String) -> Self {
        Self {
            kind,
            severity,
            confidence: 1.0,
            points_to,
            measured: Vec::new(),
            limit: None,
            occurrences: Vec::new(),
            text,
        }
    }

    /// How sure, 0 to 1.
    pub fn sure(mut self, confidence: f64) -> Self {
        self.confidence = if confidence.is_finite() { confidence.clamp(0.0, 1.0) } else { 0.0 };
        self
    }

    /// A figure; the unit is in its name. Figures that are not finite are left out.
    pub fn with(mut self, name: &'static str, value: f64) -> Self {
        if value.is_finite() {
            self.measured.push((name, value));
        }
        self
    }

    /// The limit it was judged against, as the table has it.
    pub fn against(self, bound: Bound) -> Self {
        self.limit(bound.value, bound.unit, bound.source)
    }

    /// The limit it was judged against.
    pub fn limit(mut self, value: f64, unit: &'static str, source: impl Into<String>) -> Self {
        if value.is_finite() {
            // Products of limits and nameplates carry digits that mean nothing.
            let value = (value * 1e6).round() / 1e6;
            self.limit = Some(Limit { value, unit, source: source.into() });
        }
        self
    }

    /// Each time it was seen, with the figure that made it count.
    pub fn seen(mut self, occurrences: impl IntoIterator<Item = (Stretch, f64)>) -> Self {
        self.occurrences = occurrences.into_iter().collect();
        self.occurrences.sort_by_key(|o| o.0.start_ms);
        self
    }

    /// Ends. A finding without occurrences holds for the whole record.
    pub fn finding(self, facts: &Facts) -> Finding {
        let whole = Stretch { start_ms: facts.start_ms, end_ms: facts.end_ms };
        let start_ms = self.occurrences.first().map_or(whole.start_ms, |o| o.0.start_ms);
        let end_ms = self.occurrences.iter().map(|o| o.0.end_ms).max().unwrap_or(whole.end_ms);
        Finding {
            kind: self.kind,
            severity: self.severity,
            start: moment(start_ms),
            end: moment(end_ms),
            count: self.occurrences.len().max(1) as u32,
            confidence: (self.confidence * 1000.0).round() / 1000.0,
            points_to: self.points_to,
            measured: self.measured.into_iter().collect(),
            limit: self.limit,
            occurrences: self
                .occurrences
                .into_iter()
                .take(LISTED)
                .map(|(time, value)| Occurrence {
                    start: moment(time.start_ms),
                    end: moment(time.end_ms),
                    value: if value.is_finite() { value } else { 0.0 },
                })
                .collect(),
            text: crate::words::tidy(self.text),
        }
    }
}

/// Moment from ms since 1970; the nearest there is for values no calendar has.
pub fn moment(ms: i64) -> Timestamp {
    Timestamp::from_millisecond(ms).unwrap_or(if ms < 0 { Timestamp::MIN } else { Timestamp::MAX })
}
