//! The logger: recorder, service and journal tied together.
//!
//! The half waves' side is synchronous and cheap ([`Logger::half_wave`]); whatever needs the flash
//! or the line is asynchronous and asked for when there is something to do. Records are made
//! durable at least every ten seconds of recorded time, so that a power cut costs no more.

mod starting;

use crate::log::log_warn;
use crate::recorder::{Recorder, Slow};
use crate::sealing::Sealer;
use crate::service::{Outcome, Service, View, next_page};
use crate::wave::HalfWave;
use embedded_storage_async::nor_flash::NorFlash;
use heapless::Vec;
use pumpwitness_journal::{Error, Journal};
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::device_slot::DeviceSlot;
use pumpwitness_protocol::frame::{self, Decoder, FRAME_BYTES_MAX, Found};
use pumpwitness_protocol::message::{
    Identity, PageAddress, Refusal, Reply, ReplyBody, Request, SnapshotRange, Status,
};
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR};
use pumpwitness_protocol::record::{Mark, Record};
use pumpwitness_protocol::seal::{Occasion, Seal, Statement, papers};
use pumpwitness_protocol::settings::{SETTINGS_BYTES_MAX, Settings};
use pumpwitness_protocol::slot::Slot;
use serde::Serialize;
use sha2::{Digest, Sha256};

pub use pumpwitness_protocol::device_slot::Seed;
pub use starting::Start;

/// Records are made durable when the oldest that is not has waited this long. With the interval
/// going on (at most 0.24 s) and one more half wave it stays below ten seconds.
const COMMIT_AFTER_MS: i64 = 9500;

/// Where frames to the host go.
pub trait FrameSink {
    /// Sends one whole frame, closing 00 included.
    #[allow(async_fn_in_trait)] // one task drives the line; nothing needs it to be Send
    async fn send(&mut self, frame: &[u8]) -> Result<(), LineClosed>;
}

/// The line went away while something was being sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the line to the host is closed")]
pub struct LineClosed;

/// Pages still to send.
#[derive(Clone, Copy, Debug)]
struct Stream {
    id: u16,
    next: Option<PageAddress>,
    left: u16,
}

impl Stream {
    /// The page behind the last of them, if there is one.
    fn end(&self) -> Option<PageAddress> {
        let PageAddress { sector, page } = self.next?;
        let pages = u32::from(page) + u32::from(self.left);
        let sector = sector.checked_add(pages / PAGES_PER_SECTOR as u32)?;
        Some(PageAddress { sector, page: (pages % PAGES_PER_SECTOR as u32) as u8 })
    }
}

/// The logger over a flash.
pub struct Logger<F: NorFlash> {
    recorder: Recorder,
    service: Service,
    journal: Journal<F>,
    settings: Settings,
    /// Key and calibration, as the device keeps them.
    own: DeviceSlot,
    sealer: Sealer,
    identity: Identity,
    armed: bool,
    slot_number: u32,
    /// Newest sector that nothing is written to any more.
    closed_up_to: Option<u32>,
    /// The recorder's clock when records were made durable last.
    committed_ms: i64,
    commit_due: bool,
    clock_was_set: bool,
    stream: Option<Stream>,
    /// Pages asked for meanwhile that follow those.
    ahead: Option<Stream>,
    /// How long ago the half wave taken last ended, ms.
    behind_ms: i64,
    decoder: Decoder,
}

impl<F: NorFlash> Logger<F> {
    /// Takes a half wave; true when [`Self::store`] has something to do.
    pub fn half_wave(&mut self, half: &HalfWave) -> bool {
        self.recorder.half_wave(half);
        if !self.commit_due && self.recorder.clock_ms() - self.committed_ms >= COMMIT_AFTER_MS {
            self.commit_due = true;
            self.recorder.close_run();
        }
        self.commit_due || self.recorder.pending()
    }

    /// Sets the lamp inputs; bit 0 is lamp 1.
    pub fn lamps(&mut self, inputs: u8) {
        self.recorder.lamps(inputs);
    }

    /// Takes the slow readings, about once a second.
    pub fn slow(&mut self, slow: Slow) {
        self.recorder.slow(slow);
    }

    /// Counts frames the meter could not take.
    pub fn frames_lost(&mut self, frames: u32) {
        self.recorder.frames_lost(frames);
    }

    /// Adds a mark of the present moment, such as a fault kept over a restart.
    pub fn mark(&mut self, mark: Mark) {
        self.recorder.mark(mark);
    }

    /// The clock as it stood when the half wave taken last ended, ms since 1970.
    pub fn clock_ms(&self) -> i64 {
        self.recorder.clock_ms()
    }

    /// Tells that the half wave taken last ended so long ago: a clock that the host asks for, or
    /// sets, is that of the present.
    pub fn set_behind(&mut self, ms: u32) {
        self.behind_ms = ms.into();
    }

    /// The clock now, by what [`Self::set_behind`] was told last, ms since 1970.
    pub fn present_ms(&self) -> i64 {
        self.recorder.clock_ms().saturating_add(self.behind_ms)
    }

    /// The board's clock was compared with the recorder's: [`Recorder::clock_compared`].
    pub fn clock_compared(&mut self, ahead_ms: Option<i64>) -> bool {
        self.recorder.clock_compared(ahead_ms)
    }

    /// True when the host has set the clock since this was asked last: the board's own clock is to
    /// follow.
    pub fn take_clock_set(&mut self) -> bool {
        core::mem::take(&mut self.clock_was_set)
    }

    /// True when the logger has been armed.
    pub fn armed(&self) -> bool {
        self.armed
    }

    /// Settings in force.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Calibration in force.
    pub fn calibration(&self) -> &Calibration {
        &self.own.calibration
    }

    /// True when the hour is over and [`Self::seal`] has something to seal. To be asked now and
    /// then, after [`Self::store`].
    pub fn seal_due(&self) -> bool {
        self.sealer.due(self.recorder.clock_ms(), self.journal.newest_closed_sequence())
    }

    /// Seals what was closed, as a mark in the record. Reads the flash and writes nothing; the
    /// signature is one stretch of arithmetic during which no half wave is taken.
    pub async fn seal(&mut self) -> Result<(), Error<F::Error>> {
        let seal = self.make_seal(Occasion::Hour).await;
        let sealed = seal.as_ref().ok().copied().flatten();
        let sector = sealed.map(|seal| seal.statement.sector);
        // Where it failed, the next hour tries again.
        self.sealer.done(self.recorder.clock_ms(), sector);
        if let Some(seal) = sealed {
            self.recorder.mark(Mark::Seal(seal));
        }
        seal.map(|_| ())
    }

    async fn make_seal(&mut self, occasion: Occasion) -> Result<Option<Seal>, Error<F::Error>> {
        let Some((sector, chain)) = self.journal.newest_closed().await? else { return Ok(None) };
        Ok(self.sealer.sign(Statement {
            device: self.identity.device,
            boot: self.identity.boot,
            occasion,
            sector,
            chain,
            time_ms: self.recorder.clock_ms(),
            papers: papers(&self.settings, self.service.site_text(), &self.own.calibration),
        }))
    }

    /// The flash, as it stands.
    pub fn flash(&self) -> &F {
        self.journal.flash()
    }

    /// Gives the flash back.
    pub fn into_flash(self) -> F {
        self.journal.into_flash()
    }

    /// Hands the waiting records to the journal and makes them durable when it is time. Records
    /// that could not be stored are counted in a later one; the last error is given.
    pub async fn store(&mut self) -> Result<(), Error<F::Error>> {
        let durable = self.commit_due;
        self.put_away().await?;
        if durable {
            // Nothing is in memory now that an erasure could keep waiting.
            self.journal.tidy().await?;
        }
        Ok(())
    }

    /// [`Self::store`] without getting ready for what comes next.
    async fn put_away(&mut self) -> Result<(), Error<F::Error>> {
        let mut outcome = Ok(());
        while let Some(record) = self.recorder.pop() {
            if let Err(error) = self.journal.append(&record, self.recorder.clock_ms()).await {
                log_warn!("record lost");
                self.recorder.records_lost(match record {
                    // The count it carried must not be lost with it.
                    Record::Mark(mark) => match mark.mark {
                        Mark::RecordsLost { records } => records,
                        _ => 1,
                    },
                    _ => 1,
                });
                outcome = Err(error);
            }
        }
        if self.commit_due {
            self.commit_due = false;
            self.committed_ms = self.recorder.clock_ms();
            if let Err(error) = self.journal.commit(self.committed_ms).await {
                log_warn!("commit failed");
                outcome = Err(error);
            }
        }
        outcome
    }

    /// Makes everything durable at once; the merged interval going on is closed first.
    async fn store_all(&mut self) -> Result<(), Error<F::Error>> {
        self.recorder.close_run();
        self.commit_due = true;
        self.store().await
    }

    /// The same for a request that is carried out all the same when the memory takes no more
    /// records, full as it may be: those lost are counted.
    async fn store_what_fits(&mut self) {
        if self.store_all().await.is_err() {
            log_warn!("records lost during a request");
        }
    }

    /// The logger's own supply is failing and stands at `supply_mv`: closes and flushes everything.
    pub async fn power_failing(&mut self, supply_mv: u16) -> Result<(), Error<F::Error>> {
        self.recorder.close();
        self.recorder.mark(Mark::PowerFailing { supply_mv });
        self.commit_due = true;
        self.put_away().await?;
        self.journal.rest().await
    }

    /// Takes bytes from the line and answers everything they ask for, pages included.
    pub async fn serve(
        &mut self,
        bytes: &[u8],
        out: &mut impl FrameSink,
    ) -> Result<(), LineClosed> {
        self.receive(bytes, out).await?;
        while self.send_next_page(out).await? {}
        Ok(())
    }

    /// Takes bytes from the line and answers the requests in them. Pages that were asked for go out
    /// by [`Self::send_next_page`], so that half waves can be taken between them.
    pub async fn receive(
        &mut self,
        mut bytes: &[u8],
        out: &mut impl FrameSink,
    ) -> Result<(), LineClosed> {
        while !bytes.is_empty() {
            let (found, rest) = self.decoder.feed::<Request>(bytes);
            bytes = rest;
            match found {
                Some(Found::Message(request)) => self.answer(request, out).await?,
                Some(Found::Unknown) => {
                    send(0, ReplyBody::Refused(Refusal::Unknown), out).await?;
                }
                Some(Found::Damaged) | None => {}
            }
        }
        Ok(())
    }

    async fn answer(
        &mut self,
        request: Request,
        out: &mut impl FrameSink,
    ) -> Result<(), LineClosed> {
        self.identity.clock_ms = self.present_ms();
        let view = View {
            identity: &self.identity,
            status: self.status(),
            live: self.recorder.live(),
            settings: &self.settings,
            calibration: &self.own.calibration,
            closed_up_to: self.closed_up_to,
        };
        let body = match self.service.answer(&request.body, &view) {
            Outcome::Reply(body) => body,
            Outcome::SetClock(unix_ms) => self.set_clock(unix_ms).await,
            Outcome::PutSettings(settings) => self.put_settings(settings).await,
            Outcome::Arm => self.arm().await,
            Outcome::Snapshot => match self.snapshot().await {
                Ok(range) => ReplyBody::Snapshot(range),
                Err(_) => ReplyBody::Refused(Refusal::Memory),
            },
            Outcome::Pages { first, count } => {
                let asked = Stream { id: request.id, next: Some(first), left: count };
                // A host asks for what follows while the last pages of a window go out, so that the
                // line is never idle. One that asks for anything else has changed its mind.
                if self.stream.is_some_and(|stream| stream.end() == Some(first)) {
                    self.ahead = Some(asked);
                } else {
                    (self.stream, self.ahead) = (Some(asked), None);
                }
                return Ok(());
            }
            Outcome::Release(up_to_sector) => self.release(up_to_sector).await,
            Outcome::PutCalibration(calibration) => self.put_calibration(calibration).await,
            Outcome::Seal => self.seal_download().await,
        };
        send(request.id, body, out).await
    }

    /// Sends the next of the pages asked for, or what ends them; false when there is nothing left.
    pub async fn send_next_page(&mut self, out: &mut impl FrameSink) -> Result<bool, LineClosed> {
        let Some(stream) = &mut self.stream else { return Ok(false) };
        let id = stream.id;
        let (Some(address), 1..) = (stream.next, stream.left) else {
            let next = stream.next.unwrap_or(PageAddress { sector: u32::MAX, page: u8::MAX });
            self.stream = self.ahead.take();
            if let Err(closed) = send(id, ReplyBody::PagesEnd { next }, out).await {
                self.stream = None;
                return Err(closed);
            }
            return Ok(self.stream.is_some());
        };
        stream.next = next_page(address);
        stream.left -= 1;
        // Read to where it is sent from: copying pages about takes longer than reading them.
        let bytes = Vec::from_array([0; PAGE_BYTES]);
        let mut reply = Reply { id, body: ReplyBody::Page { address, bytes } };
        let read = match &mut reply.body {
            ReplyBody::Page { bytes, .. } => match bytes.as_mut_slice().try_into() {
                Ok(page) => self.journal.read_page(address, page).await,
                Err(_) => Ok(false),
            },
            _ => Ok(false),
        };
        match read {
            Ok(true) => {}
            Ok(false) => reply.body = ReplyBody::PageGone { address },
            Err(_) => {
                (self.stream, self.ahead) = (None, None);
                reply.body = ReplyBody::Refused(Refusal::Memory);
            }
        }
        if let Err(closed) = send_reply(&reply, out).await {
            (self.stream, self.ahead) = (None, None);
            return Err(closed);
        }
        Ok(self.stream.is_some())
    }

    fn status(&self) -> Status {
        let (frames_lost, captures_dropped) = self.recorder.losses();
        Status { frames_lost, captures_dropped, armed: self.armed, ..self.journal.status() }
    }

    async fn set_clock(&mut self, unix_ms: i64) -> ReplyBody {
        let now_ms = unix_ms.saturating_sub(self.behind_ms);
        self.sealer.clock_set(now_ms.saturating_sub(self.recorder.clock_ms()));
        self.recorder.set_clock(now_ms);
        self.clock_was_set = true;
        self.identity.clock_good = true;
        self.store_what_fits().await;
        ReplyBody::Done
    }

    async fn put_settings(&mut self, settings: Settings) -> ReplyBody {
        self.recorder.apply(&settings, digest(&settings));
        self.journal.set_when_full(settings.when_full);
        self.settings = settings;
        self.store_what_fits().await;
        ReplyBody::Done
    }

    async fn put_calibration(&mut self, calibration: Calibration) -> ReplyBody {
        let before = core::mem::replace(&mut self.own.calibration, calibration);
        if self.keep_own().await.is_err() {
            self.own.calibration = before;
            return ReplyBody::Refused(Refusal::Memory);
        }
        self.recorder.mark(Mark::Calibration { digest: digest(&self.own.calibration) });
        self.store_what_fits().await;
        ReplyBody::Done
    }

    async fn release(&mut self, up_to_sector: u32) -> ReplyBody {
        self.journal.release(up_to_sector);
        if self.own.released < Some(up_to_sector) {
            self.own.released = Some(up_to_sector);
            // If it is not remembered, the next start merely keeps more than it has to.
            if self.keep_own().await.is_err() {
                log_warn!("a release is not remembered");
            }
        }
        ReplyBody::Done
    }

    /// Makes key, calibration and release durable.
    async fn keep_own(&mut self) -> Result<(), Error<F::Error>> {
        self.own.number = self.own.number.wrapping_add(1);
        self.journal.store_device_slot(&self.own).await
    }

    async fn seal_download(&mut self) -> ReplyBody {
        match (self.make_seal(Occasion::Download).await, self.sealer.public_key()) {
            (Ok(Some(seal)), Some(public_key)) => ReplyBody::Seal { public_key, seal },
            (Err(_), _) => ReplyBody::Refused(Refusal::Memory),
            _ => ReplyBody::Refused(Refusal::NoSeal),
        }
    }

    async fn arm(&mut self) -> ReplyBody {
        let slot = Slot {
            number: self.slot_number.wrapping_add(1),
            settings: self.settings.clone(),
            site_text: self.service.site_text().clone(),
            armed: true,
        };
        if self.journal.store_slot(&slot).await.is_err() {
            return ReplyBody::Refused(Refusal::Memory);
        }
        self.slot_number = slot.number;
        self.armed = true;
        self.recorder.mark(Mark::Armed);
        self.store_what_fits().await;
        ReplyBody::Done
    }

    async fn snapshot(&mut self) -> Result<SnapshotRange, Error<F::Error>> {
        self.recorder.mark(Mark::Snapshot);
        self.store_what_fits().await;
        let range = self.journal.close_sector(self.recorder.clock_ms()).await?;
        self.closed_up_to = Some(range.last_sector);
        Ok(range)
    }
}

async fn send(id: u16, body: ReplyBody, out: &mut impl FrameSink) -> Result<(), LineClosed> {
    send_reply(&Reply { id, body }, out).await
}

async fn send_reply(reply: &Reply, out: &mut impl FrameSink) -> Result<(), LineClosed> {
    let mut buffer = [0; FRAME_BYTES_MAX];
    // The largest reply, a page, fits with room to spare (shared-protocol tests it).
    match frame::encode(reply, &mut buffer) {
        Ok(frame) => out.send(frame).await,
        Err(_) => Ok(()),
    }
}

/// First 8 bytes of the SHA-256 of the postcard bytes of settings or a calibration.
fn digest(what: &impl Serialize) -> [u8; 8] {
    let mut bytes = [0; SETTINGS_BYTES_MAX];
    let mut digest = [0; 8];
    // Both are bounded by their types to less than the buffer.
    if let Ok(bytes) = postcard::to_slice(what, &mut bytes) {
        digest.copy_from_slice(&Sha256::digest(bytes)[..8]);
    }
    digest
}

#[cfg(test)]
#[path = "logger_tests.rs"]
mod tests;
