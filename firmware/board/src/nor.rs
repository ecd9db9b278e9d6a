//! Serial NOR flash of the 25 series: how large a chip says it is, and how its commands look.
//!
//! A chip is asked twice. Its own description of itself (SFDP, JEDEC JESD216) counts where it has
//! one; else the third byte of its identification (9Fh), with nearly all makers the power of two of
//! its bytes. Opcodes and layouts are from memory, the same in every data sheet of the family.

/// Write enable; before each program and erase.
pub const WRITE_ENABLE: u8 = 0x06;
/// Read the status, whose bit 0 is [`BUSY`].
pub const READ_STATUS: u8 = 0x05;
/// A program or erase is under way.
pub const BUSY: u8 = 1;
/// Read the identification: maker, kind, size.
pub const READ_ID: [u8; 1] = [0x9F];
/// Read the number its maker gave the chip, 8 bytes behind four empty ones.
pub const READ_UNIQUE: [u8; 5] = [0x4B, 0, 0, 0, 0];
/// Wake from deep sleep.
pub const WAKE: u8 = 0xAB;
/// Bytes programmed at once at most; programming wraps round inside this unit.
pub const PROGRAM_BYTES: usize = 256;
/// Bytes erased at once.
pub const SECTOR_BYTES: usize = 4096;

/// What is asked of a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Command {
    /// Read from there on.
    Read,
    /// Program from there on.
    Program,
    /// Erase the sector that begins there.
    Erase,
}

/// A command as it goes over the bus, before the data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    bytes: [u8; 5],
    length: usize,
}

impl Head {
    /// Its bytes.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes[..self.length]
    }
}

/// A chip that can hold the journal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chip {
    capacity_log2: u8,
}

/// A chip that cannot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Unfit {
    /// Nothing answers, or its size cannot be told.
    #[error("no flash answers, or none whose size can be told (identification {0:02X?})")]
    Unknown([u8; 3]),
    /// Too small or too large.
    #[error("the flash must have 4, 8, 16 or 32 MiB, not 2^{0} bits")]
    Size(u8),
    /// It cannot erase 4 KiB by opcode 20h.
    #[error("the flash cannot erase 4 KiB by opcode 20h")]
    Erase,
}

impl Chip {
    /// Smallest and largest capacity, as powers of two of bytes: 4 and 32 MiB.
    pub const LOG2_MIN: u8 = 22;
    /// See [`Self::LOG2_MIN`].
    pub const LOG2_MAX: u8 = 25;

    /// The chip that gives this identification, where it does not describe itself.
    pub fn of_id(id: [u8; 3]) -> Result<Self, Unfit> {
        // A line that floats or is stuck reads one value for ever.
        if id == [id[0]; 3] {
            return Err(Unfit::Unknown(id));
        }
        match id[2] {
            log2 @ Self::LOG2_MIN..=Self::LOG2_MAX => Ok(Self { capacity_log2: log2 }),
            // From 64 KiB to 1 GiB: a size, but none of ours.
            log2 @ 16..=30 => Err(Unfit::Size(log2 + 3)),
            _ => Err(Unfit::Unknown(id)),
        }
    }

    /// The chip that describes itself by these first two words of its basic table.
    pub fn of_table(table: BasicTable) -> Result<Self, Unfit> {
        let [first, density] = table.words;
        // Bits 1:0: 01 when 4 KiB can be erased; bits 15:8 by which opcode.
        if first & 3 != 1 || (first >> 8) as u8 != 0x20 {
            return Err(Unfit::Erase);
        }
        // Bit 31: the others are the power of two of the bits; else the bits less one.
        let log2_bits = if density >> 31 == 1 {
            density & 0x7FFF_FFFF
        } else {
            match density.checked_add(1) {
                Some(bits) if bits.is_power_of_two() => bits.trailing_zeros(),
                _ => 0,
            }
        };
        match u8::try_from(log2_bits).unwrap_or(u8::MAX) {
            log2 if (Self::LOG2_MIN + 3..=Self::LOG2_MAX + 3).contains(&log2) => {
                Ok(Self { capacity_log2: log2 - 3 })
            }
            log2 => Err(Unfit::Size(log2)),
        }
    }

    /// Bytes it holds.
    pub fn capacity(self) -> usize {
        1 << self.capacity_log2
    }

    /// The command for a place, with a three-byte address up to 16 MiB and, above, by the opcodes
    /// that always take four, whatever mode the chip is in.
    pub fn head(self, command: Command, address: u32) -> Head {
        let [a, b, c, d] = address.to_be_bytes();
        if self.capacity_log2 <= 24 {
            let opcode = match command {
                Command::Read => 0x03,
                Command::Program => 0x02,
                Command::Erase => 0x20,
            };
            Head { bytes: [opcode, b, c, d, 0], length: 4 }
        } else {
            let opcode = match command {
                Command::Read => 0x13,
                Command::Program => 0x12,
                Command::Erase => 0x21,
            };
            Head { bytes: [opcode, a, b, c, d], length: 5 }
        }
    }
}

/// Reads 16 bytes of the chip's description: header, and where the basic table is. One empty byte
/// follows the address.
pub const READ_DESCRIPTION: [u8; 5] = read_description(0);

const fn read_description(address: u32) -> [u8; 5] {
    let [_, a, b, c] = address.to_be_bytes();
    [0x5A, a, b, c, 0]
}

/// Command that reads the first 8 bytes of the basic table; none when `header` is no description,
/// or one of a form that is not known.
pub fn read_table(header: &[u8; 16]) -> Option<[u8; 5]> {
    let [b'S', b'F', b'D', b'P', _minor, major, _count, _protocol, table @ ..] = header else {
        return None;
    };
    // Least significant and most significant byte of the basic table's name: FF00h.
    let [0x00, _, table_major, words, a, b, c, 0xFF] = *table else { return None };
    (*major == 1 && table_major == 1 && words >= 2)
        .then(|| read_description(u32::from_le_bytes([a, b, c, 0])))
}

/// First two words of the basic table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BasicTable {
    words: [u32; 2],
}

impl BasicTable {
    /// From its bytes.
    pub fn of(bytes: [u8; 8]) -> Self {
        let both = u64::from_le_bytes(bytes);
        Self { words: [both as u32, (both >> 32) as u32] }
    }
}

/// A number that no maker wrote: all bytes alike, as of a chip without one.
pub fn is_no_number(number: [u8; 8]) -> bool {
    number == [number[0]; 8]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// JESD216, 6.4.4 (from memory): 4 KiB erasable by 20h, three-byte addresses, and a density
    /// given as bits less one.
    fn table(first: u32, density: u32) -> Result<Chip, Unfit> {
        let mut bytes = [0; 8];
        bytes[..4].copy_from_slice(&first.to_le_bytes());
        bytes[4..].copy_from_slice(&density.to_le_bytes());
        Chip::of_table(BasicTable::of(bytes))
    }

    const ERASES_4K: u32 = 0xFFF1_20E5;

    #[test]
    fn sizes_by_identification() {
        for (log2, mib) in [(22, 4), (23, 8), (24, 16), (25, 32)] {
            assert_eq!(Chip::of_id([0xAA, 0x40, log2]).unwrap().capacity(), mib << 20);
        }
        assert_eq!(Chip::of_id([0xAA, 0x40, 21]), Err(Unfit::Size(24)));
        assert_eq!(Chip::of_id([0xAA, 0x40, 26]), Err(Unfit::Size(29)));
        for id in [[0xFF; 3], [0; 3], [24; 3], [0xAA, 0x40, 0x55]] {
            assert_eq!(Chip::of_id(id), Err(Unfit::Unknown(id)));
        }
    }

    #[test]
    fn sizes_by_description() {
        for (log2, mib) in [(22, 4), (23, 8), (24, 16), (25, 32)] {
            let bits = 1_u32 << (log2 + 3);
            assert_eq!(table(ERASES_4K, bits - 1).unwrap().capacity(), mib << 20);
            // The other form, meant for 4 Gbit and more.
            assert_eq!(table(ERASES_4K, 1 << 31 | (log2 + 3)).unwrap().capacity(), mib << 20);
        }
        assert_eq!(table(ERASES_4K, (1 << 24) - 1), Err(Unfit::Size(24)));
        assert_eq!(table(ERASES_4K, 12_345), Err(Unfit::Size(0)));
        assert_eq!(table(ERASES_4K, u32::MAX), Err(Unfit::Size(255)));
        assert_eq!(table(ERASES_4K & !1 | 3, (1 << 27) - 1), Err(Unfit::Erase));
        assert_eq!(table(ERASES_4K & !0x2000 | 0xD700, (1 << 27) - 1), Err(Unfit::Erase));
    }

    #[test]
    fn the_basic_table_is_found() {
        let header = *b"SFDP\x06\x01\x02\xFF\x00\x06\x01\x10\x80\x00\x00\xFF";
        assert_eq!(read_table(&header), Some([0x5A, 0x00, 0x00, 0x80, 0x00]));
        assert_eq!(read_table(&[0xFF; 16]), None);
        assert_eq!(read_table(&[0; 16]), None);
        let mut other_major = header;
        other_major[5] = 2;
        assert_eq!(read_table(&other_major), None);
    }

    #[test]
    fn addresses_take_three_bytes_up_to_16_mib_and_four_above() {
        let chip = |log2| Chip::of_id([0xAA, 0x40, log2]).unwrap();
        let head = |log2, command| chip(log2).head(command, 0x00AB_CDEF);
        for log2 in 22..=24 {
            assert_eq!(head(log2, Command::Read).bytes(), [0x03, 0xAB, 0xCD, 0xEF]);
            assert_eq!(head(log2, Command::Program).bytes(), [0x02, 0xAB, 0xCD, 0xEF]);
            assert_eq!(head(log2, Command::Erase).bytes(), [0x20, 0xAB, 0xCD, 0xEF]);
        }
        let head = |command| chip(25).head(command, 0x01AB_C000);
        assert_eq!(head(Command::Read).bytes(), [0x13, 0x01, 0xAB, 0xC0, 0x00]);
        assert_eq!(head(Command::Program).bytes(), [0x12, 0x01, 0xAB, 0xC0, 0x00]);
        assert_eq!(head(Command::Erase).bytes(), [0x21, 0x01, 0xAB, 0xC0, 0x00]);
    }

    #[test]
    fn a_number_of_one_byte_is_none() {
        assert!(is_no_number([0xFF; 8]) && is_no_number([0; 8]));
        assert!(!is_no_number(*b"PW\x01\x02\x03\x04\x05\x06"));
    }

    proptest! {
        /// Whatever a chip, or a loose wire, answers: the capacity is one the journal can use.
        #[test]
        fn any_answer_is_a_size_or_a_refusal(
            id in any::<[u8; 3]>(), words in any::<[u8; 8]>(), header in any::<[u8; 16]>(),
        ) {
            let sizes = [4 << 20, 8 << 20, 16 << 20, 32 << 20];
            if let Ok(chip) = Chip::of_id(id) {
                prop_assert!(sizes.contains(&chip.capacity()));
            }
            if let Ok(chip) = Chip::of_table(BasicTable::of(words)) {
                prop_assert!(sizes.contains(&chip.capacity()));
            }
            read_table(&header);
        }
    }
}
