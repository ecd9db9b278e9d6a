//! Answers, all with the headers that keep the page to itself.

use crate::office::OfficeError;
use axum::body::Body;
use axum::http::header::{
    CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, CONTENT_TYPE, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderName, HeaderValue, Response, StatusCode};
use serde::Serialize;
use serde_json::json;

/// Of the page itself: what is compiled in and nothing else.
const OWN: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; \
    connect-src 'self'; frame-src 'self'; base-uri 'none'; form-action 'none'; \
    frame-ancestors 'self'";
/// Of a report, which brings its scripts and styles with it. Its own policy, in its head, names the
/// script that may run by its digest; both hold. It may ask for finer rows.
const REPORT: &str = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; \
    connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'self'";

/// An answer.
pub type Answer = Response<Body>;

fn with(status: StatusCode, media_type: &'static str, policy: &'static str, body: Body) -> Answer {
    let mut answer = Response::new(body);
    *answer.status_mut() = status;
    let headers: [(HeaderName, &'static str); 5] = [
        (CONTENT_TYPE, media_type),
        (CONTENT_SECURITY_POLICY, policy),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (REFERRER_POLICY, "no-referrer"),
        (CACHE_CONTROL, "no-store"),
    ];
    for (name, value) in headers {
        answer.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    answer
}

/// A status and nothing else.
pub fn empty(status: StatusCode) -> Answer {
    with(status, "text/plain; charset=utf-8", OWN, Body::empty())
}

/// Bytes of a media type.
pub fn bytes(media_type: &'static str, bytes: impl Into<Body>) -> Answer {
    with(StatusCode::OK, media_type, OWN, bytes.into())
}

/// A report in a frame.
pub fn report(html: Vec<u8>) -> Answer {
    with(StatusCode::OK, "text/html; charset=utf-8", REPORT, html.into())
}

/// A file to be kept by the browser.
pub fn download(name: &str, media_type: &'static str, file: Vec<u8>) -> Answer {
    let mut answer = bytes(media_type, file);
    // Names are plain (`routes::plain`); others would make no header.
    if let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{name}\"")) {
        answer.headers_mut().insert(CONTENT_DISPOSITION, value);
    }
    answer
}

/// A value as JSON.
pub fn json(value: &impl Serialize) -> Answer {
    with_status(StatusCode::OK, value)
}

/// An order was taken.
pub fn ok() -> Answer {
    json(&json!({ "ok": true }))
}

/// An order was not taken: one sentence.
pub fn refused(status: StatusCode, why: &str) -> Answer {
    with_status(status, &json!({ "error": why }))
}

/// With more beside the sentence.
pub fn with_status(status: StatusCode, value: &impl Serialize) -> Answer {
    match serde_json::to_vec(value) {
        Ok(text) => with(status, "application/json", OWN, text.into()),
        Err(_) => empty(StatusCode::INTERNAL_SERVER_ERROR),
    }
}

/// What the office could not do.
pub fn failed(error: &OfficeError) -> Answer {
    let status = match error {
        OfficeError::Absent => StatusCode::NOT_FOUND,
        OfficeError::Failed(_) => StatusCode::UNPROCESSABLE_ENTITY,
    };
    refused(status, &error.to_string())
}
