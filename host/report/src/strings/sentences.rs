//! Headings, labels and sentences of the content.

use crate::format::{NBSP, count, counted, duration, fixed};
use pumpwitness_protocol::record::{
    BootReason, Channel, LampState, Mark, SensorState, Trigger, VoltageEvent,
};

macro_rules! words {
    ($($(#[$doc:meta])* $name:ident = $words:expr;)*) => {
        $($(#[$doc])* #[allow(missing_docs)] pub const $name: &str = $words;)*
    };
}

// Headings.
words! {
    PAGE_ONE = "Result";
    THE_RECORD = "Where, when and with what";
    HOW_WHOLE = "How whole the record is";
    STOP_LEDGER = "Why the pump stopped";
    RULED_OUT = "Ruled out by this record";
    NOT_KNOWN = "Not known";
    CAUSES_TITLE = "Causes, for and against";
    FINDINGS = "Findings";
    DAYS = "Days at a glance";
    RUNS = "Runs";
    STATISTICS = "Statistics";
    METHOD_TITLE = "Method";
    LIMITS = "Limits and their sources";
    RECORD = "The record and its settings";
    SITE_FILE = "The site as declared";
    CANNOT_SHOW_TITLE = "What this record cannot show";
    CAUTIONS_TITLE = "Cautions";
}

// Labels.
words! {
    SITE = "Site";
    FROM = "From";
    TO = "To";
    CLOCK = "Clock";
    PUMP = "Motor, supply";
    LOGGER = "Logger";
    SOURCE = "Source";
    FIRMWARE = "firmware";
    FILE = "File";
    HASH = "SHA-256";
    COVERED = "Recorded";
    ROWS = "Rows";
    GAPS = "Gaps";
    PAGES = "Memory pages";
    CLOCK_OFFSET = "Clock at download";
    CHANNELS = "Channels";
    INTEGRITY = "Integrity";
    SEEN = "Seen";
    JUDGED_AGAINST = "Judged against";
    CONFIDENCE = "Confidence";
    POINTS_TO = "Points to";
    POINTS_TO_SHORT = "points to";
    SPEAKS_FOR = "Speaks for";
    RESOLUTION = "Times";
    EVIDENCE = "evidence:";
    FOR = "For it";
    AGAINST = "Against it";
    NEXT_CHECKS = "What would settle it";
    NEXT_CHECK = "To check next:";
    KIND_OF_FILE = "Kind of file";
    MADE_FROM = "Made from";
    MARKS = "Marks of the logger";
    CAPTURE_BLOCKS = "Blocks of captures";
    STARTS_PER_DAY = "Starts per day of record";
    STARTS_PER_HOUR = "Most starts within 60 minutes";
    CAUSES = "causes, for and against";
    REASONS = "reasons";
    YES = "yes";
    NO = "no";
    NOT_STATED = "not stated";
}

// Columns.
words! {
    COLUMN_REASON = "Reason";
    COLUMN_NATURE = "Nature";
    COLUMN_STOPS = "Stops";
    COLUMN_SHARE = "Share";
    COLUMN_FROM = "From";
    COLUMN_TO = "To";
    COLUMN_END = "End of the cycle";
    COLUMN_NUMBER = "No.";
    COLUMN_START = "Start";
    COLUMN_LASTING = "Lasting";
    COLUMN_TIME = "Time";
    COLUMN_EVENT = "Event";
    COLUMN_DAY = "Day";
    COLUMN_STARTS = "Starts";
    COLUMN_RUNNING = "Running";
    COLUMN_OTHER_STOPS = "Stops other than ordinary control";
    COLUMN_PEAK = "Peak, A";
    COLUMN_CURRENT = "Running, A";
    COLUMN_STOPPED_BY = "Stopped by";
    COLUMN_JUDGED = "What was judged";
    COLUMN_LIMIT = "Limit";
    COLUMN_SOURCE = "Source";
    COLUMN_WHAT = "What";
    COLUMN_VALUE = "Value";
    MEAN = "mean";
    LEAST = "least";
    MOST = "most";
}

// Channels.
words! {
    CHANNEL_VOLTAGE = "voltage";
    CHANNEL_CURRENT = "current";
    CHANNEL_POWER = "active power";
    CHANNEL_PRESSURE = "pressure";
    CHANNEL_LOOP = "loop current";
    CHANNEL_FREQUENCY = "frequency";
    NO_CHANNEL = "none with values";
}

// Sentences.
words! {
    RECORD_BROKEN = "The record is not as the logger wrote it, or not whole";
    UNNAMED_SITE = "Site without a name";
    BEST_EXPLANATION = "What best explains the record";
    ALSO = "Also indicated";
    NO_VERDICT = "No cause is named: see the findings, and what is not known";
    TABLE = "imported table; nothing in it is signed";
    ARCHIVE = "archive downloaded from the logger, page by page checked";
    NO_GAPS = "none";
    NO_LOSSES = "No losses were met while reading the file.";
    LOSSES = "Losses met while recording or reading";
    FRAMES_LOST = "converter frames lost by the logger";
    RECORDS_LOST = "records lost by the logger";
    CAPTURES_DROPPED = "captures not kept because of the hourly limit";
    PAGES_DAMAGED = "pages found damaged by the logger when it started";
    NO_STOPS = "No stop was seen in this record.";
    NO_RUNS = "No run was seen in this record.";
    STOP_NOT_SEEN = "stop not seen (gap or end of record)";
    NOTHING_RULED_OUT = "Nothing: the record contradicts none of the causes looked for.";
    ALSO_RULED_OUT = "Also contradicted";
    CANNOT_SPEAK_ABOUT = "The record cannot speak about";
    FURTHER_LIMITS = "More:";
    CANNOT_SHOW = "what this record cannot show";
    CAUTION_SHORT = "A finding is no clearance to work, to restart or to reset a protection. Work \
        on mains and pressure is for a qualified person, after isolating and proving dead; local \
        codes and licensed practice come first. The logger is no protective device.";
    NO_FINDINGS = "Nothing was found that is worth reporting.";
    FINDINGS_LEAD = "Gravest first. A finding says what was observed; why it happened is weighed \
        under “Causes, for and against”.";
    NO_PICTURE = "No picture:";
    CAPTURE = "Captured by the logger.";
    PART_SHOWN = " The picture shows a part of it.";
    UNKNOWN_IN_GAPS = "What happened inside the gaps of the record.";
    SHORT_RECORD = "Anything that takes a day or longer to show: the record is shorter than one day.";
    DAYS_LEAD = "One band a day by the site’s clock, all days on the same scales: when the pump \
        ran, the pressure, the voltage, and stops other than ordinary control.";
    DAYS_LEGEND = "Dark: running. Band: smallest to largest value; line: mean; dotted: as declared. \
        Hatched: nothing recorded.";
    DAYS_CAPTION = "The same days in figures";
    DAYS_CUT = "The first 92 days in figures; later days are in the record, not in this report";
    LIMITS_LEAD = "Every limit has a source. A limit set in the site file takes the place of the \
        general one. “From memory” marks a figure of a standard that was not looked up in the \
        standard’s own text; “common practice” one that has no single source.";
    LIMITS_USED = "Limits that findings of this report were judged against";
    LIMITS_GENERAL = "All general limits";
    CAUSES_LEAD = "Each cause is weighed by the findings that speak for and against it. Missing \
        evidence lowers the confidence. Confidence runs from 0 to 1 and orders the causes; it is \
        this program’s weighing, not a probability.";
    GAPS_CAPTION = "Stretches without rows";
    LOG_CAPTION = "The logger’s own log";
    RUNS_CAPTION = "Runs in time order";
    HASH_MEANS = "The SHA-256 value identifies the file: whoever holds the same file computes the \
        same value. It shows whether the file was changed after this report, not whether the \
        sensors were fitted right.";
    SITE_FILE_CARRIED = "As carried in the record, in one set of units. The owner declared it; the \
        record does not prove it.";
    SITE_FILE_GIVEN = "As given when this report was made, in one set of units. The owner declared \
        it; the record does not prove it.";
    TABLE_LIMITS = "The record is a table made by other means. How its values were measured, by \
        what instrument and with what uncertainty, is not known here, and nothing shows whether it \
        was edited.";
    NO_CAPTURES = "There are no captures of single half cycles: events shorter than a row show only \
        as far as the row’s smallest and largest values tell.";
    ONE_PHASE = "One of three phases was recorded: unbalance and a lost phase show only as far as \
        they show in that phase.";
}

// The comparison.
words! {
    BEST_EXPLANATION_SHORT = "Best explanation";
    COUNTED_IN_DAYS = "Counted in whole days of the record; rates a day";
    MEDIANS = "The value spoken of in each record, and the difference of the two";
    TENTHS = "Tenth point · median · nine-tenths point";
    NO_BOUND = "no bound";
}

/// Severity and how often.
pub fn times_a_day(severity: &str, count_of: u32, per_day: &str) -> String {
    format!("{severity}, {} ({per_day} a day)", counted(count_of as usize, "time", "times"))
}

/// How a finding stands that was not seen again.
pub fn chance_unseen(stands: &str, chance: &str) -> String {
    format!("{stands} (chance of none if nothing had changed: {chance})")
}

/// Always true of such a record.
pub const ALWAYS_OPEN: &[&str] = &[
    "Whether the sensors were fitted right, and whether somebody touched them or the installation \
     during the record.",
    "Where a disturbance of the supply came from. A dip that this pump did not make may come from \
     the utility or from another machine behind the same meter.",
    "Flow, water level and temperatures: they were not measured. What is said about them follows \
     from pressure, current and power.",
    "Surges shorter than half a cycle, and harmonics.",
    "What happened before the record began and after it ended.",
    "Who is liable. That is for people to decide.",
];

/// How it was done.
pub const METHOD: &[&str] = &[
    "The program reads the rows once, finds the runs of the pump from its current (or its power, \
     where no current was recorded), and learns this pump’s usual levels and noise from the record \
     by robust statistics. It then judges against the nameplate and the site file, standards, and \
     common practice; every limit is named with its source.",
    "Voltages and currents are r.m.s. values. Where the source kept them, smallest and largest \
     values are those over one cycle, renewed every half cycle (IEC 61000-4-30). Pressures are \
     gauge pressures. 1 bar = 100 kPa = 14.50 psi; 1 US gallon = 3.785 L.",
    "Every stop gets one reason from what went before and after it. A start that follows a \
     protective stop by a wait that repeats is taken for an automatic restart: the evenness is what the \
     record shows.",
    "Pictures sum the rows up to the width of the drawing; the smallest and largest value of every \
     step are kept, so that no event is lost. The values behind each picture can be unfolded on a \
     screen; they are left out on paper.",
    "Measured figures carry their uncertainty where it is known (±, see Uncertainty). Where a value \
     lies within its uncertainty of the limit, that is said: the two cannot be told apart. The \
     length of a row bounds how finely a moment can be told.",
];

/// Cautions.
pub const CAUTIONS: &[&str] = &[
    "Mains voltage and stored pressure kill. Opening a panel, fitting and removing sensors, and the \
     checks suggested here are work for a qualified person.",
    "Isolate, secure against switching on, and prove dead with a tester that is itself proved on a \
     known source before and after. Relieve pressure and see the gauge at zero.",
    "A pump at rest may start at any moment: a pressure switch, a float or a protection restarts it.",
    "No finding, reading or lamp shows that a circuit is dead. The logger is no protective device.",
    "Before a protection is reset, the reason for its action has been found.",
    "Local codes, the owner’s safety rules and licensed practice come first, and hold where they \
     differ from this report.",
];

/// Under the title.
pub fn subtitle(stretch: &str, length: &str) -> String {
    format!("{stretch} ({length})")
}

/// At the foot.
pub fn foot(version: &str, when: &str, offset: &str) -> String {
    format!("Made by pumpwitness {version} on {when} ({offset}).")
}

/// The file's hash at the foot of a page.
pub fn hash_line(sha256: &str) -> String {
    format!("SHA-256 {sha256}")
}

/// What is folded away on a screen and too long for paper.
pub fn not_printed(summary: &str) -> String {
    format!("{summary}: not printed; in the HTML report and in the exported tables.")
}

/// Confidence with a capital.
pub fn capital_confidence(words: &str) -> String {
    crate::format::capital(words)
}

/// A change of the clock inside the record.
pub fn offset_change(offset: &str, when: &str) -> String {
    format!("; {offset} from {when}")
}

/// Motor and supply as declared.
pub fn motor(current: &str, volts: &str, hertz: &str, phases: u8) -> String {
    let phases = if phases == 3 { "three phases" } else { "one phase" };
    format!("{current} rated; {volts}{NBSP}V, {hertz}{NBSP}Hz, {phases} (as declared)")
}

/// How many gaps.
pub fn gaps(number: usize, total: &str, longest: &str) -> String {
    if number == 1 {
        return format!("1, lasting {total}");
    }
    format!("{}, together {total}, the longest {longest}", count(number))
}

/// Pages of an archive.
pub fn pages(good: u32, damaged: u32) -> String {
    let damaged = match damaged {
        0 => "none damaged".to_owned(),
        n => format!("{} failed their check and are left out", count(n as usize)),
    };
    format!("{} read, {damaged}", count(good as usize))
}

/// Host time less logger time at download.
pub fn clock_offset(offset_ms: i64) -> String {
    let seconds = offset_ms.unsigned_abs() as f64 / 1000.0;
    match offset_ms {
        0 => "logger and computer agreed".to_owned(),
        ..0 => format!("logger ahead of the computer by {}", duration(seconds)),
        _ => format!("logger behind the computer by {}", duration(seconds)),
    }
}

/// Over the stop ledger.
pub fn ledger_caption(stops: usize, runs: usize, per_day: &str, per_hour: &str) -> String {
    format!(
        "{} in {}; {per_day} starts a day, at most {per_hour} within an hour",
        counted(stops, "stop", "stops"),
        counted(runs, "run", "runs")
    )
}

/// Starts that follow protective stops evenly. That is what the record shows; that a control made
/// them by itself is what it is taken for.
pub fn even_restarts(number: usize, wait_s: Option<f64>) -> String {
    let starts = counted(number, "start", "starts");
    let wait = wait_s.map_or_else(String::new, |wait| format!(" of {}", duration(wait.round())));
    format!(
        "{starts} followed a stop by protection after an even wait{wait}, as automatic restarts do."
    )
}

/// Runs whose stop was not seen.
pub fn unseen_stops(number: usize) -> String {
    let runs = counted(number, "run", "runs");
    format!("The stop of {runs} was not seen (gap or end of record).")
}

/// Channels that were not recorded.
pub fn missing_channels(names: &str) -> String {
    format!("Not recorded: {names}. Causes that need it are open, not excluded.")
}

/// How finely rows tell.
pub fn row_limits(row: &str) -> String {
    format!(
        "Anything finer than the rows: half of them sum up {row} or less, the rest longer stretches."
    )
}

/// Uncertainty of the moments of a finding.
pub fn resolution(row: &str) -> String {
    format!("rows of {row} bound how finely moments are told")
}

/// Nothing to draw.
pub fn no_channel_to_draw() -> &'static str {
    "none of the channels that would show it was recorded."
}

/// How often and when; without a number it holds for the record as a whole.
pub fn seen(times: Option<usize>, stretch: &str) -> String {
    match times {
        Some(times) => format!("{}, {stretch}", counted(times, "time", "times")),
        None => format!("over the record, {stretch}"),
    }
}

/// Times the rated current.
pub fn times_rated(times: &str, amperes: &str) -> String {
    format!("{times} times rated current ({amperes})")
}

/// Overview of occurrences.
pub fn overview_title(kind: &str) -> String {
    format!("When it happened: {}", kind.to_lowercase())
}

/// What the overview shows.
pub fn overview_description(number: usize, stretch: &str) -> String {
    format!("{} over the record, {stretch}", counted(number, "occurrence", "occurrences"))
}

/// Under the picture of a moment.
pub fn moment_caption(when: &str, length_s: f64) -> String {
    if length_s <= 0.0 {
        return format!("{when}.");
    }
    format!("{when}, lasting {}.", duration(length_s))
}

/// Name of the picture of a moment.
pub fn moment_title(kind: &str, panes: &[&str], when: &str) -> String {
    format!("{kind}: {} over time, {when}", panes.join(", ").to_lowercase())
}

/// What the picture of a moment shows.
pub fn moment_description(ranges: &str, runs: usize, whole: bool) -> String {
    let what =
        if whole { "The whole record." } else { "The marked stretch A is the moment spoken of." };
    format!("{what} {} in the picture. {ranges}.", counted(runs, "run", "runs"))
}

/// Over the values behind a picture.
pub fn values_caption(when: &str, step_s: f64) -> String {
    format!("{when}, in steps of {}", duration(step_s))
}

/// Name of the picture of a capture.
pub fn capture_title(kind: &str, when: &str) -> String {
    format!("{kind}: half-cycle values of voltage, current and power, {when}")
}

/// What the picture of a capture shows.
pub fn capture_description(voltage: &str, current: &str) -> String {
    format!("Voltage {voltage}; current {current}.")
}

/// Under the picture of a capture.
pub fn capture_caption(trigger: &str, when: &str) -> String {
    format!(
        " {trigger}, {when}. Each point is the value over one cycle, renewed every half cycle. \
         Shaded: the moment spoken of."
    )
}

/// Over the values of a capture.
pub fn capture_values(when: &str) -> String {
    format!("Half-cycle values, {when}")
}

/// What set a capture off.
pub fn trigger(trigger: Trigger) -> &'static str {
    match trigger {
        Trigger::Start => "Set off by a start",
        Trigger::Dip => "Set off by a voltage dip",
        Trigger::Swell => "Set off by a voltage swell",
        Trigger::Interruption => "Set off by an interruption",
        Trigger::SensorLoss => "Set off by the loss of the pressure signal",
    }
}

/// Over a list of occurrences.
pub fn occurrences_caption(shown: usize, listed: usize, counted_as: usize) -> String {
    let of = if counted_as == listed {
        String::new()
    } else {
        format!("; counted {}", count(counted_as))
    };
    if shown == listed {
        return format!("All {} in time order{of}", counted(listed, "occurrence", "occurrences"));
    }
    format!("The first {} of {} occurrences in time order{of}", count(shown), count(listed))
}

/// Fold of occurrences.
pub fn occurrences_summary(number: usize) -> String {
    match number {
        1 => "The occurrence".to_owned(),
        n => format!("All {} occurrences", count(n)),
    }
}

/// A caption with how many of how many.
pub fn listed(what: &str, shown: usize, all: usize) -> String {
    if shown == all {
        what.to_owned()
    } else {
        format!("{what}: the first {} of {}", count(shown), count(all))
    }
}

/// Fold of the logger's log.
pub fn log_summary(number: usize) -> String {
    format!("The logger’s own log: {}", counted(number, "entry", "entries"))
}

/// Name of a day's picture.
pub fn day_title(day: &str) -> String {
    format!("{day} at a glance")
}

/// A day in a few words.
pub fn day_summary(starts: &str, running: &str) -> String {
    format!("{starts} · {running} running")
}

/// Letters used in the days.
pub fn days_letters(letters: &str) -> String {
    format!(" Signs: {letters}. Square: protection; diamond: supply; dashed ring: unexplained.")
}

/// Fold of all runs.
pub fn all_runs(number: usize) -> String {
    format!("All {}", counted(number, "run", "runs"))
}

/// Runs in a sentence.
pub fn runs_summary(number: &str, total: &str, median: &str, least: &str, most: &str) -> String {
    if number == "1" {
        return format!("1 run of {total}.");
    }
    format!(
        "{number} runs, together {total}; half of them last {median} or less, the shortest {least}, \
         the longest {most}."
    )
}

/// A start that was automatic.
pub fn restarted(start: &str) -> String {
    format!("{start} (after an even wait)")
}

/// Column of start pressures.
pub fn column_start_pressure(unit: &str) -> String {
    format!("At start, {unit}")
}

/// Column of stop pressures.
pub fn column_stop_pressure(unit: &str) -> String {
    format!("At stop, {unit}")
}

/// The clock was set.
pub fn clock_set(before: &str) -> String {
    format!("Clock set; it had shown {before}")
}

/// A voltage event in the log.
pub fn voltage_event(event: VoltageEvent, lasting: &str, extreme: &str, open: bool) -> String {
    let (what, to) = match event {
        VoltageEvent::Dip => ("Dip", "down to"),
        VoltageEvent::Swell => ("Swell", "up to"),
        VoltageEvent::Interruption => ("Interruption", "down to"),
    };
    let open = if open { "; its end was not seen" } else { "" };
    format!("{what} {to} {extreme}, lasting {lasting}{open}")
}

/// A watched lamp in the log.
pub fn lamp(number: u8, label: Option<&str>, state: LampState) -> String {
    let label = label.map_or_else(String::new, |label| format!(" “{label}”"));
    let state = match state {
        LampState::Off => "off".to_owned(),
        LampState::On => "on".to_owned(),
        LampState::Flashing(rate) => {
            format!("flashing {} times a second", fixed(f64::from(rate) / 100.0, 2))
        }
    };
    format!("Lamp {number}{label} {state}")
}

/// Any other mark in the log.
pub fn mark(mark: &Mark) -> String {
    match mark {
        Mark::Boot { boot, reason, firmware: [major, minor, patch] } => {
            let reason = match reason {
                BootReason::PowerOn => "supply came on",
                BootReason::Watchdog => "restarted by its watchdog",
                BootReason::Fault => "restarted after a program fault",
                BootReason::Request => "restarted on request",
            };
            format!("Logger started ({reason}), start {boot}, firmware {major}.{minor}.{patch}")
        }
        Mark::PowerFailing { supply_mv } => {
            format!("Logger’s own supply failing at {} V", fixed(f64::from(*supply_mv) / 1000.0, 2))
        }
        Mark::Sensor { channel, state } => {
            let channel = match channel {
                Channel::Voltage => "Voltage",
                Channel::Current => "Current",
                Channel::Transducer => "Pressure signal",
                Channel::TransducerSupply => "Supply of the transducer",
            };
            let state = match state {
                SensorState::Good => "within its range again",
                SensorState::Low => "below its valid range",
                SensorState::High => "above its valid range",
            };
            format!("{channel} {state}")
        }
        Mark::Settings { digest } => {
            let digest = u64::from_be_bytes(*digest);
            format!("Settings put in force, SHA-256 begins {digest:016x}")
        }
        Mark::Calibration { digest } => {
            let digest = u64::from_be_bytes(*digest);
            format!("Calibration put in force, SHA-256 begins {digest:016x}")
        }
        Mark::Armed => "Armed: recording counts from here".to_owned(),
        Mark::Snapshot => "Download taken".to_owned(),
        Mark::FramesLost { frames } => format!("{} converter frames lost", count(*frames as usize)),
        Mark::CapturesDropped { captures } => {
            format!(
                "{} captures not kept because of the hourly limit",
                count(usize::from(*captures))
            )
        }
        Mark::PagesDamaged { pages } => {
            format!("{} pages found damaged", count(usize::from(*pages)))
        }
        Mark::RecordsLost { records } => format!("{} records lost", count(*records as usize)),
        Mark::Fault { place } => format!("Program fault at {place:#010x}"),
        Mark::Seal(seal) => format!("Sealed up to sector {}", seal.statement.sector),
        Mark::ClockCompared { ahead_ms: None, .. } => {
            "Clock chip stopped or not answering".to_owned()
        }
        Mark::ClockCompared { ahead_ms: Some(ms), followed: false } => {
            format!("Clock and clock chip differ by {} s", fixed(f64::from(*ms) / 1000.0, 1))
        }
        Mark::ClockSet { .. }
        | Mark::ClockCompared { followed: true, .. }
        | Mark::Voltage { .. }
        | Mark::Lamp { .. }
        | Mark::Health { .. } => String::new(),
    }
}
