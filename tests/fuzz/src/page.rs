//! Pages: any bytes, any payload behind a good check, and records written and read back.

use crate::{page_of_payload, record, time_ms};
use arbitrary::{Result, Unstructured};
use pumpwitness_protocol::codec::{EncodeError, RECORD_BITS_MIN};
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{PAGE_BYTES, PageState, PageWriter, read_page};

fn work(u: &mut Unstructured<'_>) -> Result<()> {
    let address = PageAddress { sector: u.arbitrary()?, page: u.int_in_range(0..=3)? };
    let align = *u.choose(&[1, 2, 4, 8, 16])?;
    match u.int_in_range(0..=2)? {
        0 => {
            let mut bytes = [0xFF; PAGE_BYTES];
            let given = u.bytes(u.len().min(PAGE_BYTES))?;
            bytes[..given.len()].copy_from_slice(given);
            read_page(&bytes, address, align, |_| {});
        }
        1 => {
            let payload = u.bytes(u.len())?;
            let bytes = page_of_payload(address, payload);
            let mut count = 0;
            let state = read_page(&bytes, address, 1, |_| count += 1);
            assert!(count * RECORD_BITS_MIN <= 8 * payload.len(), "records out of nothing");
            assert!(!matches!(state, PageState::Damaged | PageState::Blank));
        }
        _ => {
            let base_ms = time_ms(u)?;
            let mut writer = PageWriter::new(address, align, u.arbitrary()?, base_ms);
            let mut flash = [0xFF; PAGE_BYTES];
            let mut written = Vec::new();
            while !u.is_empty() {
                if u.ratio(1, 6)? {
                    program(&mut flash, &mut writer, align);
                    continue;
                }
                let record = record(u)?;
                match writer.push(&record) {
                    Ok(()) => written.push(record),
                    Err(EncodeError::NoRoom) => {
                        assert!(!written.is_empty(), "{record:?} does not fit an empty page");
                        break;
                    }
                    Err(error) => panic!("{error}"),
                }
            }
            program(&mut flash, &mut writer, align);
            let mut read = Vec::new();
            let state = read_page(&flash, address, align, |record| read.push(record));
            assert_eq!(read, written);
            if address.page == 0 {
                // The sector header is not the page's.
                assert!(flash[..96].iter().all(|byte| *byte == 0xFF));
            }
            assert!(written.is_empty() || matches!(state, PageState::Good { .. }), "{state:?}");
        }
    }
    Ok(())
}

/// As the journal does; a byte is programmed once.
fn program(flash: &mut [u8; PAGE_BYTES], writer: &mut PageWriter, align: usize) {
    let Some(range) = writer.close_chunk() else { return };
    assert!(range.start % align == 0 && range.len() % align == 0, "{range:?} for {align}");
    assert!(flash[range.clone()].iter().all(|byte| *byte == 0xFF), "{range:?} programmed twice");
    flash[range.clone()].copy_from_slice(&writer.bytes()[range]);
}

/// Runs the target on one input.
pub fn run(bytes: &[u8]) {
    let _ = work(&mut Unstructured::new(bytes));
}
