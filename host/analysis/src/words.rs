//! The last touch to sentences with figures in them.

/// Numbers that rounding has left at a negative zero lose their sign: "-0.00" says less than "0.00".
pub fn tidy(text: String) -> String {
    if !text.contains("-0") {
        return text;
    }
    let mut out = String::with_capacity(text.len());
    let mut rest = text.as_str();
    while let Some(at) = rest.find("-0") {
        let (before, from) = rest.split_at(at);
        out.push_str(before);
        let number: &str = {
            let end = from[1..].find(|c: char| !c.is_ascii_digit() && c != '.');
            &from[1..end.map_or(from.len(), |end| end + 1)]
        };
        let signs = before.chars().next_back();
        let alone = signs.is_none_or(|c| !c.is_alphanumeric());
        if !(alone && number.chars().all(|c| matches!(c, '0' | '.'))) {
            out.push('-');
        }
        out.push_str(number);
        rest = &from[1 + number.len()..];
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::tidy;

    #[test]
    fn only_negative_zeros_change() {
        for (from, to) in [
            ("moved -0.00 bar.", "moved 0.00 bar."),
            ("-0 W, -0.5 W", "0 W, -0.5 W"),
            ("IEC 60947-4-1 and MG-01", "IEC 60947-4-1 and MG-01"),
            ("fell by -0.004", "fell by -0.004"),
            ("at -0.0", "at 0.0"),
        ] {
            assert_eq!(tidy(from.to_owned()), to);
        }
    }
}
