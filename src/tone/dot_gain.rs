//! The dot-gain curve: which dot coverage gives a wanted mark, for a screen and a burn.

use std::sync::{Mutex, PoisonError};

use serde::Deserialize;

use crate::mark::Forecast;
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::Silent;
use crate::screen::{Options, Screen, Wants};
use crate::texts::text;

/// Where a curve comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GainSource {
    /// Coverage is left as it is: the screen sees to the dot gain itself, does not keep tones, or none is wanted.
    None,
    /// Forecast on flat patches.
    Forecast,
    /// Measured on a tone wedge, or read from a file.
    Measured,
}

/// A patch of a tone wedge: its coverage, its mark as a share of that of the solid beside it, and the standard
/// uncertainty of that share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredStep {
    /// Dot coverage, 0 to 1.
    pub coverage: f64,
    /// Share of the solid's mark, 0 to 1.
    pub mark: f64,
    /// Its standard uncertainty.
    pub sigma: f64,
}

/// Mark fraction by dot coverage, rising, from (0, 0) to a solid.
#[derive(Debug, Clone, PartialEq)]
pub struct GainCurve {
    /// Dot coverage, 0 to 1, rising.
    pub coverage: Vec<f32>,
    /// Mark fraction at each coverage, 0 to 1, rising.
    pub mark: Vec<f32>,
    /// Where it comes from.
    pub source: GainSource,
    /// Coverage above which the mark falls again, because it chars. The curve goes on to (1, 1) from
    /// there, so that a wanted solid stays a solid and the over-burn is found, not hidden in a texture.
    pub limit: Option<f32>,
}

/// What the mark of a flat patch is off by at least, as a share of a solid's: the forecast keeps the mean to 0.3 %,
/// and a patch of a few millimetres holds a few thousand dots.
const LEAST_SIGMA: f64 = 0.004;

/// Why numbers are not a tone curve.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GainError {
    /// The text is not TOML, or a key is missing, unknown or of the wrong kind.
    #[error("{}", text!("tone.curve.unread", why = .0))]
    Syntax(String),
    /// The lists differ in length or are too short.
    #[error("{}", text!("tone.curve.lengths", coverage = .coverage, mark = .mark))]
    Lengths {
        /// Values in `coverage`.
        coverage: usize,
        /// Values in `mark`.
        mark: usize,
    },
    /// A value outside 0 to 1.
    #[error("{}", text!("tone.curve.range", key = .key, number = .number, value = .value))]
    Range {
        /// The list's key.
        key: &'static str,
        /// Which value, counted from 1.
        number: usize,
        /// The value as given.
        value: f64,
    },
    /// A value that does not rise above the one before it.
    #[error("{}", text!(
        "tone.curve.not-rising",
        key = .key,
        number = .number,
        value = .value,
        before = .before,
    ))]
    NotRising {
        /// The list's key.
        key: &'static str,
        /// Which value, counted from 1.
        number: usize,
        /// The value as given.
        value: f64,
        /// The value before it.
        before: f64,
    },
    /// No patch of full coverage.
    #[error("{}", text!("tone.curve.no-solid", last = .last))]
    NoSolid {
        /// The last coverage.
        last: f64,
    },
}

/// Coverages at which patches are forecast: close together where curves bend, and off the simple
/// fractions (1/4, 1/2, …) at which error diffusion locks into a regular pattern unlike its neighbours.
const LEVELS: [f32; 30] = [
    0.003, 0.007, 0.013, 0.022, 0.035, 0.052, 0.072, 0.095, 0.121, 0.155, 0.19, 0.23, 0.275, 0.32, 0.365,
    0.41, 0.455, 0.52, 0.57, 0.62, 0.67, 0.72, 0.77, 0.82, 0.865, 0.905, 0.94, 0.967, 0.987, 0.996,
];
/// Side of a patch, dots; very light and very dark ones hold few dots and are larger.
const SIDE: usize = 128;
/// Dots at a patch's edge that are left out: start-up of a diffusion, and the beam's reach.
const EDGE: usize = 16;
/// A screen whose coverage is off the asked one by more than this does not keep tones.
const KEEPS_TONE: f32 = 0.06;
/// A fall of the mark towards the solid that counts as charring, not as noise.
const FALL: f32 = 0.01;
/// Entries of the table that turns tones round; between them, straight lines.
const TABLE: usize = 4096;

impl GainCurve {
    /// The curve that leaves coverage as it is.
    pub fn none() -> Self {
        GainCurve { coverage: vec![0.0, 1.0], mark: vec![0.0, 1.0], source: GainSource::None, limit: None }
    }

    /// A measured curve from points; `(0, 0)` is added where it is missing.
    ///
    /// # Errors
    /// Lists of different length, values out of range or not rising, no solid.
    pub fn from_points(coverage: &[f64], mark: &[f64]) -> Result<Self, GainError> {
        if coverage.len() != mark.len() || coverage.len() < 3 {
            return Err(GainError::Lengths { coverage: coverage.len(), mark: mark.len() });
        }
        for (key, list) in [("coverage", coverage), ("mark", mark)] {
            for (i, &value) in list.iter().enumerate() {
                if !(0.0..=1.0).contains(&value) {
                    return Err(GainError::Range { key, number: i + 1, value });
                }
                if i > 0 && value <= list[i - 1] {
                    return Err(GainError::NotRising { key, number: i + 1, value, before: list[i - 1] });
                }
            }
        }
        let last = coverage.last().copied().unwrap_or(0.0);
        if last < 1.0 {
            return Err(GainError::NoSolid { last });
        }
        let mut curve = GainCurve {
            coverage: coverage.iter().map(|&v| v as f32).collect(),
            mark: mark.iter().map(|&v| v as f32).collect(),
            source: GainSource::Measured,
            limit: None,
        };
        if curve.coverage[0] > 0.0 {
            curve.coverage.insert(0, 0.0);
            curve.mark.insert(0, 0.0);
        }
        Ok(curve)
    }

    /// A measured curve from a TOML text with the lists `coverage` and `mark`.
    ///
    /// # Errors
    /// As [`GainCurve::from_points`], and where the text is no such file.
    pub fn from_toml(text: &str) -> Result<Self, GainError> {
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct File {
            coverage: Vec<f64>,
            mark: Vec<f64>,
        }
        // The message alone: with it the library would repeat the whole line, however long.
        let file: File = toml::from_str(text).map_err(|e| {
            let before = e.span().and_then(|s| text.get(..s.start)).unwrap_or("");
            let line = before.matches('\n').count() + 1;
            let why = e.message().replace('\n', " ");
            GainError::Syntax(text!("tone.curve.line", line, why))
        })?;
        GainCurve::from_points(&file.coverage, &file.mark)
    }

    /// This forecast curve, moved to where the steps of a tone wedge lie; `solid` is the mark of a solid, as a share of
    /// a full mark: the steps are shares of it.
    ///
    /// Between the steps the curve keeps the forecast's shape, which bends more than straight lines between ten steps
    /// could. How far the steps may leave it is told by the steps themselves: each difference is drawn towards the
    /// forecast by the part of their common variance that their own uncertainty explains (empirical Bayes; Efron and
    /// Morris 1973). Where the forecast is right within what the photo shows, it stays.
    pub fn moved_to(&self, steps: &[MeasuredStep], solid: f64) -> Self {
        let inner: Vec<(f32, f64, f64)> = steps
            .iter()
            .filter(|s| s.coverage > 0.0 && s.coverage < 1.0)
            .map(|s| {
                let c = s.coverage as f32;
                (c, solid * s.mark - f64::from(self.mark_of(c)), solid * s.sigma.max(LEAST_SIGMA))
            })
            .collect();
        let n = inner.len().max(1) as f64;
        let excess = inner.iter().map(|(_, d, s)| d * d - s * s).sum::<f64>() / n;
        if excess <= 0.0 {
            return self.clone();
        }
        let (mut at, mut by) = (vec![0.0], vec![0.0]);
        for (c, d, s) in inner {
            at.push(c);
            by.push((d * excess / (excess + s * s)) as f32);
        }
        at.push(1.0);
        by.push(0.0);
        // Past the turn that char makes, the curve only leads to a solid.
        let last = self.limit.unwrap_or(1.0);
        let mut places: Vec<f32> = self.coverage.iter().chain(&at).copied().filter(|c| *c <= last).collect();
        places.sort_by(f32::total_cmp);
        places.dedup();
        let points = places.iter().map(|&c| (c, (self.mark_of(c) + interpolate(&at, &by, c)).max(0.0)));
        let mut moved = rising(points.collect());
        if let Some(limit) = self.limit {
            moved.coverage.push(1.0);
            moved.mark.push(moved.mark.last().map_or(1.0, |&m| (m + 1e-3).max(1.0)));
            moved.limit = Some(limit);
        }
        GainCurve { source: GainSource::Measured, ..moved }
    }

    /// The curve of a screen that sees to the dot gain itself: it gives the mark that is asked for.
    pub fn own(solid: f64) -> Self {
        let marks = vec![0.0, solid.clamp(0.5, 0.999) as f32, 1.0];
        GainCurve { coverage: marks.clone(), mark: marks, source: GainSource::None, limit: None }
    }

    /// The greatest mark that any coverage gives: that of a solid, or of the coverage where char turns
    /// it down. No wanted tone above it is reached.
    pub fn reach(&self) -> f32 {
        match self.limit {
            Some(limit) => self.mark_of(limit),
            None => self.mark.last().copied().unwrap_or(1.0),
        }
    }

    /// The mark fraction that the coverage gives.
    pub fn mark_of(&self, coverage: f32) -> f32 {
        interpolate(&self.coverage, &self.mark, coverage)
    }

    /// The coverage that gives the wanted mark; a solid where none reaches it.
    pub fn invert(&self, mark: f32) -> f32 {
        interpolate(&self.mark, &self.coverage, mark)
    }

    /// Turns wanted marks into coverages, in place.
    pub fn apply(&self, mut tone: Tone) -> Tone {
        if self.source == GainSource::None {
            return tone;
        }
        let table: Vec<f32> = (0..=TABLE + 1).map(|i| self.invert(i as f32 / TABLE as f32)).collect();
        let Ok(table) = Box::<[f32; TABLE + 2]>::try_from(table.into_boxed_slice()) else { return tone };
        let width = tone.width();
        parallel::bands(tone.data_mut(), width, 64, |_, band| {
            for v in band {
                // A tone that is not a number falls to 0 here.
                let at = if *v > 0.0 { *v } else { 0.0 }.min(1.0) * TABLE as f32;
                let i = (at as u32).min(TABLE as u32) as usize;
                let (a, b) = (table[i], table[i + 1]);
                *v = a + (b - a) * (at - i as f32);
            }
        });
        tone
    }
}

/// Piecewise straight from `x` (rising) to `y`, held at both ends.
fn interpolate(x: &[f32], y: &[f32], at: f32) -> f32 {
    let i = x.partition_point(|&v| v <= at);
    match (i.checked_sub(1), x.get(i)) {
        (None, _) => y.first().copied().unwrap_or(0.0),
        (Some(_), None) => y.last().copied().unwrap_or(1.0),
        (Some(j), Some(&next)) => y[j] + (y[i] - y[j]) * (at - x[j]) / (next - x[j]),
    }
}

/// The curve of a screen under the burn in `options`, forecast on flat patches; remembered for the
/// same screen and options as long as the process runs.
pub fn forecast(screen: &Screen, options: &Options) -> GainCurve {
    type Known = (&'static str, Options, GainCurve);
    static KNOWN: Mutex<Vec<Known>> = Mutex::new(Vec::new());
    if screen.wants == Wants::Mark {
        return GainCurve::none();
    }
    let found = |known: &[Known]| {
        known.iter().find(|(name, o, _)| *name == screen.name && o == options).map(|k| k.2.clone())
    };
    if let Some(curve) = found(&KNOWN.lock().unwrap_or_else(PoisonError::into_inner)) {
        return curve;
    }
    let curve = forecast_anew(screen, options);
    let mut known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
    if known.len() >= 64 {
        known.remove(0);
    }
    known.push((screen.name, options.clone(), curve.clone()));
    curve
}

/// The same, worked out afresh.
pub fn forecast_anew(screen: &Screen, options: &Options) -> GainCurve {
    let burn = Forecast::new(&options.burn);
    let points = parallel::map(LEVELS.len(), |i| {
        let level = LEVELS[i];
        let few = level.min(1.0 - level) < 0.03;
        let side = if few { SIDE * 2 } else { SIDE } + 2 * EDGE;
        let dots = screen.dots(&Tone::filled(side, side, level), options, &Silent);
        let (coverage, mark) = interior(&burn, &dots);
        (level, coverage, mark)
    });
    let strays = |&(level, coverage, _): &(f32, f32, f32)| (coverage - level).abs() > KEEPS_TONE;
    if points.iter().any(strays) {
        return GainCurve::none();
    }
    let mut points: Vec<(f32, f32)> = points.into_iter().map(|(_, c, m)| (c, m)).collect();
    points.push((0.0, 0.0));
    points.push((1.0, burn.solid().mark));
    rising(points)
}

/// Coverage and mean mark of a patch without its edge.
fn interior(burn: &Forecast, dots: &Dots) -> (f32, f32) {
    let (w, h) = (dots.width(), dots.height());
    let marks = burn.plane(dots);
    let (mut on, mut sum) = (0u32, 0.0f64);
    for y in EDGE..h - EDGE {
        on += (EDGE..w - EDGE).map(|x| u32::from(dots.get(x, y))).sum::<u32>();
        sum += marks.row(y)[EDGE..w - EDGE].iter().map(|&v| f64::from(v)).sum::<f64>();
    }
    let cells = ((w - 2 * EDGE) * (h - 2 * EDGE)) as f64;
    ((f64::from(on) / cells) as f32, (sum / cells) as f32)
}

/// Forecast points made into a rising curve: cut where charring turns it down, then the nearest rising
/// curve in the least-squares sense (pool adjacent violators; Ayer et al. 1955), then a hair of slope
/// where it is flat, so that it can be turned round.
fn rising(mut points: Vec<(f32, f32)>) -> GainCurve {
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Screens of few levels give the same coverage more than once: those are one point.
    let mut merged: Vec<(f32, f32, f32)> = Vec::new();
    for (c, m) in points {
        match merged.last_mut() {
            Some(last) if c - last.0 < 1e-4 => {
                last.1 = (last.1 * last.2 + m) / (last.2 + 1.0);
                last.2 += 1.0;
            }
            _ => merged.push((c, m, 1.0)),
        }
    }
    let best = (0..merged.len()).fold(0, |b, i| if merged[i].1 > merged[b].1 { i } else { b });
    let fall = merged[best].1 - merged.last().map_or(0.0, |l| l.1);
    let limit = (fall > FALL).then(|| merged[best].0);
    if limit.is_some() {
        merged.truncate(best + 1);
    }
    // Pools: (mean mark, weight, how many points).
    let mut pools: Vec<(f32, f32, usize)> = Vec::new();
    for &(_, mark, weight) in &merged {
        let mut pool = (mark, weight, 1);
        while let Some(&(m, w, n)) = pools.last() {
            if m < pool.0 {
                break;
            }
            pool = ((m * w + pool.0 * pool.1) / (w + pool.1), w + pool.1, n + pool.2);
            pools.pop();
        }
        pools.push(pool);
    }
    let flat = pools.iter().flat_map(|&(m, _, n)| std::iter::repeat_n(m, n));
    let mut coverage: Vec<f32> = merged.iter().map(|p| p.0).collect();
    let mut mark: Vec<f32> = Vec::with_capacity(coverage.len());
    for (i, m) in flat.enumerate() {
        let least = if i == 0 { 0.0 } else { mark[i - 1] + 1e-3 * (coverage[i] - coverage[i - 1]) };
        mark.push(m.max(least));
    }
    if limit.is_some() {
        coverage.push(1.0);
        mark.push(mark.last().map_or(1.0, |&m| (m + 1e-3).max(1.0)));
    }
    GainCurve { coverage, mark, source: GainSource::Forecast, limit }
}

/// Holds coverage to at most `share` (0 to 1), softly: light tones are left alone, those near full
/// coverage are drawn together, so that texture stays. Full coverage becomes exactly `share`; the
/// slope falls from 1 to no less than ½ where `share` is at least 75 %.
pub fn ceiling(mut tone: Tone, share: f64) -> Tone {
    let share = share.clamp(0.0, 1.0) as f32;
    let knee = (1.0 - 4.0 * (1.0 - share)).max(0.0);
    let bend = (1.0 - share) / ((1.0 - knee) * (1.0 - knee)).max(1e-12);
    let width = tone.width();
    parallel::bands(tone.data_mut(), width, 64, |_, band| {
        for v in band {
            let x = v.clamp(0.0, 1.0);
            let over = (x - knee).max(0.0);
            *v = if share >= 0.5 { x - bend * over * over } else { share * x * (2.0 - x) };
        }
    });
    tone
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::Burn;
    use crate::parallel::with_threads;
    use crate::screen;

    /// A scattered screen of our own for the tests: a running sum along the line, shifted by line.
    const CARRY: Screen =
        Screen { name: "carry", wants: Wants::Coverage, searches: false, takes: &[], make: carry };

    fn carry(tone: &Tone, _: &Options, _: &dyn crate::progress::Progress) -> Dots {
        let mut dots = Dots::off(tone.width(), tone.height());
        for y in 0..tone.height() {
            let mut sum = (y as f32 * 0.618_034).fract();
            for (x, &t) in tone.row(y).iter().enumerate() {
                sum += t;
                if sum >= 1.0 {
                    sum -= 1.0;
                    dots.set(x, y, true);
                }
            }
        }
        dots
    }

    fn options(beam: f64) -> Options {
        Options::new(Burn::plain(beam, beam), 0.08, 0.08)
    }

    #[test]
    fn the_curve_rises_and_the_gain_is_felt() {
        for beam in [1.0, 1.5, 2.0, 3.0] {
            let c = forecast_anew(&CARRY, &options(beam));
            assert_eq!(c.source, GainSource::Forecast);
            assert_eq!((c.coverage[0], c.mark[0]), (0.0, 0.0));
            assert_eq!(*c.coverage.last().unwrap(), 1.0);
            assert!(c.mark.windows(2).all(|m| m[1] > m[0]) && c.coverage.windows(2).all(|m| m[1] > m[0]));
            // Under a beam of one pitch the lines lie apart, and a solid is not fully marked.
            let reach = if beam > 1.0 { 0.95..1.0 } else { 0.8..0.9 };
            assert!(c.limit.is_none() && reach.contains(&c.reach()), "{beam}: {c:?}");
        }
    }

    #[test]
    fn turning_round_and_back_gives_the_mark_again() {
        let c = forecast_anew(&CARRY, &options(1.5));
        for i in 0..=1000 {
            let mark = i as f32 / 1000.0 * c.reach();
            assert!((c.mark_of(c.invert(mark)) - mark).abs() < 1e-5, "{mark}");
        }
    }

    #[test]
    fn applied_tones_have_no_jumps_at_either_end() {
        let c = forecast_anew(&CARRY, &options(2.0));
        let n = 4 * TABLE;
        let ramp = Tone::from_vec(n + 1, 1, (0..=n).map(|i| i as f32 / n as f32).collect());
        let out = c.apply(ramp);
        let out = out.data();
        assert_eq!(out[0], 0.0);
        assert!(out[n] == 1.0 && out.windows(2).all(|v| v[1] >= v[0] && v[1] - v[0] < 0.1));
        let odd = c.apply(Tone::from_vec(3, 1, vec![f32::NAN, -3.0, 7.0]));
        assert_eq!(odd.data(), [0.0, 0.0, 1.0]);
    }

    #[test]
    fn a_threshold_gets_no_curve_and_where_the_mark_falls_again_it_is_said() {
        assert_eq!(forecast_anew(&screen::threshold::THRESHOLD, &options(1.5)), GainCurve::none());
        let mut o = options(1.5);
        o.burn.response.x_char = 0.8;
        o.burn.response.char_rise = 16.0;
        let c = forecast_anew(&CARRY, &o);
        let limit = c.limit.unwrap();
        assert!(limit < 1.0 && c.reach() == c.mark_of(limit), "{limit}");
        assert!((c.invert(c.reach()) - limit).abs() < 1e-4 && c.invert(1.0) == 1.0);
        assert!(c.mark.windows(2).all(|m| m[1] > m[0]));
    }

    #[test]
    fn pooling_gives_the_nearest_rising_curve() {
        // By hand: 0.4 and 0.2 pool to 0.3.
        let c = rising(vec![(0.0, 0.0), (0.25, 0.4), (0.5, 0.2), (0.75, 0.6), (1.0, 1.0)]);
        for (got, want) in c.mark.iter().zip([0.0, 0.3, 0.3, 0.6, 1.0]) {
            assert!((got - want).abs() < 1e-3, "{:?}", c.mark);
        }
    }

    #[test]
    fn curves_are_remembered_and_the_same_for_any_thread_count() {
        let one = with_threads(1, || forecast_anew(&CARRY, &options(1.436)));
        for threads in [2, 3, 7] {
            assert_eq!(with_threads(threads, || forecast_anew(&CARRY, &options(1.436))), one);
        }
        assert_eq!(forecast(&CARRY, &options(1.436)), one);
        assert_eq!(forecast(&CARRY, &options(1.436)), one);
    }

    #[test]
    fn measured_curves_say_what_is_wrong() {
        let ok = GainCurve::from_toml("coverage = [0.1, 0.5, 1]\nmark = [0.2, 0.8, 1]").unwrap();
        assert_eq!(ok.coverage, [0.0, 0.1, 0.5, 1.0]);
        assert_eq!(ok.source, GainSource::Measured);
        for (text, says) in [
            ("coverage = [0, 0.5, 1]", "mark"),
            ("coverage = [0, 0.5, 1]\nmark = [0, 1]", "3 values in coverage and 2 in mark"),
            ("coverage = [0, 0.5, 1]\nmark = [0, 80, 100]", "mark value 2 is 80"),
            ("coverage = [0, 0.5, 1]\nmark = [0, 0.8, 0.8]", "mark value 3 (0.8) is not above"),
            ("coverage = [0, 0.5, 0.9]\nmark = [0, 0.8, 0.9]", "ends at coverage 0.9"),
            ("coverage = [0, 0.5, nan]\nmark = [0, 0.8, 0.9]", "coverage value 3 is NaN"),
            ("cover = [0, 0.5, 1]\nmark = [0, 0.8, 0.9]", "cover"),
            ("coverage = ", "cannot be read"),
        ] {
            let e = GainCurve::from_toml(text).unwrap_err().to_string();
            assert!(e.contains(says), "{text}: {e}");
        }
        let long = format!("mark = [0, 1]\ncoverage = [{}", "0.5, ".repeat(2000));
        let e = GainCurve::from_toml(&long).unwrap_err().to_string();
        assert!(e.contains("line 2") && e.len() < 250, "{e}");
    }

    #[test]
    fn steps_that_agree_with_the_forecast_change_nothing_and_others_move_it() {
        let c = forecast_anew(&CARRY, &options(1.3));
        let solid = f64::from(c.reach());
        let steps = |wrong: f64, scatter: f64| -> Vec<MeasuredStep> {
            (1..10)
                .map(|i| {
                    let coverage = f64::from(i) / 10.0;
                    let true_mark = f64::from(c.mark_of(coverage as f32)) / solid;
                    let off = wrong * coverage * (1.0 - coverage) + scatter * f64::from(i % 3 - 1);
                    MeasuredStep { coverage, mark: true_mark + off, sigma: 0.01 }
                })
                .collect()
        };
        // The steps are shares of a solid that is less than a full mark: read as shares of a full mark they are too strong.
        assert!(solid < 0.98, "{solid}");
        assert_eq!(c.moved_to(&steps(0.0, 0.0), solid), c);
        assert_eq!(c.moved_to(&steps(0.0, 0.009), solid), c);
        let moved = c.moved_to(&steps(0.4, 0.0), solid);
        assert_eq!(moved.source, GainSource::Measured);
        assert!(moved.mark.windows(2).all(|m| m[1] > m[0]), "{moved:?}");
        assert_eq!((moved.reach(), moved.coverage.last()), (c.reach(), Some(&1.0)));
        for i in 1..10 {
            let at = i as f32 / 10.0;
            let want = c.mark_of(at) + (0.4 * solid) as f32 * at * (1.0 - at);
            assert!(
                (moved.mark_of(at) - want.min(c.reach())).abs() < 0.02,
                "{at}: {} {want}",
                moved.mark_of(at)
            );
        }
        // Between the steps the forecast's bend is kept.
        let between = moved.mark_of(0.05) - c.mark_of(0.05);
        assert!((between / (moved.mark_of(0.1) - c.mark_of(0.1)) - 0.5).abs() < 0.02);
    }

    #[test]
    fn a_ceiling_bends_softly_and_is_kept() {
        for share in [0.3, 0.5, 0.7, 0.85, 1.0] {
            let ramp = Tone::from_vec(101, 1, (0..=100).map(|i| i as f32 / 100.0).collect());
            let out = ceiling(ramp.clone(), share);
            let out = out.data();
            assert!((f64::from(out[100]) - share).abs() < 1e-6 && out[0] == 0.0, "{share}");
            assert!(out.windows(2).all(|v| v[1] >= v[0]), "{share}");
            assert!(out.iter().zip(ramp.data()).all(|(o, i)| *o <= *i + 1e-6));
        }
        let light = ceiling(Tone::filled(4, 4, 0.3), 0.85);
        assert_eq!(light.data()[0], 0.3);
    }
}
