//! Search: the best minimum of the model from several starts, with char or without.

use super::model::{CHAR, CHAR_RISE, CHARRED, CharGuess, HALF, MARKED, Model, Point, RISE, S, Solved};
use crate::colour::{lstar, luminance};
use crate::wedge::target::Expected;

/// The best minimum, with char or without; `known` is that of an earlier round, to start from.
pub(super) fn search(
    base: &Model<'_>,
    expected: &Expected,
    s_free: bool,
    known: Option<&Solved>,
) -> Option<Solved> {
    let bare = lstar(base.y_unmarked);
    let extreme = base
        .points
        .iter()
        .map(|p| p.lightness)
        .max_by(|a, b| (a - bare).abs().total_cmp(&(b - bare).abs()))
        .unwrap_or(bare);
    let marked = luminance(extreme).max(1e-3);
    let halves = half_guesses(base.points, bare, extreme, expected);
    let start = |half: f64, s: f64| -> [f64; 7] {
        let char_rise = expected.char_rise.ln();
        [marked.ln(), half.ln(), 5f64.ln(), s, expected.y_char.max(1e-3).ln(), (4.0 * half).ln(), char_rise]
    };
    let mut free = vec![MARKED, HALF, RISE];
    if s_free {
        free.push(S);
    }
    let plain: Vec<[f64; 7]> = match known {
        Some(k) => vec![k.all],
        None => {
            halves.iter().flat_map(|&h| [expected.schwarzschild, 0.65, 0.95].map(|s| start(h, s))).collect()
        }
    };
    let rising = best(plain.into_iter().filter_map(|s| base.solve(s, &free)));
    let with: Vec<usize> = free.iter().copied().chain([CHARRED, CHAR, CHAR_RISE]).collect();
    let n = base.points.len();
    let mut both = None;
    if n >= with.len() + 2 {
        // Char may look otherwise than expected, too: as soot, which reflects 2 % to 4 %, and darker than the
        // darkest patch, which is on its way there.
        let looks = [expected.y_char.max(1e-3), 0.03f64.min(0.5 * marked)];
        let later = (expected.x_char.0 / expected.x_half.0).clamp(1.5, 20.0);
        let guesses = looks.map(|look| CharGuess { look, rise: expected.char_rise, later });
        let starts: Vec<[f64; 7]> = match known {
            Some(k) if k.char.is_some() => vec![k.all],
            _ => rising
                .iter()
                .map(|r| r.all)
                .chain(halves.iter().map(|&h| start(h, rising.as_ref().map_or(0.8, |r| r.all[S]))))
                .flat_map(|all| [2.5f64, 4.5].map(|ratio| with_char_at(all, ratio)))
                .collect(),
        };
        both = best(guesses.into_iter().flat_map(|g| starts.iter().map(move |s| (g, *s))).filter_map(
            |(g, mut s)| {
                if known.is_none_or(|k| k.char.is_none()) {
                    s[CHARRED] = g.look.ln();
                }
                Model { char: Some(g), ..*base }.solve(s, &with)
            },
        ));
    }
    let n = n as f64;
    let score = |cost: f64, k: f64| cost + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0).max(1.0);
    match (rising, both) {
        (Some(a), Some(b)) => {
            // Of the char's three values two are roughly known beforehand: it counts as one parameter.
            let k = free.len() as f64;
            Some(if score(a.cost, k) - score(b.cost, k + 1.0) > 4.0 { b } else { a })
        }
        (a, b) => a.or(b),
    }
}

fn with_char_at(mut all: [f64; 7], ratio: f64) -> [f64; 7] {
    all[CHAR] = all[HALF] + ratio.ln();
    all
}

fn best(all: impl Iterator<Item = Solved>) -> Option<Solved> {
    all.min_by(|a, b| a.cost.total_cmp(&b.cost))
}

/// Exposures at which the patches pass half way from bare to the extreme, and the expected one.
fn half_guesses(points: &[Point], bare: f64, extreme: f64, expected: &Expected) -> Vec<f64> {
    let exposure = |p: &Point| p.dose * (p.speed / expected.v0.0).powf(1.0 - expected.schwarzschild);
    let mut sorted: Vec<(f64, f64)> =
        points.iter().map(|p| (exposure(p), (p.lightness - bare) / (extreme - bare))).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let passed = sorted.windows(2).find(|w| w[0].1 < 0.5 && w[1].1 >= 0.5).map(|w| (w[0].0 * w[1].0).sqrt());
    let mut out = vec![passed.unwrap_or(expected.x_half.0)];
    if passed.is_some_and(|p| (p / expected.x_half.0).ln().abs() > 0.2) {
        out.push(expected.x_half.0);
    }
    out
}
