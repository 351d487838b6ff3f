//! Likely: how like the wanted mark the piece will look, as planned and over what is not known of the machine.

use super::compare::VIEWING_DISTANCE_MM;
use crate::job::Plan;
use crate::mark::{Burn, CellSamples, Forecast};
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

/// Keeps what is wanted where dots may be, to hold them against it once they are made.
pub(super) fn judge(plan: &Plan, wanted: &Tone, placement: &Placement) -> Judge {
    let pitches = (plan.grid.along.0, plan.grid.across.0);
    Judge::new(wanted, pitches, VIEWING_DISTANCE_MM, |y| placement.rect.allowed(&plan.blank, y))
}

/// The likeness on the machine that the dots were made for alone, dB.
pub(super) fn planned(plan: &Plan, judge: &Judge, dots: &Dots) -> f64 {
    over(judge, [plan.burn], dots).0
}

/// How like what was kept the dots will look.
pub(super) fn likely(plan: &Plan, judge: &Judge, dots: &Dots) -> Likely {
    let unsure = plan.dots.options.unsure;
    let (planned_db, expected_db) = if unsure.is_none() {
        over(judge, [plan.burn], dots)
    } else {
        over(judge, unsure.machines(&plan.burn), dots)
    };
    Likely { planned_db, expected_db }
}

fn over<const N: usize>(judge: &Judge, machines: [Burn; N], dots: &Dots) -> (f64, f64) {
    // The quick forecast keeps the mean. How like the planned mark is takes each cell's own value (with quick cells it came out
    // 0.3 to 0.8 dB too good); what the others are off by is far more.
    let mut planned = Some(CellSamples::HALF);
    let forecasts = machines.map(|burn| match planned.take() {
        Some(samples) => Forecast::with_samples(&burn, samples),
        None => Forecast::new(&burn),
    });
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
    use crate::progress::Silent;
    use crate::screen::{Options, find};

    #[test]
    fn half_of_the_samples_tell_the_likeness_that_all_tell() {
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
            let dots = (find(name).unwrap().make)(&tone, &options, &Silent);
            let judge = Judge::new(&tone, pitches, VIEWING_DISTANCE_MM, |_| 0..w);
            let by = |samples| {
                let forecast = Forecast::with_samples(&burn, samples);
                judge.likeness(|rows| [forecast.plane(&dots).part(0..w, rows.clone())]).0
            };
            let (half, all) = (by(CellSamples::HALF), by(CellSamples::REFERENCE));
            assert!((half - all).abs() < 0.05, "{name} {along}: {half}, {all}");
        }
    }
}
