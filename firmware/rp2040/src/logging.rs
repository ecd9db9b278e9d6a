//! The logger's own task: half waves, requests and the supply's warning, one after another; pages
//! of a download go out in between, one at a time.

use crate::clock_chip::Reading;
use crate::line::{FROM_HOST, Line, ROOM};
use crate::metering::{CONFIG, HALF_WAVES, Heard};
use crate::spi_nor_25::SpiNor;
use core::future::Future;
use core::pin::{Pin, pin};
use embassy_futures::select::{Either4, select4};
use embassy_rp::gpio::{Input, Output};
use embassy_rp::peripherals::SPI0;
use embassy_rp::spi::{Async, Spi};
use embassy_rp::watchdog::Watchdog;
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_sync::signal::Signal;
use embassy_time::{Delay, Duration, Instant, Timer};
use embedded_hal_bus::spi::ExclusiveDevice;
use pumpwitness_board::light::lit;
use pumpwitness_core::calibration::Calibration;
use pumpwitness_core::logger::{Logger, Mounted, Start};
use pumpwitness_core::meter::MeterConfig;
use pumpwitness_core::sampling::meter_config;
use pumpwitness_protocol::record::{BootReason, Mark};
use pumpwitness_protocol::settings::Settings;
use static_cell::StaticCell;

/// Firmware version, major · minor · patch.
const FIRMWARE: [u8; 3] = [0, 1, 0];
/// Longer than the longest thing done between two half waves (closing a sector with an erasure),
/// shorter than the watchdog can count.
pub const BITE: Duration = Duration::from_secs(5);
/// Half waves between two slow readings: about a second.
const SLOW_EVERY: u32 = 100;
/// Where the supply monitor of the board trips; there is no time to measure then.
const FAILING_MV: u16 = 4_200;

/// The clock was set by the host: to this time, at this moment.
pub static CLOCK_SET: Signal<CriticalSectionRawMutex, (i64, Instant)> = Signal::new();

/// The clock chip was read.
pub static CLOCK_READ: Signal<CriticalSectionRawMutex, Reading> = Signal::new();

/// Pins and engines of the logger's task.
pub struct Board {
    /// Bites when nothing is logged any more.
    pub watchdog: Watchdog,
    /// Low while the supply fails.
    pub supply_good: Input<'static>,
    /// Status.
    pub led: Output<'static>,
}

/// Why the logger starts and what it is.
pub struct Birth {
    /// Unique number.
    pub device: [u8; 8],
    /// Why.
    pub reason: BootReason,
    /// Where the fault was, if one was the reason.
    pub fault: Option<u32>,
    /// Clock.
    pub clock: Reading,
}

/// The flash of the board.
pub type Flash = SpiNor<ExclusiveDevice<Spi<'static, SPI0, Async>, Output<'static>, Delay>>;

/// A logger that has been made, and the half wave its clock begins with.
pub struct Started {
    logger: &'static mut Logger<Flash>,
    first: Heard,
    fault: Option<u32>,
}

/// Mounts the journal; none when the flash does not let it.
pub async fn mount(flash: Flash, device: [u8; 8]) -> Option<Mounted<Flash>> {
    // Called through a pointer, so that its stack is gone when the logger is made.
    let mut mounting = pin!(Mounted::mount(flash, device));
    let mounting: Pin<&mut dyn Future<Output = _>> = mounting.as_mut();
    mounting.await.ok()
}

/// What the settings mean to the meter.
pub fn config_of(settings: Option<&Settings>) -> MeterConfig {
    let calibration = Calibration::default();
    settings.map_or_else(
        || meter_config(&Settings::default(), calibration),
        |settings| meter_config(settings, calibration),
    )
}

/// Makes the logger, once the meter is at work: the recorder's clock begins where the first half
/// wave begins.
pub async fn start(mounted: Mounted<Flash>, birth: Birth) -> Started {
    let first = HALF_WAVES.receive().await;
    let reading = birth.clock;
    let since_read = first.ended.as_millis() as i64 - reading.at.as_millis() as i64;
    let start = Start {
        device: birth.device,
        firmware: FIRMWARE,
        reason: birth.reason,
        clock_ms: reading.unix_ms + since_read - i64::from(first.half.duration_us / 1000),
        clock_good: reading.good,
    };
    Started { logger: settle(mounted, start), first, fault: birth.fault }
}

/// Logs for ever.
#[embassy_executor::task]
pub async fn log(started: Started, mut board: Board) {
    let Started { logger, first, fault } = started;
    logger.begin().await;
    if let Some(place) = fault {
        logger.mark(Mark::Fault { place });
    }
    let mut task = Task { board: &mut board, half_waves: 0, failing: false, set_by_host: false };
    task.half_wave(logger, first).await;
    let mut streaming = false;
    loop {
        let mut bytes = [0; 64];
        let room = Line::has_room();
        let requests = async {
            if room { FROM_HOST.read(&mut bytes).await } else { core::future::pending().await }
        };
        let failing = task.board.supply_good.wait_for_low();
        match select4(HALF_WAVES.receive(), requests, ROOM.wait(), failing).await {
            Either4::First(heard) => task.half_wave(logger, heard).await,
            Either4::Second(count) => {
                streaming = true;
                // A line that closes meanwhile is opened anew by the host.
                let _ = logger.receive(&bytes[..count], &mut Line).await;
                if logger.take_clock_set() {
                    CLOCK_SET.signal((logger.clock_ms(), Instant::now()));
                    task.set_by_host = true;
                }
                CONFIG.signal(config_of(Some(logger.settings())));
            }
            Either4::Third(()) => {}
            Either4::Fourth(()) if !task.board.supply_good.is_low() => {} // a mere spike
            Either4::Fourth(()) => {
                // What cannot be stored now never will be.
                let _ = logger.power_failing(FAILING_MV).await;
                // A mere dip: go on when it is over. Half waves wait in their queue.
                while task.board.supply_good.is_low() && !HALF_WAVES.is_full() {
                    Timer::after_millis(5).await;
                }
            }
        }
        while streaming && Line::has_room() && HALF_WAVES.is_empty() {
            streaming = logger.send_next_page(&mut Line).await.unwrap_or(false);
        }
    }
}

/// Makes the logger where it stays: it is too large to be handed about on the stack.
#[inline(never)]
fn settle(mounted: Mounted<Flash>, start: Start) -> &'static mut Logger<Flash> {
    static LOGGER: StaticCell<Logger<Flash>> = StaticCell::new();
    LOGGER.uninit().write(mounted.into_logger(start))
}

struct Task<'a> {
    board: &'a mut Board,
    half_waves: u32,
    /// The memory takes nothing.
    failing: bool,
    /// The host has set the clock since the start.
    set_by_host: bool,
}

impl Task<'_> {
    async fn half_wave(&mut self, logger: &mut Logger<Flash>, heard: Heard) {
        self.board.watchdog.feed(BITE);
        logger.lamps(heard.lamps);
        if heard.frames_lost > 0 {
            logger.frames_lost(heard.frames_lost);
        }
        self.half_waves = self.half_waves.wrapping_add(1);
        if self.half_waves.is_multiple_of(SLOW_EVERY) {
            logger.slow(heard.slow);
        }
        let to_store = logger.half_wave(&heard.half);
        if let Some(reading) = CLOCK_READ.try_take() {
            self.compare_clock(logger, &heard, reading);
        }
        if to_store {
            self.failing = logger.store().await.is_err();
        }
        let lit = lit(self.half_waves, logger.armed(), self.failing);
        self.board.led.set_level(lit.into());
    }

    /// The recorder's clock, which stands at the end of the half wave just taken, and the chip's.
    fn compare_clock(&mut self, logger: &mut Logger<Flash>, heard: &Heard, reading: Reading) {
        let since_ms = (reading.at.as_micros() as i64 - heard.ended.as_micros() as i64) / 1000;
        let ahead_ms = logger.clock_ms() + since_ms - reading.unix_ms;
        let followed = logger.clock_compared(reading.good.then_some(ahead_ms));
        // The host's time did not reach the chip, or the chip lost it again.
        if self.set_by_host && !followed {
            self.set_chip(logger, heard);
        }
    }

    fn set_chip(&mut self, logger: &Logger<Flash>, heard: &Heard) {
        CLOCK_SET.signal((logger.clock_ms(), heard.ended));
    }
}
