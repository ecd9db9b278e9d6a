//! Slots (FORMAT.md §5): settings and site text that outlive a power cut.

use crate::check;
use crate::page::SECTOR_BYTES;
use crate::settings::{SETTINGS_BYTES_MAX, SITE_TEXT_MAX, Settings};
use heapless::Vec;

const MAGIC: &[u8; 8] = b"PWSLOT1\n";
const HEAD: usize = 20;
const CRC_BYTES: usize = 4;

/// Most bytes of a slot that are ever used.
pub const SLOT_BYTES_MAX: usize = HEAD + SETTINGS_BYTES_MAX + SITE_TEXT_MAX + CRC_BYTES;
const _: () = assert!(SLOT_BYTES_MAX <= SECTOR_BYTES);

/// Contents of a slot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Slot {
    /// Greater than that of the slot it replaces, by signed difference modulo 2³².
    pub number: u32,
    /// Settings in force.
    pub settings: Settings,
    /// Text of the site file.
    pub site_text: Vec<u8, SITE_TEXT_MAX>,
    /// Whether the logger was armed.
    pub armed: bool,
}

impl Slot {
    /// Writes the slot into `out`; gives the bytes used.
    pub fn encode<'a>(&self, out: &'a mut [u8; SLOT_BYTES_MAX]) -> &'a [u8] {
        let mut settings = [0; SETTINGS_BYTES_MAX];
        // Settings are bounded by their types to less than SETTINGS_BYTES_MAX (tested below).
        let settings: &[u8] = match postcard::to_slice(&self.settings, &mut settings) {
            Ok(bytes) => bytes,
            Err(_) => &[],
        };
        out[..HEAD].fill(0);
        out[0..8].copy_from_slice(MAGIC);
        out[8..12].copy_from_slice(&self.number.to_le_bytes());
        out[12..14].copy_from_slice(&(settings.len() as u16).to_le_bytes());
        out[14..16].copy_from_slice(&(self.site_text.len() as u16).to_le_bytes());
        out[16] = self.armed.into();
        let text = HEAD + settings.len();
        let end = text + self.site_text.len();
        out[HEAD..text].copy_from_slice(settings);
        out[text..end].copy_from_slice(&self.site_text);
        let crc = check::crc32(&out[..end]);
        out[end..end + CRC_BYTES].copy_from_slice(&crc.to_le_bytes());
        &out[..end + CRC_BYTES]
    }

    /// Reads a slot from the start of `bytes`; `None` when it does not pass its checks.
    pub fn decode(bytes: &[u8]) -> Option<Self> {
        let head: &[u8; HEAD] = bytes.first_chunk()?;
        if head[0..8] != *MAGIC || head[16] > 1 || head[17..] != [0; 3] {
            return None;
        }
        let settings = usize::from(u16::from_le_bytes([head[12], head[13]]));
        let text = usize::from(u16::from_le_bytes([head[14], head[15]]));
        if settings > SETTINGS_BYTES_MAX || text > SITE_TEXT_MAX {
            return None;
        }
        let end = HEAD + settings + text;
        let crc = bytes.get(end..end + CRC_BYTES)?;
        if check::crc32(&bytes[..end]).to_le_bytes() != *crc {
            return None;
        }
        let (settings_bytes, site_text) = bytes[HEAD..end].split_at(settings);
        let (settings, rest) = postcard::take_from_bytes::<Settings>(settings_bytes).ok()?;
        if !rest.is_empty() || settings.check().is_err() {
            return None;
        }
        Some(Self {
            number: u32::from_le_bytes([head[8], head[9], head[10], head[11]]),
            settings,
            site_text: Vec::from_slice(site_text).ok()?,
            armed: head[16] == 1,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::LAMPS;
    use heapless::String;

    fn fullest() -> Slot {
        let mut settings = Settings {
            rated_current_ma: 200_000,
            running_above_ma: 200_000,
            low_mbar: 900_000,
            high_mbar: 1_000_000,
            ..Settings::default()
        };
        while settings.site.push('x').is_ok() {}
        let mut label = String::new();
        while label.push('y').is_ok() {}
        for _ in 0..LAMPS {
            settings.lamps.push(label.clone()).unwrap();
        }
        let site_text = core::iter::repeat_n(b'z', SITE_TEXT_MAX).collect();
        Slot { number: 9, settings, site_text, armed: true }
    }

    #[test]
    fn the_fullest_slot_comes_back() {
        let mut out = [0; SLOT_BYTES_MAX];
        let bytes = fullest().encode(&mut out);
        assert_eq!(Slot::decode(bytes), Some(fullest()));
    }

    #[test]
    fn flipped_and_cut_slots_are_not_believed() {
        let slot = Slot { site_text: Vec::from_slice(b"[supply]").unwrap(), ..fullest() };
        let mut out = [0; SLOT_BYTES_MAX];
        let good: Vec<u8, SLOT_BYTES_MAX> = Vec::from_slice(slot.encode(&mut out)).unwrap();
        for bit in 0..good.len() * 8 {
            let mut bad = good.clone();
            bad[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(Slot::decode(&bad), None, "bit {bit}");
        }
        for cut in 0..good.len() {
            assert_eq!(Slot::decode(&good[..cut]), None, "cut at {cut}");
        }
        assert_eq!(Slot::decode(&[0xFF; SECTOR_BYTES]), None);
    }
}
