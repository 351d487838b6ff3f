//! Read: from a photo's bytes and a sheet to a reading.

use super::fit::least_squares::robust_size;
use super::fit::pick::{Choice, pick};
use super::fit::response::{self as fit, Known, ResponseFit};
use super::fit::tone;
use super::measure::lightness::{extreme_ratio, scale};
use super::measure::patches::{self, Measured, Refusal, deviation};
use super::measure::rectify::{Flat, Surface, gaps, rectify};
use super::measure::timing;
use super::reading::{PatchReading, PhotoReading, PickReading, Reading, ResponseReading, Scale};
use super::register::locate::{by_corners, by_marks};
use super::register::photo::{self, Photo, PhotoError};
use super::target::{Kind, Patch, Wedge};
use crate::colour::lstar;
use crate::mark::response::OVER_BURN;

/// What a reading is asked with.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// Four points given by hand, photo pixels: the centres of the finder marks, the odd one (the disc with
    /// a hole) first, then clockwise; for a grid that was drawn elsewhere its outer corners, clockwise from
    /// the upper left. Empty: the finder marks are searched.
    pub corners: Vec<(f64, f64)>,
    /// A white reference in the photo: x, y, width, height in pixels.
    pub white: Option<[f64; 4]>,
    /// The white reference's luminance, 0..1. Default 1.
    pub white_luminance: f64,
    /// Grain above which a patch is not picked, L*. Default 3.
    pub grain_limit: f64,
    /// The day, as it shall be written.
    pub date: String,
}

impl Default for Ask {
    fn default() -> Self {
        Ask { corners: Vec::new(), white: None, white_luminance: 1.0, grain_limit: 3.0, date: String::new() }
    }
}

/// Why a photo gives no reading.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ReadError {
    /// The file.
    #[error(transparent)]
    Photo(#[from] PhotoError),
    /// No consistent set of marks.
    #[error(
        "the four finder marks were not found: searched for three rings with a dot and one disc with a hole, \
         lighter or darker than the blank, at three scales, and saw {rings} such rings and {discs} such discs; \
         see that all four are in the photo, sharp and free of glare, or give their centres with --corners \
         x,y x,y x,y x,y (the disc with the hole first, then clockwise)"
    )]
    NoMarks {
        /// Rings seen.
        rings: usize,
        /// Discs seen.
        discs: usize,
    },
    /// The id's cells say another wedge.
    #[error(
        "the photo shows the wedge {seen}…, but this wedge.toml is of {given}; give the wedge.toml that belongs to the piece"
    )]
    OtherWedge {
        /// First digits of the id in the photo.
        seen: String,
        /// The id in the file.
        given: String,
    },
    /// The marks are there but what should be between them is not.
    #[error(
        "the photo does not show the wedge {given}: {why}; give the wedge.toml that belongs to the piece, or a photo of it"
    )]
    NotThis {
        /// The id in the file.
        given: String,
        /// What is missing.
        why: String,
    },
    /// The points given by hand do not do.
    #[error("the corners {0}")]
    Corners(String),
    /// The white reference does not do.
    #[error("the white reference {0}")]
    White(String),
    /// Nothing can be measured.
    #[error("no patch can be measured: {0}")]
    Nothing(String),
}

/// A reading with what its pictures are drawn from.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The reading.
    pub reading: Reading,
    /// The photo laid flat.
    pub flat: Flat,
    /// The fitted response, for exposure wedges.
    pub fit: Option<ResponseFit>,
    /// Which way to move the range, where all patches of an exposure wedge are under- or over-burnt.
    pub missed: Option<String>,
}

/// Reads a photo of a wedge.
pub fn read(bytes: &[u8], wedge: &Wedge, ask: &Ask) -> Result<Evidence, ReadError> {
    let photo = photo::open(bytes)?;
    read_photo(&photo, wedge, ask)
}

/// Reads a photo that is decoded already.
pub fn read_photo(photo: &Photo, wedge: &Wedge, ask: &Ask) -> Result<Evidence, ReadError> {
    let seen =
        if wedge.marks.is_empty() { by_corners(photo, wedge, ask)? } else { by_marks(photo, wedge, ask)? };
    let (width, height) = (wedge.blank.width(), wedge.blank.height());
    let flat = rectify(photo, &seen.map, width, height);
    let mut reading = Reading {
        wedge: wedge.id.clone(),
        kind: wedge.kind.name().into(),
        machine: wedge.machine.clone(),
        coating: wedge.coating.clone(),
        date: ask.date.clone(),
        marks_lighter: seen.lighter,
        scale: Scale {
            absolute: false,
            note: "no lightness was measured".into(),
            y_unmarked: wedge.expected.y_unmarked,
        },
        photo: PhotoReading {
            size: [photo.light.width(), photo.light.height()],
            pixels_per_mm: seen.map.scale((width / 2.0, height / 2.0)).unwrap_or(0.0),
            blur_mm: seen.blur,
            marks_px: seen.marks.iter().map(|m| [m.0, m.1]).collect(),
            homography: seen.map.plane.rows(),
            lens_k1: seen.map.lens.k1,
            light_ratio: 1.0,
        },
        patches: Vec::new(),
        response: None,
        pick: None,
        dot_gain: Vec::new(),
        beam: None,
        lags: Vec::new(),
        notes: seen.notes,
    };
    if reading.photo.pixels_per_mm < 6.0 {
        reading.notes.push(format!(
            "the piece has only {:.1} pixels a mm in this photo; go nearer for 10 or more",
            reading.photo.pixels_per_mm
        ));
    }
    if wedge.kind == Kind::Timing {
        reading.lags = timing::read(&flat, wedge, seen.lighter);
        return Ok(Evidence { reading, flat, fit: None, missed: None });
    }
    let guard = patches::guard(wedge, seen.blur);
    let surface = Surface::fit(gaps(&flat, wedge, guard), 3).ok_or_else(|| {
        ReadError::Nothing(format!(
            "the edges are blurred over {:.2} mm and leave no unmarked gap between the patches to compare with; take a sharper photo",
            5.0 * seen.blur
        ))
    })?;
    let measured = patches::measure(photo, &flat, &seen.map, &surface, wedge, seen.blur);
    if measured.iter().all(Result::is_err) {
        let why = measured.iter().find_map(|m| m.as_ref().err()).map_or(String::new(), ToString::to_string);
        return Err(ReadError::Nothing(format!("{why}; take another photo in even, diffuse light")));
    }
    let lights: Vec<f64> = surface.gaps.iter().map(|g| surface.at(g.at.0, g.at.1)).collect();
    reading.photo.light_ratio =
        lights.iter().copied().fold(0.0, f64::max) / lights.iter().copied().fold(f64::INFINITY, f64::min);
    if wedge.marks.is_empty() {
        reading.marks_lighter = extreme_ratio(&measured) > 1.0;
    }
    reading.scale = scale(photo, wedge, ask, &seen.map, &surface, &measured, reading.marks_lighter)?;
    reading.notes.push(
        "the photo's own tone curve is not known: lightness assumes the sRGB curve, so switch off the camera's picture styles"
            .into(),
    );
    if reading.marks_lighter != (wedge.expected.y_marked > wedge.expected.y_unmarked) {
        let way = if reading.marks_lighter { "lighter" } else { "darker" };
        reading.notes.push(format!(
            "the marks are {way} than the bare coating, which {} is not expected to give: see that wedge.toml names the coating that was used",
            wedge.coating
        ));
    }
    let y_gap = reading.scale.y_unmarked;
    let stats: Vec<Result<Stat, Refusal>> =
        measured.iter().map(|m| m.as_ref().map(|m| Stat::of(m, y_gap)).map_err(|e| *e)).collect();
    reading.patches = wedge.patches.iter().zip(&stats).map(|(p, s)| patch_reading(wedge, p, s)).collect();
    let places: Vec<(f64, f64)> = wedge.patches.iter().map(|p| (p.centre[0], height - p.centre[1])).collect();
    let modes = surface.modes(&places);
    let (mut response_fit, mut missed) = (None, None);
    match wedge.kind {
        Kind::Exposure => {
            let (fit, verdict) = exposure(wedge, ask, &stats, &modes, &mut reading);
            (response_fit, missed) = (Some(fit), verdict);
        }
        Kind::Tone => {
            let looks: Vec<tone::Look> =
                stats.iter().map(|s| s.as_ref().ok().map(|s| (s.y, s.y_error))).collect();
            reading.dot_gain = tone::gains(wedge, &looks, y_gap);
            reading.beam = Some(tone::beam(wedge, &looks, y_gap));
            if !wedge.expected.measured {
                reading.notes.push(
                    "the beam's width leans on a response that was assumed when this wedge was drawn; read an exposure wedge first and draw the tone wedge with its process.toml".into(),
                );
            }
        }
        Kind::Timing => {}
    }
    Ok(Evidence { reading, flat, fit: response_fit, missed })
}

/// How far a patch's mean is off besides its grain and the light, L* (measured on rendered photos: 0.03 to 0.05).
const REPEATS: f64 = 0.05;

/// How well the fitted char of a patch near the limit of over-burn is known, as a factor: its exposure to about
/// 1.6 % (measured on rendered photos), and char rises with about the eighth power of it.
const CHAR_FACTOR: f64 = 1.2;

/// A patch on the scale.
#[derive(Debug, Clone, Copy)]
struct Stat {
    y: f64,
    y_error: f64,
    /// The part of `y_error` that is the patch's own grain.
    y_grain: f64,
    /// The part of `y_error` that faint glare may leave.
    y_veil: f64,
    l: f64,
    l_error: f64,
    grain: f64,
}

impl Stat {
    /// Uncertainty of the patch's mean from its own grain, L*.
    fn l_grain(&self) -> f64 {
        lstar(self.y + self.y_grain) - self.l
    }

    /// Its lightness if the light over it is `exp(light)` times what it was taken for.
    fn under(&self, light: f64) -> f64 {
        lstar(self.y * (-light).exp())
    }

    /// Uncertainty for the fit, L*: its grain, what glare may leave, [`REPEATS`], and with `light` that of the
    /// light over it. What shifts all patches alike is no part of it.
    fn l_fit(&self, light: bool) -> f64 {
        let y = if light { self.y_error } else { self.y_grain.hypot(self.y_veil) };
        (lstar(self.y + y) - self.l).hypot(REPEATS)
    }

    fn of(m: &Measured, y_gap: f64) -> Stat {
        let y = m.ratio * y_gap;
        let ls: Vec<f64> = m.cells.iter().map(|c| lstar(c * y_gap)).collect();
        let grain = deviation(&ls);
        // Neighbouring apertures share the coating's mottle: a quarter of them count as independent.
        // A pattern's spread is no error; its soft mean is good to about half a percent.
        let own = if m.patterned {
            0.005 * y
        } else {
            deviation(&m.cells) * y_gap / (m.cells.len() as f64 / 4.0).max(1.0).sqrt()
        };
        // The glare over a patch need not be that of the gaps beside it: half of it is error.
        let y_veil = 0.5 * m.veil * y_gap;
        let y_error = own.hypot(y * m.light_error).hypot(y_veil).max(1e-5);
        let l = lstar(y);
        Stat { y, y_error, y_grain: own, y_veil, l, l_error: (lstar(y + y_error) - l).hypot(0.1), grain }
    }
}

fn patch_reading(wedge: &Wedge, p: &Patch, s: &Result<Stat, Refusal>) -> PatchReading {
    PatchReading {
        name: p.name.clone(),
        power_percent: 100.0 * p.dial.power.0,
        speed_mm_s: p.dial.speed.0,
        passes: p.dial.passes,
        dose_j_mm2: wedge.dose(&p.dial),
        coverage: p.coverage.0,
        lightness: match s {
            Ok(s) => Known::value(s.l, s.l_error),
            Err(e) => Known::not(e.to_string()),
        },
        grain: s.as_ref().ok().map(|s| s.grain),
        fitted: None,
        char: None,
    }
}

fn exposure(
    wedge: &Wedge,
    ask: &Ask,
    stats: &[Result<Stat, Refusal>],
    modes: &[Vec<f64>],
    reading: &mut Reading,
) -> (ResponseFit, Option<String>) {
    let unsettled = modes.iter().all(Vec::is_empty);
    let values: Vec<Option<(f64, f64)>> =
        stats.iter().map(|s| s.as_ref().ok().map(|s| (s.l, s.l_fit(unsettled)))).collect();
    let points = fit::points(wedge, &values);
    let plain: Vec<fit::Point> = points.iter().map(|p| p.1).collect();
    let open: Vec<Vec<f64>> = points.iter().map(|p| modes.get(p.0).cloned().unwrap_or_default()).collect();
    let y = reading.scale.y_unmarked;
    let bare = lstar(y);
    let settings: Vec<fit::Point> = points
        .iter()
        .filter(|(i, _)| wedge.patches.get(*i).is_some_and(|p| !p.charred))
        .map(|p| p.1)
        .collect();
    let verdict = super::fit::verdict::judge(&settings, bare, reading.marks_lighter);
    let fitted = match &verdict {
        Some(v) => {
            reading.notes.push(v.clone());
            fit::unknown(&plain, y, &wedge.expected, v)
        }
        None if settings.len() < 5 => {
            let why = format!("{} patches could be measured and the response needs 5", settings.len());
            reading.notes.push(why.clone());
            fit::unknown(&plain, y, &wedge.expected, &why)
        }
        None => fit::fit(&plain, &open, &fit::ripple(wedge), y, &wedge.expected),
    };
    for ((i, p), l) in points.iter().zip(&fitted.fitted) {
        if let Some(r) = reading.patches.get_mut(*i) {
            r.fitted = Some(*l);
            r.char = fitted.char(p.dose, p.speed);
        }
    }
    let mut light = vec![0.0; stats.len()];
    for ((i, _), l) in points.iter().zip(&fitted.light) {
        if let Some(of) = light.get_mut(*i) {
            *of = *l;
        }
    }
    if verdict.is_none() {
        choose(wedge, ask, stats, &light, &fitted, reading);
    }
    reading.response = Some(ResponseReading::new(&fitted));
    (fitted, verdict)
}

/// What the choice sees of each patch; nothing of the charred patch beside the grid. A patch's own lightness and the curve's are weighed by their uncertainties: one noisy patch then
/// neither sets the limit of what is light enough nor wins by chance. A patch that could not be read stands for
/// its setting with the curve's lightness and the grain of the patch that was read at the nearest exposure.
/// `light` is what the fit knows of the light over each patch beyond the gaps, natural logarithm; it is taken out
/// here and left in the reading's measured values.
fn choices(
    wedge: &Wedge,
    stats: &[Result<Stat, Refusal>],
    light: &[f64],
    fit: &ResponseFit,
) -> Vec<Option<Choice>> {
    let settled = fit.x_half.get().is_some() && fit.rms < 1.5;
    let known = light.iter().any(|l| *l != 0.0);
    let exposure = |p: &Patch| wedge.burn(&p.dial, fit.curve).x_solid;
    // How many times more than its grain and 0.05 L* the curve misses a patch, in the middle of them all.
    let misses = wedge
        .patches
        .iter()
        .zip(stats)
        .zip(light)
        .filter_map(|((p, s), e)| s.as_ref().ok().map(|s| (s, fit.lightness(exposure(p)), e)))
        .map(|(s, l, e)| (s.under(*e) - l) / s.l_grain().hypot(REPEATS));
    let misfit = robust_size(misses).max(1.0);
    let grain_near = |x: f64| {
        wedge
            .patches
            .iter()
            .zip(stats)
            .filter_map(|(p, s)| s.as_ref().ok().map(|s| ((exposure(p) / x).ln().abs(), s.grain)))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, grain)| grain)
    };
    wedge
        .patches
        .iter()
        .zip(stats)
        .zip(light)
        .map(|((p, s), e)| {
            if p.charred {
                return None;
            }
            let x = exposure(p);
            let curve = settled.then(|| fit.lightness(x));
            let (value, grain) = match (s, curve) {
                (Ok(s), Some(l)) => {
                    // The curve misses a patch by its grain at least; 0.05 L* is set for what both miss.
                    let grain = s.l_grain();
                    let all = s.l_fit(!known);
                    let own = (all.powi(2) - grain.powi(2)).max(REPEATS.powi(2)).recip();
                    let its = (misfit * grain.hypot(REPEATS)).powi(-2);
                    ((own * s.under(*e) + its * l) / (own + its), s.grain)
                }
                (Ok(s), None) => (s.under(*e), s.grain),
                (Err(_), Some(l)) => (l, grain_near(x)?),
                (Err(_), None) => return None,
            };
            Some(Choice {
                lightness: value,
                grain,
                pace: p.dial.speed.0 / f64::from(p.dial.passes),
                power: p.dial.power.0,
                char: fit.char(wedge.dose(&p.dial), p.dial.speed.0).unwrap_or(0.0),
            })
        })
        .collect()
}

fn choose(
    wedge: &Wedge,
    ask: &Ask,
    stats: &[Result<Stat, Refusal>],
    light: &[f64],
    fit: &ResponseFit,
    reading: &mut Reading,
) {
    let choices = choices(wedge, stats, light, fit);
    let at_limit = |limit: f64| pick(&choices, reading.marks_lighter, ask.grain_limit, limit);
    let picked = at_limit(OVER_BURN);
    let other = [OVER_BURN / CHAR_FACTOR, OVER_BURN * CHAR_FACTOR]
        .into_iter()
        .filter_map(at_limit)
        .find(|o| picked.is_some_and(|i| i != *o))
        .and_then(|o| wedge.patches.get(o));
    let Some(i) = picked else {
        reading
            .notes
            .push(format!("no patch is picked: all are grainy (above {} L*) or over-burnt", ask.grain_limit));
        return;
    };
    let (Some(p), Some(Some(c))) = (wedge.patches.get(i), choices.get(i)) else { return };
    let name = if reading.marks_lighter { "lightest" } else { "darkest" };
    let area_lines = 85.0 / wedge.pitch_across.0;
    let latitude = match fit.x_char.get() {
        Some(x_char) => {
            let r = &fit.response;
            // q = 5 % at X = x_char 19^(-1/m).
            let at_five = x_char * 19f64.powf(-1.0 / r.char_rise);
            let x = wedge.burn(&p.dial, *r).x_solid;
            Known::value(100.0 * (at_five / x - 1.0), 0.0)
        }
        None => Known::not("no patch was over-burnt"),
    };
    reading.pick = Some(PickReading {
        patch: p.name.clone(),
        power_percent: 100.0 * p.dial.power.0,
        speed_mm_s: p.dial.speed.0,
        passes: p.dial.passes,
        lightness: stats.get(i).and_then(|s| s.as_ref().ok()).map_or(c.lightness, |s| s.l),
        grain: c.grain,
        why: format!(
            "the fastest within 2 L* of the {name} that is not grainy, then the one with the least power{}",
            match stats.get(i) {
                Some(Err(_)) =>
                    "; the patch itself could not be read, its lightness is the curve's through the others",
                _ => "",
            }
        ),
        latitude_percent: latitude,
        seconds_for_85_mm: area_lines * 85.0 / p.dial.speed.0 * f64::from(p.dial.passes),
    });
    if let Some(o) = other {
        reading.notes.push(format!(
            "the pick hangs on where char sets in, which the patches tell to about a fifth of its 5 %: {} may be the better setting; compare {} and {} by eye",
            o.name, p.name, o.name
        ));
    }
    let fastest = wedge.patches.iter().map(|p| p.dial.speed.0).fold(0.0, f64::max);
    if p.dial.speed.0 >= fastest {
        reading.notes.push("the pick is in the fastest column: a faster one may do as well; draw another wedge with higher speeds".into());
    }
}
