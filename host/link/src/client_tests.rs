use super::*;
use crate::testing::{Faults, Line, Peer, Script, Shelf, framed, identity};
use pumpwitness_protocol::message::RequestBody;
use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;

const DEVICE: [u8; 8] = *b"logger 1";
/// The count passes over its end, and over 0, in these tests.
const FIRST_ID: u16 = u16::MAX - 2;

fn client<P: Peer>(peer: P) -> Client<Line<P>> {
    Client::counting_from(FIRST_ID, Line::new(peer, Faults::default()), Limits::default())
}

/// A client of something that answers every request by those frames.
fn scripted<F: FnMut(&Request) -> Vec<Vec<u8>>>(answer: F) -> Client<Line<Script<F>>> {
    client(Script::new(answer))
}

/// A peer that says bytes, whatever it hears.
struct Says<F>(F);

impl<F: FnMut() -> Vec<Vec<u8>>> Peer for Says<F> {
    fn receive(&mut self, _: &[u8]) -> Vec<Vec<u8>> {
        (self.0)()
    }
}

fn link<T: std::fmt::Debug>(outcome: Result<T, ClientError>) -> LinkError {
    match outcome {
        Err(ClientError::Link(error)) => error,
        other => panic!("{other:?}"),
    }
}

fn refusal<T: std::fmt::Debug>(outcome: Result<T, ClientError>) -> Refusal {
    match outcome {
        Err(ClientError::Device(error)) => error.refusal,
        other => panic!("{other:?}"),
    }
}

#[test]
fn each_request_has_its_answer() {
    let shelf = Shelf::new(DEVICE, 5, 2, 0).shared();
    let mut client = client(shelf.clone());
    assert_eq!(client.hello().unwrap(), identity(DEVICE));
    assert_eq!(client.status().unwrap(), Status::default());
    assert_eq!(client.live().unwrap(), Live::default());
    client.set_clock(1_770_000_000_000).unwrap();
    client.put_settings(&Settings::default()).unwrap();
    assert_eq!(client.settings().unwrap(), Settings::default());
    client.arm().unwrap();
    let range = client.snapshot().unwrap();
    assert_eq!((range.first_sector, range.last_sector), (5, 6));
    client.release(6).unwrap();
    let first = PageAddress { sector: 5, page: 3 };
    let mut pages = Vec::new();
    let came = client.read_pages(first, 2, None, |address, bytes| {
        pages.push((address, bytes.map(|bytes| bytes.to_vec())));
        true
    });
    assert_eq!(came.unwrap(), 2);
    let expected = |address| (address, shelf.borrow().page(address).map(<[u8]>::to_vec));
    assert_eq!(pages, [first, PageAddress { sector: 6, page: 0 }].map(expected));
    assert_eq!(client.line.passed.waits, 0);
}

#[test]
fn site_texts_of_every_length_come_back() {
    for length in [0, 1, 255, 256, 257, 512, 700, SITE_TEXT_MAX] {
        let mut client = client(Shelf::new(DEVICE, 5, 1, 0));
        let text: Vec<u8> = (0..length).map(|n| n as u8).collect();
        client.put_site_text(&text).unwrap();
        assert_eq!(client.site_text().unwrap(), text[..], "{length}");
    }
    let mut client = client(Shelf::new(DEVICE, 5, 1, 0));
    let error = client.put_site_text(&vec![0; SITE_TEXT_MAX + 1]).unwrap_err();
    assert!(matches!(error, ClientError::SiteTextTooLong(_)), "{error}");
    assert_eq!(client.line.passed.to_peer, 0);
}

#[test]
fn a_site_text_that_never_ends_is_not_believed() {
    for bytes in [0, 1, 200] {
        let mut client = scripted(move |request| {
            let RequestBody::GetSite { offset } = request.body else { return Vec::new() };
            let bytes = core::iter::repeat_n(b'x', bytes).collect();
            let total = if offset > 300 { 10 } else { 1000 };
            vec![framed(request.id, ReplyBody::Site { offset, total, bytes })]
        });
        let error = link(client.site_text());
        assert!(matches!(error, LinkError::Unexpected { .. }), "{error}");
    }
}

#[test]
fn another_protocol_is_a_refusal_either_way() {
    let mut told =
        scripted(|request| vec![framed(request.id, ReplyBody::Refused(Refusal::Version(7)))]);
    assert_eq!(refusal(told.hello()), Refusal::Version(7));
    let mut shown = scripted(|request| {
        let identity = Identity { protocol: 7, ..identity(DEVICE) };
        vec![framed(request.id, ReplyBody::Hello(identity))]
    });
    assert_eq!(refusal(shown.hello()), Refusal::Version(7));
}

#[test]
fn no_request_is_number_0() {
    let mut ids = Vec::new();
    let mut client = scripted(|request| {
        ids.push(request.id);
        vec![framed(request.id, ReplyBody::Done)]
    });
    for _ in 0..5 {
        client.arm().unwrap();
    }
    drop(client);
    assert_eq!(ids, [65_533, 65_534, 65_535, 1, 2]);
    let line = Line::new(Shelf::new(DEVICE, 5, 1, 0), Faults::default());
    assert_eq!(Client::counting_from(0, line, Limits::default()).next_id, 1);
}

#[test]
fn a_request_the_logger_cannot_read_is_a_refusal() {
    let mut client = scripted(|_| vec![framed(0, ReplyBody::Refused(Refusal::Unknown))]);
    assert_eq!(refusal(client.arm()), Refusal::Unknown);
}

#[test]
fn late_damaged_and_foreign_frames_are_passed_over() {
    let mut client = scripted(|request| {
        let mut damaged = framed(request.id, ReplyBody::Done);
        damaged[1] ^= 4;
        vec![
            framed(request.id.wrapping_sub(1), ReplyBody::Done),
            damaged,
            b"\x03hi\0\0\0".to_vec(),
            framed(request.id.wrapping_add(1), ReplyBody::Done),
            framed(request.id, ReplyBody::Hello(identity(DEVICE))),
        ]
    });
    assert_eq!(client.hello().unwrap(), identity(DEVICE));
    assert_eq!(client.line.passed.waits, 0);
}

#[test]
fn a_lost_answer_is_asked_for_again_and_not_for_ever() {
    for lost in 0..5 {
        let mut heard = 0;
        let mut client = scripted(move |request| {
            heard += 1;
            if heard <= lost {
                return Vec::new();
            }
            vec![framed(request.id, ReplyBody::Status(Status::default()))]
        });
        let outcome = client.status();
        if lost < 3 {
            outcome.unwrap();
        } else {
            assert!(matches!(link(outcome), LinkError::Silent { request: "status", .. }));
        }
        assert_eq!(client.line.passed.waits, lost.min(3));
    }
}

#[test]
fn a_logger_slower_than_the_limit_is_heard_at_the_next_try() {
    let mut before = None;
    let mut client = scripted(move |request| {
        let late = before.replace(request.id);
        late.map(|id| framed(id, ReplyBody::Status(Status::default()))).into_iter().collect()
    });
    client.status().unwrap();
    assert_eq!(client.line.passed.waits, 1);
    // What it then answers to the second try is passed over: it is no answer to the next request.
    client.status().unwrap();
    assert_eq!(client.line.passed.waits, 2);
}

#[test]
fn a_logger_that_has_gone_mad_is_not_listened_to_for_long() {
    let mut client = scripted(|request| {
        if matches!(request.body, RequestBody::Hello { .. }) {
            return vec![framed(request.id, ReplyBody::Hello(identity(DEVICE)))];
        }
        // Then as much noise as a line can bring, and an answer behind it.
        let mut frames = vec![vec![0x55, 0x55, 0]; DAMAGED_MAX as usize + 1];
        frames.push(framed(request.id, ReplyBody::Done));
        frames
    });
    client.hello().unwrap();
    assert!(matches!(link(client.arm()), LinkError::Garbage { .. }));
}

/// Wires crossed, another device, a device gone mad: each ends, within the time limits.
#[test]
fn silence_and_garbage_end_within_the_limits() {
    type Frames = Box<dyn FnMut() -> Vec<Vec<u8>>>;
    let noise: Vec<u8> =
        (0..60_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
    let peers: [(bool, Frames); 6] = [
        (true, Box::new(Vec::new)),
        (false, Box::new(|| vec![b"AT\r\nERROR\r\n".to_vec()])),
        (false, Box::new(|| vec![vec![0x55, 0, 0x12, 0x34, 0]])),
        (false, Box::new(|| vec![vec![0xFF; 30_000]])),
        (false, Box::new(move || vec![noise.clone()])),
        (true, Box::new(|| vec![vec![0; 5000]])),
    ];
    for (index, (silent, says)) in peers.into_iter().enumerate() {
        let mut client = client(Says(says));
        let start = client.line.now();
        let error = link(client.hello());
        match error {
            LinkError::Silent { .. } => assert!(silent || index == 5, "{index}: {error}"),
            LinkError::Garbage { .. } => assert!(!silent || index == 5, "{index}: {error}"),
            other => panic!("{index}: {other}"),
        }
        let limits = Limits::default();
        assert!(client.line.now() - start <= limits.answer * limits.tries, "{index}");
    }
}

/// One byte in every 900 ms, for ever: of a valid frame, of no frame at all, or of nothing but
/// answers to other requests.
struct Dripping {
    bytes: Vec<u8>,
    at: usize,
    every: Duration,
    now: Instant,
}

impl Transport for Dripping {
    fn name(&self) -> &'static str {
        "dripping line"
    }

    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        self.now += wait.min(self.every);
        if wait < self.every {
            return Ok(0);
        }
        let room = if self.every.is_zero() { buffer.len() } else { 1 };
        for place in &mut buffer[..room] {
            *place = self.bytes[self.at % self.bytes.len()];
            self.at += 1;
        }
        // A flood takes time too.
        self.now += Duration::from_millis(5);
        Ok(room)
    }

    fn write_all(&mut self, _: &[u8]) -> io::Result<()> {
        Ok(())
    }

    fn now(&self) -> Instant {
        self.now
    }
}

#[test]
fn slow_ones_and_floods_hang_nobody() {
    let foreign = framed(0, ReplyBody::Done);
    let many: Vec<u8> = core::iter::repeat_n(foreign.clone(), 50).flatten().collect();
    for (bytes, every_ms) in
        [(foreign, 900), (vec![0x55], 900), (vec![0x55], 0), (many, 0), (vec![0], 0)]
    {
        let start = Instant::now();
        let every = Duration::from_millis(every_ms);
        let line = Dripping { bytes, at: 0, every, now: start };
        let mut client = Client::counting_from(FIRST_ID, line, Limits::default());
        assert!(matches!(
            link(client.snapshot()),
            LinkError::Silent { .. } | LinkError::Garbage { .. }
        ));
        let first = PageAddress { sector: 0, page: 0 };
        let outcome = client.read_pages(first, 256, None, |_, _| true);
        assert!(matches!(outcome, Ok(0) | Err(ClientError::Link(LinkError::Garbage { .. }))));
        let limits = Limits::default();
        let most = limits.answer * (limits.tries + 1) + Duration::from_secs(1);
        assert!(client.line.now() - start < most);
        assert!(client.unread.len() <= READ_BYTES);
    }
}

#[test]
fn windows_end_at_the_first_page_that_is_not_due() {
    let page = |sector, page| PageAddress { sector, page };
    // (what comes, how many are taken)
    let cases = [
        (vec![page(1, 0), page(1, 1), page(1, 2)], 3),
        (vec![page(1, 0), page(1, 0), page(1, 1), page(1, 0), page(1, 2)], 3),
        (vec![page(1, 1), page(1, 0), page(1, 2)], 0),
        (vec![page(1, 0), page(1, 2)], 1),
        (vec![page(1, 0), page(7, 200)], 1),
        (vec![], 0),
    ];
    for (addresses, taken) in cases {
        let sent = addresses.clone();
        let mut client = scripted(move |request| {
            let gone = sent.iter().map(|a| framed(request.id, ReplyBody::PageGone { address: *a }));
            let end = framed(request.id, ReplyBody::PagesEnd { next: page(1, 3) });
            gone.chain([end]).collect()
        });
        let came = client.read_pages(page(1, 0), 3, None, |_, bytes| bytes.is_none()).unwrap();
        assert_eq!(came, taken, "{addresses:?}");
        assert_eq!(client.line.passed.waits, 0, "{addresses:?}");
    }
    // The last page is enough: nobody waits for the word that it was the last.
    let mut client = scripted(move |request| {
        vec![framed(request.id, ReplyBody::PageGone { address: page(1, 0) })]
    });
    assert_eq!(client.read_pages(page(1, 0), 1, None, |_, _| true).unwrap(), 1);
    assert_eq!(client.line.passed.waits, 0);
    // An address no logger has does no harm either.
    let mut client = scripted(move |request| {
        vec![framed(request.id, ReplyBody::PageGone { address: page(u32::MAX, 255) })]
    });
    assert_eq!(client.read_pages(page(u32::MAX, 255), 2, None, |_, _| true).unwrap(), 1);
}

#[test]
fn the_next_window_is_asked_for_while_the_last_pages_come() {
    let page = |n: u16| PageAddress { sector: u32::from(n / 4), page: (n % 4) as u8 };
    let asked = Rc::new(RefCell::new(Vec::new()));
    let seen = asked.clone();
    let mut client = scripted(move |request| {
        let RequestBody::ReadPages { first, count } = request.body else { panic!() };
        seen.borrow_mut().push((first, count));
        let from = first.sector as u16 * 4 + u16::from(first.page);
        // The second page of the third window is lost.
        let lost = (from == 60).then_some(61);
        let pages = (from..from + count).filter(|n| Some(*n) != lost);
        let end = framed(request.id, ReplyBody::PagesEnd { next: page(from + count) });
        pages
            .map(|n| framed(request.id, ReplyBody::PageGone { address: page(n) }))
            .chain([end])
            .collect()
    });
    let mut read =
        |first, count, then| client.read_pages(page(first), count, then, |_, _| true).unwrap();
    assert_eq!(read(0, 40, Some(20)), 40);
    assert_eq!(*asked.borrow(), [(page(0), 40), (page(40), 20)]);
    assert_eq!(read(40, 20, Some(30)), 20);
    // What was asked for ahead is not asked for again, unless something else is wanted.
    assert_eq!(asked.borrow().len(), 3);
    assert_eq!(read(60, 30, Some(30)), 1);
    assert_eq!(read(61, 2, None), 2);
    assert_eq!(asked.borrow()[2..], [(page(60), 30), (page(61), 2)]);
    assert_eq!(client.line.passed.waits, 0);
}

#[test]
fn a_broken_line_is_told_as_such() {
    let faults = Faults { unplug_after: Some(0), ..Faults::default() };
    let mut client = Client::counting_from(
        FIRST_ID,
        Line::new(Shelf::new(DEVICE, 5, 1, 0), faults),
        Limits::default(),
    );
    assert!(matches!(link(client.hello()), LinkError::Broken { .. }));
}
