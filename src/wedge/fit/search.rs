//! Search: the best minimum of the model from several starts, with char or without.

use super::model::{
    ACROSS, ALL, ALONG, CHAR, CHAR_RISE, CHARRED, CharGuess, EARLIER, MARKED, Model, OTHER, Parameters,
    Point, S, Solved,
};
use crate::colour::{lstar, luminance};
use crate::parallel;
use crate::wedge::target::Expected;

/// The patch that was burnt to be charred counts as uncharred where it differs from the full mark of all the others by no more
/// than this, and these know that mark as well, natural logarithms of its luminance (own judgement).
const LIKE_THE_MARK: f64 = 0.02;

/// The best minimum, with char or without; `known` is that of an earlier round, to start from.
pub(super) fn search(
    base: &Model<'_>,
    expected: &Expected,
    s_free: bool,
    known: Option<&Solved>,
) -> Option<Solved> {
    // The first starts are many and meet the solids alone: fine patterns would only mislead them, for the beam is not known.
    let (solids, errors) = solids(base);
    let alone = Model { points: &solids, errors: &errors, white: None, ..*base };
    let coarse = base.has_fine() && known.is_none() && solids.len() >= 8;
    let first = from_starts(if coarse { &alone } else { base }, expected, s_free, known);
    let (rising, both) = if coarse {
        let free = base.free(s_free);
        let with: Vec<usize> = free.iter().copied().chain([CHARRED, CHAR, CHAR_RISE]).collect();
        let again = |s: Solved| match s.char {
            Some(_) => Model { char: s.char, ..*base }.solve(s.all, &with),
            None => base.solve(s.all, &free),
        };
        parallel::both(|| first.0.and_then(again), || first.1.and_then(again))
    } else {
        first
    };
    let n = base.points.len() as f64;
    let score = |cost: f64, k: f64| cost + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0).max(1.0);
    match (rising, both) {
        (Some(a), Some(b)) => {
            // Of the char's three values two are roughly known beforehand: it counts as one parameter.
            let k = base.free(s_free).len() as f64;
            let shows = score(a.cost, k) - score(b.cost, k + 1.0) > 4.0;
            Some(if shows || !is_uncharred(base, &a, s_free) { b } else { a })
        }
        (a, b) => a.or(b),
    }
}

/// Whether what was burnt to be charred, if anything, is marked in full and no more, as the other patches tell. Where these
/// do not reach a full mark themselves, a patch that is a little charred would be taken for one and all exposures come out too
/// small: then char is to be fitted, with what is known of it beforehand.
fn is_uncharred(base: &Model<'_>, found: &Solved, s_free: bool) -> bool {
    let kept: Vec<usize> = (0..base.points.len()).filter(|&i| !base.points[i].charred).collect();
    if kept.len() == base.points.len() {
        return true;
    }
    let points: Vec<Point> = kept.iter().map(|&i| base.points[i]).collect();
    let errors: Vec<f64> = kept.iter().map(|&i| base.errors[i]).collect();
    let others = Model { points: &points, errors: &errors, white: None, ..*base };
    others.solve(found.all, &base.free(s_free)).is_some_and(|alone| {
        let apart = (alone.all[MARKED] - found.all[MARKED]).abs();
        apart <= LIKE_THE_MARK && alone.error[MARKED] <= LIKE_THE_MARK
    })
}

/// The solids with their errors.
fn solids(base: &Model<'_>) -> (Vec<Point>, Vec<f64>) {
    base.points.iter().zip(base.errors).filter(|(p, _)| base.is_solid(p)).map(|(p, e)| (*p, *e)).unzip()
}

/// The best minimum without char and the best with it.
fn from_starts(
    base: &Model<'_>,
    expected: &Expected,
    s_free: bool,
    known: Option<&Solved>,
) -> (Option<Solved>, Option<Solved>) {
    let bare = |sheet: usize| lstar(base.bare.get(sheet).copied().unwrap_or(0.0));
    let extreme = |sheet: usize| {
        base.points
            .iter()
            .filter(|p| p.sheet == sheet)
            .map(|p| p.lightness)
            .max_by(|a, b| (a - bare(sheet)).abs().total_cmp(&(b - bare(sheet)).abs()))
            .unwrap_or(bare(sheet))
    };
    let marked = |sheet: usize| luminance(extreme(sheet)).max(1e-3);
    let halves = half_guesses(base.points, bare(0), extreme(0), expected);
    let start = |half: f64, s: f64| -> Parameters {
        let char_rise = libm::log(expected.char_rise);
        let mut all = [0.0; ALL];
        let own = [
            libm::log(marked(0)),
            libm::log(half),
            libm::log(5.0),
            s,
            libm::log(expected.y_char.max(1e-3)),
            libm::log(4.0 * half),
            char_rise,
        ];
        all[..own.len()].copy_from_slice(&own);
        (all[ALONG], all[ACROSS]) = (libm::log(base.beam.beam[0]), libm::log(base.beam.beam[1]));
        all[OTHER..OTHER + EARLIER].iter_mut().enumerate().for_each(|(k, v)| *v = libm::log(marked(k + 1)));
        all
    };
    let free = base.free(s_free);
    let plain: Vec<Parameters> = match known {
        Some(k) => vec![k.all],
        None => {
            halves.iter().flat_map(|&h| [expected.schwarzschild, 0.65, 0.95].map(|s| start(h, s))).collect()
        }
    };
    let rising = best(parallel::map(plain.len(), |i| base.solve(plain[i], &free)));
    let with: Vec<usize> = free.iter().copied().chain([CHARRED, CHAR, CHAR_RISE]).collect();
    let mut both = None;
    if base.points.len() >= with.len() + 2 {
        // Char may look otherwise than expected, too: as soot, which reflects 2 % to 4 %, and darker than the
        // darkest patch, which is on its way there.
        let looks = [expected.y_char.max(1e-3), 0.03f64.min(0.5 * marked(0))];
        let later = (expected.x_char.0 / expected.x_half.0).clamp(1.5, 20.0);
        let guesses = looks.map(|look| CharGuess { look, rise: expected.char_rise, later });
        let starts: Vec<Parameters> = match known {
            Some(k) if k.char.is_some() => vec![k.all],
            _ => rising
                .iter()
                .map(|r| r.all)
                .chain(halves.iter().map(|&h| start(h, rising.as_ref().map_or(0.8, |r| r.all[S]))))
                .flat_map(|all| [2.5f64, 4.5].map(|ratio| with_char_at(all, ratio)))
                .collect(),
        };
        let tried: Vec<_> = guesses.into_iter().flat_map(|g| starts.iter().map(move |s| (g, *s))).collect();
        both = best(parallel::map(tried.len(), |i| {
            let (guess, mut s) = tried[i];
            if known.is_none_or(|k| k.char.is_none()) {
                s[CHARRED] = libm::log(guess.look);
            }
            Model { char: Some(guess), ..*base }.solve(s, &with)
        }));
    }
    (rising, both)
}

fn with_char_at(mut all: Parameters, ratio: f64) -> Parameters {
    all[CHAR] = all[super::model::HALF] + libm::log(ratio);
    all
}

fn best(all: Vec<Option<Solved>>) -> Option<Solved> {
    all.into_iter().flatten().min_by(|a, b| a.cost.total_cmp(&b.cost))
}

/// Exposures at which the patches of the sheet that is read pass half way from bare to the extreme, and the expected one.
fn half_guesses(points: &[Point], bare: f64, extreme: f64, expected: &Expected) -> Vec<f64> {
    let exposure = |p: &Point| p.dose * libm::pow(p.speed / expected.v0.0, 1.0 - expected.schwarzschild);
    let own = points.iter().filter(|p| p.sheet == 0);
    let mut sorted: Vec<(f64, f64)> =
        own.map(|p| (exposure(p), (p.lightness - bare) / (extreme - bare))).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let passed = sorted.windows(2).find(|w| w[0].1 < 0.5 && w[1].1 >= 0.5).map(|w| (w[0].0 * w[1].0).sqrt());
    let mut out = vec![passed.unwrap_or(expected.x_half.0)];
    if passed.is_some_and(|p| libm::log(p / expected.x_half.0).abs() > 0.2) {
        out.push(expected.x_half.0);
    }
    out
}
