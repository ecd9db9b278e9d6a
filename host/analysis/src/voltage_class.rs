//! Classes of voltage events: IEEE 1159 by duration, EN 50160 by residual voltage and duration.

use crate::facts::{VoltageEvent, VoltageKind};

/// Category of IEEE 1159 (r.m.s. variations; table of the 1995 edition as reproduced in the trade
/// press, temporary and sustained rows from memory).
pub fn ieee_1159(event: &VoltageEvent, frequency_hz: f64) -> &'static str {
    let seconds = event.time.seconds();
    let cycles = seconds * frequency_hz;
    let gone = event.kind == VoltageKind::Interruption;
    match (gone, seconds) {
        (true, s) if s > 60.0 => "sustained",
        (true, s) if s > 3.0 => "temporary",
        (true, _) => "momentary",
        (false, _) if cycles <= 30.0 => "instantaneous",
        (false, s) if s <= 3.0 => "momentary",
        (false, s) if s <= 60.0 => "temporary",
        (false, _) => "sustained",
    }
}

/// Cell of the dip table of EN 50160:2010 (table 2): row by residual voltage in per cent of
/// nominal, column by duration.
pub fn en_50160_cell(residual_percent: f64, seconds: f64) -> String {
    let row = match residual_percent {
        u if u >= 80.0 => 'A',
        u if u >= 70.0 => 'B',
        u if u >= 40.0 => 'C',
        u if u >= 5.0 => 'D',
        _ => 'X',
    };
    let column = match seconds {
        t if t <= 0.2 => 1,
        t if t <= 0.5 => 2,
        t if t <= 1.0 => 3,
        t if t <= 5.0 => 4,
        _ => 5,
    };
    format!("{row}{column}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::Stretch;

    fn event(kind: VoltageKind, ms: i64) -> VoltageEvent {
        VoltageEvent {
            kind,
            time: Stretch { start_ms: 0, end_ms: ms },
            extreme_v: 176.0,
            before_v: 230.0,
            current_rise_a: 0.0,
            at_start: false,
        }
    }

    /// Edges of EN 50160:2010 table 2.
    #[test]
    fn cells_of_the_dip_table() {
        for (residual, seconds, cell) in [
            (80.0, 0.1, "A1"),
            (79.99, 0.1, "B1"),
            (89.9, 0.2, "A1"),
            (89.9, 0.201, "A2"),
            (70.0, 0.5, "B2"),
            (69.9, 0.51, "C3"),
            (40.0, 1.0, "C3"),
            (39.9, 1.01, "D4"),
            (5.0, 5.0, "D4"),
            (4.9, 5.01, "X5"),
            // 176 V of 230 V for 60 ms, worked example by the rules of IEC 61000-4-30.
            (76.52, 0.06, "B1"),
        ] {
            assert_eq!(en_50160_cell(residual, seconds), cell, "{residual} {seconds}");
        }
    }

    /// 30 cycles are 500 ms at 60 Hz and 600 ms at 50 Hz.
    #[test]
    fn categories_of_ieee_1159() {
        use VoltageKind::{Dip, Interruption, Swell};
        for (kind, ms, hz, category) in [
            (Dip, 60, 50.0, "instantaneous"),
            (Dip, 600, 50.0, "instantaneous"),
            (Dip, 601, 50.0, "momentary"),
            (Dip, 500, 60.0, "instantaneous"),
            (Dip, 501, 60.0, "momentary"),
            (Swell, 3_000, 60.0, "momentary"),
            (Swell, 3_001, 60.0, "temporary"),
            (Dip, 60_001, 50.0, "sustained"),
            (Interruption, 100, 50.0, "momentary"),
            (Interruption, 3_001, 50.0, "temporary"),
            (Interruption, 60_001, 50.0, "sustained"),
        ] {
            assert_eq!(ieee_1159(&event(kind, ms), hz), category, "{kind:?} {ms} ms at {hz} Hz");
        }
    }
}
