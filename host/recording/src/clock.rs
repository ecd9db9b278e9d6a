//! Times as people read them. Inside the program a time is ms since 1970-01-01T00:00:00Z.

use crate::error::Problem;
use jiff::Timestamp;
use jiff::tz::TimeZone;

/// The zone of this IANA name, with its rules; the table of zones is built into the program.
pub fn zone(name: &str) -> Result<TimeZone, Problem> {
    TimeZone::get(name).map_err(|_| Problem::Zone { zone: name.chars().take(40).collect() })
}

/// RFC 3339 in UTC with milliseconds: `2026-02-03T04:05:06.789Z`. A time outside the years −9999
/// to 9999 is shown as the nearest end.
pub fn utc_text(ms: i64) -> String {
    format!("{:.3}", timestamp(ms))
}

/// RFC 3339 in `zone` with milliseconds and offset: `2026-02-03T05:05:06.789+01:00`.
pub fn local_text(ms: i64, zone: &TimeZone) -> String {
    zone.to_datetime(timestamp(ms)).strftime("%Y-%m-%dT%H:%M:%S.%3f").to_string()
        + &offset_text(zone.to_offset(timestamp(ms)).seconds())
}

fn offset_text(seconds: i32) -> String {
    let sign = if seconds < 0 { '-' } else { '+' };
    let minutes = seconds.unsigned_abs() / 60;
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

fn timestamp(ms: i64) -> Timestamp {
    let last = if ms < 0 { Timestamp::MIN } else { Timestamp::MAX };
    Timestamp::from_millisecond(ms).unwrap_or(last)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_read_as_rfc_3339() {
        // RFC 3339 §5.8, second example: 1996-12-19T16:39:57-08:00 is 1996-12-20T00:39:57Z.
        let ms = 851_042_397_000;
        assert_eq!(utc_text(ms), "1996-12-20T00:39:57.000Z");
        let zone = zone("America/Los_Angeles").unwrap();
        assert_eq!(local_text(ms, &zone), "1996-12-19T16:39:57.000-08:00");
        assert_eq!(utc_text(-1), "1969-12-31T23:59:59.999Z");
        assert_eq!(utc_text(i64::MAX).len(), "9999-12-30T22:00:00.999Z".len());
    }

    #[test]
    fn an_unknown_zone_is_named() {
        let error = zone("Atlantis/Harbour").unwrap_err();
        assert!(error.to_string().contains("Atlantis/Harbour"));
    }
}
