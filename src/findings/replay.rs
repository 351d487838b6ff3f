//! Findings about a program as it is replayed.

use super::{Finding, Severity};
use crate::scan::replay::{Places, Replay};
use crate::units::{counted, short};

/// What to say of a program that was written for a machine of another full power: the same S words are another power here.
fn other_full_scale(replay: &Replay) -> Option<String> {
    let written = replay.written_for_full_scale_s.filter(|&s| s != replay.full_scale_s)?;
    let share = f64::from(written) / f64::from(replay.full_scale_s);
    (replay.highest_s > 0.0).then(|| {
        format!(
            "The program was written for a machine whose full power is S {written}, and this machine's is S {}: it \
             burns at {} times the power that it was made for. Write the program for this machine, or correct \
             full_scale_s in its file.",
            replay.full_scale_s,
            short(share, 3)
        )
    })
}

/// What a replay brings to light. Beam on where it must be off is a stop, as is a program that leaves the
/// beam on at its end.
pub fn replayed(replay: &Replay) -> Vec<Finding> {
    let mut found = Vec::new();
    let mut stop = |name, message: String| found.push(Finding::new(name, Severity::Stop, message));
    if replay.power_left_on {
        stop("power-left-on", "The program ends with the beam on; it must end with M5 S0.".into());
    }
    let p = &replay.beam_on_in_rapid;
    if p.count > 0 {
        stop(
            "beam-in-rapid",
            format!("The beam is on during {} over {} mm.", places(p, "rapid"), short(p.mm, 1)),
        );
    }
    let p = &replay.beam_on_at_rest;
    if p.count > 0 {
        stop("beam-at-rest", format!("The beam is on while the head rests: {}.", places(p, "rest")));
    }
    let p = &replay.beam_on_outside_blank;
    if p.count > 0 {
        let text =
            format!("The beam is on beyond the blank in {}, {} mm long.", places(p, "move"), short(p.mm, 1));
        stop("beam-off-blank", text);
    }
    if let Some(line) = replay.over_full_power {
        let text = format!(
            "From line {line} on the program asks for up to S {}, but the machine's full power is S {}: whatever asks \
             for more burns at full power. Write the program for this machine, or correct full_scale_s in its file.",
            short(replay.highest_s, 3),
            replay.full_scale_s
        );
        stop("over-full-power", text);
    } else if let Some(text) = other_full_scale(replay) {
        stop("other-full-power", text);
    }
    if replay.off_bed_mm > 0.0 {
        stop("off-bed", format!("The path leaves the bed by {} mm.", short(replay.off_bed_mm, 2)));
    }
    if let Some(d) = replay.difference.as_ref().filter(|d| !d.same) {
        let at =
            d.first.first().map_or(String::new(), |(x, y)| format!(", the first in column {x} of row {y}"));
        let are = |count: u64| if count == 1 { "is" } else { "are" };
        let missing = format!("{} {} missing", counted(d.missing, "dot"), are(d.missing));
        let extra = format!("{} {} too many", d.extra, are(d.extra));
        stop("dots-differ", format!("{missing} and {extra}{at}."));
    }
    let p = &replay.beam_on_off_speed;
    if p.count > 0 {
        let exact = replay.exact_stops.map_or(String::new(), |line| {
            format!(
                " Line {line} asks for a stop at every joint of two moves (G61); G64 lets the head pass them."
            )
        });
        let text = format!(
            "With the beam on the head is not at the program's speed over {} mm, in {}: it speeds up or brakes there.{exact}",
            short(p.mm, 2),
            places(p, "move")
        );
        found.push(Finding::new("off-speed", Severity::Note, text));
    }
    let mut caution = |name, message: String| found.push(Finding::new(name, Severity::Caution, message));
    if replay.off_grid_mm > 0.001 {
        let mm = short(replay.off_grid_mm, 1);
        caution(
            "off-grid",
            format!("{mm} mm with the beam on pass between the lines of dots or beside them."),
        );
    }
    if replay.not_in_standard_count > 0 {
        let first: Vec<String> = replay
            .not_in_standard
            .iter()
            .take(3)
            .map(|w| format!("'{}' in line {}", w.word, w.line))
            .collect();
        let (n, list) = (replay.not_in_standard_count, first.join(", "));
        caution(
            "off-standard",
            format!("Words that RS-274 does not know, left out here: {n}, among them {list}."),
        );
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

fn places(p: &Places, what: &str) -> String {
    let lines: Vec<String> = p.lines.iter().take(5).map(u64::to_string).collect();
    let more = if p.lines.len() > 5 { ", …" } else { "" };
    let s = if p.count == 1 { "" } else { "s" };
    format!("{} {what}{s} (line {}{more})", p.count, lines.join(", "))
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
