//! The logger's own task: half waves, requests and the supply's warning, one after another; pages
//! of a download go out in between, one at a time.

use crate::clock_chip::Reading;
use crate::line::{FROM_HOST, Line, ROOM};
use crate::metering::{CONFIG, HALF_WAVES, Heard};
use crate::spi_nor_25::SpiNor;
use crate::starting::{Birth, Started, Step, clock_at, start};
use core::pin::pin;
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
use pumpwitness_core::logger::Logger;
use pumpwitness_core::sampling::meter_config;

/// Longer than the longest thing done between two half waves (closing a sector with an erasure),
/// shorter than the watchdog can count.
pub const BITE: Duration = Duration::from_secs(5);
/// Half waves between two slow readings: about a second.
const SLOW_EVERY: u32 = 100;
/// Where the supply monitor of the board trips; there is no time to measure then.
const FAILING_MV: u16 = 4_200;

/// The clock was set by the host: to this time, at this moment.
pub static CLOCK_SET: Signal<CriticalSectionRawMutex, (i64, Instant)> = Signal::new();

/// The clock chip was read: at the start, a minute later, then every hour.
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

/// The flash of the board.
pub type Flash = SpiNor<ExclusiveDevice<Spi<'static, SPI0, Async>, Output<'static>, Delay>>;

/// Starts, and logs for ever. Without a flash that can be mounted the watchdog bites, and all begins
/// again.
#[embassy_executor::task]
pub async fn log(birth: Birth, board: Board) {
    let started = {
        let start: Step<_> = pin!(start(birth));
        start.await
    };
    if let Some(started) = started {
        let run: Step<_> = pin!(run(started, board));
        run.await;
    }
}

async fn run(started: Started, mut board: Board) {
    let Started { logger, first } = started;
    let mut task = Task {
        board: &mut board,
        half_waves: 0,
        failing: false,
        ended: first.ended,
        set_by_host: false,
    };
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
                let asked = Instant::now();
                logger.set_behind(asked.duration_since(task.ended).as_millis() as u32);
                // A line that closes meanwhile is opened anew by the host.
                let _ = logger.receive(&bytes[..count], &mut Line).await;
                if logger.take_clock_set() {
                    // Storing the change may have taken an erasure since.
                    CLOCK_SET.signal((logger.present_ms(), asked));
                    task.set_by_host = true;
                }
                CONFIG.signal(meter_config(logger.settings(), logger.calibration()));
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

struct Task<'a> {
    board: &'a mut Board,
    half_waves: u32,
    /// The memory takes nothing.
    failing: bool,
    /// When the half wave taken last ended.
    ended: Instant,
    /// The host has set the clock since the start.
    set_by_host: bool,
}

impl Task<'_> {
    async fn half_wave(&mut self, logger: &mut Logger<Flash>, heard: Heard) {
        self.board.watchdog.feed(BITE);
        self.ended = heard.ended;
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
        // The signature takes 0.15 s, in which half waves wait in their queue.
        if logger.seal_due() && logger.seal().await.is_err() {
            self.failing = true;
        }
        let lit = lit(self.half_waves, logger.armed(), self.failing);
        self.board.led.set_level(lit.into());
    }

    /// The recorder's clock, which stands at the end of the half wave just taken, and the chip's.
    fn compare_clock(&mut self, logger: &mut Logger<Flash>, heard: &Heard, reading: Reading) {
        let ahead_ms = logger.clock_ms() - clock_at(heard, reading);
        let followed = logger.clock_compared(reading.good.then_some(ahead_ms));
        // The host's time did not reach the chip, or the chip lost it again.
        if self.set_by_host && !followed {
            CLOCK_SET.signal((logger.clock_ms(), heard.ended));
        }
    }
}
