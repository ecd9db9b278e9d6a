//! Serial NOR flash of the 25 series: commands and identification as JEDEC JESD216 and every data
//! sheet of the family have them (opcodes from memory, the same with all makers). 4 to 16 MiB with
//! three-byte addresses, 32 MiB with the four-byte opcodes. Waiting for the chip never blocks.

use embassy_time::{Duration, Instant, Timer};
use embedded_hal_async::spi::{Operation, SpiDevice};
use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

const WRITE_ENABLE: u8 = 0x06;
const READ_STATUS: u8 = 0x05;
const READ_ID: u8 = 0x9F;
const READ_UNIQUE: u8 = 0x4B;
const WAKE: u8 = 0xAB;
/// Read, program and erase with three-byte addresses, and with four-byte ones.
const OPCODES: [[u8; 3]; 2] = [[0x03, 0x02, 0x20], [0x13, 0x12, 0x21]];

const BUSY: u8 = 1;
const PROGRAM_BYTES: usize = 256;
const SECTOR: usize = 4096;
/// Longest a sector's erasure may take; 400 ms is the usual limit of the family.
const ERASE_LIMIT: Duration = Duration::from_millis(1000);
const PROGRAM_LIMIT: Duration = Duration::from_millis(20);

/// What can go wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Error {
    /// The bus failed.
    Bus,
    /// Nothing answers, or something whose capacity is not 4 to 32 MiB.
    Unknown([u8; 3]),
    /// Address or length outside the flash or its units.
    Range(NorFlashErrorKind),
    /// Still busy when it should long have been done.
    Stuck,
}

impl NorFlashError for Error {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Range(kind) => *kind,
            _ => NorFlashErrorKind::Other,
        }
    }
}

/// A chip; its capacity is 0 until it has told it.
pub struct SpiNor<S> {
    spi: S,
    capacity: usize,
    opcodes: [u8; 3],
}

impl<S: SpiDevice> SpiNor<S> {
    /// The chip on `spi`, not yet asked anything.
    pub fn new(spi: S) -> Self {
        Self { spi, capacity: 0, opcodes: OPCODES[0] }
    }

    /// Wakes and identifies the chip; gives its own number, written by its maker.
    pub async fn identify(&mut self) -> Result<[u8; 8], Error> {
        self.spi.write(&[WAKE]).await.map_err(|_| Error::Bus)?;
        Timer::after_micros(50).await;
        let mut id = [0; 3];
        let mut operations = [Operation::Write(&[READ_ID]), Operation::Read(&mut id)];
        self.spi.transaction(&mut operations).await.map_err(|_| Error::Bus)?;
        // The third byte is the power of two of the capacity.
        if !(22..=25).contains(&id[2]) {
            return Err(Error::Unknown(id));
        }
        self.opcodes = OPCODES[usize::from(id[2] > 24)];
        self.capacity = 1 << id[2];
        let mut number = [0; 8];
        let mut operations =
            [Operation::Write(&[READ_UNIQUE, 0, 0, 0, 0]), Operation::Read(&mut number)];
        self.spi.transaction(&mut operations).await.map_err(|_| Error::Bus)?;
        Ok(number)
    }

    /// Opcode and address as they go over the bus, and how many bytes of them.
    fn head(&self, which: usize, address: usize) -> ([u8; 5], usize) {
        let opcode = self.opcodes[which];
        let [a, b, c, d] = (address as u32).to_be_bytes();
        if opcode == OPCODES[0][which] {
            ([opcode, b, c, d, 0], 4)
        } else {
            ([opcode, a, b, c, d], 5)
        }
    }

    fn check(&self, offset: usize, length: usize, unit: usize) -> Result<(), Error> {
        if offset > self.capacity || length > self.capacity - offset {
            return Err(Error::Range(NorFlashErrorKind::OutOfBounds));
        }
        if offset % unit != 0 || length % unit != 0 {
            return Err(Error::Range(NorFlashErrorKind::NotAligned));
        }
        Ok(())
    }

    async fn settle(&mut self, pause: Duration, limit: Duration) -> Result<(), Error> {
        let since = Instant::now();
        loop {
            let mut status = [0];
            let mut operations = [Operation::Write(&[READ_STATUS]), Operation::Read(&mut status)];
            self.spi.transaction(&mut operations).await.map_err(|_| Error::Bus)?;
            if status[0] & BUSY == 0 {
                return Ok(());
            }
            if since.elapsed() > limit {
                return Err(Error::Stuck);
            }
            Timer::after(pause).await;
        }
    }
}

impl<S> ErrorType for SpiNor<S> {
    type Error = Error;
}

impl<S: SpiDevice> ReadNorFlash for SpiNor<S> {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error> {
        self.check(offset as usize, bytes.len(), 1)?;
        let (head, length) = self.head(0, offset as usize);
        let mut operations = [Operation::Write(&head[..length]), Operation::Read(bytes)];
        self.spi.transaction(&mut operations).await.map_err(|_| Error::Bus)
    }

    fn capacity(&self) -> usize {
        self.capacity
    }
}

impl<S: SpiDevice> NorFlash for SpiNor<S> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Error> {
        let length = to.checked_sub(from).ok_or(Error::Range(NorFlashErrorKind::OutOfBounds))?;
        self.check(from as usize, length as usize, SECTOR)?;
        for sector in (from as usize..to as usize).step_by(SECTOR) {
            let (head, length) = self.head(2, sector);
            self.spi.write(&[WRITE_ENABLE]).await.map_err(|_| Error::Bus)?;
            self.spi.write(&head[..length]).await.map_err(|_| Error::Bus)?;
            self.settle(Duration::from_millis(2), ERASE_LIMIT).await?;
        }
        Ok(())
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error> {
        self.check(offset as usize, bytes.len(), 1)?;
        let (mut at, mut rest) = (offset as usize, bytes);
        while !rest.is_empty() {
            // Programming wraps round inside its unit.
            let (piece, after) = rest.split_at(rest.len().min(PROGRAM_BYTES - at % PROGRAM_BYTES));
            let (head, length) = self.head(1, at);
            self.spi.write(&[WRITE_ENABLE]).await.map_err(|_| Error::Bus)?;
            let mut operations = [Operation::Write(&head[..length]), Operation::Write(piece)];
            self.spi.transaction(&mut operations).await.map_err(|_| Error::Bus)?;
            self.settle(Duration::from_micros(200), PROGRAM_LIMIT).await?;
            at += piece.len();
            rest = after;
        }
        Ok(())
    }
}
