//! A logger whose replies are right, wild, damaged or missing by lot, while the page looks and gives
//! orders: the state stays one a person can read, every order is answered, and once the replies are
//! right again so is the page. The seed is printed; `PUMPWITNESS_SEED` sets it.

mod bench;

use bench::{Bench, wild::WildPorts};
use serde_json::Value;
use std::hash::{BuildHasher, RandomState};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

/// Loggers at once, each with lots of its own.
const LOGGERS: u64 = 8;
/// How long each is wild.
const WILD: Duration = Duration::from_secs(15);

#[test]
fn wild_replies_leave_the_page_readable_and_the_worker_alive() {
    let drawn = || RandomState::new().hash_one(0_u8);
    let seed = std::env::var("PUMPWITNESS_SEED").ok().and_then(|text| text.parse().ok());
    let seed: u64 = seed.unwrap_or_else(drawn);
    println!("seed {seed}");
    thread::scope(|scope| {
        for logger in 0..LOGGERS {
            scope.spawn(move || visit(seed.wrapping_add(logger)));
        }
    });
}

fn visit(seed: u64) {
    let calm = Arc::new(AtomicBool::new(false));
    let bench = Bench::with_ports(Box::new(WildPorts::new(seed, Arc::clone(&calm))));
    let site = serde_json::json!({ "toml": pumpwitness_site_file::EXAMPLE });
    if seed.is_multiple_of(2) {
        bench.order("api/site", &site.to_string());
    }
    bench.wait(|state| state["ports"][0]["name"] == "wild");
    bench.order("api/connect", r#"{"port":"wild"}"#);
    let orders = [
        ("api/site", site.to_string()),
        ("api/arm", "{}".to_owned()),
        ("api/fetch", r#"{"release":true,"by":"somebody"}"#.to_owned()),
        ("api/stop", "{}".to_owned()),
        ("api/stated", r#"{"running":true,"gauge_bar":3.0}"#.to_owned()),
        ("api/stated", r#"{"running":false,"gauge_bar":null}"#.to_owned()),
        ("api/connect", r#"{"port":"wild"}"#.to_owned()),
    ];
    let until = Instant::now() + WILD;
    let mut looks = 0;
    while Instant::now() < until {
        readable(&bench.state(), seed);
        looks += 1;
        if looks % 4 == 0 {
            let (path, body) = &orders[looks / 4 % orders.len()];
            let (status, answer) = bench.post(path, body);
            // Taken, or refused because of what is going on; never the worker gone.
            assert!(matches!(status, 200 | 409 | 422), "seed {seed}: {path}: {status} {answer}");
        }
        thread::sleep(Duration::from_millis(120));
    }
    calm.store(true, Ordering::Relaxed);
    bench.wait(|state| {
        if state["job"]["state"] == "going" {
            bench.post("api/stop", "{}");
        }
        readable(state, seed);
        state["logger"]["link"] == "there"
            && state["logger"]["device"] == "57494c4457494c44"
            && state["live"]["voltage_v"] == 231.0
            && state["live"]["age_ms"].as_u64().is_some_and(|age| age < 2000)
            && state["job"]["state"] != "going"
    });
}

/// What a page can show: known words, whole sentences, numbers that are numbers.
fn readable(state: &Value, seed: u64) {
    let at = |what: &str| format!("seed {seed}: {what}: {state:#}");
    let logger = &state["logger"];
    if !logger.is_null() {
        match logger["link"].as_str() {
            Some("there") => {
                assert_eq!(logger["device"].as_str().map(str::len), Some(16), "{}", at("device"));
            }
            Some("lost") => assert!(sentence(&logger["trouble"]), "{}", at("trouble")),
            Some("connecting") => {}
            _ => panic!("{}", at("link")),
        }
        assert!(logger["clock_off_s"].is_number(), "{}", at("clock"));
    }
    if !state["live"].is_null() {
        for key in ["voltage_v", "current_a", "power_w", "board_c", "age_ms"] {
            assert!(state["live"][key].is_number(), "{}", at(key));
        }
    }
    for check in state["checks"].as_array().unwrap() {
        assert!(sentence(&check["says"]), "{}", at("check"));
        assert!(matches!(check["state"].as_str(), Some("good" | "bad" | "waiting")));
    }
    if state["job"]["state"] != "going" && !state["job"].is_null() {
        assert!(sentence(&state["job"]["says"]), "{}", at("job"));
    }
}

/// One line that is not empty and fits a screen.
fn sentence(value: &Value) -> bool {
    value
        .as_str()
        .is_some_and(|text| (10..500).contains(&text.len()) && !text.chars().any(char::is_control))
}
