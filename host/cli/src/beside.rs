//! Two pieces of work side by side.

use std::panic::resume_unwind;
use std::sync::Mutex;
use std::thread;

/// Does both, on two threads where there is a second to be had, and gives what came of them.
pub fn beside<A: Send, B>(first: impl FnOnce() -> A + Send, second: impl FnOnce() -> B) -> (A, B) {
    // Kept here, not in the thread, so that it is still there if no thread can be made.
    let first = Mutex::new(Some(first));
    let take = || first.lock().ok().and_then(|mut first| first.take());
    thread::scope(|scope| {
        let other = thread::Builder::new().spawn_scoped(scope, || take().map(|first| first()));
        let done = second();
        let of_other = match other.map(thread::ScopedJoinHandle::join) {
            Ok(Ok(of_other)) => of_other,
            Ok(Err(panic)) => resume_unwind(panic),
            Err(_) => None,
        };
        let of_other = of_other.or_else(|| take().map(|first| first()));
        (of_other.expect("one of the two threads has done it"), done)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_are_done_and_both_can_borrow() {
        let words = ["one".to_owned(), "two".to_owned()];
        let (first, second) = beside(|| words[0].len(), || words[1].as_str());
        assert_eq!((first, second), (3, "two"));
    }

    #[test]
    fn a_panic_beside_is_a_panic() {
        let panicked = std::panic::catch_unwind(|| beside(|| panic!("beside"), || 1));
        assert!(panicked.is_err());
    }
}
