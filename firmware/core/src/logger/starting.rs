//! From a flash to a logger at work: made, mounted, begun.
//!
//! A logger is large and the stack of a board is short. So a logger is made where it is to stay,
//! finds in place what its flash holds, and each step takes its stack only while it is polled.

use super::{Logger, digest};
use crate::log::{log_info, log_warn};
use crate::recorder::Recorder;
use crate::sealing::Sealer;
use crate::service::Service;
use core::pin::{Pin, pin};
use embedded_storage_async::nor_flash::NorFlash;
use pumpwitness_journal::{Error, Journal};
use pumpwitness_protocol::device_slot::{DeviceSlot, Seed};
use pumpwitness_protocol::frame::Decoder;
use pumpwitness_protocol::message::{Identity, PROTOCOL_VERSION};
use pumpwitness_protocol::record::{BootReason, Mark};
use pumpwitness_protocol::settings::Settings;
use pumpwitness_protocol::slot::Slot;

/// What a logger must be told when it starts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Start {
    /// Firmware version, major · minor · patch.
    pub firmware: [u8; 3],
    /// Why it starts.
    pub reason: BootReason,
    /// Its clock, ms since 1970.
    pub clock_ms: i64,
    /// False when the clock's battery has failed since it was set.
    pub clock_good: bool,
    /// 32 bytes of noise, for a device that has no key yet; `None` where the source of noise has
    /// failed its test, and then a device without a key stays without one.
    pub seed: Option<Seed>,
}

/// A future behind a pointer.
type Step<'a, T> = Pin<&'a mut dyn Future<Output = T>>;

impl<F: NorFlash> Logger<F> {
    /// The logger of `device`, which has not looked at its flash yet: [`Self::mount`] and
    /// [`Self::begin`] are to follow.
    #[allow(clippy::inline_always)] // else made on the stack and copied to where it stays
    #[inline(always)]
    pub fn new(flash: F, device: [u8; 8]) -> Self {
        let settings = Settings::default();
        Self {
            recorder: Recorder::new(&settings, 0),
            service: Service::default(),
            journal: Journal::new(flash, device),
            settings,
            own: DeviceSlot::default(),
            sealer: Sealer::new(None, false, 0),
            identity: Identity {
                protocol: PROTOCOL_VERSION,
                device,
                firmware: [0; 3],
                boot: 0,
                clock_ms: 0,
                clock_good: false,
            },
            armed: false,
            slot_number: 0,
            closed_up_to: None,
            committed_ms: 0,
            commit_due: false,
            clock_was_set: false,
            stream: None,
            ahead: None,
            behind_ms: 0,
            decoder: Decoder::new(),
        }
    }

    /// Mounts the journal in `flash` and starts recording with the settings kept there. Fails when
    /// the flash cannot be read or has a geometry the journal cannot use.
    pub async fn start(flash: F, device: [u8; 8], start: Start) -> Result<Self, Error<F::Error>> {
        let mut logger = Self::new(flash, device);
        logger.mount().await?;
        logger.begin(start).await;
        Ok(logger)
    }

    /// Finds the journal in the flash, and the settings and the calibration kept there. Fails when
    /// the flash cannot be read or has a geometry the journal cannot use; then it can be tried again.
    pub async fn mount(&mut self) -> Result<(), Error<F::Error>> {
        {
            let find: Step<_> = pin!(self.journal.find());
            find.await?;
        }
        {
            let load: Step<_> = pin!(self.load_slot());
            load.await?;
        }
        self.own = self.journal.load_device_slot().await?.unwrap_or_default();
        self.closed_up_to = self.journal.newest_closed_sequence();
        // One of a memory that was cleared since would give away sectors of the new one.
        self.own.released = self.own.released.filter(|up_to| self.closed_up_to >= Some(*up_to));
        if let Some(up_to) = self.own.released {
            self.journal.release(up_to);
        }
        Ok(())
    }

    async fn load_slot(&mut self) -> Result<(), Error<F::Error>> {
        if let Some(Slot { number, settings, site_text, armed }) = self.journal.load_slot().await? {
            self.journal.set_when_full(settings.when_full);
            self.service = Service::new(site_text);
            self.settings = settings;
            self.armed = armed;
            self.slot_number = number;
        }
        Ok(())
    }

    /// Starts recording and records the start: what is to follow on [`Self::mount`].
    pub async fn begin(&mut self, start: Start) {
        self.take_over(&start);
        if self.sealer.take_new() && self.keep_own().await.is_err() {
            log_warn!("the key cannot be kept");
            self.own.seed = None;
            self.sealer.forget_key();
        }
        let Identity { boot, firmware, .. } = self.identity;
        self.recorder.mark(Mark::Boot { boot, reason: start.reason, firmware });
        self.recorder.mark(Mark::Settings { digest: digest(&self.settings) });
        let damaged = self.journal.status().pages_damaged;
        if damaged > 0 {
            let pages = u16::try_from(damaged).unwrap_or(u16::MAX);
            self.recorder.mark(Mark::PagesDamaged { pages });
        }
        log_info!("mounted, boot {}, {} damaged pages", boot, damaged);
        // A full memory is no reason not to start: it can still be read.
        self.store_what_fits().await;
    }

    /// Takes key, clock and the kept settings in use.
    #[inline(never)] // a recorder is large, and the stack is wanted again
    fn take_over(&mut self, start: &Start) {
        let key_is_new = self.own.seed.is_none() && start.seed.is_some();
        self.own.seed = self.own.seed.or(start.seed);
        self.sealer = Sealer::new(self.own.seed.as_ref(), key_is_new, start.clock_ms);
        self.recorder = Recorder::new(&self.settings, start.clock_ms);
        self.committed_ms = start.clock_ms;
        self.identity.firmware = start.firmware;
        self.identity.boot = self.journal.boot();
        self.identity.clock_ms = start.clock_ms;
        self.identity.clock_good = start.clock_good;
    }
}
