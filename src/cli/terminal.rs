//! What a run tells on standard output: what was decided, what to look at, what to do; more where it is asked for.

use std::io::{self, Write};

use jiff::{SignedDuration, ZonedDateTime};

use super::target::OutOptions;
use crate::findings::{Finding, Severity};
use crate::job::Standing;
use crate::job::kit::spoken;
use crate::proof::report::Report;
use crate::proof::steps::passes;
use crate::texts::text;
use crate::units::{duration, short};

/// The summary of a prepared job: six lines when all is well, and what to mend where any finding `stops` it.
pub fn summary(
    out: &mut impl Write,
    report: &Report,
    stops: &[&str],
    place: &OutOptions,
    verbose: bool,
) -> io::Result<()> {
    decided(out, report, verbose)?;
    findings(out, &report.findings, |f| !stops.contains(&f.name), verbose)?;
    writeln!(out, "written to {place}; {}", if stops.is_empty() { FOLLOW } else { MEND })
}

/// What to do first with what has a program, and with what has none because it would go wrong.
pub const FOLLOW: &str = "open ticket.html first, print it and follow its steps";
pub const MEND: &str = "do not burn it as it is; ticket.html says what to mend";

/// What was decided: art and place, dots, settings, time, and what was decided for the maker and can be decided otherwise.
pub fn decided(out: &mut impl Write, report: &Report, verbose: bool) -> io::Result<()> {
    settled(out, report, verbose)?;
    for note in report.notes.iter().filter(|note| verbose || note.about.is_told()) {
        writeln!(out, "{}{}", if verbose { "  " } else { "" }, note.says)?;
    }
    Ok(())
}

/// Art and place, dots, settings, time.
pub fn settled(out: &mut impl Write, report: &Report, verbose: bool) -> io::Result<()> {
    let (a, b, p, d) = (&report.art, &report.blank, &report.placement, &report.dots);
    let process = &report.process;
    let mm = short;
    let (name, why) = (&a.name, &a.read_as_why);
    let read = match a.read_as.as_str() {
        "dots" => text!("cli.read-as.dots", name),
        "photo" => text!("cli.read-as.photo", name, why),
        "drawing" => text!("cli.read-as.drawing", name, why),
        "paper" => text!("cli.read-as.paper", name, why),
        kind => text!("cli.read-as.other", name, kind, why),
    };
    writeln!(out, "{read}")?;
    let (want, will) = ((p.wished_width_mm, p.wished_height_mm), (p.true_width_mm, p.true_height_mm));
    // Rounding to whole dots changes a size by less than a dot; more lies outside the margin, be it ink or empty.
    let dot = d.pitch_along_mm.max(d.pitch_across_mm);
    let more = (want.0 - will.0).max(want.1 - will.1) > dot;
    // Laid round a cone, art is as wide as asked for at half its own height.
    let cone = report.round.as_ref().is_some_and(|round| round.cone.is_some());
    let leans = cone && !more && (want.0 - will.0).abs() > dot;
    let (width, height) = (mm(will.0, 2), mm(will.1, 2));
    let size = match (verbose, more) {
        _ if leans => text!("cli.size.cone", width, height, middle = mm(want.0, 2)),
        (true, _) => {
            text!("cli.size.whole", width, height, whole_width = mm(want.0, 3), whole_height = mm(want.1, 3))
        }
        (false, true) => {
            text!("cli.size.whole", width, height, whole_width = mm(want.0, 2), whole_height = mm(want.1, 2))
        }
        (false, false) => text!("cli.size", width, height),
    };
    let (shape, surface, margin) = (&b.shape, &b.surface, mm(b.margin_mm, 2));
    let lies = match a.layers > 1 {
        true => text!("cli.place.all", size, shape, surface, margin),
        false => text!("cli.place.it", size, shape, surface, margin),
    };
    writeln!(out, "{lies}")?;
    let (columns, rows) = (d.columns, d.rows);
    let dots = match a.read_as == "dots" {
        true => text!("cli.dots", columns, rows),
        false => text!("cli.dots.screen", columns, rows, screen = d.screen),
    };
    let (pitch, density) = (mm(d.pitch_across_mm, 4), mm(d.density_dpi, 1));
    let share = mm(d.coverage_share * 100.0, 1);
    let laid = if d.pitch_along_mm < 0.99 * d.pitch_across_mm {
        text!("cli.dots.finer", dots, pitch, density, along = mm(d.pitch_along_mm, 4), share)
    } else {
        text!("cli.dots.even", dots, pitch, density, share)
    };
    writeln!(out, "{laid}")?;
    let said = |s: Standing| if s == Standing::Given { String::new() } else { format!(" ({s})") };
    let (power, speed) = (&process.power_share, &process.speed_mm_per_s);
    let burn = text!(
        "cli.burn",
        coating = spoken(&process.coating),
        machine = spoken(&process.machine),
        power = format_args!("{} %{}", mm(power.value * 100.0, 1), said(power.standing)),
        speed = format_args!("{} mm/s{}", mm(speed.value, 2), said(speed.standing)),
        passes = passes(process.passes.value),
    );
    match &report.times {
        Some(t) => writeln!(out, "{}", text!("cli.burn.takes", burn, time = duration(t.total_s)))?,
        None => writeln!(out, "{burn}")?,
    }
    if !verbose {
        return Ok(());
    }
    writeln!(
        out,
        "  a solid gets {} J/mm², which acts like {} J/mm² at {} mm/s",
        mm(process.dose_j_per_mm2, 2),
        mm(process.effective_exposure_j_per_mm2, 2),
        mm(process.reference_speed_mm_per_s.value, 2)
    )?;
    if let Some(t) = &report.times {
        writeln!(
            out,
            "  marks take {}, gaps {}, run-ups {}, turns {}{}; at this dose and power no program is quicker than {}",
            duration(t.beam_on_s),
            duration(t.gaps_s),
            duration(t.run_up_s - t.turn_s),
            duration(t.turn_s),
            t.dwell_s.map_or(String::new(), |s| format!(", waits in header and footer {}", duration(s))),
            duration(t.bound_s)
        )?;
    }
    if let Some(f) = &report.forecast {
        writeln!(
            out,
            "  mean mark {} % as forecast, {} % as asked for; {} mm² marked, {} mm² over-burnt",
            mm(f.mean_mark_share * 100.0, 1),
            mm(f.mean_wanted_share * 100.0, 1),
            mm(f.marked_mm2, 1),
            mm(f.over_burn_mm2, 2)
        )?;
        if let (Some(planned), Some(expected)) = (f.likeness_planned_db, f.likeness_expected_db) {
            writeln!(
                out,
                "  likeness as planned {} dB, likeness to expect {} dB (PSNR as the eye sees it at 300 mm)",
                mm(planned, 1),
                mm(expected, 1)
            )?;
        }
    }
    Ok(())
}

/// When a burn of so many seconds that begins `now` ends.
pub fn ends(seconds: f64, now: &ZonedDateTime) -> String {
    let end = now.saturating_add(SignedDuration::from_secs(seconds.clamp(0.0, 1e9).ceil() as i64));
    let how = if end.date() == now.date() { "%H:%M" } else { "%H:%M on %A" };
    format!("Started now, the burn would end at {}.", end.strftime(how))
}

/// Findings, those that stop with whether that was `accepted`, and their remedies: those of a note only where more is asked for.
pub fn findings(
    out: &mut impl Write,
    findings: &[Finding],
    accepted: impl Fn(&Finding) -> bool,
    verbose: bool,
) -> io::Result<()> {
    for f in findings {
        let sign = match f.severity {
            Severity::Note => "note",
            Severity::Caution => "CAUTION",
            Severity::Stop => "STOP",
        };
        let passes = if f.severity == Severity::Stop && accepted(f) { " (accepted)" } else { "" };
        writeln!(out, "{sign} {}{passes}: {}", f.name, f.message)?;
        for r in f.remedies.iter().filter(|_| verbose || f.severity > Severity::Note) {
            writeln!(out, "    -> {}{}", r.text, if r.verified { " (checked)" } else { "" })?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::note::{About, Note};
    use crate::said::Said;

    #[test]
    fn what_can_be_decided_otherwise_is_told_and_the_rest_where_it_is_asked_for() {
        let notes = vec![
            Note::new(About::Assumed, "Assumed: the coating is poster paint."),
            Note::new(About::Blank, "Assumed: the blank is a glass coaster."),
            Note::choice(Said::from("noise was smoothed").line(" (--levels off leaves the tones alone)")),
            Note::fact("Read as photo: many tones -- and shades."),
        ];
        let report = Report { notes, ..crate::proof::made::report() };
        let told = |verbose| {
            let mut text = Vec::new();
            decided(&mut text, &report, verbose).unwrap();
            String::from_utf8(text).unwrap()
        };
        assert!(told(false).ends_with(
            "\nAssumed: the blank is a glass coaster.\nnoise was smoothed (--levels off leaves the tones alone)\n"
        ));
        assert!(told(true).ends_with("\n  Read as photo: many tones -- and shades.\n"), "{}", told(true));
        assert!(!told(false).contains("poster paint."), "{}", told(false));
    }

    #[test]
    fn a_size_says_of_what_it_is() {
        let mut report = crate::proof::made::report();
        let told = |report: &Report| {
            let mut text = Vec::new();
            settled(&mut text, report, false).unwrap();
            String::from_utf8(text).unwrap()
        };
        assert!(told(&report).contains("\nit will be 84.97 x 84.97 mm"), "{}", told(&report));
        report.art.layers = 2;
        assert!(told(&report).contains("\nall that is marked will be 84.97 x 84.97 mm"), "{}", told(&report));
    }

    #[test]
    fn a_stop_that_was_accepted_is_said_to_be() {
        let found =
            [Finding::new("over-burn", Severity::Stop, "so"), Finding::new("thin", Severity::Note, "so")];
        let told = |accepted: bool| {
            let mut text = Vec::new();
            findings(&mut text, &found, |_| accepted, false).unwrap();
            String::from_utf8(text).unwrap()
        };
        assert_eq!(told(true), "STOP over-burn (accepted): so\nnote thin: so\n");
        assert_eq!(told(false), "STOP over-burn: so\nnote thin: so\n");
    }

    #[test]
    fn the_end_is_said_by_the_clock() {
        let now: ZonedDateTime = "2026-03-05T21:58:30[UTC]".parse().unwrap();
        assert_eq!(ends(3391.0, &now), "Started now, the burn would end at 22:55.");
        assert_eq!(ends(9000.0, &now), "Started now, the burn would end at 00:28 on Friday.");
    }
}
