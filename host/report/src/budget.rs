//! How far a reading of the logger may be from the truth: the error budgets of hardware-notes (GUM,
//! JCGM 100:2008), by the calibration that the archive carries.

use crate::ReportInput;
use pumpwitness_analysis::limits;
use pumpwitness_analysis::outcome::Finding;
use pumpwitness_recording::SourceKind;
use pumpwitness_site_file::{Site, TransducerKind};
use serde::Deserialize;
use std::sync::LazyLock;

/// Span of a loop of 4 to 20 mA (IEC 60381-1), mA.
const LOOP_SPAN_MA: f64 = 16.0;
const YEAR_MS: f64 = 365.25 * 86_400_000.0;

/// Computed from hardware-notes/uncertainty.toml and the design by tests/reference/hardware_notes.py.
static BUDGETS: LazyLock<Budgets> = LazyLock::new(|| {
    // Part of the program; a test reads it.
    serde_json::from_str(include_str!("../../../hardware-notes/uncertainty.json"))
        .unwrap_or_default()
});

#[derive(Debug, Default, Deserialize)]
struct Budgets {
    voltage: Budget,
    wide: Budget,
    current: Budget,
    start: Budget,
    power: Budget,
    #[serde(rename = "loop")]
    pressure_by_loop: Budget,
    loop_current: Budget,
    #[serde(rename = "ratiometric")]
    pressure_by_ratio: Budget,
    frequency: Budget,
}

/// One budget.
#[derive(Debug, Default, Deserialize)]
pub struct Budget {
    /// Of what.
    pub title: String,
    /// `% of reading`, `% of span` or `Hz`.
    pub unit: String,
    #[serde(default)]
    holds: Option<(f64, f64)>,
    calibrated: Lines,
    uncalibrated: Lines,
}

#[derive(Debug, Default, Deserialize)]
struct Lines {
    #[cfg_attr(not(test), allow(dead_code))] // a check of the sum
    u: f64,
    lines: Vec<Line>,
}

/// One line of a budget.
#[derive(Clone, Debug, Deserialize)]
pub struct Line {
    /// What.
    pub what: String,
    /// `spec`, `computed` or `assumed`.
    pub basis: String,
    /// Its part of the standard uncertainty, in the budget's unit.
    pub u: f64,
    /// It is for one year since the calibration.
    #[serde(default)]
    ageing: bool,
}

/// How a logger stands: calibrated or not, and how long ago.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing<'a> {
    site: &'a Site,
    calibrated: bool,
    /// Years since the calibration at the record's end, at least one.
    years: f64,
}

/// What a figure of a finding was measured as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Of {
    Voltage,
    /// Voltage as share of nominal.
    VoltageShare,
    /// Difference of two voltages as share of nominal.
    VoltageDropShare,
    Current,
    /// Current as multiple of rated.
    CurrentShare,
    /// Change from one current to another, as share.
    CurrentChange,
    Power,
    /// One power as share of another.
    PowerShare,
    Pressure,
    /// Difference of two pressures.
    PressureDifference,
    Loop,
    Frequency,
    /// Difference of two voltages over that of two currents.
    Impedance,
}

/// Figures of findings that are readings, or differ from one by a constant. Figures reckoned from
/// many readings (rates, volumes, flows) and counts are not listed: no budget covers them.
const FIGURES: &[(&str, Of)] = &[
    ("ceiling_a", Of::Current),
    ("ceiling_bar", Of::Pressure),
    ("change_share", Of::CurrentChange),
    ("current_a", Of::Current),
    ("cut_in_bar", Of::Pressure),
    ("cut_out_bar", Of::Pressure),
    ("differential_bar", Of::PressureDifference),
    ("drop_bar", Of::PressureDifference),
    ("early_current_a", Of::Current),
    ("early_ohm", Of::Impedance),
    ("farthest_ma", Of::Loop),
    ("highest_bar", Of::Pressure),
    ("highest_share", Of::VoltageShare),
    ("highest_v", Of::Voltage),
    ("jump_bar", Of::PressureDifference),
    ("late_current_a", Of::Current),
    ("late_ohm", Of::Impedance),
    ("loaded_power_w", Of::Power),
    ("lowest_bar", Of::Pressure),
    ("lowest_share", Of::VoltageShare),
    ("lowest_v", Of::Voltage),
    ("most_power_w", Of::Power),
    ("moved_bar", Of::PressureDifference),
    ("power_share_of_loaded", Of::PowerShare),
    ("power_w", Of::Power),
    ("pressure_bar", Of::Pressure),
    ("running_current_a", Of::Current),
    ("running_drop_share", Of::VoltageDropShare),
    ("share_of_loaded", Of::PowerShare),
    ("share_of_rated", Of::CurrentShare),
    ("start_moved_bar", Of::PressureDifference),
    ("starting_drop_share", Of::VoltageDropShare),
    ("starts_at_bar", Of::Pressure),
    ("steady_from_bar", Of::Pressure),
    ("stop_moved_bar", Of::PressureDifference),
    ("supply_impedance_ohm", Of::Impedance),
    ("supply_impedance_p90_ohm", Of::Impedance),
    ("swing_bar", Of::PressureDifference),
    ("times_rated", Of::CurrentShare),
    ("unloaded_current_a", Of::Current),
    ("unloaded_power_w", Of::Power),
    ("voltage_otherwise_v", Of::Voltage),
    ("voltage_v", Of::Voltage),
    ("worst_hz", Of::Frequency),
];

/// Findings that compare one figure with their limit, and which.
const JUDGED: &[(&str, &str)] = &[
    ("clamp-fit", "power_w"),
    ("cut-out-not-reached", "highest_bar"),
    ("frequency-out-of-range", "worst_hz"),
    ("high-tank-air", "steady_from_bar"),
    ("leak-back-at-stop", "drop_bar"),
    ("narrow-differential", "differential_bar"),
    ("over-temperature-pattern", "current_a"),
    ("overload", "running_current_a"),
    ("overvoltage", "highest_v"),
    ("pressure-hunting", "swing_bar"),
    ("pressure-spike", "highest_bar"),
    ("stopped-short", "pressure_bar"),
    ("transducer-open", "farthest_ma"),
    ("transducer-out-of-range", "farthest_ma"),
    ("transducer-short", "farthest_ma"),
    ("undervoltage", "lowest_v"),
    ("voltage-dip", "lowest_v"),
    ("voltage-swell", "highest_v"),
    ("weak-supply", "running_drop_share"),
    ("weak-supply", "starting_drop_share"),
];

impl<'a> Standing<'a> {
    /// That of the logger that made the record; `None` where another instrument did.
    pub fn of(input: &ReportInput<'a>) -> Option<Self> {
        let source = &input.recording.source;
        if source.kind != SourceKind::Archive {
            return None;
        }
        let made_ms = source.custody.as_ref().map_or(0, |custody| custody.calibrated_ms);
        let end_ms = input.analysis.recording.end.as_millisecond();
        let years = end_ms.saturating_sub(made_ms) as f64 / YEAR_MS;
        Some(Self { site: input.site, calibrated: made_ms != 0, years: years.max(1.0) })
    }

    /// True when the logger was calibrated.
    pub fn calibrated(&self) -> bool {
        self.calibrated
    }

    /// Years since the calibration that the lines of ageing are for, at least one.
    pub fn years(&self) -> f64 {
        self.years
    }

    /// Lines of a budget as they stand for this logger.
    pub fn lines(&self, budget: &Budget) -> Vec<Line> {
        let kept = if self.calibrated { &budget.calibrated } else { &budget.uncalibrated };
        let years = if self.calibrated { self.years } else { 1.0 };
        let aged = |line: &Line| Line {
            u: if line.ageing { line.u * years } else { line.u },
            ..line.clone()
        };
        kept.lines.iter().map(aged).collect()
    }

    /// Expanded uncertainty, k = 2, in the budget's unit: lines are independent (JCGM 100, 5.1).
    pub fn expanded(&self, budget: &Budget) -> f64 {
        2.0 * self.lines(budget).iter().map(|line| line.u.powi(2)).sum::<f64>().sqrt()
    }

    /// The budgets of the quantities that were recorded: voltage, current, power, pressure, loop
    /// current, frequency.
    pub fn budgets(&self, recorded: Recorded) -> Vec<&'static Budget> {
        let all = &*BUDGETS;
        let parts: [(bool, &[&'static Budget]); 6] = [
            (recorded.voltage, &[&all.voltage, &all.wide]),
            (recorded.current, &[&all.current, &all.start]),
            (recorded.power, &[&all.power]),
            (recorded.pressure, &[self.pressure().map_or(&all.pressure_by_loop, |(b, _)| b)]),
            (recorded.loop_current, &[&all.loop_current]),
            (recorded.frequency, &[&all.frequency]),
        ];
        parts
            .iter()
            .filter(|(there, _)| *there)
            .flat_map(|(_, budgets)| budgets.iter().copied())
            .collect()
    }

    /// Expanded uncertainty (k = 2) of a figure of a finding, in the figure's own unit.
    pub fn of_figure(&self, finding: &Finding, name: &str, value: f64) -> Option<f64> {
        // The transducer's own supply has no budget.
        if finding.kind == "transducer-supply" && name.ends_with("_v") {
            return None;
        }
        let (_, of) = FIGURES.iter().find(|(known, _)| *known == name)?;
        let all = &*BUDGETS;
        let nominal = self.site.supply.nominal_v;
        let rated = self.site.motor.rated_current_a;
        // Of two readings of one channel most lines are the same: as if none were is an upper bound.
        let twice = std::f64::consts::SQRT_2;
        Some(match of {
            Of::Voltage => self.voltage_v(value),
            Of::VoltageShare => self.voltage_v(value * nominal) / nominal,
            Of::VoltageDropShare => twice * self.voltage_v(nominal) / nominal,
            Of::Current => self.current_a(value),
            Of::CurrentShare => self.current_a(value * rated) / rated,
            Of::CurrentChange => twice * self.expanded(&all.current) / 100.0 * (1.0 + value.abs()),
            Of::Power => self.of_reading(&all.power, value),
            Of::PowerShare => twice * self.expanded(&all.power) / 100.0 * value.abs(),
            Of::Pressure => self.pressure_bar()?,
            Of::PressureDifference => twice * self.pressure_bar()?,
            Of::Loop => self.expanded(&all.loop_current) / 100.0 * LOOP_SPAN_MA,
            Of::Frequency => self.expanded(&all.frequency),
            Of::Impedance => {
                let parts = [&all.wide, &all.start].map(|budget| self.expanded(budget));
                value.abs() * parts[0].hypot(parts[1]) / 100.0
            }
        })
    }

    /// True when the figure that a finding was judged by lies within its uncertainty of the limit:
    /// measured alone, the two cannot be told apart. `None` where it was not judged by one figure.
    pub fn within(&self, finding: &Finding) -> Option<bool> {
        let limit = finding.limit.as_ref()?;
        let supply = self.site.supply;
        JUDGED.iter().filter(|(kind, _)| *kind == finding.kind).find_map(|(_, name)| {
            let value = *finding.measured.get(name)?;
            let (value, limit_value) = match (*name, limit.unit) {
                ("running_drop_share", "of nominal") => {
                    (value, (limit.value == limits::RUNNING_DROP.value).then_some(limit.value)?)
                }
                ("starting_drop_share", "of nominal") => {
                    (value, (limit.value == limits::STARTING_DROP.value).then_some(limit.value)?)
                }
                ("worst_hz", "Hz off nominal") => {
                    ((value - supply.frequency_hz).abs(), limit.value)
                }
                (_, "V" | "A" | "W" | "bar" | "mA") => (value, limit.value),
                (_, "times rated") => (value, limit.value * self.site.motor.rated_current_a),
                _ => return None,
            };
            let uncertainty = self.of_figure(finding, name, finding.measured[name])?;
            Some((value - limit_value).abs() <= uncertainty)
        })
    }

    fn voltage_v(&self, value: f64) -> f64 {
        let all = &*BUDGETS;
        let narrow = all.voltage.holds.is_some_and(|(from, to)| (from..=to).contains(&value.abs()));
        self.of_reading(if narrow { &all.voltage } else { &all.wide }, value)
    }

    fn current_a(&self, value: f64) -> f64 {
        let all = &*BUDGETS;
        let running = all.current.holds.is_some_and(|(_, to)| value.abs() <= to);
        self.of_reading(if running { &all.current } else { &all.start }, value)
    }

    /// Of a budget in % of reading; below where it holds, as much as at its lower end.
    fn of_reading(&self, budget: &Budget, value: f64) -> f64 {
        let least = budget.holds.map_or(0.0, |(from, _)| from);
        self.expanded(budget) / 100.0 * value.abs().max(least)
    }

    fn pressure(&self) -> Option<(&'static Budget, f64)> {
        let transducer = self.site.transducer?;
        let budget = match transducer.kind {
            TransducerKind::Loop => &BUDGETS.pressure_by_loop,
            TransducerKind::Ratiometric => &BUDGETS.pressure_by_ratio,
        };
        Some((budget, transducer.high_bar - transducer.low_bar))
    }

    fn pressure_bar(&self) -> Option<f64> {
        let (budget, span_bar) = self.pressure()?;
        Some(self.expanded(budget) / 100.0 * span_bar)
    }
}

/// Which quantities a record holds.
#[derive(Clone, Copy, Debug)]
#[allow(missing_docs, clippy::struct_excessive_bools)] // the names say it
pub struct Recorded {
    pub voltage: bool,
    pub current: bool,
    pub power: bool,
    pub pressure: bool,
    pub loop_current: bool,
    pub frequency: bool,
}

#[cfg(test)]
mod tests {
    use super::*;
    use pumpwitness_analysis::outcome::{Limit, PointsTo, Severity};
    use std::collections::BTreeMap;

    fn site() -> Site {
        let text = "[supply]\nnominal_v = 230\nfrequency_hz = 50\n[motor]\nrated_current_a = 7.2\n\
                    [transducer]\nkind = \"4-20ma\"\nlow_bar = 0\nhigh_bar = 10\n";
        pumpwitness_site_file::parse(text).unwrap()
    }

    fn finding(kind: &'static str, name: &'static str, value: f64, limit: Limit) -> Finding {
        Finding {
            kind,
            severity: Severity::Fault,
            start: jiff::Timestamp::UNIX_EPOCH,
            end: jiff::Timestamp::UNIX_EPOCH,
            count: 1,
            confidence: 1.0,
            points_to: PointsTo::None,
            measured: BTreeMap::from([(name, value)]),
            limit: Some(limit),
            occurrences: Vec::new(),
            text: String::new(),
        }
    }

    fn limit(value: f64, unit: &'static str) -> Limit {
        Limit { value, unit, source: String::new() }
    }

    /// hardware-notes/uncertainty.md, "In short": ±0.3 % of a reading of voltage, 1.4 % of 8 A,
    /// 0.8 % of the transducer's span. Its sums come from another program (budget.py), and by the
    /// Monte Carlo method from a third (error_budget.py).
    #[test]
    fn sums_are_those_of_the_notes() {
        let site = site();
        let standing = Standing { site: &site, calibrated: true, years: 1.0 };
        let all = &*BUDGETS;
        let budgets = [
            &all.voltage,
            &all.wide,
            &all.current,
            &all.start,
            &all.power,
            &all.pressure_by_loop,
            &all.loop_current,
            &all.pressure_by_ratio,
            &all.frequency,
        ];
        for budget in budgets {
            let twice = 2.0 * budget.calibrated.u;
            assert!(budget.calibrated.u > 0.0, "{}", budget.title);
            assert!((standing.expanded(budget) - twice).abs() < 1e-3 * twice, "{}", budget.title);
            let other = Standing { calibrated: false, ..standing };
            let twice = 2.0 * budget.uncalibrated.u;
            assert!((other.expanded(budget) - twice).abs() < 1e-3 * twice, "{}", budget.title);
            assert!(budget.uncalibrated.u >= budget.calibrated.u, "{}", budget.title);
            let old = Standing { years: 5.0, ..standing };
            assert!(old.expanded(budget) >= standing.expanded(budget), "{}", budget.title);
        }
        assert!(((standing.voltage_v(230.0) / 2.3 * 10.0).round() - 3.0).abs() < 1e-9);
        assert!(((standing.current_a(8.0) / 0.08 * 10.0).round() - 14.0).abs() < 1e-9);
        assert!((standing.pressure_bar().unwrap() - 0.08).abs() < 0.005);
    }

    #[test]
    fn an_interval_does_not_shrink_below_where_its_budget_holds() {
        let site = site();
        let standing = Standing { site: &site, calibrated: true, years: 1.0 };
        assert_eq!(standing.voltage_v(3.0), standing.voltage_v(46.0));
        assert_eq!(standing.current_a(0.2), standing.current_a(8.0));
        assert!(standing.voltage_v(120.0) > standing.voltage_v(46.0));
        assert!(standing.current_a(40.0) > standing.current_a(16.0));
    }

    #[test]
    fn what_lies_within_its_uncertainty_of_the_limit_is_told() {
        let site = site();
        let standing = Standing { site: &site, calibrated: true, years: 1.0 };
        let within = |finding| standing.within(&finding);
        // ±0.6 V about 207 V; ±0.11 A about 8.28 A; ±0.11 bar for a difference.
        let dip = |volts| finding("voltage-dip", "lowest_v", volts, limit(207.0, "V"));
        assert_eq!(within(dip(206.6)), Some(true));
        assert_eq!(within(dip(180.0)), Some(false));
        let over = |amperes| finding("overload", "running_current_a", amperes, limit(8.28, "A"));
        assert_eq!(within(over(8.35)), Some(true));
        assert_eq!(within(over(9.0)), Some(false));
        let band =
            |bar| finding("narrow-differential", "differential_bar", bar, limit(1.05, "bar"));
        assert_eq!(within(band(0.98)), Some(true));
        assert_eq!(within(band(0.6)), Some(false));
        // The same reading, not calibrated.
        let other = Standing { calibrated: false, ..standing };
        assert_eq!(other.within(&over(8.5)), Some(true));
        // Not judged by one reading.
        let share =
            finding("low-tank-air", "gas_share_of_declared", 0.2, limit(0.5, "of declared gas"));
        assert_eq!(within(share), None);
    }
}
