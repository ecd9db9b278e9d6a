//! The cable between the page and the simulated logger: in memory, so that practice works on every
//! system, and pulled as a real one is, in the middle of an answer.

use super::PLACE;
use super::lock;
use pumpwitness_link::Transport;
use pumpwitness_virtual_logger::VirtualLogger;
use std::collections::VecDeque;
use std::io;
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

/// How the plug stands.
#[derive(Debug)]
struct Plug {
    /// Times it was put in; a line belongs to one of them.
    times: u64,
    /// Bytes of answers until it is pulled; 0 once it is.
    left: usize,
}

/// The cable.
#[derive(Clone, Debug)]
pub struct Cable(Arc<Mutex<Plug>>);

impl Cable {
    /// Plugged in.
    pub fn new() -> Self {
        Self(Arc::new(Mutex::new(Plug { times: 1, left: usize::MAX })))
    }

    /// True while the plug is in.
    pub fn is_in(&self) -> bool {
        lock(&self.0).left > 0
    }

    /// Pulls the plug, after so many more bytes of answers.
    pub fn pull(&self, after_bytes: usize) {
        lock(&self.0).left = after_bytes;
    }

    /// Puts the plug in, if it is out. Lines of before stay dead.
    pub fn put_in(&self) {
        let mut plug = lock(&self.0);
        if plug.left == 0 {
            *plug = Plug { times: plug.times.wrapping_add(1), left: usize::MAX };
        }
    }

    /// A line over it, while it is in.
    pub fn line(&self, logger: &Arc<Mutex<VirtualLogger>>) -> Option<CableLine> {
        let plug = lock(&self.0);
        (plug.left > 0).then(|| CableLine {
            cable: self.clone(),
            times: plug.times,
            logger: Arc::clone(logger),
            coming: VecDeque::new(),
        })
    }
}

/// A line over the cable.
pub struct CableLine {
    cable: Cable,
    times: u64,
    logger: Arc<Mutex<VirtualLogger>>,
    coming: VecDeque<u8>,
}

impl CableLine {
    /// Takes up to `wanted` bytes off what the plug still lets pass.
    fn pass(&self, wanted: usize) -> io::Result<usize> {
        let mut plug = lock(&self.cable.0);
        if plug.times != self.times || plug.left == 0 {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        let count = wanted.min(plug.left);
        if plug.left != usize::MAX {
            plug.left -= count;
        }
        Ok(count)
    }
}

impl Transport for CableLine {
    fn name(&self) -> &'static str {
        PLACE
    }

    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        let count = self.pass(buffer.len().min(self.coming.len()))?;
        if count == 0 {
            // The logger answers as soon as it is asked: nothing is on its way.
            thread::sleep(wait);
        }
        for (place, byte) in buffer.iter_mut().zip(self.coming.drain(..count)) {
            *place = byte;
        }
        Ok(count)
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.pass(0)?;
        let mut answer = Vec::new();
        lock(&self.logger).answer(bytes, &mut answer);
        self.coming.extend(answer);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pumpwitness_link::{Client, ClientError, Limits, LinkError};

    fn limits() -> Limits {
        Limits { answer: Duration::from_mins(1), tries: 1 }
    }

    fn broken<T>(outcome: &Result<T, ClientError>) -> bool {
        matches!(outcome, Err(ClientError::Link(LinkError::Broken { .. })))
    }

    #[test]
    fn a_pulled_cable_breaks_the_line_and_only_a_new_one_works() {
        let logger = VirtualLogger::new(*b"PRACTICE", 1 << 20, 0).unwrap();
        let logger = Arc::new(Mutex::new(logger));
        let cable = Cable::new();
        let mut client = Client::new(cable.line(&logger).unwrap(), limits());
        assert_eq!(client.hello().unwrap().device, *b"PRACTICE");
        cable.pull(0);
        assert!(broken(&client.hello()) && !cable.is_in() && cable.line(&logger).is_none());
        cable.put_in();
        assert!(broken(&client.hello()), "that line was of the plug before");
        let mut client = Client::new(cable.line(&logger).unwrap(), limits());
        assert!(client.hello().is_ok());
    }

    #[test]
    fn it_is_pulled_in_the_middle_of_an_answer() {
        let logger = VirtualLogger::new(*b"PRACTICE", 1 << 20, 0).unwrap();
        let logger = Arc::new(Mutex::new(logger));
        let cable = Cable::new();
        let mut line = cable.line(&logger).unwrap();
        let mut client = Client::new(cable.line(&logger).unwrap(), limits());
        assert!(client.hello().is_ok());
        cable.pull(5);
        assert!(cable.is_in());
        assert!(broken(&client.hello()) && !cable.is_in());
        let mut buffer = [0; 10];
        assert!(line.read(&mut buffer, Duration::ZERO).is_err());
    }
}
