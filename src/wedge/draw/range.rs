//! Range: the powers and speeds that show a coating's response, for a machine.

use crate::mark::Response;
use crate::units::{Mm, MmPerS, Share, Watts};

/// Exposures of the strongest row, over that at half the rise: from just past the half to where char shows, for a coating
/// that needs a fifth more or less than is expected. The weaker rows go down to half of the least.
const LEAST: f64 = 1.05;
/// See [`LEAST`].
const MOST: f64 = 3.3;
/// How far past the first char (5 %) the strongest patch goes.
const PAST_CHAR: f64 = 1.15;
/// Power of the weakest row over that of the strongest.
const WEAKEST: f64 = 0.45;
/// No patch is asked to be burnt faster, mm/s: run-ups would take longer than marks.
const FASTEST: f64 = 40.0;

/// No patch is asked to be burnt slower, mm/s, unless the machine is slower.
const SLOWEST: f64 = 0.5;
/// The speeds between which a timing wedge lies, mm/s.
const TIMING: (f64, f64) = (10.0, 25.0);

/// The powers and speeds between which an exposure wedge lies, the lower ones first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsualRange {
    /// Powers.
    pub powers: (Share, Share),
    /// Speeds.
    pub speeds: (MmPerS, MmPerS),
}

/// The range round the expected half exposure of the coating: `X = P / (v p) (v / v0)^(1 - s)` turned round for the
/// speeds of full power, or of less where the machine could not follow.
pub fn usual_range(rated: Watts, pitch: Mm, response: &Response, top: MmPerS) -> UsualRange {
    let r = response;
    let s = r.schwarzschild.max(0.1);
    let char = r.exposure_at_char(crate::mark::response::OVER_BURN) * PAST_CHAR / r.x_half;
    let most = if char.is_finite() { char.clamp(2.0 * LEAST, MOST) } else { MOST };
    let speed = |power: f64, times: f64| {
        libm::pow(rated.0 * power / (times * r.x_half * pitch.0 * libm::pow(r.v0.0, 1.0 - s)), 1.0 / s)
    };
    let fastest = FASTEST.min((0.8 * top.0).max(SLOWEST));
    // At the fastest speed the exposure goes with the power.
    let power = libm::pow(speed(1.0, LEAST) / fastest, -s).min(1.0);
    let power = ((power * 100.0).ceil() / 100.0).clamp(0.05, 1.0);
    let weakest = ((power * WEAKEST * 100.0).round() / 100.0).max(0.01);
    let tidy = |v: f64| (v * 10.0).round() / 10.0;
    UsualRange {
        powers: (Share(weakest), Share(power)),
        speeds: (
            MmPerS(tidy(speed(power, most)).clamp(SLOWEST, fastest)),
            MmPerS(tidy(speed(power, LEAST)).max(1.0).min(fastest)),
        ),
    }
}

/// The speeds between which a timing wedge lies on a machine, none above its top, and the share of the usual power with
/// which they expose as the usual speeds do.
pub fn timing_range(response: &Response, top: MmPerS) -> ((MmPerS, MmPerS), f64) {
    if top.0 >= TIMING.1 {
        return ((MmPerS(TIMING.0), MmPerS(TIMING.1)), 1.0);
    }
    // No finer than a maker sets a speed, and no faster than the machine is.
    let down = |v: f64| (v * 100.0 + 1e-6).floor() / 100.0;
    let fastest = down(top.0);
    let slowest = down(fastest * TIMING.0 / TIMING.1).max(SLOWEST).min(fastest);
    ((MmPerS(slowest), MmPerS(fastest)), libm::pow(fastest / TIMING.1, response.schwarzschild))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::response::tests::POSTER_PAINT;

    fn exposure(watts: f64, power: Share, speed: MmPerS, r: &Response) -> f64 {
        watts * power.0 / (speed.0 * 0.0875) * (speed.0 / r.v0.0).powf(1.0 - r.schwarzschild)
    }

    #[test]
    fn the_range_lies_round_the_half_exposure_and_reaches_char() {
        let slow = Response { x_half: 6.0, x_char: 20.0, ..POSTER_PAINT };
        for (watts, r) in [(5.0, POSTER_PAINT), (20.0, POSTER_PAINT), (5.0, slow)] {
            let u = usual_range(Watts(watts), Mm(0.0875), &r, MmPerS(100.0));
            let least = exposure(watts, u.powers.0, u.speeds.1, &r) / r.x_half;
            let most = exposure(watts, u.powers.1, u.speeds.0, &r) / r.exposure_at_char(0.05);
            assert!((0.4..0.6).contains(&least), "{u:?} {least}");
            assert!((1.05..1.25).contains(&most), "{u:?} {most}");
            assert!(u.speeds.1.0 <= 40.0 && u.speeds.0.0 < u.speeds.1.0, "{u:?}");
        }
    }

    #[test]
    fn a_slow_machine_is_asked_for_nothing_faster_than_it_is() {
        for top in [0.5, 0.6, 1.0, 3.0, 24.0, 30.0] {
            let u = usual_range(Watts(5.0), Mm(0.0875), &POSTER_PAINT, MmPerS(top));
            assert!(
                0.5 <= u.speeds.0.0 && u.speeds.0.0 <= u.speeds.1.0 && u.speeds.1.0 <= top,
                "{top} {u:?}"
            );
            let ((slow, fast), share) = timing_range(&POSTER_PAINT, MmPerS(top));
            assert!(
                0.5 <= slow.0 && slow.0 <= fast.0 && fast.0 <= top && share <= 1.0,
                "{top} {slow} {fast}"
            );
        }
        assert_eq!(timing_range(&POSTER_PAINT, MmPerS(100.0)), ((MmPerS(TIMING.0), MmPerS(TIMING.1)), 1.0));
        // As much light at a tenth of the speed takes a tenth of the power, but for what reciprocity fails by.
        let (_, share) = timing_range(&POSTER_PAINT, MmPerS(2.5));
        assert!((0.1..0.2).contains(&share), "{share}");
    }
}
