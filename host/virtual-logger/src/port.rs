//! Serving a logger on a virtual serial port, on a thread of its own.

use crate::pty::Pty;
use std::io;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// How long the thread waits for bytes before it looks whether it should stop.
const WAIT: Duration = Duration::from_millis(20);

/// Something at the near end of a line: bytes in, bytes out.
pub trait Device: Send {
    /// Takes bytes from the line and appends the answer to `answer`.
    fn receive(&mut self, bytes: &[u8], answer: &mut Vec<u8>);
}

/// A device plugged in; dropping it unplugs it.
#[derive(Debug)]
pub struct Plugged {
    path: String,
    stop: Arc<AtomicBool>,
    /// Answered bytes until the plug is pulled.
    left: Arc<AtomicUsize>,
    thread: Option<JoinHandle<()>>,
}

impl Plugged {
    /// Plugs `device` in. After `fuse` answered bytes, if given, the plug is pulled.
    pub fn new<D: Device + 'static>(
        device: Arc<Mutex<D>>,
        fuse: Option<usize>,
    ) -> io::Result<Self> {
        let pty = Pty::open()?;
        let path = pty.path().to_owned();
        let stop = Arc::new(AtomicBool::new(false));
        let stopping = Arc::clone(&stop);
        let left = Arc::new(AtomicUsize::new(fuse.unwrap_or(usize::MAX)));
        let burning = Arc::clone(&left);
        let thread = thread::Builder::new().name("virtual port".to_owned()).spawn(move || {
            // An error here is the far end going away for good: the same as an unplugged cable.
            let _ = serve(&pty, &device, &stopping, &burning);
        })?;
        Ok(Self { path, stop, left, thread: Some(thread) })
    }

    /// Name under which a program opens the port.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// Has the plug pulled after `bytes` more of answers.
    pub fn pull_after(&self, bytes: usize) {
        self.left.store(bytes, Ordering::Relaxed);
    }

    /// True once the plug was pulled.
    pub fn pulled(&self) -> bool {
        self.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }
}

impl Drop for Plugged {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            // A panic of the device has been printed by its thread already.
            let _ = thread.join();
        }
    }
}

fn serve<D: Device>(
    pty: &Pty,
    device: &Mutex<D>,
    stop: &AtomicBool,
    left: &AtomicUsize,
) -> io::Result<()> {
    let mut heard = [0; 4096];
    let mut answer = Vec::new();
    while !stop.load(Ordering::Relaxed) {
        let count = pty.read(&mut heard, WAIT)?;
        if count == 0 {
            continue;
        }
        answer.clear();
        let mut device = device.lock().unwrap_or_else(PoisonError::into_inner);
        device.receive(&heard[..count], &mut answer);
        drop(device);
        let mut unsent = &answer[..];
        while !unsent.is_empty() && !stop.load(Ordering::Relaxed) {
            let room = left.load(Ordering::Relaxed).min(unsent.len());
            if room == 0 {
                return Ok(());
            }
            let sent = pty.write(&unsent[..room], WAIT)?;
            unsent = &unsent[sent..];
            let _ = left.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |bytes| {
                (bytes != usize::MAX).then(|| bytes.saturating_sub(sent))
            });
        }
        if left.load(Ordering::Relaxed) == 0 {
            return Ok(());
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustix::fs::{Mode, OFlags};

    struct Echo;

    impl Device for Echo {
        fn receive(&mut self, bytes: &[u8], answer: &mut Vec<u8>) {
            answer.extend(bytes.iter().map(|byte| byte ^ 0xFF));
        }
    }

    #[test]
    fn every_byte_value_passes_both_ways() {
        let port = Plugged::new(Arc::new(Mutex::new(Echo)), None).unwrap();
        let flags = OFlags::RDWR | OFlags::NOCTTY;
        let far = rustix::fs::open(port.path(), flags, Mode::empty()).unwrap();
        let sent: Vec<u8> = (0..=255).collect();
        rustix::io::write(&far, &sent).unwrap();
        let mut got = Vec::<u8>::new();
        let mut buffer = [0; 256];
        while got.len() < sent.len() {
            let count = rustix::io::read(&far, &mut buffer).unwrap();
            got.extend(&buffer[..count]);
        }
        assert!(got.iter().zip(&sent).all(|(got, sent)| *got == sent ^ 0xFF));
    }

    #[test]
    fn a_blown_fuse_hangs_up() {
        let port = Plugged::new(Arc::new(Mutex::new(Echo)), Some(10)).unwrap();
        let flags = OFlags::RDWR | OFlags::NOCTTY;
        let far = rustix::fs::open(port.path(), flags, Mode::empty()).unwrap();
        rustix::io::write(&far, &[7; 100]).unwrap();
        let mut got = 0;
        let mut buffer = [0; 256];
        // A hang-up reads as end of file or as an error, by platform.
        while let Ok(count @ 1..) = rustix::io::read(&far, &mut buffer) {
            got += count;
        }
        assert!(got <= 10);
    }
}
