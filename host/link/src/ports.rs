//! Which ports there are.

use serialport::SerialPortType;

/// A port a logger may be on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Port {
    /// Name to open it by.
    pub name: String,
    /// What the system says of it; empty where it says nothing.
    pub description: String,
    /// True for a USB device, which a logger is.
    pub usb: bool,
}

/// The ports of this machine, USB ones first. An empty list where the system cannot tell.
pub fn list() -> Vec<Port> {
    let mut ports: Vec<Port> = serialport::available_ports()
        .unwrap_or_default()
        .into_iter()
        .map(|port| {
            if let SerialPortType::UsbPort(usb) = port.port_type {
                let words = [usb.product, usb.serial_number].into_iter().flatten();
                let description = words.collect::<Vec<_>>().join(", ");
                return Port { name: port.port_name, description, usb: true };
            }
            // Without the system's device database a USB modem-class port shows by its name.
            let usb = port.port_name.contains("ttyACM") || port.port_name.contains("usbmodem");
            Port { name: port.port_name, description: String::new(), usb }
        })
        .collect();
    ports.sort_by(|a, b| b.usb.cmp(&a.usb).then_with(|| a.name.cmp(&b.name)));
    ports
}
