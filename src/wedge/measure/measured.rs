//! Measured: all patches on one scale of lightness, and what the gaps between them leave open of the light.

use super::patches::{self, PatchLight, Refusal};
use super::rectify::Flat;
use super::scale::{Against, extreme_ratio, relative, scale};
use super::surface::{LightSurface, gaps};
use super::tone::{self, straight};
use super::value::PatchValue;
use crate::art::Photo;
use crate::colour::luminance;
use crate::texts::text;
use crate::wedge::ask::{Ask, ReadingError};
use crate::wedge::fit::ResponseFit;
use crate::wedge::measurement::Measurement;
use crate::wedge::reading::Scale;
use crate::wedge::register::Located;
use crate::wedge::spread::robust_size;
use crate::wedge::target::Wedge;

/// A patch that is lighter than the curve by more standard deviations of all patches does not lie by it.
const MOST_ABOVE: f64 = 3.0;
/// The least that these are taken for, L*: what a good photo leaves (own judgement).
const LEAST_SPREAD: f64 = 0.2;

/// So many patches in twenty may lie above the curve and be left out as what the scale is tied to: where more do, it is the curve
/// that lies too low.
const STRAYS_IN_TWENTY: usize = 1;
/// A lightness above this is no look of a coating, L*: white is 100, and on a scale of a weak mark a full one may lie above it.
const LIGHTEST: f64 = 150.0;

/// The patches as they were measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// The value of each patch of the wedge, or why there is none.
    pub values: Vec<Result<PatchValue, Refusal>>,
    /// The ways in which the light over each patch may be off, natural logarithms at one standard deviation.
    pub modes: Vec<Vec<f64>>,
    /// What lightness is measured against.
    pub scale: Scale,
    /// Whether the marks are lighter than the bare coating.
    pub lighter: bool,
    /// How unevenly the piece is lit: lightest over darkest gap, or patch where a veil was taken off.
    pub light_ratio: f64,
    /// How much more light than a smooth surface there is about each patch, as a share: a shadow's edge, or a veil.
    pub bumps: Vec<f64>,
    /// How much L* of each patch grows under a camera's curve that is steeper by one in the middle of the coded values.
    pub tones: Vec<f64>,
    /// A veil that is too strong to be taken off: the most of the gaps' light that it is, as a share.
    pub glare: Option<f64>,
    /// The veil that was taken off.
    pub veil: VeilOver,
    /// By how much steeper the camera's curve is taken to be than the standard one in the middle of the coded values.
    pub steeper: f64,
    /// What is left open of `steeper`, at one standard deviation.
    unsure: f64,
    /// The patches' light, less the veil, under the camera's curve.
    seen: Vec<Result<PatchLight, Refusal>>,
    /// The same under the standard one.
    lit: Vec<Result<PatchLight, Refusal>>,
    /// The light of the gaps about each patch.
    gaps: Vec<f64>,
    /// What `scale` rests on.
    against: Against,
}

/// A veil of light over the patches: its share of the gaps' light at each, and the ways in which that may be off, each at one
/// standard deviation. Empty for none.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct VeilOver {
    /// The share at each patch.
    pub share: Vec<f64>,
    /// The ways, a row for each patch.
    pub ways: Vec<Vec<f64>>,
}

impl VeilOver {
    /// The most of the gaps' light that is veil, as a share.
    pub fn most(&self) -> f64 {
        self.share.iter().copied().fold(0.0, f64::max)
    }
}

impl Measured {
    /// Whether patches come out lighter than white against the reference: then that is not white. One alone may shine.
    pub fn is_beyond_white(&self) -> bool {
        let beyond = |value: &&Result<PatchValue, Refusal>| match value {
            Ok(v) => self.is_whiter(v.y, v.y_error),
            Err(e) => *e == Refusal::Beyond,
        };
        self.scale.absolute && self.values.iter().filter(beyond).count() > 1
    }

    /// Whether a look of the fitted response does.
    pub fn is_look_beyond_white(&self, fit: &ResponseFit) -> bool {
        let bare = Measurement::value(self.scale.y_unmarked, 0.0);
        let beyond = |look: &&Measurement| look.get().is_some_and(|y| self.is_whiter(y, look.uncertainty()));
        self.scale.absolute && [&bare, &fit.y_marked, &fit.y_char].iter().any(beyond)
    }

    /// Whether a luminance lies above white by more than two standard deviations, that of the whole scale taken in.
    fn is_whiter(&self, y: f64, error: f64) -> bool {
        y - 2.0 * libm::hypot(error, y * self.scale.sigma) > 1.0
    }

    /// The patches with a veil taken off that was found. An even veil passes for a lighter coating and cannot be told, so the
    /// least of it is taken for none.
    pub fn unveiled(&self, found: &VeilOver) -> Measured {
        let least = found.share.iter().copied().fold(f64::INFINITY, f64::min);
        let left: Vec<f64> = found.share.iter().map(|v| (1.0 - (v - least)).max(0.05)).collect();
        let unsure = |ways: &[f64]| ways.iter().map(|w| w * w).sum::<f64>().sqrt();
        let lit: Vec<_> = self
            .lit
            .iter()
            .zip(&left)
            .zip(&found.ways)
            .map(|((m, left), ways)| m.as_ref().map(|m| m.unveiled(*left, unsure(ways))).map_err(|e| *e))
            .collect();
        let mean = left.iter().sum::<f64>() / left.len().max(1) as f64;
        let times = match self.against {
            Against::White(_) => mean,
            Against::Lightest => best(&self.lit) / best(&lit).max(1e-9),
            Against::Bare => 1.0,
        };
        let scale = Scale { y_unmarked: self.scale.y_unmarked * times, ..self.scale.clone() };
        let before = self.veil.share.iter().copied().chain(std::iter::repeat(0.0));
        let share: Vec<f64> = left.iter().zip(before).map(|(l, b)| 1.0 - l * (1.0 - b)).collect();
        let light = || self.gaps.iter().zip(&share).map(|(g, v)| g * (1.0 - v));
        Measured {
            values: values(&lit, scale.y_unmarked, &self.tones, self.unsure),
            light_ratio: light().fold(0.0, f64::max) / light().fold(f64::INFINITY, f64::min),
            veil: VeilOver { share, ways: found.ways.clone() },
            modes: self.modes.clone(),
            gaps: self.gaps.clone(),
            bumps: self.bumps.clone(),
            seen: lit.clone(),
            tones: self.tones.clone(),
            lit,
            scale,
            ..*self
        }
    }

    /// The patches on a scale that is tied to the lightest patch that lies by the fitted `curve` (L* and char of each patch), where
    /// it is tied to the lightest of all: that one may lie at a shadow's edge or under dust. None where the two are the same
    /// or the scale rests on something else.
    pub fn tied_to(&self, curve: &[Option<(f64, Option<f64>)>]) -> Option<Measured> {
        let above: Vec<(f64, f64)> = (curve.iter().zip(&self.values))
            .filter_map(|(c, v)| v.as_ref().ok().zip(*c).map(|(v, (fitted, _))| (v.l, v.l - fitted)))
            .collect();
        let most = MOST_ABOVE * robust_size(above.iter().map(|a| a.1)).max(LEAST_SPREAD);
        let lightest = |of: &dyn Fn(&f64) -> bool| {
            above.iter().filter(|(_, above)| of(above)).map(|a| a.0).fold(f64::NEG_INFINITY, f64::max)
        };
        let (all, tied) = (lightest(&|_| true), lightest(&|above| *above <= most));
        let strays = above.iter().filter(|a| a.0 > tied).count();
        let many = 20 * strays > STRAYS_IN_TWENTY * above.len().max(20);
        if self.against != Against::Lightest || tied.is_infinite() || tied == all || many {
            return None;
        }
        let expected = luminance(all);
        let y_unmarked = self.scale.y_unmarked * expected / luminance(tied);
        let scale = relative(text!("wedge.scale.what.lightest-fitted"), expected, y_unmarked);
        let values = values(&self.lit, scale.y_unmarked, &self.tones, self.unsure);
        Some(Measured { values, scale, ..self.clone() })
    }

    /// The patches with a camera's curve taken off that is steeper than the present one by so much, known to `sigma`.
    pub fn straightened(&self, steeper: f64, sigma: f64) -> Measured {
        let whole = self.steeper + steeper;
        let off = |(m, gap): (&Result<PatchLight, Refusal>, &f64)| match m {
            Ok(m) => Ok(m.straightened(whole, *gap)),
            Err(e) => Err(*e),
        };
        let lit: Vec<_> = self.seen.iter().zip(&self.gaps).map(off).collect();
        let gap = self.gaps.iter().sum::<f64>() / self.gaps.len().max(1) as f64;
        let against = |light: f64, steeper: f64| straight(gap, steeper) / straight(light, steeper).max(1e-6);
        let times = match self.against {
            Against::White(light) => against(light, whole) / against(light, self.steeper).max(1e-9),
            Against::Lightest => best(&self.lit) / best(&lit).max(1e-9),
            Against::Bare => 1.0,
        };
        let scale = Scale { y_unmarked: self.scale.y_unmarked * times, ..self.scale.clone() };
        // A camera's curve is no cubic: what is left of it is taken for a fifth (own judgement).
        let unsure = libm::hypot(sigma, 0.2 * whole);
        Measured {
            values: values(&lit, scale.y_unmarked, &self.tones, unsure),
            scale,
            unsure,
            lit,
            steeper: whole,
            seen: self.seen.clone(),
            modes: self.modes.clone(),
            bumps: self.bumps.clone(),
            tones: self.tones.clone(),
            gaps: self.gaps.clone(),
            veil: self.veil.clone(),
            ..*self
        }
    }
}

/// The most light of any patch, relative to the unmarked coating.
fn best(lit: &[Result<PatchLight, Refusal>]) -> f64 {
    lit.iter().flatten().map(|m| m.ratio).fold(0.0, f64::max)
}

/// The patches on the scale, those left out that come out as nothing looks; what `tones` says they grow by is known to `unsure`.
fn values(
    lit: &[Result<PatchLight, Refusal>],
    y_unmarked: f64,
    tones: &[f64],
    unsure: f64,
) -> Vec<Result<PatchValue, Refusal>> {
    let of = |(m, tone): (&Result<PatchLight, Refusal>, &f64)| {
        let mut value = PatchValue::of(m.as_ref().map_err(|e| *e)?, y_unmarked);
        value.l_error = libm::hypot(value.l_error, unsure * tone);
        // What was taken off for a veil or a camera's curve may leave a light that nothing has.
        let sound = value.l <= LIGHTEST && value.l_error.is_finite();
        sound.then_some(value).ok_or(Refusal::Beyond)
    };
    lit.iter().zip(tones).map(of).collect()
}

/// Measures all patches against the unmarked gaps between them.
///
/// # Errors
/// When no gap or no patch can be measured, or the white reference cannot be used.
pub fn measure(
    photo: &Photo,
    flat: &Flat,
    located: &Located,
    wedge: &Wedge,
    ask: &Ask,
) -> Result<Measured, ReadingError> {
    let guard = patches::guard(wedge, located.blur);
    let surface = LightSurface::fit(gaps(flat, wedge, guard), 3).ok_or_else(|| {
        ReadingError::Nothing(text!(
            "wedge.nothing.blurred",
            edge = format_args!("{:.2}", 5.0 * located.blur)
        ))
    })?;
    let surface = surface.with_local();
    let lit = patches::measure(photo, flat, &located.camera, &surface, wedge, located.blur);
    if lit.iter().all(Result::is_err) {
        let why = lit.iter().find_map(|m| m.as_ref().err()).map_or(String::new(), ToString::to_string);
        return Err(ReadingError::Nothing(text!("wedge.nothing.patch", why)));
    }
    let lights: Vec<f64> = surface.gaps.iter().map(|g| surface.at(g.at.0, g.at.1)).collect();
    let lighter = if wedge.marks.is_empty() { extreme_ratio(&lit) > 1.0 } else { located.lighter };
    let (scale, against) = scale(photo, wedge, ask, &located.camera, &surface, &lit, lighter)?;
    let height = wedge.blank.height();
    let places: Vec<(f64, f64)> = wedge.patches.iter().map(|p| (p.centre[0], height - p.centre[1])).collect();
    let gaps: Vec<f64> = places.iter().map(|p| surface.at(p.0, p.1)).collect();
    let bent = |(m, gap): (&Result<PatchLight, Refusal>, &f64)| {
        m.as_ref().map_or(0.0, |m| tone::bent(m.ratio, *gap, scale.y_unmarked))
    };
    let tones: Vec<f64> = lit.iter().zip(&gaps).map(bent).collect();
    Ok(Measured {
        values: values(&lit, scale.y_unmarked, &tones, 0.0),
        tones,
        gaps,
        bumps: places.iter().map(|p| surface.bump(p.0, p.1)).collect(),
        veil: VeilOver::default(),
        glare: None,
        seen: lit.clone(),
        steeper: 0.0,
        unsure: 0.0,
        lit,
        against,
        modes: surface.modes(&places),
        lighter,
        light_ratio: lights.iter().copied().fold(0.0, f64::max)
            / lights.iter().copied().fold(f64::INFINITY, f64::min),
        scale,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::lstar;

    /// Patches of these luminances on a coating of 0.03, the lightest taken for 0.65.
    fn seen(looks: &[f64]) -> Measured {
        let light = |y: &f64| {
            let ratio = y / 0.03;
            Ok(PatchLight {
                ratio,
                cells: vec![ratio; 9],
                pattern: None,
                light_error: 0.0,
                veil: 0.0,
                unsure: 0.0,
            })
        };
        let lit: Vec<Result<PatchLight, Refusal>> = looks.iter().map(light).collect();
        let n = looks.len();
        let scale = relative("the lightest patch", 0.65, 0.65 / best(&lit));
        Measured {
            values: values(&lit, scale.y_unmarked, &vec![0.0; n], 0.0),
            modes: vec![Vec::new(); n],
            scale,
            lighter: true,
            light_ratio: 1.0,
            bumps: vec![0.0; n],
            tones: vec![0.0; n],
            glare: None,
            veil: VeilOver::default(),
            steeper: 0.0,
            unsure: 0.0,
            seen: lit.clone(),
            lit,
            gaps: vec![1.0; n],
            against: Against::Lightest,
        }
    }

    #[test]
    fn what_comes_out_as_nothing_looks_is_left_out() {
        let m = seen(&[0.05, 0.3, 0.65]);
        let tenfold = values(&m.lit, 10.0 * m.scale.y_unmarked, &[0.0; 3], 0.0);
        // Luminances of 0.5, 3 and 6.5 are L* 76, 151 and 200.
        assert!(tenfold[0].is_ok() && tenfold[2] == Err(Refusal::Beyond), "{tenfold:?}");
    }

    #[test]
    fn a_reference_against_which_patches_are_lighter_than_white_is_not_white() {
        let against = |y_unmarked: f64, sigma: f64| {
            let m = seen(&[0.05, 0.3, 0.6, 0.65]);
            let scale = Scale { absolute: true, note: String::new(), y_unmarked, sigma };
            Measured { values: values(&m.lit, y_unmarked, &[0.0; 4], 0.0), scale, ..m }
        };
        assert!(!against(0.03, 0.02).is_beyond_white() && !seen(&[0.6, 0.65]).is_beyond_white());
        // Luminances of 1.6 and 1.73; of 1.04 and 1.13, which a poorly known light leaves open.
        assert!(against(0.08, 0.02).is_beyond_white() && against(0.8, 0.02).is_beyond_white());
        assert!(against(0.052, 0.01).is_beyond_white() && !against(0.052, 0.1).is_beyond_white());
    }

    #[test]
    fn the_scale_does_not_hang_on_a_patch_that_lies_above_the_curve() {
        let looks = [0.05, 0.2, 0.45, 0.6, 0.64, 0.65];
        let curve: Vec<_> = looks.iter().map(|y| Some((lstar(*y), None))).collect();
        assert_eq!(seen(&looks).tied_to(&curve), None);
        // The edge of a shadow: the last but one shows 12 % more light than it has.
        let mut lit = looks;
        lit[4] *= 1.12;
        let off = seen(&lit);
        let on_its_scale = lstar(0.65 * 0.65 / lit[4]);
        assert!((off.values[5].unwrap().l - on_its_scale).abs() < 1e-9);
        // The curve goes through the others, on the same scale.
        let curve: Vec<_> = looks.iter().map(|y| Some((lstar(y * 0.65 / lit[4]), None))).collect();
        let tied = off.tied_to(&curve).unwrap();
        for (i, y) in looks.iter().enumerate().filter(|(i, _)| *i != 4) {
            assert!((tied.values[i].unwrap().l - lstar(*y)).abs() < 1e-9, "{i}: {:?}", tied.values[i]);
        }
        assert!(tied.scale.note.contains("by the fitted curve is taken as L* 84.5"), "{}", tied.scale.note);
        // Where many lie above it, it is the curve that lies too low.
        let looks: Vec<f64> = (0..30).map(|i| 0.05 + 0.02 * f64::from(i)).collect();
        let low = |i: usize| looks[i] * 0.65 / 0.63 * if i < 25 { 1.0 } else { 0.8 };
        let flat: Vec<_> = (0..30).map(|i| Some((lstar(low(i)), None))).collect();
        assert_eq!(seen(&looks).tied_to(&flat), None);
        // A scale that rests on a white card stays.
        let against = Against::White(0.9);
        assert_eq!(Measured { against, ..off }.tied_to(&curve), None);
    }
}
