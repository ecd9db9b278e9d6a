//! For tests: a line on which waiting costs nothing, a scripted logger behind it, and faults
//! between them.

use crate::transport::Transport;
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::frame::{self, Decoder, FRAME_BYTES_MAX, Found};
use pumpwitness_protocol::message::{
    Identity, Live, PROTOCOL_VERSION, PageAddress, Refusal, Reply, ReplyBody, Request, RequestBody,
    SITE_PART_MAX, SnapshotRange, Status,
};
use pumpwitness_protocol::page::{PAGES_PER_SECTOR, PageWriter, SECTOR_BYTES};
use pumpwitness_protocol::record::{Mark, Record, TimedMark};
use pumpwitness_protocol::seal::Seal;
use pumpwitness_protocol::sector::{SECTOR_HEADER_BYTES, SectorHeader};
use pumpwitness_protocol::settings::Settings;
use sha2::{Digest, Sha256};
use std::cell::RefCell;
use std::collections::{BTreeSet, VecDeque};
use std::io;
use std::rc::Rc;
use std::time::{Duration, Instant};

/// Bytes in, frames out.
pub trait Peer {
    /// Takes bytes from the host; gives what it sends, cut into frames.
    fn receive(&mut self, bytes: &[u8]) -> Vec<Vec<u8>>;
}

impl<P: Peer> Peer for Rc<RefCell<P>> {
    fn receive(&mut self, bytes: &[u8]) -> Vec<Vec<u8>> {
        self.borrow_mut().receive(bytes)
    }
}

/// What happens to a frame on its way to the host: one of so many is hit, by a fixed seed.
#[derive(Clone, Copy, Debug, Default)]
pub struct Faults {
    /// The plug is pulled after this many bytes to the host.
    pub unplug_after: Option<usize>,
    /// One frame of so many is damaged, dropped, doubled, or changes place with the next.
    pub one_in: Option<u32>,
    /// Seed of the lots drawn.
    pub seed: u32,
}

/// What passed over a line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Passed {
    /// Bytes to the host.
    pub to_host: usize,
    /// Bytes to the peer.
    pub to_peer: usize,
    /// Times the host waited in vain.
    pub waits: usize,
}

/// A line to a peer, with a clock that waiting moves on.
pub struct Line<P> {
    peer: P,
    faults: Faults,
    lot: u32,
    /// A frame that lets the next one pass.
    held: Option<Vec<u8>>,
    coming: VecDeque<u8>,
    now: Instant,
    pub passed: Passed,
}

impl<P: Peer> Line<P> {
    pub fn new(peer: P, faults: Faults) -> Self {
        let lot = 0x1234_5678 ^ faults.seed;
        let passed = Passed::default();
        Self { peer, faults, lot, held: None, coming: VecDeque::new(), now: Instant::now(), passed }
    }

    /// A number of chance below `bound`.
    fn chance(&mut self, bound: u32) -> u32 {
        self.lot = self.lot.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.lot >> 8) % bound
    }

    fn pass(&mut self, mut frame: Vec<u8>) {
        let hit = self.faults.one_in.is_some_and(|one_in| self.chance(one_in) == 0);
        let kind = if hit { self.chance(4) } else { 4 };
        match kind {
            0 => return,
            1 => frame.extend(frame.clone()),
            2 => {
                let at = self.chance(frame.len() as u32) as usize;
                frame[at] ^= 1 << self.chance(8);
            }
            3 if self.held.is_none() => {
                self.held = Some(frame);
                return;
            }
            _ => {}
        }
        self.coming.extend(frame);
        self.coming.extend(self.held.take().into_iter().flatten());
    }

    fn plugged(&self) -> bool {
        self.faults.unplug_after.is_none_or(|after| self.passed.to_host < after)
    }
}

impl<P: Peer> Transport for Line<P> {
    fn name(&self) -> &'static str {
        "test line"
    }

    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        if !self.plugged() {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        if self.coming.is_empty() {
            self.coming.extend(self.held.take().into_iter().flatten());
        }
        let left = self.faults.unplug_after.map_or(usize::MAX, |a| a - self.passed.to_host);
        let count = self.coming.len().min(buffer.len()).min(left);
        if count == 0 {
            self.passed.waits += 1;
            self.now += wait;
        }
        for (place, byte) in buffer.iter_mut().zip(self.coming.drain(..count)) {
            *place = byte;
        }
        self.passed.to_host += count;
        Ok(count)
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        if !self.plugged() {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        self.passed.to_peer += bytes.len();
        for frame in self.peer.receive(bytes) {
            self.pass(frame);
        }
        Ok(())
    }

    fn now(&self) -> Instant {
        self.now
    }
}

/// A reply as a frame.
pub fn framed(id: u16, body: ReplyBody) -> Vec<u8> {
    let mut buffer = [0; FRAME_BYTES_MAX];
    frame::encode(&Reply { id, body }, &mut buffer).unwrap().to_vec()
}

/// A peer that answers each request by a function.
pub struct Script<F> {
    decoder: Decoder,
    answer: F,
}

impl<F: FnMut(&Request) -> Vec<Vec<u8>>> Script<F> {
    pub fn new(answer: F) -> Self {
        Self { decoder: Decoder::new(), answer }
    }
}

impl<F: FnMut(&Request) -> Vec<Vec<u8>>> Peer for Script<F> {
    fn receive(&mut self, mut bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut frames = Vec::new();
        while !bytes.is_empty() {
            let (found, rest) = self.decoder.feed::<Request>(bytes);
            bytes = rest;
            if let Some(Found::Message(request)) = found {
                frames.extend((self.answer)(&request));
            }
        }
        frames
    }
}

/// Who a scripted logger says it is.
pub fn identity(device: [u8; 8]) -> Identity {
    Identity {
        protocol: PROTOCOL_VERSION,
        device,
        firmware: [0, 1, 0],
        boot: 3,
        clock_ms: 1_770_000_000_000,
        clock_good: true,
    }
}

/// A scripted logger that holds sectors.
pub struct Shelf {
    pub identity: Identity,
    pub settings: Settings,
    pub site: Vec<u8>,
    /// Sequence number of the first sector.
    pub first: u32,
    pub sectors: Vec<[u8; SECTOR_BYTES]>,
    /// Pages it does not hold.
    pub gone: BTreeSet<PageAddress>,
    /// Pages it sends those bytes of another for.
    pub misplaced: BTreeSet<PageAddress>,
    /// Its public key and seal, if it has any.
    pub sealed: Option<([u8; 32], Seal)>,
    /// Times it still fails to read its memory.
    pub memory_fails: u32,
    pub requests: Vec<RequestBody>,
    decoder: Decoder,
}

impl Shelf {
    /// `count` sectors from `first` on, chained, each page with a record of its own.
    pub fn new(device: [u8; 8], first: u32, count: u32, opened_ms: i64) -> Self {
        let mut previous = [0; 32];
        let mut sectors = Vec::new();
        for sequence in first..=first + (count - 1) {
            let boot = 3;
            let header = SectorHeader {
                align: 1,
                sequence,
                device,
                previous,
                erased: 1,
                boot,
                opened_ms: opened_ms + i64::from(sequence),
            };
            let mut sector = [0xFF; SECTOR_BYTES];
            for page in 0..PAGES_PER_SECTOR as u8 {
                let address = PageAddress { sector: sequence, page };
                let mut writer = PageWriter::new(address, 1, boot, opened_ms);
                for n in 0..20 {
                    let mark = Mark::RecordsLost { records: n };
                    let time_ms = opened_ms + i64::from(n);
                    writer.push(&Record::Mark(TimedMark { time_ms, mark })).unwrap();
                }
                writer.close_chunk();
                let at = usize::from(page) * writer.bytes().len();
                sector[at..at + writer.bytes().len()].copy_from_slice(writer.bytes());
            }
            sector[..SECTOR_HEADER_BYTES].copy_from_slice(&header.encode());
            previous = Sha256::digest(sector).into();
            sectors.push(sector);
        }
        Self {
            identity: identity(device),
            settings: Settings::default(),
            site: vec![b'#'; 700],
            first,
            sectors,
            gone: BTreeSet::new(),
            misplaced: BTreeSet::new(),
            sealed: None,
            memory_fails: 0,
            requests: Vec::new(),
            decoder: Decoder::new(),
        }
    }

    pub fn last(&self) -> u32 {
        self.first + (self.sectors.len() as u32 - 1)
    }

    pub fn shared(self) -> Rc<RefCell<Self>> {
        Rc::new(RefCell::new(self))
    }

    pub fn page(&self, address: PageAddress) -> Option<&[u8]> {
        let sector = self.sectors.get(address.sector.checked_sub(self.first)? as usize)?;
        sector.chunks(SECTOR_BYTES / PAGES_PER_SECTOR).nth(address.page.into())
    }

    fn reply_to_page(&mut self, address: PageAddress) -> ReplyBody {
        if self.memory_fails > 0 {
            self.memory_fails -= 1;
            return ReplyBody::Refused(Refusal::Memory);
        }
        if self.gone.contains(&address) {
            return ReplyBody::PageGone { address };
        }
        let from = if self.misplaced.contains(&address) {
            PageAddress { page: 3 - address.page, ..address }
        } else {
            address
        };
        match self.page(from) {
            Some(bytes) => ReplyBody::Page { address, bytes: bytes.iter().copied().collect() },
            None => ReplyBody::PageGone { address },
        }
    }

    fn answer(&mut self, Request { id, body }: &Request, frames: &mut Vec<Vec<u8>>) {
        self.requests.push(body.clone());
        let reply = match body {
            RequestBody::Hello { .. } => ReplyBody::Hello(self.identity.clone()),
            RequestBody::Status => ReplyBody::Status(Status::default()),
            RequestBody::Live => ReplyBody::Live(Live::default()),
            RequestBody::GetSettings => ReplyBody::Settings(self.settings.clone()),
            RequestBody::GetSite { offset } => {
                let rest = self.site.get(usize::from(*offset)..).unwrap_or_default();
                let bytes = rest.iter().copied().take(SITE_PART_MAX).collect();
                ReplyBody::Site { offset: *offset, total: self.site.len() as u16, bytes }
            }
            RequestBody::PutSite { offset, total, bytes } => {
                self.site.truncate((*offset).into());
                self.site.extend_from_slice(bytes);
                assert!(self.site.len() <= usize::from(*total));
                ReplyBody::Done
            }
            RequestBody::Snapshot => ReplyBody::Snapshot(SnapshotRange {
                first_sector: self.first,
                last_sector: self.last(),
                clock_ms: 1_770_000_000_001,
            }),
            RequestBody::ReadPages { first, count } => {
                let mut next = *first;
                for _ in 0..*count {
                    let reply = self.reply_to_page(next);
                    let ends = matches!(reply, ReplyBody::Refused(_));
                    frames.push(framed(*id, reply));
                    if ends {
                        return;
                    }
                    next = crate::client::next_page(next);
                }
                ReplyBody::PagesEnd { next }
            }
            RequestBody::SetClock { .. }
            | RequestBody::PutSettings(_)
            | RequestBody::PutCalibration(_)
            | RequestBody::Arm
            | RequestBody::Release { .. } => ReplyBody::Done,
            RequestBody::GetCalibration => ReplyBody::Calibration(Calibration::default()),
            RequestBody::GetSeal => match self.sealed {
                Some((public_key, seal)) => ReplyBody::Seal { public_key, seal },
                None => ReplyBody::Refused(Refusal::NoSeal),
            },
        };
        frames.push(framed(*id, reply));
    }
}

impl Peer for Shelf {
    fn receive(&mut self, mut bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut frames = Vec::new();
        while !bytes.is_empty() {
            let (found, rest) = self.decoder.feed::<Request>(bytes);
            bytes = rest;
            match found {
                Some(Found::Message(request)) => self.answer(&request, &mut frames),
                Some(Found::Unknown) => {
                    frames.push(framed(0, ReplyBody::Refused(Refusal::Unknown)));
                }
                Some(Found::Damaged) | None => {}
            }
        }
        frames
    }
}
