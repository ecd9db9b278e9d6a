//! Interrupts: which driver each belongs to, and the one that carries the metering executor.
//!
//! One of the files that may hold unsafe code: an interrupt executor is polled by an unsafe call,
//! which must come from its own interrupt and nowhere else. That is the whole of it.
#![allow(unsafe_code)]

use embassy_executor::{InterruptExecutor, SendSpawner};
use embassy_rp::interrupt::{InterruptExt, Priority, SWI_IRQ_1};
use embassy_rp::peripherals::{DMA_CH0, DMA_CH1, I2C0, USB};
use embassy_rp::{bind_interrupts, dma, i2c, interrupt, usb};

bind_interrupts! {
    /// Drivers' interrupts.
    pub struct Irqs {
        DMA_IRQ_0 => dma::InterruptHandler<DMA_CH0>, dma::InterruptHandler<DMA_CH1>;
        I2C0_IRQ => i2c::InterruptHandler<I2C0>;
        USBCTRL_IRQ => usb::InterruptHandler<USB>;
    }
}

static METERING: InterruptExecutor = InterruptExecutor::new();

/// Starts the metering executor; once.
pub fn metering() -> SendSpawner {
    SWI_IRQ_1.set_priority(Priority::P2);
    METERING.start(SWI_IRQ_1)
}

#[interrupt]
fn SWI_IRQ_1() {
    // SAFETY: this is the executor's interrupt, which `metering` enables after starting it.
    unsafe { METERING.on_interrupt() }
}
