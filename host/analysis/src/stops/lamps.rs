//! What the watched lamps say about a stop. The record's own evidence comes first: a lamp names the
//! reason of a stop that the record leaves unexplained, and supports or contradicts the others.

use crate::facts::Facts;
use crate::limits;
use crate::outcome::StopReason;
use pumpwitness_protocol::record::{LampState, Mark, TimedMark};
use std::collections::BTreeMap;

/// Words of a label, and the reasons of a stop they stand for, the first foremost. Plain words of
/// the trade; a label without any of them says nothing about stops.
const WORDS: &[(&[&str], &[StopReason])] = &[
    (&["dry", "no water", "low water", "water level", "low level"], &[StopReason::DryRun]),
    (&["overload", "over load", "relay", "trip"], &[StopReason::Overload, StopReason::FailedStart]),
    (&["temperature", "overheat", "hot", "thermal"], &[StopReason::OverTemperature]),
    (
        &["supply", "voltage", "mains", "phase"],
        &[StopReason::SupplyOutOfRange, StopReason::SupplyLost],
    ),
    (&["sensor", "transducer"], &[StopReason::SensorFault]),
    (&["start", "locked", "blocked", "jam"], &[StopReason::FailedStart, StopReason::Overload]),
];

/// A lamp that lit at a stop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// Its label.
    pub label: String,
    /// Reasons the label stands for.
    pub reasons: &'static [StopReason],
}

/// Reasons a label stands for; none where it says nothing about stops.
pub fn reasons_of(label: &str) -> &'static [StopReason] {
    let label = label.to_lowercase();
    WORDS
        .iter()
        .find(|(words, _)| words.iter().any(|word| label.contains(word)))
        .map_or(&[], |(_, reasons)| *reasons)
}

/// What lit at each stop, by the lamps whose labels stand for a reason.
pub fn at_stops(
    marks: &[TimedMark],
    labels: &[(u8, String)],
    facts: &Facts,
) -> BTreeMap<usize, Said> {
    let (before_ms, after_ms) = (
        (limits::LAMP_BEFORE_S.value * 1000.0) as i64,
        (limits::LAMP_AFTER_S.value * 1000.0) as i64,
    );
    let mut said = BTreeMap::new();
    for timed in marks {
        let Mark::Lamp { lamp, state: LampState::On | LampState::Flashing(_) } = timed.mark else {
            continue;
        };
        let Some((_, label)) = labels.iter().find(|(number, _)| *number == lamp) else { continue };
        let reasons = reasons_of(label);
        if reasons.is_empty() {
            continue;
        }
        let last = facts.runs.partition_point(|run| run.time.end_ms - before_ms <= timed.time_ms);
        let Some(n) = last.checked_sub(1) else { continue };
        let run = &facts.runs[n];
        if run.stop_seen && timed.time_ms - run.time.end_ms <= after_ms {
            said.entry(n).or_insert_with(|| Said { label: label.clone(), reasons });
        }
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_stand_for_reasons_by_their_plain_words() {
        assert_eq!(reasons_of("Dry running"), [StopReason::DryRun]);
        assert_eq!(reasons_of("motor OVERLOAD")[0], StopReason::Overload);
        assert_eq!(reasons_of("low voltage")[0], StopReason::SupplyOutOfRange);
        assert!(reasons_of("running").is_empty() && reasons_of("service").is_empty());
    }
}
