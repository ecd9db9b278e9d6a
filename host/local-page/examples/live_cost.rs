//! What the live view costs: the server's own processor time while a page asks four times a second,
//! with the logger in another process. `cargo run --release -p pumpwitness-local-page --example
//! live_cost` (Linux).
//!
//! The asking is done in the same process and counted too; a browser's own drawing is not.

#[cfg(target_os = "linux")]
#[path = "../tests/bench/mod.rs"]
mod bench;

#[cfg(target_os = "linux")]
fn main() {
    use pumpwitness_local_page::ports::{Line, Place, Ports, UsbPorts};
    use pumpwitness_site_model::scenario;
    use pumpwitness_virtual_logger::port::Plugged;
    use pumpwitness_virtual_logger::{FLASH_BYTES, VirtualLogger};
    use std::io::{BufRead, BufReader};
    use std::process::{Command, Stdio};
    use std::sync::{Arc, Mutex};
    use std::time::{Duration, Instant};

    struct One(String);

    impl Ports for One {
        fn list(&mut self) -> Vec<Place> {
            // As costly as the real list is.
            let _ = UsbPorts.list();
            vec![Place { name: self.0.clone(), what: "simulated".to_owned(), serial: None }]
        }

        fn open(&mut self, name: &str) -> Result<Line, pumpwitness_link::LinkError> {
            UsbPorts.open(name)
        }
    }

    /// User and system time of this process, s.
    fn spent_s() -> f64 {
        let text = std::fs::read_to_string("/proc/self/stat").expect("/proc is there");
        let fields: Vec<&str> = text.rsplit(") ").next().unwrap_or("").split(' ').collect();
        // proc(5): utime and stime are fields 14 and 15, in ticks of 10 ms.
        let ticks = |n: usize| fields[n].parse::<f64>().expect("a number");
        (ticks(11) + ticks(12)) / 100.0
    }

    let story = scenario("healthy").expect("there is one");
    if std::env::args().nth(1).as_deref() == Some("logger") {
        let logger = VirtualLogger::new(*b"LIVECOST", FLASH_BYTES, story.start_ms);
        let logger = Arc::new(Mutex::new(logger.expect("it starts")));
        let plug = Plugged::new(Arc::clone(&logger), None).expect("there are pseudo-terminals");
        println!("{}", plug.path());
        let (mut model, began) = (story.model(), Instant::now());
        while began.elapsed() < Duration::from_mins(10) {
            let now_ms = story.start_ms + began.elapsed().as_millis() as i64;
            model.run(now_ms, &mut *logger.lock().expect("no thread panics"));
            std::thread::sleep(Duration::from_millis(50));
        }
        return;
    }
    let this = std::env::current_exe().expect("a program knows its path");
    let mut logger =
        Command::new(this).arg("logger").stdout(Stdio::piped()).spawn().expect("it starts");
    let mut path = String::new();
    BufReader::new(logger.stdout.take().expect("piped")).read_line(&mut path).expect("a line");
    let path = path.trim().to_owned();
    let bench = bench::Bench::with_ports(Box::new(One(path.clone())));
    let site = serde_json::json!({ "toml": story.site_toml() });
    bench.order("api/site", &site.to_string());
    bench.wait(|state| state["ports"][0]["name"] == path.as_str());
    bench.order("api/connect", &serde_json::json!({ "port": path }).to_string());
    bench.wait(|state| state["live"].is_object());
    let (began, before_s) = (Instant::now(), spent_s());
    let mut oldest_ms = 0;
    let mut asked = 0;
    while began.elapsed() < Duration::from_mins(1) {
        let state = bench.state();
        oldest_ms = oldest_ms.max(state["live"]["age_ms"].as_u64().unwrap_or(u64::MAX));
        asked += 1;
        std::thread::sleep(Duration::from_millis(250));
    }
    let spent_s = spent_s() - before_s;
    let wall_s = began.elapsed().as_secs_f64();
    println!(
        "{spent_s:.2} s of processor time in {wall_s:.1} s: {:.1} % of a core; {asked} states asked \
         for, the oldest reading was {oldest_ms} ms old",
        100.0 * spent_s / wall_s
    );
    let _ = logger.kill();
    let _ = logger.wait();
}

#[cfg(not(target_os = "linux"))]
fn main() {}
