//! Lines that carry bytes: a serial port, and a pipe in memory for where there is none.

use crate::client::LinkError;
use serialport::SerialPort;
use std::io::{self, Read, Write};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::Duration;

/// Bit rate asked of a port. USB ignores it; a bridge to a real line needs one.
const BITS_PER_S: u32 = 115_200;

/// Bytes both ways.
pub trait Transport {
    /// Name of the line, for messages.
    fn name(&self) -> &str;

    /// Reads what is there, waiting at most `wait`; 0 when nothing came. An error means that the
    /// line is gone.
    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize>;

    /// Sends all of `bytes`.
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()>;
}

/// A serial port: USB CDC ACM, a real port, or a pseudo-terminal by its path.
pub struct SerialLine {
    name: String,
    port: Box<dyn SerialPort>,
}

impl SerialLine {
    /// Opens the port for this program alone.
    pub fn open(name: &str) -> Result<Self, LinkError> {
        let opened = serialport::new(name, BITS_PER_S).timeout(Duration::from_secs(1)).open();
        match opened {
            Ok(port) => Ok(Self { name: name.to_owned(), port }),
            Err(error) => Err(refusal(name, &error)),
        }
    }
}

fn refusal(name: &str, error: &serialport::Error) -> LinkError {
    let port = name.to_owned();
    let text = error.to_string();
    let lower = text.to_lowercase();
    let says = |words: &[&str]| words.iter().any(|word| lower.contains(word));
    match error.kind() {
        _ if says(&["busy", "lock", "in use", "temporarily unavailable"]) => {
            LinkError::Busy { port }
        }
        serialport::ErrorKind::Io(io::ErrorKind::PermissionDenied) => {
            LinkError::NotAllowed { port }
        }
        _ if says(&["permission", "access is denied"]) => LinkError::NotAllowed { port },
        serialport::ErrorKind::NoDevice | serialport::ErrorKind::Io(io::ErrorKind::NotFound) => {
            LinkError::Absent { port }
        }
        _ => LinkError::NoPort { port, cause: text },
    }
}

impl Transport for SerialLine {
    fn name(&self) -> &str {
        &self.name
    }

    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        self.port.set_timeout(wait)?;
        match self.port.read(buffer) {
            // A port with nothing to say times out; one that reads nothing at once has hung up.
            Ok(0) => Err(io::ErrorKind::BrokenPipe.into()),
            Err(error) if error.kind() == io::ErrorKind::TimedOut => Ok(0),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => Ok(0),
            other => other,
        }
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.port.set_timeout(Duration::from_secs(2))?;
        Write::write_all(&mut self.port, bytes)
    }
}

/// One end of a pipe in memory; dropping the other end is pulling the plug.
#[derive(Debug)]
pub struct Pipe {
    name: String,
    incoming: Receiver<Vec<u8>>,
    outgoing: Sender<Vec<u8>>,
    rest: Vec<u8>,
}

impl Pipe {
    /// Both ends of a pipe.
    pub fn pair(name: &str) -> (Self, Self) {
        let (here, there_in) = channel();
        let (there, here_in) = channel();
        let end = |incoming, outgoing| Self {
            name: name.to_owned(),
            incoming,
            outgoing,
            rest: Vec::new(),
        };
        (end(here_in, here), end(there_in, there))
    }
}

impl Transport for Pipe {
    fn name(&self) -> &str {
        &self.name
    }

    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        if self.rest.is_empty() {
            match self.incoming.recv_timeout(wait) {
                Ok(bytes) => self.rest = bytes,
                Err(RecvTimeoutError::Timeout) => return Ok(0),
                Err(RecvTimeoutError::Disconnected) => {
                    return Err(io::ErrorKind::BrokenPipe.into());
                }
            }
        }
        let count = self.rest.len().min(buffer.len());
        buffer[..count].copy_from_slice(&self.rest[..count]);
        self.rest.drain(..count);
        Ok(count)
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.outgoing.send(bytes.to_vec()).map_err(|_| io::ErrorKind::BrokenPipe.into())
    }
}
