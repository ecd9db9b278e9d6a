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
    /// What it bounds, in words; a leading space and a full stop stand round it.
    pub what: &'static str,
}

macro_rules! limits {
    ($($(#[doc = $doc:literal])+ $name:ident = $value:expr, $unit:literal, $source:literal;)*) => {
        $($(#[doc = $doc])+ pub const $name: Bound =
            Bound { value: $value, unit: $unit, source: $source, what: concat!($($doc),+) };)*
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
    /// Voltage from which a contactor must hold in.
    HOLD_IN = 0.75, "of nominal", "IEC 60947-4-1 (contactors on alternating voltage drop out between 75 and 20 %, from memory)";
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
    /// Fewest starts that show a growth of the supply impedance.
    GROWTH_STARTS = 6.0, "starts", "reasoned (a median of two at the least at either end, and two in between)";
    /// Growth of the supply impedance inside one record.
    IMPEDANCE_GROWTH = 1.25, "times", "this record (growth beyond four times its uncertainty), with 25 % as common practice";
    /// Voltage drop that a growth of the supply impedance must add under the current it was taken from.
    VOLTAGE_TOLD = 0.005, "of nominal", "IEC 61000-4-30 class S (uncertainty of the voltage, 0.5 %, from memory)";
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
    /// Rows that must fit into what a finding rests on.
    ROWS_INSIDE = 2.0, "rows", "reasoned (of two rows in a row one lies wholly inside)";
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
    /// Rise or fall of the pressure that tells a run or a rest where only the pressure was recorded.
    PRESSURE_RISE = 0.08, "of declared differential", "common practice (beyond the noise of a transducer and the scatter of a switch)";
    /// Distance from the usual turning point from which a turn belongs to the run around it.
    PRESSURE_TURN = 0.3, "of the usual rise", "reasoned (a switch acts at its two points only)";
    /// Load at which a drive goes to sleep, above its no-flow load.
    IDLE_LOAD = 0.35, "of the way from no-flow to full load", "common practice (a drive sleeps from its no-flow load; a third of the way up it moves water)";
    /// Power of a drive that loses its water at full speed, share of what it took before.
    UNLOADED_DRIVE = 0.85, "of power before", "affinity laws and pump curve (at one speed, a centrifugal pump takes more power as the pressure falls, not less); 15 % as common practice";
    /// Voltage of a drive that loses its water, share of that under load.
    SAME_VOLTAGE = 0.95, "of voltage under load", "reasoned (at a voltage lower by 5 % a drive turns slower by no more, and by the affinity laws takes 14 % less power: about what a loss of water is told by)";
    /// Gas in the tank below which it counts as short of air, share of what is declared.
    TANK_AIR = 0.50, "of declared gas", "Boyle's law against the site file; half the draw-down lost as common practice";
    /// Observed differential below which it counts as narrow, share of what is declared.
    DIFFERENTIAL = 0.70, "of declared differential", "site file; 30 % as common practice";
    /// Fewest stops at the declared cut-out beside which more stops lower down are not laid to the switch.
    BEYOND_SWITCH = 3.0, "stops", "reasoned (a switch that sticks on once is chance, twice a coincidence)";
    /// Fewest stops out of the ordinary with which a record is not called healthy.
    ODD_STOPS = 3.0, "stops", "common practice (one is chance, two a coincidence)";
    /// Steady loss of pressure at rest above which a system does not count as tight.
    IDLE_LOSS_BAR_PER_MIN = 0.005, "bar/min", "common practice (a tight system holds its pressure; 0.3 bar in an hour)";
    /// Swing of pressure under constant-pressure control, share of the held pressure.
    HUNTING = 0.05, "of held pressure", "common practice (±5 % of the held pressure)";
    /// Pressure below the held pressure under constant-pressure control.
    PRESSURE_DEFICIT = 0.05, "of held pressure", "common practice (5 % below the held pressure)";
    /// Pressure of a transducer that moves less than this share of the differential is frozen.
    FROZEN = 0.02, "of the differential", "common practice";
    /// Flow below which a pump counts as giving too little.
    YIELD_FLOW = 0.75, "of rated flow", "nameplate; 25 % as common practice (rated flows are good to some 25 %)";
    /// Loaded power below which a motor counts as lightly loaded.
    LIGHT_LOAD = 0.88, "of the nameplate's power", "US DOE fact sheet on motor load (motors run at 50 to 100 % of their load); pumps are driven near their rating, common practice";
    /// Fall of the loaded power over the record.
    POWER_FALL = 0.12, "of early power", "common practice (beyond what voltage and level do from day to day)";
    /// Shortfall of a drive, all runs together.
    SHORTFALL_S = 60.0, "s", "common practice (a minute of full speed is no start-up)";
    /// Shortfall of pressure inside one run.
    CATCH_UP_S = 10.0, "s", "common practice (a drive catches up within seconds)";
    /// Change of the running current over the record.
    CURRENT_CHANGE = 0.1, "of early current", "this record (four times its scatter), at least 10 % as common practice";
    /// Shortest run whose current is judged.
    CURRENT_RUN_S = 5.0, "s", "common practice (starting current is over well within 2 s)";
    /// Delay of a start by a pressure switch.
    NO_DRAW_S = 15.0, "s", "common practice (a pressure switch acts within a second)";
    /// Delay of a waking drive.
    NO_DRAW_DRIVE_S = 60.0, "s", "common practice (wake-up delays of drives are set in seconds)";
    /// Scatter of pauses below which they are one fixed wait.
    SAME_PAUSE = 0.05, "of their length", "reasoned (timers repeat to a per cent and cooling to some; gaps of a contact that fails by chance scatter by as much as they last)";
    /// Fewest pauses that show a fixed wait where nothing else shows a protection.
    EVEN_PAUSES = 6.0, "pauses", "reasoned (of gaps that scatter by as much as they last, six lie within a few per cent of each other less than once in ten thousand times)";
    /// Longest wait of a protection.
    LONGEST_WAIT_S = 3600.0, "s", "common practice (restart timers and cooling motors take minutes, an hour at most)";
    /// Rise and fall of the pressure at the starts, against those at the stops, from which the tank was empty at the starts.
    SIDES_APART = 2.0, "times", "reasoned (between cut-in and cut-out a centrifugal pump's flow differs by less than half: its curve)";
    /// Fewest runs the gas of a tank is judged by.
    TANK_RUNS = 5.0, "runs", "reasoned (a median of ten slopes, two a run)";
    /// Fewest short runs in a row that make a group.
    CYCLING_GROUP = 4.0, "runs", "common practice (one short run is a tap)";
    /// Time at shut-off above the cut-out.
    NO_FLOW_S = 15.0, "s", "common practice (no-flow protections act within 2 to 10 s)";
    /// Time at shut-off no higher than the cut-out.
    NO_FLOW_AT_CUT_OUT_S = 60.0, "s", "common practice (what is drawn may equal what the pump gives for a while)";
    /// Drop of the pressure within a second of the stop.
    LEAK_BACK = 0.1, "of declared differential", "common practice";
    /// Pressure above the highest declared one.
    PRESSURE_SPIKE = 1.5, "times", "common practice (fittings are tested at 1.5 times their pressure)";
    /// Length of a run that counts as long.
    LONG_RUN = 8.0, "times usual", "common practice";
    /// Least length of such a run.
    LONG_RUN_S = 1800.0, "s", "common practice (half an hour)";
    /// Share of a run for which the reading may stand still before a switch stops it.
    STANDING = 0.35, "of the run", "reasoned (by Boyle's law the rise slows towards the cut-out only by the squared ratio of the absolute pressures, to a half at the usual settings, so less than a third of a run lies in the last 2 % of the band)";
    /// Fewest rests in a row that must lose pressure.
    LOSS_RESTS = 3.0, "rests", "reasoned (one rest may be a tap left open, two a coincidence)";
    /// Share of the time judged in rests that the longer ones hold.
    LONGER_RESTS = 0.75, "of the time", "reasoned (three quarters of the time are the larger part whichever way it is cut, and leave out the many short rests between draws)";
    /// Shortest time those rests are judged over together.
    LOSS_JUDGED_S = 3600.0, "s", "common practice";
    /// Shortest time from the first to the last of them.
    LOSS_SPAN_S = 21600.0, "s", "common practice (nobody draws water without a pause for longer)";
    /// The same where rests are too short to look for quiet minutes in them.
    NEVER_HELD_S = 72000.0, "s", "common practice (watering and the busy hours of a day are over within 20 h)";
    /// Shortest rest judged as a whole that counts as holding its pressure.
    HOLDING_S = 30.0, "s", "common practice";
    /// Time for which a drive that feeds a small draw may lack pressure.
    LACKING = 0.1, "of the time", "common practice";
    /// Resting time below which a pump hardly rests.
    HARDLY_RESTS = 0.02, "of the time", "common practice (a drive that sleeps does so for minutes)";
    /// Jump of the pressure within two seconds of a start.
    TANK_JUMP = 0.15, "of declared differential", "common practice";
    /// Movement of both switch points together.
    DRIFT = 0.1, "of declared differential", "this record (four times its scatter), at least 10 % as common practice";
    /// Shortest record in which the drift of a transducer shows.
    DRIFT_DAYS = 2.0, "days", "common practice (a drift within one day is told from the day's warmth by the next)";
    /// Change of the load from which a drive goes to sleep.
    DRIFT_LOAD = 0.05, "of the no-flow load", "this record (four times its uncertainty), at least 5 % as common practice";
    /// Running current below which the clamp is suspected.
    CLAMP_LOW = 0.2, "times rated", "common practice (a wrong ratio is off by a factor of 5 and more)";
    /// Running current above which the clamp is suspected.
    CLAMP_HIGH = 3.0, "times rated", "common practice (the same upwards; a running motor does not draw so much)";
    /// Shortest run that must move the pressure.
    FROZEN_S = 10.0, "s", "common practice";
    /// Least supply of a 4-20 mA loop.
    LOOP_SUPPLY_V = 10.0, "V", "common practice (10 V at a two-wire transmitter)";
    /// Least supply of a ratiometric transducer.
    RATIO_SUPPLY_V = 4.75, "V", "common practice (5 V less 5 %)";
    /// Fewest tops of the pressure that show a ceiling where no load was recorded.
    STANDING_TOPS = 8.0, "tops", "reasoned (if no water is drawn after every second stop, chance lets eight stand less than once in 200 times)";
    /// Change of the pressure after a top up to which the reading counts as standing.
    STANDS = 0.05, "of the rise before", "common practice (less than any draw that ran the pump before)";
    /// Scatter of tops that are one value and not a switch's.
    SAME_TOP = 0.005, "of declared differential", "common practice (plain pressure switches repeat to some per cent of their differential, a signal's limit to its noise)";
    /// Time for which a reading must stand at a ceiling.
    CEILING_S = 1800.0, "s", "common practice (half an hour)";
    /// The same as a share.
    CEILING_SHARE = 0.5, "of the running time", "reasoned (more often there than anywhere else)";
    /// Half of the width that counts as one value.
    ONE_VALUE = 0.006, "of held pressure", "common practice (noise and steps of transducers, 0.5 % and some)";
    /// Time for which the load must have been another meanwhile.
    OTHER_LOAD_S = 300.0, "s", "common practice";
    /// Step of the clock.
    CLOCK_STEP_S = 1.0, "s", "common practice (smaller steps are ordinary setting of a good clock)";
    /// Loop faults nearer than this are one.
    LOOP_JOIN_S = 5.0, "s", "reasoned (a two-wire transmitter takes some seconds to come up after an interruption, 5 s by common practice: a contact that opens again before has not given a reading in between)";
    /// Stretches of low or high voltage nearer than this are one.
    SUSTAINED_JOIN_S = 180.0, "s", "EN 50160 (3 min tell short from long; from memory)";
    /// Time after a stop in which the pressure is not judged.
    SETTLE_REST_S = 3.0, "s", "common practice (the water column comes to rest)";
    /// Share of a rest whose slowest loss stands for it.
    QUIET_SHARE = 0.2, "of a rest", "common practice (nobody draws water for a fifth of a rest)";
    /// Longest row of a logger that joins quiet intervals.
    MERGED_S = 60.0, "s", "the recorder of this project (quiet intervals are merged up to 60 s at most: shared-protocol)";
    /// Shortest rest whose loss is judged as a whole.
    WHOLE_S = 6.0, "s", "reasoned (six buckets of a second tell a slope from noise)";
    /// Pauses shorter than this do not end a run.
    FUSE_S = 0.45, "s", "common practice (a contactor that drops out and closes again within half a second)";
    /// Time after a start until the motor counts as up to speed.
    SETTLE_RUN_S = 2.0, "s", "common practice (a direct start takes well under 2 s)";
    /// Turning points farther apart do not belong together.
    SWING_APART_S = 30.0, "s", "common practice (a pressure loop that hunts does so within seconds)";
    /// Fewest turning points of a swinging.
    SWING_TURNS = 7.0, "turning points", "reasoned (three full cycles and the point that begins them)";
    /// Interval from which a turning point comes too late to belong to the others.
    SWING_LATE = 1.75, "half periods", "reasoned (nearer to two half periods than to one, with some scatter)";
    /// Share of a period in which the pressure of a loop that hunts falls, at least.
    SWING_FALL = 0.1, "of the period", "reasoned (a loop slows the pump as gradually as it speeds it up; water drawn from a small tank may make the fall several times as fast as the rise, hardly nine times)";
    /// Start of a run not looked at for swinging.
    SWING_SETTLE_S = 4.0, "s", "common practice (the ramp of a drive)";
    /// Power a nameplate current stands for.
    POWER_FACTOR = 0.85, "of volts times amperes", "common practice (small motors at rated load)";
    /// Longest rows that show how runs begin and end.
    FINE_ROW_S = 3.0, "s", "common practice (protections act within 2 to 10 s)";
    /// Confidence below which a cause counts as contradicted by the record.
    RULED_OUT_BELOW = 0.15, "confidence", "our choice (half of what would name it)";
    /// Shortest record that rules anything out.
    RULED_OUT_H = 20.0, "h", "common practice (the busy and the quiet hours of a day, short of a few)";
    /// Confidence at most in one of two causes that look alike in such a record.
    ALIKE = 0.75, "confidence", "our choice (three to one, where trade and site must decide)";
    /// Confidence from which a cause is named.
    NAMED_FROM = 0.3, "confidence", "our choice (less than one in three is no allegation)";
    /// Voltage from which a high current is not laid to the voltage.
    CURRENT_VOLTAGE = 0.93, "of nominal", "IEC 60034-1 zones A and B (−5 and −10 %, from memory), between them";
    /// Scatter among fixed waits.
    WAIT_SCATTER_S = 1.5, "s", "reasoned (a row of one second and its jitter)";
    /// Shortest fixed wait.
    WAIT_LEAST_S = 5.0, "s", "common practice (shorter ones are a chattering contact)";
    /// Distance from which a value does not belong to a learned level.
    SIGMAS = 4.0, "standard deviations", "normal distribution (one in 16 000 lies farther)";
    /// Scatter of the thermal state over stops by one temperature switch.
    HEAT_SCATTER = 0.15, "of the level", "common practice (temperature switches open within some 5 K of 60 to 100 K above their surroundings, and the model is one of first order)";
    /// Share of other runs that may end hotter.
    HEAT_HOTTER = 0.05, "of other runs", "reasoned (the model takes one current for a whole run)";
    /// Fewest stops of a pattern.
    HEAT_STOPS = 3.0, "stops", "common practice (a single stop proves nothing)";
    /// Time without load before a stop that counts as dry.
    DRY_S = 1.0, "s", "common practice (dry-run protections wait 2 to 10 s; half of the shorter)";
    /// Time between a voltage event and the failing of the logger with it.
    TOGETHER_S = 3.0, "s", "the hardware of this project (its capacitor carries the logger for some tenths of a second; the rest is the supply going down)";
    /// Longest hole between rows that is not called a gap.
    GAP_S = 3.0, "s", "this record (three usual row lengths, at least 3 s)";
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fmt::Write;

    #[test]
    fn every_limit_names_its_source_and_unit() {
        for (name, bound) in ALL {
            assert!(bound.value.is_finite() && bound.value > 0.0, "{name}");
            assert!(!bound.unit.is_empty() && bound.source.len() >= "this record".len(), "{name}");
            assert!(bound.what.trim().ends_with('.'), "{name}");
        }
    }

    fn table() -> String {
        let mut text = String::from(
            "# Limits\n\nEvery limit of the analysis, and where it comes from. A limit in the site file \
             takes the place of the general one. \"From memory\" marks a figure of a standard that \
             was not looked up in the standard's own text; \"common practice\" one without a single \
             source; \"reasoned\" one that follows from the arithmetic named.\n\nThis table is \
             written from `src/limits.rs` by its test (`PUMPWITNESS_WRITE=1 cargo test -p \
             pumpwitness-analysis limits`), which fails when the two differ.\n\n| limit | value | \
             unit | source | name |\n|---|---|---|---|---|\n",
        );
        for (name, bound) in ALL {
            let what = bound.what.trim().trim_end_matches('.');
            let _ = writeln!(
                text,
                "| {what} | {} | {} | {} | `{name}` |",
                bound.value, bound.unit, bound.source
            );
        }
        text
    }

    /// The table for readers says what the program does.
    #[test]
    fn the_table_for_readers_is_up_to_date() {
        // Cargo runs tests in the folder of their crate.
        let path = "LIMITS.md";
        if std::env::var_os("PUMPWITNESS_WRITE").is_some() {
            std::fs::write(path, table()).unwrap();
        }
        let written = std::fs::read_to_string(path).unwrap();
        assert_eq!(written, table(), "{path} is stale: see its own heading for how it is written");
    }
}
