//! Read: from a photo's bytes and a sheet to a reading.

use super::fit::{self, Known, ResponseFit};
use super::least_squares::robust_size;
use super::lightness::{extreme_ratio, scale};
use super::locate::{by_corners, by_marks};
use super::patches::{self, Measured, Refusal, deviation};
use super::photo::{self, Photo, PhotoError, lightness};
use super::pick::{Choice, pick};
use super::reading::{PatchReading, PhotoReading, PickReading, Reading, ResponseReading, Scale};
use super::rectify::{Flat, Surface, gaps, rectify};
use super::sheet::{Kind, Patch, Wedge};
use super::{timing, tone};
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
    let (mut response_fit, mut missed) = (None, None);
    match wedge.kind {
        Kind::Exposure => {
            let (fit, verdict) = exposure(wedge, ask, &stats, &mut reading);
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

/// A patch on the scale.
#[derive(Debug, Clone, Copy)]
struct Stat {
    y: f64,
    y_error: f64,
    /// The part of `y_error` that is the patch's own grain.
    y_grain: f64,
    l: f64,
    l_error: f64,
    grain: f64,
}

impl Stat {
    /// Uncertainty of the patch's mean from its own grain, L*.
    fn l_grain(&self) -> f64 {
        lightness(self.y + self.y_grain) - self.l
    }

    fn of(m: &Measured, y_gap: f64) -> Stat {
        let y = m.ratio * y_gap;
        let ls: Vec<f64> = m.cells.iter().map(|c| lightness(c * y_gap)).collect();
        let grain = deviation(&ls);
        // Neighbouring apertures share the coating's mottle: a quarter of them count as independent.
        // A pattern's spread is no error; its soft mean is good to about half a percent.
        let own = if m.patterned {
            0.005 * y
        } else {
            deviation(&m.cells) * y_gap / (m.cells.len() as f64 / 4.0).max(1.0).sqrt()
        };
        // The glare over a patch need not be that of the gaps beside it: half of it is error.
        let y_error = own.hypot(y * m.light_error).hypot(0.5 * m.veil * y_gap).max(1e-5);
        let l = lightness(y);
        Stat { y, y_error, y_grain: own, l, l_error: (lightness(y + y_error) - l).hypot(0.1), grain }
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
    reading: &mut Reading,
) -> (ResponseFit, Option<String>) {
    let values: Vec<Option<(f64, f64)>> =
        stats.iter().map(|s| s.as_ref().ok().map(|s| (s.l, s.l_error))).collect();
    let points = fit::points(wedge, &values);
    let plain: Vec<fit::Point> = points.iter().map(|p| p.1).collect();
    let y = reading.scale.y_unmarked;
    let bare = lightness(y);
    let verdict = super::verdict::judge(&plain, bare, reading.marks_lighter);
    let fitted = match &verdict {
        Some(v) => {
            reading.notes.push(v.clone());
            fit::unknown(&plain, y, &wedge.expected, v)
        }
        None if plain.len() < 5 => {
            let why = format!("{} patches could be measured and the response needs 5", plain.len());
            reading.notes.push(why.clone());
            fit::unknown(&plain, y, &wedge.expected, &why)
        }
        None => fit::fit(&plain, &fit::ripple(wedge), y, &wedge.expected),
    };
    let with_char = fitted.curve.x_char.is_finite();
    for ((i, p), l) in points.iter().zip(&fitted.fitted) {
        let x = p.dose * (p.speed / wedge.expected.v0.0).powf(1.0 - fitted.curve.schwarzschild);
        if let Some(r) = reading.patches.get_mut(*i) {
            r.fitted = Some(*l);
            r.char = with_char.then(|| fitted.curve.q(x));
        }
    }
    if verdict.is_none() {
        choose(wedge, ask, stats, &fitted, reading);
    }
    reading.response = Some(ResponseReading::new(&fitted));
    (fitted, verdict)
}

/// What the choice sees of each patch. A patch's own lightness and the curve's are weighed by their
/// uncertainties: one noisy patch then neither sets the limit of what is light enough nor wins by chance. A
/// patch that could not be read stands for its setting with the curve's lightness and the grain of the patch
/// that was read at the nearest exposure.
fn choices(wedge: &Wedge, stats: &[Result<Stat, Refusal>], fit: &ResponseFit) -> Vec<Option<Choice>> {
    let settled = fit.x_half.get().is_some() && fit.rms < 1.5;
    let exposure = |p: &Patch| wedge.burn(&p.dial, fit.curve).x_solid;
    // How many times more than its grain and 0.05 L* the curve misses a patch, in the middle of them all.
    let misses = wedge
        .patches
        .iter()
        .zip(stats)
        .filter_map(|(p, s)| s.as_ref().ok().map(|s| (s, fit.lightness(exposure(p)))))
        .map(|(s, l)| (s.l - l) / s.l_grain().hypot(0.05));
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
        .map(|(p, s)| {
            let x = exposure(p);
            let curve = settled.then(|| fit.lightness(x));
            let (value, grain) = match (s, curve) {
                (Ok(s), Some(l)) => {
                    // The curve misses a patch by its grain at least; 0.05 L* is set for what both miss.
                    let grain = s.l_grain();
                    let light = lightness(s.y + s.y_error) - lightness(s.y);
                    let own = (light.powi(2) - grain.powi(2)).max(0.0).sqrt().hypot(0.05).powi(-2);
                    let its = (misfit * grain.hypot(0.05)).powi(-2);
                    ((own * s.l + its * l) / (own + its), s.grain)
                }
                (Ok(s), None) => (s.l, s.grain),
                (Err(_), Some(l)) => (l, grain_near(x)?),
                (Err(_), None) => return None,
            };
            Some(Choice {
                lightness: value,
                grain,
                pace: p.dial.speed.0 / f64::from(p.dial.passes),
                power: p.dial.power.0,
                over_burnt: fit.curve.q(x) >= OVER_BURN,
            })
        })
        .collect()
}

fn choose(
    wedge: &Wedge,
    ask: &Ask,
    stats: &[Result<Stat, Refusal>],
    fit: &ResponseFit,
    reading: &mut Reading,
) {
    let choices = choices(wedge, stats, fit);
    let Some(i) = pick(&choices, reading.marks_lighter, ask.grain_limit) else {
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
    let fastest = wedge.patches.iter().map(|p| p.dial.speed.0).fold(0.0, f64::max);
    if p.dial.speed.0 >= fastest {
        reading.notes.push("the pick is in the fastest column: a faster one may do as well; draw another wedge with higher speeds".into());
    }
}
