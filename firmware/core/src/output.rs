//! Records on their way to the journal: a bounded queue that counts what it could not take.

use heapless::Deque;
use pumpwitness_protocol::record::{Mark, Record, TimedMark};

/// Records that wait at most: those of more than two seconds of the busiest recording.
pub const WAITING_MAX: usize = 24;

/// The queue.
#[derive(Clone, Debug, Default)]
pub(crate) struct Output {
    waiting: Deque<Record, WAITING_MAX>,
    lost: u32,
}

impl Output {
    pub(crate) fn push(&mut self, record: Record) {
        if self.waiting.push_back(record).is_err() {
            self.lose(1);
        }
    }

    pub(crate) fn mark(&mut self, time_ms: i64, mark: Mark) {
        self.push(Record::Mark(TimedMark { time_ms, mark }));
    }

    pub(crate) fn lose(&mut self, records: u32) {
        self.lost = self.lost.saturating_add(records);
    }

    /// Tells of lost records, once there is room.
    pub(crate) fn tell_lost(&mut self, now_ms: i64) {
        if self.lost > 0 && !self.waiting.is_full() {
            let records = core::mem::take(&mut self.lost);
            self.mark(now_ms, Mark::RecordsLost { records });
        }
    }

    pub(crate) fn pop(&mut self) -> Option<Record> {
        self.waiting.pop_front()
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.waiting.is_empty()
    }
}
