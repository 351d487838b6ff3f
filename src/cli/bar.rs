//! Progress on the terminal: one bar for the whole work, on standard error, only when that is a terminal.

use std::io::{self, IsTerminal};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::signals;
use crate::progress::{Meter, Progress};

/// The bar that is shown, for whoever must end the program at once.
static SHOWN: Mutex<Option<ProgressBar>> = Mutex::new(None);

/// Takes the bar off the terminal, if one is shown.
pub fn clear() {
    if let Some(bar) = SHOWN.lock().ok().and_then(|mut shown| shown.take()) {
        bar.finish_and_clear();
    }
}

/// A bar for the whole work, with the name of the stage that is running.
pub struct Bar {
    bar: ProgressBar,
    meter: Meter,
    /// When to show it, until it is shown.
    due: Mutex<Option<Instant>>,
}

/// Work that takes less needs no bar: it would flash up and be gone before it can be read.
const PATIENCE: Duration = Duration::from_secs(1);

/// How finely the bar tells the whole work.
const PARTS: u64 = 10_000;

impl Bar {
    /// A bar that shows itself after a second of work; never when `quiet` or when standard error is no terminal.
    pub fn new(quiet: bool) -> Self {
        let bar = ProgressBar::with_draw_target(Some(PARTS), ProgressDrawTarget::hidden());
        let shown = !quiet && io::stderr().is_terminal();
        if let Ok(style) = ProgressStyle::with_template("{msg} {wide_bar} {percent}% {eta}") {
            bar.set_style(style);
        }
        if let Ok(mut shown) = SHOWN.lock() {
            *shown = Some(bar.clone());
        }
        signals::at_work(true);
        Bar { bar, meter: Meter::default(), due: Mutex::new(shown.then(|| Instant::now() + PATIENCE)) }
    }

    fn show(&self, done: f64) {
        if let Ok(mut due) = self.due.lock()
            && due.is_some_and(|at| Instant::now() >= at)
        {
            *due = None;
            self.bar.set_draw_target(ProgressDrawTarget::stderr_with_hz(8));
            self.bar.enable_steady_tick(Duration::from_millis(250));
        }
        self.bar.set_position((done * PARTS as f64) as u64);
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        clear();
        signals::at_work(false);
    }
}

impl Progress for Bar {
    fn stage(&self, name: &str, share: f64) {
        self.bar.set_message(name.to_string());
        self.show(self.meter.stage(share));
    }

    fn expect(&self, steps: u64) {
        self.show(self.meter.expect(steps));
    }

    fn step(&self, done: u64) -> bool {
        self.show(self.meter.step(done));
        signals::asked().is_none()
    }
}
