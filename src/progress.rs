//! Progress of long work, and the wish to stop it: one interface for the terminal and for any other face.

/// Hears how far the work is and may end it. Called from several threads.
pub trait Progress: Sync {
    /// A stage begins; `total` is its amount of work in its own units (0 where it is not known).
    fn stage(&self, name: &str, total: u64);
    /// `done` more units are done. `false` asks the work to stop as soon as it can.
    fn step(&self, done: u64) -> bool;
}

/// Says nothing and never stops.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn stage(&self, _name: &str, _total: u64) {}
    fn step(&self, _done: u64) -> bool {
        true
    }
}
