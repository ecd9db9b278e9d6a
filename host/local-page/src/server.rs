//! The server: the loopback address, HTTP/1, one thread. Clients that are slow, silent or too many
//! are given up.

use crate::access::Access;
use crate::answer;
use crate::board::Board;
use crate::office::Office;
use crate::ports::Ports;
use crate::routes::{self, App};
use crate::worker::Worker;
use axum::body::Body;
use axum::http::StatusCode;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use pumpwitness_protocol::hex::Hex;
use std::convert::Infallible;
use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::{Arc, mpsc};
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::runtime::{Builder, Runtime};
use tokio::sync::Semaphore;

/// Time in which the head of a request must come.
const HEAD_WAIT: Duration = Duration::from_secs(10);
/// Longest head, bytes.
const HEAD_BYTES_MAX: usize = 16 * 1024;
/// A browser opens six at a time (common practice); a few pages may be open.
const CONNECTIONS_MAX: usize = 48;
/// Threads that wait for the office.
const OFFICE_THREADS: usize = 4;
/// Random bytes of the token.
const TOKEN_BYTES: usize = 16;

/// Why there is no page.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ServerError {
    /// The port cannot be had.
    #[error(
        "cannot listen on port {port} of this computer ({cause}): leave --port away, or name another"
    )]
    Port {
        /// Which.
        port: u16,
        /// What the system says.
        cause: io::Error,
    },
    /// The system gives no random numbers, threads or timers.
    #[error("the page cannot be served: {0}")]
    System(String),
}

/// What a page is served from.
pub struct Setup {
    /// Port of the loopback address; 0 takes any.
    pub port: u16,
    /// Where loggers are looked for.
    pub ports: Box<dyn Ports>,
    /// The rest of the program.
    pub office: Arc<dyn Office>,
    /// The practised site, where practice is on.
    pub practice: Option<crate::practice::Handle>,
}

/// A server that listens, and serves once it is run.
pub struct Server {
    runtime: Runtime,
    listener: TcpListener,
    address: SocketAddr,
    app: Arc<App>,
}

impl Server {
    /// Listens on the loopback address and starts the worker.
    pub fn bind(setup: Setup) -> Result<Self, ServerError> {
        let system = |error: &dyn std::fmt::Display| ServerError::System(error.to_string());
        let runtime = Builder::new_current_thread()
            .enable_io()
            .enable_time()
            .max_blocking_threads(OFFICE_THREADS)
            .build()
            .map_err(|error| system(&error))?;
        let asked = SocketAddr::from((Ipv4Addr::LOCALHOST, setup.port));
        let listener = runtime
            .block_on(TcpListener::bind(asked))
            .map_err(|cause| ServerError::Port { port: setup.port, cause })?;
        let address = listener.local_addr().map_err(|error| system(&error))?;
        let mut noise = [0; TOKEN_BYTES];
        getrandom::fill(&mut noise).map_err(|error| system(&error))?;
        let access = Access::new(Hex(&noise).to_string(), address.port());
        let board = Arc::new(Board::default());
        let (orders, taken) = mpsc::channel();
        let worker = Worker::new(setup.ports, Arc::clone(&setup.office), Arc::clone(&board));
        std::thread::Builder::new()
            .name("logger".to_owned())
            .spawn(move || worker.run(&taken))
            .map_err(|error| system(&error))?;
        let app =
            Arc::new(App { access, board, orders, office: setup.office, practice: setup.practice });
        Ok(Self { runtime, listener, address, app })
    }

    /// Address of the page, the token in it.
    pub fn url(&self) -> String {
        format!("http://{}/{}/", self.address, self.app.access.token())
    }

    /// Serves until the program ends.
    pub fn run(self) -> Result<(), ServerError> {
        let Self { runtime, listener, app, .. } = self;
        runtime.block_on(async move {
            let room = Arc::new(Semaphore::new(CONNECTIONS_MAX));
            loop {
                let Ok((stream, _)) = listener.accept().await else {
                    // Out of file handles, as it may be: it passes.
                    tokio::time::sleep(Duration::from_millis(200)).await;
                    continue;
                };
                let Ok(place) = Arc::clone(&room).try_acquire_owned() else { continue };
                let app = Arc::clone(&app);
                tokio::spawn(async move {
                    let service = service_fn(move |request: hyper::Request<_>| {
                        let app = Arc::clone(&app);
                        async move {
                            let answer = if request.uri().authority().is_some() {
                                // To a proxy, which this is not.
                                answer::empty(StatusCode::NOT_FOUND)
                            } else {
                                routes::answer(app, request.map(Body::new)).await
                            };
                            Ok::<_, Infallible>(answer)
                        }
                    });
                    // What goes wrong on a connection ends that connection.
                    let _ = http1::Builder::new()
                        .timer(TokioTimer::new())
                        .header_read_timeout(HEAD_WAIT)
                        .max_buf_size(HEAD_BYTES_MAX)
                        .serve_connection(TokioIo::new(stream), service)
                        .await;
                    drop(place);
                });
            }
        })
    }
}
