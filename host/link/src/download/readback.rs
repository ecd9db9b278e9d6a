//! Reading the file back from the disk: hash, hash chain, state of every page.

use super::DownloadError;
use super::part::Part;
use super::plan::{Pages, of_sector, ranges};
use pumpwitness_protocol::archive::{ARCHIVE_HEADER_BYTES, TRAILER_BYTES, read_trailer};
use pumpwitness_protocol::page::{PAGE_BYTES, PageState, SECTOR_BYTES, read_page};
use pumpwitness_protocol::sector::SectorHeader;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::io::{BufReader, Read};
use std::ops::Range;

const BUFFER_BYTES: usize = 1 << 16;

/// What the file holds.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct ReadBack {
    /// SHA-256 of head and sectors.
    pub(super) sha256: [u8; 32],
    pub(super) pages_gone: u32,
    pub(super) pages_damaged: u32,
    pub(super) pages_torn: u32,
    /// Sectors whose successor names another hash.
    pub(super) chain_broken: Vec<u32>,
    /// Links of the chain that cannot be checked, for one of their sectors is not whole.
    pub(super) chain_unknown: u32,
    /// Pages that the logger may still hold better than the disk does.
    pub(super) suspects: Vec<Range<u64>>,
}

/// Reads back head and sectors. `earlier` pages, the first of the file, are from an earlier attempt
/// and have lain on the disk since; `gone` were not held by the logger in this one.
pub(super) fn read_back(
    part: &mut Part,
    earlier: u64,
    gone: &BTreeSet<u64>,
) -> Result<ReadBack, DownloadError> {
    let pages = part.pages;
    let mut whole = Sha256::new();
    let mut found = ReadBack::default();
    let mut suspects = BTreeSet::new();
    let path = part.path().to_owned();
    let failed = |cause| DownloadError::File { file: path.clone(), cause };
    let mut reader = BufReader::with_capacity(BUFFER_BYTES, part.rewound()?);
    let mut head = [0; ARCHIVE_HEADER_BYTES];
    reader.read_exact(&mut head).map_err(failed)?;
    whole.update(head);
    let mut before: Option<[u8; 32]> = None;
    let mut align = 1;
    for index in 0..pages.sectors() {
        let mut sector = [0; SECTOR_BYTES];
        reader.read_exact(&mut sector).map_err(failed)?;
        whole.update(sector);
        let header = SectorHeader::decode(&sector);
        align = header.map_or(align, |header| usize::from(header.align));
        let mut complete = true;
        for (page, bytes) in of_sector(index).zip(sector.as_chunks::<PAGE_BYTES>().0) {
            // Zeros are also what a computer that lost its power leaves where it had not yet
            // written.
            let suspect = if *bytes == [0; PAGE_BYTES] {
                complete = false;
                found.pages_gone += 1;
                !gone.contains(&page)
            } else {
                match read_page(bytes, pages.address(page), align, |_| {}) {
                    PageState::Blank | PageState::Good { .. } => {
                        // The sector's header is no part of the page it precedes.
                        header.is_none() && pages.address(page).page == 0 && page < earlier
                    }
                    PageState::Torn { .. } => {
                        found.pages_torn += 1;
                        page < earlier
                    }
                    PageState::Damaged => {
                        found.pages_damaged += 1;
                        page < earlier
                    }
                }
            };
            if suspect {
                suspects.insert(page);
            }
        }
        if index > 0 {
            match (before, header) {
                (Some(before), Some(header)) if header.previous == before => {}
                (Some(_), Some(_)) => {
                    found.chain_broken.push(pages.sequence(index - 1));
                    suspects.extend(of_sector(index - 1));
                }
                _ => found.chain_unknown += 1,
            }
        }
        before = complete.then(|| Sha256::digest(sector).into());
    }
    found.sha256 = whole.finalize().into();
    found.suspects = ranges(suspects);
    Ok(found)
}

/// Reads back the whole file, trailer and all. Gives its SHA-256 when its trailer and what was
/// hashed before it agree with `sha256`.
pub(super) fn verify(part: &mut Part, sha256: [u8; 32]) -> Result<[u8; 32], DownloadError> {
    let path = part.path().to_owned();
    let failed = |cause| DownloadError::File { file: path.clone(), cause };
    let pages = part.pages;
    let mut body = Pages::offset(pages.total());
    let mut reader = BufReader::with_capacity(BUFFER_BYTES, part.rewound()?);
    let mut whole = Sha256::new();
    let mut buffer = vec![0; BUFFER_BYTES];
    while body > 0 {
        let piece = &mut buffer[..BUFFER_BYTES.min(body as usize)];
        reader.read_exact(piece).map_err(failed)?;
        whole.update(&*piece);
        body -= piece.len() as u64;
    }
    let read: [u8; 32] = whole.clone().finalize().into();
    let mut trailer = Vec::new();
    reader.take(TRAILER_BYTES as u64 + 1).read_to_end(&mut trailer).map_err(failed)?;
    if read != sha256 || read_trailer(&trailer) != Some((pages.sectors(), sha256)) {
        return Err(DownloadError::NotAsWritten(path));
    }
    whole.update(&trailer);
    Ok(whole.finalize().into())
}
