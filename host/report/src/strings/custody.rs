//! Words of custody, uncertainty and verifying.

/// Heading.
pub const CUSTODY: &str = "Chain of custody";
/// Under it.
pub const CUSTODY_LEAD: &str = "Who handled the sensors, the logger and the record, as far as it \
    was stated. What is not stated here was not written into the site file or the archive.";
/// Heading.
pub const UNCERTAINTY: &str = "Uncertainty";
/// Heading.
pub const VERIFY: &str = "How to check the record";

macro_rules! words {
    ($($name:ident = $words:expr;)*) => {
        $(#[allow(missing_docs)] pub const $name: &str = $words;)*
    };
}

words! {
    CUSTOMER = "Customer";
    ADDRESS = "Address";
    FITTED_BY = "Fitted by";
    FITTED_ON = "Fitted on";
    REASON = "Why fitted";
    FIT_CHECKS = "Fit checks";
    SENSE = "Voltage sense, serial";
    CLAMP = "Current clamp, serial";
    TRANSDUCER = "Transducer, serial";
    LOGGER = "Logger, number";
    FIRMWARE = "Firmware";
    CALIBRATED = "Logger calibrated";
    COLLECTED_BY = "Collected by";
    COLLECTED_WITH = "Collected with";
    REPORTED = "Reported";
    BY = "by";
    REFERENCE = "against";
    NOT_CALIBRATED = "never: the values of the design are in force";
    TABLE_LOGGER = "made by other means; see “The record and its settings”";
    COLUMN_WHAT = "What";
    COLUMN_BOUND = "Bound or share";
    COLUMN_BASIS = "Known from";
    FRONT_END = "Logger's inputs: gain and offset of each channel";
    BY_CALIBRATION = "as on the certificate of the calibration";
    SEE_CUSTODY = "calibration kept in the archive, see chain of custody";
    NO_CALIBRATION = "no calibration of this logger is stated";
    MOMENTS = "Moments";
    MOMENTS_SOURCE = "length of the rows (median)";
    CLOCK = "Clock";
    CLOCK_SOURCE = "compared with the computer's clock at the download";
    NOT_VERIFIED = "When this report was made, the archive's pages were read and checked one by one \
        against their own check sums; the hash chain and the seals were not part of that.";
    SAME_HASH = "Compare the SHA-256 value of the file with the one at the foot of every printed \
        page: ";
    UNCERTAINTY_LEAD = "By the Guide to the expression of uncertainty in measurement (JCGM 100) the \
        parts below add as the root of the sum of their squares. Parts that nobody stated are \
        named, not guessed; figures of this report carry no interval that leaves them out.";
    UNCERTAINTY_CAPTION = "Parts of the uncertainty of a measured value";
    COMBINED = "With a bound ±a and nothing known inside it, the standard uncertainty is a/√3 \
        (JCGM 100, 4.3.7); twice the combined value is the expanded uncertainty for about 95 %.";
}

/// What the meter's arithmetic adds: bounds that its tests hold it to.
pub const METER: &[(&str, &str, &str)] = &[
    (
        "Meter's arithmetic: voltage, current",
        "±0.1 % of range",
        "tests of the firmware with IEC 61000-4-30 test states",
    ),
    ("Meter's arithmetic: active power", "±0.2 %", "the same"),
    ("Meter's arithmetic: frequency", "±10 mHz", "the same"),
    ("Length of a dip", "half a cycle", "IEC 61000-4-30: values renewed every half cycle"),
];

/// What the sensors add: never part of the record.
pub const SENSORS: &[(&str, &str, &str)] = &[
    ("Current clamp", "by its class, e.g. ±1 % for class 1", "its certificate (IEC 61869-2)"),
    ("Pressure transducer", "by its class, of full scale", "its certificate"),
    ("Voltage sense", "by its class", "its certificate"),
];

/// How to check an archive; `FILE` is its name.
pub const STEPS: &[&str] = &[
    "pumpwitness verify FILE checks every page, the hash chain over them and the seals of the \
     logger, and says what is proven, what is only consistent and what is missing.",
    "The format is documented byte by byte, so that the same check can be done with common tools \
     (SHA-256, Ed25519) and without this program.",
    "Whoever analyses the same file with the same site file gets the same findings: \
     pumpwitness analyse FILE.",
    "It shows later editing of the file. It does not show tampering with sensors or with the logger \
     before the record was sealed.",
];

/// How to check a table.
pub const TABLE_STEPS: &[&str] = &[
    "The record FILE is a table made by other means: nothing in it is signed, and nothing shows \
     whether it was edited before it came here.",
    "Whoever analyses the same file with the same site file gets the same findings: \
     pumpwitness analyse FILE.",
];

/// Half the length of a row.
pub fn half_of(row: &str) -> String {
    format!("half of {row} either way")
}
