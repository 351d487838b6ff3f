//! Findings about a program as it is replayed.

use super::{Finding, Severity};
use crate::scan::replay::{Places, Replay};
use crate::texts::{self, text};
use crate::units::{Watts, short};

/// What to say of a program that was written for a machine of another full power: the same S words are another power here.
fn other_full_power(replay: &Replay) -> Option<String> {
    let here = replay.full_scale_s;
    let written = replay.written_for_full_scale_s.unwrap_or(here);
    let share = f64::from(written) / f64::from(here);
    if replay.highest_s <= 0.0 {
        return None;
    }
    if let Some([made_for, laser]) = replay.other_laser_w {
        let times = short(share * laser / made_for, 3);
        let (made_for, laser) = (Watts(made_for), Watts(laser));
        return Some(text!("findings.other-full-power.laser", made_for, written, laser, here, times));
    }
    (written != here).then(|| text!("findings.other-full-power", written, here, times = short(share, 3)))
}

/// What a replay brings to light. Beam on where it must be off is a stop, as is a program that leaves the
/// beam on at its end.
pub fn replayed(replay: &Replay) -> Vec<Finding> {
    let mut found = Vec::new();
    let mut stop = |name, message: String| found.push(Finding::new(name, Severity::Stop, message));
    if replay.power_left_on {
        stop("power-left-on", text!("findings.power-left-on").into());
    }
    let p = &replay.beam_on_in_rapid;
    if p.count > 0 {
        let text = text!("findings.beam-in-rapid", places = places(p, "rapids"), length = short(p.mm, 1));
        stop("beam-in-rapid", text);
    }
    let p = &replay.beam_on_at_rest;
    if p.count > 0 {
        stop("beam-at-rest", text!("findings.beam-at-rest", places = places(p, "rests")));
    }
    let p = &replay.beam_on_outside_blank;
    if p.count > 0 {
        let text = text!("findings.beam-off-blank", places = places(p, "moves"), length = short(p.mm, 1));
        stop("beam-off-blank", text);
    }
    if let Some(line) = replay.over_full_power {
        let (highest, full) = (short(replay.highest_s, 3), replay.full_scale_s);
        let text = text!("findings.over-full-power", line, highest, full);
        stop("over-full-power", text);
    } else if let Some(text) = other_full_power(replay) {
        stop("other-full-power", text);
    }
    if replay.off_bed_mm > 0.0 {
        stop("off-bed", text!("findings.off-bed.path", mm = short(replay.off_bed_mm, 2)));
    }
    if let Some(d) = replay.difference.as_ref().filter(|d| !d.same) {
        let missing = match d.missing {
            1 => text!("findings.dots-differ.missing.one").to_string(),
            count => text!("findings.dots-differ.missing.many", count),
        };
        let extra = match d.extra {
            1 => text!("findings.dots-differ.extra.one").to_string(),
            count => text!("findings.dots-differ.extra.many", count),
        };
        let text = match d.first.first() {
            Some((column, row)) => text!("findings.dots-differ.first", missing, extra, column, row),
            None => text!("findings.dots-differ", missing, extra),
        };
        stop("dots-differ", text);
    }
    let p = &replay.beam_on_off_speed;
    if p.count > 0 {
        let mut text = text!("findings.off-speed", length = short(p.mm, 2), places = places(p, "moves"));
        if let Some(line) = replay.exact_stops {
            text = format!("{text} {}", text!("findings.off-speed.exact-stops", line));
        }
        found.push(Finding::new("off-speed", Severity::Note, text));
    }
    let mut caution = |name, message: String| found.push(Finding::new(name, Severity::Caution, message));
    if replay.off_grid_mm > 0.001 {
        caution("off-grid", text!("findings.off-grid", length = short(replay.off_grid_mm, 1)));
    }
    if replay.not_in_standard_count > 0 {
        let first: Vec<String> = replay
            .not_in_standard
            .iter()
            .take(3)
            .map(|w| text!("findings.off-standard.word", word = w.word, line = w.line))
            .collect();
        let (count, words) = (replay.not_in_standard_count, first.join(", "));
        caution("off-standard", text!("findings.off-standard", count, words));
    }
    found
}

/// What is wrong with a program that was written, where its job may leave the bed by `overhang` mm.
pub fn harmful(replay: &Replay, overhang: f64) -> Option<Finding> {
    // A hundredth of a millimetre is rounding.
    let accepted = replay.off_bed_mm <= overhang + 0.01;
    let stop = |f: &Finding| f.severity == Severity::Stop && !(f.name == "off-bed" && accepted);
    replayed(replay).into_iter().find(stop)
}

/// How many rapids, rests or moves there are, and in which lines of the program.
fn places(p: &Places, what: &str) -> String {
    let lines: Vec<String> = p.lines.iter().take(5).map(u64::to_string).collect();
    let more = if p.lines.len() > 5 { ", …" } else { "" };
    let number = if p.count == 1 { "one" } else { "many" };
    let lines = lines.join(", ") + more;
    texts::filled(&format!("findings.places.{what}.{number}"), &[("count", &p.count), ("lines", &lines)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::limits::Limits;
    use crate::scan::rebuilt::Difference;
    use crate::scan::replay::{ReplayOptions, replay};

    #[test]
    fn what_a_replay_finds_has_its_line_in_the_readme() {
        let once = Places { count: 1, lines: vec![3], mm: 1.0 };
        let all = replayed(&Replay {
            power_left_on: true,
            over_full_power: Some(3),
            beam_on_in_rapid: once.clone(),
            beam_on_at_rest: once.clone(),
            beam_on_outside_blank: once.clone(),
            beam_on_off_speed: once,
            off_bed_mm: 1.0,
            off_grid_mm: 1.0,
            not_in_standard_count: 1,
            difference: Some(Difference { same: false, missing: 1, extra: 0, first: Vec::new() }),
            ..Replay::default()
        });
        assert_eq!(all.len(), 10);
        let readme = include_str!("../../README.md");
        for f in &all {
            let severity = format!("{:?}:", f.severity).to_lowercase();
            assert!(readme.contains(&format!("| `{}` | {severity} ", f.name)), "{} {severity}", f.name);
        }
    }

    #[test]
    fn a_dangerous_program_is_stopped() {
        let play = |p: &str| {
            let limits = Limits::default();
            replayed(&replay(p.as_bytes(), &ReplayOptions::new(&limits)).unwrap().report)
        };
        let found = play("(blank: rect:20x10mm)\nG21G90M3S500\nG1X5F600\nG0X15\nG4P2\nG1X30\n$H\nM2\n");
        let names: Vec<_> = found.iter().map(|f| f.name).collect();
        assert_eq!(
            names,
            ["power-left-on", "beam-in-rapid", "beam-at-rest", "beam-off-blank", "off-speed", "off-standard"]
        );
        assert!(found[..4].iter().all(|f| f.severity == Severity::Stop));
        assert_eq!(found[1].message, "The beam is on during 1 rapid (line 4) over 10 mm.");
        assert_eq!(play("G21G90M3S0\nG1X5F600\nX10S500\nX15S0\nM5S0\nM2\n"), []);
        let f = &play("G21G90M3S1000\nG1X5F600\nX10S1500\nM5S0\nM2\n")[0];
        assert_eq!((f.name, f.severity), ("over-full-power", Severity::Stop));
        assert!(
            f.message.starts_with("From line 3 on") && f.message.contains("up to S 1500"),
            "{}",
            f.message
        );
        assert!(f.message.contains("full power is S 1000"), "{}", f.message);
        let f = &play("G21G90G61.1M3S0\nG0X1\nG1X2F600\nX3S500\nX4\nX5S0\nM5S0\nM2\n")[0];
        assert_eq!(f.name, "off-speed");
        assert!(
            f.message.contains("in 2 moves") && f.message.contains("Line 1 asks for a stop"),
            "{}",
            f.message
        );
        let f = &play("G21G90M3S500\nG1X5F600\nM5S0\nM2\n")[0];
        assert_eq!((f.name, f.severity), ("off-speed", Severity::Note));
        assert!(f.message.contains("over 0.2 mm, in 1 move (line 2)"), "{}", f.message);
    }

    #[test]
    fn a_program_may_leave_the_bed_no_further_than_was_accepted() {
        let off = |off_bed_mm| Replay { off_bed_mm, ..Replay::default() };
        let told = |replay: &Replay, overhang| harmful(replay, overhang).map(|f| f.name);
        assert_eq!(told(&off(30.0), 4.32), Some("off-bed"));
        assert_eq!(told(&off(30.0), 0.0), Some("off-bed"));
        assert_eq!((told(&off(30.004), 30.0), told(&off(0.0), 0.0)), (None, None));
        let lit = Replay { power_left_on: true, ..off(30.0) };
        assert_eq!(told(&lit, 30.0), Some("power-left-on"));
    }
}
