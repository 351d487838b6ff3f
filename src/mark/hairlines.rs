//! Hairlines: lines of a drawing that are so much thinner than a dot that they look like a faint tint, and are ink.

use crate::plane::Tone;

/// All ink across a line is at least and at most this much of a dot; what has more is a stroke by its dots alone.
const INK: (f32, f32) = (0.06, 0.35);
/// A dot with no more is none of a line's.
const FAINT: f32 = 0.03;
/// The ground on either side has no more.
const BARE: f32 = 0.01;
/// A line goes on for so many dots at least: the points of tapered strokes do not.
const LONG: usize = 16;
/// All along it has the same ink, up to this share of it.
const ALIKE: f32 = 0.3;

/// A dot in the middle of what may be a hairline: where along and across the line, and all ink across it there.
#[derive(Debug, Clone, Copy)]
struct Place {
    along: usize,
    across: usize,
    ink: f32,
}

/// Columns and rows of the dots in which hairlines lie: faint, bare on either side, and long.
pub(super) fn dots(wanted: &Tone) -> Vec<(usize, usize)> {
    let (width, height) = (wanted.width(), wanted.height());
    let (mut upright, mut level) = (Vec::new(), Vec::new());
    for y in 2..height.saturating_sub(2) {
        let rows: [&[f32]; 5] = std::array::from_fn(|i| wanted.row(y + i - 2));
        for x in 2..width.saturating_sub(2) {
            let t = rows[2][x];
            if t <= FAINT || t > INK.1 {
                continue;
            }
            let along_row = std::array::from_fn(|i| rows[2][x + i - 2]);
            upright.extend(ink(along_row).map(|ink| Place { along: y, across: x, ink }));
            level.extend(ink(rows.map(|row| row[x])).map(|ink| Place { along: x, across: y, ink }));
        }
    }
    level.sort_unstable_by_key(|p| (p.along, p.across));
    let upright = long(&upright).into_iter().map(|p| (p.across, p.along));
    upright.chain(long(&level).into_iter().map(|p| (p.along, p.across))).collect()
}

/// The ink across a line whose darkest dot is in the middle; `None` where there is no hairline.
fn ink([far, left, middle, right, farther]: [f32; 5]) -> Option<f32> {
    let ink = left + middle + right;
    let thin = far <= BARE && farther <= BARE && middle > left && middle >= right;
    (thin && (INK.0..=INK.1).contains(&ink)).then_some(ink)
}

/// Those of the places, given in order along and then across, that follow each other for long.
fn long(places: &[Place]) -> Vec<Place> {
    let mut out = Vec::new();
    let mut end = |line: Vec<Place>| out.extend(Some(line).filter(|l| l.len() >= LONG).into_iter().flatten());
    // Lines that may go on, in order across.
    let mut open: Vec<Vec<Place>> = Vec::new();
    for abreast in places.chunk_by(|a, b| a.along == b.along) {
        let mut next: Vec<Vec<Place>> = Vec::new();
        let mut before = std::mem::take(&mut open).into_iter().peekable();
        for &place in abreast {
            while let Some(line) = before.next_if(|l| ends_before(l, place)) {
                end(line);
            }
            let mut line = before.next_if(|l| goes_on(l, place)).unwrap_or_default();
            line.push(place);
            next.push(line);
        }
        before.for_each(&mut end);
        open = next;
    }
    open.into_iter().for_each(end);
    out
}

/// Whether a line lies too far back for this place and all that come after it.
fn ends_before(line: &[Place], next: Place) -> bool {
    line.last().is_none_or(|last| last.along + 1 != next.along || last.across + 1 < next.across)
}

/// Whether it goes on there.
fn goes_on(line: &[Place], next: Place) -> bool {
    let beside = line.last().is_some_and(|last| last.across <= next.across + 1);
    beside && line.first().is_some_and(|first| (first.ink - next.ink).abs() <= ALIKE * first.ink)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(of: impl Fn(usize, usize) -> f32) -> Vec<(usize, usize)> {
        let tone = Tone::from_vec(60, 40, (0..60 * 40).map(|i| of(i % 60, i / 60)).collect());
        let mut all = dots(&tone);
        all.sort_unstable();
        all.dedup();
        all
    }

    #[test]
    fn a_line_much_thinner_than_a_dot_is_found_upright_level_and_slanting() {
        let upright = found(|x, y| if x == 20 && (5..35).contains(&y) { 0.11 } else { 0.0 });
        assert!((6..34).all(|y| upright.contains(&(20, y))) && upright.iter().all(|p| p.0 == 20));
        // Half in one row and half in the next.
        let level = found(|_, y| if y == 20 || y == 21 { 0.055 } else { 0.0 });
        assert!((2..58).all(|x| level.contains(&(x, 20))) && level.iter().all(|p| p.1 == 20));
        let slanting = found(|x, y| if x == 10 + y { 0.11 } else { 0.0 });
        assert!((5..35).all(|y| slanting.contains(&(10 + y, y))), "{slanting:?}");
    }

    #[test]
    fn two_lines_side_by_side_are_both_found() {
        let both = found(|x, _| if x == 20 || x == 30 { 0.15 } else { 0.0 });
        assert!((2..38).all(|y| both.contains(&(20, y)) && both.contains(&(30, y))));
    }

    #[test]
    fn tints_edges_specks_and_points_are_no_hairlines() {
        let none = |of: fn(usize, usize) -> f32| assert_eq!(found(of), []);
        // A pale tint, a soft shade, a pale bar of four dots.
        none(|x, y| if (10..50).contains(&x) && (10..30).contains(&y) { 0.11 } else { 0.0 });
        none(|x, _| 0.3 - 0.005 * x as f32);
        none(|x, _| if (20..24).contains(&x) { 0.11 } else { 0.0 });
        // The edge of a solid, and a stroke that its dots tell of.
        none(|x, _| if x < 30 { 1.0 } else { f32::from(u8::from(x == 30)) * 0.11 });
        none(|x, _| if x == 30 { 0.5 } else { 0.0 });
        // A short line, and a stroke that comes to a point.
        none(|x, y| if x == 30 && (10..24).contains(&y) { 0.11 } else { 0.0 });
        none(|x, y| if x == 30 { (1.0 - 0.03 * y as f32).max(0.0) } else { 0.0 });
    }
}
