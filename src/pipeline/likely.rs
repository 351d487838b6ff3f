//! Likely: how like the wanted mark the piece will look, as planned and over what is not known of the machine.

use super::compare::VIEWING_DISTANCE_MM;
use crate::job::Plan;
use crate::mark::{Burn, Forecast};
use crate::placement::Placement;
use crate::plane::{Dots, Tone};
use crate::visual_quality::Judge;

/// Likeness, as the PSNR (peak 1) that the eye of Kim and Allebach sees from 300 mm, dB.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Likely {
    /// On the machine that the dots were made for.
    pub planned_db: f64,
    /// Over what is not known of the machine: of the mean squared error of the planned machine and of those whose beam and
    /// exposure are off by one standard deviation either way.
    pub expected_db: f64,
}

/// Squares of the line pitch of which the likeness as planned is judged at most, and that over all machines: a coaster's is
/// judged on all of it as planned, and by bands over what the machines may be, five times as much work.
const PLANNED: usize = 1_500_000;
const EXPECTED: usize = 400_000;

/// What is wanted where dots may be, to hold them against it once they are made.
pub(super) struct Judges {
    planned: Judge,
    /// None where all is known of the machine.
    expected: Option<Judge>,
}

/// Keeps it.
pub(super) fn judge(plan: &Plan, wanted: &Tone, placement: &Placement) -> Judges {
    let pitches = (plan.grid.along.0, plan.grid.across.0);
    let of = |most| {
        Judge::new(wanted, pitches, VIEWING_DISTANCE_MM, most, |y| placement.rect.allowed(&plan.blank, y))
    };
    let expected = (!plan.dots.options.unsure.is_none()).then(|| of(EXPECTED));
    Judges { planned: of(PLANNED), expected }
}

/// The likeness on the machine that the dots were made for alone, dB.
pub(super) fn planned(plan: &Plan, judges: &Judges, dots: &Dots) -> f64 {
    over(&judges.planned, [plan.burn], dots).0
}

/// How like what was kept the dots will look.
pub(super) fn likely(plan: &Plan, judges: &Judges, dots: &Dots) -> Likely {
    let planned_db = planned(plan, judges, dots);
    let seen = |judge| over(judge, plan.dots.options.unsure.machines(&plan.burn), dots);
    let lost = judges.expected.as_ref().map_or(0.0, |bands| lost(seen(bands), || seen(&judges.planned)));
    Likely { planned_db, expected_db: planned_db - lost }
}

/// What is lost over what is not known, dB, by the likeness as planned and to expect on bands. These may happen to be easier or
/// harder than the whole, so what counts is how much is lost on them; where nothing at all lies on them, on the `whole`.
fn lost(bands: (f64, f64), whole: impl FnOnce() -> (f64, f64)) -> f64 {
    let lost = |(planned, expected): (f64, f64)| Some(planned - expected).filter(|lost| lost.is_finite());
    lost(bands).or_else(|| lost(whole())).unwrap_or(0.0)
}

fn over<const N: usize>(judge: &Judge, machines: [Burn; N], dots: &Dots) -> (f64, f64) {
    let forecasts = machines.map(|burn| Forecast::new(&burn));
    let reach = forecasts.iter().map(|f| f.reach().1).max().unwrap_or(0);
    let width = dots.width();
    judge.likeness(|rows| {
        let (from, to) = (rows.start.saturating_sub(reach), (rows.end + reach).min(dots.height()));
        let near = dots.part(0..width, from..to);
        forecasts.each_ref().map(|f| f.rows_of_plane(&near, rows.start - from..rows.end - from))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::CellSamples;
    use crate::progress::Silent;
    use crate::screen::{Options, find};

    #[test]
    fn what_lies_beside_all_bands_is_judged_on_the_whole() {
        let none = (f64::INFINITY, f64::INFINITY);
        assert_eq!(lost((40.0, 38.5), || panic!("bands tell")), 1.5);
        assert_eq!(lost(none, || (52.0, 50.0)), 2.0);
        assert_eq!(lost(none, || none), 0.0, "an empty piece");
    }

    #[test]
    fn the_quick_forecast_tells_the_likeness_that_all_samples_tell() {
        let (w, h) = (360, 180);
        let wave = |i: usize| {
            let (x, y) = ((i % w) as f32, (i / w) as f32);
            0.45 + 0.3 * libm::sinf(x * 0.031) * libm::cosf(y * 0.047) + 0.05 * libm::sinf(x * 0.4 + y)
        };
        let tone = Tone::from_vec(w, h, (0..w * h).map(wave).collect());
        for (along, name) in [(1.0, "floyd-steinberg"), (1.0, "fitted"), (2.0, "fitted")] {
            let burn = Burn::plain(1.5 * along, 1.5);
            let pitches = (0.0875 / along, 0.0875);
            let options = Options { switches: along as u32, ..Options::new(burn, pitches.0, pitches.1) };
            let dots = find(name).unwrap().dots(&tone, &options, &Silent);
            let judge = Judge::new(&tone, pitches, VIEWING_DISTANCE_MM, PLANNED, |_| 0..w);
            let by = |forecast: Forecast| {
                judge.likeness(|rows| [forecast.plane(&dots).part(0..w, rows.clone())]).0
            };
            let quick = by(Forecast::new(&burn));
            let all = by(Forecast::with_samples(&burn, CellSamples::REFERENCE));
            assert!((quick - all).abs() < 0.2, "{name} {along}: {quick}, {all}");
        }
    }
}
