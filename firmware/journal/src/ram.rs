//! A flash in memory with the physics of a real one: programming only clears bits, words are
//! programmed once between erasures, sectors go bad, and the power may go at any byte.

use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use pumpwitness_protocol::page::SECTOR_BYTES;
use std::collections::BTreeMap;
use std::vec::Vec;

/// Runs a future of this crate over a flash in memory, which never waits.
pub use embassy_futures::block_on as now;

/// Steps in which an erasure goes on, for cutting the power between them.
pub const ERASE_STEPS: usize = 8;

/// Why the flash refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RamError {
    /// The power is gone.
    PowerCut,
    /// Beyond the end.
    OutOfBounds,
    /// Not on a word or sector.
    NotAligned,
    /// A word that was programmed since its erasure.
    Reprogrammed {
        /// Its address.
        address: usize,
    },
    /// The sector is bad and the flash says so.
    Failed {
        /// Where.
        address: usize,
    },
}

impl NorFlashError for RamError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            Self::NotAligned => NorFlashErrorKind::NotAligned,
            Self::PowerCut | Self::Reprogrammed { .. } | Self::Failed { .. } => {
                NorFlashErrorKind::Other
            }
        }
    }
}

/// How a sector is bad.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Erasure and programming do nothing and say nothing.
    Ignores,
    /// Erasure fails and says so; programming works.
    EraseFails,
    /// Programming fails in the middle and says so; erasure works.
    ProgramFails,
    /// Some bits no longer come back to 1, and nothing is said.
    StuckBits,
}

/// What was done to the flash.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Bytes read.
    pub read: u64,
    /// Bytes programmed.
    pub programmed: u64,
    /// Erasures of each sector.
    pub erased: Vec<u32>,
    /// Attempts to program a word twice; each is a mistake of the caller.
    pub reprogrammed: u64,
}

/// A flash of words of `WORD` bytes and sectors of 4096.
#[derive(Clone, Debug)]
pub struct RamFlash<const WORD: usize = 1> {
    bytes: Vec<u8>,
    /// Bit of each word: programmed since its erasure, if only with FF.
    used: Vec<u64>,
    /// Steps (bytes programmed, eighths of an erasure) until the power goes.
    fuse: Option<usize>,
    /// Steps taken since the start.
    steps: usize,
    /// The step at which each operation began, while they are noted.
    operations: Option<Vec<usize>>,
    bad: Vec<(usize, Fault)>,
    /// Bits that a power cut left between 0 and 1, by address: each reading may differ.
    unstable: Option<BTreeMap<usize, u8>>,
    counts: Counts,
    noise: u32,
    /// Readings until one fails.
    failing_read: Option<usize>,
}

impl<const WORD: usize> RamFlash<WORD> {
    /// An erased flash of `sectors` sectors.
    pub fn erased(sectors: usize) -> Self {
        Self::from_bytes(std::vec![0xFF; sectors * SECTOR_BYTES])
    }

    /// A flash that holds `bytes`; a part of a sector at the end is left out.
    pub fn from_bytes(mut bytes: Vec<u8>) -> Self {
        bytes.truncate(bytes.len() / SECTOR_BYTES * SECTOR_BYTES);
        let sectors = bytes.len() / SECTOR_BYTES;
        let mut flash = Self {
            used: std::vec![0; (bytes.len() / WORD).div_ceil(64)],
            bytes,
            fuse: None,
            steps: 0,
            operations: None,
            bad: Vec::new(),
            unstable: None,
            counts: Counts { erased: std::vec![0; sectors], ..Counts::default() },
            noise: 0x2545_F491,
            failing_read: None,
        };
        for word in 0..flash.bytes.len() / WORD {
            if flash.bytes[word * WORD..][..WORD].iter().any(|byte| *byte != 0xFF) {
                flash.used[word / 64] |= 1 << (word % 64);
            }
        }
        flash
    }

    /// The bytes.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// The bytes, to let them rot.
    pub fn bytes_mut(&mut self) -> &mut [u8] {
        &mut self.bytes
    }

    /// Lets the power go after this many steps more; `None`: never. Either way it is on now.
    pub fn set_fuse(&mut self, steps: Option<usize>) {
        self.fuse = steps;
    }

    /// Steps taken so far.
    pub fn steps(&self) -> usize {
        self.steps
    }

    /// Starts noting at which step each programming and erasure begins.
    pub fn note_operations(&mut self) {
        self.operations = Some(Vec::new());
    }

    /// The steps noted.
    pub fn operations(&self) -> &[usize] {
        self.operations.as_deref().unwrap_or_default()
    }

    /// From now on a power cut leaves bits that read now so and now otherwise, until their sector
    /// is erased.
    pub fn leave_unstable_bits(&mut self) {
        self.unstable.get_or_insert_default();
    }

    /// Makes a sector ignore erasure and programming from now on.
    pub fn spoil(&mut self, sector: usize) {
        self.spoil_with(sector, Fault::Ignores);
    }

    /// Makes a sector bad from now on.
    pub fn spoil_with(&mut self, sector: usize, fault: Fault) {
        self.bad.push((sector, fault));
    }

    /// Makes one reading fail, after `reads` good ones.
    pub fn fail_read_after(&mut self, reads: usize) {
        self.failing_read = Some(reads);
    }

    /// What was done so far.
    pub fn counts(&self) -> &Counts {
        &self.counts
    }

    /// One step; false when the power goes in it.
    fn step(&mut self) -> bool {
        match &mut self.fuse {
            Some(0) => return false,
            Some(left) => *left -= 1,
            None => {}
        }
        self.steps += 1;
        true
    }

    /// Bits of chance, always the same for the same history.
    fn chance(&mut self) -> u8 {
        self.noise ^= self.noise << 13;
        self.noise ^= self.noise >> 17;
        self.noise ^= self.noise << 5;
        (self.noise >> 11) as u8
    }

    fn fault(&self, sector: usize) -> Option<Fault> {
        self.bad.iter().find(|(bad, _)| *bad == sector).map(|(_, fault)| *fault)
    }

    fn range(&self, from: usize, length: usize) -> Result<core::ops::Range<usize>, RamError> {
        let end = from.checked_add(length).filter(|end| *end <= self.bytes.len());
        Ok(from..end.ok_or(RamError::OutOfBounds)?)
    }

    /// The power is there and an operation begins.
    fn begin(&mut self) -> Result<(), RamError> {
        self.powered()?;
        if let Some(operations) = &mut self.operations {
            operations.push(self.steps);
        }
        Ok(())
    }

    fn powered(&self) -> Result<(), RamError> {
        if self.fuse == Some(0) { Err(RamError::PowerCut) } else { Ok(()) }
    }

    /// Leaves some of the bits of `mask` between 0 and 1.
    fn unsettle(&mut self, at: usize, mask: u8) {
        let chance = self.chance();
        if let Some(unstable) = &mut self.unstable
            && mask & chance != 0
        {
            unstable.insert(at, mask & chance);
        }
    }

    /// An erasure cut short leaves any mixture of old, erased and drifting bits; the later the cut,
    /// the more are erased. Of those that read as erased some are so only just.
    fn erase_in_part(&mut self, start: usize, step: usize) {
        for at in start..start + SECTOR_BYTES {
            let lot = self.chance();
            let drift = self.chance();
            let before = self.bytes[at];
            if usize::from(lot) % ERASE_STEPS < step {
                self.bytes[at] = 0xFF;
            } else if lot >= 0xC0 {
                self.bytes[at] |= drift;
            }
            if lot.is_multiple_of(16) {
                self.unsettle(at, !before);
            }
        }
    }

    fn erase_sector(&mut self, sector: usize) -> Result<(), RamError> {
        let start = sector * SECTOR_BYTES;
        let end = start + SECTOR_BYTES;
        self.counts.erased[sector] += 1;
        let fault = self.fault(sector);
        match fault {
            Some(Fault::Ignores) => return Ok(()),
            Some(Fault::EraseFails) => return Err(RamError::Failed { address: start }),
            Some(Fault::ProgramFails | Fault::StuckBits) | None => {}
        }
        for step in 0..ERASE_STEPS {
            if !self.step() {
                self.erase_in_part(start, step);
                return Err(RamError::PowerCut);
            }
        }
        self.bytes[start..end].fill(0xFF);
        if fault == Some(Fault::StuckBits) {
            self.bytes[start + SECTOR_BYTES / 3] &= 0xFB;
        }
        for word in start / WORD..end / WORD {
            self.used[word / 64] &= !(1 << (word % 64));
        }
        if let Some(unstable) = &mut self.unstable {
            unstable.retain(|at, _| !(start..end).contains(at));
        }
        Ok(())
    }

    fn program_byte(&mut self, at: usize, byte: u8) -> Result<(), RamError> {
        let before = self.bytes[at];
        if self.step() {
            self.bytes[at] = before & byte;
            self.counts.programmed += 1;
            return Ok(());
        }
        // The word under way is left with some of its bits cleared, and some just about.
        let chance = self.chance();
        self.bytes[at] = before & (byte | chance);
        self.unsettle(at, before & !byte);
        Err(RamError::PowerCut)
    }
}

impl<const WORD: usize> ErrorType for RamFlash<WORD> {
    type Error = RamError;
}

impl<const WORD: usize> ReadNorFlash for RamFlash<WORD> {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), RamError> {
        self.powered()?;
        match &mut self.failing_read {
            Some(0) => {
                self.failing_read = None;
                return Err(RamError::Failed { address: offset as usize });
            }
            Some(left) => *left -= 1,
            None => {}
        }
        let range = self.range(offset as usize, bytes.len())?;
        bytes.copy_from_slice(&self.bytes[range.clone()]);
        self.counts.read += bytes.len() as u64;
        let unstable: Vec<(usize, u8)> = self
            .unstable
            .iter()
            .flat_map(|unstable| unstable.range(range.clone()))
            .map(|(at, mask)| (*at, *mask))
            .collect();
        for (at, mask) in unstable {
            bytes[at - range.start] ^= mask & self.chance();
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl<const WORD: usize> NorFlash for RamFlash<WORD> {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = SECTOR_BYTES;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), RamError> {
        self.begin()?;
        let range = self.range(from as usize, (to as usize).saturating_sub(from as usize))?;
        if !range.start.is_multiple_of(SECTOR_BYTES) || !range.end.is_multiple_of(SECTOR_BYTES) {
            return Err(RamError::NotAligned);
        }
        for sector in range.start / SECTOR_BYTES..range.end / SECTOR_BYTES {
            self.erase_sector(sector)?;
        }
        Ok(())
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), RamError> {
        self.begin()?;
        let range = self.range(offset as usize, bytes.len())?;
        if !range.start.is_multiple_of(WORD) || !bytes.len().is_multiple_of(WORD) {
            return Err(RamError::NotAligned);
        }
        let fault = self.fault(range.start / SECTOR_BYTES);
        if fault == Some(Fault::Ignores) {
            return Ok(());
        }
        for (at, byte) in range.clone().zip(bytes) {
            let word = at / WORD;
            if at.is_multiple_of(WORD) {
                if self.used[word / 64] & (1 << (word % 64)) != 0 {
                    self.counts.reprogrammed += 1;
                    return Err(RamError::Reprogrammed { address: at });
                }
                self.used[word / 64] |= 1 << (word % 64);
            }
            if fault == Some(Fault::ProgramFails) && at >= range.start + bytes.len() / 2 {
                return Err(RamError::Failed { address: at });
            }
            self.program_byte(at, *byte)?;
        }
        Ok(())
    }
}
