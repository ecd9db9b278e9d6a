//! A flash in memory with the physics of a real one: programming only clears bits, words are
//! programmed once between erasures, and the power may go at any byte.

use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use pumpwitness_protocol::page::SECTOR_BYTES;
use std::vec::Vec;

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
}

impl NorFlashError for RamError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            Self::NotAligned => NorFlashErrorKind::NotAligned,
            Self::PowerCut | Self::Reprogrammed { .. } => NorFlashErrorKind::Other,
        }
    }
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
}

/// A flash of words of `WORD` bytes and sectors of 4096.
#[derive(Clone, Debug)]
pub struct RamFlash<const WORD: usize = 1> {
    bytes: Vec<u8>,
    /// Steps (bytes programmed, eighths of an erasure) until the power goes.
    fuse: Option<usize>,
    /// Steps taken since the start.
    steps: usize,
    /// Sectors that silently ignore erasure and programming.
    bad: Vec<usize>,
    counts: Counts,
    noise: u32,
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
        let counts = Counts { erased: std::vec![0; sectors], ..Counts::default() };
        Self { bytes, fuse: None, steps: 0, bad: Vec::new(), counts, noise: 0x2545_F491 }
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

    /// Makes a sector ignore erasure and programming from now on.
    pub fn spoil(&mut self, sector: usize) {
        self.bad.push(sector);
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

    fn range(&self, from: usize, length: usize) -> Result<core::ops::Range<usize>, RamError> {
        let end = from.checked_add(length).filter(|end| *end <= self.bytes.len());
        Ok(from..end.ok_or(RamError::OutOfBounds)?)
    }

    fn powered(&self) -> Result<(), RamError> {
        if self.fuse == Some(0) { Err(RamError::PowerCut) } else { Ok(()) }
    }
}

impl<const WORD: usize> ErrorType for RamFlash<WORD> {
    type Error = RamError;
}

impl<const WORD: usize> ReadNorFlash for RamFlash<WORD> {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), RamError> {
        self.powered()?;
        let range = self.range(offset as usize, bytes.len())?;
        bytes.copy_from_slice(&self.bytes[range]);
        self.counts.read += bytes.len() as u64;
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
        self.powered()?;
        let range = self.range(from as usize, (to as usize).saturating_sub(from as usize))?;
        if !range.start.is_multiple_of(SECTOR_BYTES) || !range.end.is_multiple_of(SECTOR_BYTES) {
            return Err(RamError::NotAligned);
        }
        for start in range.step_by(SECTOR_BYTES) {
            let sector = start / SECTOR_BYTES;
            self.counts.erased[sector] += 1;
            if self.bad.contains(&sector) {
                continue;
            }
            for step in 0..ERASE_STEPS {
                if self.step() {
                    continue;
                }
                // An erasure cut short leaves any mixture of old, erased and drifting bits; the
                // later the cut, the more are erased.
                for at in start..start + SECTOR_BYTES {
                    let lot = self.chance();
                    let drift = self.chance();
                    if usize::from(lot) % ERASE_STEPS < step {
                        self.bytes[at] = 0xFF;
                    } else if lot >= 0xC0 {
                        self.bytes[at] |= drift;
                    }
                }
                return Err(RamError::PowerCut);
            }
            self.bytes[start..start + SECTOR_BYTES].fill(0xFF);
        }
        Ok(())
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), RamError> {
        self.powered()?;
        let range = self.range(offset as usize, bytes.len())?;
        if !range.start.is_multiple_of(WORD) || !bytes.len().is_multiple_of(WORD) {
            return Err(RamError::NotAligned);
        }
        for (at, byte) in range.zip(bytes) {
            if self.bad.contains(&(at / SECTOR_BYTES)) {
                continue;
            }
            if self.bytes[at] != 0xFF {
                return Err(RamError::Reprogrammed { address: at });
            }
            if !self.step() {
                // The byte under way is left with some of its bits cleared.
                let chance = self.chance();
                self.bytes[at] &= byte | chance;
                return Err(RamError::PowerCut);
            }
            self.bytes[at] &= byte;
            self.counts.programmed += 1;
        }
        Ok(())
    }
}

/// Runs a future of this crate over a flash in memory, which never waits.
pub fn now<T>(future: impl Future<Output = T>) -> T {
    let mut context = core::task::Context::from_waker(core::task::Waker::noop());
    let mut future = core::pin::pin!(future);
    loop {
        if let core::task::Poll::Ready(value) = future.as_mut().poll(&mut context) {
            return value;
        }
    }
}
