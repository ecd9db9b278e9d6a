//! What each page is worth: own checks, hash chain and seals taken together.

use super::layout::{Declared, Expected, Layout, Spot, home, index_of};
use super::reading::{OwnCheck, ReadSector, Reading, name_of, place_of};
use super::seals::Keys;
use super::{Checked, begins_the_chain};
use crate::outcome::{Kind, Link, Page, PageState, Part, Place, SealResult, Sector, Trouble};
use pumpwitness_protocol::hex::Hex;
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR};
use pumpwitness_recording::clock::utc_text;

/// What was found.
pub struct Judged {
    /// Page by page.
    pub sectors: Vec<Sector>,
    /// What speaks of damage, loss or forgery.
    pub troubles: Vec<Trouble>,
    /// What no damage follows from.
    pub remarks: Vec<String>,
}

struct Judge<'a> {
    read: &'a [ReadSector],
    layout: &'a Layout,
    checks: &'a [Checked],
    expected: Expected,
    /// State of a page that a right seal reaches.
    sealed: PageState,
    /// How each sector stands to the hash in the header of the next.
    links: Vec<Link>,
    /// A right seal names this very sector, and agrees.
    anchored: Vec<bool>,
    /// A right seal names this sector, and disagrees: when it was made, ms.
    contradicted: Vec<Option<i64>>,
    /// A right seal reaches it.
    proven: Vec<bool>,
    troubles: Vec<Trouble>,
    remarks: Vec<String>,
}

/// Judges everything.
pub fn judge(
    reading: &Reading,
    layout: &Layout,
    checks: &[Checked],
    keys: &Keys,
    expected: Expected,
) -> Judged {
    let read = &reading.sectors;
    let mut judge = Judge {
        read,
        layout,
        checks,
        expected,
        sealed: if keys.trusted.is_some() { PageState::Proven } else { PageState::Sealed },
        links: links(read),
        anchored: vec![false; read.len()],
        contradicted: vec![None; read.len()],
        proven: vec![false; read.len()],
        troubles: Vec::new(),
        remarks: Vec::new(),
    };
    judge.follow_seals();
    judge.seals_against_headers();
    let sectors = (0..read.len()).map(|n| judge.sector(n)).collect();
    judge.moved_pages();
    judge.missing_pages();
    Judged { sectors, troubles: judge.troubles, remarks: judge.remarks }
}

fn links(read: &[ReadSector]) -> Vec<Link> {
    read.iter()
        .enumerate()
        .map(|(n, sector)| {
            let next = read.get(n + 1).and_then(|next| next.header);
            match (sector.sha256, next) {
                (Some(hash), Some(next)) if hash == next.previous => Link::Yes,
                (Some(_), Some(_)) => Link::No,
                _ => Link::Unknown,
            }
        })
        .collect()
}

impl Judge<'_> {
    fn follow_seals(&mut self) {
        for (check, statement) in self.checks {
            let n = statement.sector.checked_sub(self.expected.first).map(|n| n as usize);
            let Some(n) = n.filter(|n| *n < self.read.len()) else { continue };
            match check.result {
                SealResult::Holds => self.anchored[n] = true,
                SealResult::Contradicted => self.contradicted[n] = Some(check.time_ms),
                _ => {}
            }
        }
        let mut reached = false;
        for n in (0..self.read.len()).rev() {
            reached = self.anchored[n] || (reached && self.links[n] == Link::Yes);
            self.proven[n] = reached;
        }
    }

    /// A seal also speaks of the header behind its sector, where the sector itself is not there to
    /// be compared.
    fn seals_against_headers(&mut self) {
        for (check, statement) in self.checks {
            if check.result != SealResult::OutOfReach {
                continue;
            }
            let next = i64::from(statement.sector) + 1 - i64::from(self.expected.first);
            let Some(next) = usize::try_from(next).ok().and_then(|n| self.read.get(n)) else {
                continue;
            };
            let Some(header) = next.header.filter(|header| !begins_the_chain(header)) else {
                continue;
            };
            // Behind a restart the sector before may have been torn, and read otherwise later.
            if header.previous != statement.chain && header.boot == statement.boot {
                let place = Place { bytes: 96, ..place_of(next.sequence, 0, next.pages[0].at) };
                self.troubles.push(Trouble {
                    kind: Kind::SectorAltered,
                    place,
                    text: format!(
                        "The header of sector {} names another predecessor than the seal of {}.",
                        next.sequence,
                        utc_text(check.time_ms)
                    ),
                });
            }
        }
    }

    fn sector(&mut self, n: usize) -> Sector {
        let sector = &self.read[n];
        let states = self.states(n);
        let pages = sector
            .pages
            .iter()
            .zip(states)
            .map(|(page, state)| Page {
                state,
                blank: page.own == OwnCheck::Blank,
                torn: matches!(page.own, OwnCheck::Torn(_) | OwnCheck::Damaged)
                    && state != PageState::Damaged,
            })
            .collect();
        Sector {
            sector: sector.sequence,
            sha256: sector.sha256.as_ref().map(|hash| Hex(hash).to_string()),
            next_agrees: self.links[n],
            pages,
        }
    }

    fn states(&mut self, n: usize) -> [PageState; PAGES_PER_SECTOR] {
        let sector = &self.read[n];
        let mut states = sector.pages.map(|page| match page.own {
            OwnCheck::Gone | OwnCheck::Removed | OwnCheck::CutOff => PageState::Missing,
            OwnCheck::Taken(_) => PageState::Misplaced,
            _ => PageState::Consistent,
        });
        if sector.foreign {
            self.of_another_device(n);
            return states.map(|state| match state {
                PageState::Consistent => PageState::Misplaced,
                other => other,
            });
        }
        if self.proven[n] {
            if self.links[n] == Link::No {
                self.header_behind_disagrees(n);
            }
            return [self.sealed; PAGES_PER_SECTOR];
        }
        let holds = self.links[n] == Link::Yes && self.contradicted[n].is_none();
        if holds {
            // What fails now failed when the logger closed the sector.
            return states;
        }
        let disagrees = self.links[n] == Link::No || self.contradicted[n].is_some();
        if disagrees && self.torn_by_power(n) {
            let number = sector.sequence;
            self.remarks.push(format!(
                "Sector {number} reads otherwise than when the next one was begun. Power failed \
                 while it was written, and memory cells half written can read differently later: \
                 whether somebody changed it cannot be told."
            ));
            return states.map(|state| match state {
                PageState::Consistent => PageState::Doubtful,
                other => other,
            });
        }
        let mut failed = false;
        for (page, state) in states.iter_mut().enumerate() {
            if let Some(trouble) = self.own_failure(n, page) {
                failed = true;
                *state = PageState::Damaged;
                self.troubles.push(trouble);
            }
        }
        if disagrees && !failed {
            self.altered(n);
            return [PageState::Altered; PAGES_PER_SECTOR];
        }
        states
    }

    /// True when the sector is the last of a start, and its last written page has a torn end.
    fn torn_by_power(&self, n: usize) -> bool {
        let sector = &self.read[n];
        let next = self.read.get(n + 1).and_then(|next| next.header);
        let (Some(header), Some(next)) = (sector.header, next) else { return false };
        let mut written = sector.pages.iter().filter(|page| page.own != OwnCheck::Blank);
        let last = written.next_back();
        header.boot != next.boot
            && last.is_some_and(|page| matches!(page.own, OwnCheck::Torn(_)))
            && written.all(|page| page.own == OwnCheck::Good)
    }

    /// The trouble of a page that fails its own checks.
    fn own_failure(&self, n: usize, page: usize) -> Option<Trouble> {
        let sector = &self.read[n];
        let read = sector.pages[page];
        let place = place_of(sector.sequence, page as u8, read.at);
        let name = format!("page {page} of sector {}", sector.sequence);
        let (kind, text) = match read.own {
            OwnCheck::OtherBoot => (
                Kind::FromElsewhere,
                format!(
                    "In the place of {name} is a page whose checks pass but that was written in \
                     a start of the logger that does not fit its sector: it was put there."
                ),
            ),
            OwnCheck::Damaged => (
                Kind::PageDamaged,
                format!("Nothing in {name} passes its checks: bits in it were changed."),
            ),
            OwnCheck::Torn(at) => (
                Kind::PageDamaged,
                format!("In {name} the checks fail from byte {at} on: bits there were changed."),
            ),
            _ if page == 0 && sector.header.is_none() && read.own.in_place() => (
                Kind::SectorHeaderDamaged,
                format!(
                    "The header of sector {} fails its check: bits in its first 96 bytes were \
                     changed.",
                    sector.sequence
                ),
            ),
            _ => return None,
        };
        Some(Trouble { kind, place, text })
    }

    fn altered(&mut self, n: usize) {
        let sector = &self.read[n];
        let number = sector.sequence;
        let next = number.wrapping_add(1);
        let text = match self.contradicted[n] {
            Some(time_ms) if self.links[n] == Link::Yes => format!(
                "Sector {number} was altered and the sectors behind it made to fit: it is not what \
                 the logger sealed at {}.",
                utc_text(time_ms)
            ),
            Some(time_ms) => format!(
                "Sector {number} was altered although its checks pass: it is not what the logger \
                 sealed at {}.",
                utc_text(time_ms)
            ),
            None if self.proven.get(n + 1).copied().unwrap_or(false) => format!(
                "Sector {number} was altered although its checks pass: its hash is not the one in \
                 the header of sector {next}, which is sealed."
            ),
            None => format!(
                "Sector {number}, or the header of sector {next}, was altered although the checks \
                 pass: the hash of the one is not what the other names."
            ),
        };
        self.troubles.push(Trouble { kind: Kind::SectorAltered, place: self.place(n), text });
    }

    /// A sealed sector, and a header behind it that names another hash.
    fn header_behind_disagrees(&mut self, n: usize) {
        let next = &self.read[n + 1];
        let restarted =
            self.read[n].header.zip(next.header).is_some_and(|(this, next)| this.boot != next.boot);
        if self.proven[n + 1] && restarted {
            self.remarks.push(format!(
                "Sector {} is as it was sealed, but the logger read it otherwise when it started \
                 again: power had failed while it was written.",
                self.read[n].sequence
            ));
            return;
        }
        self.troubles.push(Trouble {
            kind: Kind::SectorAltered,
            place: Place { bytes: 96, ..place_of(next.sequence, 0, next.pages[0].at) },
            text: format!(
                "The header of sector {} was altered although its check passes: it does not name \
                 the hash of sector {}, which is sealed.",
                next.sequence, self.read[n].sequence
            ),
        });
    }

    fn of_another_device(&mut self, n: usize) {
        let number = self.read[n].sequence;
        self.troubles.push(Trouble {
            kind: Kind::FromElsewhere,
            place: self.place(n),
            text: format!("Sector {number} was written by another logger: it was put there."),
        });
    }

    fn place(&self, n: usize) -> Place {
        let sector = &self.read[n];
        Place {
            page: None,
            bytes: (PAGES_PER_SECTOR * PAGE_BYTES) as u64,
            ..place_of(sector.sequence, 0, sector.pages[0].at)
        }
    }

    fn address(&self, index: u64) -> (u32, u8) {
        let pages = PAGES_PER_SECTOR as u64;
        (self.expected.first.wrapping_add((index / pages) as u32), (index % pages) as u8)
    }

    fn moved_pages(&mut self) {
        for (stray, declared) in self.layout.strays.iter().enumerate() {
            let trouble = self.stray(stray, declared);
            self.troubles.push(trouble);
        }
        for shift in &self.layout.shifts {
            let by = shift.by.unsigned_abs();
            let (sector, page) = self.address(shift.index);
            let at_end = shift.index as usize >= self.layout.spots.len();
            let place = Place {
                part: Part::Record,
                sector: Some(sector),
                page: Some(page),
                byte: shift.at as u64,
                bytes: 0,
            };
            let before = if at_end {
                "the end of the record".to_owned()
            } else {
                format!("page {page} of sector {sector}")
            };
            let (kind, place, text) = if shift.by < 0 {
                let which = &shift.removed;
                let (first_sector, first_page) =
                    if which.is_empty() { (sector, page) } else { self.address(which.start) };
                let gone = by / PAGE_BYTES as u64;
                let among = which.end - which.start;
                let pages = match (gone, among) {
                    (_, 0) => "part of a page".to_owned(),
                    (1, 1) => format!("page {first_page} of sector {first_sector}"),
                    _ => {
                        let (last_sector, last_page) = self.address(which.end - 1);
                        let count = if gone >= among {
                            format!("the {among} pages")
                        } else {
                            format!("{gone} of the {among} pages")
                        };
                        format!(
                            "{count} from page {first_page} of sector {first_sector} to page \
                             {last_page} of sector {last_sector}"
                        )
                    }
                };
                (
                    Kind::PageRemoved,
                    Place { sector: Some(first_sector), page: Some(first_page), ..place },
                    format!("{by} bytes were taken out before {before}: {pages}."),
                )
            } else if shift.repeats {
                (
                    Kind::PageRepeated,
                    Place { bytes: by, ..place },
                    format!("{by} bytes were put in before {before}: pages of this record again."),
                )
            } else {
                (
                    Kind::BytesAdded,
                    Place { bytes: by, ..place },
                    format!("{by} bytes that belong to nothing were put in before {before}."),
                )
            };
            self.troubles.push(Trouble { kind, place, text });
        }
    }

    fn stray(&self, stray: usize, declared: &Declared) -> Trouble {
        let name = name_of(declared);
        let here = self
            .layout
            .spots
            .iter()
            .position(|spot| matches!(spot, Spot::Taken(taken) if *taken == stray));
        let index = index_of(declared, self.expected.first);
        let home_spot =
            usize::try_from(index).ok().and_then(|index| self.layout.spots.get(index)).copied();
        let device = self.read.iter().find_map(|sector| sector.header).map(|header| header.device);
        let elsewhere = declared.device.is_some() && device.is_some() && declared.device != device;
        let Some(here) = here else {
            // Not where a page could stand: in bytes that were put in.
            let nearest = (declared.at as i64 - home(0)) / PAGE_BYTES as i64;
            let (sector, page) = self.address(nearest.max(0) as u64);
            return Trouble {
                kind: if elsewhere { Kind::FromElsewhere } else { Kind::PageRepeated },
                place: place_of(sector, page, declared.at),
                text: format!(
                    "At byte {} stands {name}{}, where no page belongs.",
                    declared.at,
                    if elsewhere { " of another logger" } else { "" }
                ),
            };
        };
        let (sector, page) = self.address(here as u64);
        let place = place_of(sector, page, declared.at);
        let there = format!("In the place of page {page} of sector {sector} stands {name}");
        let (kind, text) = match home_spot {
            _ if elsewhere => (Kind::FromElsewhere, format!("{there} of another logger.")),
            None => (Kind::FromElsewhere, format!("{there}, which is none of this record.")),
            Some(Spot::Taken(other))
                if index_of(&self.layout.strays[other], self.expected.first) == here as i64 =>
            {
                (Kind::PageSwapped, format!("{there}: the two were swapped."))
            }
            Some(Spot::At(_)) => (
                Kind::PageRepeated,
                format!("{there}, which is in its own place too: it is repeated."),
            ),
            Some(_) => (Kind::PageMisplaced, format!("{there}: it was moved.")),
        };
        Trouble { kind, place, text }
    }

    /// Runs of pages that the file gives as no longer held by the logger.
    fn missing_pages(&mut self) {
        let gone: Vec<u64> = self
            .read
            .iter()
            .flat_map(|sector| &sector.pages)
            .zip(0_u64..)
            .filter_map(|(page, index)| (page.own == OwnCheck::Gone).then_some(index))
            .collect();
        for run in gone.chunk_by(|a, b| a + 1 == *b) {
            let (sector, page) = self.address(run[0]);
            let (last_sector, last_page) = self.address(run[run.len() - 1]);
            let which = if run.len() == 1 {
                format!("Page {page} of sector {sector} is missing")
            } else {
                format!(
                    "{} pages are missing, from page {page} of sector {sector} to page {last_page} \
                     of sector {last_sector}",
                    run.len()
                )
            };
            let n = (run[0] / PAGES_PER_SECTOR as u64) as usize;
            let at = self.read[n].pages[usize::from(page)].at;
            self.troubles.push(Trouble {
                kind: Kind::PageMissing,
                place: Place {
                    bytes: run.len() as u64 * PAGE_BYTES as u64,
                    ..place_of(sector, page, at)
                },
                text: format!(
                    "{which}: the file gives zeros, as for pages that the logger had overwritten \
                     before they could be read. Whether it did, or somebody blanked them, cannot be \
                     told."
                ),
            });
        }
    }
}
