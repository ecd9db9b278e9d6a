//! Numbers and durations as people read them: sensible digits, a true minus sign, groups of three
//! kept together, never a line break between a number and its unit.

/// No-break space, between a number and its unit.
pub const NBSP: char = '\u{a0}';

/// Narrow no-break space, between groups of three digits.
const GROUP: char = '\u{202f}';

/// `value` with exactly `decimals` decimals.
pub fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    let text = format!("{:.decimals$}", value.abs());
    let negative = value < 0.0 && text.bytes().any(|b| (b'1'..=b'9').contains(&b));
    let (whole, rest) = text.split_at(text.find('.').unwrap_or(text.len()));
    let mut out = String::with_capacity(text.len() + 8);
    if negative {
        out.push('−');
    }
    for (place, digit) in whole.chars().enumerate() {
        // Four digits stay together; grouping starts at five.
        if place > 0 && whole.len() > 4 && (whole.len() - place).is_multiple_of(3) {
            out.push(GROUP);
        }
        out.push(digit);
    }
    out.push_str(rest);
    out
}

/// `value` with `digits` significant digits, no more than six decimals, no trailing zeros.
pub fn significant(value: f64, digits: usize) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    if !value.is_finite() {
        return "–".to_owned();
    }
    let decimals = digits as i32 - 1 - value.abs().log10().floor() as i32;
    let text = fixed(value, decimals.clamp(0, 6) as usize);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// `value` rounded to `digits` significant digits.
pub fn rounded(value: f64, digits: usize) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let scale = 10_f64.powi(digits as i32 - 1 - value.abs().log10().floor() as i32);
    (value * scale).round() / scale
}

/// A whole number, grouped.
pub fn count(value: usize) -> String {
    fixed(value as f64, 0)
}

/// A share as a percentage: one decimal below 10 %, and never rounded to a whole that it is not.
pub fn percent(share: f64) -> String {
    let value = share * 100.0;
    if !value.is_finite() {
        return "–".to_owned();
    }
    let text = if (99.95..100.0).contains(&value) {
        // 99.97 % of the time is not all of it, nor is 99.999 %.
        fixed(value.min(99.99), 2)
    } else if value.abs() >= 99.95 || value.abs() < 9.95 {
        significant((value * 100.0).round() / 100.0, 3)
    } else {
        fixed(value, usize::from((99.5..99.95).contains(&value.abs())))
    };
    format!("{text}{NBSP}%")
}

/// A length of time given in s: `0.14 s`, `12.4 s`, `4 min 12 s`, `3 h 05 min`, `6 d 23 h`.
pub fn duration(seconds: f64) -> String {
    if !seconds.is_finite() {
        return "–".to_owned();
    }
    let sign = if seconds < 0.0 { "−" } else { "" };
    let s = seconds.abs();
    if s < 9.995 {
        return format!("{sign}{}{NBSP}s", significant((s * 1000.0).round() / 1000.0, 3));
    }
    if s < 59.95 {
        return format!("{sign}{}{NBSP}s", significant(s, 3));
    }
    let whole = s.round() as u64;
    if whole < 3600 {
        return match (whole / 60, whole % 60) {
            (minutes, 0) => format!("{sign}{minutes}{NBSP}min"),
            (minutes, rest) => format!("{sign}{minutes}{NBSP}min {rest:02}{NBSP}s"),
        };
    }
    let minutes = (s / 60.0).round() as u64;
    if minutes < 48 * 60 {
        return match (minutes / 60, minutes % 60) {
            (hours, 0) => format!("{sign}{hours}{NBSP}h"),
            (hours, rest) => format!("{sign}{hours}{NBSP}h {rest:02}{NBSP}min"),
        };
    }
    let hours = (s / 3600.0).round() as u64;
    match (hours / 24, hours % 24) {
        (days, 0) => format!("{sign}{}{NBSP}d", count(days as usize)),
        (days, rest) => format!("{sign}{}{NBSP}d {rest}{NBSP}h", count(days as usize)),
    }
}

/// `count` and the noun in the number that fits.
pub fn counted(count_of: usize, one: &str, many: &str) -> String {
    format!("{}{NBSP}{}", count(count_of), if count_of == 1 { one } else { many })
}

/// `first` with a capital.
pub fn capital(text: &str) -> String {
    let mut rest = text.chars();
    match rest.next() {
        Some(first) => first.to_uppercase().chain(rest).collect(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain(text: &str) -> String {
        text.replace([NBSP, GROUP], " ")
    }

    #[test]
    fn numbers_keep_sign_and_groups() {
        assert_eq!(plain(&fixed(1234.5, 1)), "1234.5");
        assert_eq!(plain(&fixed(12345.0, 0)), "12 345");
        assert_eq!(plain(&fixed(1_234_567.25, 1)), "1 234 567.2");
        assert_eq!(fixed(-3.26, 1), "−3.3");
        assert_eq!(fixed(-0.01, 1), "0.0", "no minus before zero");
        assert_eq!(fixed(f64::NAN, 1), "–");
    }

    #[test]
    fn significant_digits() {
        assert_eq!(significant(0.291_67, 3), "0.292");
        assert_eq!(significant(230.0, 3), "230");
        assert_eq!(significant(14.50, 3), "14.5");
        assert_eq!(significant(0.005, 3), "0.005");
        assert_eq!(significant(-0.29637, 3), "−0.296");
        assert_eq!(significant(0.0, 3), "0");
        assert_eq!(rounded(0.9978, 2), 1.0);
    }

    #[test]
    fn a_share_is_never_rounded_to_the_whole() {
        assert_eq!(plain(&percent(0.9)), "90 %");
        assert_eq!(plain(&percent(0.123)), "12 %");
        assert_eq!(plain(&percent(0.0123)), "1.23 %");
        assert_eq!(plain(&percent(0.9997)), "99.97 %");
        assert_eq!(plain(&percent(0.999_999)), "99.99 %");
        assert_eq!(plain(&percent(1.0)), "100 %");
    }

    #[test]
    fn durations_carry_to_the_next_unit() {
        let said = |s| plain(&duration(s));
        assert_eq!(said(0.14), "0.14 s");
        assert_eq!(said(12.4), "12.4 s");
        assert_eq!(said(59.96), "1 min");
        assert_eq!(said(252.0), "4 min 12 s");
        assert_eq!(said(3599.7), "1 h");
        assert_eq!(said(11_100.0), "3 h 05 min");
        assert_eq!(said(601_200.0), "6 d 23 h");
        assert_eq!(said(86_400.0 * 7.0), "7 d");
        assert_eq!(said(-252.0), "−4 min 12 s");
    }
}
