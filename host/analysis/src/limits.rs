//! Every limit of the crate, with its source, in one table. A limit of the site file takes the
//! place of the general one. "from memory" marks a figure of a standard that was not looked up in
//! the standard's own text.

/// A limit and where it comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bound {
    /// Value, in `unit`.
    pub value: f64,
    /// Unit.
    pub unit: &'static str,
    /// Standard and clause, handbook, or "common practice".
    pub source: &'static str,
}

macro_rules! limits {
    ($($(#[$doc:meta])* $name:ident = $value:expr, $unit:literal, $source:literal;)*) => {
        $($(#[$doc])* pub const $name: Bound =
            Bound { value: $value, unit: $unit, source: $source };)*
        /// All of them, by name.
        pub const ALL: &[(&str, Bound)] = &[$((stringify!($name), $name)),*];
    };
}

limits! {
    /// Below this share of the nominal voltage a dip begins.
    DIP = 0.90, "of nominal", "IEC 61000-4-30 clause 5.4 and EN 50160 (90 % of nominal)";
    /// Above this share of the nominal voltage a swell begins.
    SWELL = 1.10, "of nominal", "IEC 61000-4-30 clause 5.4 (110 % of nominal)";
    /// Below this share of the nominal voltage an interruption begins.
    INTERRUPTION = 0.05, "of nominal", "EN 50160 (residual voltage below 5 %)";
    /// Hysteresis of dip, swell and interruption.
    HYSTERESIS = 0.02, "of nominal", "IEC 61000-4-30 clause 5.4 (2 % of nominal)";
    /// Low voltage for longer than this is an undervoltage, not a dip.
    SUSTAINED_S = 60.0, "s", "IEEE 1159 (undervoltage: longer than 1 min)";
    /// Sustained voltage below this share of nominal.
    UNDERVOLTAGE = 0.90, "of nominal", "IEEE 1159 and EN 50160 (−10 %)";
    /// Sustained voltage above this share of nominal.
    OVERVOLTAGE = 1.10, "of nominal", "IEEE 1159 and EN 50160 (+10 %)";
    /// Voltage from which a motor or drive lacks none.
    NORMAL_VOLTAGE = 0.95, "of nominal", "IEC 60034-1 zone A (−5 %, from memory)";
    /// Deviation of the frequency, share of nominal.
    FREQUENCY = 0.01, "of nominal", "EN 50160 (±1 % for 99.5 % of the time)";
    /// Voltage drop at the motor while running.
    RUNNING_DROP = 0.05, "of nominal", "IEC 60364-5-52 annex G (5 %, from memory)";
    /// Voltage drop at the motor while starting.
    STARTING_DROP = 0.15, "of nominal", "common practice (motor starts keep 85 % at the terminals)";
    /// Growth of the supply impedance inside one record.
    IMPEDANCE_GROWTH = 1.25, "times", "this record (growth beyond five times the scatter), with 25 % as common practice";
    /// Voltage unbalance.
    UNBALANCE = 0.01, "of mean", "NEMA MG 1 clause 12.45 (1 %; derating beyond, from memory)";
    /// Negative-sequence voltage.
    UNBALANCE_IEC = 0.02, "of positive sequence", "EN 50160 (2 %)";
    /// Loop current at and below which a loop counts as open.
    LOOP_OPEN_MA = 3.6, "mA", "NAMUR NE 43 (fault at or below 3.6 mA)";
    /// Loop current from which an open loop counts as back.
    LOOP_LIVE_LOW_MA = 3.8, "mA", "NAMUR NE 43 (valid from 3.8 mA)";
    /// Loop current up to which the signal is valid.
    LOOP_LIVE_HIGH_MA = 20.5, "mA", "NAMUR NE 43 (valid to 20.5 mA)";
    /// Loop current at and above which a loop counts as shorted.
    LOOP_SHORT_MA = 21.0, "mA", "NAMUR NE 43 (fault at or above 21 mA)";
    /// Shortest run that is good for the motor.
    MIN_RUN_S = 60.0, "s", "trade journal for well drillers (at least 1 min)";
    /// Most starts in an hour.
    MAX_STARTS_PER_HOUR = 15.0, "1/h", "NEMA MG 10 table 2-3 (1 hp, two poles)";
    /// Current above which a motor counts as not turning up to speed, times rated.
    LOCKED_CURRENT = 2.5, "times rated", "NEMA MG 1 clause 10.37 (locked-rotor current is several times rated); 2.5 is common practice";
    /// Longest time a direct start may draw locked-rotor current.
    LOCKED_S = 2.0, "s", "common practice (locked-rotor current held beyond 2 s)";
    /// Rows in which a run must last for its median current to be that of running.
    LEAST_ROWS = 6.0, "rows", "reasoned (at most two rows hold start and stop; of six they are the lesser part, so that the median is a row in between)";
    /// Change of the load at the end of a run up to which it counts as steady.
    STEADY_LOAD = 0.10, "of the run's median", "common practice (a heat protection opens without any change of load before)";
    /// Current at which an overload relay must not trip.
    OVERLOAD_CURRENT = 1.05, "times rated", "IEC 60947-4-1 (no trip at 1.05 times, from memory)";
    /// True power below which a pump counts as unloaded, share of the same pump's loaded power.
    UNLOADED_POWER = 0.60, "of loaded power", "common practice (underload set at 60 to 70 % of running power)";
    /// Current below which a pump counts as unloaded where power was not recorded.
    UNLOADED_CURRENT = 0.75, "of loaded current", "common practice (underload set at 75 to 80 % of running current)";
    /// Distance from a switch point within which a pressure counts as that switch point.
    SWITCH_POINT = 0.12, "of declared differential", "common practice (plain pressure switches repeat to some 10 % of their differential)";
    /// Shortest wait after which a protection tries again.
    LEAST_WAIT_S = 10.0, "s", "common practice (protections wait some ten seconds to an hour before they try again)";
    /// A lamp that lights at most this long before a stop belongs to it.
    LAMP_BEFORE_S = 2.0, "s", "common practice (a panel lights its lamp as it opens the contactor)";
    /// The same, after a stop.
    LAMP_AFTER_S = 10.0, "s", "common practice (a flashing lamp is told from a steady one within some flashes)";
    /// Load at which a drive goes to sleep, above its no-flow load.
    IDLE_LOAD = 0.35, "of the way from no-flow to full load", "common practice (a drive sleeps from its no-flow load; a third of the way up it moves water)";
    /// Power of a drive that loses its water at full speed, share of what it took before.
    UNLOADED_DRIVE = 0.85, "of power before", "affinity laws and pump curve (at one speed, a centrifugal pump takes more power as the pressure falls, not less); 15 % as common practice";
    /// Gas in the tank below which it counts as short of air, share of what is declared.
    TANK_AIR = 0.50, "of declared gas", "Boyle's law against the site file; half the draw-down lost as common practice";
    /// Observed differential below which it counts as narrow, share of what is declared.
    DIFFERENTIAL = 0.70, "of declared differential", "site file; 30 % as common practice";
    /// Steady loss of pressure at rest above which a system does not count as tight.
    IDLE_LOSS_BAR_PER_MIN = 0.005, "bar/min", "common practice (a tight system holds its pressure; 0.3 bar in an hour)";
    /// Swing of pressure under constant-pressure control, share of the held pressure.
    HUNTING = 0.05, "of held pressure", "common practice (±5 % of the held pressure)";
    /// Pressure below the held pressure under constant-pressure control.
    PRESSURE_DEFICIT = 0.05, "of held pressure", "common practice (5 % below the held pressure)";
    /// Pressure of a transducer that moves less than this share of the differential is frozen.
    FROZEN = 0.02, "of the differential", "common practice";
    /// Longest hole between rows that is not called a gap.
    GAP_S = 3.0, "s", "this record (three usual row lengths, at least 3 s)";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_limit_names_its_source_and_unit() {
        for (name, bound) in ALL {
            assert!(bound.value.is_finite() && bound.value > 0.0, "{name}");
            assert!(!bound.unit.is_empty() && bound.source.len() >= "this record".len(), "{name}");
        }
    }
}
