//! A virtual serial port: a pseudo-terminal whose far end is opened by name, as a real port is.

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fd::OwnedFd;
use rustix::fs::{Mode, OFlags};
use rustix::io::{Errno, FdFlags};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::io;
use std::time::Duration;

/// The logger's end of a virtual serial port. Dropping it is pulling the plug.
#[derive(Debug)]
pub struct Pty {
    near: OwnedFd,
    /// Held open so that the near end sees no hang-up while no program has the port open.
    _far: OwnedFd,
    path: String,
}

impl Pty {
    /// Makes a port.
    pub fn open() -> io::Result<Self> {
        let near = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY)?;
        // A program started meanwhile must not hold the near end open: nobody would hang up.
        rustix::io::fcntl_setfd(&near, FdFlags::CLOEXEC)?;
        grantpt(&near)?;
        unlockpt(&near)?;
        let path = ptsname(&near, Vec::new())?;
        let path = path.into_string().map_err(io::Error::other)?;
        let far = rustix::fs::open(
            &path,
            OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC,
            Mode::empty(),
        )?;
        let mut modes = tcgetattr(&far)?;
        modes.make_raw();
        tcsetattr(&far, OptionalActions::Now, &modes)?;
        rustix::fs::fcntl_setfl(&near, OFlags::NONBLOCK)?;
        Ok(Self { near, _far: far, path })
    }

    /// Name under which a program opens the far end.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// Bytes from the far end; 0 when none came in `wait`.
    pub fn read(&self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        if !self.ready(PollFlags::IN, wait)? {
            return Ok(0);
        }
        match rustix::io::read(&self.near, buffer) {
            Err(Errno::AGAIN | Errno::INTR) => Ok(0),
            other => Ok(other?),
        }
    }

    /// Sends what the far end takes within `wait`; gives how much it took.
    pub fn write(&self, bytes: &[u8], wait: Duration) -> io::Result<usize> {
        if !self.ready(PollFlags::OUT, wait)? {
            return Ok(0);
        }
        match rustix::io::write(&self.near, bytes) {
            Err(Errno::AGAIN | Errno::INTR) => Ok(0),
            other => Ok(other?),
        }
    }

    fn ready(&self, what: PollFlags, wait: Duration) -> io::Result<bool> {
        let wait = Timespec::try_from(wait).map_err(io::Error::other)?;
        let mut fds = [PollFd::new(&self.near, what)];
        match poll(&mut fds, Some(&wait)) {
            Err(Errno::INTR) => Ok(false),
            other => Ok(other? > 0),
        }
    }
}
