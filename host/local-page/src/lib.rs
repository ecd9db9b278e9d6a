//! The page for the time at the panel, served on the loopback address only: nothing leaves the
//! machine, and nobody who does not know the token in the address gets an answer.
//!
//! In the order of a request: [`server`] (the socket) → [`access`] (who may ask) → [`routes`] (what is
//! asked) → [`board`] (what is shown, a [`snapshot`]), [`worker`] (the thread that owns the line to the
//! logger, on one of the [`ports`]), [`office`] (records and site files: brought by whoever starts the
//! page) → [`mod@answer`]. [`page`] holds the files of the page itself; `practice` is a simulated
//! logger to learn with.
//!
//! # Addresses
//!
//! All below `/<token>/`, which the page's own addresses are relative to. Without the token: 404 and
//! no word, for everything. `GET` or `POST` only; `POST` takes JSON up to 64 KiB from the page's own
//! origin. An order is answered by `{"ok":true}` as soon as it is taken, or by a status from 400 on
//! and `{"error": "one sentence"}`; what becomes of it is told by the state.
//!
//! | address | what |
//! |---|---|
//! | `GET /`, `/page.css`, `/page.js`, … | the page |
//! | `GET api/state` | [`snapshot::Snapshot`]; while it is asked for, the logger is read 4 to 5 times a second |
//! | `POST api/connect {port}`, `api/disconnect {}` | the logger, by the name of its port |
//! | `POST api/site {toml}`, `api/site/file {file}` | the site: checked, kept and used; or a known one |
//! | `GET api/sites`, `api/site/sheet.pdf` | known site files; the fitting sheet of the one in use |
//! | `GET api/plan/questions`, `POST api/plan {answers}` | what a site file asks; the text of the answers |
//! | `POST api/stated {running, gauge_bar}` | what the technician sees and hears |
//! | `POST api/arm {}` | job: site file with the checks' summary, clock, start |
//! | `POST api/fetch {release, by}` | job: download, verify, file; `result.id` |
//! | `POST api/stop {}` | stops a download (what came is kept) or the passing of practised days |
//! | `GET api/records?site=&from=&to=&cause=&words=` | [`office::Records`] |
//! | `GET api/records/ID`, `api/records/ID/rows?from_ms=&to_ms=&most=` | [`office::Record`]; [`office::Rows`] |
//! | `GET records/ID/view`, `records/ID/rows?from_ms=&to_ms=` | the interactive report, for a frame; finer rows in its own form |
//! | `POST api/records/ID/report {format}`, `api/records/ID/bundle {private}` | job: `result.file`, `result.href` |
//! | `GET download/NAME` | a file made by such a job |
//! | `GET api/practice/site` | site file of the practised site |
//! | `POST api/practice/correct {key}`, `…/plant {key}` | puts a wrong fit right; plants one |
//! | `POST api/practice/tap {open}`, `…/lamp-test {}` | the tap; the panel's lamp test |
//! | `POST api/practice/skip {}` | time passes to shortly before the pump starts or stops |
//! | `POST api/practice/days {days}` | job: days pass, and the tap is shut |
//! | `POST api/practice/unplug {after_bytes}`, `…/plug {}` | the cable |
#![forbid(unsafe_code)]

pub mod access;
pub mod answer;
pub mod board;
pub mod office;
pub mod page;
pub mod ports;
pub mod practice;
pub mod routes;
pub mod server;
pub mod snapshot;
pub mod worker;

pub use server::{Server, ServerError, Setup};
