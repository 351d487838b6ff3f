//! Likely: how far response and beam may lie from the fitted ones, all of their values together.

use nalgebra::{DMatrix, DVector};

use super::model::{ACROSS, ALONG, CHAR, CHAR_RISE, HALF, RISE, S, Solved};
use super::settle::REPEATS;
use crate::mark::{Beam, Response};
use crate::units::Mm;
use crate::wedge::spread::square;

/// So many there are; each is as likely as any other.
pub const COUNT: usize = 100;
/// How well the exposure of a patch over that at which char or a full mark begins is known besides what the fit says, natural
/// logarithm (measured on rendered photos).
const EXPOSURE_KNOWN: f64 = 0.016;
/// How well a photo tells the grain of patches, natural logarithm (own judgement: blur takes some of it, noise adds some).
const GRAIN_KNOWN: f64 = 0.2;
/// No value is taken for further off than this, natural logarithm: what is not settled at all is not likely to be worse.
const MOST: f64 = 0.7;

/// One way in which the truth may differ from what was fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LikelyTruth {
    /// Of each of the mark's values and of the beam, in the fit's order: natural logarithms, of the exponent the value itself.
    off: [f64; REPEATS.len()],
    /// By how many times all exposures are larger.
    pub exposure: f64,
    /// By how many times all patches are grainier.
    pub grain: f64,
}

impl LikelyTruth {
    /// The response under it.
    pub fn response(&self, r: Response) -> Response {
        Response {
            x_half: r.x_half * libm::exp(self.off[HALF]),
            rise: r.rise * libm::exp(self.off[RISE]),
            schwarzschild: r.schwarzschild + self.off[S],
            x_char: r.x_char * libm::exp(self.off[CHAR]),
            char_rise: r.char_rise * libm::exp(self.off[CHAR_RISE]),
            ..r
        }
    }

    /// The beam under it.
    pub fn beam(&self, b: Beam) -> Beam {
        Beam {
            along: Mm(b.along.0 * libm::exp(self.off[ALONG])),
            across: Mm(b.across.0 * libm::exp(self.off[ACROSS])),
        }
    }
}

/// Draws from the normal distribution that a minimum's covariance stands for, widened by what patches of a piece share.
/// The same each time.
pub(super) fn likely(solved: &Solved) -> Vec<LikelyTruth> {
    let own: Vec<usize> = (0..solved.free.len()).filter(|&k| solved.free[k] < REPEATS.len()).collect();
    let n = own.len();
    let Some(covariance) = &solved.covariance else { return Vec::new() };
    let spread = DMatrix::from_fn(n, n, |i, j| {
        let shared = if i == j { square(REPEATS[solved.free[own[i]]]) } else { 0.0 };
        covariance[(own[i], own[j])] + shared
    });
    let Some(root) = spread.cholesky().map(|c| c.l()) else { return Vec::new() };
    let mut chance = Chance(1);
    // Each draw and its mirror image, so that their mean is the fit itself.
    (0..COUNT / 2)
        .flat_map(|_| {
            let drawn = &root * DVector::from_fn(n, |_, _| chance.normal());
            let (exposure, grain) = (EXPOSURE_KNOWN * chance.normal(), GRAIN_KNOWN * chance.normal());
            [1.0, -1.0].map(|way| {
                let mut off = [0.0; REPEATS.len()];
                own.iter().zip(drawn.iter()).for_each(|(&k, d)| {
                    off[solved.free[k]] = (way * d).clamp(-MOST, MOST);
                });
                LikelyTruth { off, exposure: libm::exp(way * exposure), grain: libm::exp(way * grain) }
            })
        })
        .collect()
}

/// A linear congruential generator (Knuth, The Art of Computer Programming 2, 3.3.4, table 1, line 26): a hundred draws ask for
/// no more.
struct Chance(u64);

impl Chance {
    /// From 0 to below 1, never 0.
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 12) as f64 + 0.5) / (1u64 << 52) as f64
    }

    /// By the method of Box and Muller (1958).
    fn normal(&mut self) -> f64 {
        let (size, turn) = (self.even(), self.even());
        (-2.0 * libm::log(size)).sqrt() * libm::cos(std::f64::consts::TAU * turn)
    }
}

#[cfg(test)]
mod tests {
    use super::super::model::{ALL, MARKED};
    use super::*;

    #[test]
    fn draws_have_the_spread_of_the_covariance_and_go_together() {
        let (a, b, together) = (0.10, 0.08, 0.9);
        let covariance = DMatrix::from_row_slice(2, 2, &[a * a, together * a * b, together * a * b, b * b]);
        let solved = Solved {
            all: [0.0; ALL],
            cost: 0.0,
            error: [0.0; ALL],
            char: None,
            free: vec![RISE, ACROSS],
            covariance: Some(covariance),
        };
        let all = likely(&solved);
        assert_eq!(all.len(), COUNT);
        let mean = |of: &dyn Fn(&LikelyTruth) -> f64| all.iter().map(of).sum::<f64>() / COUNT as f64;
        let size = |i: usize| mean(&|l| l.off[i].powi(2)).sqrt();
        assert!((size(RISE) / a - 1.0).abs() < 0.2 && (size(ACROSS) / b - 1.0).abs() < 0.2);
        assert!(mean(&|l| l.off[RISE]).abs() < 1e-12 && size(MARKED) == 0.0);
        let shared = mean(&|l| l.off[RISE] * l.off[ACROSS]) / (size(RISE) * size(ACROSS));
        assert!((0.8..0.97).contains(&shared), "{shared}");
        assert_eq!(likely(&solved), all);
    }
}
