//! What is asked of the server, and who answers: the board what is shown, the worker what needs the
//! line, the office the rest on threads of its own. Nothing here waits.
//!
//! `crate` documentation lists the addresses.

mod practised;
mod records;
mod site;

use crate::access::{Access, BODY_BYTES_MAX};
use crate::answer::{self, Answer};
use crate::board::Board;
use crate::office::{Office, Outcome};
use crate::page;
use crate::snapshot::{Job, JobState, Snapshot, Stated};
use crate::worker::Order;
use axum::body::{Body, to_bytes};
use axum::http::{Method, Request, StatusCode};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::sync::Arc;
use std::sync::mpsc::Sender;
use std::time::Duration;

/// Time in which a body must come.
const BODY_WAIT: Duration = Duration::from_secs(10);

/// What requests are answered from.
pub struct App {
    /// Who may ask.
    pub access: Access,
    /// What is shown.
    pub board: Arc<Board>,
    /// Orders to the worker.
    pub orders: Sender<Order>,
    /// The rest of the program.
    pub office: Arc<dyn Office>,
    /// The practised site, where practice is on.
    pub practice: Option<crate::practice::Handle>,
}

/// Answers a request.
pub async fn answer(app: Arc<App>, request: Request<Body>) -> Answer {
    let (head, body) = request.into_parts();
    if let Err(status) = app.access.judge(&head.method, head.uri.path(), &head.headers) {
        return answer::empty(status);
    }
    let path = head.uri.path();
    let rest = &path[1 + app.access.token().len()..];
    // Without the closing stroke the page's own addresses would be others.
    let Some(rest) = rest.strip_prefix('/') else { return answer::empty(StatusCode::NOT_FOUND) };
    let query = head.uri.query().unwrap_or("");
    if head.method == Method::GET {
        return get(&app, rest, query).await;
    }
    match tokio::time::timeout(BODY_WAIT, to_bytes(body, BODY_BYTES_MAX)).await {
        Ok(Ok(body)) => post(&app, rest, &body).await,
        Ok(Err(_)) => answer::empty(StatusCode::PAYLOAD_TOO_LARGE),
        Err(_) => answer::empty(StatusCode::REQUEST_TIMEOUT),
    }
}

async fn get(app: &Arc<App>, path: &str, query: &str) -> Answer {
    if let Some(file) = page::file(path) {
        return answer::bytes(file.media_type, file.text);
    }
    let parts: Vec<&str> = path.split('/').collect();
    match parts[..] {
        ["api", "state"] => state(app),
        ["api", "sites"] => site::known(app).await,
        ["api", "site", "sheet.pdf"] => site::sheet(app).await,
        ["api", "plan", "questions"] => site::questions(),
        ["api", "practice", "site"] => practised::site(app),
        ["api", "records"] => records::list(app, query).await,
        ["api", "records", id] if plain(id) => records::one(app, id).await,
        ["api", "records", id, "rows"] if plain(id) => records::rows(app, id, query).await,
        ["records", id, "view"] if plain(id) => records::view(app, id).await,
        ["records", id, "rows"] if plain(id) => records::detail(app, id, query).await,
        ["download", name] if plain(name) => records::given(app, name).await,
        _ => answer::empty(StatusCode::NOT_FOUND),
    }
}

async fn post(app: &Arc<App>, path: &str, body: &[u8]) -> Answer {
    let parts: Vec<&str> = path.split('/').collect();
    match parts[..] {
        ["api", "connect"] => with(body, |Port { port }| connect(app, port)),
        ["api", "disconnect"] => with(body, |Nothing {}| line_order(app, Order::Disconnect)),
        ["api", "stated"] => with(body, |stated| stated_order(app, stated)),
        ["api", "arm"] => with(body, |Nothing {}| {
            line_job(app, Job::begun("arm", "step", "the logger is being armed"), Order::Arm)
        }),
        ["api", "fetch"] => with(body, |Fetch { release, by }| {
            let job = Job::begun("fetch", "pages", "the logger is asked what it holds");
            line_job(app, job, Order::Fetch { release, by })
        }),
        ["api", "stop"] => with(body, |Nothing {}| {
            if app.board.stop() {
                answer::ok()
            } else {
                conflict("there is nothing going on that can be stopped")
            }
        }),
        ["api", "site"] => site::text(app, body).await,
        ["api", "site", "file"] => site::file(app, body).await,
        ["api", "plan"] => site::plan(body),
        ["api", "practice", what] => practised::order(app, what, body),
        ["api", "records", id, "report"] if plain(id) => records::report(app, id, body),
        ["api", "records", id, "bundle"] if plain(id) => records::bundle(app, id, body),
        _ => answer::empty(StatusCode::NOT_FOUND),
    }
}

#[derive(Deserialize)]
struct Nothing {}

#[derive(Deserialize)]
struct Port {
    port: String,
}

#[derive(Deserialize)]
struct Fetch {
    #[serde(default)]
    release: bool,
    #[serde(default)]
    by: String,
}

/// Reads the body and answers by it.
fn with<T: DeserializeOwned>(body: &[u8], then: impl FnOnce(T) -> Answer) -> Answer {
    match read(body) {
        Ok(asked) => then(asked),
        Err(answer) => answer,
    }
}

#[allow(clippy::result_large_err)] // the error is the answer
fn read<T: DeserializeOwned>(body: &[u8]) -> Result<T, Answer> {
    serde_json::from_slice(body).map_err(|error| {
        answer::refused(StatusCode::BAD_REQUEST, &format!("the request cannot be read: {error}"))
    })
}

fn conflict(why: &str) -> Answer {
    answer::refused(StatusCode::CONFLICT, why)
}

const BUSY: &str = "something else is still being done: wait for it, or stop it";

/// Names that were given out hold nothing else; others are not even looked up.
fn plain(name: &str) -> bool {
    (1..=200).contains(&name.len())
        && !name.starts_with(['.', '-'])
        && name.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"._-".contains(&byte))
}

fn state(app: &App) -> Answer {
    let practice = app.practice.as_ref().map(crate::practice::Handle::shown);
    answer::json(&Snapshot { practice, ..app.board.asked() })
}

fn send(app: &App, order: Order) -> Answer {
    match app.orders.send(order) {
        Ok(()) => answer::ok(),
        Err(_) => answer::refused(
            StatusCode::INTERNAL_SERVER_ERROR,
            "the part of this program that speaks to the logger has ended: start `pumpwitness open` \
             again",
        ),
    }
}

/// True while a job has the line for itself.
fn line_taken(app: &App) -> bool {
    app.board.of(|shown| {
        shown
            .job
            .as_ref()
            .is_some_and(|job| job.state == JobState::Going && matches!(job.what, "arm" | "fetch"))
    })
}

fn line_order(app: &App, order: Order) -> Answer {
    if line_taken(app) { conflict(BUSY) } else { send(app, order) }
}

fn line_job(app: &App, job: Job, order: Order) -> Answer {
    if app.board.of(|shown| shown.logger.is_none()) {
        return conflict("choose a logger first");
    }
    if app.board.begin(job) { send(app, order) } else { conflict(BUSY) }
}

fn connect(app: &App, port: String) -> Answer {
    if app.board.of(|shown| shown.ports.iter().any(|place| place.name == port)) {
        line_order(app, Order::Connect(port))
    } else {
        answer::refused(
            StatusCode::UNPROCESSABLE_ENTITY,
            "there is no logger on that port any more: choose one of those shown",
        )
    }
}

fn stated_order(app: &App, stated: Stated) -> Answer {
    // Gauges at wells end far below.
    const BAR_MAX: f64 = 1000.0;
    match stated.gauge_bar {
        Some(bar) if !(-1.0..=BAR_MAX).contains(&bar) => answer::refused(
            StatusCode::UNPROCESSABLE_ENTITY,
            "no gauge reads that: type the pressure it shows",
        ),
        _ => line_order(app, Order::Stated(stated)),
    }
}

/// Asks the office on a thread for what takes its time.
async fn office<T: Send + 'static>(
    app: &Arc<App>,
    ask: impl FnOnce(&dyn Office) -> Outcome<T> + Send + 'static,
    say: impl FnOnce(T) -> Answer,
) -> Answer {
    let office = Arc::clone(&app.office);
    match tokio::task::spawn_blocking(move || ask(&*office)).await {
        Ok(Ok(value)) => say(value),
        Ok(Err(error)) => answer::failed(&error),
        Err(_) => answer::refused(
            StatusCode::INTERNAL_SERVER_ERROR,
            "this failed inside the program: the terminal it runs in says more",
        ),
    }
}
