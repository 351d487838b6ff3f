//! Tone: what a camera's own curve of tones does to a patch.

use crate::colour::{linear_to_srgb, lstar, srgb_to_linear};

/// How much the natural logarithm of a light grows under a curve that is steeper by one in the middle of the coded values: an
/// S-curve `c − 2 t c (1 − c) (1 − 2 c)` with slope `1 + t` at one half and `1 − 2 t` at both ends.
fn grown(light: f64) -> f64 {
    let c = linear_to_srgb(light.clamp(1e-5, 1.0));
    let step = 1e-4;
    let slope = (srgb_to_linear(c + step) - srgb_to_linear(c - step)) / (2.0 * step);
    -2.0 * c * (1.0 - c) * (1.0 - 2.0 * c) * slope / light.max(1e-5)
}

/// The light under such a curve that shows as `light` under it, to a millionth of the coded values for `steeper` up to 0.3.
pub fn straight(light: f64, steeper: f64) -> f64 {
    let seen = linear_to_srgb(light.clamp(0.0, 1.0));
    let mut c = seen;
    for _ in 0..30 {
        c = seen + 2.0 * steeper * c * (1.0 - c) * (1.0 - 2.0 * c);
    }
    srgb_to_linear(c)
}

/// How much L* of a patch grows under a curve that is steeper by one, as far as it is linear: it shows `ratio` times the light
/// `gap` of the gaps about it, whose luminance is `y_unmarked`.
pub fn bent(ratio: f64, gap: f64, y_unmarked: f64) -> f64 {
    let y = ratio.max(1e-4) * y_unmarked;
    let slope = (lstar(y * 1.001) - lstar(y * 0.999)) / 0.002;
    slope * (grown(ratio * gap) - grown(gap))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_grows_against_a_dark_gap_as_the_curve_itself_says() {
        let (gap, y_unmarked, t) = (0.03, 0.03, 0.01);
        let curve = |light: f64| {
            let c = linear_to_srgb(light);
            srgb_to_linear(c - 2.0 * t * c * (1.0 - c) * (1.0 - 2.0 * c))
        };
        for ratio in [0.6, 2.0, 6.0, 12.0, 20.0] {
            let seen = curve(ratio * gap) / curve(gap);
            let told = (lstar(seen * y_unmarked) - lstar(ratio * y_unmarked)) / t;
            let said = bent(ratio, gap, y_unmarked);
            assert!((told - said).abs() < 0.03 * told.abs().max(3.0), "{ratio}: {said} for {told}");
        }
        let there = straight(curve(0.2), t);
        assert!((there - 0.2).abs() < 1e-5, "{there}");
        assert!(bent(6.0, gap, y_unmarked) > 10.0 && bent(1.0, gap, y_unmarked) == 0.0);
    }
}
