//! Containment: a stranger's file goes through decoders that may panic; here that becomes a value, and
//! nothing is printed.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    static CONTAINED: Cell<bool> = const { Cell::new(false) };
}

/// Runs `work`, which keeps nothing of what it changes when it panics; the panic's own words, on one line, are
/// the error. The panic hook of the program stays in force for everything else, on all other threads as well.
pub(super) fn contained<R>(work: impl FnOnce() -> R) -> Result<R, String> {
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
    done.map_err(|thrown| {
        let said = thrown.downcast_ref::<&str>().copied();
        let said = said.or_else(|| thrown.downcast_ref::<String>().map(String::as_str));
        super::error::one_line(said.unwrap_or("it gave no reason"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_its_words() {
        assert_eq!(contained(|| 7), Ok(7));
        let said = contained(|| -> u8 { panic!("no\nroom for {}", 9) });
        assert_eq!(said, Err("no room for 9".to_string()));
        // Contained work inside contained work leaves the outer one contained.
        let outer = contained(|| {
            let _ = contained(|| panic!("inner"));
            panic!("outer")
        });
        assert_eq!(outer, Err("outer".to_string()));
        assert!(!CONTAINED.get());
    }
}
