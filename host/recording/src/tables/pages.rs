//! A look over the page headers of a Parquet file before the library decodes the pages.
//!
//! The library reserves memory by the counts that page headers give. A flipped bit can make such a
//! count negative or huge, and a failed reservation ends the whole program; so counts and sizes are
//! compared first with those of the file's footer, which [`super::parquet`] has bounded. Where a
//! page carries a checksum, it is verified.

use crate::error::Problem;
use polars::prelude::FileMetadata;
use polars_parquet_format::thrift::protocol::TCompactInputProtocol;
use polars_parquet_format::{PageHeader, PageType};
use pumpwitness_protocol::check::crc32;
use std::io::Cursor;
use std::ops::Range;

/// Most bytes of a page header; statistics of text columns are the longest part.
const HEADER_BYTES_MAX: usize = 1 << 20;

/// What the footer says about a column chunk.
struct Chunk {
    bytes: Range<u64>,
    uncompressed: i64,
    values: i64,
}

/// An error unless every page of the file is as the footer has it.
pub fn check(file: &[u8], metadata: &FileMetadata) -> Result<(), Problem> {
    for group in &metadata.row_groups {
        for column in group.parquet_columns() {
            let chunk = Chunk {
                bytes: column.byte_range(),
                uncompressed: column.uncompressed_size(),
                values: column.num_values(),
            };
            // Only lists hold other than one value a row.
            let flat = column.descriptor().descriptor.max_rep_level == 0;
            if flat && usize::try_from(chunk.values) != Ok(group.num_rows()) {
                return Err(damaged("a column has not as many values as there are rows"));
            }
            check_chunk(file, &chunk)?;
        }
    }
    Ok(())
}

fn check_chunk(file: &[u8], chunk: &Chunk) -> Result<(), Problem> {
    let cut_off = || damaged("a column reaches beyond the file");
    let at = |position: u64| usize::try_from(position).map_err(|_| cut_off());
    let bytes = file.get(at(chunk.bytes.start)?..at(chunk.bytes.end)?).ok_or_else(cut_off)?;
    let mut reader = Cursor::new(bytes);
    let mut seen = 0;
    while seen < chunk.values {
        let header = {
            let mut protocol = TCompactInputProtocol::new(&mut reader, HEADER_BYTES_MAX);
            PageHeader::read_from_in_protocol(&mut protocol)
                .map_err(|_| damaged("the header of a page cannot be read"))?
        };
        let size = i64::from(header.uncompressed_page_size);
        let values = i64::from(values(&header)?);
        let most = if header.type_ == PageType::DICTIONARY_PAGE {
            // Each entry takes a byte at least.
            size
        } else {
            seen += values;
            chunk.values
        };
        if !(0..=chunk.uncompressed).contains(&size) || !(0..=most).contains(&values) {
            return Err(damaged("a page claims a size that its column does not have"));
        }
        let start = at(reader.position())?;
        let page = usize::try_from(header.compressed_page_size)
            .ok()
            .and_then(|length| bytes.get(start..start.checked_add(length)?))
            .ok_or_else(|| damaged("a page reaches beyond its column"))?;
        if header.crc.is_some_and(|crc| crc as u32 != crc32(page)) {
            return Err(damaged("a page does not match its checksum"));
        }
        reader.set_position((start + page.len()) as u64);
    }
    if seen == chunk.values {
        Ok(())
    } else {
        Err(damaged("the pages of a column hold more values than it has"))
    }
}

/// Values in a page, or entries of a dictionary.
fn values(header: &PageHeader) -> Result<i32, Problem> {
    match header.type_ {
        PageType::DICTIONARY_PAGE => header.dictionary_page_header.as_ref().map(|h| h.num_values),
        PageType::DATA_PAGE => header.data_page_header.as_ref().map(|h| h.num_values),
        PageType::DATA_PAGE_V2 => header.data_page_header_v2.as_ref().map(|h| h.num_values),
        _ => None,
    }
    .ok_or_else(|| damaged("a page is of no known kind"))
}

fn damaged(what: &str) -> Problem {
    Problem::Format { format: "Parquet", cause: format!("{what}: the file is damaged") }
}
