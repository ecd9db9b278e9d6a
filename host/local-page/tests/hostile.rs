//! The server against those who should not be heard, on real sockets; and a logger that answers
//! nonsense while the page looks.

mod bench;

use bench::{Bench, Fake, header, status};
use std::io::{ErrorKind, Read, Write};
use std::net::TcpStream;

#[test]
fn without_the_token_there_is_nothing() {
    let bench = Bench::start(Fake::Absent);
    for path in [
        "/",
        "/api/state",
        "/page.js",
        "/0123456789abcdef0123456789abcdef/",
        "/%2e%2e/",
        "//",
        "/../etc/passwd",
    ] {
        let (head, body) =
            bench.raw(&format!("GET {path} HTTP/1.1\r\nHost: {}\r\n\r\n", bench.host));
        assert_eq!((status(&head), body.len()), (404, 0), "{path}");
    }
    let (head, _) = bench.get("api/state");
    assert_eq!(status(&head), 200);
    for (name, value) in [
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cache-control", "no-store"),
    ] {
        assert_eq!(header(&head, name).as_deref(), Some(value));
    }
    let policy = header(&head, "content-security-policy").unwrap();
    assert!(policy.contains("default-src 'none'") && policy.contains("script-src 'self'"));
}

#[test]
fn another_host_origin_or_kind_is_refused() {
    let bench = Bench::start(Fake::Absent);
    let path = bench.path("api/state");
    for host in ["evil.example", "127.0.0.1:1", "localhost"] {
        let (head, _) = bench.raw(&format!("GET {path} HTTP/1.1\r\nHost: {host}\r\n\r\n"));
        assert_eq!(status(&head), 403, "{host}");
    }
    let post = |headers: &str, body: &str| {
        let path = bench.path("api/arm");
        let (head, _) = bench.raw(&format!(
            "POST {path} HTTP/1.1\r\nHost: {}\r\n{headers}Content-Length: {}\r\n\r\n{body}",
            bench.host,
            body.len()
        ));
        status(&head)
    };
    let own = format!("Origin: http://{}\r\n", bench.host);
    let json = "Content-Type: application/json\r\n";
    assert_eq!(post(json, "{}"), 403);
    assert_eq!(post(&format!("Origin: http://evil.example\r\n{json}"), "{}"), 403);
    assert_eq!(post(&format!("Origin: null\r\n{json}"), "{}"), 403);
    assert_eq!(post(&own, "{}"), 415);
    assert_eq!(post(&format!("{own}Content-Type: text/plain\r\n"), "{}"), 415);
    assert_eq!(post(&format!("{own}{json}"), "not json"), 400);
    assert_eq!(post(&format!("{own}{json}"), "{}"), 409, "heard, but there is no logger");
    for method in ["PUT", "DELETE", "OPTIONS", "TRACE", "HEAD", "BREW"] {
        let (head, _) = bench
            .raw(&format!("{method} {path} HTTP/1.1\r\nHost: {}\r\n{own}{json}\r\n", bench.host));
        assert_eq!(status(&head), 405, "{method}");
    }
}

#[test]
fn what_is_too_long_is_refused() {
    let bench = Bench::start(Fake::Absent);
    let (path, host) = (bench.path("api/site"), &bench.host);
    let order = format!(
        "POST {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n\
         Content-Type: application/json\r\n"
    );
    let (head, _) = bench.raw(&format!("{order}Content-Length: 10000000000\r\n\r\n"));
    assert_eq!(status(&head), 413);
    // The same without saying so before: one chunk after the other.
    let mut stream = bench.connect();
    write!(stream, "{order}Transfer-Encoding: chunked\r\n\r\n").unwrap();
    let chunk = format!("4000\r\n{}\r\n", "x".repeat(0x4000));
    for _ in 0..64 {
        if stream.write_all(chunk.as_bytes()).is_err() {
            break;
        }
    }
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    let answer = String::from_utf8_lossy(&answer);
    assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 413"), "{answer}");
    let (head, _) =
        bench.raw(&format!("GET /{} HTTP/1.1\r\nHost: {host}\r\n\r\n", "a".repeat(100_000)));
    assert!(matches!(status(&head), 0 | 404 | 414 | 431), "{head}");
    assert_eq!(status(&bench.get("api/state").0), 200, "and it goes on");
}

#[test]
fn no_path_leads_out() {
    let bench = Bench::start(Fake::Absent);
    for path in [
        "../../etc/passwd",
        "..%2f..%2fetc%2fpasswd",
        "%2e%2e/%2e%2e/etc/passwd",
        "download/..",
        "download/.hidden",
        "download/..%2fsite.toml",
        "download/a%00b",
        "download/C:%5Cx",
        "records/../view",
        "records//view",
        "records/a%2fb/view",
        "api/records/..",
        "api/records/%2e%2e",
        "page.js/..",
        "api",
        "api/",
    ] {
        let (head, body) = bench.get(path);
        assert_eq!((status(&head), body.len()), (404, 0), "{path}");
    }
    // A name that could be is looked up, and is none.
    let (head, body) = bench.get("api/records/no-such-record");
    assert!(status(&head) == 404 && body.contains("no such record"), "{body}");
}

#[test]
fn garbage_and_silence_end_their_own_connection_only() {
    let bench = Bench::start(Fake::Absent);
    let idle: Vec<TcpStream> = (0..20).map(|_| bench.connect()).collect();
    for garbage in [
        &b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03"[..],
        b"\0\0\0\0\0\0\0\0\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET\r\n\r\n",
        b"POST / HTTP/1.1\r\nContent-Length: -1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\nContent-Length: 5\r\n\r\nx",
    ] {
        let mut stream = bench.connect();
        let _ = stream.write_all(garbage);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let text = String::from_utf8_lossy(&answer);
        assert!(!text.starts_with("HTTP/1.1 200"), "{text}");
    }
    let mut half = bench.connect();
    half.write_all(b"GET /half HTTP/1.1\r\nHost").unwrap();
    assert_eq!(status(&bench.get("api/state").0), 200);
    // The head that never comes is waited for in bounded time.
    let mut answer = Vec::new();
    let ended = half.read_to_end(&mut answer).map_err(|error| error.kind());
    let waiting = [Err(ErrorKind::WouldBlock), Err(ErrorKind::TimedOut)];
    assert!(!waiting.contains(&ended), "{ended:?}");
    drop(idle);
}

/// Whatever a line answers while the page looks, the state tells it in a sentence.
#[test]
fn a_line_that_answers_nonsense_is_told_clearly() {
    for fake in [Fake::Noise, Fake::HalfFrames, Fake::StaleIds, Fake::Silent, Fake::HangsUp] {
        let bench = Bench::start(fake);
        bench.wait(|state| state["ports"][0]["name"] == "fake");
        assert_eq!(bench.post("api/connect", r#"{"port":"fake"}"#).0, 200);
        let state = bench.wait(|state| {
            state["logger"]["link"] == "lost" && state["logger"]["trouble"].is_string()
        });
        let trouble = state["logger"]["trouble"].as_str().unwrap();
        assert!(trouble.contains("fake") && trouble.len() < 300, "{fake:?}: {trouble}");
        assert!(!trouble.contains('\n'));
        assert_eq!(state["live"], serde_json::Value::Null);
        // And it can be let go of.
        assert_eq!(bench.post("api/disconnect", "{}").0, 200);
        bench.wait(|state| state["logger"].is_null());
    }
}
