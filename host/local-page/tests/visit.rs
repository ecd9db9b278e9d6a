//! A visit to the practised site by the orders of the page: wrong fits named and put right one by
//! one, armed, days pass, fetched over pulled cables.

mod bench;

use bench::{Bench, Fake};
use pumpwitness_protocol::archive::{ARCHIVE_HEADER_BYTES, ArchiveHeader, TRAILER_BYTES};
use serde_json::Value;

fn check<'a>(state: &'a Value, key: &str) -> &'a Value {
    state["checks"].as_array().unwrap().iter().find(|check| check["key"] == key).unwrap()
}

fn is(state: &Value, key: &str, wanted: &str) -> bool {
    state["checks"].as_array().is_some_and(|list| {
        list.iter().any(|check| check["key"] == key && check["state"] == wanted)
    })
}

/// At the practised logger, with the practised site's file.
fn at_the_panel() -> Bench {
    let bench = Bench::practised();
    let toml: Value = serde_json::from_str(&bench.get("api/practice/site").1).unwrap();
    bench.order("api/site", &toml.to_string());
    bench.wait(|state| state["ports"][0]["name"] == "practice");
    bench.order("api/connect", r#"{"port":"practice"}"#);
    let state = bench.wait(|state| state["logger"]["link"] == "there");
    assert_eq!(state["logger"]["device"], "5052414354494345");
    assert_eq!(state["logger"]["simulated"], true);
    bench
}

/// Waits for what the pump shows when it starts, runs or stops; the time to its next start or stop
/// is skipped.
fn by_the_pump(bench: &Bench, wanted: impl Fn(&Value) -> bool) -> Value {
    bench.wait(|state| {
        let there = wanted(state);
        if !there {
            bench.order("api/practice/skip", "{}");
        }
        there
    })
}

fn arm(bench: &Bench) -> Value {
    bench.order("api/arm", "{}");
    let state =
        bench.wait(|state| state["job"]["what"] == "arm" && state["job"]["state"] != "going");
    assert_eq!(state["job"]["state"], "done", "{}", state["job"]);
    state
}

fn days(bench: &Bench, days: u32) {
    bench.order("api/practice/days", &format!("{{\"days\":{days}}}"));
    bench.wait(|state| state["job"]["what"] == "practice" && state["job"]["state"] == "done");
}

#[test]
fn wrong_fits_are_named_and_put_right_one_by_one() {
    let bench = at_the_panel();
    bench.wait(|state| is(state, "transducer", "bad"));
    bench.order("api/practice/correct", r#"{"key":"loop-open"}"#);
    bench.wait(|state| is(state, "transducer", "good"));

    // Round both conductors: the technician hears the pump run, and no current flows.
    by_the_pump(&bench, |state| state["practice"]["pump_runs"] == true);
    bench.order("api/stated", r#"{"running":true,"gauge_bar":null}"#);
    let state = bench.wait(|state| is(state, "current", "bad"));
    assert!(check(&state, "current")["remedy"].as_str().unwrap().contains("one conductor"));
    bench.order("api/practice/correct", r#"{"key":"clamp-round-both"}"#);
    bench.order("api/stated", r#"{"running":null,"gauge_bar":null}"#);

    // Now it can be seen that it faces the wrong way.
    let state = by_the_pump(&bench, |state| is(state, "power", "bad"));
    assert!(check(&state, "power")["says"].as_str().unwrap().contains("negative"));
    bench.order("api/practice/correct", r#"{"key":"clamp-turned"}"#);
    by_the_pump(&bench, |state| is(state, "power", "good") && is(state, "current", "good"));

    assert!(is(&bench.state(), "lamp-2", "waiting"));
    bench.order("api/practice/correct", r#"{"key":"lamp-unseen"}"#);
    bench.wait(|state| is(state, "lamp-2", "good"));
    let planted = |state: &Value| {
        let faults = state["practice"]["faults"].as_array().unwrap().iter();
        faults.filter(|fault| fault["planted"] == true).count()
    };
    assert_eq!(planted(&bench.state()), 0);

    let state = arm(&bench);
    assert!(state["job"]["result"]["summary"].as_str().unwrap().contains("fit checks good"));
    let state = bench.wait(|state| state["logger"]["armed"] == true);
    let toml = state["site"]["toml"].as_str().unwrap();
    let site = pumpwitness_site_file::parse(toml).unwrap();
    assert!(site.fit.checks.unwrap().contains("fit checks good"), "{toml}");
    assert!(site.name.unwrap().to_lowercase().contains("practice"));
}

#[test]
fn other_wrong_fits_are_named_too() {
    let bench = at_the_panel();
    for key in ["loop-open", "clamp-round-both", "clamp-turned", "lamp-unseen"] {
        bench.order("api/practice/correct", &format!("{{\"key\":\"{key}\"}}"));
    }
    bench.order("api/practice/plant", r#"{"key":"voltage-sense-off"}"#);
    bench.wait(|state| is(state, "voltage", "bad"));
    bench.order("api/practice/correct", r#"{"key":"voltage-sense-off"}"#);
    bench.order("api/practice/plant", r#"{"key":"clamp-ratio"}"#);
    by_the_pump(&bench, |state| is(state, "voltage", "good") && is(state, "current", "bad"));
    bench.order("api/practice/correct", r#"{"key":"clamp-ratio"}"#);
    bench.order("api/practice/plant", r#"{"key":"transducer-range"}"#);
    bench.wait(|state| {
        let gauge = state["practice"]["gauge_bar"].as_f64().unwrap();
        bench.order("api/stated", &format!("{{\"running\":null,\"gauge_bar\":{gauge}}}"));
        is(state, "pressure", "bad")
    });
    bench.order("api/practice/correct", r#"{"key":"transducer-range"}"#);
    bench.order("api/practice/plant", r#"{"key":"voltage-load-side"}"#);
    by_the_pump(&bench, |state| is(state, "voltage-side", "bad"));
    let (status, _) = bench.post("api/practice/plant", r#"{"key":"no such"}"#);
    assert_eq!(status, 422);
}

#[test]
fn a_record_is_whole_over_pulled_cables() {
    let bench = at_the_panel();
    arm(&bench);
    days(&bench, 2);
    bench.wait(|state| state["logger"]["link"] == "there" && state["live"].is_object());
    bench.order("api/practice/unplug", r#"{"after_bytes":30000}"#);
    bench.order("api/fetch", r#"{"release":false,"by":"the trainee"}"#);
    let state = bench.wait(|state| state["logger"]["link"] == "lost");
    assert_eq!(state["job"]["state"], "going", "{}", state["job"]);
    // The pages that came before the cable was pulled are told, however fast they came.
    let done = state["job"]["done"].as_u64().unwrap();
    assert!(done > 0 && done < state["job"]["total"].as_u64().unwrap(), "{}", state["job"]);
    // Nothing else may have the line meanwhile.
    assert_eq!(bench.post("api/arm", "{}").0, 409);
    assert_eq!(bench.post("api/disconnect", "{}").0, 409);
    bench.order("api/practice/plug", "{}");
    bench.order("api/practice/unplug", r#"{"after_bytes":60000}"#);
    bench.wait(|state| state["practice"]["plugged"] == false);
    bench.order("api/practice/plug", "{}");
    let state = bench.wait(|state| state["job"]["state"] != "going");
    assert_eq!(state["job"]["state"], "done", "{}", state["job"]);
    assert_eq!(state["job"]["result"]["chain_ok"], true);
    let archive = bench.filed(state["job"]["result"]["id"].as_str().unwrap());
    let header = ArchiveHeader::decode(&archive).unwrap();
    assert_eq!(header.collected_by, "the trainee");
    assert_eq!(header.identity.device, *b"PRACTICE");
    let body = archive.len() - ARCHIVE_HEADER_BYTES - TRAILER_BYTES;
    assert_eq!(body, header.sectors() as usize * 4096);
    let off_ms = header.range.clock_ms - header.host_clock_ms;
    assert!(off_ms.abs() < 600_000, "the practised clock is that of its site: {off_ms} ms");
}

#[test]
fn a_download_can_be_stopped_and_gone_on_with() {
    let bench = at_the_panel();
    arm(&bench);
    days(&bench, 1);
    bench.order("api/practice/unplug", r#"{"after_bytes":20000}"#);
    bench.order("api/fetch", "{}");
    bench.wait(|state| state["logger"]["link"] == "lost" && state["job"]["state"] == "going");
    bench.order("api/stop", "{}");
    let state = bench.wait(|state| state["job"]["state"] == "failed");
    assert!(state["job"]["says"].as_str().unwrap().contains("kept"), "{}", state["job"]);
    assert_eq!(bench.post("api/stop", "{}").0, 409);
    bench.order("api/practice/plug", "{}");
    bench.wait(|state| state["logger"]["link"] == "there");
    bench.order("api/fetch", "{}");
    let state = bench.wait(|state| state["job"]["state"] != "going");
    assert_eq!(state["job"]["state"], "done", "{}", state["job"]);
    assert!(state["job"]["result"]["resumed_at"].as_u64().unwrap() > 0);
}

#[test]
fn an_unplugged_logger_is_not_armed_and_comes_back() {
    let bench = at_the_panel();
    bench.order("api/practice/unplug", "{}");
    bench.wait(|state| state["logger"]["link"] == "lost" && state["ports"].as_array().is_some());
    bench.order("api/arm", "{}");
    let state = bench.wait(|state| state["job"]["state"] == "failed");
    assert!(state["job"]["says"].as_str().unwrap().contains("plug it in"));
    bench.order("api/practice/plug", "{}");
    let state = bench.wait(|state| state["logger"]["link"] == "there" && state["live"].is_object());
    assert_eq!(state["logger"]["armed"], false);
    // A practised week is over in one go, and no more than there are.
    assert_eq!(bench.post("api/practice/days", r#"{"days":1000}"#).0, 422);
    assert_eq!(bench.post("api/practice/days", r#"{"days":-1}"#).0, 422);
}

#[test]
fn a_site_file_is_checked_kept_and_made_of_answers() {
    let bench = Bench::start(Fake::Absent);
    let (status, body) = bench.post("api/site", r#"{"toml":"[supply]\nnominal_v = 9000\n"}"#);
    assert!(status == 422 && body.contains("line"), "{body}");
    let questions: Value = serde_json::from_str(&bench.get("api/plan/questions").1).unwrap();
    let needed: Vec<&Value> =
        questions.as_array().unwrap().iter().filter(|q| q["needed"] == true).collect();
    assert_eq!(needed[0]["key"], "motor.rated_current_a");
    let (status, body) = bench
        .post("api/plan", r#"{"answers":{"supply.nominal_v":"230","supply.frequency_hz":"50"}}"#);
    let said: Value = serde_json::from_str(&body).unwrap();
    assert_eq!((status, &said["key"]), (422, &Value::from("motor.rated_current_a")), "{body}");
    // A wrong answer is named, whatever else is missing or right, and so is one that nobody asked for.
    for (answers, key) in [
        (r#""supply.nominal_v":"x""#, "supply.nominal_v"),
        (r#""supply.nominal_v":"9000""#, "supply.nominal_v"),
        (
            r#""supply.nominal_v":"230","supply.frequency_hz":"50","motor.rated_current_a":"7.2",
            "control.kind":"pressure-switch","control.cut_in_bar":"x","control.cut_out_bar":"3.5""#,
            "control.cut_in_bar",
        ),
        (r#""supply.volts":"230""#, "supply.volts"),
        (r#""volts":"230""#, "volts"),
        (r#""supply.a = 1 #":"230""#, "supply.a = 1 #"),
        (
            r#""site.time_zone":"Nowhere/None","supply.nominal_v":"230","supply.frequency_hz":"50",
            "motor.rated_current_a":"7.2""#,
            "site.time_zone",
        ),
    ] {
        let (status, body) = bench.post("api/plan", &format!("{{\"answers\":{{{answers}}}}}"));
        let said: Value = serde_json::from_str(&body).unwrap();
        assert_eq!((status, &said["key"]), (422, &Value::from(key)), "{body}");
        assert!(said["error"].as_str().unwrap().len() > 10, "{body}");
    }
    // A body of another form is answered by what it lacks.
    for (body, lacks) in
        [(r#"{"answer":{}}"#, "answers"), (r#"{"answers":{"supply.nominal_v":230}}"#, "string")]
    {
        let (status, said) = bench.post("api/plan", body);
        assert!(status == 400 && said.contains(lacks), "{said}");
    }
    let (status, body) = bench.post(
        "api/plan",
        r#"{"answers":{"site.name":"Upper field","supply.nominal_v":"230",
            "supply.frequency_hz":"50","motor.rated_current_a":"7.2"}}"#,
    );
    assert_eq!(status, 200, "{body}");
    let said: Value = serde_json::from_str(&body).unwrap();
    bench.order("api/site", &said.to_string());
    let state = bench.wait(|state| state["site"]["name"] == "Upper field");
    assert_eq!(state["site"]["file"], "site");
    bench.order("api/site/file", r#"{"file":"site"}"#);
    assert_eq!(bench.post("api/site/file", r#"{"file":"../x"}"#).0, 404);
    assert!(bench.get("api/site/sheet.pdf").1.starts_with("%PDF-"));
    assert_eq!(bench.post("api/practice/plug", "{}").0, 404, "no practice here");
}
