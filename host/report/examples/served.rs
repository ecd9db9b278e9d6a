//! Serves the page of one archive on the loopback address, as the program does, for looking at it and
//! for `tests/browser/served.js`: `served ARCHIVE`. Prints how long the parts took, and the address.

use jiff::Timestamp;
use pumpwitness_recording::archive::read_archive;
use pumpwitness_report::{ReportInput, html_served, rows};
use std::error::Error;
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("name an archive")?;
    let begun = Instant::now();
    let recording = read_archive("record.pwa", &std::fs::read(path)?)?;
    let text = recording.source.site_text.clone().ok_or("no site file in it")?;
    let site = pumpwitness_site_file::parse(&text)?;
    let read = begun.elapsed();
    let begun = Instant::now();
    let analysis = pumpwitness_analysis::analyse(&recording, &site);
    let analysed = begun.elapsed();
    let input = ReportInput {
        analysis: &analysis,
        recording: &recording,
        site: &site,
        integrity: None,
        generated: Timestamp::now(),
        program_version: env!("CARGO_PKG_VERSION"),
    };
    let begun = Instant::now();
    let page = html_served(&input, "rows");
    println!(
        "{} rows, {} captures' blocks; read {read:.1?}, analysed {analysed:.1?}, page of {} bytes {:.1?}",
        recording.columns.len(),
        recording.captures.len(),
        page.len(),
        begun.elapsed()
    );
    let listener = TcpListener::bind(("127.0.0.1", 0))?;
    println!("http://{}/view", listener.local_addr()?);
    for stream in listener.incoming() {
        // A browser that hangs up is no failure.
        let _ = answer(stream?, &page, &input);
    }
    Ok(())
}

fn answer(mut stream: TcpStream, page: &str, input: &ReportInput<'_>) -> std::io::Result<()> {
    let mut reader = BufReader::new(stream.try_clone()?);
    let mut line = String::new();
    reader.read_line(&mut line)?;
    let mut head = String::new();
    while reader.read_line(&mut head)? > 2 {
        head.clear();
    }
    let address = line.split_whitespace().nth(1).unwrap_or_default();
    let number = |key: &str| {
        let at = address.find(key)? + key.len();
        address[at..].split('&').next()?.parse::<i64>().ok()
    };
    let (status, kind, body) = match address {
        "/view" => ("200 OK", "text/html; charset=utf-8", page.to_owned()),
        _ => match (number("from_ms="), number("to_ms=")) {
            (Some(from), Some(to)) => {
                let begun = Instant::now();
                let body = rows(input, from, to);
                let took = begun.elapsed();
                println!("{:.1} h: {} bytes in {took:.1?}", (to - from) as f64 / 3.6e6, body.len());
                ("200 OK", "application/json", body)
            }
            _ => ("404 Not Found", "text/plain", String::new()),
        },
    };
    write!(
        stream,
        "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
        body.len()
    )
}
