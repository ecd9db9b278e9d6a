//! Names of figures. A figure that is not listed is named by its own words and told by the unit at
//! the end of its name.

use crate::units::{Quantity, split_name};

/// Where a statistic stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)] // the words say it
pub enum Group {
    Running,
    Motor,
    Supply,
    Water,
    Record,
    Further,
}

/// Heading of a group.
pub fn heading(group: Group) -> &'static str {
    match group {
        Group::Running => "Running and rest",
        Group::Motor => "Motor",
        Group::Supply => "Supply",
        Group::Water => "Pressure and tank",
        Group::Record => "Record",
        Group::Further => "Further figures",
    }
}

/// Title and quantity of a figure.
pub fn measure(name: &str) -> (String, Quantity) {
    let told = split_name(name);
    if let Some((_, title)) = TITLES.iter().find(|(known, _)| *known == name) {
        return ((*title).to_owned(), told.1);
    }
    if let Some((event, class)) = name.split_once("_ieee_1159_") {
        let title = format!("{}, {class} by IEEE 1159", super::words_of(event));
        return (crate::format::capital(&title), Quantity::Number);
    }
    (crate::format::capital(&super::words_of(told.0)), told.1)
}

/// Place of a statistic: group, and rank inside it.
pub fn place(name: &str) -> (Group, usize) {
    let listed = STATISTICS.iter().flat_map(|(group, names)| {
        names.iter().enumerate().map(move |(rank, known)| (*known, *group, rank))
    });
    if let Some((_, group, rank)) = listed.into_iter().find(|(known, _, _)| *known == name) {
        return (group, rank);
    }
    if let Some((event, class)) = name.split_once("_ieee_1159_") {
        // Behind all that is listed; the shorter classes first.
        let rank =
            |of: &[&str], name| of.iter().position(|known| *known == name).unwrap_or(of.len());
        let events = rank(&["dips", "swells", "interruptions"], event);
        let classes = rank(&["instantaneous", "momentary", "temporary", "sustained"], class);
        return (Group::Supply, 1000 + 10 * events + classes);
    }
    (Group::Further, 0)
}

const STATISTICS: &[(Group, &[&str])] = &[
    (
        Group::Running,
        &[
            "runs",
            "running_h",
            "running_share",
            "run_p10_s",
            "run_median_s",
            "run_p90_s",
            "rest_p10_s",
            "rest_median_s",
            "rest_p90_s",
            "busiest_hour_running_s",
            "busiest_hour_start_unix_s",
            "restart_wait_s",
            "restart_waits",
        ],
    ),
    (
        Group::Motor,
        &[
            "running_current_p10_a",
            "running_current_median_a",
            "running_current_p90_a",
            "peak_current_p10_a",
            "peak_current_median_a",
            "peak_current_p90_a",
            "standby_current_a",
            "loaded_power_w",
            "no_flow_load_w",
            "no_flow_load_scatter_w",
            "no_flow_load_moved_w",
            "no_flow_load_a",
            "no_flow_load_scatter_a",
            "no_flow_load_moved_a",
            "energy_kwh",
        ],
    ),
    (
        Group::Supply,
        &[
            "voltage_lowest_v",
            "voltage_p01_v",
            "voltage_p05_v",
            "voltage_median_v",
            "voltage_p95_v",
            "voltage_p99_v",
            "voltage_highest_v",
            "voltage_10min_min_v",
            "voltage_10min_p05_v",
            "voltage_10min_p95_v",
            "voltage_10min_max_v",
            "voltage_10min_within_10_percent_share",
            "frequency_1min_min_hz",
            "frequency_1min_max_hz",
            "supply_impedance_ohm",
            "supply_impedance_scatter_ohm",
        ],
    ),
    (
        Group::Water,
        &[
            "cut_in_bar",
            "cut_in_scatter_bar",
            "cut_in_moved_bar",
            "cut_out_bar",
            "cut_out_scatter_bar",
            "cut_out_moved_bar",
            "tank_gas_bar_l",
            "tank_gas_share_of_declared",
            "effective_gas_volume_l",
            "drawdown_l",
            "tank_gas_runs",
            "rest_loss_median_bar_per_min",
        ],
    ),
    (Group::Record, &["covered_h", "row_length_running_s", "gaps"]),
];

const TITLES: &[(&str, &str)] = &[
    // Statistics.
    ("runs", "Runs"),
    ("running_h", "Running, together"),
    ("running_share", "Running, share of the time"),
    ("run_p10_s", "Length of a run: a tenth are shorter than"),
    ("run_median_s", "Length of a run: median"),
    ("run_p90_s", "Length of a run: a tenth are longer than"),
    ("rest_p10_s", "Length of a rest: a tenth are shorter than"),
    ("rest_median_s", "Length of a rest: median"),
    ("rest_p90_s", "Length of a rest: a tenth are longer than"),
    ("busiest_hour_running_s", "Running in the busiest hour"),
    ("busiest_hour_start_unix_s", "The busiest hour began"),
    ("restart_wait_s", "Even wait from a stop by protection to the next start"),
    ("restart_waits", "Waits of that length"),
    ("running_current_p10_a", "Running current: a tenth of runs below"),
    ("running_current_median_a", "Running current: median of runs"),
    ("running_current_p90_a", "Running current: a tenth of runs above"),
    ("peak_current_p10_a", "Peak current: a tenth of runs below"),
    ("peak_current_median_a", "Peak current: median of runs"),
    ("peak_current_p90_a", "Peak current: a tenth of runs above"),
    ("standby_current_a", "Current at rest"),
    ("loaded_power_w", "Power when moving water"),
    ("no_flow_load_w", "Power running without flow"),
    ("no_flow_load_scatter_w", "Power without flow: scatter"),
    ("no_flow_load_moved_w", "Power without flow: moved over the record by"),
    ("no_flow_load_a", "Current running without flow"),
    ("no_flow_load_scatter_a", "Current without flow: scatter"),
    ("no_flow_load_moved_a", "Current without flow: moved over the record by"),
    ("energy_kwh", "Energy taken"),
    ("voltage_lowest_v", "Voltage: lowest value"),
    ("voltage_p01_v", "Voltage: 1 % of the time below"),
    ("voltage_p05_v", "Voltage: 5 % of the time below"),
    ("voltage_median_v", "Voltage: median over time"),
    ("voltage_p95_v", "Voltage: 5 % of the time above"),
    ("voltage_p99_v", "Voltage: 1 % of the time above"),
    ("voltage_highest_v", "Voltage: highest value"),
    ("voltage_10min_min_v", "10-minute mean of the voltage: lowest"),
    ("voltage_10min_p05_v", "10-minute mean of the voltage: 5 % below"),
    ("voltage_10min_p95_v", "10-minute mean of the voltage: 5 % above"),
    ("voltage_10min_max_v", "10-minute mean of the voltage: highest"),
    ("voltage_10min_within_10_percent_share", "10-minute means within ±10 % of nominal"),
    ("frequency_1min_min_hz", "1-minute mean of the frequency: lowest"),
    ("frequency_1min_max_hz", "1-minute mean of the frequency: highest"),
    ("supply_impedance_ohm", "Supply impedance"),
    ("supply_impedance_scatter_ohm", "Supply impedance: scatter"),
    ("supply_impedance_p90_ohm", "Supply impedance: a tenth of starts above"),
    ("cut_in_bar", "Pressure at which the pump starts"),
    ("cut_in_scatter_bar", "Start pressure: scatter"),
    ("cut_in_moved_bar", "Start pressure: moved over the record by"),
    ("cut_out_bar", "Pressure at which the pump stops"),
    ("cut_out_scatter_bar", "Stop pressure: scatter"),
    ("cut_out_moved_bar", "Stop pressure: moved over the record by"),
    ("tank_gas_bar_l", "Gas in the tank (absolute pressure × volume)"),
    ("tank_gas_share_of_declared", "Gas in the tank, share of declared"),
    ("effective_gas_volume_l", "Volume of that gas at precharge pressure"),
    ("drawdown_l", "Water the tank gives from stop to start"),
    ("tank_gas_runs", "Runs it was told from"),
    ("rest_loss_median_bar_per_min", "Change of pressure at rest: median"),
    ("covered_h", "Time covered by rows"),
    ("row_length_running_s", "Usual length of a row while running"),
    ("gaps", "Gaps"),
    // Figures of findings.
    ("ceiling_a", "Highest current the input showed"),
    ("ceiling_bar", "Highest pressure the signal showed"),
    ("change_share", "Change"),
    ("current_a", "Current"),
    ("declared_differential_bar", "Band as declared"),
    ("differential_bar", "Band as seen"),
    ("dips_per_day", "Dips in a day"),
    ("drop_bar", "Drop of pressure"),
    ("early_current_a", "Current early in the record"),
    ("early_ohm", "Supply impedance early in the record"),
    ("farthest_ma", "Loop current farthest out"),
    ("flow_late_to_early", "Flow late in the record to early"),
    ("flow_share_of_rated", "Flow, share of rated"),
    ("gas_declared_bar_l", "Gas in the tank as declared (absolute pressure × volume)"),
    ("gas_found_bar_l", "Gas in the tank as found (absolute pressure × volume)"),
    ("gas_share_of_declared", "Gas in the tank, share of declared"),
    ("heat_w", "Heat that the rise puts into the connection while running"),
    ("held_s", "Held for"),
    ("highest_bar", "Highest pressure"),
    ("highest_share", "Highest voltage, share of nominal"),
    ("highest_v", "Highest voltage"),
    ("jump_bar", "Jump of pressure"),
    ("largest_s", "Largest"),
    ("late_current_a", "Current late in the record"),
    ("late_ohm", "Supply impedance late in the record"),
    ("load_change_share", "Change of load"),
    ("longest_s", "Longest"),
    ("loss_bar_per_min", "Loss of pressure"),
    ("loss_l_per_h", "Loss of water"),
    ("lowest_bar", "Lowest pressure"),
    ("lowest_share", "Lowest voltage, share of nominal"),
    ("lowest_minute_v", "Lowest mean of a minute"),
    ("lowest_v", "Lowest voltage"),
    ("median_run_s", "Length of a run: median"),
    ("most_power_w", "Highest power"),
    ("nema_share", "Unbalance by NEMA MG 1"),
    ("negative_sequence_share", "Negative-sequence voltage"),
    ("pause_s", "Wait before the restart"),
    ("period_s", "Period of the swing"),
    ("power_fall_share", "Fall of power"),
    ("power_share_of_loaded", "Power, share of usual when moving water"),
    ("rate_hz", "Flashes a second"),
    ("rated_current_a", "Rated current"),
    ("relative_scatter", "Scatter, relative"),
    ("running_current_a", "Running current"),
    ("running_drop_share", "Voltage drop while running, share of nominal"),
    ("runs_cut_off", "Runs cut off"),
    ("scatter_bar", "Scatter"),
    ("scatter_ohm", "Scatter"),
    ("share_of_loaded", "Load, share of usual when moving water"),
    ("share_of_rated", "Share of rated"),
    ("share_of_running", "Share of the running time"),
    ("short_runs", "Short runs"),
    ("start_moved_bar", "Start pressure: moved by"),
    ("starting_drop_share", "Voltage drop while starting, share of nominal"),
    ("starts_at_bar", "Pressure at which the pump starts"),
    ("starts_per_hour_limit", "Starts in an hour: limit"),
    ("starts_per_hour_max", "Most starts within one hour"),
    ("steady_from_bar", "Pressure steady from"),
    ("stop_moved_bar", "Stop pressure: moved by"),
    ("swing_bar", "Swing of pressure, peak to peak"),
    ("times_rated", "Times rated current"),
    ("total_s", "Together"),
    ("trips", "Trips"),
    ("unloaded_current_a", "Current without load"),
    ("unloaded_power_w", "Power without load"),
    ("voltage_otherwise_v", "Voltage otherwise"),
    ("voltage_v", "Voltage"),
    ("while_running", "Of them while running"),
    ("worst_hz", "Frequency farthest out"),
];

/// Rows of the dip table of EN 50160:2010, table 2: letter and residual voltage.
pub const DIP_ROWS: &[(char, &str)] = &[
    ('a', "A: 80 to 90 %"),
    ('b', "B: 70 to 80 %"),
    ('c', "C: 40 to 70 %"),
    ('d', "D: 5 to 40 %"),
    ('x', "X: below 5 %"),
];

/// Columns of the dip table: duration.
pub const DIP_COLUMNS: &[&str] =
    &["1: to 0.2 s", "2: to 0.5 s", "3: to 1 s", "4: to 5 s", "5: longer"];

/// Over the dip table.
pub const DIP_CAPTION: &str =
    "Dips and interruptions by residual voltage and duration (cells of EN 50160)";

/// First column of the dip table.
pub const DIP_RESIDUAL: &str = "Residual voltage";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_listed_statistic_has_a_title() {
        for name in STATISTICS.iter().flat_map(|(_, names)| names.iter()) {
            assert!(TITLES.iter().any(|(known, _)| known == name), "{name}");
        }
    }

    #[test]
    fn unknown_figures_are_named_by_their_words() {
        let (title, quantity) = measure("deepest_well_bar");
        assert_eq!((title.as_str(), quantity), ("Deepest well", Quantity::Bar));
        assert_eq!(measure("dips_ieee_1159_momentary").0, "Dips, momentary by IEEE 1159");
    }
}
