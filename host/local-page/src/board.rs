//! The board between the worker, the jobs and the server: what is shown, and when it was last asked
//! for. Locks are held for the copying of values only.

use crate::snapshot::{Job, JobState, Snapshot};
use serde_json::Value;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Nobody looks any more when the page has not asked for so long.
const LOOKED_WITHIN: Duration = Duration::from_secs(5);

/// The board.
pub struct Board {
    shown: Mutex<Snapshot>,
    looked: Mutex<Option<Instant>>,
    read: Mutex<Option<Instant>>,
    /// The job going on can be stopped.
    stoppable: AtomicBool,
    stop: AtomicBool,
}

impl Default for Board {
    fn default() -> Self {
        Self {
            shown: Mutex::new(Snapshot::default()),
            looked: Mutex::new(None),
            read: Mutex::new(None),
            stoppable: AtomicBool::new(false),
            stop: AtomicBool::new(false),
        }
    }
}

/// A panic elsewhere leaves values that are whole: each is set in one go.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Board {
    /// The snapshot for a page that asks now.
    pub fn asked(&self) -> Snapshot {
        *lock(&self.looked) = Some(Instant::now());
        let mut shown = lock(&self.shown).clone();
        let read = *lock(&self.read);
        if let (Some(live), Some(read)) = (&mut shown.live, read) {
            live.age_ms = read.elapsed().as_millis() as u64;
        }
        shown
    }

    /// True while a page asks now and then.
    pub fn looked_at(&self) -> bool {
        lock(&self.looked).is_some_and(|looked| looked.elapsed() < LOOKED_WITHIN)
    }

    /// Changes what is shown.
    pub fn change(&self, change: impl FnOnce(&mut Snapshot)) {
        let mut shown = lock(&self.shown);
        change(&mut shown);
        shown.version += 1;
    }

    /// Reads something of what is shown.
    pub fn of<T>(&self, read: impl FnOnce(&Snapshot) -> T) -> T {
        read(&lock(&self.shown))
    }

    /// Readings came just now.
    pub fn read_now(&self) {
        *lock(&self.read) = Some(Instant::now());
    }

    /// Begins a job, unless one is going.
    pub fn begin(&self, job: Job) -> bool {
        let mut shown = lock(&self.shown);
        if shown.job.as_ref().is_some_and(|job| job.state == JobState::Going) {
            return false;
        }
        let number = shown.job.as_ref().map_or(0, |before| before.number) + 1;
        shown.job = Some(Job { number, ..job });
        shown.version += 1;
        true
    }

    /// True while a job is going.
    pub fn busy(&self) -> bool {
        self.of(|shown| shown.job.as_ref().is_some_and(|job| job.state == JobState::Going))
    }

    /// Changes the job going on.
    pub fn job(&self, change: impl FnOnce(&mut Job)) {
        self.change(|shown| {
            if let Some(job) = &mut shown.job {
                change(job);
            }
        });
    }

    /// Ends the job: what it says and what came of it, or why it failed.
    pub fn end(&self, outcome: Result<(String, Value), String>) {
        self.job(|job| match outcome {
            Ok((says, result)) => {
                job.state = JobState::Done;
                job.says = says;
                job.result = Some(result);
                if job.total == 0 {
                    (job.done, job.total) = (1, 1);
                }
            }
            Err(says) => {
                job.state = JobState::Failed;
                job.says = says;
            }
        });
    }

    /// Says whether the job going on can be stopped from here on.
    pub fn stoppable(&self, can_be: bool) {
        self.stoppable.store(can_be, Ordering::Relaxed);
        self.stop.store(false, Ordering::Relaxed);
    }

    /// Has the job stop at its next step; false where there is none that can.
    pub fn stop(&self) -> bool {
        let can_be = self.stoppable.load(Ordering::Relaxed);
        if can_be {
            self.stop.store(true, Ordering::Relaxed);
        }
        can_be
    }

    /// True once the job is to stop.
    pub fn stopping(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_job_at_a_time_and_each_has_a_number_of_its_own() {
        let board = Board::default();
        assert!(board.begin(Job::begun("report", "", "making")));
        assert!(!board.begin(Job::begun("bundle", "", "making")), "one is going");
        board.end(Ok(("made".to_owned(), Value::Null)));
        let first = board.of(|shown| shown.job.clone()).unwrap();
        assert_eq!((first.number, first.what, first.done), (1, "report", 1));
        assert!(board.begin(Job::begun("bundle", "", "making")));
        let second = board.of(|shown| shown.job.clone()).unwrap();
        assert_eq!((second.number, second.what, second.result), (2, "bundle", None));
    }
}
