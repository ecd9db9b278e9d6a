//! Fetching: the download goes on over any number of unplugged cables, until it is verified or told
//! to stop; then the office files it.

use super::{AGAIN, Worker, of_the_line};
use crate::board::Board;
use crate::office::Office;
use crate::snapshot::Link;
use pumpwitness_link::download::part_of;
use pumpwitness_link::{ClientError, Download, DownloadError, Downloaded, Progress};
use pumpwitness_protocol::hex::Hex;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

/// Between two changes of the progress shown.
const TOLD_EVERY: Duration = Duration::from_millis(150);
const STOPPED: &str = "stopped; what was fetched is kept, and the next fetch goes on from there";

impl Worker {
    pub(super) fn fetch(&mut self, release: bool, by: &str) {
        self.board.stoppable(true);
        let outcome = self.fetched(release, by);
        self.board.stoppable(false);
        match outcome {
            Err(why) => self.board.end(Err(why)),
            Ok((file, done, of_before)) => {
                let (office, board) = (Arc::clone(&self.office), Arc::clone(&self.board));
                board.job(|job| "whole and verified; now it is analysed".clone_into(&mut job.says));
                // Beside this thread: the readings go on meanwhile.
                thread::spawn(move || file_away(&*office, &board, &file, &done, of_before));
            }
        }
        // After a stop, pages may still be on their way.
        self.reopen();
    }

    /// Downloads; true with it when an attempt of another day was finished.
    fn fetched(&mut self, release: bool, by: &str) -> Result<(PathBuf, Downloaded, bool), String> {
        let device = match self.session.identity() {
            Some(identity) => Hex(&identity.device).to_string(),
            None => return Err("choose a logger first; it must have answered once".to_owned()),
        };
        let file = self.office.incoming(&device).map_err(|error| error.to_string())?;
        if file.exists() {
            // Verified by an earlier fetch that could not file it: safe before anything else.
            self.office.file_away(&file).map_err(|error| {
                format!("an earlier record of this logger could not be filed: {error}")
            })?;
        }
        let of_before = part_of(&file).exists();
        loop {
            if self.board.stopping() {
                return Err(STOPPED.to_owned());
            }
            match self.attempt(&file, release, by) {
                None => {}
                Some(Ok(done)) => return Ok((file, done, of_before)),
                Some(Err(_)) if self.board.stopping() => return Err(STOPPED.to_owned()),
                Some(Err(DownloadError::Client(error))) if of_the_line(&error) => {
                    self.wait_for(&error);
                }
                Some(Err(DownloadError::NotReleased { cause, .. })) => {
                    // Whole and verified: filed, and released another time.
                    self.lost(&cause.to_string());
                    let done = self.earlier()?;
                    return Ok((file, done, of_before));
                }
                Some(Err(DownloadError::OtherRecord { .. })) => set_aside(&file)?,
                Some(Err(error)) => return Err(error.to_string()),
            }
            if self.using.as_ref().is_none_or(|using| using.client.is_none()) {
                self.try_again();
            }
        }
    }

    /// One attempt on the open line; `None` where there is none.
    fn attempt(
        &mut self,
        file: &Path,
        release: bool,
        by: &str,
    ) -> Option<Result<Downloaded, DownloadError>> {
        let using = self.using.as_mut()?;
        let client = using.client.as_mut()?;
        let download = Download {
            file,
            replace: false,
            release,
            host_clock_ms: self.ports.clock_ms(&using.port),
            collected_by: by,
        };
        let mut told = None::<Instant>;
        let mut last = None;
        let board = &self.board;
        let outcome = download.run(client, |progress| {
            last = Some(progress);
            if progress.done == progress.total
                || told.is_none_or(|told| told.elapsed() >= TOLD_EVERY)
            {
                told = Some(Instant::now());
                tell(board, progress);
            }
        });
        if outcome.is_err()
            && let Some(progress) = last
        {
            // What came since it was told last is kept too.
            tell(board, progress);
        }
        Some(outcome)
    }

    fn wait_for(&mut self, error: &ClientError) {
        self.lost(&error.to_string());
        self.board.job(|job| {
            "the logger is gone: what came is kept, and it goes on when the cable is back"
                .clone_into(&mut job.says);
        });
        self.publish();
    }

    /// Waits a moment, then tries the line.
    fn try_again(&mut self) {
        let until = Instant::now() + AGAIN;
        while Instant::now() < until && !self.board.stopping() {
            thread::sleep(Duration::from_millis(50));
        }
        if self.using.is_some() && !self.board.stopping() {
            self.open();
            self.publish();
        }
    }

    /// What is known of a finished file where the attempt that finished it could not say.
    fn earlier(&self) -> Result<Downloaded, String> {
        let identity = self.session.identity().cloned().ok_or("the logger is not known")?;
        Ok(Downloaded {
            identity,
            sectors: 0,
            pages: self.board.of(|shown| shown.job.as_ref().map_or(0, |job| job.total)),
            pages_gone: 0,
            pages_damaged: 0,
            pages_torn: 0,
            resumed_at: 0,
            pages_mended: 0,
            chain_broken: Vec::new(),
            chain_unknown: 0,
            sha256: [0; 32],
            released: false,
        })
    }

    fn reopen(&mut self) {
        if let Some(using) = &mut self.using
            && using.link == Link::There
        {
            using.client = None;
            self.open();
        }
    }
}

fn tell(board: &Board, Progress { done, total }: Progress) {
    board.job(|job| {
        (job.done, job.total) = (done, total);
        job.says = if done < total {
            "fetching; the cable may be pulled, it goes on afterwards".to_owned()
        } else {
            "all pages are here; they are read back and checked".to_owned()
        };
    });
}

/// The logger holds another record than the unfinished file: that one is kept under another name.
fn set_aside(file: &Path) -> Result<(), String> {
    let part = part_of(file);
    let aside = (1..1000)
        .map(|n| part.with_extension(format!("earlier-{n}.part")))
        .find(|aside| !aside.exists())
        .ok_or("too many unfinished downloads: look through the folder of recordings")?;
    std::fs::rename(&part, &aside)
        .map_err(|error| format!("cannot keep {}: {error}", aside.display()))
}

fn file_away(office: &dyn Office, board: &Board, file: &Path, done: &Downloaded, of_before: bool) {
    match office.file_away(file) {
        Ok(id) => board.end(Ok((says(done, of_before), result(&id, done)))),
        Err(error) => board.end(Err(format!(
            "the record is whole and verified in {}, but could not be filed: {error}",
            file.display()
        ))),
    }
}

fn says(done: &Downloaded, of_before: bool) -> String {
    let mut says = "whole, verified and filed".to_owned();
    if of_before && done.resumed_at > 0 {
        says += "; this finished an earlier download of what the logger held then: fetch once more \
                 for what came since";
    }
    if done.pages_gone > 0 {
        let _ = write!(says, "; {} pages had been overwritten before", done.pages_gone);
    }
    if done.pages_damaged > 0 {
        let _ = write!(says, "; {} pages are damaged in the logger itself", done.pages_damaged);
    }
    if !done.chain_broken.is_empty() {
        let count = done.chain_broken.len();
        let _ = write!(says, "; {count} sectors were changed after they were closed");
    }
    says
}

fn result(id: &str, done: &Downloaded) -> Value {
    json!({
        "id": id,
        "pages": done.pages,
        "pages_gone": done.pages_gone,
        "pages_damaged": done.pages_damaged,
        "resumed_at": done.resumed_at,
        "chain_ok": done.chain_ok(),
        "released": done.released,
    })
}
