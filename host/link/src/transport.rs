//! Lines that carry bytes: a serial port, and a pipe in memory for where there is none.

use crate::error::LinkError;
use serialport::{ClearBuffer, ErrorKind, SerialPort};
use std::io;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant};

/// Bit rate asked of a port. USB ignores it; a bridge to a real line needs one.
const BITS_PER_S: u32 = 115_200;
/// Time in which a port must take a request.
const WRITE_WAIT: Duration = Duration::from_secs(2);
/// Bytes handed to the system at once. It is asked before each whether it has room, so that a far
/// end that takes nothing is noticed here and does not block inside the system.
const PIECE: usize = 64;

/// Bytes both ways.
pub trait Transport {
    /// Name of the line, for messages.
    fn name(&self) -> &str;

    /// Reads what is there, waiting at most `wait`; 0 when nothing came. An error means that the
    /// line is gone.
    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize>;

    /// Sends all of `bytes`, in bounded time: an error of kind `TimedOut` when the far end does not
    /// take them, any other when the line is gone.
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()>;

    /// The clock that waiting on this line is measured by. A line that only pretends to wait brings
    /// its own.
    fn now(&self) -> Instant {
        Instant::now()
    }
}

/// A line chosen while the program runs.
impl<T: Transport + ?Sized> Transport for Box<T> {
    fn name(&self) -> &str {
        (**self).name()
    }

    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        (**self).read(buffer, wait)
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        (**self).write_all(bytes)
    }

    fn now(&self) -> Instant {
        (**self).now()
    }
}

/// A serial port: USB CDC ACM, a real port, or a pseudo-terminal by its path.
pub struct SerialLine {
    name: String,
    port: Box<dyn SerialPort>,
}

impl SerialLine {
    /// Opens the port for this program alone.
    pub fn open(name: &str) -> Result<Self, LinkError> {
        let opened = serialport::new(name, BITS_PER_S)
            .timeout(WRITE_WAIT)
            // By this a USB device sees that a program is there, and when it goes.
            .dtr_on_open(true)
            .exclusive(true)
            .open();
        match opened {
            Ok(port) => Ok(Self { name: name.to_owned(), port }),
            Err(error) => Err(refusal(name, &error)),
        }
    }
}

impl Drop for SerialLine {
    fn drop(&mut self) {
        // What the far end never took would hold up the closing for half a minute on some systems.
        let _ = self.port.clear(ClearBuffer::Output);
    }
}

fn refusal(name: &str, error: &serialport::Error) -> LinkError {
    let port = name.to_owned();
    match error.kind() {
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => LinkError::NotAllowed { port },
        // The library's one word for a port that is not there and one that is taken.
        ErrorKind::NoDevice if there_is(name) => LinkError::Busy { port },
        ErrorKind::NoDevice | ErrorKind::Io(io::ErrorKind::NotFound) => LinkError::Absent { port },
        _ if std::path::Path::new(name).is_file() => {
            LinkError::NoPort { port, cause: "it is a file".to_owned() }
        }
        _ => LinkError::NoPort { port, cause: error.to_string() },
    }
}

fn there_is(name: &str) -> bool {
    // A port has a path on Unix, and only a name elsewhere.
    std::path::Path::new(name).exists() || crate::ports::list().iter().any(|p| p.name == name)
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
            Err(error)
                if matches!(
                    error.kind(),
                    io::ErrorKind::TimedOut
                        | io::ErrorKind::Interrupted
                        | io::ErrorKind::WouldBlock
                ) =>
            {
                Ok(0)
            }
            other => other,
        }
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        let deadline = Instant::now() + WRITE_WAIT;
        for mut piece in bytes.chunks(PIECE) {
            while !piece.is_empty() {
                let left = deadline.saturating_duration_since(Instant::now());
                if left.is_zero() {
                    return Err(io::ErrorKind::TimedOut.into());
                }
                self.port.set_timeout(left)?;
                match self.port.write(piece) {
                    Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
                    Ok(count) => piece = &piece[count..],
                    Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                    Err(error) => return Err(error),
                }
            }
        }
        Ok(())
    }
}

/// One end of a pipe in memory; dropping the other end is pulling the plug.
#[derive(Debug)]
pub struct Pipe {
    name: String,
    incoming: Receiver<Vec<u8>>,
    outgoing: Sender<Vec<u8>>,
    rest: Vec<u8>,
    taken: usize,
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
            taken: 0,
        };
        (end(here_in, here), end(there_in, there))
    }
}

impl Transport for Pipe {
    fn name(&self) -> &str {
        &self.name
    }

    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        if self.taken == self.rest.len() {
            self.taken = 0;
            self.rest.clear();
            match self.incoming.recv_timeout(wait) {
                Ok(bytes) => self.rest = bytes,
                Err(RecvTimeoutError::Timeout) => return Ok(0),
                Err(RecvTimeoutError::Disconnected) => {
                    return Err(io::ErrorKind::BrokenPipe.into());
                }
            }
        }
        let rest = &self.rest[self.taken..];
        let count = rest.len().min(buffer.len());
        buffer[..count].copy_from_slice(&rest[..count]);
        self.taken += count;
        Ok(count)
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.outgoing.send(bytes.to_vec()).map_err(|_| io::ErrorKind::BrokenPipe.into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pipe_carries_bytes_and_ends_with_its_other_end() {
        let (mut here, mut there) = Pipe::pair("pipe");
        here.write_all(b"abcdef").unwrap();
        let mut buffer = [0; 4];
        let wait = Duration::from_millis(1);
        assert_eq!(there.read(&mut buffer, wait).unwrap(), 4);
        assert_eq!((there.read(&mut buffer, wait).unwrap(), &buffer[..2]), (2, &b"ef"[..]));
        assert_eq!(there.read(&mut buffer, wait).unwrap(), 0);
        there.write_all(b"last").unwrap();
        drop(there);
        assert_eq!(here.read(&mut buffer, wait).unwrap(), 4);
        assert_eq!(here.read(&mut buffer, wait).unwrap_err().kind(), io::ErrorKind::BrokenPipe);
        assert_eq!(here.write_all(b"x").unwrap_err().kind(), io::ErrorKind::BrokenPipe);
    }

    #[test]
    fn what_is_no_port_is_named() {
        let absent = SerialLine::open("/no/such/port").err().unwrap();
        assert!(matches!(absent, LinkError::Absent { .. }), "{absent}");
        let file = tempfile::NamedTempFile::new().unwrap();
        let name = file.path().to_str().unwrap();
        let error = SerialLine::open(name).err().unwrap();
        assert!(matches!(error, LinkError::NoPort { .. } | LinkError::Busy { .. }), "{error}");
    }

    #[cfg(unix)]
    mod pseudo_terminal {
        use super::*;
        use crate::client::{Client, Limits};
        use crate::error::ClientError;
        use serialport::TTYPort;
        use std::io::{Read, Write};

        fn pair() -> (TTYPort, String) {
            let (near, far) = TTYPort::pair().unwrap();
            let name = far.name().unwrap();
            // Open ends would count as another program.
            drop(far);
            (near, name)
        }

        #[test]
        fn it_carries_every_byte_both_ways() {
            let (mut near, name) = pair();
            let mut line = SerialLine::open(&name).unwrap();
            let all: Vec<u8> = (0..=255).collect();
            line.write_all(&all).unwrap();
            let mut got = vec![0; all.len()];
            near.read_exact(&mut got).unwrap();
            assert_eq!(got, all);
            Write::write_all(&mut near, &all).unwrap();
            let mut got = Vec::new();
            let mut buffer = [0; 100];
            while got.len() < all.len() {
                let count = line.read(&mut buffer, Duration::from_mins(1)).unwrap();
                got.extend_from_slice(&buffer[..count]);
            }
            assert_eq!(got, all);
            assert_eq!(line.read(&mut buffer, Duration::from_millis(1)).unwrap(), 0);
            drop(near);
            assert!(line.read(&mut buffer, Duration::from_mins(1)).is_err());
        }

        #[test]
        fn a_second_program_finds_it_busy() {
            let (_near, name) = pair();
            let _first = SerialLine::open(&name).unwrap();
            let error = SerialLine::open(&name).err().unwrap();
            assert!(matches!(error, LinkError::Busy { .. }), "{error}");
        }

        /// A far end that never reads: the system's room fills up, and the writing still ends.
        #[test]
        fn one_that_takes_nothing_is_given_up() {
            let (_near, name) = pair();
            let mut line = SerialLine::open(&name).unwrap();
            let much = vec![0x55; 1 << 20];
            assert_eq!(line.write_all(&much).unwrap_err().kind(), io::ErrorKind::TimedOut);
            let limits = Limits { answer: Duration::from_millis(10), tries: 2 };
            let error = Client::new(line, limits).hello().unwrap_err();
            assert!(matches!(error, ClientError::Link(LinkError::Silent { .. })), "{error}");
        }
    }
}
