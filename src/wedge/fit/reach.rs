//! Reach: whether any patch of a grid reaches a full mark, and which speeds hold one where none does.
//!
//! What no patch reaches is carried on from those below: the full mark, and with it the exposure of half of one. A camera's
//! curve of tones is not told from the coating's own rise there, for the two bend the same patches alike.

use super::fitted::ResponseFit;
use crate::findings::burn::shortfall;
use crate::mark::Response;
use crate::said::Said;
use crate::texts::text;
use crate::units::short;
use crate::wedge::reading::{NoteAbout, ReadingNote};
use crate::wedge::target::{TestPatch, Wedge};

/// The share of the mark that counts as full where slower speeds are named.
const AIM: f64 = 0.98;
/// The speeds that are named, over the one that is to give a full mark: those about it show how it comes and where char begins.
const ROUND: (f64, f64) = (0.7, 2.1);

/// Below this share of the mark what the light of a veil does is not told from the coating's own rise either (photos without one
/// whose strongest patch had two thirds of the mark showed veils of 12 to 48 %; with 85 % and more none).
const VEILS_FROM: f64 = 0.8;

/// A grid of which no patch reaches a full mark.
#[derive(Debug, Clone, PartialEq)]
pub struct ShortOfFull {
    /// What is to be said of it, with the speeds that hold a full mark.
    pub said: ReadingNote,
    /// Whether it shows veils none the less.
    pub shows_veils: bool,
}

/// Whether the strongest patch of the grid falls short of a full mark by more than can be seen, as `prepare` judges.
pub(super) fn short_of_full(wedge: &Wedge, fit: &ResponseFit, absolute: bool) -> Option<ShortOfFull> {
    if !fit.rms.is_finite() {
        return None;
    }
    let e = &wedge.expected;
    let curve = match absolute {
        true => fit.curve,
        false => Response { y_unmarked: e.y_unmarked, y_marked: e.y_marked, y_char: e.y_char, ..fit.curve },
    };
    let exposure = |p: &&TestPatch| wedge.burn(&p.dial, curve).x_solid;
    let settings = wedge.patches.iter().filter(|p| p.is_setting());
    let strongest = settings.max_by(|a, b| exposure(a).total_cmp(&exposure(b)))?;
    let burn = wedge.burn(&strongest.dial, curve);
    let reached = shortfall(&burn)?;
    let told = fit.x_half.get().is_some();
    // Exposure falls with the speed to the power of the exponent.
    let full = curve.x_half * libm::pow(AIM / (1.0 - AIM), 1.0 / curve.rise);
    let speed = strongest.dial.speed.0;
    let wanted = libm::pow(burn.x_solid / full, 1.0 / curve.schwarzschild).clamp(0.25, 1.0);
    let slower = if told { speed * ROUND.0 * wanted } else { 0.25 * speed };
    let from = slower.min(0.5 * speed);
    let range = speeds(&short(from, 1), &short(from * ROUND.1 / ROUND.0, 1));
    let shows_veils = told && reached >= VEILS_FROM;
    let unseen = if shows_veils {
        text!("wedge.short-of-full.unseen.bend")
    } else {
        text!("wedge.short-of-full.unseen.both")
    };
    let said = if told && reached >= 0.95 {
        // Of a dark mark one part in a hundred is seen.
        text!("wedge.short-of-full.seen", unseen)
    } else if told {
        text!("wedge.short-of-full.share", share = short(100.0 * reached, 0), unseen)
    } else {
        text!("wedge.short-of-full.untold", unseen)
    };
    Some(ShortOfFull { said: ReadingNote::range(NoteAbout::Beyond, said, range), shows_veils })
}

/// The speeds of another wedge, from one to the other.
pub(super) fn speeds(from: &str, to: &str) -> Said {
    Said::two(format!("--speed {from}..{to}mm/s"), text!("wedge.range.speed", from, to))
}

#[cfg(test)]
mod tests {
    use super::super::fitted::unknown;
    use super::*;
    use crate::units::MmPerS;
    use crate::wedge::grid;
    use crate::wedge::measurement::Measurement;

    #[test]
    fn a_grid_below_a_full_mark_names_slower_speeds_and_another_does_not() {
        let response = Response {
            y_unmarked: 0.03,
            y_marked: 0.65,
            y_char: 0.1,
            x_half: 2.2,
            rise: 6.25,
            schwarzschild: 0.8,
            x_char: 9.0,
            char_rise: 8.0,
            v0: MmPerS(12.5),
        };
        let wedge = grid::wedge(&grid::tests::grid_of(response)).unwrap();
        let said = |x_half: f64, told: bool| {
            let none = unknown(&[], 0.03, [0.12, 0.12], &wedge.expected, "not settled");
            let known = if told { Measurement::value(x_half, 0.1) } else { none.x_half.clone() };
            let fit = ResponseFit { rms: 0.1, x_half: known, curve: Response { x_half, ..response }, ..none };
            short_of_full(&wedge, &fit, false).map(|s| s.said.says)
        };
        // 5 W at 10 mm/s and a pitch of 0.1 mm are 4.78 J/mm²: beyond a full mark of the expected coating.
        assert_eq!(said(2.2, true), None);
        // A rise of 0.118 there; 0.98 at 12.3 J/mm², which is 3.07 mm/s.
        let weak = said(6.6, true).unwrap();
        assert!(
            weak.starts_with("no patch of the grid reaches a full mark") && weak.contains("has 12 % of it"),
            "{weak}"
        );
        assert!(weak.ends_with("draw another wedge with --speed 2.1..6.4mm/s"), "{weak}");
        assert!(weak.on_page().ends_with("draw another wedge with speed 2.1..6.4mm/s"), "{weak:?}");
        let open = said(6.6, false).unwrap();
        assert!(!open.contains('%') && open.ends_with("--speed 2.5..7.5mm/s"), "{open}");
    }
}
