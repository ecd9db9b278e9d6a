//! A typed client: one method a request, with time limits and retries. Whatever the other side
//! sends, a request ends within its limits and holds no more than one frame and one read.

use crate::error::{ClientError, DeviceError, LinkError};
use crate::transport::Transport;
use heapless::Vec as BoundedVec;
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::frame::{self, Decoder, FRAME_BYTES_MAX, Found};
use pumpwitness_protocol::message::{
    Identity, Live, PROTOCOL_VERSION, PageAddress, Refusal, Reply, ReplyBody, Request, RequestBody,
    SITE_PART_MAX, SnapshotRange, Status,
};
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR};
use pumpwitness_protocol::seal::Seal;
use pumpwitness_protocol::settings::{SITE_TEXT_MAX, Settings};
use std::collections::hash_map::RandomState;
use std::hash::BuildHasher;
use std::io;
use std::time::{Duration, Instant};

/// Damaged frames before an answer after which the other side is no logger.
const DAMAGED_MAX: u32 = 64;
/// Pages that came before and come again, in one window, that are passed over.
const REPEATED_MAX: u32 = 64;
/// Pages before the end of a window at which the next one is asked for: more than a logger and a
/// USB line send while a request is on its way.
const AHEAD: u16 = 16;
/// Bytes read from the line at once.
const READ_BYTES: usize = 8192;

/// Time limits and tries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// For one answer, or the next page of several.
    pub answer: Duration,
    /// How often a request is sent before giving up. A request takes at most `answer` × `tries`,
    /// and the time the line takes to accept it.
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
    /// Bytes read but not yet decoded; at most one read.
    unread: std::vec::Vec<u8>,
    next_id: u16,
    /// A logger's frame has come on this line.
    heard: bool,
    /// Bytes have come since the last logger's frame.
    noise: bool,
    /// Pages asked for while those before them were still coming: by which request, from where, how
    /// many.
    ahead: Option<(u16, PageAddress, u16)>,
}

impl<T: Transport> Client<T> {
    /// A client on an open line.
    pub fn new(line: T, limits: Limits) -> Self {
        // Not always from the same number: pages asked for by a program that was stopped may still
        // be on their way, and must not pass for answers to this one.
        Self::counting_from(RandomState::new().hash_one(0_u8) as u16, line, limits)
    }

    /// The same, with the number of the first request given.
    pub(crate) fn counting_from(id: u16, line: T, limits: Limits) -> Self {
        Self {
            line,
            limits,
            decoder: Decoder::new(),
            unread: Vec::new(),
            next_id: id.max(1),
            heard: false,
            noise: false,
            ahead: None,
        }
    }

    /// Name of the line.
    pub fn port(&self) -> &str {
        self.line.name()
    }

    /// The line, handed back.
    pub fn into_line(self) -> T {
        self.line
    }

    /// Handshake: clears the line and asks who is there.
    pub fn hello(&mut self) -> Result<Identity, ClientError> {
        // Ends whatever half a frame the logger may still hold.
        self.send_bytes("hello", &[0])?;
        match self.ask("hello", &RequestBody::Hello { protocol: PROTOCOL_VERSION })? {
            ReplyBody::Hello(identity) if identity.protocol == PROTOCOL_VERSION => Ok(identity),
            ReplyBody::Hello(identity) => {
                Err(self.refused("hello", Refusal::Version(identity.protocol)))
            }
            _ => Err(self.unexpected("hello")),
        }
    }

    /// State of the memory and the counters.
    pub fn status(&mut self) -> Result<Status, ClientError> {
        match self.ask("status", &RequestBody::Status)? {
            ReplyBody::Status(status) => Ok(status),
            _ => Err(self.unexpected("status")),
        }
    }

    /// Latest readings.
    pub fn live(&mut self) -> Result<Live, ClientError> {
        match self.ask("live", &RequestBody::Live)? {
            ReplyBody::Live(live) => Ok(live),
            _ => Err(self.unexpected("live")),
        }
    }

    /// Sets the clock, ms since 1970.
    pub fn set_clock(&mut self, unix_ms: i64) -> Result<(), ClientError> {
        self.done("set clock", &RequestBody::SetClock { unix_ms })
    }

    /// Settings in force.
    pub fn settings(&mut self) -> Result<Settings, ClientError> {
        match self.ask("settings", &RequestBody::GetSettings)? {
            ReplyBody::Settings(settings) => Ok(settings),
            _ => Err(self.unexpected("settings")),
        }
    }

    /// Puts settings in force.
    pub fn put_settings(&mut self, settings: &Settings) -> Result<(), ClientError> {
        self.done("put settings", &RequestBody::PutSettings(settings.clone()))
    }

    /// Text of the site file kept in the logger.
    pub fn site_text(&mut self) -> Result<BoundedVec<u8, SITE_TEXT_MAX>, ClientError> {
        let mut text = BoundedVec::new();
        loop {
            let offset = text.len() as u16;
            let ReplyBody::Site { offset: at, total, bytes } =
                self.ask("site text", &RequestBody::GetSite { offset })?
            else {
                return Err(self.unexpected("site text"));
            };
            let fits = at == offset
                && usize::from(total) <= SITE_TEXT_MAX
                && text.len() + bytes.len() <= usize::from(total)
                && text.extend_from_slice(&bytes).is_ok();
            if fits && text.len() == usize::from(total) {
                return Ok(text);
            }
            // Each part brings it nearer to its end, so that this ends.
            if !fits || bytes.is_empty() {
                return Err(self.unexpected("site text"));
            }
        }
    }

    /// Gives the logger the text of the site file; an empty one takes away the one before.
    pub fn put_site_text(&mut self, text: &[u8]) -> Result<(), ClientError> {
        if text.len() > SITE_TEXT_MAX {
            return Err(ClientError::SiteTextTooLong(text.len()));
        }
        let total = text.len() as u16;
        let mut offset = 0;
        loop {
            let rest = &text[usize::from(offset)..];
            let part = &rest[..rest.len().min(SITE_PART_MAX)];
            let bytes = part.iter().copied().collect();
            self.done("put site text", &RequestBody::PutSite { offset, total, bytes })?;
            offset += part.len() as u16;
            if offset == total {
                return Ok(());
            }
        }
    }

    /// Calibration in force.
    pub fn calibration(&mut self) -> Result<Calibration, ClientError> {
        match self.ask("calibration", &RequestBody::GetCalibration)? {
            ReplyBody::Calibration(calibration) => Ok(calibration),
            _ => Err(self.unexpected("calibration")),
        }
    }

    /// Has the logger keep a calibration and put it in force.
    pub fn put_calibration(&mut self, calibration: &Calibration) -> Result<(), ClientError> {
        self.done("put calibration", &RequestBody::PutCalibration(calibration.clone()))
    }

    /// The logger's public key and its seal over all sectors closed so far; `None` where it has no
    /// key, or nothing to seal.
    pub fn seal(&mut self) -> Result<Option<([u8; 32], Seal)>, ClientError> {
        match self.ask("seal", &RequestBody::GetSeal) {
            Ok(ReplyBody::Seal { public_key, seal }) => Ok(Some((public_key, seal))),
            Ok(_) => Err(self.unexpected("seal")),
            Err(ClientError::Device(DeviceError { refusal: Refusal::NoSeal, .. })) => Ok(None),
            Err(error) => Err(error),
        }
    }

    /// Recording counts from here.
    pub fn arm(&mut self) -> Result<(), ClientError> {
        self.done("arm", &RequestBody::Arm)
    }

    /// Closes the open sector and names those that can be read.
    pub fn snapshot(&mut self) -> Result<SnapshotRange, ClientError> {
        match self.ask("snapshot", &RequestBody::Snapshot)? {
            ReplyBody::Snapshot(range) => Ok(range),
            _ => Err(self.unexpected("snapshot")),
        }
    }

    /// Sectors up to this one are safe on the host.
    pub fn release(&mut self, up_to_sector: u32) -> Result<(), ClientError> {
        self.done("release", &RequestBody::Release { up_to_sector })
    }

    /// Asks for `count` pages from `first` on and hands over those that come in order: the bytes,
    /// or `None` where the logger no longer holds the page. Ends with the last page, without
    /// waiting for the logger to say so, for the next window can be asked for at once; or at the
    /// first page that is missing or that `take` does not want (false), of which the caller asks
    /// again. Gives how many were taken.
    ///
    /// `then` is how many pages will be asked for next, if they follow these: they are asked for
    /// shortly before the last of these has come, so that the line is never idle. A logger that is
    /// asked for anything else drops what is under way and what waits.
    pub fn read_pages(
        &mut self,
        first: PageAddress,
        count: u16,
        then: Option<u16>,
        mut take: impl FnMut(PageAddress, Option<&[u8; PAGE_BYTES]>) -> bool,
    ) -> Result<u16, ClientError> {
        let id = match self.ahead.take() {
            Some((id, from, many)) if (from, many) == (first, count) => id,
            _ => self.send("pages", &RequestBody::ReadPages { first, count })?,
        };
        let mut ahead = None;
        let mut expected = first;
        let mut came = 0;
        let mut repeated = 0;
        while came < count {
            let deadline = self.line.now() + self.limits.answer;
            let (address, bytes) = match self.receive(&[id], deadline)? {
                Some(ReplyBody::Page { address, bytes }) => match bytes.into_array() {
                    Ok(bytes) => (address, Some(bytes)),
                    Err(_) => return Err(self.unexpected("pages")),
                },
                Some(ReplyBody::PageGone { address }) => (address, None),
                Some(ReplyBody::Refused(refusal)) => return Err(self.refused("pages", refusal)),
                Some(ReplyBody::PagesEnd { .. }) | None => return Ok(came),
                Some(_) => return Err(self.unexpected("pages")),
            };
            if (first..expected).contains(&address) && repeated < REPEATED_MAX {
                repeated += 1;
                continue;
            }
            if address != expected || !take(address, bytes.as_ref()) {
                return Ok(came);
            }
            expected = next_page(expected);
            came += 1;
            if let (Some(many), None) = (then, ahead)
                && count - came <= AHEAD
            {
                let from = (came..count).fold(expected, |page, _| next_page(page));
                let body = RequestBody::ReadPages { first: from, count: many };
                ahead = Some((self.send("pages", &body)?, from, many));
            }
        }
        // Only a window that came whole is followed by the next.
        self.ahead = ahead;
        Ok(came)
    }

    /// Sends a request that is answered by `Done`.
    fn done(&mut self, request: &'static str, body: &RequestBody) -> Result<(), ClientError> {
        match self.ask(request, body)? {
            ReplyBody::Done => Ok(()),
            _ => Err(self.unexpected(request)),
        }
    }

    /// Sends a request until it is answered. A slow logger's answer to an earlier try is as good as
    /// one to the last.
    fn ask(&mut self, request: &'static str, body: &RequestBody) -> Result<ReplyBody, ClientError> {
        let mut sent = Vec::new();
        for _ in 0..self.limits.tries {
            sent.push(self.send(request, body)?);
            let deadline = self.line.now() + self.limits.answer;
            match self.receive(&sent, deadline)? {
                Some(ReplyBody::Refused(refusal)) => return Err(self.refused(request, refusal)),
                Some(body) => return Ok(body),
                None => {}
            }
        }
        let port = self.line.name().to_owned();
        if self.noise && !self.heard {
            return Err(LinkError::Garbage { port }.into());
        }
        Err(LinkError::Silent { port, request }.into())
    }

    fn send(&mut self, request: &'static str, body: &RequestBody) -> Result<u16, ClientError> {
        let id = self.next_id;
        // 0 is what a logger answers with when it could not read the id.
        self.next_id = self.next_id.checked_add(1).unwrap_or(1);
        let mut buffer = [0; FRAME_BYTES_MAX];
        let message = Request { id, body: body.clone() };
        // No request is near the longest frame (shared-protocol tests it).
        let frame = frame::encode(&message, &mut buffer).map_err(|_| self.unexpected(request))?;
        self.send_bytes(request, frame)?;
        Ok(id)
    }

    fn send_bytes(&mut self, request: &'static str, bytes: &[u8]) -> Result<(), LinkError> {
        match self.line.write_all(bytes) {
            Err(error) if error.kind() == io::ErrorKind::TimedOut => {
                Err(LinkError::Silent { port: self.line.name().to_owned(), request })
            }
            other => other.map_err(|cause| self.broken(cause)),
        }
    }

    /// The answer to one of the requests `ids`, or `None` when there was none by the deadline.
    /// Answers to other requests and damaged frames are dropped.
    fn receive(&mut self, ids: &[u16], deadline: Instant) -> Result<Option<ReplyBody>, LinkError> {
        let mut damaged = 0;
        loop {
            let unread = std::mem::take(&mut self.unread);
            let mut rest = &unread[..];
            while !rest.is_empty() {
                let (found, left) = self.decoder.feed::<Reply>(rest);
                rest = left;
                match found {
                    Some(Found::Message(reply)) => {
                        self.heard = true;
                        self.noise = false;
                        // It names request 0 when it could not read the request at all.
                        let refused = matches!(reply.body, ReplyBody::Refused(_));
                        if ids.contains(&reply.id) || (reply.id == 0 && refused) {
                            self.unread = rest.to_vec();
                            return Ok(Some(reply.body));
                        }
                    }
                    Some(Found::Damaged | Found::Unknown) => damaged += 1,
                    None => {}
                }
                if damaged > DAMAGED_MAX {
                    return Err(LinkError::Garbage { port: self.line.name().to_owned() });
                }
            }
            let left = deadline.saturating_duration_since(self.line.now());
            if left.is_zero() {
                return Ok(None);
            }
            let mut buffer = [0; READ_BYTES];
            let count = self.line.read(&mut buffer, left).map_err(|cause| self.broken(cause))?;
            self.noise |= count > 0;
            self.unread.extend_from_slice(&buffer[..count]);
        }
    }

    fn broken(&self, cause: io::Error) -> LinkError {
        LinkError::Broken { port: self.line.name().to_owned(), cause }
    }

    fn unexpected(&self, request: &'static str) -> ClientError {
        LinkError::Unexpected { port: self.line.name().to_owned(), request }.into()
    }

    fn refused(&self, request: &'static str, refusal: Refusal) -> ClientError {
        DeviceError { port: self.line.name().to_owned(), request, refusal }.into()
    }
}

/// The page after `address`.
pub(crate) fn next_page(address: PageAddress) -> PageAddress {
    if usize::from(address.page) + 1 < PAGES_PER_SECTOR {
        PageAddress { page: address.page + 1, ..address }
    } else {
        PageAddress { sector: address.sector.wrapping_add(1), page: 0 }
    }
}

#[cfg(test)]
#[path = "client_tests.rs"]
mod tests;
