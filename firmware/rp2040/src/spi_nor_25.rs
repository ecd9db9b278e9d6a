//! Serial NOR flash of the 25 series on SPI. What the chips say and want is in
//! `pumpwitness_board::nor`; here it goes over the bus, and waiting for the chip never blocks.

use embassy_time::{Duration, Instant, Timer};
use embedded_hal_async::spi::{Operation, SpiDevice};
use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use pumpwitness_board::nor::{
    BUSY, BasicTable, Chip, Command, PROGRAM_BYTES, READ_DESCRIPTION, READ_ID, READ_STATUS,
    READ_UNIQUE, SECTOR_BYTES, Unfit, WAKE, WRITE_ENABLE, is_no_number, read_table,
};

/// Longest a sector's erasure may take; 400 ms is the usual limit of the family.
const ERASE_LIMIT: Duration = Duration::from_millis(1000);
const PROGRAM_LIMIT: Duration = Duration::from_millis(20);
/// Pauses between two looks at a chip that works.
const ERASE_PAUSE: Duration = Duration::from_millis(2);
const PROGRAM_PAUSE: Duration = Duration::from_micros(200);

/// What can go wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Error {
    /// The bus failed.
    Bus,
    /// Nothing answers, or a chip that the journal cannot use.
    Unfit(Unfit),
    /// The chip has no number of its own, or answers otherwise when it is asked again.
    NoNumber,
    /// Address or length outside the flash or its units, or the chip has not been identified.
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

/// A chip; without capacity until it has been identified.
pub struct SpiNor<S> {
    spi: S,
    chip: Option<Chip>,
}

impl<S: SpiDevice> SpiNor<S> {
    /// The chip on `spi`, not yet asked anything.
    pub fn new(spi: S) -> Self {
        Self { spi, chip: None }
    }

    /// Wakes and identifies the chip; gives its own number, written by its maker. All is asked
    /// twice, for nothing on this bus is checked and a wrong size would be believed for ever.
    pub async fn identify(&mut self) -> Result<[u8; 8], Error> {
        self.spi.write(&[WAKE]).await.map_err(|_| Error::Bus)?;
        Timer::after_micros(50).await;
        // A restart of this chip does not end what that one was doing.
        self.settle(ERASE_PAUSE, ERASE_LIMIT).await?;
        let (chip, number) = self.ask().await?;
        if is_no_number(number) || self.ask().await? != (chip, number) {
            return Err(Error::NoNumber);
        }
        self.chip = Some(chip);
        Ok(number)
    }

    async fn ask(&mut self) -> Result<(Chip, [u8; 8]), Error> {
        let mut header = [0; 16];
        self.query(&READ_DESCRIPTION, &mut header).await?;
        let chip = if let Some(read) = read_table(&header) {
            let mut words = [0; 8];
            self.query(&read, &mut words).await?;
            Chip::of_table(BasicTable::of(words))
        } else {
            let mut id = [0; 3];
            self.query(&READ_ID, &mut id).await?;
            Chip::of_id(id)
        };
        let mut number = [0; 8];
        self.query(&READ_UNIQUE, &mut number).await?;
        Ok((chip.map_err(Error::Unfit)?, number))
    }

    async fn query(&mut self, question: &[u8], answer: &mut [u8]) -> Result<(), Error> {
        let mut operations = [Operation::Write(question), Operation::Read(answer)];
        self.spi.transaction(&mut operations).await.map_err(|_| Error::Bus)
    }

    /// The chip, if the range lies within it and on its units.
    fn check(&self, offset: usize, length: usize, unit: usize) -> Result<Chip, Error> {
        let within = |chip: &Chip| offset <= chip.capacity() && length <= chip.capacity() - offset;
        let Some(chip) = self.chip.filter(within) else {
            return Err(Error::Range(NorFlashErrorKind::OutOfBounds));
        };
        if !offset.is_multiple_of(unit) || !length.is_multiple_of(unit) {
            return Err(Error::Range(NorFlashErrorKind::NotAligned));
        }
        Ok(chip)
    }

    async fn settle(&mut self, pause: Duration, limit: Duration) -> Result<(), Error> {
        let since = Instant::now();
        loop {
            let mut status = [0];
            self.query(&[READ_STATUS], &mut status).await?;
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
        let chip = self.check(offset as usize, bytes.len(), 1)?;
        self.query(chip.head(Command::Read, offset).bytes(), bytes).await
    }

    fn capacity(&self) -> usize {
        self.chip.map_or(0, Chip::capacity)
    }
}

impl<S: SpiDevice> NorFlash for SpiNor<S> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR_BYTES;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Error> {
        let length = to.checked_sub(from).ok_or(Error::Range(NorFlashErrorKind::OutOfBounds))?;
        let chip = self.check(from as usize, length as usize, SECTOR_BYTES)?;
        for sector in (from..to).step_by(SECTOR_BYTES) {
            self.spi.write(&[WRITE_ENABLE]).await.map_err(|_| Error::Bus)?;
            let head = chip.head(Command::Erase, sector);
            self.spi.write(head.bytes()).await.map_err(|_| Error::Bus)?;
            self.settle(ERASE_PAUSE, ERASE_LIMIT).await?;
        }
        Ok(())
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error> {
        let chip = self.check(offset as usize, bytes.len(), 1)?;
        let (mut at, mut rest) = (offset, bytes);
        while !rest.is_empty() {
            // Programming wraps round inside its unit.
            let room = PROGRAM_BYTES - at as usize % PROGRAM_BYTES;
            let (piece, after) = rest.split_at(rest.len().min(room));
            let head = chip.head(Command::Program, at);
            self.spi.write(&[WRITE_ENABLE]).await.map_err(|_| Error::Bus)?;
            let mut operations = [Operation::Write(head.bytes()), Operation::Write(piece)];
            self.spi.transaction(&mut operations).await.map_err(|_| Error::Bus)?;
            self.settle(PROGRAM_PAUSE, PROGRAM_LIMIT).await?;
            at += piece.len() as u32;
            rest = after;
        }
        Ok(())
    }
}
