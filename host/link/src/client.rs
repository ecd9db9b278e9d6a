//! A typed client: one method a request, with time limits and retries. Whatever the other side
//! sends, a request ends within its limits and holds no more than one frame.

use crate::transport::Transport;
use heapless::Vec as BoundedVec;
use pumpwitness_protocol::frame::{self, Decoder, FRAME_BYTES_MAX, Found};
use pumpwitness_protocol::message::{
    Identity, Live, PROTOCOL_VERSION, PageAddress, Refusal, Reply, ReplyBody, Request, RequestBody,
    SITE_PART_MAX, SnapshotRange, Status,
};
use pumpwitness_protocol::page::PAGE_BYTES;
use pumpwitness_protocol::settings::{SITE_TEXT_MAX, Settings};
use std::io;
use std::time::{Duration, Instant};

/// Damaged frames in one request after which the other side is no logger.
const DAMAGED_MAX: u32 = 64;

/// What went wrong on the line, or what the logger refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LinkError {
    /// No such port.
    #[error("{port}: no such port; see `pumpwitness ports` for those there are")]
    Absent {
        /// The port.
        port: String,
    },
    /// Another program has it.
    #[error("{port} is in use by another program; close that one and try again")]
    Busy {
        /// The port.
        port: String,
    },
    /// No right to open it.
    #[error(
        "{port}: this user may not open the port; on Linux join the group that owns it (often `dialout`)"
    )]
    NotAllowed {
        /// The port.
        port: String,
    },
    /// It cannot be opened for another reason.
    #[error("{port} cannot be opened ({cause}); see `pumpwitness ports` for those there are")]
    NoPort {
        /// The port.
        port: String,
        /// What the system says.
        cause: String,
    },
    /// The line is gone.
    #[error("{port}: the connection broke ({cause}); plug the logger in again and repeat")]
    Broken {
        /// The port.
        port: String,
        /// What the system says.
        cause: io::Error,
    },
    /// No answer in time.
    #[error("{port}: no answer to `{request}`; is this the logger, and is it powered?")]
    Silent {
        /// The port.
        port: String,
        /// What was asked.
        request: &'static str,
    },
    /// Bytes that are no frames.
    #[error("{port}: what answers there is no logger (unreadable bytes); choose another port")]
    Garbage {
        /// The port.
        port: String,
    },
    /// An answer to another question.
    #[error("{port}: the logger answered `{request}` with something else; update this program")]
    Unexpected {
        /// The port.
        port: String,
        /// What was asked.
        request: &'static str,
    },
    /// The logger said no.
    #[error("{port}: {refusal} (`{request}`)")]
    Refused {
        /// The port.
        port: String,
        /// What was asked.
        request: &'static str,
        /// What it said.
        refusal: Refusal,
    },
    /// The site text does not fit.
    #[error("the site file has {0} bytes and the logger keeps {SITE_TEXT_MAX}")]
    SiteTextTooLong(usize),
}

/// Time limits and tries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// For one answer, or the next page of several.
    pub answer: Duration,
    /// How often a request is sent before giving up.
    pub tries: u32,
}

impl Default for Limits {
    /// Two seconds: more than the longest flash erasure with a full queue before it.
    fn default() -> Self {
        Self { answer: Duration::from_secs(2), tries: 3 }
    }
}

/// The client.
pub struct Client<T> {
    line: T,
    limits: Limits,
    decoder: Decoder,
    /// Bytes read but not yet decoded.
    unread: std::vec::Vec<u8>,
    next_id: u16,
}

impl<T: Transport> Client<T> {
    /// A client on an open line.
    pub fn new(line: T, limits: Limits) -> Self {
        Self { line, limits, decoder: Decoder::new(), unread: Vec::new(), next_id: 1 }
    }

    /// Name of the line.
    pub fn port(&self) -> &str {
        self.line.name()
    }

    /// Handshake: clears the line and asks who is there.
    pub fn hello(&mut self) -> Result<Identity, LinkError> {
        // Ends whatever half a frame the logger may still hold.
        self.send_bytes(&[0])?;
        match self.ask("hello", &RequestBody::Hello { protocol: PROTOCOL_VERSION })? {
            ReplyBody::Hello(identity) => Ok(identity),
            _ => Err(self.unexpected("hello")),
        }
    }

    /// State of the memory and the counters.
    pub fn status(&mut self) -> Result<Status, LinkError> {
        match self.ask("status", &RequestBody::Status)? {
            ReplyBody::Status(status) => Ok(status),
            _ => Err(self.unexpected("status")),
        }
    }

    /// Latest readings.
    pub fn live(&mut self) -> Result<Live, LinkError> {
        match self.ask("live", &RequestBody::Live)? {
            ReplyBody::Live(live) => Ok(live),
            _ => Err(self.unexpected("live")),
        }
    }

    /// Sets the clock, ms since 1970.
    pub fn set_clock(&mut self, unix_ms: i64) -> Result<(), LinkError> {
        self.done("set clock", &RequestBody::SetClock { unix_ms })
    }

    /// Settings in force.
    pub fn settings(&mut self) -> Result<Settings, LinkError> {
        match self.ask("settings", &RequestBody::GetSettings)? {
            ReplyBody::Settings(settings) => Ok(settings),
            _ => Err(self.unexpected("settings")),
        }
    }

    /// Puts settings in force.
    pub fn put_settings(&mut self, settings: &Settings) -> Result<(), LinkError> {
        self.done("put settings", &RequestBody::PutSettings(settings.clone()))
    }

    /// Text of the site file kept in the logger.
    pub fn site_text(&mut self) -> Result<BoundedVec<u8, SITE_TEXT_MAX>, LinkError> {
        let mut text = BoundedVec::new();
        loop {
            let offset = text.len() as u16;
            match self.ask("site text", &RequestBody::GetSite { offset })? {
                ReplyBody::Site { offset: at, total, bytes }
                    if at == offset && usize::from(total) <= SITE_TEXT_MAX =>
                {
                    let enough = text.extend_from_slice(&bytes).is_err() || bytes.is_empty();
                    if enough || text.len() >= usize::from(total) {
                        return Ok(text);
                    }
                }
                _ => return Err(self.unexpected("site text")),
            }
        }
    }

    /// Gives the logger the text of the site file.
    pub fn put_site_text(&mut self, text: &[u8]) -> Result<(), LinkError> {
        if text.len() > SITE_TEXT_MAX {
            return Err(LinkError::SiteTextTooLong(text.len()));
        }
        let total = text.len() as u16;
        let mut offset = 0;
        for part in text.chunks(SITE_PART_MAX) {
            let bytes = part.iter().copied().collect();
            self.done("put site text", &RequestBody::PutSite { offset, total, bytes })?;
            offset += part.len() as u16;
        }
        Ok(())
    }

    /// Recording counts from here.
    pub fn arm(&mut self) -> Result<(), LinkError> {
        self.done("arm", &RequestBody::Arm)
    }

    /// Closes the open sector and names those that can be read.
    pub fn snapshot(&mut self) -> Result<SnapshotRange, LinkError> {
        match self.ask("snapshot", &RequestBody::Snapshot)? {
            ReplyBody::Snapshot(range) => Ok(range),
            _ => Err(self.unexpected("snapshot")),
        }
    }

    /// Sectors up to this one are safe on the host.
    pub fn release(&mut self, up_to_sector: u32) -> Result<(), LinkError> {
        self.done("release", &RequestBody::Release { up_to_sector })
    }

    /// Asks for `count` pages from `first` on and hands over those that come in order: the bytes,
    /// or `None` where the logger no longer holds the page. Ends at the first one missing, of which
    /// the caller asks again; gives how many came.
    pub fn read_pages(
        &mut self,
        first: PageAddress,
        count: u16,
        mut take: impl FnMut(PageAddress, Option<&[u8; PAGE_BYTES]>) -> bool,
    ) -> Result<u16, LinkError> {
        let id = self.send("pages", &RequestBody::ReadPages { first, count })?;
        let mut expected = first;
        let mut came = 0;
        while came < count {
            let deadline = Instant::now() + self.limits.answer;
            let (address, bytes) = match self.receive(id, deadline)? {
                Some(ReplyBody::Page { address, bytes }) => match bytes.into_array() {
                    Ok(bytes) => (address, Some(bytes)),
                    Err(_) => return Err(self.unexpected("pages")),
                },
                Some(ReplyBody::PageGone { address }) => (address, None),
                Some(ReplyBody::Refused(refusal)) => return Err(self.refused("pages", refusal)),
                Some(ReplyBody::PagesEnd { .. }) | None => return Ok(came),
                Some(_) => return Err(self.unexpected("pages")),
            };
            if address != expected || !take(address, bytes.as_ref()) {
                return Ok(came);
            }
            expected = next_page(expected);
            came += 1;
        }
        Ok(came)
    }

    /// Sends a request that is answered by `Done`.
    fn done(&mut self, request: &'static str, body: &RequestBody) -> Result<(), LinkError> {
        match self.ask(request, body)? {
            ReplyBody::Done => Ok(()),
            _ => Err(self.unexpected(request)),
        }
    }

    /// Sends a request until it is answered.
    fn ask(&mut self, request: &'static str, body: &RequestBody) -> Result<ReplyBody, LinkError> {
        for _ in 0..self.limits.tries {
            let id = self.send(request, body)?;
            let deadline = Instant::now() + self.limits.answer;
            match self.receive(id, deadline)? {
                Some(ReplyBody::Refused(refusal)) => return Err(self.refused(request, refusal)),
                Some(body) => return Ok(body),
                None => {}
            }
        }
        Err(LinkError::Silent { port: self.line.name().to_owned(), request })
    }

    fn send(&mut self, request: &'static str, body: &RequestBody) -> Result<u16, LinkError> {
        let id = self.next_id;
        // 0 is what a logger answers with when it could not read the id.
        self.next_id = self.next_id.checked_add(1).unwrap_or(1);
        let mut buffer = [0; FRAME_BYTES_MAX];
        let message = Request { id, body: body.clone() };
        let frame = frame::encode(&message, &mut buffer).map_err(|_| self.unexpected(request))?;
        self.send_bytes(frame)?;
        Ok(id)
    }

    fn send_bytes(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.line.write_all(bytes).map_err(|cause| self.broken(cause))
    }

    /// The answer to request `id`, or `None` when there was none by the deadline. Answers to earlier
    /// requests are dropped.
    fn receive(&mut self, id: u16, deadline: Instant) -> Result<Option<ReplyBody>, LinkError> {
        let mut damaged = 0;
        loop {
            let unread = std::mem::take(&mut self.unread);
            let mut rest = &unread[..];
            while !rest.is_empty() {
                let (found, left) = self.decoder.feed::<Reply>(rest);
                rest = left;
                match found {
                    Some(Found::Message(reply)) if reply.id == id => {
                        self.unread = rest.to_vec();
                        return Ok(Some(reply.body));
                    }
                    // It could not read the request at all, so it cannot name it.
                    Some(Found::Message(Reply { id: 0, body: ReplyBody::Refused(refusal) })) => {
                        self.unread = rest.to_vec();
                        return Ok(Some(ReplyBody::Refused(refusal)));
                    }
                    Some(Found::Damaged | Found::Unknown) => damaged += 1,
                    Some(Found::Message(_)) | None => {}
                }
                if damaged > DAMAGED_MAX {
                    return Err(LinkError::Garbage { port: self.line.name().to_owned() });
                }
            }
            let now = Instant::now();
            if now >= deadline {
                return if damaged > 0 && id == 1 {
                    Err(LinkError::Garbage { port: self.line.name().to_owned() })
                } else {
                    Ok(None)
                };
            }
            let mut buffer = [0; 8192];
            let count =
                self.line.read(&mut buffer, deadline - now).map_err(|cause| self.broken(cause))?;
            self.unread.extend_from_slice(&buffer[..count]);
        }
    }

    fn broken(&self, cause: io::Error) -> LinkError {
        LinkError::Broken { port: self.line.name().to_owned(), cause }
    }

    fn unexpected(&self, request: &'static str) -> LinkError {
        LinkError::Unexpected { port: self.line.name().to_owned(), request }
    }

    fn refused(&self, request: &'static str, refusal: Refusal) -> LinkError {
        LinkError::Refused { port: self.line.name().to_owned(), request, refusal }
    }
}

/// The page after `address`.
pub(crate) fn next_page(address: PageAddress) -> PageAddress {
    let pages = pumpwitness_protocol::page::PAGES_PER_SECTOR as u8;
    if address.page + 1 < pages {
        PageAddress { page: address.page + 1, ..address }
    } else {
        PageAddress { sector: address.sector.wrapping_add(1), page: 0 }
    }
}
