//! Pages.

/// Bytes in a page: the unit of download and of recovery.
pub const PAGE_BYTES: usize = 1024;
/// Pages in a sector.
pub const PAGES_PER_SECTOR: usize = 4;
/// Bytes in a sector: the erase unit of the flash.
pub const SECTOR_BYTES: usize = PAGE_BYTES * PAGES_PER_SECTOR;
