//! Read: from a photo's bytes and a sheet to a reading.

use super::detect::{self, Searched};
use super::fit::{self, Known, ResponseFit};
use super::homography::Homography;
use super::patches::{self, Measured, Refusal, deviation};
use super::photo::{self, Photo, PhotoError, lightness, sample};
use super::pick::{Choice, pick};
use super::reading::{PatchReading, PhotoReading, PickReading, Reading, ResponseReading, Scale};
use super::rectify::{Flat, Surface, gaps, rectify};
use super::register::{Registered, register};
use super::sheet::{Kind, Patch, Wedge};
use super::{timing, tone};

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
            homography: seen.map.rows(),
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
        return Ok(Evidence { reading, flat, fit: None });
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
    let y_gap = reading.scale.y_unmarked;
    let stats: Vec<Result<Stat, Refusal>> =
        measured.iter().map(|m| m.as_ref().map(|m| Stat::of(m, y_gap)).map_err(|e| *e)).collect();
    reading.patches = wedge.patches.iter().zip(&stats).map(|(p, s)| patch_reading(wedge, p, s)).collect();
    let mut response_fit = None;
    match wedge.kind {
        Kind::Exposure => response_fit = Some(exposure(wedge, ask, &stats, &mut reading)),
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
    Ok(Evidence { reading, flat, fit: response_fit })
}

/// Where the wedge lies in the photo.
struct Seen {
    map: Homography,
    marks: Vec<(f64, f64)>,
    blur: f64,
    lighter: bool,
    notes: Vec<String>,
}

fn model_points(wedge: &Wedge) -> Vec<(f64, f64)> {
    let height = wedge.blank.height();
    wedge.marks.iter().map(|m| (m.centre[0], height - m.centre[1])).collect()
}

fn by_marks(photo: &Photo, wedge: &Wedge, ask: &Ask) -> Result<Seen, ReadError> {
    let model = model_points(wedge);
    let mut map = if ask.corners.is_empty() {
        detect::find(&photo.light, wedge)
            .map_err(|Searched { rings, discs }| ReadError::NoMarks { rings, discs })?
            .map
    } else {
        hand_map(photo, &model, ask)?
    };
    // Twice: the second time the shapes are looked at through the better perspective.
    let mut marks: Vec<Registered> = Vec::new();
    for _ in 0..2 {
        marks = wedge
            .marks
            .iter()
            .map_while(|m| register(&photo.light, &map, m, wedge.blank.height()))
            .filter(|r| r.likeness > 0.5)
            .collect();
        if marks.len() < 4 {
            break;
        }
        let to: Vec<(f64, f64)> = marks.iter().map(|m| m.at).collect();
        map = Homography::fit(&model, &to)
            .ok_or_else(|| ReadError::Corners("lie on a line; give four different points".into()))?;
    }
    if marks.len() < 4 && !ask.corners.is_empty() {
        return Err(ReadError::Corners(
            "do not lie on the four finder marks; give their centres, the disc with the hole first, then clockwise".into(),
        ));
    }
    if marks.len() < 4 {
        return Err(ReadError::NoMarks { rings: marks.len(), discs: 0 });
    }
    let mut blurs: Vec<f64> = marks.iter().map(|m| m.blur_mm).collect();
    blurs.sort_by(f64::total_cmp);
    let contrast = marks.iter().map(|m| m.contrast).sum::<f64>() / 4.0;
    let mut notes = Vec::new();
    check_code(photo, wedge, &map, contrast > 0.0, &mut notes)?;
    // The sharpest photo of this beam still blurs; the second largest guards against one bad mark.
    Ok(Seen {
        map,
        marks: marks.iter().map(|m| m.at).collect(),
        blur: blurs.get(2).copied().unwrap_or(0.1),
        lighter: contrast > 0.0,
        notes,
    })
}

fn hand_map(photo: &Photo, model: &[(f64, f64)], ask: &Ask) -> Result<Homography, ReadError> {
    if ask.corners.len() != 4 {
        return Err(ReadError::Corners(format!("are {} points; give four", ask.corners.len())));
    }
    let (w, h) = (photo.light.width() as f64, photo.light.height() as f64);
    if let Some(p) = ask.corners.iter().find(|p| !(0.0..w).contains(&p.0) || !(0.0..h).contains(&p.1)) {
        return Err(ReadError::Corners(format!(
            "hold {},{}, which lies outside the photo of {w} x {h} pixels",
            p.0, p.1
        )));
    }
    Homography::fit(model, &ask.corners)
        .ok_or_else(|| ReadError::Corners("lie on a line; give four different points".into()))
}

fn by_corners(photo: &Photo, wedge: &Wedge, ask: &Ask) -> Result<Seen, ReadError> {
    let (w, h) = (wedge.blank.width(), wedge.blank.height());
    let map = hand_map(photo, &[(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)], ask)?;
    let per_mm = map.scale((w / 2.0, h / 2.0)).unwrap_or(8.0);
    Ok(Seen {
        map,
        marks: ask.corners.clone(),
        // No finder mark to measure it on: three pixels are taken as the blur of a hand-held photo.
        blur: 3.0 / per_mm,
        lighter: true,
        notes: vec!["there are no finder marks: places rest on the corners given by hand, and the blur was not measured".into()],
    })
}

/// Compares the id's cells in the photo with the sheet.
fn check_code(
    photo: &Photo,
    wedge: &Wedge,
    map: &Homography,
    lighter: bool,
    notes: &mut Vec<String>,
) -> Result<(), ReadError> {
    let Some(code) = &wedge.code else {
        notes.push(
            "this wedge is too small for the cells of its id: see that the photo belongs to the wedge.toml"
                .into(),
        );
        return Ok(());
    };
    let height = wedge.blank.height();
    let look = |x: f64, y: f64, half: f64| -> Option<f64> {
        let mut sum = 0.0;
        for j in -2..=2 {
            for i in -2..=2 {
                let at = (x + half * f64::from(i) / 2.0, y + half * f64::from(j) / 2.0);
                let (px, py) = map.map(at)?;
                sum += f64::from(sample(&photo.light, px, py)?.max(0.0).sqrt());
            }
        }
        Some(sum / 25.0)
    };
    let y = height - code.first[1];
    let cells: Option<Vec<(f64, f64)>> = (0..code.bits.len())
        .map(|i| {
            let x = code.first[0] + i as f64 * code.step;
            let before = look(x - code.step / 2.0, y, 0.05 * code.cell)?;
            let after = look(x + code.step / 2.0, y, 0.05 * code.cell)?;
            Some((look(x, y, 0.3 * code.cell)?, (before + after) / 2.0))
        })
        .collect();
    let Some(cells) = cells else { return Ok(()) };
    let sign = if lighter { 1.0 } else { -1.0 };
    let differences: Vec<f64> = cells.iter().map(|(c, g)| sign * (c - g)).collect();
    let top = differences.iter().copied().fold(0.0, f64::max);
    let level = 0.5 * top;
    let noise = deviation(&differences.iter().copied().filter(|d| *d < level).collect::<Vec<_>>());
    let bits: String = differences.iter().map(|d| if *d > level { '1' } else { '0' }).collect();
    let wrong = bits.chars().zip(code.bits.chars()).filter(|(a, b)| a != b).count();
    if top < 6.0 * noise || top < 0.02 {
        if code.bits.contains('1') {
            return Err(ReadError::NotThis {
                given: wedge.id.clone(),
                why: "the cells of the id under the patches are not there".into(),
            });
        }
        return Ok(());
    }
    match wrong {
        0 => Ok(()),
        1 => {
            notes.push("one cell of the wedge's id could not be read; the others agree".into());
            Ok(())
        }
        _ => {
            let digits = bits.len() / 4;
            let seen = (0..digits)
                .filter_map(|d| u8::from_str_radix(bits.get(4 * d..4 * d + 4)?, 2).ok())
                .map(|v| format!("{v:X}"))
                .collect::<String>();
            Err(ReadError::OtherWedge { seen: format!("W{seen}"), given: wedge.id.clone() })
        }
    }
}

fn extreme_ratio(measured: &[Result<Measured, Refusal>]) -> f64 {
    measured
        .iter()
        .flatten()
        .map(|m| m.ratio)
        .max_by(|a, b| a.max(1e-6).ln().abs().total_cmp(&b.max(1e-6).ln().abs()))
        .unwrap_or(1.0)
}

/// Settles luminance: from the white reference, or from one look that was expected.
fn scale(
    photo: &Photo,
    wedge: &Wedge,
    ask: &Ask,
    map: &Homography,
    surface: &Surface,
    measured: &[Result<Measured, Refusal>],
    lighter: bool,
) -> Result<Scale, ReadError> {
    if let Some(white) = ask.white {
        return absolute(photo, ask, map, surface, white);
    }
    let e = &wedge.expected;
    let best = measured.iter().flatten().map(|m| m.ratio).fold(0.0, f64::max);
    // The lightest look is known best; it is the full mark where marks are light and marked at all.
    if lighter && best > 1.0 + 0.3 * (e.y_marked / e.y_unmarked - 1.0).max(0.0) && best > 1.3 {
        return Ok(Scale {
            absolute: false,
            note: format!(
                "relative: the lightest patch is taken as L* {:.1} (luminance {:.2}, assumed of the coating); a white reference in the photo (--white) makes it absolute",
                lightness(e.y_marked),
                e.y_marked
            ),
            y_unmarked: e.y_marked / best,
        });
    }
    Ok(Scale {
        absolute: false,
        note: format!(
            "relative: the bare coating is taken as L* {:.1} (luminance {:.2}, assumed of the coating); a white reference in the photo (--white) makes it absolute",
            lightness(e.y_unmarked),
            e.y_unmarked
        ),
        y_unmarked: e.y_unmarked,
    })
}

fn absolute(
    photo: &Photo,
    ask: &Ask,
    map: &Homography,
    surface: &Surface,
    white: [f64; 4],
) -> Result<Scale, ReadError> {
    let [x, y, w, h] = white;
    let (pw, ph) = (photo.light.width() as f64, photo.light.height() as f64);
    if !(x >= 0.0 && y >= 0.0 && w >= 4.0 && h >= 4.0 && x + w <= pw && y + h <= ph) {
        return Err(ReadError::White(format!(
            "{x},{y},{w},{h} does not lie in the photo of {pw} x {ph} pixels; give x,y,width,height in pixels, at least 4 x 4"
        )));
    }
    if !(ask.white_luminance > 0.0 && ask.white_luminance <= 1.0) {
        return Err(ReadError::White(format!(
            "has the luminance {}; it is from 1% to 100%",
            ask.white_luminance
        )));
    }
    let (mut sum, mut n, mut clipped) = (0.0, 0.0, 0.0);
    for py in y as usize..(y + h) as usize {
        for px in x as usize..(x + w) as usize {
            sum += f64::from(photo.light.row(py).get(px).copied().unwrap_or(0.0));
            n += 1.0;
            clipped += f64::from(u8::from(photo.clipped.get(px, py)));
        }
    }
    if clipped > 0.01 * n {
        return Err(ReadError::White(format!(
            "is clipped ({:.0} % of its pixels are at the camera's limit); expose less",
            100.0 * clipped / n
        )));
    }
    let light = sum / n;
    if light < 0.02 {
        return Err(ReadError::White("is nearly black; give the rectangle of the white card".into()));
    }
    // The light at the card is that of the piece carried on; only its slope is trusted outside the patches.
    let gentle = Surface::fit(surface.gaps.clone(), 2);
    let middle = (x + w / 2.0, y + h / 2.0);
    let at = map.inverse().and_then(|m| m.map(middle)).unwrap_or((0.0, 0.0));
    let bare = gentle.as_ref().unwrap_or(surface).at(at.0, at.1);
    let y_unmarked = ask.white_luminance * bare / light;
    if !(1e-4..=1.0).contains(&y_unmarked) {
        return Err(ReadError::White(format!(
            "would give the bare coating the luminance {y_unmarked:.2}; give the rectangle of the white card"
        )));
    }
    Ok(Scale {
        absolute: true,
        note: format!(
            "absolute, against the white reference (luminance {:.2}); the light between the piece and the card is carried on from the gaps",
            ask.white_luminance
        ),
        y_unmarked,
    })
}

/// A patch on the scale.
#[derive(Debug, Clone, Copy)]
struct Stat {
    y: f64,
    y_error: f64,
    l: f64,
    l_error: f64,
    grain: f64,
}

impl Stat {
    fn of(m: &Measured, y_gap: f64) -> Stat {
        let y = m.ratio * y_gap;
        let ls: Vec<f64> = m.cells.iter().map(|c| lightness(c * y_gap)).collect();
        let grain = deviation(&ls);
        // Neighbouring apertures share the coating's mottle: a quarter of them count as independent.
        let own = deviation(&m.cells) * y_gap / (m.cells.len() as f64 / 4.0).max(1.0).sqrt();
        let y_error = own.hypot(y * m.light_error).max(1e-5);
        let l = lightness(y);
        Stat { y, y_error, l, l_error: (lightness(y + y_error) - l).hypot(0.1), grain }
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

fn exposure(wedge: &Wedge, ask: &Ask, stats: &[Result<Stat, Refusal>], reading: &mut Reading) -> ResponseFit {
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
    let with_char = fitted.x_char.get().is_some();
    for ((i, p), l) in points.iter().zip(&fitted.fitted) {
        let x = p.dose * (p.speed / wedge.expected.v0.0).powf(1.0 - fitted.response.schwarzschild);
        if let Some(r) = reading.patches.get_mut(*i) {
            r.fitted = Some(*l);
            r.char = with_char.then(|| fitted.response.q(x));
        }
    }
    if verdict.is_none() {
        choose(wedge, ask, stats, &fitted, reading);
    }
    reading.response = Some(ResponseReading::new(&fitted));
    fitted
}

fn choose(
    wedge: &Wedge,
    ask: &Ask,
    stats: &[Result<Stat, Refusal>],
    fit: &ResponseFit,
    reading: &mut Reading,
) {
    let choices: Vec<Option<Choice>> = wedge
        .patches
        .iter()
        .zip(stats)
        .zip(&reading.patches)
        .map(|((p, s), r)| {
            let s = s.as_ref().ok()?;
            Some(Choice {
                lightness: s.l,
                grain: s.grain,
                pace: p.dial.speed.0 / f64::from(p.dial.passes),
                power: p.dial.power.0,
                over_burnt: r.char.is_some_and(|c| c >= 0.05),
            })
        })
        .collect();
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
        lightness: c.lightness,
        grain: c.grain,
        why: format!(
            "the fastest within 2 L* of the {name} that is not grainy, then the one with the least power"
        ),
        latitude_percent: latitude,
        seconds_for_85_mm: area_lines * 85.0 / p.dial.speed.0 * f64::from(p.dial.passes),
    });
    let fastest = wedge.patches.iter().map(|p| p.dial.speed.0).fold(0.0, f64::max);
    if p.dial.speed.0 >= fastest {
        reading.notes.push("the pick is in the fastest column: a faster one may do as well; draw another wedge with higher speeds".into());
    }
}
