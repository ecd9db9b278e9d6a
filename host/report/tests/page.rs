//! The page as a whole: nothing injected, nothing fetched, every element closed, every picture named.

mod fixture;

use fixture::{Made, finding, made};
use pumpwitness_protocol::record::{CaptureBlock, CapturePoint, Trigger};
use pumpwitness_recording::Columns;
use pumpwitness_report::strings::kinds::KINDS;
use std::collections::BTreeSet;

/// A tag of the page.
struct Tag {
    name: String,
    closing: bool,
    attributes: Vec<(String, String)>,
}

impl Tag {
    fn get(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }
}

/// A small strict reader: quoted attributes only, no stray `<`, every `&` begins a known entity.
fn tags(page: &str) -> Vec<Tag> {
    let mut tags = Vec::new();
    let body = page.strip_prefix("<!DOCTYPE html>\n").expect("a document type");
    let mut rest = body;
    while let Some(at) = rest.find('<') {
        check_text(&rest[..at]);
        let end = rest[at..].find('>').expect("a tag is closed") + at;
        let inside = &rest[at + 1..end];
        assert!(!inside.contains('<'), "stray < in {inside:?}");
        let closing = inside.starts_with('/');
        let inside = inside.trim_start_matches('/').trim_end_matches('/');
        let name: String =
            inside.chars().take_while(char::is_ascii_alphanumeric).collect::<String>();
        assert!(!name.is_empty(), "a name in {inside:?}");
        let mut attributes = Vec::new();
        let mut left = &inside[name.len()..];
        while !left.is_empty() {
            let equals = left.find("=\"").unwrap_or_else(|| panic!("quoted value in {inside:?}"));
            let quote = left[equals + 2..].find('"').expect("value ends") + equals + 2;
            let (attribute, value) = (left[..equals].trim(), &left[equals + 2..quote]);
            assert!(
                attribute.chars().all(|c| c.is_ascii_alphanumeric() || c == '-'),
                "{attribute}"
            );
            check_text(value);
            attributes.push((attribute.to_owned(), value.to_owned()));
            left = &left[quote + 1..];
        }
        let own_end = rest[..end].ends_with('/');
        let raw = matches!(name.as_str(), "style" | "script") && !closing;
        let end_of_raw = format!("</{name}>");
        tags.push(Tag { name: name.clone(), closing, attributes });
        if own_end {
            tags.push(Tag { name, closing: true, attributes: Vec::new() });
        }
        rest = &rest[end + 1..];
        if raw {
            let length = rest.find(&end_of_raw).expect("style and script end");
            assert!(!rest[..length].contains("</") && !rest[..length].contains("<!--"));
            rest = &rest[length..];
        }
    }
    tags
}

fn check_text(text: &str) {
    for (at, _) in text.match_indices('&') {
        let known = ["&amp;", "&lt;", "&gt;", "&quot;", "&#39;"];
        assert!(known.iter().any(|entity| text[at..].starts_with(entity)), "{:?}", &text[at..]);
    }
}

fn check_nesting(tags: &[Tag]) {
    const VOID: &[&str] = &["meta", "br", "hr", "col"];
    let mut open: Vec<&str> = Vec::new();
    for tag in tags {
        if VOID.contains(&tag.name.as_str()) {
            continue;
        }
        if tag.closing {
            assert_eq!(open.pop(), Some(tag.name.as_str()), "closed in order");
        } else {
            open.push(&tag.name);
        }
    }
    assert!(open.is_empty(), "left open: {open:?}");
}

fn check(page: &str) -> Vec<Tag> {
    let tags = tags(page);
    check_nesting(&tags);
    let mut ids = BTreeSet::new();
    for id in tags.iter().filter_map(|tag| tag.get("id")) {
        assert!(ids.insert(id.to_owned()), "id {id} is used twice");
    }
    for tag in &tags {
        for attribute in ["aria-labelledby", "aria-describedby"] {
            if let Some(id) = tag.get(attribute) {
                assert!(ids.contains(id), "{attribute} names {id}, which is not there");
            }
        }
        if let Some(link) = tag.get("href") {
            let id = link.strip_prefix('#').unwrap_or_else(|| panic!("{link} leads out"));
            assert!(ids.contains(id), "{link} leads nowhere");
        }
        assert!(tag.get("src").is_none(), "nothing is fetched");
        assert!(tag.name != "link" && tag.name != "img", "{}", tag.name);
        assert!(!tag.attributes.iter().any(|(name, _)| name.starts_with("on")), "no handlers");
        if tag.name == "svg" && tag.get("aria-hidden").is_none() && !tag.closing {
            assert_eq!(tag.get("role"), Some("img"));
            assert!(tag.get("aria-labelledby").is_some() && tag.get("aria-describedby").is_some());
        }
    }
    let scripts = tags.iter().filter(|tag| tag.name == "script" && !tag.closing).count();
    assert!(scripts == 0 || scripts == 2, "the record and the viewer, nothing else: {scripts}");
    tags
}

#[test]
fn the_page_is_whole_and_fetches_nothing() {
    let page = made(2, 2000).html();
    check(&page);
    let outside = page.replace("http://www.w3.org/2000/svg", "");
    for fetched in ["http://", "https://", "url(", "@import", "//fonts", "javascript:"] {
        assert!(!outside.contains(fetched), "{fetched}");
    }
    assert!(page.contains("default-src 'none'") || page.contains("default-src &#39;none&#39;"));
}

#[test]
fn hostile_names_stay_text() {
    const HOSTILE: &str = "\"><script>alert(1)</script><svg onload='x()'>&\u{202e}\u{0}]]>-->";
    let mut made = made(1, 5000);
    made.site.name = Some(HOSTILE.into());
    made.site.lamps = vec![(1, HOSTILE.into())];
    made.site.time_zone = Some(HOSTILE.into());
    let source = &mut made.recording.source;
    source.name = HOSTILE.into();
    source.device = Some(HOSTILE.into());
    source.firmware = Some(HOSTILE.into());
    source.made_from = Some(HOSTILE.into());
    source.losses = vec![HOSTILE.into(); 5];
    made.analysis.recording.sha256 = HOSTILE.into();
    for finding in &mut made.analysis.findings {
        finding.text = HOSTILE.into();
        if let Some(limit) = &mut finding.limit {
            limit.source = HOSTILE.into();
        }
    }
    for verdict in &mut made.analysis.verdict {
        verdict.text = HOSTILE.into();
        verdict.against = vec![HOSTILE.into()];
        verdict.next_checks = vec![HOSTILE.into()];
    }
    for cause in &mut made.analysis.ruled_out {
        cause.because = HOSTILE.into();
    }
    let hostile =
        serde_json::json!({HOSTILE: HOSTILE, "list": [{HOSTILE: HOSTILE}], "x_v": HOSTILE});
    made.analysis.statistics = hostile.as_object().unwrap().clone();
    let page = made.html();
    check(&page);
    assert_eq!(page.matches("<script").count(), 2, "the record and the viewer only");
    assert!(!page.contains("alert(1)<") && !page.contains("<svg onload"));
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt;"), "it is shown as text");
    assert!(!page.contains('\u{202e}') && !page.contains('\u{0}'));
}

/// The markup of the finding numbered `number`.
fn finding_markup(page: &str, number: usize) -> &str {
    let begin = page.find(&format!("<section id=\"finding-{number}\"")).expect("the finding");
    let end = page[begin..].find("</section>").expect("its end") + begin;
    &page[begin..end]
}

#[test]
fn every_kind_of_finding_has_a_picture_or_says_why_not() {
    let mut made = made(1, 5000);
    let (from, to) = {
        let recording = &made.analysis.recording;
        let from = recording.start.as_millisecond() + 3_600_000;
        (from, from + 600_000)
    };
    made.analysis.findings = KINDS.iter().map(|kind| finding(kind.kind, from, to)).collect();
    made.analysis.findings.push(finding("a-kind-not-known-here", from, to));
    let page = made.html();
    check(&page);
    for number in 1..=KINDS.len() + 1 {
        assert!(finding_markup(&page, number).contains("<figure"), "finding {number}");
    }

    // The same without a single channel.
    made.recording.columns = Columns { ..Columns::default() };
    let page = made.html();
    check(&page);
    for number in 1..=KINDS.len() + 1 {
        let markup = finding_markup(&page, number);
        assert!(!markup.contains("<figure") && markup.contains("No picture:"), "finding {number}");
    }
}

#[test]
fn odd_records_make_a_page_too() {
    let whole = made(1, 60_000);
    let mut odd: Vec<Made> = Vec::new();
    let mut none = made(1, 60_000);
    none.recording = pumpwitness_recording::Recording::default();
    none.analysis.runs.clear();
    none.analysis.stops.clear();
    none.analysis.findings.clear();
    none.analysis.verdict.clear();
    none.analysis.ruled_out.clear();
    none.analysis.recording.end = none.analysis.recording.start;
    odd.push(none);
    let mut dark = made(1, 60_000);
    for channel in &mut dark.recording.columns.voltage_v {
        channel.mean.fill(f32::NAN);
        channel.min.fill(f32::NAN);
        channel.max.fill(f32::NAN);
    }
    dark.analysis.starts_per_day = f64::NAN;
    odd.push(dark);
    let mut three = made(1, 60_000);
    three.site.supply.phases = 3;
    for _ in 0..2 {
        let one = whole.recording.columns.voltage_v[0].clone();
        three.recording.columns.voltage_v.push(one);
    }
    three.analysis.findings = vec![finding(
        "voltage-unbalance",
        three.analysis.recording.start.as_millisecond(),
        three.analysis.recording.end.as_millisecond(),
    )];
    odd.push(three);
    let mut wild = made(1, 60_000);
    if let Some(pressure) = &mut wild.recording.columns.pressure_bar {
        pressure.max[100] = f32::INFINITY;
        pressure.min[200] = f32::NEG_INFINITY;
        pressure.mean[300] = f32::MAX;
    }
    wild.analysis.findings[0].start = jiff::Timestamp::MIN;
    wild.analysis.findings[0].end = jiff::Timestamp::MAX;
    wild.analysis.findings[0].occurrences.clear();
    odd.push(wild);
    for made in odd {
        check(&made.html());
    }
}

#[test]
fn thirty_days_stay_below_five_megabytes() {
    let page = made(30, 10_000).html();
    assert!(page.len() < 5_000_000, "{} bytes", page.len());
}

/// A page that is served holds coarse steps only, and every row can be had for the asking.
#[test]
fn a_served_page_is_small_and_its_rows_can_be_asked_for() {
    let mut made = made(30, 10_000);
    made.recording.captures = vec![capture(made.analysis.recording.start.as_millisecond() + 5000)];
    let page = pumpwitness_report::html_served(&made.input(), "rows");
    check(&page);
    assert!(page.len() < made.html().len(), "{} bytes", page.len());
    assert!(page.contains("connect-src 'self'") || page.contains("connect-src &#39;self&#39;"));
    assert!(page.contains("\"served\":\"rows\"") && page.contains("\"tiles\":[]"));
    assert!(!made.html().contains("connect-src"), "the other one fetches nothing");

    let columns = &made.recording.columns;
    let start = columns.start_ms(0);
    let rows = |from: i64, to: i64| -> serde_json::Value {
        serde_json::from_str(&pumpwitness_report::rows(&made.input(), from, to)).unwrap()
    };
    // From 2.5 to 3.5 days: whole tiles, that leave out none of the rows in between.
    let (from, to) = (start + 216_000_000, start + 302_400_000);
    let asked = rows(from, to);
    let tiles = asked["tiles"].as_array().unwrap();
    let bounds = |n: usize| (tiles[n]["from"].as_i64().unwrap(), tiles[n]["to"].as_i64().unwrap());
    assert!(bounds(0).0 <= from - start && bounds(tiles.len() - 1).1 >= to - start, "{asked}");
    let count: u64 = tiles.iter().map(|tile| tile["rows"].as_u64().unwrap()).sum();
    assert!((8640..8640 + 2 * 2048).contains(&count), "{count}");
    assert!(asked["steps"].is_null());
    // Captures come with short stretches.
    assert_eq!(rows(start, start + 60_000)["captures"].as_array().unwrap().len(), 1);
    assert!(rows(start + 60_000, start + 120_000)["captures"].as_array().unwrap().is_empty());
    // Too many rows: steps over just that stretch.
    let all = rows(i64::MIN, i64::MAX);
    assert!(all["tiles"].as_array().unwrap().is_empty());
    assert_eq!(
        (all["steps"]["from"].as_i64(), all["steps"]["to"].as_i64()),
        (Some(0), Some(30 * 86_400_000))
    );
    // Nonsense is answered with nothing.
    for (from, to) in [(to, from), (0, 1), (i64::MAX, i64::MAX), (i64::MAX, i64::MIN)] {
        let none = rows(from, to);
        assert!(none["tiles"].as_array().unwrap().is_empty() && none["steps"].is_null(), "{none}");
    }
}

/// A capture of ten half cycles.
fn capture(start_ms: i64) -> CaptureBlock {
    let point = CapturePoint { voltage_dv: 2300, current_ca: 500, power_w: 900 };
    CaptureBlock {
        capture: 1,
        trigger: Trigger::Start,
        start_ms,
        step_us: 10_000,
        first_index: 0,
        points: core::iter::repeat_n(point, 10).collect(),
    }
}

#[test]
fn a_reader_with_other_units_gets_them() {
    let mut made = made(1, 10_000);
    made.site.units = pumpwitness_site_file::Units::Us;
    made.site.time_zone = Some("America/New_York".into());
    let page = made.html();
    check(&page);
    assert!(page.contains("Pressure, psi") && !page.contains("Pressure, bar"));
    // 3.5 bar × 14.5038 psi/bar (NIST SP 811).
    assert!(page.contains("2.0 to 3.5\u{a0}bar (29.0 to 50.8\u{a0}psi)"), "sentences restated");
    assert!(page.contains("America/New_York, UTC−04:00"));
    assert!(page.contains("\u{a0}pm"));
}
