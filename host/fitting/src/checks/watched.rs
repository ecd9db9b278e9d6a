//! The watched lamps: each was seen dark and lit.

use super::seen::Seen;
use super::{Check, Verdict};
use crate::reading::Lamp;
use pumpwitness_site_file::Site;

const IDS: [&str; 8] =
    ["lamp-1", "lamp-2", "lamp-3", "lamp-4", "lamp-5", "lamp-6", "lamp-7", "lamp-8"];
const TITLES: [&str; 8] =
    ["Lamp 1", "Lamp 2", "Lamp 3", "Lamp 4", "Lamp 5", "Lamp 6", "Lamp 7", "Lamp 8"];

/// One check a labelled lamp.
pub(super) fn lamps(seen: &Seen, site: &Site) -> Vec<Check> {
    let fitted = site.lamps.iter().filter(|(number, _)| (1..=8).contains(number));
    fitted
        .map(|(number, label)| {
            let place = usize::from(*number) - 1;
            Check::new(IDS[place], TITLES[place], one(seen, *number, label))
        })
        .collect()
}

fn one(seen: &Seen, number: u8, label: &str) -> Verdict {
    if seen.latest().is_none() {
        return Verdict::Waiting("No readings yet.".to_owned());
    }
    let lamp = seen.lamp(number);
    let now = match lamp.now {
        Lamp::Dark => "dark",
        Lamp::Lit => "lit",
        Lamp::Flashing => "flashing",
    };
    match (lamp.dark, lamp.lit || lamp.flashing) {
        (true, true) => {
            Verdict::Good(format!("\"{label}\" was seen dark and lit; it is {now} now."))
        }
        (true, false) => Verdict::Waiting(format!(
            "\"{label}\" is dark. Use the panel's lamp test, or hold a torch to its sensor."
        )),
        _ => Verdict::Waiting(format!(
            "\"{label}\" is {now}. Cover its sensor for three seconds: if it stays {now}, daylight \
             or a neighbouring lamp reaches it; shade it."
        )),
    }
}
