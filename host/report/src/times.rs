//! Moments in the site's time zone, with the offset from UTC said wherever it could be mistaken.

use crate::format::NBSP;
use crate::units::Clock;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::{Offset, TimeZone};

/// How finely a moment is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fine {
    /// To the minute.
    Minute,
    /// To the second.
    Second,
    /// To a tenth of a second.
    Tenth,
    /// To the millisecond.
    Milli,
}

/// A change of the offset from UTC inside the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OffsetChange {
    /// When.
    pub at: Timestamp,
    /// Offset from then on.
    pub to: Offset,
}

/// The clock that all moments of a report are shown by.
#[derive(Clone, Debug)]
pub struct Times {
    zone: TimeZone,
    clock: Clock,
    changes: Vec<OffsetChange>,
}

impl Times {
    /// A clock for the stretch `from` to `to`. An unknown zone gives UTC: [`Times::zone_name`]
    /// then says so.
    pub fn new(zone: Option<&str>, clock: Clock, from: Timestamp, to: Timestamp) -> Self {
        let zone = zone.and_then(|name| TimeZone::get(name).ok()).unwrap_or(TimeZone::UTC);
        let mut offset = zone.to_offset(from);
        let mut changes = Vec::new();
        for change in zone.following(from).take_while(|change| change.timestamp() <= to).take(64) {
            if change.offset() != offset {
                offset = change.offset();
                changes.push(OffsetChange { at: change.timestamp(), to: offset });
            }
        }
        Self { zone, clock, changes }
    }

    /// Name of the zone in force.
    pub fn zone_name(&self) -> &str {
        self.zone.iana_name().unwrap_or("UTC")
    }

    /// Changes of the offset inside the stretch.
    pub fn changes(&self) -> &[OffsetChange] {
        &self.changes
    }

    /// Offset from UTC at `time`: `UTC+01:00`.
    pub fn offset(&self, time: Timestamp) -> String {
        offset_text(self.zone.to_offset(time))
    }

    /// Name of the zone with its offset at `time`: `Europe/Lisbon, UTC+01:00`.
    pub fn zone_words(&self, time: Timestamp) -> String {
        match self.zone_name() {
            "UTC" => "UTC".to_owned(),
            name => format!("{name}, {}", self.offset(time)),
        }
    }

    /// Seconds that local time is ahead of UTC at `time`.
    pub fn offset_seconds(&self, time: Timestamp) -> i32 {
        self.zone.to_offset(time).seconds()
    }

    /// Civil time at the site.
    pub fn civil(&self, time: Timestamp) -> DateTime {
        self.zone.to_datetime(time)
    }

    /// First moment of the local day that holds `time`.
    pub fn day_start(&self, time: Timestamp) -> Timestamp {
        self.midnight(self.civil(time)).unwrap_or(time)
    }

    /// First moment of the local day after the one that holds `time`.
    pub fn next_day(&self, time: Timestamp) -> Timestamp {
        let tomorrow = self.civil(time).date().tomorrow().ok();
        tomorrow
            .and_then(|date| self.midnight(date.at(0, 0, 0, 0)))
            .filter(|next| *next > time)
            .unwrap_or(Timestamp::MAX)
    }

    fn midnight(&self, civil: DateTime) -> Option<Timestamp> {
        self.zone.to_ambiguous_timestamp(civil.date().at(0, 0, 0, 0)).compatible().ok()
    }

    /// `12 Mar 2031`.
    pub fn date(&self, time: Timestamp) -> String {
        self.civil(time).strftime("%-d %b %Y").to_string().replace(' ', "\u{a0}")
    }

    /// `Wed 12 Mar`.
    pub fn weekday(&self, time: Timestamp) -> String {
        self.civil(time).strftime("%a %-d %b").to_string().replace(' ', "\u{a0}")
    }

    /// `12 Mar`.
    pub fn day_month(&self, time: Timestamp) -> String {
        self.civil(time).strftime("%-d %b").to_string().replace(' ', "\u{a0}")
    }

    /// Time of day: `14:02:11.4` or `2:02:11.4 pm`. With a change of offset inside the record the
    /// offset follows, for an hour then comes twice.
    pub fn time_of_day(&self, time: Timestamp, fine: Fine) -> String {
        let mut text = self.bare_time(time, fine);
        if !self.changes.is_empty() {
            let offset = self.offset(time);
            text = format!("{text}{NBSP}{}", offset.trim_start_matches("UTC"));
        }
        text
    }

    /// Time of day without the offset, for axes that state it once.
    pub fn bare_time(&self, time: Timestamp, fine: Fine) -> String {
        let civil = self.civil(time);
        let milli = civil.subsec_nanosecond() / 1_000_000;
        let seconds = match fine {
            Fine::Minute => String::new(),
            Fine::Second => format!(":{:02}", civil.second()),
            Fine::Tenth => format!(":{:02}.{}", civil.second(), milli / 100),
            Fine::Milli => format!(":{:02}.{milli:03}", civil.second()),
        };
        match self.clock {
            Clock::Hours24 => format!("{:02}:{:02}{seconds}", civil.hour(), civil.minute()),
            Clock::Hours12 => {
                let half = if civil.hour() < 12 { "am" } else { "pm" };
                let hour = match civil.hour() % 12 {
                    0 => 12,
                    hour => hour,
                };
                format!("{hour}:{:02}{seconds}{NBSP}{half}", civil.minute())
            }
        }
    }

    /// Date and time of day.
    pub fn moment(&self, time: Timestamp, fine: Fine) -> String {
        format!("{}, {}", self.date(time), self.time_of_day(time, fine))
    }

    /// Two moments; the date once where both share it.
    pub fn stretch(&self, from: Timestamp, to: Timestamp, fine: Fine) -> String {
        if self.civil(from).date() == self.civil(to).date() {
            if self.bare_time(from, fine) == self.bare_time(to, fine) {
                return self.moment(from, fine);
            }
            return format!("{} to {}", self.moment(from, fine), self.time_of_day(to, fine));
        }
        format!("{} to {}", self.moment(from, fine), self.moment(to, fine))
    }
}

/// `UTC+01:00`.
pub fn offset_text(offset: Offset) -> String {
    let sign = if offset.seconds() < 0 { '−' } else { '+' };
    let minutes = offset.seconds().unsigned_abs() / 60;
    format!("UTC{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

/// A timestamp from ms since 1970; a time outside the calendar is its nearest end.
pub fn from_ms(ms: i64) -> Timestamp {
    let nearest = if ms < 0 { Timestamp::MIN } else { Timestamp::MAX };
    Timestamp::from_millisecond(ms).unwrap_or(nearest)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn plain(text: &str) -> String {
        text.replace(NBSP, " ")
    }

    #[test]
    fn the_hour_that_comes_twice_is_told_apart() {
        // EU summer time ends at 01:00 UTC on the last Sunday of October (Directive 2000/84/EC):
        // in Lisbon 02:00 becomes 01:00, so 01:30 comes twice on 26 October 2031.
        let times = Times::new(
            Some("Europe/Lisbon"),
            Clock::Hours24,
            at("2031-10-24T00:00:00Z"),
            at("2031-10-28T00:00:00Z"),
        );
        assert_eq!(times.changes().len(), 1);
        assert_eq!(times.changes()[0].at, at("2031-10-26T01:00:00Z"));
        let first = plain(&times.moment(at("2031-10-26T00:30:00Z"), Fine::Second));
        let second = plain(&times.moment(at("2031-10-26T01:30:00Z"), Fine::Second));
        assert_eq!(first, "26 Oct 2031, 01:30:00 +01:00");
        assert_eq!(second, "26 Oct 2031, 01:30:00 +00:00");
        let day = times.day_start(at("2031-10-26T12:00:00Z"));
        assert_eq!(day, at("2031-10-25T23:00:00Z"));
        assert_eq!(times.next_day(day), at("2031-10-27T00:00:00Z"), "that day has 25 hours");
    }

    #[test]
    fn a_day_of_23_hours() {
        let from = at("2031-03-08T05:00:00Z");
        let to = at("2031-03-10T05:00:00Z");
        let times = Times::new(Some("America/New_York"), Clock::Hours12, from, to);
        let day = times.day_start(at("2031-03-09T15:00:00Z"));
        assert_eq!(day, at("2031-03-09T05:00:00Z"));
        assert_eq!(times.next_day(day), at("2031-03-10T04:00:00Z"));
        assert_eq!(
            plain(&times.moment(at("2031-03-09T18:02:11.432Z"), Fine::Tenth)),
            "9 Mar 2031, 2:02:11.4 pm −04:00"
        );
    }

    #[test]
    fn without_a_change_the_offset_is_not_repeated() {
        let (from, to) = (at("2031-01-01T00:00:00Z"), at("2031-01-08T00:00:00Z"));
        let times = Times::new(Some("Asia/Kolkata"), Clock::Hours24, from, to);
        assert_eq!(times.offset(from), "UTC+05:30");
        assert_eq!(plain(&times.moment(from, Fine::Milli)), "1 Jan 2031, 05:30:00.000");
        let unknown = Times::new(Some("Atlantis/Harbour"), Clock::Hours12, from, to);
        assert_eq!(unknown.zone_name(), "UTC");
        assert_eq!(plain(&unknown.bare_time(from, Fine::Minute)), "12:00 am");
    }
}
