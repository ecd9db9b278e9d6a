//! What `verify` says: the JSON contract `pumpwitness.verification/1`, as types.

use serde::{Serialize, Serializer};

/// Schema of the whole.
pub const SCHEMA: &str = "pumpwitness.verification/1";

/// Everything found out about a file.
#[derive(Clone, Debug, Serialize)]
pub struct Verification {
    /// [`SCHEMA`].
    pub schema: &'static str,
    /// The whole in one word.
    pub verdict: Verdict,
    /// The file and where it says it comes from.
    pub file: FileFacts,
    /// The key seals are checked with.
    pub key: KeyFacts,
    /// Pages by state.
    pub pages: PageCounts,
    /// Every seal met, in the order of the file, that of the head last.
    pub seals: Vec<SealCheck>,
    /// Whether settings, site text and calibration are those that were sealed.
    pub papers: Papers,
    /// The logger's clock.
    pub clock: Clock,
    /// What speaks of damage, loss or forgery; empty for a sound file.
    pub troubles: Vec<Trouble>,
    /// What a reader should know and no damage follows from.
    pub remarks: Vec<String>,
    /// Page by page.
    pub sectors: Vec<Sector>,
}

/// The whole in one word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Every page is vouched for by a seal of a key known from elsewhere.
    Proven,
    /// As before for a part of the pages; the rest is consistent.
    PartlyProven,
    /// Seals are right, but whose key made them is not known from elsewhere.
    SealedByUnknownKey,
    /// Consistent in itself; no seal vouches for it.
    Unproven,
    /// Damage, loss or forgery was found.
    DamageFound,
}

/// The file and where it says it comes from.
#[derive(Clone, Debug, Default, Serialize)]
pub struct FileFacts {
    /// SHA-256 of all its bytes.
    pub sha256: String,
    /// Its length.
    pub bytes: u64,
    /// Device number, hex.
    pub device: String,
    /// First sector the file should hold.
    pub first_sector: u32,
    /// Sectors the file should hold.
    pub sectors: u32,
    /// Firmware of the logger; `None` when the head cannot be read, as for the next three.
    pub firmware: Option<String>,
    /// Name of the site in the settings.
    pub site: Option<String>,
    /// Who collected it, as stated there and then.
    pub collected_by: Option<String>,
    /// Version of the program that collected it.
    pub program: Option<String>,
}

/// The key seals are checked with.
#[derive(Clone, Debug, Serialize)]
pub struct KeyFacts {
    /// Public key in the head of the file, hex; `None` when there is none.
    pub in_file: Option<String>,
    /// Public key of this device by the trust file, hex.
    pub trusted: Option<String>,
    /// When that one was noted, and what else was.
    pub trusted_note: Option<String>,
    /// How the two stand to each other.
    pub standing: KeyStanding,
}

/// How the key in the file stands to the one that is trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum KeyStanding {
    /// The same.
    Trusted,
    /// The file has one, the trust file none for this device.
    Unknown,
    /// They differ.
    Differs,
    /// The file has none.
    Absent,
}

/// What can be said of a page.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum PageState {
    /// A seal of the trusted key vouches for every bit of it.
    Proven,
    /// A right seal vouches for it, but the key is not known from elsewhere.
    Sealed,
    /// Its own checks pass and nothing contradicts it; no seal reaches it.
    Consistent,
    /// Its sector reads otherwise than when the next one was begun, and it is where power failed
    /// while it was written: memory cells half written can do that. Nobody can tell.
    Doubtful,
    /// Its own checks pass, but its sector is not what the logger closed.
    Altered,
    /// Its own checks fail.
    Damaged,
    /// Something else stands in its place, or it stands in another.
    Misplaced,
    /// Not in the file.
    Missing,
}

/// Pages by state.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[allow(missing_docs)] // `PageState` says what they mean
pub struct PageCounts {
    pub proven: u64,
    pub sealed: u64,
    pub consistent: u64,
    pub doubtful: u64,
    pub altered: u64,
    pub damaged: u64,
    pub misplaced: u64,
    pub missing: u64,
    /// Of all these, pages that were never written.
    pub blank: u64,
    /// Of all these, pages whose end was torn by a loss of power before the sector was closed.
    pub torn: u64,
}

impl PageCounts {
    /// Pages in all.
    pub fn total(&self) -> u64 {
        [
            self.proven,
            self.sealed,
            self.consistent,
            self.doubtful,
            self.altered,
            self.damaged,
            self.misplaced,
            self.missing,
        ]
        .iter()
        .sum()
    }

    pub(crate) fn add(&mut self, page: Page) {
        *match page.state {
            PageState::Proven => &mut self.proven,
            PageState::Sealed => &mut self.sealed,
            PageState::Consistent => &mut self.consistent,
            PageState::Doubtful => &mut self.doubtful,
            PageState::Altered => &mut self.altered,
            PageState::Damaged => &mut self.damaged,
            PageState::Misplaced => &mut self.misplaced,
            PageState::Missing => &mut self.missing,
        } += 1;
        self.blank += u64::from(page.blank);
        self.torn += u64::from(page.torn);
    }
}

/// A sector of the file.
#[derive(Clone, Debug, Serialize)]
pub struct Sector {
    /// Its number.
    pub sector: u32,
    /// SHA-256 of its bytes; `None` when it is not whole.
    pub sha256: Option<String>,
    /// How it stands to the hash in the next sector's header.
    pub next_agrees: Link,
    /// Its pages.
    pub pages: Vec<Page>,
}

/// How a sector stands to the hash in the next sector's header.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Link {
    /// The same.
    Yes,
    /// Another.
    No,
    /// One of the two is not whole, or there is no next.
    Unknown,
}

/// A page of the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Page {
    /// What can be said of it.
    pub state: PageState,
    /// Never written.
    #[serde(skip_serializing_if = "is_false")]
    pub blank: bool,
    /// Its end was torn by a loss of power before the sector was closed.
    #[serde(skip_serializing_if = "is_false")]
    pub torn: bool,
}

#[allow(clippy::trivially_copy_pass_by_ref)] // serde asks for it
fn is_false(value: &bool) -> bool {
    !value
}

/// A seal and what came of checking it.
#[derive(Clone, Debug, Serialize)]
pub struct SealCheck {
    /// Where it stands.
    pub place: Place,
    /// `hour` or `download`.
    pub occasion: &'static str,
    /// Newest closed sector by its statement.
    pub up_to_sector: u32,
    /// When it was made, by the logger's clock.
    #[serde(rename = "time", serialize_with = "utc")]
    pub time_ms: i64,
    /// What came of it.
    pub result: SealResult,
}

/// What came of checking a seal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SealResult {
    /// Signature right, and its sector is in the file as it was sealed.
    Holds,
    /// Signature right; its sector is not in the file, or not whole.
    OutOfReach,
    /// Signature right, but its sector is not as it was sealed.
    Contradicted,
    /// Signature right by the key in the file, which is not the trusted one.
    OtherKey,
    /// Signature wrong.
    Forged,
    /// Signature right, for another device.
    OtherDevice,
    /// There is no key to check it with.
    Unchecked,
}

/// Whether settings, site text and calibration are those that were sealed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Papers {
    /// Those of the seal.
    Sealed,
    /// Not those of the seal.
    Changed,
    /// No seal in the head that speaks of them.
    Unproven,
}

/// Where something is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Place {
    /// Part of the file.
    pub part: Part,
    /// Sector, where it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sector: Option<u32>,
    /// Page in the sector, where it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub page: Option<u8>,
    /// Where in the file it begins.
    pub byte: u64,
    /// How many bytes of the file it takes.
    pub bytes: u64,
}

/// Part of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// The head.
    Head,
    /// The sectors.
    Record,
    /// The end mark.
    EndMark,
    /// All of it.
    File,
}

/// Something that speaks of damage, loss or forgery.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Trouble {
    /// What kind.
    pub kind: Kind,
    /// Where.
    pub place: Place,
    /// A sentence.
    pub text: String,
}

/// Kind of trouble.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// The head fails its check.
    HeadDamaged,
    /// The head says otherwise than the seal of the download or the record.
    HeadContradicted,
    /// The end mark is not there: an unfinished download, or cut off.
    EndMarkMissing,
    /// The end mark fails its checks.
    EndMarkDamaged,
    /// The file's hash is not the one in the end mark.
    FileHashDiffers,
    /// Sectors or pages at the end are not in the file.
    CutOff,
    /// Bytes that belong to nothing.
    BytesAdded,
    /// A page fails its checks.
    PageDamaged,
    /// A sector header fails its check.
    SectorHeaderDamaged,
    /// A page that the file itself gives as no longer held by the logger.
    PageMissing,
    /// Bytes of one or more pages were taken out of the file.
    PageRemoved,
    /// Two pages stand in each other's place.
    PageSwapped,
    /// A page stands where another should.
    PageMisplaced,
    /// A page stands in the file twice.
    PageRepeated,
    /// A sector of another device, or a page that does not belong to its sector.
    FromElsewhere,
    /// All checks pass, but the sector is not what the logger closed.
    SectorAltered,
    /// Times run backwards without the clock having been set.
    TimeRunsBackwards,
    /// The clock was set back during the record.
    ClockSetBack,
    /// A signature is wrong.
    SealForged,
    /// A seal of a key that is not the trusted one.
    SealOfOtherKey,
    /// A seal of another device.
    SealOfOtherDevice,
    /// A device that seals, and no seal of the download.
    SealMissing,
    /// The key in the file is not the one known for this device.
    KeyDiffers,
    /// Settings, site text or calibration are not those that were sealed.
    PapersChanged,
}

/// The logger's clock.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Clock {
    /// Each time it was set.
    pub sets: Vec<ClockSet>,
    /// Restarts at which it was behind where it had been.
    pub restarts_behind: Vec<RestartBehind>,
    /// When recording was armed last.
    #[serde(rename = "armed", serialize_with = "utc_option")]
    pub armed_ms: Option<i64>,
    /// The logger's clock when it was collected.
    #[serde(rename = "collected", serialize_with = "utc_option")]
    pub collected_ms: Option<i64>,
    /// Clock of the collecting computer less the logger's, ms.
    pub computer_less_logger_ms: Option<i64>,
    /// False when the clock had not been set since its battery failed.
    pub good: Option<bool>,
    /// Drift since it was set last, parts in a million; positive when the logger was slow.
    pub drift_ppm: Option<f64>,
    /// How far times of the record since then may be from the collecting computer's clock, ms.
    pub uncertainty_ms: Option<i64>,
}

/// The clock was set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct ClockSet {
    /// What it showed before.
    #[serde(rename = "before", serialize_with = "utc")]
    pub before_ms: i64,
    /// What it was set to.
    #[serde(rename = "after", serialize_with = "utc")]
    pub after_ms: i64,
    /// Where that is recorded.
    pub place: Place,
}

/// A restart at which the clock was behind where it had been.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct RestartBehind {
    /// Number of the start.
    pub boot: u16,
    /// The last time before.
    #[serde(rename = "before", serialize_with = "utc")]
    pub before_ms: i64,
    /// The first after.
    #[serde(rename = "after", serialize_with = "utc")]
    pub after_ms: i64,
}

#[allow(clippy::trivially_copy_pass_by_ref)] // serde asks for it
fn utc<S: Serializer>(ms: &i64, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&pumpwitness_recording::clock::utc_text(*ms))
}

#[allow(clippy::ref_option, clippy::trivially_copy_pass_by_ref)] // serde asks for it
fn utc_option<S: Serializer>(ms: &Option<i64>, serializer: S) -> Result<S::Ok, S::Error> {
    match ms {
        Some(ms) => utc(ms, serializer),
        None => serializer.serialize_none(),
    }
}
