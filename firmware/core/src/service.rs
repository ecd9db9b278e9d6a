//! The logger's side of the link as a pure state machine: a decoded request and a view of the logger
//! in, a reply or an errand for the caller out. Nothing here touches flash, clock or line, and no
//! request can make it panic or grow.

use heapless::Vec;
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::message::{
    Identity, Live, PROTOCOL_VERSION, PageAddress, Refusal, ReplyBody, RequestBody, SITE_PART_MAX,
    Status, WINDOW_PAGES_MAX,
};
use pumpwitness_protocol::page::PAGES_PER_SECTOR;
use pumpwitness_protocol::settings::{SITE_TEXT_MAX, Settings};

/// Times a clock may be set to, ms since 1970: 2024-01-01 to 2100-01-01. Earlier and later ones are
/// slips of the host's own clock.
const CLOCK_FROM_MS: i64 = 1_704_067_200_000;
const CLOCK_TO_MS: i64 = 4_102_444_800_000;

/// What the caller has to do before it answers.
#[derive(Clone, Debug, PartialEq, Eq)]
#[allow(clippy::large_enum_variant)] // one at a time
pub enum Outcome {
    /// Send this.
    Reply(ReplyBody),
    /// Set the clock to this many ms since 1970; then [`ReplyBody::Done`].
    SetClock(i64),
    /// Put these settings, which passed their check, in force; then [`ReplyBody::Done`].
    PutSettings(Settings),
    /// Make settings and site text durable and mark that recording counts from here; then
    /// [`ReplyBody::Done`].
    Arm,
    /// Close the open sector; then [`ReplyBody::Snapshot`].
    Snapshot,
    /// Send `count` pages from `first` on, then [`ReplyBody::PagesEnd`].
    Pages {
        /// The first.
        first: PageAddress,
        /// How many, 1 to [`WINDOW_PAGES_MAX`].
        count: u16,
    },
    /// Sectors up to this one may be reused; then [`ReplyBody::Done`].
    Release(u32),
    /// Keep this calibration, which passed its check, and put it in force; then
    /// [`ReplyBody::Done`].
    PutCalibration(Calibration),
    /// Seal all closed sectors; then [`ReplyBody::Seal`].
    Seal,
}

/// What the service looks at.
#[derive(Clone, Debug)]
pub struct View<'a> {
    /// Identity with the clock of this moment.
    pub identity: &'a Identity,
    /// State of the memory.
    pub status: Status,
    /// Latest readings.
    pub live: Live,
    /// Settings in force.
    pub settings: &'a Settings,
    /// Calibration in force.
    pub calibration: &'a Calibration,
    /// Newest sector that nothing is written to any more, if there is one.
    pub closed_up_to: Option<u32>,
}

/// The service. It keeps the site file's text, whole, and the one being received.
#[derive(Clone, Debug, Default)]
pub struct Service {
    site_text: Vec<u8, SITE_TEXT_MAX>,
    incoming: Vec<u8, SITE_TEXT_MAX>,
    incoming_total: u16,
}

impl Service {
    /// A service with the site text kept from before.
    pub fn new(site_text: Vec<u8, SITE_TEXT_MAX>) -> Self {
        Self { site_text, incoming: Vec::new(), incoming_total: 0 }
    }

    /// Text of the site file, as last received whole.
    pub fn site_text(&self) -> &Vec<u8, SITE_TEXT_MAX> {
        &self.site_text
    }

    /// What to do about a request.
    pub fn answer(&mut self, body: &RequestBody, view: &View<'_>) -> Outcome {
        match body {
            RequestBody::Hello { protocol: PROTOCOL_VERSION } => {
                Outcome::Reply(ReplyBody::Hello(view.identity.clone()))
            }
            RequestBody::Hello { .. } => refused(Refusal::Version(PROTOCOL_VERSION)),
            RequestBody::Status => Outcome::Reply(ReplyBody::Status(view.status)),
            RequestBody::Live => Outcome::Reply(ReplyBody::Live(view.live)),
            RequestBody::SetClock { unix_ms } => {
                if (CLOCK_FROM_MS..CLOCK_TO_MS).contains(unix_ms) {
                    Outcome::SetClock(*unix_ms)
                } else {
                    refused(Refusal::Clock)
                }
            }
            RequestBody::GetSettings => Outcome::Reply(ReplyBody::Settings(view.settings.clone())),
            RequestBody::PutSettings(settings) => match settings.check() {
                Ok(()) => Outcome::PutSettings(settings.clone()),
                Err(_) => refused(Refusal::Settings),
            },
            RequestBody::GetSite { offset } => Outcome::Reply(self.site_part(*offset)),
            RequestBody::PutSite { offset, total, bytes } => {
                if self.take_site_part(usize::from(*offset), *total, bytes) {
                    Outcome::Reply(ReplyBody::Done)
                } else {
                    refused(Refusal::SiteText)
                }
            }
            RequestBody::Arm => Outcome::Arm,
            RequestBody::Snapshot => Outcome::Snapshot,
            RequestBody::ReadPages { first, count } => {
                let possible = (1..=WINDOW_PAGES_MAX).contains(count)
                    && usize::from(first.page) < PAGES_PER_SECTOR;
                if possible {
                    Outcome::Pages { first: *first, count: *count }
                } else {
                    refused(Refusal::Range)
                }
            }
            RequestBody::GetCalibration => {
                Outcome::Reply(ReplyBody::Calibration(view.calibration.clone()))
            }
            RequestBody::PutCalibration(calibration) => match calibration.check() {
                Ok(()) => Outcome::PutCalibration(calibration.clone()),
                Err(_) => refused(Refusal::Calibration),
            },
            RequestBody::GetSeal => Outcome::Seal,
            RequestBody::Release { up_to_sector } => {
                // A sector still written to is nobody's to release.
                if view.closed_up_to.is_some_and(|closed| *up_to_sector <= closed) {
                    Outcome::Release(*up_to_sector)
                } else {
                    refused(Refusal::Range)
                }
            }
        }
    }

    fn site_part(&self, offset: u16) -> ReplyBody {
        let Some(rest) = self.site_text.get(usize::from(offset)..) else {
            return ReplyBody::Refused(Refusal::Range);
        };
        let part = &rest[..rest.len().min(SITE_PART_MAX)];
        let bytes = Vec::from_slice(part).unwrap_or_default();
        ReplyBody::Site { offset, total: self.site_text.len() as u16, bytes }
    }

    /// Takes a part of a new site text; true when it was in order. A part that was taken before may
    /// be sent again, for its answer may have been lost.
    fn take_site_part(&mut self, offset: usize, total: u16, bytes: &[u8]) -> bool {
        let end = offset + bytes.len();
        if usize::from(total) > SITE_TEXT_MAX || end > total.into() {
            return false;
        }
        if offset == 0 {
            self.incoming.clear();
            self.incoming_total = total;
        }
        if total != self.incoming_total {
            return false;
        }
        if self.incoming.get(offset..end) == Some(bytes) && !bytes.is_empty() {
            return true;
        }
        if offset != self.incoming.len() || self.incoming.extend_from_slice(bytes).is_err() {
            return false;
        }
        if self.incoming.len() == usize::from(total) {
            if core::str::from_utf8(&self.incoming).is_err() {
                self.incoming.clear();
                return false;
            }
            self.site_text.clone_from(&self.incoming);
        }
        true
    }
}

fn refused(refusal: Refusal) -> Outcome {
    Outcome::Reply(ReplyBody::Refused(refusal))
}

/// The page after this one; `None` behind the last that can be named.
pub(crate) fn next_page(address: PageAddress) -> Option<PageAddress> {
    if usize::from(address.page) + 1 < PAGES_PER_SECTOR {
        return Some(PageAddress { page: address.page + 1, ..address });
    }
    Some(PageAddress { sector: address.sector.checked_add(1)?, page: 0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use pumpwitness_protocol::message::Request;

    fn identity() -> Identity {
        Identity {
            protocol: PROTOCOL_VERSION,
            device: *b"device01",
            firmware: [0, 1, 0],
            boot: 1,
            clock_ms: 1_780_000_000_000,
            clock_good: true,
        }
    }

    fn ask(service: &mut Service, body: &RequestBody) -> Outcome {
        let (identity, settings) = (identity(), Settings::default());
        let calibration = Calibration::default();
        let view = View {
            identity: &identity,
            status: Status::default(),
            live: Live::default(),
            settings: &settings,
            calibration: &calibration,
            closed_up_to: Some(8),
        };
        service.answer(body, &view)
    }

    fn refusal(service: &mut Service, body: &RequestBody) -> Option<Refusal> {
        match ask(service, body) {
            Outcome::Reply(ReplyBody::Refused(refusal)) => Some(refusal),
            _ => None,
        }
    }

    fn put(service: &mut Service, offset: u16, total: u16, bytes: &[u8]) -> Option<Refusal> {
        let bytes = Vec::from_slice(bytes).unwrap();
        refusal(service, &RequestBody::PutSite { offset, total, bytes })
    }

    #[test]
    fn another_protocol_is_refused_with_our_own_number() {
        let mut service = Service::default();
        let hello = RequestBody::Hello { protocol: PROTOCOL_VERSION + 1 };
        assert_eq!(refusal(&mut service, &hello), Some(Refusal::Version(PROTOCOL_VERSION)));
        let hello = RequestBody::Hello { protocol: PROTOCOL_VERSION };
        assert_eq!(ask(&mut service, &hello), Outcome::Reply(ReplyBody::Hello(identity())));
    }

    #[test]
    fn impossible_requests_are_refused() {
        let mut service = Service::default();
        let bad = Settings { nominal_hz: 55, ..Settings::default() };
        let address = |page| PageAddress { sector: 4, page };
        for (body, expected) in [
            (RequestBody::PutSettings(bad), Refusal::Settings),
            (RequestBody::SetClock { unix_ms: 0 }, Refusal::Clock),
            (RequestBody::SetClock { unix_ms: i64::MAX }, Refusal::Clock),
            (RequestBody::ReadPages { first: address(4), count: 1 }, Refusal::Range),
            (RequestBody::ReadPages { first: address(0), count: 0 }, Refusal::Range),
            (RequestBody::ReadPages { first: address(0), count: 257 }, Refusal::Range),
            (RequestBody::Release { up_to_sector: 9 }, Refusal::Range),
            (RequestBody::Release { up_to_sector: 10 }, Refusal::Range),
            (RequestBody::GetSite { offset: 1 }, Refusal::Range),
        ] {
            assert_eq!(refusal(&mut service, &body), Some(expected), "{body:?}");
        }
        let read = RequestBody::ReadPages { first: address(3), count: 256 };
        assert_eq!(ask(&mut service, &read), Outcome::Pages { first: address(3), count: 256 });
        let release = RequestBody::Release { up_to_sector: 8 };
        assert_eq!(ask(&mut service, &release), Outcome::Release(8));
    }

    #[test]
    fn a_site_text_arrives_in_parts_and_is_read_back() {
        let mut service = Service::default();
        let text = [b'x'; 700];
        assert_eq!(put(&mut service, 0, 700, &text[..256]), None);
        assert_eq!(put(&mut service, 256, 700, &text[..256]), None);
        assert!(service.site_text().is_empty(), "not whole yet");
        // Sent again because the answer was lost; then out of order; then of another length.
        assert_eq!(put(&mut service, 256, 700, &text[..256]), None);
        assert_eq!(put(&mut service, 600, 700, &text[..10]), Some(Refusal::SiteText));
        assert_eq!(put(&mut service, 512, 701, &text[..10]), Some(Refusal::SiteText));
        assert_eq!(put(&mut service, 512, 700, &text[..188]), None);
        assert_eq!(put(&mut service, 512, 700, &text[..188]), None);
        assert_eq!(service.site_text(), &text);
        let Outcome::Reply(ReplyBody::Site { offset: 512, total: 700, bytes }) =
            ask(&mut service, &RequestBody::GetSite { offset: 512 })
        else {
            panic!()
        };
        assert_eq!(bytes, text[..188]);
        // A new one that is no text leaves the old in place.
        assert_eq!(put(&mut service, 0, 2, &[0xC3, 0x28]), Some(Refusal::SiteText));
        assert_eq!(put(&mut service, 0, 4000, b"x"), Some(Refusal::SiteText));
        assert_eq!(put(&mut service, 0, 2, b"abc"), Some(Refusal::SiteText));
        assert_eq!(service.site_text(), &text);
        assert_eq!(put(&mut service, 0, 0, b""), None);
        assert!(service.site_text().is_empty());
    }

    proptest! {
        /// Bytes that decode to any request at all do no harm.
        #[test]
        fn arbitrary_requests_do_no_harm(
            streams in proptest::collection::vec(
                proptest::collection::vec(any::<u8>(), 0..400), 1..20),
        ) {
            let mut service = Service::default();
            for mut bytes in streams {
                if let Some(tag) = bytes.get_mut(1) {
                    *tag %= 13;
                }
                // Small ids, so that the second byte is the request's tag.
                if let Some(id) = bytes.first_mut() {
                    *id %= 128;
                }
                let parsed = postcard::from_bytes::<Request>(&bytes);
                if let Ok(request) = parsed {
                    ask(&mut service, &request.body);
                }
            }
        }

        #[test]
        fn pages_follow_each_other(sector in any::<u32>(), page in 0_u8..4) {
            let address = PageAddress { sector, page };
            if let Some(next) = next_page(address) {
                prop_assert!(next > address);
            } else {
                prop_assert_eq!((sector, page), (u32::MAX, 3));
            }
        }
    }
}
