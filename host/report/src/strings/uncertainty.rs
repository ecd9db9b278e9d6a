//! Words of the uncertainty.

/// Heading.
pub const UNCERTAINTY: &str = "Uncertainty";
/// Under it.
pub const LEAD: &str = "A figure followed by ± carries its expanded uncertainty with coverage \
    factor k = 2: for about 19 of 20 such readings the true value lies no farther away. It is the \
    root of the sum of the squares of the parts below, times two (Guide to the expression of \
    uncertainty in measurement, JCGM 100). The parts are those of the logger’s design with the \
    sensors that its notes ask for; they hold as far as the instruments fitted here keep to them. \
    Parts marked as assumed are usual values that nobody has shown for this instrument.";
/// Under it, where another instrument made the record.
pub const UNKNOWN: &str = "The record was made by another instrument. How exactly it measures is \
    not stated, so no figure of this report carries an interval, and a value near its limit is not \
    told from it.";
/// The logger's standing.
pub const NEVER_CALIBRATED: &str = "This logger was never calibrated: the tolerances of its parts \
    and sensors stand in place of a calibration.";
/// What gets no interval.
pub const WITHOUT: &str = "For a difference or a ratio of two readings of one channel √2 times the \
    uncertainty of one is stated: an upper bound, since most parts are the same in both. Counts \
    carry no interval, and neither do figures reckoned from many readings (rates, volumes, flows): \
    where their scatter was found, it stands beside them.";
/// Over the budgets.
pub const BUDGETS: &str = "Expanded uncertainty (k = 2) of each measured quantity, and what it is \
    made up of";
/// Column.
pub const COLUMN_QUANTITY: &str = "Quantity, and where the value holds";
/// Column.
pub const COLUMN_EXPANDED: &str = "U, k = 2";
/// Column.
pub const COLUMN_PARTS: &str = "Made up of (share of the combined variance)";
/// Over the lines.
pub const LINES: &str = "Every part with its standard uncertainty";
/// Column.
pub const COLUMN_PART: &str = "Part";
/// Column.
pub const COLUMN_BASIS: &str = "Known from";
/// Column.
pub const COLUMN_STANDARD: &str = "Standard uncertainty u";
/// Over the uncertainty of moments.
pub const TIMES: &str = "Uncertainty of times";
/// Column.
pub const COLUMN_WHAT: &str = "What";
/// Column.
pub const COLUMN_BOUND: &str = "At most";
/// Row.
pub const MOMENTS: &str = "Moments";
/// Its source.
pub const MOMENTS_SOURCE: &str = "length of the rows (median)";
/// Row.
pub const CLOCK: &str = "Clock";
/// Its source.
pub const CLOCK_SOURCE: &str = "compared with the computer’s clock at the download";
/// Row.
pub const DIP_LENGTH: &str = "Length of a dip";
/// Its bound.
pub const HALF_CYCLE: &str = "half a cycle";
/// Its source.
pub const DIP_SOURCE: &str = "IEC 61000-4-30: values renewed every half cycle";
/// Behind a part that rests on an assumption.
pub const ASSUMED: &str = " (assumed)";
/// Rest of a budget.
pub const REST: &str = "all others";
/// Name of a row of facts: the judged value lies too near its limit.
pub const NEAR: &str = "Near the limit";
/// What it says.
pub const CANNOT_BE_TOLD: &str = "The value lies within its uncertainty of the limit: by this \
    measurement alone it cannot be told from the limit.";
/// The same on page one, before the findings concerned.
pub const NEAR_SHORT: &str = "Within the uncertainty of measurement of its limit, and so not to be \
    told from it:";

/// The logger's standing, where it was calibrated.
pub fn calibrated(date: &str, years: f64) -> String {
    let ageing = if years > 1.0 {
        format!("its ageing is reckoned for the {} years since", crate::format::fixed(years, 1))
    } else {
        "its ageing is reckoned for a year".to_owned()
    };
    format!("This logger was calibrated on {date} (see chain of custody); {ageing}.")
}

/// What kind of knowledge a part rests on.
pub fn basis(basis: &str) -> &str {
    match basis {
        "spec" => "asked of the part",
        "computed" => "computed from design and code",
        other => other,
    }
}

/// Half the length of a row.
pub fn half_of(row: &str) -> String {
    format!("half of {row} either way")
}
