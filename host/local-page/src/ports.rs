//! Lines on which a logger may be.

use jiff::Timestamp;
use pumpwitness_link::{LinkError, SerialLine, Transport};
use serde::Serialize;

/// A line, whatever is behind it.
pub type Line = Box<dyn Transport + Send>;

/// A place where a logger may be.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Place {
    /// Name to open it by.
    pub name: String,
    /// What the device says of itself.
    pub what: String,
    /// Its serial number, where the system tells: a logger's is its device number.
    #[serde(skip)]
    pub serial: Option<String>,
}

/// Where loggers are looked for.
pub trait Ports: Send {
    /// Places where one may be now.
    fn list(&mut self) -> Vec<Place>;

    /// Opens a place.
    fn open(&mut self, name: &str) -> Result<Line, LinkError>;

    /// The present for a logger on this line, ms since 1970: the computer's clock, but for a
    /// simulated one.
    fn clock_ms(&self, name: &str) -> i64 {
        let _ = name;
        Timestamp::now().as_millisecond()
    }

    /// True where no real logger is behind the line.
    fn simulated(&self, name: &str) -> bool {
        let _ = name;
        false
    }
}

/// The USB ports of this computer.
#[derive(Clone, Copy, Debug, Default)]
pub struct UsbPorts;

impl Ports for UsbPorts {
    fn list(&mut self) -> Vec<Place> {
        pumpwitness_link::ports::list()
            .into_iter()
            .filter(|port| port.usb)
            .map(|port| Place {
                what: if port.description.is_empty() {
                    "USB device".to_owned()
                } else {
                    port.description
                },
                serial: port.ids.and_then(|ids| ids.serial),
                name: port.name,
            })
            .collect()
    }

    fn open(&mut self, name: &str) -> Result<Line, LinkError> {
        Ok(Box::new(SerialLine::open(name)?))
    }
}

/// Ports, and one more that is given by its name: it is offered as long as the program runs.
pub struct WithNamed {
    /// The others.
    pub others: Box<dyn Ports>,
    /// Its name.
    pub name: String,
}

impl Ports for WithNamed {
    fn list(&mut self) -> Vec<Place> {
        let mut places = self.others.list();
        if !places.iter().any(|place| place.name == self.name) {
            let what = "named when the program was started".to_owned();
            places.push(Place { name: self.name.clone(), what, serial: None });
        }
        places
    }

    fn open(&mut self, name: &str) -> Result<Line, LinkError> {
        self.others.open(name)
    }

    fn clock_ms(&self, name: &str) -> i64 {
        self.others.clock_ms(name)
    }

    fn simulated(&self, name: &str) -> bool {
        self.others.simulated(name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ports of these names.
    struct These(&'static [&'static str]);

    impl Ports for These {
        fn list(&mut self) -> Vec<Place> {
            let place = |name: &&str| Place {
                name: (*name).to_owned(),
                what: "USB device".to_owned(),
                serial: None,
            };
            self.0.iter().map(place).collect()
        }

        fn open(&mut self, name: &str) -> Result<Line, LinkError> {
            Ok(Box::new(SerialLine::open(name)?))
        }
    }

    #[test]
    fn a_named_port_is_offered_once_beside_the_others() {
        for (there, listed) in [
            (&[] as &[_], &["far"] as &[_]),
            (&["near"], &["near", "far"]),
            (&["near", "far"], &["near", "far"]),
        ] {
            let mut ports = WithNamed { others: Box::new(These(there)), name: "far".to_owned() };
            let names: Vec<_> = ports.list().into_iter().map(|place| place.name).collect();
            assert_eq!(names, listed);
        }
    }
}
