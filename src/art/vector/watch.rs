//! Watched work: on a thread with a deep stack, given up when it takes too long, its panics caught.

use crate::art::contain::contained;
use crate::parallel::{self, Aside};
use crate::texts::text;

/// Stack of the thread that parses or draws: both walk the drawing recursively, up to the guard's
/// depth. Only what is touched is taken from memory.
const STACK: usize = 256 << 20;

/// Why work did not come to its end.
pub(super) enum Stopped {
    /// It took longer than allowed. It goes on unseen until it ends or the program does; what it may take was
    /// bounded before it began.
    Late,
    /// The library panicked, or no thread could be had: what to say of it.
    GaveUp(String),
}

/// Runs `work` for at most so many seconds.
pub(super) fn watched<R: Send + 'static>(
    seconds: f64,
    work: impl FnOnce() -> R + Send + 'static,
) -> Result<R, Stopped> {
    match parallel::aside(STACK, seconds, move || contained(work)) {
        Aside::Done(Some(result)) => Ok(result),
        Aside::Done(None) => Err(Stopped::GaveUp(text!("art.reason.library").into())),
        Aside::NoThread(words) => Err(Stopped::GaveUp(words)),
        Aside::Late => Err(Stopped::Late),
    }
}
