//! Which occurrence of a finding is shown, how much around it, and in which panes.

use pumpwitness_analysis::outcome::{Finding, Occurrence};

/// A pane of a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // the channel's name
pub enum Channel {
    Voltage,
    Current,
    Power,
    Pressure,
    Loop,
    Frequency,
    TransducerSupply,
}

/// Which occurrence tells most.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Pick {
    /// Smallest figure.
    Lowest,
    /// Largest figure.
    Highest,
    /// Longest.
    Longest,
}

/// How a kind of finding is shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shape {
    pick: Pick,
    /// Least time shown before and after, s.
    around_s: f64,
    /// Share of the occurrence's length shown before and after.
    share: f64,
    /// Most of an occurrence that is shown, s: where single cycles are to be seen.
    most_s: f64,
    /// True where the whole record is shown: slow changes.
    pub whole: bool,
    /// Panes, top to bottom.
    pub panes: &'static [Channel],
    /// The pane it is about.
    pub about: Channel,
    /// True where the peaks of starts may run off the top.
    pub peaks_may_leave: bool,
    /// True where single half cycles tell something: a capture is drawn besides.
    pub half_cycles: bool,
}

use Channel::{Current, Frequency, Loop, Power, Pressure, TransducerSupply, Voltage};

const ELECTRIC: &[Channel] = &[Voltage, Current, Power];
const USUAL: &[Channel] = &[Voltage, Current, Pressure];
const LOAD: &[Channel] = &[Voltage, Current, Power, Pressure];
const SIGNAL: &[Channel] = &[Voltage, Current, Pressure, Loop];
const SIGNAL_SUPPLY: &[Channel] = &[Voltage, TransducerSupply, Pressure, Loop];
const MAINS: &[Channel] = &[Voltage, Frequency, Current, Pressure];

/// How findings of `kind` are shown.
pub fn shape(kind: &str) -> Shape {
    let base = Shape {
        pick: Pick::Longest,
        around_s: 30.0,
        share: 0.25,
        most_s: f64::INFINITY,
        whole: false,
        panes: USUAL,
        about: Pressure,
        peaks_may_leave: true,
        half_cycles: false,
    };
    let event = Shape {
        around_s: 4.0,
        panes: USUAL,
        about: Voltage,
        peaks_may_leave: false,
        half_cycles: true,
        ..base
    };
    match kind {
        "short-cycling" => {
            Shape { pick: Pick::Highest, around_s: 120.0, share: 0.0, most_s: 1200.0, ..base }
        }
        "low-tank-air" | "high-tank-air" | "narrow-differential" => {
            Shape { around_s: 240.0, share: 0.0, most_s: 900.0, ..base }
        }
        "idle-pressure-loss" => Shape { pick: Pick::Highest, around_s: 60.0, share: 0.2, ..base },
        "pressure-spike" => Shape { pick: Pick::Highest, around_s: 20.0, ..base },
        "leak-back-at-stop" => Shape { pick: Pick::Highest, around_s: 30.0, ..base },
        "pressure-hunting" => Shape { around_s: 30.0, most_s: 600.0, panes: LOAD, ..base },
        "dry-run" => Shape { around_s: 60.0, panes: LOAD, about: Power, ..base },
        "dead-head" | "cut-out-not-reached" | "stopped-short" => {
            Shape { around_s: 60.0, panes: LOAD, about: Power, ..base }
        }
        "overload" | "over-temperature-pattern" => Shape { panes: LOAD, about: Current, ..base },
        "speed-reduction" => Shape { panes: LOAD, about: Power, ..base },
        "locked-rotor" | "failed-start" => {
            Shape { panes: LOAD, about: Current, around_s: 5.0, ..event }
        }
        "no-draw" => Shape { around_s: 120.0, about: Current, ..base },
        "voltage-dip" => Shape { pick: Pick::Lowest, ..event },
        "voltage-swell" => Shape { pick: Pick::Highest, ..event },
        "interruption" => Shape { around_s: 20.0, ..event },
        "undervoltage" => Shape { pick: Pick::Lowest, around_s: 120.0, about: Voltage, ..base },
        "overvoltage" => Shape { pick: Pick::Highest, around_s: 120.0, about: Voltage, ..base },
        "frequency-out-of-range" => Shape { panes: MAINS, about: Frequency, ..base },
        "weak-supply" => Shape { pick: Pick::Highest, panes: ELECTRIC, ..event },
        "voltage-unbalance" | "phase-loss" => Shape { panes: ELECTRIC, about: Voltage, ..base },
        "transducer-open" | "transducer-short" | "transducer-out-of-range" | "over-range" => {
            Shape { panes: SIGNAL, about: Loop, ..base }
        }
        "transducer-supply" => Shape { panes: SIGNAL_SUPPLY, about: TransducerSupply, ..base },
        "transducer-frozen" => Shape { around_s: 300.0, panes: SIGNAL, ..base },
        "clamp-fit" => Shape { panes: ELECTRIC, about: Power, ..base },
        "recording-gap" | "clock-step" => {
            Shape { around_s: 600.0, share: 0.5, about: Voltage, ..base }
        }
        "falling-yield" => Shape { whole: true, panes: LOAD, about: Power, ..base },
        "rising-supply-impedance" => Shape { whole: true, panes: ELECTRIC, about: Voltage, ..base },
        "changed-running-current" => Shape { whole: true, about: Current, panes: LOAD, ..base },
        "transducer-drift" => Shape { whole: true, panes: SIGNAL, ..base },
        _ => base,
    }
}

/// The occurrence that tells most.
pub fn most_telling<'a>(finding: &'a Finding, shape: &Shape) -> Option<&'a Occurrence> {
    let length = |o: &Occurrence| o.end.as_millisecond() - o.start.as_millisecond();
    let finite = finding.occurrences.iter().filter(|o| o.value.is_finite());
    let picked = match shape.pick {
        Pick::Lowest => finite.min_by(|a, b| a.value.total_cmp(&b.value)),
        Pick::Highest => finite.max_by(|a, b| a.value.total_cmp(&b.value)),
        Pick::Longest => None,
    };
    // Of equals the first: `max_by_key` gives the last, so the search runs backwards.
    picked.or_else(|| finding.occurrences.iter().rev().max_by_key(|o| length(o)))
}

/// The stretch of time to show for an occurrence, ms since 1970, inside the record. `starts_ms` are
/// the starts of runs, in time order.
pub fn stretch(
    from_ms: i64,
    to_ms: i64,
    shape: &Shape,
    record: (i64, i64),
    starts_ms: &[i64],
) -> (i64, i64) {
    if shape.whole {
        return record;
    }
    let length_s = (to_ms - from_ms) as f64 / 1000.0;
    let around_ms = (shape.around_s.max(length_s * shape.share) * 1000.0) as i64;
    let (mut from, mut to) = (from_ms, to_ms);
    if length_s > shape.most_s {
        let most_ms = (shape.most_s * 1000.0) as i64;
        from = busiest(starts_ms, from_ms, to_ms, most_ms)
            .unwrap_or_else(|| i64::midpoint(from_ms, to_ms) - most_ms / 2);
        to = from + most_ms;
    } else {
        (from, to) = (from - around_ms, to + around_ms);
    }
    (from, to) = (from.max(record.0), to.min(record.1));
    if to - from < 1000 {
        // A finding at the very edge still gets a second of room.
        (from, to) = (from - 500, to + 500);
    }
    (from, to)
}

/// Begin of the stretch of `length_ms` between two moments that holds most starts, the first of
/// equals, with a tenth of it before the first start.
fn busiest(starts_ms: &[i64], from_ms: i64, to_ms: i64, length_ms: i64) -> Option<i64> {
    let lead_ms = length_ms / 10;
    let first = starts_ms.partition_point(|start| *start < from_ms);
    let inside = &starts_ms[first..starts_ms.partition_point(|start| *start <= to_ms).max(first)];
    let mut best: Option<(usize, i64)> = None;
    for (place, start) in inside.iter().enumerate() {
        let end = start + length_ms - lead_ms;
        let held = inside[place..].partition_point(|other| *other < end);
        if best.is_none_or(|(most, _)| held > most) {
            best = Some((held, start - lead_ms));
        }
    }
    best.map(|(_, begin)| begin)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::strings::kinds::KINDS;

    #[test]
    fn a_stretch_stays_inside_the_record() {
        let shape = shape("voltage-dip");
        assert_eq!(stretch(100_000, 100_140, &shape, (0, 200_000), &[]), (96_000, 104_140));
        assert_eq!(stretch(1_000, 1_140, &shape, (0, 200_000), &[]).0, 0);
        let cycles = super::shape("short-cycling");
        let (from, to) = stretch(0, 86_400_000, &cycles, (0, 86_400_000), &[]);
        assert_eq!(to - from, 1_200_000, "single cycles are to be seen");
        let starts = [1_000_000, 50_000_000, 50_100_000, 50_200_000, 80_000_000];
        let (from, to) = stretch(0, 86_400_000, &cycles, (0, 86_400_000), &starts);
        assert_eq!((from, to), (49_880_000, 51_080_000), "where most starts are");
    }

    #[test]
    fn the_pane_it_is_about_is_among_the_panes() {
        for kind in KINDS {
            let shape = shape(kind.kind);
            assert!(shape.panes.contains(&shape.about), "{}", kind.kind);
        }
    }
}
