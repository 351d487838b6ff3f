//! Remedies: the search for what clears over-burn or under-burn, each the least change found that does so
//! when the job is worked through again.

use std::ops::Range;

use super::Remedy;
use super::burn::{Case, shortfall};
use super::change::{Aim, Change};
use super::trial::{Trial, verdict};
use crate::mark::{Burn, advise};
use crate::texts::text;
use crate::units::{Mm, MmPerS, Share, Watts, short};

/// Planes up to this many dots are searched whole, larger ones on a window around the worst spot.
const SEARCHED_WHOLE: usize = 1_500_000;
/// Side of that window, dots.
const WINDOW: usize = 1024;

/// A change, and the number a maker would set for it.
type Step = (f64, Change);

fn try_out(case: &Case, change: Change) -> Option<Trial> {
    Trial::of(change, case.remake, case.progress)
}

/// The first step that leaves nothing to say of over-burn.
fn first_clear(case: &Case, steps: impl Iterator<Item = Step>) -> Option<(Step, Trial)> {
    steps.filter_map(|step| try_out(case, step.1).map(|trial| (step, trial))).find(|(_, t)| t.verdict.clear())
}

/// Remedies for over-burn: weaker, faster, held coverage, wider pitch. One that leaves solids pale says so and
/// comes after those that do not.
pub(super) fn cooler(case: &Case, worst: (usize, usize)) -> Vec<Remedy> {
    let Some(factor) = cool_enough(case, worst) else { return Vec::new() };
    let mut found: Vec<(bool, Remedy)> = Vec::new();
    let mut offer = |(value, change): Step, trial: &Trial| {
        let mut remedy = Remedy { verified: true, ..change.remedy(value, Aim::Cooler) };
        let pale = shortfall(&trial.burn);
        if let Some(mark) = pale {
            remedy.text.push(text!("findings.over-burn.pale", share = short(mark * 100.0, 0)));
        }
        found.push((pale.is_some(), remedy));
    };
    if let Some((step, trial)) = first_clear(case, weaker(case, factor)) {
        offer(step, &trial);
    }
    if let Some((step, trial)) = first_clear(case, faster(case, factor)) {
        offer(step, &trial);
    }
    if let Some((step, trial)) = held(case) {
        offer(step, &trial);
    }
    // Lines that lie apart would only put one finding in the place of another.
    if let Some((step, trial)) = first_clear(case, wider(case, factor))
        && advise::lines_apart(&trial.burn).is_none()
    {
        offer(step, &trial);
    }
    found.sort_by_key(|(pale, _)| *pale);
    found.into_iter().map(|(_, remedy)| remedy).collect()
}

fn weaker(case: &Case, factor: f64) -> impl Iterator<Item = Step> {
    let rated = case.rated_power.0;
    let percent = case.setting.power.0 * factor / rated * 100.0;
    [1.0, 0.97, 0.93, 0.88, 0.8]
        .into_iter()
        .map(move |s| (percent * s).floor())
        .filter(|&p| p >= 1.0)
        .map(move |p| (p, Change::Power(Watts(rated * p / 100.0))))
}

fn faster(case: &Case, factor: f64) -> impl Iterator<Item = Step> {
    let (s, top) = (case.response.schwarzschild, case.top_speed.0);
    // X goes with v to the power of −s at a given power; where it hardly does, no speed helps.
    let tries: &[f64] = if s > 0.01 { &[1.0, 1.03, 1.07, 1.14, 1.25] } else { &[] };
    let speed = case.setting.speed.0 * libm::pow(factor, -1.0 / s);
    let step = if speed < 50.0 { 0.1 } else { 1.0 };
    tries
        .iter()
        .map(move |k| ((speed * k / step).ceil() * step * 10.0).round() / 10.0)
        .filter(move |&v| v <= top)
        .map(|v| (v, Change::Speed(MmPerS(v))))
}

fn wider(case: &Case, factor: f64) -> impl Iterator<Item = Step> {
    let steps_per_mm = case.steps_per_mm;
    let known = steps_per_mm.is_finite() && steps_per_mm > 0.0;
    let steps = (case.setting.pitch_across.0 / factor * steps_per_mm - 1e-6).ceil();
    (0..if known { 4 } else { 0 })
        .map(move |i| (steps + f64::from(i)) / steps_per_mm)
        .map(|p| (p, Change::Pitch(Mm(p))))
}

/// The most coverage that is clear. Dots cluster, so a ceiling may have to lie well below the dose's share: by
/// halving, in steps of 5 %.
fn held(case: &Case) -> Option<(Step, Trial)> {
    let (mut low, mut high, mut held) = (3u32, 20u32, None);
    while high - low > 1 {
        let middle = (low + high) / 2;
        let change = Change::Ceiling(Share(f64::from(middle) / 20.0));
        match try_out(case, change).filter(|t| t.verdict.clear()) {
            Some(trial) => (low, held) = (middle, Some(((f64::from(middle * 5), change), trial))),
            None => high = middle,
        }
    }
    held
}

/// The share of the dose at which the dots as they are no longer over-burn, 0.05 to 1: by bisection to
/// about one in a hundred, on the whole plane or on a window around the worst spot.
fn cool_enough(case: &Case, worst: (usize, usize)) -> Option<f64> {
    let cut;
    let dots = if case.dots.width() * case.dots.height() <= SEARCHED_WHOLE {
        case.dots
    } else {
        let (columns, rows) = window((case.dots.width(), case.dots.height()), worst, WINDOW);
        cut = case.dots.part(columns, rows);
        &cut
    };
    let burn = case.burn();
    let clear = |f: f64| {
        let burn = Burn { x_solid: burn.x_solid * f, ..burn };
        verdict(dots, &burn, &case.rect.grid, case.progress).map(|v| v.clear())
    };
    let (mut low, mut high) = (0.05f64, 1.0f64);
    if !clear(low)? {
        return None;
    }
    while high / low > 1.01 {
        let middle = (low * high).sqrt();
        if clear(middle)? { low = middle } else { high = middle }
    }
    Some(low)
}

/// Columns and rows of a window of `side` dots, or as many as there are, around `centre`.
pub(crate) fn window(
    (width, height): (usize, usize),
    centre: (usize, usize),
    side: usize,
) -> (Range<usize>, Range<usize>) {
    let (w, h) = (width.min(side), height.min(side));
    // From a whole byte on, so that rows are copied as they are.
    let left = centre.0.saturating_sub(w / 2).min(width - w) / 8 * 8;
    let top = centre.1.saturating_sub(h / 2).min(height - h);
    (left..left + w, top..top + h)
}

/// Remedies for under-burn: more power, slower, a closer pitch. What would clear it but char elsewhere is
/// no remedy.
pub(super) fn hotter(case: &Case, burn: &Burn) -> Vec<Remedy> {
    // The exposure at which the shortfall ends, as a multiple of today's, by bisection.
    let full = |f: f64| shortfall(&Burn { x_solid: burn.x_solid * f, ..*burn }).is_none();
    let (mut low, mut high) = (1.0f64, 1000.0f64);
    if !full(high) {
        return Vec::new();
    }
    while high / low > 1.001 {
        let middle = (low * high).sqrt();
        if full(middle) { high = middle } else { low = middle }
    }
    [stronger(case, high), slower(case, high), narrower(case, high)]
        .into_iter()
        .flatten()
        .filter(|(_, change)| {
            try_out(case, *change).is_some_and(|t| shortfall(&t.burn).is_none() && t.verdict.clear())
        })
        .map(|(value, change)| Remedy { verified: true, ..change.remedy(value, Aim::Hotter) })
        .collect()
}

fn stronger(case: &Case, factor: f64) -> Option<Step> {
    let percent = (case.setting.power.0 * factor / case.rated_power.0 * 100.0 - 1e-9).ceil();
    let watts = Watts(case.rated_power.0 * percent / 100.0);
    (percent <= 100.0).then_some((percent, Change::Power(watts)))
}

fn slower(case: &Case, factor: f64) -> Option<Step> {
    let s = case.response.schwarzschild;
    let speed = case.setting.speed.0 * libm::pow(factor, -1.0 / s);
    let slower = if speed >= 2.0 { (speed * 10.0).floor() / 10.0 } else { (speed * 100.0).floor() / 100.0 };
    (s > 0.01 && slower >= 0.05).then_some((slower, Change::Speed(MmPerS(slower))))
}

fn narrower(case: &Case, factor: f64) -> Option<Step> {
    let steps_per_mm = case.steps_per_mm;
    if !(steps_per_mm.is_finite() && steps_per_mm > 0.0) {
        return None;
    }
    let pitch = (case.setting.pitch_across.0 / factor * steps_per_mm + 1e-6).floor() / steps_per_mm;
    let crowded = advise::lines_crowded(case.beam.across, Mm(pitch)).is_some();
    (pitch > 0.0 && !crowded).then_some((pitch, Change::Pitch(Mm(pitch))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plane::Dots;

    #[test]
    fn a_window_keeps_the_worst_spot() {
        let mut dots = Dots::off(3000, 2000);
        dots.set(2990, 5, true);
        let count = |centre| {
            let (columns, rows) = window((3000, 2000), centre, WINDOW);
            dots.part(columns, rows).count()
        };
        assert_eq!((count((2990, 5)), count((5, 5))), (1, 0));
    }
}
