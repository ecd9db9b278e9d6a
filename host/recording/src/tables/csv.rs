//! CSV files → cells. Every cell is read as text: what is a number is for `table::cells` to say,
//! which can name the row and column of one that is not.

use super::Loaded;
use super::library::{cells, guarded, one_line};
use crate::error::Problem;
use crate::table::{Cells, RawColumn, RawTable};
use polars::prelude::{
    CommentPrefix, CsvEncoding, CsvParseOptions, CsvReadOptions, PolarsResult, SerReader,
};
use std::io::Cursor;

const COMMENT: u8 = b'#';
const SEPARATORS: [u8; 4] = [b',', b';', b'\t', b'|'];

/// Reads all columns.
pub fn load(bytes: &[u8]) -> Result<Loaded, Problem> {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let heading = heading_line(bytes);
    let separator = separator(heading);
    let names = split(heading, separator);
    for (at, name) in names.iter().enumerate() {
        // The library would rename the second one.
        if names[..at].contains(name) && !name.is_empty() {
            return Err(Problem::DuplicateHeading { name: name.clone() });
        }
    }
    let parse = CsvParseOptions {
        separator,
        // Marks of other 8-bit alphabets in a heading must not lose the numbers below.
        encoding: CsvEncoding::LossyUtf8,
        comment_prefix: Some(CommentPrefix::Single(COMMENT)),
        ..CsvParseOptions::default()
    };
    let columns = guarded("CSV", || -> PolarsResult<Vec<(String, Cells)>> {
        let frame = CsvReadOptions::default()
            .with_infer_schema_length(Some(0))
            .with_parse_options(parse)
            .into_reader_with_file_handle(Cursor::new(bytes))
            .finish()?;
        frame
            .into_columns()
            .into_iter()
            .map(|column| {
                let cells = cells(&column, separator != b',')?;
                Ok((one_line(column.name()), cells))
            })
            .collect()
    })?;
    let columns = columns.into_iter().map(|(name, cells)| RawColumn { name, cells }).collect();
    Ok(Loaded { table: RawTable { columns }, ..Loaded::default() })
}

/// First line that is neither empty nor a comment.
fn heading_line(bytes: &[u8]) -> &[u8] {
    bytes
        .split(|byte| *byte == b'\n')
        .find(|line| !line.trim_ascii().is_empty() && line[0] != COMMENT)
        .unwrap_or_default()
}

/// The separator that cuts the heading into most parts.
fn separator(heading: &[u8]) -> u8 {
    let mut best = SEPARATORS[0];
    for separator in SEPARATORS {
        if split(heading, separator).len() > split(heading, best).len() {
            best = separator;
        }
    }
    best
}

/// Parts of a line outside quotes, without them.
fn split(line: &[u8], separator: u8) -> Vec<String> {
    let mut quoted = false;
    line.split(|byte| {
        quoted ^= *byte == b'"';
        !quoted && *byte == separator
    })
    .map(|part| one_line(String::from_utf8_lossy(part).trim().trim_matches('"')))
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn separators_are_found_outside_quotes() {
        assert_eq!(separator(b"time,voltage_v"), b',');
        assert_eq!(separator(b"time;voltage_v"), b';');
        assert_eq!(separator(b"time\tvoltage_v"), b'\t');
        assert_eq!(separator(b"\"a,b,c\";d"), b';');
        assert_eq!(separator(b"time"), b',');
        assert_eq!(split(b"\"a;b\";c \r", b';'), ["a;b", "c"]);
    }
}
