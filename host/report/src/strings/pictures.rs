//! Words within and under pictures.

/// Pane of the voltage.
pub const VOLTAGE: &str = "Voltage";
/// Pane of the current.
pub const CURRENT: &str = "Current";
/// Pane of active power.
pub const POWER: &str = "Active power";
/// Pane of the pressure.
pub const PRESSURE: &str = "Pressure";
/// Pane of the loop current.
pub const LOOP: &str = "Loop current of the transducer";
/// Pane of the frequency.
pub const FREQUENCY: &str = "Frequency";
/// Pane of the transducer's supply.
pub const TRANSDUCER_SUPPLY: &str = "Supply of the transducer";
/// Track of runs.
pub const RUNNING: &str = "running";
/// The same where there is little room.
pub const RUNNING_SHORT: &str = "runs";
/// Over the bracket of an overview.
pub const SHOWN_BELOW: &str = "shown below";

/// Label of the nominal voltage.
pub const NOMINAL: &str = "nominal";
/// Label of the cut-in pressure.
pub const CUT_IN: &str = "cut-in";
/// Label of the cut-out pressure.
pub const CUT_OUT: &str = "cut-out";
/// Label of the held pressure.
pub const SETPOINT: &str = "setpoint";
/// Label of the rated current.
pub const RATED: &str = "rated";
/// Label of the level a finding was judged against.
pub const LIMIT: &str = "limit";

/// How traces are to be read.
pub const LEGEND: &str = "In the pictures: line, mean; band, smallest to largest value within each \
    step; dotted, as declared in the site file; dashed, the limit the finding was judged against; \
    shaded and flagged A, the moment spoken of; dark bars on top, the pump running, with the sign \
    of why it stopped.";
/// Lanes of watched lamps.
pub const LEGEND_LAMPS: &str = " Below them, bars with a label: a watched lamp, lit; low bars: it \
    flashed.";
/// Gaps in the picture.
pub const LEGEND_GAP: &str = "Hatched: no rows in the record.";
/// Three phases in one pane.
pub const LEGEND_PHASES: &str = "Phases: first full line, second long dashes, third short dashes.";
/// The limit is not a level of any pane.
pub const LIMIT_NOT_DRAWN: &str = "The limit is not a level of these traces; it stands in the text \
    above.";

/// Label of the rated current times the service factor.
pub fn service(factor: &str) -> String {
    format!("rated × {factor}")
}

/// Over a pane whose peaks run off the top.
pub fn peaks(largest: &str) -> String {
    format!("▲ peaks up to {largest}")
}
