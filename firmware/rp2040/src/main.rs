//! The board: pins, engines and tasks of the logger on an RP2040. Wiring only; what is measured and
//! kept is decided in `firmware/core`.
//!
//! Two executors share the one core in use: [`metering`] interrupts, all else ([`logging`],
//! [`line`], the clock) takes turns in what time is left.
#![no_std]
#![no_main]

#[cfg(not(any(feature = "rp2040", feature = "rp2350")))]
compile_error!("choose a chip: feature `rp2040` or `rp2350`");
#[cfg(all(feature = "rp2040", feature = "rp2350"))]
compile_error!("one chip only: for the RP2350, switch the default features off");

mod clock_chip;
mod converter;
mod faults;
mod interrupts;
mod lamps;
mod line;
mod logging;
mod metering;
mod noise;
mod spi_nor_25;
mod starting;

use clock_chip::ClockChip;
use converter::Parts;
#[cfg(feature = "defmt")]
use defmt_rtt as _;
use embassy_executor::Spawner;
use embassy_futures::select::{Either, select};
use embassy_rp::gpio::{Input, Level, Output, Pull};
use embassy_rp::i2c::{self, I2c};
use embassy_rp::peripherals::I2C0;
use embassy_rp::spi::{self, Spi};
use embassy_rp::usb::Driver;
use embassy_rp::watchdog::{ResetReason, Watchdog};
use embassy_time::{Delay, Duration, Timer};
use embedded_hal_bus::spi::ExclusiveDevice;
use interrupts::Irqs;
use lamps::Lamps;
use logging::{BITE, Board, CLOCK_READ, CLOCK_SET};
use pumpwitness_protocol::record::BootReason;
use spi_nor_25::SpiNor;
use starting::Birth;
use static_cell::StaticCell;

/// Clock of the flash's bus, Hz: below the 33 MHz that the slowest of the family read at.
const FLASH_HZ: u32 = 20_000_000;

/// When the clock chip is compared with the recorder's clock.
const COMPARE_SOON: Duration = Duration::from_secs(60);
const COMPARE_EVERY: Duration = Duration::from_secs(3600);

type Clock = ClockChip<I2c<'static, I2C0, i2c::Async>>;

#[embassy_executor::main]
async fn main(spawner: Spawner) {
    let p = embassy_rp::init(embassy_rp::config::Config::default());
    let fault = faults::take();
    let mut watchdog = Watchdog::new(p.WATCHDOG);
    let reason = match (fault, watchdog.reset_reason()) {
        (Some(_), _) => BootReason::Fault,
        (None, Some(ResetReason::TimedOut)) => BootReason::Watchdog,
        (None, Some(ResetReason::Forced)) => BootReason::Request,
        (None, None) => BootReason::PowerOn,
    };
    let mut led = Output::new(p.PIN_25, Level::High);

    let mut config = spi::Config::default();
    config.frequency = FLASH_HZ;
    let bus = Spi::new(p.SPI0, p.PIN_18, p.PIN_19, p.PIN_16, p.DMA_CH0, p.DMA_CH1, Irqs, config);
    let select = Output::new(p.PIN_17, Level::High);
    let Ok(spi) = ExclusiveDevice::new(bus, select, Delay);
    let mut flash = SpiNor::new(spi);
    let device = loop {
        if let Ok(device) = flash.identify().await {
            break device;
        }
        // No memory: blink in haste and look again.
        led.toggle();
        Timer::after_millis(100).await;
    };

    static SERIAL: StaticCell<[u8; 16]> = StaticCell::new();
    let driver = Driver::new(p.USB, Irqs);
    spawner.spawn(line::run(driver, hexadecimal(&device, SERIAL.init([0; 16]))).unwrap());

    let clock = I2c::new_async(p.I2C0, p.PIN_21, p.PIN_20, Irqs, i2c::Config::default());
    spawner.spawn(keep_clock(ClockChip::new(clock)).unwrap());

    let parts = Parts {
        adc: p.ADC,
        voltage: p.PIN_26,
        current: p.PIN_27,
        signal: p.PIN_28,
        supplies: p.PIN_29,
        switch: Output::new(p.PIN_10, Level::Low),
        temperature: p.ADC_TEMP_SENSOR,
        data: p.DMA_CH2,
        again: p.DMA_CH3,
    };
    let lamps = Lamps([
        Input::new(p.PIN_2, Pull::Up),
        Input::new(p.PIN_3, Pull::Up),
        Input::new(p.PIN_4, Pull::Up),
        Input::new(p.PIN_5, Pull::Up),
        Input::new(p.PIN_6, Pull::Up),
        Input::new(p.PIN_7, Pull::Up),
        Input::new(p.PIN_8, Pull::Up),
        Input::new(p.PIN_9, Pull::Up),
    ]);
    watchdog.start(BITE);
    faults::reset_everything();
    let board = Board { watchdog, supply_good: Input::new(p.PIN_22, Pull::Up), led };
    let birth = Birth { flash, device, reason, fault, parts, lamps };
    spawner.spawn(logging::log(birth, board).unwrap());
}

/// Has the clock chip follow the host's clock, and reads it at the start, a minute after that or
/// after it was set, then every hour.
#[embassy_executor::task]
async fn keep_clock(mut clock: Clock) {
    CLOCK_READ.signal(clock.read().await);
    let mut wait = COMPARE_SOON;
    loop {
        match select(CLOCK_SET.wait(), Timer::after(wait)).await {
            Either::First((unix_ms, at)) => {
                // A clock that does not answer is told as such when it is read.
                clock.set(unix_ms + at.elapsed().as_millis() as i64).await;
                wait = COMPARE_SOON;
            }
            Either::Second(()) => {
                CLOCK_READ.signal(clock.read().await);
                wait = COMPARE_EVERY;
            }
        }
    }
}

/// Writes `number` into `text` in hexadecimal.
fn hexadecimal(number: &[u8; 8], text: &'static mut [u8; 16]) -> &'static str {
    for (pair, byte) in text.chunks_exact_mut(2).zip(number) {
        pair[0] = b"0123456789abcdef"[usize::from(byte >> 4)];
        pair[1] = b"0123456789abcdef"[usize::from(byte & 15)];
    }
    core::str::from_utf8(text).unwrap_or_default()
}
