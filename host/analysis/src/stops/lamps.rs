//! What the watched lamps say about a stop. The record's own evidence comes first: a lamp names the
//! reason of a stop that the record leaves unexplained, and supports or contradicts the others.

use crate::facts::Facts;
use crate::limits;
use crate::outcome::StopReason;
use pumpwitness_protocol::record::{LampState, Mark, TimedMark};
use pumpwitness_site_file::{LampMeaning, Site};
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

/// Reasons a lamp stands for, by what the site file says it means, else by its label.
fn reasons_of_lamp(lamp: u8, label: &str, site: &Site) -> &'static [StopReason] {
    let stated = site.lamp_means.iter().find(|(number, _)| *number == lamp);
    match stated.map(|(_, meaning)| meaning) {
        None => reasons_of(label),
        Some(LampMeaning::DryRun) => &[StopReason::DryRun],
        Some(LampMeaning::Overload) => &[StopReason::Overload],
        Some(LampMeaning::OverTemperature) => &[StopReason::OverTemperature],
        Some(LampMeaning::Supply) => &[StopReason::SupplyOutOfRange, StopReason::SupplyLost],
        Some(LampMeaning::Sensor) => &[StopReason::SensorFault],
        Some(LampMeaning::FailedStart) => &[StopReason::FailedStart],
        Some(LampMeaning::Nothing) => &[],
    }
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
pub fn at_stops(marks: &[TimedMark], site: &Site, facts: &Facts) -> BTreeMap<usize, Said> {
    let (before_ms, after_ms) = (
        (limits::LAMP_BEFORE_S.value * 1000.0) as i64,
        (limits::LAMP_AFTER_S.value * 1000.0) as i64,
    );
    let mut said = BTreeMap::new();
    for timed in marks {
        let Mark::Lamp { lamp, state: LampState::On | LampState::Flashing(_) } = timed.mark else {
            continue;
        };
        // A lamp without a label of its own goes by its number.
        let label = site.lamps.iter().find(|(number, _)| *number == lamp);
        let label = label.map_or_else(|| format!("lamp {lamp}"), |(_, label)| label.clone());
        let reasons = reasons_of_lamp(lamp, &label, site);
        if reasons.is_empty() {
            continue;
        }
        let last = facts.runs.partition_point(|run| run.time.end_ms - before_ms <= timed.time_ms);
        let Some(n) = last.checked_sub(1) else { continue };
        let run = &facts.runs[n];
        if run.stop_seen && timed.time_ms - run.time.end_ms <= after_ms {
            said.entry(n).or_insert(Said { label, reasons });
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

    #[test]
    fn a_stated_meaning_comes_before_the_words_of_the_label() {
        let site = |means: &str| {
            let text = format!(
                "[supply]\nnominal_v = 230\nfrequency_hz = 50\n[motor]\nrated_current_a = 5\n\
                 [lamp_means]\n{means}"
            );
            pumpwitness_site_file::parse(&text).unwrap()
        };
        let stated = site("1 = \"sensor\"\n2 = \"nothing\"\n");
        assert_eq!(reasons_of_lamp(1, "rot, unten links", &stated), [StopReason::SensorFault]);
        assert!(reasons_of_lamp(2, "water too hot", &stated).is_empty());
        assert_eq!(reasons_of_lamp(3, "dry running", &stated), [StopReason::DryRun]);
    }
}
