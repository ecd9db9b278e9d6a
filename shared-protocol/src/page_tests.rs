use super::*;
use crate::record::{
    BootReason, CAPTURE_BLOCK_POINTS, CaptureBlock, CapturePoint, Interval, Mark, Spread,
    TimedMark, Trigger,
};
use proptest::prelude::*;
use std::vec;
use std::vec::Vec;

extern crate std;

const ADDRESS: PageAddress = PageAddress { sector: 77, page: 0 };

fn sample(n: i64) -> Record {
    if n % 13 == 5 {
        return Record::Mark(TimedMark {
            time_ms: n * 200,
            mark: Mark::Boot { boot: n as u16, reason: BootReason::Watchdog, firmware: [1, 2, 3] },
        });
    }
    let mean = 2300 + (n * 7919 % 11) as i32;
    Record::Interval(Interval {
        end_ms: n * 200,
        span_ms: 200,
        count: 1,
        voltage_dv: Spread { mean, min: mean - 3, max: mean + 2 },
        frequency_chz: 5000,
        ..Interval::default()
    })
}

/// Fills a page, closing a chunk after each `every` records; gives its records.
fn fill(address: PageAddress, align: usize, every: usize) -> ([u8; PAGE_BYTES], Vec<Record>) {
    let mut writer = PageWriter::new(address, align, 4, 0);
    let mut flash = [0xFF; PAGE_BYTES];
    let mut kept = Vec::new();
    for n in 1.. {
        let record = sample(n);
        if writer.push(&record).is_err() {
            break;
        }
        kept.push(record);
        if kept.len() % every == 0 {
            program(&mut flash, &mut writer, align);
        }
    }
    program(&mut flash, &mut writer, align);
    flash[..area_start(address.page)].fill(0);
    (flash, kept)
}

/// Programs as flash does: bits are only cleared, on aligned addresses.
fn program(flash: &mut [u8; PAGE_BYTES], writer: &mut PageWriter, align: usize) {
    while let Some(range) = writer.close_chunk() {
        assert_eq!((range.start % align, range.end % align), (0, 0));
        for at in range {
            assert_eq!(flash[at], 0xFF, "byte {at} programmed twice");
            flash[at] &= writer.bytes()[at];
        }
    }
}

fn read(bytes: &[u8; PAGE_BYTES], address: PageAddress, align: usize) -> (PageState, Vec<Record>) {
    let mut records = Vec::new();
    let state = read_page(bytes, address, align, |record| records.push(record));
    (state, records)
}

#[test]
fn pages_come_back_for_every_alignment_and_chunk_size() {
    for page in [0, 1, 3] {
        for align in [1, 2, 4, 8, 16] {
            for every in [1, 3, 50, 1000] {
                let address = PageAddress { sector: 77, page };
                let (bytes, kept) = fill(address, align, every);
                let (state, records) = read(&bytes, address, align);
                assert!(
                    matches!(state, PageState::Good { .. }),
                    "{page} {align} {every} {state:?}"
                );
                assert!(records == kept && kept.len() > 10);
            }
        }
    }
}

#[test]
fn a_blank_page_is_blank() {
    assert_eq!(read(&[0xFF; PAGE_BYTES], ADDRESS, 1), (PageState::Blank, Vec::new()));
}

#[test]
fn a_page_of_another_place_is_not_believed() {
    let (bytes, _) = fill(PageAddress { sector: 77, page: 1 }, 1, 10);
    for address in [PageAddress { sector: 78, page: 1 }, PageAddress { sector: 77, page: 2 }] {
        assert_eq!(read(&bytes, address, 1), (PageState::Damaged, Vec::new()));
    }
}

/// Every single flipped bit of the page area is noticed, and what is still handed out is a prefix
/// of what was written.
#[test]
fn any_flipped_bit_is_noticed() {
    let (good, kept) = fill(ADDRESS, 1, 7);
    for bit in area_start(0) * 8..PAGE_BYTES * 8 {
        let mut bad = good;
        bad[bit / 8] ^= 1 << (bit % 8);
        let (state, records) = read(&bad, ADDRESS, 1);
        assert!(!matches!(state, PageState::Good { .. } | PageState::Blank), "bit {bit}");
        assert!(kept.starts_with(&records), "bit {bit}");
    }
}

#[test]
fn a_half_written_tail_loses_only_itself() {
    let (good, kept) = fill(ADDRESS, 1, 7);
    for cut in area_start(0)..PAGE_BYTES {
        let mut torn = good;
        torn[cut..].fill(0xFF);
        let (_, records) = read(&torn, ADDRESS, 1);
        assert!(kept.starts_with(&records), "cut at {cut}");
    }
}

/// Two bytes of length, from 240 bytes of payload on, and one below.
#[test]
fn both_forms_of_a_length_are_read() {
    for page in [0, 1] {
        let address = PageAddress { sector: 77, page };
        let mut writer = PageWriter::new(address, 1, 4, 0);
        let wild = |n: u16| {
            let far = |n: usize| if n.is_multiple_of(2) { i32::MAX / 2 } else { i32::MIN / 2 };
            Record::Capture(CaptureBlock {
                capture: 1,
                first_index: 32 * n,
                start_ms: 51_000,
                step_us: 10_000,
                trigger: Trigger::Start,
                points: (0..CAPTURE_BLOCK_POINTS / 2)
                    .map(|n| CapturePoint {
                        voltage_dv: far(n),
                        current_ca: far(n),
                        power_w: far(n),
                    })
                    .collect(),
            })
        };
        let mut records = vec![sample(1), wild(1), sample(2)];
        let mut flash = [0xFF; PAGE_BYTES];
        writer.push(&records[0]).unwrap();
        writer.push(&records[1]).unwrap();
        program(&mut flash, &mut writer, 1);
        assert!(matches!(flash[area_start(page) + HEADER_BYTES], 0xF0..=0xF3));
        assert_eq!(writer.close_chunk(), None);
        writer.push(&records[2]).unwrap();
        assert!(writer.pending());
        program(&mut flash, &mut writer, 1);
        assert!(!writer.pending());
        // To the brim; the record that did not fit leaves nothing.
        for n in 2.. {
            if writer.push(&wild(n)) == Err(EncodeError::NoRoom) {
                break;
            }
            records.push(wild(n));
        }
        program(&mut flash, &mut writer, 1);
        flash[..area_start(page)].fill(0);
        let (state, found) = read(&flash, address, 1);
        assert!(matches!(state, PageState::Good { .. }), "{state:?}");
        assert!(found == records);
    }
}

#[test]
fn a_length_has_one_form() {
    assert_eq!(length_at(&[1]), Some((1, 1)));
    assert_eq!(length_at(&[239, 9]), Some((239, 1)));
    assert_eq!(length_at(&[0xF0, 240]), Some((240, 2)));
    assert_eq!(length_at(&[0xF3, 0xFF]), Some((1023, 2)));
    for bad in [&[][..], &[0], &[0xF0], &[0xF0, 239], &[0xF4, 0], &[0xFE, 0xFF]] {
        assert_eq!(length_at(bad), None, "{bad:?}");
    }
}

proptest! {
    #[test]
    fn any_bytes_read_without_harm(bytes in proptest::collection::vec(any::<u8>(), PAGE_BYTES),
                                   page in 0u8..4, align in 0usize..40) {
        let bytes: [u8; PAGE_BYTES] = bytes.try_into().unwrap();
        let (state, _) = read(&bytes, PageAddress { sector: 1, page }, align);
        prop_assert_eq!(state, PageState::Damaged);
    }
}
