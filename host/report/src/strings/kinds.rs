//! Kinds of findings: a title, and what it is in plain words.

use crate::units::Quantity;

/// Words for a kind of finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kind {
    /// Kind, as in the analysis.
    pub kind: &'static str,
    /// Title.
    pub title: &'static str,
    /// What it is, for someone new to pumps.
    pub meaning: &'static str,
}

/// The words for `kind`, if it is known here.
pub fn of(kind: &str) -> Option<&'static Kind> {
    KINDS.iter().find(|known| known.kind == kind)
}

/// A title for `kind`, known or not.
pub fn title(kind: &str) -> String {
    match of(kind) {
        Some(known) => known.title.to_owned(),
        None => crate::format::capital(&super::words_of(kind)),
    }
}

/// What the figure of an occurrence is, where it is the same for every finding of `kind`.
pub fn figure(kind: &str) -> Option<(&'static str, Quantity)> {
    Some(match kind {
        "short-cycling" => ("Starts", Quantity::Number),
        "leak-back-at-stop" => ("Drop", Quantity::Bar),
        "cut-out-not-reached" | "pressure-spike" => ("Highest pressure", Quantity::Bar),
        "stopped-short" => ("Pressure at the stop", Quantity::Bar),
        "pressure-hunting" => ("Swing", Quantity::Bar),
        "idle-pressure-loss" => ("Loss", Quantity::BarPerMinute),
        "locked-rotor" => ("Peak current", Quantity::Ampere),
        "voltage-dip" | "interruption" | "undervoltage" => ("Lowest voltage", Quantity::Volt),
        "voltage-swell" | "overvoltage" => ("Highest voltage", Quantity::Volt),
        "weak-supply" => ("Voltage drop", Quantity::Volt),
        "frequency-out-of-range" => ("Frequency", Quantity::Hertz),
        "transducer-open" | "transducer-short" | "transducer-out-of-range" => {
            ("Loop current", Quantity::Milliampere)
        }
        _ => return None,
    })
}

macro_rules! kinds {
    ($($kind:literal, $title:literal, $meaning:literal;)*) => {
        &[$(Kind { kind: $kind, title: $title, meaning: $meaning }),*]
    };
}

/// The catalogue.
pub const KINDS: &[Kind] = kinds! {
    "short-cycling", "Short cycling", "The pump starts often and runs briefly each time. Every start heats the motor and wears switch and coupling.";
    "idle-pressure-loss", "Pressure lost at rest", "Pressure falls steadily while the pump rests, so water leaves the system somewhere.";
    "leak-back-at-stop", "Pressure falls back at the stop", "Pressure drops right after the pump stops, as when water runs back through the check valve.";
    "low-tank-air", "Too little air in the tank", "The pressure moves faster than the declared tank allows. Less air in a tank means less water stored between starts.";
    "high-tank-air", "Too much air in the tank", "The pressure drops steeply near the cut-in, as when the tank is empty of water before the pump starts.";
    "narrow-differential", "Narrow pressure band", "Start and stop pressure lie closer together than declared, which makes the runs shorter.";
    "dead-head", "Running against a closed outlet", "The pump runs at a high, standing pressure, as when hardly any water flows. The water in it heats up.";
    "cut-out-not-reached", "Cut-out pressure not reached", "The pump runs on without reaching the pressure at which it should stop.";
    "stopped-short", "Stopped short of the cut-out", "The pump stops before the pressure at which its control stops it, and the record does not say why.";
    "pressure-hunting", "Pressure swings under control", "The pressure swings to and fro although the drive is to hold it steady.";
    "pressure-spike", "Pressure spikes", "A pressure far above the highest declared one.";
    "dry-run", "Running dry", "The load of the motor is as low as when the pump gets no water, and the pump stops or is stopped.";
    "falling-yield", "Falling yield", "The pump takes less power and moves less water than its nameplate lets expect, or less and less.";
    "overload", "Overload", "The motor draws more current than its nameplate allows.";
    "locked-rotor", "Locked rotor", "The motor draws starting current without coming up to speed.";
    "failed-start", "Failed starts", "The motor was switched on and did not come up to speed.";
    "no-draw", "Called for, but no current", "The pressure asks for the pump and no current flows.";
    "over-temperature-pattern", "Pattern of thermal stops", "Stops and restarts follow one another as a heat protection makes them. Temperature was not recorded.";
    "speed-reduction", "Held pressure not reached", "The drive does not hold its pressure although the pump runs, as when it turns slower than the demand asks for.";
    "changed-running-current", "Changed running current", "The current of a steady run has changed over the days.";
    "voltage-dip", "Voltage dips", "The supply voltage falls below its limit for less than a minute.";
    "voltage-swell", "Voltage swells", "The supply voltage rises above its limit for less than a minute.";
    "interruption", "Supply interruptions", "The supply voltage is gone at the place of measurement.";
    "undervoltage", "Undervoltage", "The supply voltage stays below its limit for longer than a minute.";
    "overvoltage", "Overvoltage", "The supply voltage stays above its limit for longer than a minute.";
    "frequency-out-of-range", "Frequency out of range", "The frequency of the supply leaves its range.";
    "weak-supply", "Weak supply", "The voltage gives way more than it should when the pump itself draws current.";
    "rising-supply-impedance", "Rising supply impedance", "The voltage gives way more and more for the same current, as a connection going bad does.";
    "voltage-unbalance", "Voltage unbalance", "The three voltages differ from one another.";
    "phase-loss", "Lost phase", "One of three phases carries no current.";
    "transducer-open", "Pressure signal open", "The signal of the pressure transducer is gone, as with a broken wire or a loose plug.";
    "transducer-short", "Pressure signal shorted", "The signal of the pressure transducer is above anything it can give.";
    "transducer-out-of-range", "Pressure signal out of range", "The signal of the pressure transducer leaves its valid range.";
    "transducer-supply", "Supply of the transducer", "The supply of the transducer is too low, or its signal behaves as if it were, so that it cannot be trusted.";
    "transducer-drift", "Drifting pressure signal", "The pressure signal moves away over the days, as far as the motor's load tells without the pressure doing so.";
    "transducer-frozen", "Frozen pressure signal", "The pressure signal stands still while the pump changes the pressure.";
    "clamp-fit", "Fit of the current clamp", "The current does not read as a clamp round one conductor, facing the motor, should.";
    "recording-gap", "Gaps in the record", "For a time nothing was recorded. What happened then is unknown.";
    "clock-step", "Clock stepped", "The logger's clock was moved.";
    "over-range", "Signal beyond the range", "A signal was larger than the input can show. Its true size is unknown.";
    "lamp-on", "Watched lamp lit", "A lamp that the technician had watched was lit.";
    "lamp-flashing", "Watched lamp flashing", "A lamp that the technician had watched was flashing.";
};
