//! Heads of slots, sectors, archives and pages: raw, and with their CRC put right.

use crate::mend;
use pumpwitness_protocol::archive::{self, ARCHIVE_HEADER_BYTES, ArchiveHeader, read_trailer};
use pumpwitness_protocol::page::read_header;
use pumpwitness_protocol::sector::{SECTOR_HEADER_BYTES, SectorHeader};
use pumpwitness_protocol::slot::{SLOT_BYTES_MAX, Slot};

fn check(bytes: &[u8]) {
    if let Some(slot) = Slot::decode(bytes) {
        let mut out = [0; SLOT_BYTES_MAX];
        assert_eq!(Slot::decode(slot.encode(&mut out)), Some(slot.clone()));
    }
    if let Some(header) = SectorHeader::decode(bytes) {
        assert_eq!(SectorHeader::decode(&header.encode()), Some(header));
    }
    if let Ok(header) = ArchiveHeader::decode(bytes) {
        let mut out = [0; ARCHIVE_HEADER_BYTES];
        header.encode(&mut out);
        assert_eq!(ArchiveHeader::decode(&out).as_ref(), Ok(&header));
        let _ = header.sectors();
    }
    if let Some((sectors, hash)) = read_trailer(bytes) {
        assert_eq!(archive::trailer(sectors, hash), bytes);
    }
    let _ = read_header(bytes);
}

/// Runs the target on one input.
pub fn run(bytes: &[u8]) {
    let Some(input) = crate::input::<(u8, &[u8])>(bytes) else { return };
    let (kind, bytes) = input;
    let mut bytes = bytes.to_vec();
    match kind % 5 {
        1 => {
            let mut slot = b"PWSLOT1\n".to_vec();
            slot.append(&mut bytes);
            bytes = slot;
            bytes.resize(bytes.len().max(20), 0);
            bytes[17..20].fill(0);
            let length = |at: usize| usize::from(u16::from_le_bytes([bytes[at], bytes[at + 1]]));
            let end = 20 + length(12) + length(14);
            bytes.resize(bytes.len().max(end + 4), 0);
            mend(&mut bytes, end);
        }
        2 => {
            bytes.resize(SECTOR_HEADER_BYTES, 0);
            bytes[..8].copy_from_slice(b"PWSECTOR");
            bytes[8..10].copy_from_slice(&1_u16.to_le_bytes());
            mend(&mut bytes, SECTOR_HEADER_BYTES - 4);
        }
        3 => {
            let mut head = archive::MAGIC.to_vec();
            head.append(&mut bytes);
            bytes = head;
            bytes.resize(ARCHIVE_HEADER_BYTES, 0);
            mend(&mut bytes, ARCHIVE_HEADER_BYTES - 4);
        }
        4 => {
            bytes.resize(24, 0);
            bytes[..2].copy_from_slice(b"PG");
            mend(&mut bytes, 20);
        }
        _ => {}
    }
    check(&bytes);
}
