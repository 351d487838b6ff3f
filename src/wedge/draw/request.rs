//! Request: what a wedge is drawn from, why it cannot be, and settings as a label, a file and a machine hold them.

use super::layout::LayoutError;
use crate::blank::Blank;
use crate::mark::{Beam, Response};
use crate::placement::Grid;
use crate::texts::text;
use crate::units::{Mm, MmPerS, Share, Watts};
use crate::wedge::target::{Dial, WedgeKind};

/// What a wedge is drawn from. Lists hold at least one value.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// What it measures.
    pub kind: WedgeKind,
    /// The blank with its margin.
    pub blank: Blank,
    /// Machine's name.
    pub machine: String,
    /// Coating's name.
    pub coating: String,
    /// Laser's rated optical power.
    pub rated_power: Watts,
    /// The beam in force.
    pub beam: Beam,
    /// Whether it was measured.
    pub beam_measured: bool,
    /// Distances between dots.
    pub grid: Grid,
    /// Exposure wedge: powers of the rows, any order (drawn in one of their own).
    pub powers: Vec<Share>,
    /// Exposure wedge: speeds of the columns; timing wedge: speeds of the combs, drawn rising.
    pub speeds: Vec<MmPerS>,
    /// The setting of tone patches, and the power and passes of combs; passes of exposure patches.
    pub chosen: Dial,
    /// Power of finder marks and labels; `None` takes what surely marks under the expected response.
    pub marks_power: Option<Share>,
    /// Speed of finder marks and labels; `None` takes what surely marks under the expected response.
    pub marks_speed: Option<MmPerS>,
    /// The expected response.
    pub response: Response,
    /// Whether it was measured.
    pub response_measured: bool,
    /// Tone wedge: names of screens, one row each.
    pub screens: Vec<String>,
    /// Tone wedge: coverages, one column each.
    pub coverages: Vec<Share>,
    /// Combined wedge: how many combs it has at most, 1 to 3.
    pub combs: usize,
    /// The most that a patch measures either way; usually 4 mm, see `sizes.rs`.
    pub patch: Mm,
}

/// Why a wedge cannot be drawn.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DrawError {
    /// It does not fit.
    #[error(transparent)]
    Layout(#[from] LayoutError),
    /// A list is empty or too long, a value out of range.
    #[error("{0}")]
    Asked(String),
}

/// `steps` values from `from` to `to`, both included, linear or in equal ratios.
pub fn steps(from: f64, to: f64, steps: usize, log: bool) -> Vec<f64> {
    if steps <= 1 {
        return vec![to];
    }
    (0..steps)
        .map(|i| {
            let t = i as f64 / (steps - 1) as f64;
            if log && from > 0.0 && to > 0.0 {
                from * libm::pow(to / from, t)
            } else {
                from + (to - from) * t
            }
        })
        .collect()
}

/// Exposure of finder marks and labels over that at half the rise: a coating that needs half as much again is still marked
/// to three quarters, and one that needs twice as much to a third, which shows.
const SURE: f64 = 1.75;

/// The setting for finder marks and labels: as a solid it gets 1.75 times the exposure at half rise, but no more than the
/// geometric mean of that and of the one at half char. Full power at the speed that gives it, as long as no faster than was asked for; labels are long and this is the
/// shortest way through them. A power or a speed of the maker's own is taken, and the other follows.
pub fn sure_dial(request: &Request) -> Dial {
    let r = &request.response;
    let x_char = if r.x_char.is_finite() { r.x_char } else { 4.0 * r.x_half };
    let wanted = (SURE * r.x_half).min((r.x_half * x_char).sqrt());
    let fastest = request.speeds.iter().map(|s| s.0).fold(request.chosen.speed.0, f64::max);
    let at_speed = |v: f64| {
        let power = wanted / request.exposure(Share(1.0), MmPerS(v));
        rounded(Share(power.clamp(0.05, 1.0)))
    };
    // X falls as v^-s: solve for the speed at a power.
    let at_power = |power: Share| {
        let part = request.exposure(power, MmPerS(fastest)) / wanted;
        rounded_speed(MmPerS((fastest * libm::pow(part, 1.0 / r.schwarzschild.max(0.1))).clamp(0.5, fastest)))
    };
    match (request.marks_power, request.marks_speed) {
        (Some(power), Some(speed)) => Dial { power, speed, passes: 1 },
        (Some(power), None) => Dial { power, speed: at_power(power), passes: 1 },
        (None, Some(speed)) => Dial { power: at_speed(speed.0), speed, passes: 1 },
        (None, None) if request.exposure(Share(1.0), MmPerS(fastest)) >= wanted => {
            Dial { power: at_speed(fastest), speed: rounded_speed(MmPerS(fastest)), passes: 1 }
        }
        (None, None) => Dial { power: Share(1.0), speed: at_power(Share(1.0)), passes: 1 },
    }
}

impl Request {
    /// Effective exposure of a solid in one pass, J/mm².
    fn exposure(&self, power: Share, speed: MmPerS) -> f64 {
        let r = &self.response;
        self.rated_power.0 * power.0 / (speed.0 * self.grid.across.0)
            * libm::pow(speed.0 / r.v0.0, 1.0 - r.schwarzschild)
    }
}

/// Refuses what no wedge can hold.
pub(super) fn check(request: &Request) -> Result<(), DrawError> {
    let refuse = |m: String| Err(DrawError::Asked(m));
    if request.powers.is_empty() || request.speeds.is_empty() {
        return refuse(text!("wedge.draw.empty").into());
    }
    if let Some(p) = request.powers.iter().find(|p| p.0 < 0.01 || p.0 > 1.0) {
        return refuse(text!("wedge.draw.power", power = p));
    }
    if let Some(s) = request.speeds.iter().find(|s| s.0 < 0.5 || s.0 > 1000.0) {
        return refuse(text!("wedge.draw.speed", speed = s));
    }
    if request.powers.len() > 20 || request.speeds.len() > 20 {
        return refuse(text!("wedge.draw.many").into());
    }
    Ok(())
}

/// Rounds a share to 0.1 % and a speed to 0.01 mm/s: what a label, a file and a machine can hold alike.
pub(super) fn rounded(power: Share) -> Share {
    written(Share((power.0 * 1000.0).round() / 1000.0))
}

/// The share as a file gives it back, to the last bit.
pub(super) fn written(share: Share) -> Share {
    share.to_string().parse().unwrap_or(share)
}

/// See [`rounded`].
pub(super) fn rounded_speed(speed: MmPerS) -> MmPerS {
    MmPerS((speed.0 * 100.0).round() / 100.0)
}

/// The speeds as they are drawn: rounded, rising, none twice.
pub(super) fn sorted_speeds(request: &Request) -> Vec<MmPerS> {
    let mut speeds: Vec<MmPerS> = request.speeds.iter().copied().map(rounded_speed).collect();
    speeds.sort_by(|a, b| a.0.total_cmp(&b.0));
    speeds.dedup();
    speeds
}
