//! The line to the host: a USB serial port. Two pipes part it from the logger, so that a host that
//! is slow, or gone, never holds it up.

use core::sync::atomic::{AtomicBool, Ordering};
use embassy_futures::join::join;
use embassy_futures::select::select3;
use embassy_rp::peripherals::USB;
use embassy_rp::usb::Driver;
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_sync::pipe::Pipe;
use embassy_sync::signal::Signal;
use embassy_time::{Duration, with_timeout};
use embassy_usb::class::cdc_acm::{CdcAcmClass, Receiver, Sender, State};
use embassy_usb::{Builder, Config};
use pumpwitness_core::logger::{FrameSink, LineClosed};
use pumpwitness_protocol::frame::FRAME_BYTES_MAX;
use static_cell::StaticCell;

const PACKET: usize = 64;
/// Two of the largest frames wait to go out, so that the line is never idle.
const TO_HOST_BYTES: usize = 2304;
/// Free numbers for devices made by anyone (pid.codes, "test", from memory): the host knows the
/// logger by what it says, not by these.
const VENDOR: u16 = 0x1209;
const PRODUCT: u16 = 0x0001;
/// A reply that finds no room for so long goes to a host that no longer listens.
const PATIENCE: Duration = Duration::from_millis(500);

static TO_HOST: Pipe<CriticalSectionRawMutex, TO_HOST_BYTES> = Pipe::new();
/// Bytes from the host.
pub static FROM_HOST: Pipe<CriticalSectionRawMutex, 512> = Pipe::new();
/// Bytes have left [`Line`]'s pipe.
pub static ROOM: Signal<CriticalSectionRawMutex, ()> = Signal::new();
static OPEN: AtomicBool = AtomicBool::new(false);

/// Where the logger's frames go.
pub struct Line;

impl Line {
    /// True when the largest frame goes in without waiting.
    pub fn has_room() -> bool {
        TO_HOST.free_capacity() >= FRAME_BYTES_MAX
    }
}

impl FrameSink for Line {
    async fn send(&mut self, frame: &[u8]) -> Result<(), LineClosed> {
        if !OPEN.load(Ordering::Relaxed) {
            return Err(LineClosed);
        }
        with_timeout(PATIENCE, TO_HOST.write_all(frame)).await.map_err(|_| LineClosed)
    }
}

type Port = Driver<'static, USB>;

async fn send(sender: &mut Sender<'static, Port>) {
    let mut packet = [0; PACKET];
    loop {
        let count = TO_HOST.read(&mut packet).await;
        if sender.write_packet(&packet[..count]).await.is_err() {
            return;
        }
        ROOM.signal(());
        // A full packet leaves the host waiting for more; an empty one tells it there is none.
        if count == PACKET && TO_HOST.is_empty() && sender.write_packet(&[]).await.is_err() {
            return;
        }
    }
}

async fn receive(receiver: &mut Receiver<'static, Port>) {
    let mut packet = [0; PACKET];
    while let Ok(count) = receiver.read_packet(&mut packet).await {
        FROM_HOST.write_all(&packet[..count]).await;
    }
}

/// Runs the port for ever; `serial` is the device's number in hexadecimal.
#[embassy_executor::task]
pub async fn run(driver: Port, serial: &'static str) {
    static DESCRIPTORS: StaticCell<[[u8; 256]; 2]> = StaticCell::new();
    static CONTROL: StaticCell<[u8; PACKET]> = StaticCell::new();
    static STATE: StaticCell<State> = StaticCell::new();
    let [config_descriptor, bos_descriptor] = DESCRIPTORS.init([[0; 256]; 2]);
    let mut config = Config::new(VENDOR, PRODUCT);
    config.manufacturer = Some("pumpwitness");
    config.product = Some("pumpwitness logger");
    config.serial_number = Some(serial);
    config.max_power = 250;
    let control = CONTROL.init([0; PACKET]);
    let mut builder =
        Builder::new(driver, config, config_descriptor, bos_descriptor, &mut [], control);
    let class = CdcAcmClass::new(&mut builder, STATE.init(State::new()), PACKET as u16);
    let (mut sender, mut receiver, control_changed) = class.split_with_control();
    let mut usb = builder.build();
    let serve = async {
        loop {
            receiver.wait_connection().await;
            TO_HOST.clear();
            FROM_HOST.clear();
            OPEN.store(true, Ordering::Relaxed);
            let hung_up = async {
                let mut was = control_changed.dtr();
                loop {
                    control_changed.control_changed().await;
                    let now = control_changed.dtr();
                    if was && !now {
                        return;
                    }
                    was = now;
                }
            };
            select3(send(&mut sender), receive(&mut receiver), hung_up).await;
            OPEN.store(false, Ordering::Relaxed);
            ROOM.signal(());
        }
    };
    join(usb.run(), serve).await;
}
