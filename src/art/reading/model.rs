//! The model: how likely each reading is, by a logistic regression over the features.
//!
//! Multinomial logistic regression (D. R. Cox, J. R. Stat. Soc. B 20, 1958): a weighted sum of the standardised
//! features for each reading, turned into shares by their exponentials. `tests/outside/fit_readings.py` finds the
//! weights on the part of its labelled set that is not held out, and writes them to `weights.rs`.

use super::features::{COUNT, Features};
use super::kind::Kind;
use super::weights::{CENTRE, SCALE, WEIGHTS};

/// The readings, in the order of the weights.
pub(super) const KINDS: [Kind; 3] = [Kind::Photo, Kind::Drawing, Kind::Paper];

/// How likely each of [`KINDS`] is; the three sum to 1. A feature counts at most four standard deviations from the
/// mean of the set: beyond what was ever seen, one number alone decides nothing.
pub(super) fn likelihoods(features: &Features) -> [f64; 3] {
    let mut sums = [0.0; 3];
    for (sum, weights) in sums.iter_mut().zip(&WEIGHTS) {
        *sum = weights[COUNT];
        for i in 0..COUNT {
            *sum += weights[i] * ((features[i] - CENTRE[i]) / SCALE[i]).clamp(-4.0, 4.0);
        }
    }
    let most = sums.into_iter().fold(f64::NEG_INFINITY, f64::max);
    let parts = sums.map(|s| libm::exp(s - most));
    let all: f64 = parts.iter().sum();
    parts.map(|p| p / all)
}
