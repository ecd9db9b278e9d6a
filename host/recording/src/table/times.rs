//! Moments out of cells: RFC 3339 text, local text, patterns, Unix numbers, library timestamps.

use super::ImportOptions;
use super::cells::{self, Cells, MISSING, Texts};
use super::headings::TimeUnit;
use crate::clock;
use crate::error::{Problem, shortened};
use crate::rows::BELIEVED_MS;
use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, TimeZone};
use jiff::{Timestamp, fmt::strtime};

/// Earliest and latest moment a column of Unix numbers is believed to mean: the years 1990 to 2100.
/// Seconds, ms, µs and ns of these years do not overlap, so a number tells its own unit.
const BELIEVED_S: std::ops::Range<f64> = 631_152_000.0..4_102_444_800.0;

/// A column of moments and what to say about it.
pub struct Moments {
    /// ms since 1970; [`MISSING`] where there is none.
    pub ms: Vec<i64>,
    /// Sentences for the reader.
    pub notes: Vec<String>,
}

/// What is known about a time column besides its cells.
pub struct Context<'a> {
    /// Heading as written.
    pub column: &'a str,
    /// Unit by the heading.
    pub unit: TimeUnit,
    /// The heading says UTC.
    pub utc: bool,
    /// Options of the import.
    pub options: &'a ImportOptions,
    /// Zone of the site file.
    pub site_zone: Option<&'a str>,
}

/// Reads a time column.
pub fn moments(cells: &Cells, context: &Context<'_>) -> Result<Moments, Problem> {
    let mut notes = Vec::new();
    let ms = match cells {
        Cells::Moments { ms, utc: true } => ms.clone(),
        Cells::Moments { ms, utc: false } => {
            let mut wall = WallClock::new(context)?;
            let moments = ms.iter().map(|ms| wall.moment_ms(*ms)).collect();
            notes.extend(wall.notes());
            moments
        }
        Cells::Numbers(numbers) => unix(numbers.iter().copied(), context)?,
        Cells::Singles(numbers) => unix(numbers.iter().copied().map(f64::from), context)?,
        Cells::Texts(texts) => {
            let first = texts.iter().find(|text| !cells::is_missing(text)).unwrap_or("");
            match cells::number(first, texts.decimal_comma) {
                Some(_) if context.options.time_format.is_none() => unix_texts(texts, context)?,
                _ => written(texts, context, &mut notes)?,
            }
        }
        Cells::Other(kind) => {
            let column = context.column.to_owned();
            return Err(Problem::ColumnKind { column, kind: kind.clone() });
        }
    };
    match ms.iter().position(|ms| *ms != MISSING && !BELIEVED_MS.contains(ms)) {
        Some(row) => {
            let text = clock::utc_text(ms[row]);
            Err(bad_time(context, row, &text, ": only the years 1970 to 2199 are believed"))
        }
        None => Ok(Moments { ms, notes }),
    }
}

fn bad_time(context: &Context<'_>, row: usize, text: &str, remedy: &'static str) -> Problem {
    let column = context.column.to_owned();
    Problem::Time { row: row + 1, column, text: shortened(text), remedy }
}

fn unix_texts(texts: &Texts, context: &Context<'_>) -> Result<Vec<i64>, Problem> {
    let numbers: Result<Vec<f64>, Problem> = texts
        .iter()
        .enumerate()
        .map(|(row, text)| {
            cells::number(text, texts.decimal_comma)
                .ok_or_else(|| bad_time(context, row, text, ": the rows above hold numbers"))
        })
        .collect();
    unix(numbers?.into_iter(), context)
}

/// Unix numbers, or elapsed time where the options say from when.
fn unix(numbers: impl Iterator<Item = f64>, context: &Context<'_>) -> Result<Vec<i64>, Problem> {
    let mut per_second = match context.unit {
        TimeUnit::PerSecond(per_second) => Some(f64::from(per_second)),
        TimeUnit::Open => None,
    };
    let from_ms = context.options.elapsed_from_ms;
    let mut moments = Vec::with_capacity(numbers.size_hint().0);
    for (row, number) in numbers.enumerate() {
        if number.is_nan() {
            moments.push(MISSING);
            continue;
        }
        let scale = match (per_second, from_ms) {
            (Some(scale), _) => scale,
            (None, Some(_)) => *per_second.insert(1.0),
            (None, None) => match [1.0, 1e3, 1e6, 1e9]
                .into_iter()
                .find(|scale| BELIEVED_S.contains(&(number / scale)))
            {
                Some(scale) => *per_second.insert(scale),
                None => return Err(not_absolute(context, row, number)),
            },
        };
        let moment_s = number / scale;
        moments.push(match from_ms {
            // Ten thousand years keep the sum inside i64.
            Some(from_ms) if moment_s.abs() < 3.2e11 => {
                from_ms.saturating_add((moment_s * 1000.0).round() as i64)
            }
            None if BELIEVED_S.contains(&moment_s) => (moment_s * 1000.0).round() as i64,
            _ => return Err(not_absolute(context, row, number)),
        });
    }
    Ok(moments)
}

fn not_absolute(context: &Context<'_>, row: usize, number: f64) -> Problem {
    let remedy = ": it is no Unix time of the years 1990 to 2100; where the column counts from the \
                  start of the recording, say when that was";
    bad_time(context, row, &number.to_string(), remedy)
}

/// Text: RFC 3339, the same without an offset, or by the pattern of the options.
fn written(
    texts: &Texts,
    context: &Context<'_>,
    notes: &mut Vec<String>,
) -> Result<Vec<i64>, Problem> {
    let mut wall = WallClock::new(context)?;
    let mut moments = Vec::with_capacity(texts.len());
    for (row, text) in texts.iter().enumerate() {
        if cells::is_missing(text) {
            moments.push(MISSING);
            continue;
        }
        let moment = match &context.options.time_format {
            Some(format) => by_pattern(format, text, &mut wall),
            None => plain(text, &mut wall),
        };
        let Some(moment) = moment else {
            let remedy = match context.options.time_format {
                Some(_) => " by the pattern given",
                None => ": write 2026-02-03T04:05:06Z, or give a pattern such as %d/%m/%Y %H:%M:%S",
            };
            return Err(bad_time(context, row, text, remedy));
        };
        moments.push(moment);
    }
    notes.extend(wall.notes());
    Ok(moments)
}

fn plain(text: &str, wall: &mut WallClock) -> Option<i64> {
    // A local time never parses as a moment, for want of an offset.
    if let Ok(moment) = text.parse::<Timestamp>() {
        return Some(moment.as_millisecond());
    }
    text.parse::<DateTime>().ok().map(|shown| wall.moment(shown))
}

fn by_pattern(format: &str, text: &str, wall: &mut WallClock) -> Option<i64> {
    let parts = strtime::parse(format, text).ok()?;
    if parts.offset().is_some() {
        return parts.to_timestamp().ok().map(Timestamp::as_millisecond);
    }
    // A pattern of a date alone means midnight.
    let shown = parts.to_datetime().or_else(|_| parts.to_date().map(DateTime::from));
    shown.ok().map(|shown| wall.moment(shown))
}

/// Turns what a clock on a wall shows into moments, row after row.
///
/// Where clocks are put back, an hour is shown twice. The rows are then taken in their order: the
/// first pass through that hour as long as time does not run backwards, the second from there on.
struct WallClock {
    zone: TimeZone,
    name: String,
    assumed: bool,
    used: bool,
    previous: Option<i64>,
    twice: usize,
    skipped: usize,
}

impl WallClock {
    fn new(context: &Context<'_>) -> Result<Self, Problem> {
        let given = context.options.time_zone.as_deref();
        let name = given.or(if context.utc { Some("UTC") } else { context.site_zone });
        Ok(Self {
            zone: name.map_or(Ok(TimeZone::UTC), clock::zone)?,
            name: name.unwrap_or("UTC").to_owned(),
            assumed: name.is_none(),
            used: false,
            previous: None,
            twice: 0,
            skipped: 0,
        })
    }

    /// The moment at which the clock showed `shown`.
    fn moment(&mut self, shown: DateTime) -> i64 {
        self.used = true;
        let ambiguous = self.zone.to_ambiguous_timestamp(shown);
        let at = |offset: jiff::tz::Offset| {
            offset.to_timestamp(shown).map_or(MISSING, Timestamp::as_millisecond)
        };
        let moment = match ambiguous.offset() {
            AmbiguousOffset::Unambiguous { offset } => at(offset),
            AmbiguousOffset::Fold { before, after } => {
                self.twice += 1;
                let first = at(before);
                if self.previous.is_some_and(|previous| first <= previous) {
                    at(after)
                } else {
                    first
                }
            }
            AmbiguousOffset::Gap { before, .. } => {
                self.skipped += 1;
                at(before)
            }
        };
        self.previous = Some(moment);
        moment
    }

    /// The same for a clock reading given as ms since 1970 on the wall.
    fn moment_ms(&mut self, shown_ms: i64) -> i64 {
        if shown_ms == MISSING {
            return MISSING;
        }
        Timestamp::from_millisecond(shown_ms)
            .map_or(MISSING, |shown| self.moment(TimeZone::UTC.to_datetime(shown)))
    }

    fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if self.used && self.assumed {
            notes.push(
                "the times carry no offset and no time zone was given: they were taken as UTC"
                    .to_owned(),
            );
        }
        if self.twice > 0 {
            notes.push(format!(
                "{} times fall into an hour that the clocks of {} show twice: they were told \
                 apart by the order of the rows",
                self.twice, self.name
            ));
        }
        if self.skipped > 0 {
            notes.push(format!(
                "{} times fall into an hour that the clocks of {} skip: they were read as if the \
                 clocks had not been put forward; check the time zone",
                self.skipped, self.name
            ));
        }
        notes
    }
}
