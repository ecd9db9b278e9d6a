//! Which ports there are.

use serialport::{SerialPortInfo, SerialPortType};
use std::path::Path;

/// A port a logger may be on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Port {
    /// Name to open it by.
    pub name: String,
    /// What the device says of itself; empty where the system does not tell.
    pub description: String,
    /// True for a USB device, which a logger is.
    pub usb: bool,
    /// Its numbers, where the system tells.
    pub ids: Option<UsbIds>,
}

/// Numbers of a USB device.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UsbIds {
    /// Vendor number.
    pub vendor: u16,
    /// Product number.
    pub product: u16,
    /// Serial number; a logger's is its device number in hexadecimal.
    pub serial: Option<String>,
}

/// The ports of this machine, USB ones first. An empty list where the system cannot tell.
pub fn list() -> Vec<Port> {
    let mut ports: Vec<Port> = described().into_iter().map(port).collect();
    if cfg!(target_os = "linux") {
        for name in modems_in(Path::new("/dev")) {
            if ports.iter().all(|port| port.name != name) {
                ports.push(Port { name, description: String::new(), usb: true, ids: None });
            }
        }
    }
    sorted(ports)
}

fn described() -> Vec<SerialPortInfo> {
    // Without this folder, as in some containers, the library would panic.
    if cfg!(target_os = "linux") && !Path::new("/sys/class/tty").is_dir() {
        return Vec::new();
    }
    serialport::available_ports().unwrap_or_default()
}

fn port(info: SerialPortInfo) -> Port {
    let name = info.port_name;
    if let SerialPortType::UsbPort(usb) = info.port_type {
        let product = usb.product.as_deref().map(printable);
        let serial = usb.serial_number.as_deref().map(printable);
        let words = [product.as_deref(), serial.as_deref()];
        let description = words.into_iter().flatten().collect::<Vec<_>>().join(", ");
        let ids = Some(UsbIds { vendor: usb.vid, product: usb.pid, serial });
        return Port { name, description, usb: true, ids };
    }
    let usb = is_modem(&name);
    Port { name, description: String::new(), usb, ids: None }
}

/// Names of the USB modem class, by which a logger shows where its numbers do not.
fn is_modem(name: &str) -> bool {
    name.contains("ttyACM") || name.contains("usbmodem")
}

fn modems_in(folder: &Path) -> Vec<String> {
    let Ok(entries) = folder.read_dir() else { return Vec::new() };
    entries
        .filter_map(|entry| entry.ok()?.path().to_str().map(str::to_owned))
        .filter(|name| is_modem(name))
        .collect()
}

/// USB first, by name; of two names of one port, the one that does not wait for a carrier.
fn sorted(ports: Vec<Port>) -> Vec<Port> {
    let callout = |name: &str| name.strip_prefix("/dev/tty.").map(|rest| format!("/dev/cu.{rest}"));
    let names: Vec<String> = ports.iter().map(|port| port.name.clone()).collect();
    let mut ports: Vec<Port> = ports
        .into_iter()
        .filter(|port| callout(&port.name).is_none_or(|other| !names.contains(&other)))
        .collect();
    ports.sort_by(|a, b| b.usb.cmp(&a.usb).then_with(|| a.name.cmp(&b.name)));
    ports
}

/// A device's own words, fit for a screen.
fn printable(text: &str) -> String {
    text.chars().map(|letter| if letter.is_control() { '?' } else { letter }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serialport::UsbPortInfo;

    fn usb(name: &str, product: Option<&str>, serial: Option<&str>) -> SerialPortInfo {
        SerialPortInfo {
            port_name: name.to_owned(),
            port_type: SerialPortType::UsbPort(UsbPortInfo {
                vid: 0x1209,
                pid: 1,
                serial_number: serial.map(str::to_owned),
                manufacturer: None,
                product: product.map(str::to_owned),
            }),
        }
    }

    fn plain(name: &str) -> SerialPortInfo {
        SerialPortInfo { port_name: name.to_owned(), port_type: SerialPortType::Unknown }
    }

    #[test]
    fn usb_ports_come_first_with_what_they_say() {
        let infos = [
            plain("/dev/ttyS0"),
            usb("/dev/ttyACM1", Some("logger\u{1b}[2J"), Some("0102")),
            plain("/dev/ttyACM0"),
        ];
        let ports = sorted(infos.into_iter().map(port).collect());
        let names: Vec<&str> = ports.iter().map(|port| port.name.as_str()).collect();
        assert_eq!(names, ["/dev/ttyACM0", "/dev/ttyACM1", "/dev/ttyS0"]);
        assert_eq!(ports[1].description, "logger?[2J, 0102");
        let ids = UsbIds { vendor: 0x1209, product: 1, serial: Some("0102".to_owned()) };
        assert_eq!(ports[1].ids, Some(ids));
        assert!(ports[0].usb && !ports[2].usb);
    }

    #[test]
    fn a_port_with_two_names_is_listed_once() {
        let infos = [
            usb("/dev/tty.usbmodem1", None, None),
            usb("/dev/cu.usbmodem1", None, None),
            plain("/dev/tty.lone"),
        ];
        let ports = sorted(infos.into_iter().map(port).collect());
        let names: Vec<&str> = ports.iter().map(|port| port.name.as_str()).collect();
        assert_eq!(names, ["/dev/cu.usbmodem1", "/dev/tty.lone"]);
    }

    #[test]
    fn modem_class_names_are_found_in_a_folder() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["ttyACM0", "ttyS0", "null"] {
            std::fs::write(folder.path().join(name), b"").unwrap();
        }
        let found = modems_in(folder.path());
        assert_eq!(found, [folder.path().join("ttyACM0").to_str().unwrap()]);
        assert!(modems_in(&folder.path().join("absent")).is_empty());
    }
}
