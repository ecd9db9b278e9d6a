//! Cells of one column, and numbers out of them.

use crate::error::{Problem, shortened};

/// Cells of one column.
#[derive(Debug)]
pub enum Cells {
    /// Numbers; NaN where the cell is empty.
    Numbers(Vec<f64>),
    /// The same in the precision that a recording keeps.
    Singles(Vec<f32>),
    /// Text, as in a CSV file.
    Texts(Texts),
    /// Moments, ms since 1970; [`MISSING`] where the cell is empty. Without a zone they are what a
    /// clock on a wall showed.
    Moments {
        /// The moments.
        ms: Vec<i64>,
        /// True when they are UTC.
        utc: bool,
    },
    /// Something that is neither; its name in the table library.
    Other(String),
}

/// No moment.
pub const MISSING: i64 = i64::MIN;

/// Many short texts in one piece of memory.
#[derive(Debug, Default)]
pub struct Texts {
    bytes: String,
    ends: Vec<usize>,
    /// Numbers may carry a decimal comma (because the comma separates no columns).
    pub decimal_comma: bool,
}

impl Texts {
    /// No texts yet, with room for `rows`.
    pub fn with_capacity(rows: usize, decimal_comma: bool) -> Self {
        Self { bytes: String::new(), ends: Vec::with_capacity(rows), decimal_comma }
    }

    /// Appends a text.
    pub fn push(&mut self, text: &str) {
        self.bytes.push_str(text);
        self.ends.push(self.bytes.len());
    }

    /// The texts in order.
    pub fn iter(&self) -> impl Iterator<Item = &str> {
        let mut start = 0;
        self.ends.iter().map(move |end| {
            let text = &self.bytes[start..*end];
            start = *end;
            text.trim()
        })
    }

    /// Number of texts.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// True when there is none.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }
}

impl Cells {
    /// Number of cells.
    pub fn len(&self) -> usize {
        match self {
            Self::Numbers(numbers) => numbers.len(),
            Self::Singles(numbers) => numbers.len(),
            Self::Texts(texts) => texts.len(),
            Self::Moments { ms, .. } => ms.len(),
            Self::Other(_) => 0,
        }
    }

    /// True when there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// True for what loggers write where there is no value.
pub fn is_missing(text: &str) -> bool {
    ["", "nan", "null", "none", "na", "n/a", "-", "--"]
        .iter()
        .any(|word| text.eq_ignore_ascii_case(word))
}

/// The number in a cell; `None` when it is none. An empty cell is NaN.
pub fn number(text: &str, decimal_comma: bool) -> Option<f64> {
    // Most cells are numbers: look for words only when that fails.
    if let Ok(value) = text.parse::<f64>()
        && value.is_finite()
    {
        return Some(value);
    }
    if is_missing(text) {
        return Some(f64::NAN);
    }
    if decimal_comma && text.contains(',') && !text.contains('.') {
        return text.replace(',', ".").parse().ok().filter(|value: &f64| value.is_finite());
    }
    None
}

/// The numbers of a column, times `factor`, as the recording keeps them; NaN where there is none.
pub fn numbers(column: &str, cells: Cells, factor: f64) -> Result<Vec<f32>, Problem> {
    let bad =
        |row: usize, text: String| Problem::Cell { row: row + 1, column: column.into(), text };
    match cells {
        Cells::Singles(mut values) => {
            let times = |value: f32| (f64::from(value) * factor) as f32;
            if let Some(row) = values.iter().position(|value| times(*value).is_infinite()) {
                return Err(bad(row, format!("{:e}", values[row])));
            }
            if factor != 1.0 {
                for value in &mut values {
                    *value = times(*value);
                }
            }
            Ok(values)
        }
        Cells::Numbers(values) => {
            let kept: Vec<f32> = values.iter().map(|value| (value * factor) as f32).collect();
            match kept.iter().position(|value| value.is_infinite()) {
                Some(row) => Err(bad(row, format!("{:e}", values[row]))),
                None => Ok(kept),
            }
        }
        Cells::Texts(texts) => {
            let read = |(row, text): (usize, &str)| {
                let value =
                    number(text, texts.decimal_comma).ok_or_else(|| bad(row, shortened(text)))?;
                let kept = (value * factor) as f32;
                if kept.is_infinite() { Err(bad(row, format!("{value:e}"))) } else { Ok(kept) }
            };
            texts.iter().enumerate().map(read).collect()
        }
        Cells::Moments { .. } => {
            Err(Problem::ColumnKind { column: column.into(), kind: "times".into() })
        }
        Cells::Other(kind) => Err(Problem::ColumnKind { column: column.into(), kind }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_what_stands_for_none() {
        assert_eq!(number("230.5", false), Some(230.5));
        assert_eq!(number("-1e-3", false), Some(-0.001));
        assert_eq!(number("230,5", true), Some(230.5));
        assert_eq!(number("230,5", false), None);
        assert_eq!(number("1.234,5", true), None);
        for text in ["", "NaN", "null", "N/A", "-"] {
            assert!(number(text, false).unwrap().is_nan(), "{text}");
        }
        for text in ["off", "inf", "12 V", "0x10", "1_000"] {
            assert_eq!(number(text, true), None, "{text}");
        }
    }
}
