//! Pages (FORMAT.md §2.2): a header and chunks, appended one after the other, each with a CRC that
//! binds it to its place.

use crate::bits::BitReader;
use crate::check;
use crate::codec::{EncodeError, Model, RECORD_BITS_MIN, Sink};
use crate::message::PageAddress;
use crate::record::Record;
use crate::sector::SECTOR_HEADER_BYTES;
use core::ops::Range;

/// Bytes in a page: the unit of download and of recovery.
pub const PAGE_BYTES: usize = 1024;
/// Pages in a sector.
pub const PAGES_PER_SECTOR: usize = 4;
/// Bytes in a sector: the erase unit of the flash.
pub const SECTOR_BYTES: usize = PAGE_BYTES * PAGES_PER_SECTOR;

const VERSION: u8 = 1;
const HEADER_BYTES: usize = 24;
/// Room for the length of a payload while it grows.
const LENGTH_BYTES_MAX: usize = 2;
/// A payload of this length or more has its length in two bytes.
const LONG: usize = 240;
const CRC_BYTES: usize = 4;
const ERASED: u8 = 0xFF;

/// Where the page area of this page begins: behind the sector header in page 0.
pub const fn area_start(page: u8) -> usize {
    if page == 0 { SECTOR_HEADER_BYTES } else { 0 }
}

/// What the CRCs of all chunks of a page begin with.
fn page_crc(address: PageAddress) -> check::Running {
    let [a, b, c, d] = address.sector.to_le_bytes();
    let mut digest = check::running();
    digest.update(&[a, b, c, d, address.page]);
    digest
}

fn chunk_crc(mut of_page: check::Running, at: usize, length_and_payload: &[u8]) -> u32 {
    of_page.update(&(at as u16).to_le_bytes());
    of_page.update(length_and_payload);
    of_page.finalize()
}

/// Length of the payload of the chunk that begins `bytes`, and how many bytes tell it; `None` where
/// it is not written as FORMAT.md says.
fn length_at(bytes: &[u8]) -> Option<(usize, usize)> {
    match *bytes {
        [0, ..] => None,
        [short, ..] if usize::from(short) < LONG => Some((short.into(), 1)),
        [high @ 0xF0..=0xF3, low, ..] => {
            let length = usize::from(high & 3) << 8 | usize::from(low);
            (length >= LONG).then_some((length, 2))
        }
        _ => None,
    }
}

/// Builds a page in memory, chunk by chunk, and says which bytes to program.
pub struct PageWriter {
    bytes: [u8; PAGE_BYTES],
    address: PageAddress,
    align: usize,
    /// First byte not yet handed out for programming.
    unwritten: usize,
    /// Start of the open chunk.
    chunk: usize,
    /// Bits of payload in the open chunk; they stand [`LENGTH_BYTES_MAX`] behind its start.
    bits: usize,
    model: Model,
}

impl PageWriter {
    /// An empty page. `align` is the flash's write size: 1, 2, 4, 8 or 16.
    pub fn new(address: PageAddress, align: usize, boot: u16, base_ms: i64) -> Self {
        let mut bytes = [ERASED; PAGE_BYTES];
        let start = area_start(address.page);
        let header = &mut bytes[start..start + HEADER_BYTES];
        header.fill(0);
        header[0..2].copy_from_slice(b"PG");
        header[2] = VERSION;
        header[3] = address.page;
        header[4..8].copy_from_slice(&address.sector.to_le_bytes());
        header[8..16].copy_from_slice(&base_ms.to_le_bytes());
        header[16..18].copy_from_slice(&boot.to_le_bytes());
        let crc = check::crc32(&header[..20]);
        header[20..24].copy_from_slice(&crc.to_le_bytes());
        Self {
            bytes,
            address,
            align: align.clamp(1, 16),
            unwritten: start,
            chunk: (start + HEADER_BYTES).next_multiple_of(align.clamp(1, 16)),
            bits: 0,
            model: Model::new(base_ms),
        }
    }

    /// Place of this page.
    pub fn address(&self) -> PageAddress {
        self.address
    }

    /// The page as it stands, erased bytes included.
    pub fn bytes(&self) -> &[u8; PAGE_BYTES] {
        &self.bytes
    }

    /// True when the page holds records that were not handed out for programming yet.
    pub fn pending(&self) -> bool {
        self.bits > 0
    }

    /// Appends a record to the open chunk. [`EncodeError::NoRoom`] means: close the chunk and go on
    /// in the next page (nothing was changed); a record never needs more than an empty page.
    pub fn push(&mut self, record: &Record) -> Result<(), EncodeError> {
        // The page's end less the CRC; the padding of a closed chunk stays inside, because a page is
        // a multiple of the alignment.
        let end = PAGE_BYTES - CRC_BYTES;
        let payload = self.chunk + LENGTH_BYTES_MAX;
        if payload >= end {
            return Err(EncodeError::NoRoom);
        }
        self.bits = self.model.encode(record, &mut self.bytes[payload..end], self.bits)?;
        Ok(())
    }

    /// Closes the open chunk, if it has records, and gives the bytes of the page to program now.
    pub fn close_chunk(&mut self) -> Option<Range<usize>> {
        let length = self.bits.div_ceil(8);
        let mut end = self.chunk;
        if length > 0 {
            let mut payload = self.chunk + LENGTH_BYTES_MAX;
            // Bits behind the last record: whatever a record that did not fit has left there.
            if !self.bits.is_multiple_of(8) {
                self.bytes[payload + length - 1] &= ERASED << (8 - self.bits % 8);
            }
            if length < LONG {
                self.bytes.copy_within(payload..payload + length, payload - 1);
                payload -= 1;
                self.bytes[self.chunk] = length as u8;
            } else {
                self.bytes[self.chunk] = 0xF0 | (length >> 8) as u8;
                self.bytes[self.chunk + 1] = length as u8;
            }
            end = payload + length;
            let crc = chunk_crc(page_crc(self.address), self.chunk, &self.bytes[self.chunk..end]);
            self.bytes[end..end + CRC_BYTES].copy_from_slice(&crc.to_le_bytes());
            end += CRC_BYTES;
        }
        // Remains of a record that did not fit.
        self.bytes[end.min(PAGE_BYTES)..].fill(ERASED);
        self.chunk = end.next_multiple_of(self.align);
        self.bits = 0;
        let range = self.unwritten..self.chunk.min(PAGE_BYTES);
        self.unwritten = range.end;
        (!range.is_empty()).then_some(range)
    }
}

/// What a page header says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PageHeader {
    /// Place the page was written for.
    pub address: PageAddress,
    /// Base time, ms since 1970.
    pub base_ms: i64,
    /// Boot that wrote it.
    pub boot: u16,
}

/// How reading a page went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PageState {
    /// Never written: all FF.
    Blank,
    /// Everything in it passed its check.
    Good {
        /// The header.
        header: PageHeader,
    },
    /// The header passed, but a chunk at this offset did not, or bytes that should be erased are
    /// not; records before it stand.
    Torn {
        /// The header.
        header: PageHeader,
        /// Where it broke off.
        at: usize,
    },
    /// The header failed its check, or belongs to another place: nothing is believed.
    Damaged,
}

/// Reads a page that should be at `address`; hands every record of every chunk that passes its
/// check to `sink`, in order.
pub fn read_page(
    bytes: &[u8; PAGE_BYTES],
    address: PageAddress,
    align: usize,
    mut sink: impl Sink,
) -> PageState {
    let start = area_start(address.page);
    let area = &bytes[start..];
    if area.iter().all(|byte| *byte == ERASED) {
        return PageState::Blank;
    }
    let Some(header) = read_header(area) else { return PageState::Damaged };
    if header.address != address {
        return PageState::Damaged;
    }
    let align = align.clamp(1, 16);
    let of_page = page_crc(address);
    let mut model = Model::new(header.base_ms);
    let mut fill = start + HEADER_BYTES;
    loop {
        let at = fill.next_multiple_of(align);
        let chunk = bytes.get(at..).unwrap_or(&[]);
        if chunk.first().is_none_or(|first| *first == ERASED) {
            break;
        }
        let torn = PageState::Torn { header, at };
        let Some((length, told_in)) = length_at(chunk) else { return torn };
        let end = told_in + length;
        let Some(stored) = chunk.get(end..end + CRC_BYTES) else { return torn };
        if chunk_crc(of_page.clone(), at, &chunk[..end]).to_le_bytes() != *stored
            || bytes[fill..at].iter().any(|byte| *byte != ERASED)
        {
            return torn;
        }
        let mut bits = BitReader::within(&chunk[told_in..], length);
        while bits.left() >= RECORD_BITS_MIN {
            if model.decode(&mut bits, &mut sink).is_err() {
                return torn;
            }
        }
        if bits.take(bits.left() as u32) != 0 {
            return torn;
        }
        fill = at + end + CRC_BYTES;
    }
    if bytes[fill.min(PAGE_BYTES)..].iter().any(|byte| *byte != ERASED) {
        return PageState::Torn { header, at: fill };
    }
    PageState::Good { header }
}

/// Reads the header at the start of a page area.
pub fn read_header(area: &[u8]) -> Option<PageHeader> {
    let header: &[u8; HEADER_BYTES] = area.first_chunk()?;
    let passes = header[0..2] == *b"PG"
        && header[2] == VERSION
        && check::crc32(&header[..20]).to_le_bytes() == header[20..24];
    passes.then(|| PageHeader {
        address: PageAddress {
            sector: u32::from_le_bytes([header[4], header[5], header[6], header[7]]),
            page: header[3],
        },
        base_ms: i64::from_le_bytes([
            header[8], header[9], header[10], header[11], header[12], header[13], header[14],
            header[15],
        ]),
        boot: u16::from_le_bytes([header[16], header[17]]),
    })
}

#[cfg(test)]
#[path = "page_tests.rs"]
mod tests;
