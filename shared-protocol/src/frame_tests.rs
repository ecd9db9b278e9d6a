use super::*;
use crate::message::{PageAddress, Reply, ReplyBody, Request, RequestBody};
use crate::page::PAGE_BYTES;
use proptest::prelude::*;
use std::vec::Vec;

extern crate std;

/// COBS examples: S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions
/// on Networking 7(2), 1999 (third row: the paper's header example, from memory), the others
/// computed by the paper's rule.
#[test]
fn cobs_published_examples() {
    let long: Vec<u8> = (1..=254).collect();
    let mut long_coded = std::vec![0xFF];
    long_coded.extend(&long);
    let examples: [(&[u8], &[u8]); 6] = [
        (&[0], &[1, 1]),
        (&[0x11, 0x22, 0, 0x33], &[3, 0x11, 0x22, 2, 0x33]),
        (
            &[0x45, 0, 0, 0x2C, 0x4C, 0x79, 0, 0, 0x40, 6, 0x4F, 0x37],
            &[2, 0x45, 1, 4, 0x2C, 0x4C, 0x79, 1, 5, 0x40, 6, 0x4F, 0x37],
        ),
        (&[0x11, 0x22, 0x33, 0x44], &[5, 0x11, 0x22, 0x33, 0x44]),
        (&[0x11, 0, 0, 0], &[2, 0x11, 1, 1, 1]),
        (&long, &long_coded),
    ];
    for (plain, coded) in examples {
        let mut out = [0; 300];
        let used = cobs::encode(plain, &mut out);
        // Some encoders close a final full block of 254 with a further 01; both are valid.
        assert!(out[..used] == *coded || out[..used] == [coded, &[1]].concat(), "{plain:x?}");
        let mut back = coded.to_vec();
        let used = cobs::decode_in_place(&mut back).unwrap();
        assert_eq!(back[..used], *plain);
        let mut back = [coded, &[1]].concat();
        if plain.len() == 254 {
            let used = cobs::decode_in_place(&mut back).unwrap();
            assert_eq!(back[..used], *plain);
        }
    }
}

/// Postcard wire format 1.0, chapter "varint" and "zig-zag" examples (the i16 32767 row corrected:
/// zig-zag 65534 is FE FF 03).
#[test]
fn postcard_published_examples() {
    fn bytes<T: Serialize>(value: T) -> Vec<u8> {
        let mut out = [0; 16];
        postcard::to_slice(&value, &mut out).unwrap().to_vec()
    }
    assert_eq!(bytes(127u16), [0x7F]);
    assert_eq!(bytes(128u16), [0x80, 1]);
    assert_eq!(bytes(16383u16), [0xFF, 0x7F]);
    assert_eq!(bytes(16384u16), [0x80, 0x80, 1]);
    assert_eq!(bytes(65535u16), [0xFF, 0xFF, 3]);
    assert_eq!(bytes(u32::MAX), [0xFF, 0xFF, 0xFF, 0xFF, 0x0F]);
    assert_eq!(bytes(-1i16), [1]);
    assert_eq!(bytes(-64i16), [0x7F]);
    assert_eq!(bytes(64i16), [0x80, 1]);
    assert_eq!(bytes(32767i16), [0xFE, 0xFF, 3]);
    assert_eq!(bytes(-32768i16), [0xFF, 0xFF, 3]);
    assert_eq!(bytes(-32.005_86f32), [0x00, 0x06, 0x00, 0xC2]);
    assert_eq!(bytes(Some(5u8)), [1, 5]);
    assert!(postcard::from_bytes::<u16>(&[0xFF, 0xFF, 7]).is_err());
    assert!(postcard::from_bytes::<u16>(&[0x80, 0x80, 0x80, 0]).is_err());
}

fn page() -> Reply {
    let bytes = (0..PAGE_BYTES).map(|n| (n * 31 % 256) as u8).collect();
    let address = PageAddress { sector: u32::MAX, page: 3 };
    Reply { id: u16::MAX, body: ReplyBody::Page { address, bytes } }
}

fn decode_all<T: for<'de> Deserialize<'de>>(decoder: &mut Decoder, bytes: &[u8]) -> Vec<Found<T>> {
    let mut found = Vec::new();
    let mut rest = bytes;
    while !rest.is_empty() {
        let (item, left) = decoder.feed(rest);
        found.extend(item);
        rest = left;
    }
    found
}

#[test]
fn the_longest_reply_fits_a_frame_and_little_is_overhead() {
    let mut out = [0; FRAME_BYTES_MAX];
    let frame = encode(&page(), &mut out).unwrap();
    // DESIGN goal: at least 95 % payload on the wire.
    assert!(PAGE_BYTES * 100 / frame.len() >= 97, "{} bytes", frame.len());
    let mut decoder = Decoder::new();
    assert_eq!(decode_all(&mut decoder, frame), [Found::Message(page())]);
}

#[test]
fn frames_come_back_whatever_the_pieces() {
    let mut out = [0; FRAME_BYTES_MAX];
    let mut line = encode(&page(), &mut out).unwrap().to_vec();
    let hello = Request { id: 1, body: RequestBody::Hello { protocol: 1 } };
    line.extend(encode(&hello, &mut out).unwrap());
    for size in [1, 2, 7, 64, 1000] {
        let mut decoder = Decoder::new();
        let mut found = Vec::new();
        for piece in line.chunks(size) {
            found.extend(decode_all::<Reply>(&mut decoder, piece));
        }
        assert_eq!(found.len(), 2);
        assert_eq!(found[0], Found::Message(page()));
    }
}

#[test]
fn noise_costs_one_frame_and_no_more() {
    let mut out = [0; FRAME_BYTES_MAX];
    let good = encode(&page(), &mut out).unwrap().to_vec();
    let mut line = std::vec![0x55; 5000];
    line.push(0);
    line.extend(&good);
    let found = decode_all::<Reply>(&mut Decoder::new(), &line);
    assert_eq!(found, [Found::Damaged, Found::Message(page())]);
}

proptest! {
    #[test]
    fn a_damaged_frame_is_never_a_message(at in 0usize..1000, flip in 1u8..=255) {
        let mut out = [0; FRAME_BYTES_MAX];
        let mut line = encode(&page(), &mut out).unwrap().to_vec();
        let at = at % (line.len() - 1);
        line[at] ^= flip;
        for found in decode_all::<Reply>(&mut Decoder::new(), &line) {
            prop_assert!(!matches!(found, Found::Message(_)), "byte {} xor {}", at, flip);
        }
    }

    #[test]
    fn any_bytes_pass_without_harm(bytes in proptest::collection::vec(any::<u8>(), 0..4000)) {
        for found in decode_all::<Request>(&mut Decoder::new(), &bytes) {
            prop_assert!(!matches!(found, Found::Message(_)));
        }
    }
}
