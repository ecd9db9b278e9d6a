//! Orders to the practised site.

use super::{App, BUSY, Nothing, conflict, with};
use crate::answer::{self, Answer};
use crate::practice::{Handle, Practice};
use crate::snapshot::Job;
use axum::http::StatusCode;
use serde::Deserialize;
use serde_json::json;
use std::sync::Arc;

/// Tenths of a day, in which the passing of days is told.
const TENTHS: f64 = 10.0;

#[derive(Deserialize)]
struct Key {
    key: String,
}

#[derive(Deserialize)]
struct Days {
    days: f64,
}

#[derive(Deserialize)]
struct Unplug {
    #[serde(default)]
    after_bytes: usize,
}

#[derive(Deserialize)]
struct Tap {
    open: bool,
}

pub fn site(app: &App) -> Answer {
    match app.practice {
        Some(_) => answer::json(&json!({ "toml": Practice::site_toml() })),
        None => answer::empty(StatusCode::NOT_FOUND),
    }
}

pub fn order(app: &Arc<App>, what: &str, body: &[u8]) -> Answer {
    let Some(practice) = &app.practice else { return answer::empty(StatusCode::NOT_FOUND) };
    match what {
        "correct" => with(body, |Key { key }| planted(practice, &key, false)),
        "plant" => with(body, |Key { key }| planted(practice, &key, true)),
        "lamp-test" => with(body, |Nothing {}| {
            practice.test_lamps();
            answer::ok()
        }),
        "tap" => with(body, |Tap { open }| {
            practice.tap(open);
            answer::ok()
        }),
        "skip" => with(body, |Nothing {}| {
            practice.skip();
            answer::ok()
        }),
        "unplug" => with(body, |Unplug { after_bytes }| {
            practice.unplug(after_bytes);
            answer::ok()
        }),
        "plug" => with(body, |Nothing {}| {
            practice.plug();
            answer::ok()
        }),
        "days" => with(body, |Days { days }| pass(app, practice, days)),
        _ => answer::empty(StatusCode::NOT_FOUND),
    }
}

fn planted(practice: &Handle, key: &str, there: bool) -> Answer {
    if practice.plant(key, there) {
        answer::ok()
    } else {
        answer::refused(StatusCode::UNPROCESSABLE_ENTITY, "there is no such wrong fit")
    }
}

fn pass(app: &Arc<App>, practice: &Handle, days: f64) -> Answer {
    let left = practice.shown().days_left;
    if !(days > 0.0 && days <= left) {
        return answer::refused(
            StatusCode::UNPROCESSABLE_ENTITY,
            &format!("choose up to {left:.0} days; for more, start practice again"),
        );
    }
    if !app.board.begin(Job::begun("practice", "tenths of a day", "days pass")) {
        return conflict(BUSY);
    }
    app.board.stoppable(true);
    let (board, practice) = (Arc::clone(&app.board), practice.clone());
    std::thread::spawn(move || {
        let total = (days * TENTHS).ceil() as u64;
        let passed = practice.pass_days(days, |passed| {
            board.job(|job| (job.done, job.total) = ((passed * TENTHS) as u64, total));
            !board.stopping()
        });
        board.stoppable(false);
        let passed = passed.unwrap_or(0.0);
        board.end(Ok((
            format!("{passed:.1} days have passed at the practised site"),
            json!({ "days": passed }),
        )));
    });
    answer::ok()
}
