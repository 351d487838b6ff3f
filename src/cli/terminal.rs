//! Progress on the terminal: on standard error, only when that is a terminal, only for long work.

use std::io::IsTerminal;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::progress::Progress;

/// A bar for the stage that is running.
pub struct Bar {
    bar: ProgressBar,
}

impl Bar {
    /// A bar; hidden when `quiet` or when standard error is no terminal.
    pub fn new(quiet: bool) -> Self {
        let bar = ProgressBar::new(0);
        if quiet || !std::io::stderr().is_terminal() {
            bar.set_draw_target(ProgressDrawTarget::hidden());
        } else {
            bar.set_draw_target(ProgressDrawTarget::stderr_with_hz(8));
            bar.enable_steady_tick(Duration::from_millis(250));
        }
        if let Ok(style) = ProgressStyle::with_template("{msg} {wide_bar} {percent}% {eta}") {
            bar.set_style(style);
        }
        Bar { bar }
    }

    /// Removes the bar.
    pub fn finish(&self) {
        self.bar.finish_and_clear();
    }
}

impl Progress for Bar {
    fn stage(&self, name: &str, total: u64) {
        self.bar.set_length(total);
        self.bar.set_position(0);
        self.bar.set_message(name.to_string());
    }

    fn step(&self, done: u64) -> bool {
        self.bar.inc(done);
        true
    }
}
