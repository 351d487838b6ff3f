//! Containment: a stranger's file goes through decoders that may panic; here that becomes a value, and
//! nothing is printed.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    static CONTAINED: Cell<bool> = const { Cell::new(false) };
}

/// Runs `work`, which keeps nothing of what it changes when it panics; `None` when it does. What a panic says is
/// for programmers, so it is dropped. The panic hook of the program stays in force for everything else, on all other
/// threads as well.
pub(super) fn contained<R>(work: impl FnOnce() -> R) -> Option<R> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |told| {
            if !CONTAINED.try_with(Cell::get).unwrap_or(false) {
                before(told);
            }
        }));
    });
    let around = CONTAINED.replace(true);
    let done = panic::catch_unwind(AssertUnwindSafe(work));
    CONTAINED.set(around);
    done.ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_nothing() {
        assert_eq!(contained(|| 7), Some(7));
        assert_eq!(contained(|| -> u8 { panic!("no room") }), None);
        // Contained work inside contained work leaves the outer one contained.
        let outer = contained(|| {
            assert_eq!(contained(|| -> u8 { panic!("inner") }), None);
            assert!(CONTAINED.get());
            7
        });
        assert_eq!(outer, Some(7));
        assert!(!CONTAINED.get());
    }
}
