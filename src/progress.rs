//! Progress of long work, and the wish to stop it: one interface for the terminal and for any other face.
//!
//! An orchestrator, which knows how long its stages take beside each other, begins them with their
//! share of the whole. What works inside a stage knows its steps only: it says how many there will be,
//! counts them, and stops when it is told to. A work that is part of a larger one is given a [`Portion`].

use std::sync::{Mutex, PoisonError};

use crate::texts::text;

/// The person asked to stop. The rooms' errors take it in as it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{}", text!("progress.stopped"))]
pub struct Stopped;

/// Hears how far the work is and may end it. Called from several threads.
pub trait Progress: Sync {
    /// A stage begins, and the one before is done. `name` is a word or two for a person; `share` is its
    /// part of the whole work's time, 0 to 1: those of all stages add up to 1.
    fn stage(&self, name: &str, share: f64);

    /// The stage that is at work has so many more steps than were said before; none need be said.
    fn expect(&self, steps: u64);

    /// `done` more steps are done. `false` asks the work to stop as soon as it can; from then on every
    /// call gives `false`.
    fn step(&self, done: u64) -> bool;

    /// Begins a stage, unless the work is to stop.
    ///
    /// # Errors
    /// [`Stopped`] where the person asked for it.
    fn begin(&self, name: &str, share: f64) -> Result<(), Stopped> {
        self.stage(name, share);
        self.go_on(0)
    }

    /// Counts `done` steps.
    ///
    /// # Errors
    /// [`Stopped`] where the person asked for it.
    fn go_on(&self, done: u64) -> Result<(), Stopped> {
        if self.step(done) { Ok(()) } else { Err(Stopped) }
    }
}

/// Says nothing and never stops.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn stage(&self, _name: &str, _share: f64) {}
    fn expect(&self, _steps: u64) {}
    fn step(&self, _done: u64) -> bool {
        true
    }
}

/// The progress of a work that is a part of a larger one: the shares of its stages are shares of that part.
pub struct Portion<'a> {
    whole: &'a dyn Progress,
    share: f64,
}

impl<'a> Portion<'a> {
    /// The part that is `share` (0 to 1) of `whole`.
    pub fn new(whole: &'a dyn Progress, share: f64) -> Self {
        Portion { whole, share }
    }
}

impl Progress for Portion<'_> {
    fn stage(&self, name: &str, share: f64) {
        self.whole.stage(name, share * self.share);
    }
    fn expect(&self, steps: u64) {
        self.whole.expect(steps);
    }
    fn step(&self, done: u64) -> bool {
        self.whole.step(done)
    }
}

/// A work inside one stage: stages that it begins are not told, its steps count as steps of that stage.
pub struct Within<'a>(pub &'a dyn Progress);

impl Progress for Within<'_> {
    fn stage(&self, _name: &str, _share: f64) {}
    fn expect(&self, steps: u64) {
        self.0.expect(steps);
    }
    fn step(&self, done: u64) -> bool {
        self.0.step(done)
    }
}

/// Turns stages and steps into one number from 0 to 1 that never falls: what a bar shows.
#[derive(Debug, Default)]
pub struct Meter(Mutex<Metered>);

#[derive(Debug, Default, Clone, Copy)]
struct Metered {
    /// Shares of the stages that are done, and the share of the one at work.
    before: f64,
    share: f64,
    expected: u64,
    done: u64,
    shown: f64,
}

impl Metered {
    fn show(&mut self) -> f64 {
        let inside = if self.expected == 0 { 0.0 } else { self.done as f64 / self.expected as f64 };
        self.shown = self.shown.max((self.before + self.share * inside.min(1.0)).clamp(0.0, 1.0));
        self.shown
    }
}

impl Meter {
    /// A stage of `share` of the whole begins; what is done by now.
    pub fn stage(&self, share: f64) -> f64 {
        self.with(|m| {
            m.before += m.share;
            (m.share, m.expected, m.done) = (share, 0, 0);
        })
    }

    /// So many more steps are to come in this stage; what is done by now.
    pub fn expect(&self, steps: u64) -> f64 {
        self.with(|m| m.expected += steps)
    }

    /// So many more steps are done; what is done by now.
    pub fn step(&self, done: u64) -> f64 {
        self.with(|m| m.done += done)
    }

    fn with(&self, change: impl FnOnce(&mut Metered)) -> f64 {
        let mut m = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        change(&mut m);
        m.show()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Keeps what a bar would show, and stops after so many steps.
    struct Watched {
        meter: Meter,
        seen: Mutex<Vec<f64>>,
    }

    impl Progress for Watched {
        fn stage(&self, _name: &str, share: f64) {
            self.seen.lock().unwrap().push(self.meter.stage(share));
        }
        fn expect(&self, steps: u64) {
            self.seen.lock().unwrap().push(self.meter.expect(steps));
        }
        fn step(&self, done: u64) -> bool {
            self.seen.lock().unwrap().push(self.meter.step(done));
            true
        }
    }

    fn near(seen: &[f64], want: &[f64]) {
        assert!(
            seen.len() == want.len() && seen.iter().zip(want).all(|(a, b)| (a - b).abs() < 1e-12),
            "{seen:?}"
        );
    }

    #[test]
    fn stages_add_up_by_their_shares_and_steps_share_out_a_stage() {
        let watched = Watched { meter: Meter::default(), seen: Mutex::new(Vec::new()) };
        watched.stage("first", 0.2);
        watched.expect(4);
        watched.step(1);
        // A stage that counted fewer steps than it said is done all the same.
        watched.stage("second", 0.8);
        // A work in two parts, each with its own steps: the second does not draw the bar back.
        watched.expect(2);
        watched.step(1);
        watched.expect(6);
        watched.step(5);
        watched.step(100);
        near(&watched.seen.into_inner().unwrap(), &[0.0, 0.0, 0.05, 0.2, 0.2, 0.6, 0.6, 0.8, 1.0]);
    }

    #[test]
    fn a_part_has_its_share_of_the_whole_and_a_work_within_a_stage_none_of_its_own() {
        let watched = Watched { meter: Meter::default(), seen: Mutex::new(Vec::new()) };
        let half = Portion::new(&watched, 0.5);
        half.stage("first", 0.4);
        Within(&half).stage("unsaid", 1.0);
        half.stage("second", 0.6);
        watched.stage("rest", 0.5);
        watched.stage("end", 0.0);
        near(&watched.seen.into_inner().unwrap(), &[0.0, 0.2, 0.5, 1.0]);
    }

    #[test]
    fn whoever_is_asked_to_stop_begins_nothing_more() {
        struct Impatient;
        impl Progress for Impatient {
            fn stage(&self, _name: &str, _share: f64) {}
            fn expect(&self, _steps: u64) {}
            fn step(&self, _done: u64) -> bool {
                false
            }
        }
        assert_eq!(Portion::new(&Impatient, 0.5).begin("work", 1.0), Err(Stopped));
        assert_eq!(Within(&Impatient).go_on(3), Err(Stopped));
        assert_eq!(Silent.begin("work", 1.0), Ok(()));
    }
}
