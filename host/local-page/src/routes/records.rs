//! Records: listed, shown, given away.

use super::{App, BUSY, conflict, office, read};
use crate::answer::{self, Answer};
use crate::board::Board;
use crate::office::{Form, Outcome, Span, Wanted};
use crate::snapshot::Job;
use axum::extract::Query;
use axum::http::{StatusCode, Uri};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::json;
use std::sync::Arc;

#[derive(Deserialize)]
struct Report {
    format: Form,
}

#[derive(Deserialize)]
struct Bundle {
    #[serde(default)]
    private: bool,
}

#[allow(clippy::result_large_err)] // the error is the answer
fn queried<T: DeserializeOwned>(query: &str) -> Result<T, Answer> {
    let refused = |why: &dyn std::fmt::Display| {
        answer::refused(StatusCode::BAD_REQUEST, &format!("the request cannot be read: {why}"))
    };
    let uri: Uri = format!("/?{query}").parse().map_err(|error| refused(&error))?;
    Query::try_from_uri(&uri).map(|Query(asked)| asked).map_err(|error| refused(&error))
}

pub async fn list(app: &Arc<App>, query: &str) -> Answer {
    match queried::<Wanted>(query) {
        Ok(wanted) => {
            office(app, move |o| o.records(&wanted), |records| answer::json(&records)).await
        }
        Err(answer) => answer,
    }
}

pub async fn one(app: &Arc<App>, id: &str) -> Answer {
    let id = id.to_owned();
    office(app, move |o| o.record(&id), |record| answer::json(&record)).await
}

pub async fn rows(app: &Arc<App>, id: &str, query: &str) -> Answer {
    let id = id.to_owned();
    match queried::<Span>(query) {
        Ok(span) => {
            let span = Span { most: span.most.min(Span::MOST), ..span };
            office(app, move |o| o.rows(&id, span), |rows| answer::json(&rows)).await
        }
        Err(answer) => answer,
    }
}

pub async fn detail(app: &Arc<App>, id: &str, query: &str) -> Answer {
    let id = id.to_owned();
    match queried::<Span>(query) {
        Ok(Span { from_ms, to_ms, .. }) => {
            let json = |bytes| answer::bytes("application/json", bytes);
            office(app, move |o| o.detail(&id, from_ms, to_ms), json).await
        }
        Err(answer) => answer,
    }
}

pub async fn view(app: &Arc<App>, id: &str) -> Answer {
    let id = id.to_owned();
    office(app, move |o| o.view(&id), answer::report).await
}

pub async fn given(app: &Arc<App>, name: &str) -> Answer {
    let asked = name.to_owned();
    office(
        app,
        move |o| o.given(&asked),
        |given| answer::download(name, given.media_type, given.bytes),
    )
    .await
}

pub fn report(app: &Arc<App>, id: &str, body: &[u8]) -> Answer {
    let Report { format } = match read(body) {
        Ok(report) => report,
        Err(answer) => return answer,
    };
    let id = id.to_owned();
    make(app, Job::begun("report", "step", "the report is being written"), move |app| {
        app.office.report(&id, format)
    })
}

pub fn bundle(app: &Arc<App>, id: &str, body: &[u8]) -> Answer {
    let Bundle { private } = match read(body) {
        Ok(bundle) => bundle,
        Err(answer) => return answer,
    };
    let id = id.to_owned();
    make(app, Job::begun("bundle", "step", "the bundle is being packed"), move |app| {
        app.office.bundle(&id, private)
    })
}

/// Makes a file on a thread of its own.
fn make(
    app: &Arc<App>,
    job: Job,
    make: impl FnOnce(&App) -> Outcome<String> + Send + 'static,
) -> Answer {
    if !app.board.begin(job) {
        return conflict(BUSY);
    }
    let app = Arc::clone(app);
    std::thread::spawn(move || {
        let unfinished = Unfinished(Arc::clone(&app.board));
        let outcome = make(&app);
        drop(unfinished);
        app.board.end(match outcome {
            Ok(name) => Ok((
                format!("{name} is ready"),
                json!({ "file": name, "href": format!("download/{name}") }),
            )),
            Err(error) => Err(error.to_string()),
        });
    });
    answer::ok()
}

/// Ends the job when the thread that works at it panics.
struct Unfinished(Arc<Board>);

impl Drop for Unfinished {
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.0.end(Err(
                "this failed inside the program: the terminal it runs in says more".to_owned()
            ));
        }
    }
}
