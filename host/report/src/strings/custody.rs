//! Words of custody and verifying.

/// Heading.
pub const CUSTODY: &str = "Chain of custody";
/// Under it.
pub const CUSTODY_LEAD: &str = "Who handled the sensors, the logger and the record, as far as it \
    was stated. What is not stated here was not written into the site file or the archive.";
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
    NOT_VERIFIED = "When this report was made, the archive's pages were read and checked one by one \
        against their own check sums; the hash chain and the seals were not part of that.";
    SAME_HASH = "Compare the SHA-256 value of the file with the one at the foot of every printed \
        page: ";
}

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
