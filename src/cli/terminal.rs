//! What a run tells on standard output: figures, findings and their remedies.

use std::io::{self, Write};

use super::target::OutOptions;
use crate::findings::{Finding, Severity};
use crate::proof::report::Report;
use crate::units::{duration, short};

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
