//! Findings about what the program asks of link and controller: link-starved.

use super::motion::changed;
use super::{Finding, Remedy, Severity, spot};
use crate::progress::Silent;
use crate::scan::limits::{Limits, PowerMode};
use crate::scan::lines::Marking;
use crate::scan::load::{Load, fed_speed};
use crate::scan::program::Program;
use crate::scan::raster::{RasterPath, Scan};
use crate::texts::text;
use crate::units::short;

/// What link and controller are asked for, as shares of what they carry and take in; 0 where that is not known.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Asked {
    bytes: f64,
    moves: f64,
}

impl Asked {
    fn of(limits: &Limits, load: &Load) -> Asked {
        let share = |need: f64, rate: Option<f64>| rate.map_or(0.0, |rate| need / rate);
        Asked {
            bytes: share(load.bytes.per_s, limits.link_bytes_per_s),
            moves: share(load.moves.per_s, limits.moves_per_s),
        }
    }

    /// The same of a path that is made otherwise.
    fn by(path: Option<RasterPath>, marking: Marking<'_>) -> Option<Asked> {
        let program = Program::of_raster(path?, marking, Vec::new());
        let cost = program.measure(&Silent).ok()?;
        Some(Asked::of(&program.limits, &cost.load))
    }

    fn most(&self) -> f64 {
        self.bytes.max(self.moves)
    }
}

/// How often a lower speed is tried that link and controller can follow.
const TRIES: usize = 8;

/// A lower speed at which no more is asked for than there is, where `asked` is the share at the path's own. A slower scan
/// has shorter turns, in which less comes, so the program is written again to see.
fn fed(raster: &RasterPath, marking: Marking<'_>, mut asked: f64) -> Option<f64> {
    let (mut speed, mut most) = (raster.scan.speed, 1.0);
    for _ in 0..TRIES {
        let fit = (0.99 * fed_speed(1.0, asked / speed)).min(most * speed);
        // Where turns decide, the next try would be hardly slower.
        most = 0.93;
        speed = if fit >= 1.0 { (fit * 10.0).floor() / 10.0 } else { (fit * 1000.0).floor() / 1000.0 };
        asked = Asked::by(changed(raster, Scan { speed, ..raster.scan }), marking)?.most();
        if asked <= 1.0 {
            return Some(speed);
        }
    }
    None
}

/// `link-starved`: the link cannot carry the densest stretch of the program at this speed, or the controller cannot take
/// in its moves.
pub fn starved(raster: &RasterPath, marking: Marking<'_>, load: &Load) -> Option<Finding> {
    let limits = &raster.limits;
    let asked = Asked::of(limits, load);
    if asked.most() <= 1.0 {
        return None;
    }
    // The one that is shortest is told of.
    let by_moves = asked.moves > asked.bytes;
    let (peak, rate) =
        if by_moves { (load.moves, limits.moves_per_s) } else { (load.bytes, limits.link_bytes_per_s) };
    let rate = short(rate?, 1);
    let at = limits.to_blank(peak.at);
    let (speed, place, needed) = (short(raster.scan.speed, 2), spot(at), short(peak.per_s, 0));
    // People count from 1.
    let (line, lines) = (peak.line + 1, raster.lines);
    let message = if by_moves {
        text!("findings.link-starved.moves", speed, place, needed, line, lines, rate)
    } else {
        text!("findings.link-starved.bytes", speed, place, needed, line, lines, rate)
    };
    let severity = if limits.power_mode == PowerMode::Constant { Severity::Stop } else { Severity::Caution };
    let of = if by_moves { "% of the controller's moves" } else { "% of the link" };
    let mut finding = Finding::new("link-starved", severity, message).measuring(asked.most() * 100.0, of);
    finding.at_mm = Some(at);
    if let Some(speed) = fed(raster, marking, asked.most()) {
        finding = finding.with(Remedy::slower(speed, 3));
    }
    let mut with = raster.clone();
    let enough = (peak.per_s * 1.01).ceil();
    *(if by_moves { &mut with.limits.moves_per_s } else { &mut with.limits.link_bytes_per_s }) = Some(enough);
    let (change, unit, text) = if by_moves {
        ("controller", "moves/s", text!("findings.link-starved.controller", enough))
    } else {
        ("link", "bytes/s", text!("findings.link-starved.link", enough))
    };
    let verified = Asked::by(changed(&with, with.scan), marking).is_some_and(|asked| asked.most() <= 1.0);
    Some(finding.with(Remedy::new(change, enough, unit, text).verified(verified)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::motion::tests::{find, solid};
    use crate::plane::Dots;
    use crate::scan::axis::Axis;

    #[test]
    fn a_starved_link_names_the_speed_that_fits() {
        let mut dots = Dots::off(800, 4);
        (0..800).step_by(2).for_each(|x| dots.set(x, 2, true));
        let f = &find(&Limits::default(), Scan::new(150.0, 0.9), &dots)[0];
        assert_eq!((f.name, f.severity), ("link-starved", Severity::Stop));
        assert!(
            f.message.contains("(line of dots 3 of 4)") && f.message.contains("11520 bytes/s"),
            "{}",
            f.message
        );
        let speed = &f.remedies[0];
        // 16 or 17 bytes for two dots of 0.1 mm: near 11520/(16.5/0.2 mm) = 140 mm/s.
        assert!(speed.verified && speed.value > 130.0 && speed.value < 150.0, "{speed:?}");
        let slower = find(&Limits::default(), Scan::new(speed.value, 0.9), &dots);
        assert!(slower.iter().all(|f| f.name != "link-starved"), "{slower:?}");
    }

    #[test]
    fn short_lines_whose_turns_do_not_fill_the_store_starve_a_slow_link() {
        // Lines of 0.3 mm: 32 bytes for 35 ms, turn and all, in which 30 bytes come.
        let quick =
            |letter| Axis { acceleration: 6000.0, top_speed: 500.0, rapid_speed: 500.0, ..Axis::new(letter) };
        let limits =
            Limits { x: quick(b'X'), y: quick(b'Y'), link_bytes_per_s: Some(850.0), ..Limits::default() };
        let starved = |speed| {
            let found = find(&limits, Scan::new(speed, 0.9), &solid(3, 200));
            found.into_iter().find(|f| f.name == "link-starved")
        };
        let f = starved(30.0).unwrap();
        assert_eq!(f.severity, Severity::Stop);
        let speed = &f.remedies[0];
        assert!(speed.change == "speed" && speed.verified && f.remedies[1].verified, "{f:?}");
        assert_eq!(starved(speed.value), None);
    }

    #[test]
    fn a_controller_that_takes_in_too_few_moves_is_starved_too() {
        let mut dots = Dots::off(800, 4);
        (0..800).step_by(2).for_each(|x| dots.set(x, 2, true));
        // Two moves for two dots of 0.1 mm: 125 moves a second at 12.5 mm/s.
        let limits = |rate| Limits { moves_per_s: Some(rate), ..Limits::default() };
        assert_eq!(find(&limits(130.0), Scan::new(12.5, 0.9), &dots), []);
        let f = &find(&limits(10.0), Scan::new(12.5, 0.9), &dots)[0];
        assert_eq!((f.name, f.severity), ("link-starved", Severity::Stop));
        assert!(
            f.message.contains("needs 12") && f.message.contains("but the controller takes in 10: "),
            "{}",
            f.message
        );
        assert!(f.message.contains("moves a second (line of dots 3 of 4)"), "{}", f.message);
        let (speed, controller) = (&f.remedies[0], &f.remedies[1]);
        assert!(speed.verified && (0.9..1.1).contains(&speed.value), "{f:?}");
        assert!(controller.verified && controller.text.contains("moves_per_s = 12"), "{f:?}");
        assert_eq!(find(&limits(10.0), Scan::new(speed.value, 0.9), &dots), []);
    }
}
