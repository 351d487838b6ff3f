//! Progress on the terminal: on standard error, only when that is a terminal, only for long work.

use std::io::{self, IsTerminal, Write};
use std::sync::Mutex;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::signals;
use super::target::OutOptions;
use crate::findings::{Finding, Severity};
use crate::progress::{Meter, Progress};
use crate::proof::report::Report;
use crate::units::{duration, short};

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
}

/// How finely the bar tells the whole work.
const PARTS: u64 = 10_000;

impl Bar {
    /// A bar; hidden when `quiet` or when standard error is no terminal.
    pub fn new(quiet: bool) -> Self {
        let bar = ProgressBar::new(PARTS);
        if quiet || !std::io::stderr().is_terminal() {
            bar.set_draw_target(ProgressDrawTarget::hidden());
        } else {
            bar.set_draw_target(ProgressDrawTarget::stderr_with_hz(8));
            bar.enable_steady_tick(Duration::from_millis(250));
        }
        if let Ok(style) = ProgressStyle::with_template("{msg} {wide_bar} {percent}% {eta}") {
            bar.set_style(style);
        }
        if let Ok(mut shown) = SHOWN.lock() {
            *shown = Some(bar.clone());
        }
        signals::at_work(true);
        Bar { bar, meter: Meter::default() }
    }

    fn show(&self, done: f64) {
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

/// The short summary of a prepared job.
pub fn summary(out: &mut impl Write, report: &Report, place: &OutOptions) -> io::Result<()> {
    figures(out, report)?;
    for note in report.notes.iter().filter(|n| n.starts_with("Assumed")) {
        writeln!(out, "{note}")?;
    }
    findings(out, &report.findings)?;
    writeln!(out, "written to {place}; open ticket.html first")
}

/// The figures of a report: art, place, dots, settings, time.
pub fn figures(out: &mut impl Write, report: &Report) -> io::Result<()> {
    let (a, b, p, d) = (&report.art, &report.blank, &report.placement, &report.dots);
    let process = &report.process;
    let mm = |v: f64, n| short(v, n);
    writeln!(out, "{} as a {} ({})", a.name, a.read_as, a.read_as_why)?;
    writeln!(
        out,
        "on {}, {}, margin {} mm: {} x {} mm (wished {} x {} mm)",
        b.shape,
        b.surface,
        mm(b.margin_mm, 2),
        mm(p.true_width_mm, 3),
        mm(p.true_height_mm, 3),
        mm(p.wished_width_mm, 3),
        mm(p.wished_height_mm, 3)
    )?;
    writeln!(
        out,
        "{} x {} dots by {}, pitch {}mm ({} dpi; {}), {}% on",
        d.columns,
        d.rows,
        d.screen,
        mm(d.pitch_across_mm, 5),
        mm(d.density_dpi, 2),
        d.pitch_why,
        mm(d.coverage_share * 100.0, 1)
    )?;
    writeln!(
        out,
        "{} on {}: power {}% [{}], speed {} mm/s [{}], {} pass{}, dose {} J/mm2",
        process.coating,
        process.machine,
        mm(process.power_share.value * 100.0, 1),
        process.power_share.standing,
        mm(process.speed_mm_per_s.value, 3),
        process.speed_mm_per_s.standing,
        process.passes.value,
        if process.passes.value == 1 { "" } else { "es" },
        mm(process.dose_j_per_mm2, 2)
    )?;
    if let Some(t) = &report.times {
        writeln!(out, "time {}", duration(t.total_s))?;
    }
    Ok(())
}

/// Findings and their remedies.
pub fn findings(out: &mut impl Write, findings: &[Finding]) -> io::Result<()> {
    for f in findings {
        let sign = match f.severity {
            Severity::Note => "note",
            Severity::Caution => "CAUTION",
            Severity::Stop => "STOP",
        };
        writeln!(out, "{sign} {}: {}", f.name, f.message)?;
        for r in &f.remedies {
            writeln!(out, "    -> {}{}", r.text, if r.verified { " (checked)" } else { "" })?;
        }
    }
    Ok(())
}
