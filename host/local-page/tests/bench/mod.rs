//! A server on a real socket with an office of nothing, a line that behaves badly or a practised
//! site, and a client that writes what it likes.
#![allow(dead_code)] // each suite uses its part

pub mod wild;

use pumpwitness_link::{LinkError, Transport};
use pumpwitness_local_page::office::{
    Form, Given, KnownSite, Office, OfficeError, Outcome, Record, Records, Rows, Span, Wanted,
};
use pumpwitness_local_page::ports::{Line, Place, Ports};
use pumpwitness_local_page::practice::{Practice, WithPractice};
use pumpwitness_local_page::{Server, Setup};
use serde_json::Value;
use std::fs;
use std::io::{self, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Longest that anything is waited for; nothing is judged by how long it took.
const PATIENCE: Duration = Duration::from_mins(10);

/// How a line behaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fake {
    /// There is none.
    Absent,
    /// Bytes that are no frames, without end.
    Noise,
    /// The beginnings of frames.
    HalfFrames,
    /// Frames that answer other requests.
    StaleIds,
    /// Nothing.
    Silent,
    /// It is gone at the first byte.
    HangsUp,
}

struct FakeLine(Fake, u8);

impl Transport for FakeLine {
    fn name(&self) -> &'static str {
        "fake"
    }

    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        self.1 = self.1.wrapping_add(1);
        let bytes: Vec<u8> = match self.0 {
            Fake::Noise => (0..200u8).map(|n| n.wrapping_mul(31) ^ self.1).collect(),
            Fake::HalfFrames => vec![0, 5, self.1, 2, 3, 0, 1, 0],
            Fake::StaleIds => {
                use pumpwitness_protocol::frame::{FRAME_BYTES_MAX, encode};
                use pumpwitness_protocol::message::{Reply, ReplyBody};
                let mut frame = [0; FRAME_BYTES_MAX];
                // No request has the number 0.
                encode(&Reply { id: 0, body: ReplyBody::Done }, &mut frame).unwrap().to_vec()
            }
            Fake::HangsUp => return Err(io::ErrorKind::BrokenPipe.into()),
            Fake::Absent | Fake::Silent => Vec::new(),
        };
        std::thread::sleep(wait.min(Duration::from_millis(20)));
        let count = bytes.len().min(buffer.len());
        buffer[..count].copy_from_slice(&bytes[..count]);
        Ok(count)
    }

    fn write_all(&mut self, _: &[u8]) -> io::Result<()> {
        Ok(())
    }
}

struct FakePorts(Fake);

impl Ports for FakePorts {
    fn list(&mut self) -> Vec<Place> {
        let place = Place { name: "fake".to_owned(), what: "a fake".to_owned(), serial: None };
        if self.0 == Fake::Absent { Vec::new() } else { vec![place] }
    }

    fn open(&mut self, _: &str) -> Result<Line, LinkError> {
        Ok(Box::new(FakeLine(self.0, 0)))
    }
}

/// Keeps site files and archives in a folder, and looks into none.
struct PlainOffice {
    folder: tempfile::TempDir,
    filed: Mutex<Vec<PathBuf>>,
}

impl Office for PlainOffice {
    fn sites(&self) -> Outcome<Vec<KnownSite>> {
        Ok(vec![KnownSite { file: "site".to_owned(), name: "kept".to_owned() }])
    }

    fn site_text(&self, file: &str) -> Outcome<String> {
        if file != "site" {
            return Err(OfficeError::Absent);
        }
        fs::read_to_string(self.folder.path().join("site.toml")).map_err(|_| OfficeError::Absent)
    }

    fn keep_site(&self, toml: &str) -> Outcome<String> {
        fs::write(self.folder.path().join("site.toml"), toml)
            .map_err(|error| OfficeError::Failed(error.to_string()))?;
        Ok("site".to_owned())
    }

    fn sheet(&self, _: &str) -> Outcome<Vec<u8>> {
        Ok(b"%PDF-".to_vec())
    }

    fn incoming(&self, device: &str) -> Outcome<PathBuf> {
        Ok(self.folder.path().join(format!("{device}.pwa")))
    }

    fn file_away(&self, archive: &Path) -> Outcome<String> {
        let mut filed = self.filed.lock().unwrap();
        let id = format!("record-{}", filed.len());
        let place = self.folder.path().join(&id);
        fs::rename(archive, &place).map_err(|error| OfficeError::Failed(error.to_string()))?;
        filed.push(place);
        Ok(id)
    }

    fn records(&self, _: &Wanted) -> Outcome<Records> {
        Ok(Records::default())
    }

    fn record(&self, _: &str) -> Outcome<Record> {
        Err(OfficeError::Absent)
    }

    fn view(&self, _: &str) -> Outcome<Vec<u8>> {
        Err(OfficeError::Absent)
    }

    fn detail(&self, _: &str, _: i64, _: i64) -> Outcome<Vec<u8>> {
        Err(OfficeError::Absent)
    }

    fn rows(&self, _: &str, _: Span) -> Outcome<Rows> {
        Err(OfficeError::Absent)
    }

    fn report(&self, _: &str, _: Form) -> Outcome<String> {
        Err(OfficeError::Absent)
    }

    fn bundle(&self, _: &str, _: bool) -> Outcome<String> {
        Err(OfficeError::Absent)
    }

    fn given(&self, _: &str) -> Outcome<Given> {
        Err(OfficeError::Absent)
    }
}

/// A running server.
pub struct Bench {
    /// Host and port.
    pub host: String,
    token: String,
    office: Arc<PlainOffice>,
    _practice: Option<Practice>,
}

impl Bench {
    /// With a line that behaves like this.
    pub fn start(fake: Fake) -> Self {
        Self::of(Box::new(FakePorts(fake)), None)
    }

    /// With a practised site.
    pub fn practised() -> Self {
        let practice = Practice::begin().unwrap();
        let ports = WithPractice { others: FakePorts(Fake::Absent), practice: practice.handle() };
        Self::of(Box::new(ports), Some(practice))
    }

    /// With lines of the caller's.
    pub fn with_ports(ports: Box<dyn Ports>) -> Self {
        Self::of(ports, None)
    }

    fn of(ports: Box<dyn Ports>, practice: Option<Practice>) -> Self {
        let office =
            Arc::new(PlainOffice { folder: tempfile::tempdir().unwrap(), filed: Mutex::default() });
        let server = Server::bind(Setup {
            port: 0,
            ports,
            office: Arc::clone(&office) as Arc<dyn Office>,
            practice: practice.as_ref().map(Practice::handle),
        })
        .unwrap();
        let url = server.url();
        let rest = url.strip_prefix("http://").unwrap();
        let (host, token) = rest.trim_end_matches('/').split_once('/').unwrap();
        let (host, token) = (host.to_owned(), token.to_owned());
        assert!(token.len() >= 32 && host.starts_with("127.0.0.1:"));
        std::thread::spawn(move || server.run());
        Self { host, token, office, _practice: practice }
    }

    /// Path below the token.
    pub fn path(&self, rest: &str) -> String {
        format!("/{}/{rest}", self.token)
    }

    /// A connection that says nothing yet.
    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(&self.host).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        stream
    }

    /// Sends a request as it is, the last on its connection; gives head and body of the answer,
    /// empty where there was none.
    pub fn raw(&self, request: &str) -> (String, String) {
        let mut stream = self.connect();
        let last = request.replacen("\r\n", "\r\nConnection: close\r\n", 1);
        // A server that refuses may have hung up before all is written.
        let _ = stream.write_all(last.as_bytes());
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let answer = String::from_utf8_lossy(&answer).into_owned();
        answer
            .split_once("\r\n\r\n")
            .map(|(head, body)| (head.to_owned(), body.to_owned()))
            .unwrap_or_default()
    }

    /// Asks as the page does.
    pub fn get(&self, rest: &str) -> (String, String) {
        let path = self.path(rest);
        self.raw(&format!("GET {path} HTTP/1.1\r\nHost: {}\r\n\r\n", self.host))
    }

    /// Orders as the page does; gives status and body.
    pub fn post(&self, rest: &str, body: &str) -> (u16, String) {
        let (path, host) = (self.path(rest), &self.host);
        let (head, answer) = self.raw(&format!(
            "POST {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n\
             Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        ));
        (status(&head), answer)
    }

    /// An order that is taken.
    pub fn order(&self, rest: &str, body: &str) {
        let (status, answer) = self.post(rest, body);
        assert_eq!(status, 200, "{rest}: {answer}");
    }

    /// The state.
    pub fn state(&self) -> Value {
        serde_json::from_str(&self.get("api/state").1).unwrap()
    }

    /// Looks as the page does until the state is as wanted.
    pub fn wait(&self, wanted: impl Fn(&Value) -> bool) -> Value {
        let until = Instant::now() + PATIENCE;
        loop {
            let state = self.state();
            if wanted(&state) {
                return state;
            }
            assert!(Instant::now() < until, "waited in vain: {state:#}");
            std::thread::sleep(Duration::from_millis(250));
        }
    }

    /// A file that was filed.
    pub fn filed(&self, id: &str) -> Vec<u8> {
        fs::read(self.office.folder.path().join(id)).unwrap()
    }
}

/// Status of an answer; 0 where there was none.
pub fn status(head: &str) -> u16 {
    head.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0)
}

/// A header of an answer.
pub fn header(head: &str, name: &str) -> Option<String> {
    head.lines().find_map(|line| {
        let (key, value) = line.split_once(':')?;
        key.eq_ignore_ascii_case(name).then(|| value.trim().to_owned())
    })
}
