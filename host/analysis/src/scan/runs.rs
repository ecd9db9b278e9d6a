//! Runs and rests: when the pump starts and stops.

use super::ended::Ended;
use super::open_run::OpenRun;
use super::plan::{Load, Plan};
use super::rests::OpenRest;
use super::row::Row;
use crate::facts::Stretch;
use crate::limits;
use std::collections::VecDeque;
use std::mem;

/// Pauses shorter than this do not end a run.
const FUSE_MS: i64 = (limits::FUSE_S.value * 1000.0) as i64;
/// Rows kept to look back at, ms.
const LOOK_BACK_MS: i64 = 45_000;
/// Rows kept at most, whatever their length.
const LOOK_BACK_ROWS: usize = 300;
/// Time after a stop at which its surroundings are judged, ms.
const AFTER_MS: i64 = 21_000;

/// Follows the pump.
#[derive(Debug)]
pub struct RunWatch {
    plan: Plan,
    recent: VecDeque<Row>,
    /// Load of the row before; NaN at the beginning of a stretch of record.
    load_before: f32,
    open: Option<OpenRun>,
    rest: Option<OpenRest>,
    /// Length of the rest before, s; 0 where there was none.
    rest_before_s: f64,
    /// Runs and rests that have ended since they were asked for.
    ended: Vec<Ended>,
}

impl RunWatch {
    /// Begins.
    pub fn new(plan: &Plan) -> Self {
        Self {
            plan: plan.clone(),
            recent: VecDeque::with_capacity(LOOK_BACK_ROWS + 1),
            load_before: f32::NAN,
            open: None,
            rest: None,
            rest_before_s: 0.0,
            ended: Vec::new(),
        }
    }

    /// Time since the start while the pump runs, ms.
    pub fn running_ms(&self, now_ms: i64) -> Option<i64> {
        self.open.as_ref().filter(|run| !run.stopped).map(|run| now_ms - run.facts.time.start_ms)
    }

    fn load(&self, row: &Row) -> f32 {
        match self.plan.load {
            Load::Current => row.i,
            Load::Power => row.w,
            Load::Pressure => {
                let middle_ms = i64::midpoint(row.start_ms, row.end_ms);
                let runs = &self.plan.by_pressure;
                let next = runs.partition_point(|run| run.end_ms <= middle_ms);
                let inside = runs.get(next).is_some_and(|run| run.start_ms <= middle_ms);
                f32::from(u8::from(inside))
            }
            Load::None => f32::NAN,
        }
    }

    /// Takes a row, without its pressure where the reading is known to be faulty.
    pub fn push(&mut self, row: &Row) {
        let load = self.load(row);
        let running = self.open.as_ref().is_some_and(|run| !run.stopped);
        let before = mem::replace(&mut self.load_before, load);
        self.remember(row);
        if running && load < self.plan.off {
            self.stop(row, before, load);
        } else if !running && load > self.plan.on {
            self.start(row);
        }
        if let Some(rest) = &mut self.rest {
            rest.push(row, &self.plan);
        }
        if let Some(run) = &mut self.open {
            if run.stopped {
                if row.end_ms - run.facts.time.end_ms > AFTER_MS {
                    self.finish_run(row.end_ms);
                }
            } else {
                run.push(row, &self.plan);
                if !run.start_judged && row.end_ms - run.facts.time.start_ms > 8_000 {
                    run.judge_start(&self.recent);
                }
            }
        }
    }

    fn remember(&mut self, row: &Row) {
        self.recent.push_back(*row);
        while self.recent.len() > LOOK_BACK_ROWS
            || self.recent.front().is_some_and(|r| row.end_ms - r.end_ms > LOOK_BACK_MS)
        {
            self.recent.pop_front();
        }
    }

    fn start(&mut self, row: &Row) {
        // Inrush that fills a part of the row only shows it in the mean: r.m.s. values add as squares.
        let part = f64::from(row.i / row.i_max);
        let start_ms = if f64::from(row.i_max) > 2.0 * self.plan.rated_a && part < 1.0 {
            row.moment(1.0 - share_of(part, Load::Current))
        } else {
            row.start_ms
        };
        if let Some(run) = &mut self.open
            && run.stopped
            && start_ms - run.facts.time.end_ms < FUSE_MS
        {
            run.stopped = false;
            run.facts.stop_seen = false;
            self.rest = None;
            return;
        }
        self.finish_run(start_ms);
        let seen = self.rest.is_some() || self.recent.len() > 1;
        self.end_rest(start_ms, true);
        let mut run = OpenRun::new(start_ms, &self.plan);
        run.facts.start_seen = seen;
        if seen {
            run.judge_before(&self.recent, self.rest_before_s);
        }
        self.open = Some(run);
    }

    fn stop(&mut self, row: &Row, before: f32, load: f32) {
        let Some(run) = &mut self.open else { return };
        // The row before may hold the last part of the run only; so may this one.
        let full = f64::from(run.smooth as f32);
        let mut stop_ms = row.start_ms;
        let full = if full.is_finite() && full > 0.0 { full } else { f64::from(before) };
        let part = f64::from(before) / full;
        if part < 0.97
            && let Some(last) = self.recent.iter().rev().nth(1)
            && row.start_ms - last.end_ms < 50
            && run.facts.time.start_ms < last.start_ms
        {
            stop_ms = last.moment(share_of(part, self.plan.load));
        } else {
            let part = f64::from(load) / full;
            let standby = f64::from(self.plan.standby) / full;
            if part > standby + 0.02 {
                stop_ms = row.moment(share_of(part, self.plan.load));
            }
        }
        run.facts.time.end_ms = stop_ms.max(run.facts.time.start_ms + 1);
        run.facts.stop_seen = true;
        run.stopped = true;
        // A long row that holds the stop reads low without the pump having run free.
        let last_row = self.recent.iter().rev().nth(1).map(|r| r.start_ms);
        if run.facts.unloaded_since_ms == last_row {
            run.facts.unloaded_since_ms = None;
        }
        run.judge_stop(&self.recent);
        self.rest = Some(OpenRest::new(run.facts.time.end_ms, true));
    }

    fn finish_run(&mut self, now_ms: i64) {
        if let Some(mut run) = self.open.take() {
            if !run.start_judged {
                run.judge_start(&self.recent);
            }
            if run.facts.stop_seen {
                run.judge_after(&self.recent, now_ms);
            }
            self.ended.push(Ended::Run(Box::new(run)));
        }
    }

    fn end_rest(&mut self, end_ms: i64, end_seen: bool) {
        if let Some(rest) = self.rest.take() {
            let start_ms = rest.start_ms();
            self.rest_before_s = Stretch { start_ms, end_ms: end_ms.max(start_ms) }.seconds();
            self.ended.push(Ended::Rest { rest, end_ms, end_seen });
        }
    }

    /// Runs and rests that have ended since the last call, in time order.
    pub fn take_ended(&mut self) -> Vec<Ended> {
        mem::take(&mut self.ended)
    }

    /// A stretch of record ends at `now_ms`; another may follow.
    pub fn interrupt(&mut self, now_ms: i64) {
        if let Some(run) = &mut self.open
            && !run.stopped
        {
            run.facts.time.end_ms = now_ms;
            run.facts.stop_seen = false;
            run.judge_stop(&self.recent);
        }
        self.finish_run(now_ms);
        self.end_rest(now_ms, false);
        self.recent.clear();
        self.load_before = f32::NAN;
    }

    /// A stretch of record begins at `now_ms`.
    pub fn resume(&mut self, now_ms: i64, load: f32) {
        if load.is_nan() || load <= self.plan.on {
            self.rest = Some(OpenRest::new(now_ms, false));
        }
    }

    /// Load of a row in the unit runs are told by.
    pub fn load_of(&self, row: &Row) -> f32 {
        self.load(row)
    }
}

/// Share of a row that was loaded, from its mean as a share of the load: r.m.s. currents add as
/// squares, powers as they are.
fn share_of(part: f64, load: Load) -> f64 {
    match load {
        Load::Current => part * part,
        Load::Power | Load::Pressure | Load::None => part,
    }
}
