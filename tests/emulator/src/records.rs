//! Records of an archive or a flash, page by page.

use crate::Outcome;
use pumpwitness_protocol::archive::{ARCHIVE_HEADER_BYTES, ArchiveHeader};
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, PageState, SECTOR_BYTES, read_page,
};
use pumpwitness_protocol::record::{Mark, Record, flags};
use pumpwitness_protocol::sector::SectorHeader;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// What a set of sectors holds.
#[derive(Default)]
pub struct Kept {
    /// Records in the order of their pages, with the boot that wrote them.
    pub records: Vec<(u16, Record)>,
    /// Pages that broke off or failed their check.
    pub damaged: usize,
}

/// Records of the sectors of `bytes`, in the order of their numbers; sectors without a good header
/// are left out.
pub fn of_sectors(bytes: &[u8]) -> Kept {
    let mut sectors = BTreeMap::new();
    for sector in bytes.chunks_exact(SECTOR_BYTES) {
        if let Some(header) = SectorHeader::decode(sector) {
            sectors.insert(header.sequence, (header, sector));
        }
    }
    let mut kept = Kept::default();
    for (sequence, (header, sector)) in sectors {
        for (page, bytes) in sector.chunks_exact(PAGE_BYTES).enumerate().take(PAGES_PER_SECTOR) {
            let address = PageAddress { sector: sequence, page: page as u8 };
            let Some(bytes) = bytes.first_chunk() else { continue };
            let from = kept.records.len();
            let state = read_page(bytes, address, header.align.into(), |record| {
                kept.records.push((header.boot, record));
            });
            match state {
                PageState::Good { header } => {
                    kept.records[from..].iter_mut().for_each(|(boot, _)| *boot = header.boot);
                }
                PageState::Blank => {}
                PageState::Torn { .. } | PageState::Damaged => kept.damaged += 1,
            }
        }
    }
    kept
}

/// The head and the sectors of an archive.
pub fn archive(path: &Path) -> Outcome<(ArchiveHeader, Vec<u8>)> {
    let file = fs::read(path)?;
    let header = ArchiveHeader::decode(&file)?;
    let length = header.sectors() as usize * SECTOR_BYTES;
    let sectors = file
        .get(ARCHIVE_HEADER_BYTES..ARCHIVE_HEADER_BYTES + length)
        .ok_or("the archive is shorter than its head says")?;
    Ok((header, sectors.to_vec()))
}

/// Compares every sector of an archive with the same one in the flash it came from.
pub fn verbatim(path: &Path, flash: &Path) -> Outcome<Value> {
    let (header, sectors) = archive(path)?;
    let flash = fs::read(flash)?;
    let mut there = BTreeMap::new();
    for sector in flash.chunks_exact(SECTOR_BYTES) {
        if let Some(header) = SectorHeader::decode(sector) {
            there.insert(header.sequence, sector);
        }
    }
    let mut differing = 0;
    for (sequence, sector) in (header.range.first_sector..).zip(sectors.chunks_exact(SECTOR_BYTES))
    {
        // The head of a sector alone does not count: what is compared is every byte of it.
        differing += usize::from(there.get(&sequence).is_none_or(|bytes| *bytes != sector));
    }
    let kept = of_sectors(&sectors);
    let lost = kept.records.iter().filter(|(_, record)| match record {
        Record::Interval(interval) => interval.flags & flags::FRAMES_LOST != 0,
        Record::Mark(mark) => {
            matches!(mark.mark, Mark::FramesLost { .. } | Mark::RecordsLost { .. })
        }
        Record::Capture(_) => false,
    });
    Ok(json!({
        "lost": lost.count(),
        "sectors": header.sectors(),
        "differing": differing,
        "records": kept.records.len(),
        "damaged": kept.damaged,
    }))
}
