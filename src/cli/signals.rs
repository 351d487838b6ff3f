//! Signals that end a run: the work stops at its next step, nothing unfinished is left, one sentence is said.
//!
//! The exit code is 128 and the signal's number, as shells have it: 130 for SIGINT (Ctrl-C), 143 for SIGTERM,
//! 129 for SIGHUP. A second signal, or work that does not come to a step within a second, ends at once;
//! unfinished files are removed even then. Only SIGKILL and a power failure leave them, for the next run.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use crate::encode::sink;

/// The signal that asked for the end, or 0.
static ASKED: AtomicUsize = AtomicUsize::new(0);
/// Whether work is going on that looks at [`asked`] at every step.
static AT_WORK: AtomicBool = AtomicBool::new(false);
/// Whether the sentence was said.
static SAID: AtomicBool = AtomicBool::new(false);

/// The signal that asked for the end, if one did.
pub fn asked() -> Option<u8> {
    u8::try_from(ASKED.load(Ordering::SeqCst)).ok().filter(|&s| s > 0)
}

/// Tells whether the work that goes on looks at [`asked`] now and then.
pub fn at_work(yes: bool) {
    AT_WORK.store(yes, Ordering::SeqCst);
}

/// Says that the run was stopped; the exit code for it.
pub fn stopped(signal: u8) -> u8 {
    if !SAID.swap(true, Ordering::SeqCst) {
        super::out::say(if sink::placed() {
            "stopped; all files were written"
        } else {
            "stopped; nothing was written"
        });
    }
    128 + signal
}

#[cfg(unix)]
pub use unix::listen;

/// Without such signals there is nothing to listen to.
#[cfg(not(unix))]
pub fn listen(_before_the_end: fn()) {}

#[cfg(unix)]
mod unix {
    use std::process;
    use std::sync::atomic::Ordering;
    use std::thread;
    use std::time::Duration;

    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;

    use super::{ASKED, AT_WORK, stopped};
    use crate::encode::sink;

    /// How long the work may take to its next step.
    const PATIENCE: Duration = Duration::from_secs(1);

    /// Listens from now on. `before_the_end` tidies the terminal when the run ends at once. Where that cannot be, signals end the run at once, as they do by themselves, and
    /// the next run tidies up.
    pub fn listen(before_the_end: fn()) {
        let mut heard = vec![SIGINT, SIGTERM];
        if !hangup_is_ignored() {
            heard.push(SIGHUP);
        }
        let Ok(mut signals) = Signals::new(heard) else { return };
        thread::spawn(move || {
            for signal in signals.forever() {
                let number = u8::try_from(signal).unwrap_or(0);
                let first = ASKED.swap(usize::from(number), Ordering::SeqCst) == 0;
                if first && AT_WORK.load(Ordering::SeqCst) {
                    thread::spawn(move || {
                        thread::sleep(PATIENCE);
                        end(number, before_the_end);
                    });
                } else {
                    end(number, before_the_end);
                }
            }
        });
    }

    fn end(signal: u8, before: fn()) -> ! {
        sink::abandon();
        before();
        process::exit(i32::from(stopped(signal)))
    }

    /// Whether the run was started to outlive its terminal (`nohup`): then it does. Told by the mask of
    /// ignored signals in proc(5), where there is one; the lowest bit is signal 1, SIGHUP.
    fn hangup_is_ignored() -> bool {
        std::fs::read_to_string("/proc/self/status").is_ok_and(|status| ignores_hangup(&status))
    }

    fn ignores_hangup(status: &str) -> bool {
        let mask = status.lines().find_map(|l| l.strip_prefix("SigIgn:"));
        mask.and_then(|m| u64::from_str_radix(m.trim(), 16).ok()).is_some_and(|m| m & 1 == 1)
    }

    #[cfg(test)]
    mod tests {
        use super::*;

        #[test]
        fn a_run_that_shall_outlive_its_terminal_is_known_by_its_mask() {
            assert!(ignores_hangup("Name:\tx\nSigIgn:\t0000000000001001\n"));
            assert!(!ignores_hangup("Name:\tx\nSigIgn:\t0000000000001000\n"));
            assert!(!ignores_hangup(""));
        }
    }
}
