//! Sealed archives, made by FORMAT.md.

use ed25519_dalek::{Signer, SigningKey};
use pumpwitness_protocol::archive::{ARCHIVE_HEADER_BYTES, ArchiveHeader, trailer};
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::message::{Identity, PageAddress, SnapshotRange};
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR, PageWriter, SECTOR_BYTES};
use pumpwitness_protocol::record::{Interval, Mark, Record, Spread, TimedMark};
use pumpwitness_protocol::seal::{Occasion, Seal, Signature, Statement, papers};
use pumpwitness_protocol::sector::SectorHeader;
use pumpwitness_protocol::settings::Settings;
use sha2::{Digest, Sha256};

pub const START_MS: i64 = 1_770_000_000_000;
/// Time between two pages, ms.
pub const PAGE_MS: i64 = 60_000;

/// A logger and its record.
#[derive(Clone)]
pub struct Story {
    pub device: [u8; 8],
    pub secret: [u8; 32],
    pub first: u32,
    /// Boot of each sector.
    pub boots: Vec<u16>,
    /// Sectors with a seal of the hour, over the sector before.
    pub hours: Vec<usize>,
    /// This sector ends in a half-written chunk.
    pub torn: Option<usize>,
    /// Marks put into page 2 of these sectors.
    pub marks: Vec<(usize, TimedMark)>,
    /// Base times of pages are moved by this from (sector, page) on, ms.
    pub step: Option<(usize, usize, i64)>,
    /// From page 2 of this sector on, pages are of the start after the one that opened it.
    pub gone_on: Option<usize>,
    /// Added to the voltage, so that two records differ.
    pub salt: i32,
}

impl Default for Story {
    fn default() -> Self {
        Self {
            device: *b"logger 7",
            secret: [7; 32],
            first: 40,
            boots: vec![3; 4],
            hours: vec![1, 3],
            torn: None,
            marks: Vec::new(),
            step: None,
            gone_on: None,
            salt: 0,
        }
    }
}

impl Story {
    pub fn public(&self) -> [u8; 32] {
        SigningKey::from_bytes(&self.secret).verifying_key().to_bytes()
    }

    fn page_ms(&self, sector: usize, page: usize) -> i64 {
        let moved = self.step.filter(|step| (step.0, step.1) <= (sector, page));
        START_MS
            + PAGE_MS * (sector * PAGES_PER_SECTOR + page) as i64
            + moved.map_or(0, |(_, _, by)| by)
    }

    pub fn seal(&self, statement: Statement) -> Seal {
        let signature = SigningKey::from_bytes(&self.secret).sign(&statement.signed_bytes());
        Seal { statement, signature: Signature::from_bytes(&signature.to_bytes()) }
    }

    pub fn statement(&self, occasion: Occasion, n: usize, hash: [u8; 32]) -> Statement {
        Statement {
            device: self.device,
            boot: self.boots[n],
            occasion,
            sector: self.first + n as u32,
            chain: hash,
            time_ms: self.page_ms(n + 1, 0),
            papers: papers(&Settings::default(), SITE, &Calibration::default()),
        }
    }

    /// Sector `n`, behind one of hash `previous`.
    pub fn sector(&self, n: usize, previous: [u8; 32]) -> Vec<u8> {
        let sequence = self.first + n as u32;
        let mut bytes = Vec::new();
        for page in 0..PAGES_PER_SECTOR {
            let last = n + 1 == self.boots.len() && page == 3;
            if last {
                bytes.extend_from_slice(&[0xFF; PAGE_BYTES]);
                continue;
            }
            let address = PageAddress { sector: sequence, page: page as u8 };
            let base_ms = self.page_ms(n, page);
            let boot = self.boots[n] + u16::from(self.gone_on == Some(n) && page >= 2);
            let mut writer = PageWriter::new(address, 1, boot, base_ms);
            let mark = |time_ms, mark| Record::Mark(TimedMark { time_ms, mark });
            if n == 0 && page == 0 {
                let before_ms = base_ms - 5000;
                writer.push(&mark(base_ms, Mark::ClockSet { before_ms })).unwrap();
                writer.push(&mark(base_ms + 1, Mark::Armed)).unwrap();
            }
            if page == 1 && self.hours.contains(&n) {
                let statement = self.statement(Occasion::Hour, n - 1, previous);
                writer.push(&mark(base_ms, Mark::Seal(self.seal(statement)))).unwrap();
            }
            for row in 0..6 {
                writer.push(&self.row(base_ms + 200 * row)).unwrap();
            }
            for (_, mark) in self.marks.iter().filter(|(at, _)| (*at, 2) == (n, page)) {
                writer.push(&Record::Mark(mark.clone())).unwrap();
            }
            writer.close_chunk();
            let mut page_bytes = *writer.bytes();
            if self.torn == Some(n) && page == 3 {
                page_bytes[900] = 0x3F;
            }
            bytes.extend_from_slice(&page_bytes);
        }
        let header = SectorHeader {
            align: 1,
            sequence,
            device: self.device,
            previous,
            erased: 1,
            boot: self.boots[n],
            opened_ms: self.page_ms(n, 0),
        };
        let encoded = header.encode();
        bytes[..encoded.len()].copy_from_slice(&encoded);
        bytes
    }

    fn row(&self, end_ms: i64) -> Record {
        Record::Interval(Interval {
            end_ms,
            span_ms: 200,
            count: 1,
            voltage_dv: Spread { mean: 2300 + self.salt, min: 2290, max: 2340 },
            current_ca: Spread { mean: 640, min: 600, max: 690 },
            power_w: 1200,
            signal: Spread { mean: 5000, min: 5000, max: 5010 },
            frequency_chz: 5000,
            flags: 0,
        })
    }

    /// All sectors, chained.
    pub fn sectors(&self) -> Vec<Vec<u8>> {
        let mut previous = [0xAA; 32];
        (0..self.boots.len())
            .map(|n| {
                let sector = self.sector(n, previous);
                previous = Sha256::digest(&sector).into();
                sector
            })
            .collect()
    }

    pub fn head(&self, last_hash: [u8; 32]) -> ArchiveHeader {
        let last = self.boots.len() - 1;
        let clock_ms = self.page_ms(last + 1, 0);
        ArchiveHeader {
            identity: Identity {
                protocol: 1,
                device: self.device,
                firmware: [0, 1, 2],
                boot: self.boots[last],
                clock_ms,
                clock_good: true,
            },
            range: SnapshotRange {
                first_sector: self.first,
                last_sector: self.first + last as u32,
                clock_ms,
            },
            host_clock_ms: clock_ms + 750,
            settings: Settings::default(),
            site_text: SITE.iter().copied().collect(),
            calibration: Calibration::default(),
            public_key: self.public(),
            seal: Some(self.seal(self.statement(Occasion::Download, last, last_hash))),
            collected_by: "A. Fitter".try_into().unwrap(),
            program: [0, 1, 0],
        }
    }

    pub fn archive(&self) -> Vec<u8> {
        let sectors = self.sectors();
        let hash = Sha256::digest(&sectors[sectors.len() - 1]).into();
        file(&self.head(hash), &sectors.concat())
    }
}

pub const SITE: &[u8] = b"[supply]\nnominal_v = 230\nfrequency_hz = 50\n";

/// A file of this head and these sectors.
pub fn file(head: &ArchiveHeader, sectors: &[u8]) -> Vec<u8> {
    let mut file = vec![0; ARCHIVE_HEADER_BYTES];
    head.encode((&mut file[..]).try_into().unwrap());
    file.extend_from_slice(sectors);
    end(file)
}

/// With an end mark that fits.
pub fn end(mut file: Vec<u8>) -> Vec<u8> {
    let hash = Sha256::digest(&file).into();
    let sectors = (file.len() - ARCHIVE_HEADER_BYTES) / SECTOR_BYTES;
    file.extend_from_slice(&trailer(sectors as u32, hash));
    file
}

/// Byte at which a page lies in the file.
pub fn page_at(sector: usize, page: usize) -> usize {
    ARCHIVE_HEADER_BYTES + sector * SECTOR_BYTES + page * PAGE_BYTES
}
