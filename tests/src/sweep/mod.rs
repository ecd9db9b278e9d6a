//! The robustness sweep: invented sites through the real recorder and the analysis, held against
//! what really happened there.

pub mod degrade;
pub mod draw;
pub mod options;
pub mod ramp;
pub mod record;
pub mod score;

use draw::Visit;
use pumpwitness_analysis::analyse;
use pumpwitness_recording::Recording;
use pumpwitness_site_model::Truth;
use score::Score;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;

/// Does `work` for each visit on as many threads as there are cores; results in the order of the
/// visits.
///
/// # Panics
/// When a worker does.
pub fn each<T: Send>(visits: &[Visit], work: impl Fn(&Visit) -> T + Sync) -> Vec<T> {
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let next = AtomicUsize::new(0);
    let (sender, receiver) = mpsc::channel();
    thread::scope(|scope| {
        for _ in 0..threads {
            let (sender, next, work) = (sender.clone(), &next, &work);
            scope.spawn(move || {
                while let Some((n, visit)) = {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    visits.get(n).map(|visit| (n, visit))
                } {
                    // The receiver outlives the scope.
                    let _ = sender.send((n, work(visit)));
                }
            });
        }
    });
    drop(sender);
    let mut results: Vec<(usize, T)> = receiver.into_iter().collect();
    assert_eq!(results.len(), visits.len());
    results.sort_by_key(|(n, _)| *n);
    results.into_iter().map(|(_, result)| result).collect()
}

/// Records a visit.
pub fn record(visit: &Visit) -> (Recording, Truth) {
    record::record(&visit.site, visit.start_ms, visit.days, visit.seed)
}

/// Records a visit, analyses it and holds the result against the truth.
pub fn judge(visit: &Visit) -> Score {
    let (recording, truth) = record(visit);
    score::score(visit, &truth, &analyse(&recording, &visit.site.declared))
}
