//! Letters: what hangs together in a text, so that one that is lost counts however long the text is.

use crate::plane::Tone;
use crate::plane::sets::Sets;

/// A dot of a letter wants at least this much marked.
const STROKE: f32 = 0.5;
/// What has less ink than this share of the largest letter's is a point, a stop or an accent (own measurement: an i without
/// its point has a fifth of an M's).
const SIGN: f64 = 0.125;

/// The largest share of one letter that is `gone`, which says of each dot of the text how much; 0 where it has no letters.
pub(super) fn worst(text: &Tone, gone: &[f32]) -> f64 {
    let width = text.width();
    let mut sets = Sets::default();
    let mut letter = vec![None; text.data().len()];
    for (i, _) in text.data().iter().enumerate().filter(|(_, v)| **v >= STROKE) {
        let new = sets.add();
        letter[i] = Some(new);
        let (x, before) = (i % width, |back: usize| i.checked_sub(back).and_then(|at| letter[at]));
        let beside = [
            before(1).filter(|_| x > 0),
            before(width + 1).filter(|_| x > 0),
            before(width),
            before(width - 1).filter(|_| x + 1 < width),
        ];
        for other in beside.into_iter().flatten() {
            sets.join(other, new);
        }
    }
    let strokes = letter.iter().filter(|l| l.is_some()).count();
    let (mut all, mut lost) = (vec![0.0; strokes], vec![0.0; strokes]);
    for ((found, &v), &gone) in letter.into_iter().zip(text.data()).zip(gone) {
        if let Some(found) = found {
            let root = sets.root(found) as usize;
            all[root] += f64::from(v);
            lost[root] += f64::from(gone);
        }
    }
    let largest = all.iter().copied().fold(0.0, f64::max);
    let letters = all.iter().zip(&lost).filter(|(all, _)| **all > SIGN * largest);
    letters.map(|(all, lost)| lost / all).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_letter_that_loses_most_is_found_and_no_point() {
        // An i, whose point is apart from it, and an o, both of which lose some.
        let plane = |rows: [&str; 5]| -> Vec<f32> {
            rows.concat().chars().map(|c| f32::from(u8::from(c != '.'))).collect()
        };
        let text = Tone::from_vec(7, 5, plane(["#..####", "...#..#", "#..#..#", "#..#..#", "#..####"]));
        let gone = plane(["x......", ".......", ".......", "...x..x", "...xxxx"]);
        // Of the fourteen dots of the o six are gone.
        assert_eq!(worst(&text, &gone), 6.0 / 14.0);
        assert_eq!(worst(&text, &[0.0; 35]), 0.0);
        assert_eq!(worst(&Tone::filled(3, 2, 0.0), &[0.0; 6]), 0.0);
    }

    #[test]
    fn strokes_that_meet_at_corners_are_one_letter() {
        let text = Tone::from_vec(4, 3, vec![1.0, 0.0, 0.0, 1.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
        let mut gone = vec![0.0; 12];
        gone[0] = 1.0;
        assert_eq!(worst(&text, &gone), 0.25);
    }
}
