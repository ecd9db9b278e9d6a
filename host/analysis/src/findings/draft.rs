//! A finding being written.

use crate::facts::{Facts, Stretch};
use crate::limits::{self, Bound};
use crate::outcome::{Finding, Limit, Occurrence, PointsTo, Severity};
use jiff::Timestamp;
use std::fmt::Write;

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

    /// It rests on what lasts `seconds`. With rows longer than half of that, none need lie wholly
    /// inside it: the finding is less sure in proportion, with rows longer than the whole it is no
    /// fault but worth an eye, and the text says so.
    pub fn resting_on(mut self, seconds: f64, facts: &Facts) -> Self {
        let row_s = facts.row_length_s();
        let share = seconds / (limits::ROWS_INSIDE.value * row_s);
        if share >= 1.0 || !share.is_finite() {
            return self;
        }
        self.confidence *= share;
        if share < 0.5 {
            self.severity = self.severity.min(Severity::Watch);
        }
        let _ = write!(
            self.text,
            " This rests on what lasts {}; the rows of {} are long for it, so that it is less sure.",
            super::span(seconds),
            super::span(row_s)
        );
        self
    }

    /// A figure; the unit is in its name. Figures that are not finite are left out.
    pub fn with(mut self, name: &'static str, value: f64) -> Self {
        if value.is_finite() {
            // A sum of nothing is a negative zero.
            self.measured.push((name, value + 0.0));
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

#[cfg(test)]
mod tests {
    use super::*;

    /// What lasts four seconds, seen in rows of other lengths.
    #[test]
    fn rows_too_long_for_a_finding_make_it_less_sure() {
        let seen = |row_s: f64| {
            let facts = Facts { row_s, ..Facts::default() };
            Draft::new("dead-head", Severity::Fault, PointsTo::Pipework, "Stood.".to_owned())
                .resting_on(4.0, &facts)
                .finding(&facts)
        };
        let fine = seen(2.05);
        assert_eq!((fine.severity, fine.confidence), (Severity::Fault, 1.0));
        assert_eq!(fine.text, "Stood.");
        let long = seen(3.05);
        assert_eq!((long.severity, long.confidence), (Severity::Fault, 0.667));
        let longer = seen(10.05);
        assert_eq!((longer.severity, longer.confidence), (Severity::Watch, 0.2));
        assert!(longer.text.contains("lasts 4.0 s; the rows of 10 s are long"), "{}", longer.text);
    }
}
