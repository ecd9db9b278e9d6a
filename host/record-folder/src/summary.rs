//! What is known of a record: given by the caller, kept in the sidecar, shown in the list.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// What an analysis and a check of an archive come to, in so many words as a list needs.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Summary {
    /// Name of the site; empty where it has none.
    pub site: String,
    /// Its time zone, e.g. `Europe/Lisbon`; UTC where none is declared.
    pub time_zone: Option<String>,
    /// First moment covered.
    #[serde(with = "moment")]
    pub start: Timestamp,
    /// Last moment covered.
    #[serde(with = "moment")]
    pub end: Timestamp,
    /// Time covered by rows, s.
    pub covered_s: f64,
    /// Unique number of the logger, hex.
    pub device: String,
    /// Causes, best first; empty where the record gives none.
    pub causes: Vec<Cause>,
    /// Findings, most severe first.
    pub findings: Vec<Found>,
    /// Causes that the record contradicts, and why.
    pub ruled_out: Vec<RuledOut>,
    /// Runs of the pump.
    pub runs: u32,
    /// Stops by reason.
    pub stops: BTreeMap<String, u32>,
    /// What a check of the archive said.
    pub integrity: Integrity,
    /// Who collected it, where that was stated.
    pub collected_by: Option<String>,
    /// When, by the collecting computer's clock.
    #[serde(with = "moment::maybe")]
    pub collected: Option<Timestamp>,
    /// Who and what stands behind the record: name, and what is known of it.
    pub custody: Vec<(String, String)>,
}

/// A cause, as the analysis names it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Cause {
    /// Its name in the catalogue, e.g. `waterlogged-tank`.
    pub cause: String,
    /// Whose matter it is, e.g. `tank`.
    pub points_to: String,
    /// 0 to 1.
    pub confidence: f64,
    /// A plain sentence.
    pub says: String,
    /// What would settle it, each a sentence with its caution.
    pub next_checks: Vec<String>,
}

/// A kind of finding.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Found {
    /// Its name in the catalogue, e.g. `short-cycling`.
    pub kind: String,
    /// `info`, `watch` or `fault`.
    pub severity: String,
    /// First moment.
    #[serde(with = "moment")]
    pub start: Timestamp,
    /// Last moment.
    #[serde(with = "moment")]
    pub end: Timestamp,
    /// How often.
    pub count: u32,
    /// Whose matter it is.
    pub points_to: String,
    /// A plain sentence.
    pub says: String,
}

/// A cause that the record contradicts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RuledOut {
    /// Its name in the catalogue.
    pub cause: String,
    /// Why, with figures.
    pub because: String,
}

/// What a check of the archive said, when it was filed or last looked at.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Integrity {
    /// In one word, as `verify --json` has it.
    pub verdict: String,
    /// In one line.
    pub says: String,
}

/// A record of the folder.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Record {
    /// Its name in the list: ASCII letters, figures, `_` and `-`; no two records have the same.
    pub id: String,
    /// SHA-256 of the archive, hex.
    pub sha256: String,
    /// Length of the archive.
    pub bytes: u64,
    /// The archive.
    pub file: PathBuf,
    /// What is known of it.
    #[serde(flatten)]
    pub summary: Summary,
}

impl Summary {
    /// First and last day, as the site counts them.
    pub fn days(&self) -> (Date, Date) {
        let zone = self.zone();
        (zone.to_datetime(self.start).date(), zone.to_datetime(self.end).date())
    }

    /// Time zone of the site; UTC where none is declared or known.
    pub fn zone(&self) -> TimeZone {
        self.time_zone.as_deref().and_then(|name| TimeZone::get(name).ok()).unwrap_or(TimeZone::UTC)
    }
}

/// Moments as RFC 3339.
mod moment {
    use jiff::Timestamp;
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};
    use std::borrow::Cow;

    pub(super) fn serialize<S: Serializer>(time: &Timestamp, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(time)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Timestamp, D::Error> {
        Cow::<str>::deserialize(from)?.parse().map_err(D::Error::custom)
    }

    /// Where there may be none.
    pub(super) mod maybe {
        use super::{Cow, Deserialize, Deserializer, Error, Serializer, Timestamp};

        #[allow(clippy::ref_option)] // as serde hands it over
        pub(in super::super) fn serialize<S: Serializer>(
            time: &Option<Timestamp>,
            to: S,
        ) -> Result<S::Ok, S::Error> {
            match time {
                Some(time) => to.collect_str(time),
                None => to.serialize_none(),
            }
        }

        pub(in super::super) fn deserialize<'de, D: Deserializer<'de>>(
            from: D,
        ) -> Result<Option<Timestamp>, D::Error> {
            let text = Option::<Cow<str>>::deserialize(from)?;
            text.map(|text| text.parse().map_err(D::Error::custom)).transpose()
        }
    }
}
