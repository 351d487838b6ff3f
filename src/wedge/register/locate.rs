//! Locate: where the wedge lies in the photo, and whether it is the one that its file describes.

use super::camera::{Camera, Lens};
use super::centre::{Registered, register};
use super::code::check_code;
use super::detect::{self, Searched, Unfound};
use super::homography::Homography;
use super::refine::refine;
use crate::art::Photo;
use crate::progress::Progress;
use crate::texts::text;
use crate::wedge::ask::{Ask, ReadingError};
use crate::wedge::target::Wedge;

/// Where the wedge lies in the photo.
pub struct Located {
    /// From mm (y down, from the blank's upper left corner) to photo pixels.
    pub camera: Camera,
    /// Centres of the finder marks or corners, photo pixels.
    pub marks: Vec<(f64, f64)>,
    /// Standard deviation of the edges' blur, mm.
    pub blur: f64,
    /// Marks are lighter than the bare coating.
    pub lighter: bool,
    /// What a reader must know.
    pub notes: Vec<String>,
}

/// Finds the wedge in the photo: by its finder marks, or, for a grid that has none, by the corners given by hand.
///
/// # Errors
/// When the wedge is not found or another one is seen, or the corners given by hand do not do.
pub fn locate(
    photo: &Photo,
    wedge: &Wedge,
    ask: &Ask,
    progress: &dyn Progress,
) -> Result<Located, ReadingError> {
    if wedge.marks.is_empty() { by_corners(photo, wedge, ask) } else { by_marks(photo, wedge, ask, progress) }
}

fn model_points(wedge: &Wedge) -> Vec<(f64, f64)> {
    let height = wedge.blank.height();
    wedge.marks.iter().map(|m| (m.centre[0], height - m.centre[1])).collect()
}

/// Finds the finder marks, or takes the points given by hand, and makes both exact on the marks and on the
/// edges of the patches. Three marks do where the patches settle the rest.
///
/// # Errors
/// When no consistent set of marks is found or the id's cells say another wedge.
fn by_marks(
    photo: &Photo,
    wedge: &Wedge,
    ask: &Ask,
    progress: &dyn Progress,
) -> Result<Located, ReadingError> {
    let model = model_points(wedge);
    let lens = Lens::new(photo.light.width(), photo.light.height(), 0.0);
    let by_hand = !ask.corners.is_empty();
    let plane = if by_hand {
        hand_map(photo, &model, ask)?
    } else {
        let found = detect::find(&photo.light, wedge, progress).map_err(|e| unfound(wedge, e))?;
        if found.another {
            return Err(ReadingError::TwoPieces);
        }
        found.plane
    };
    let mut camera = Camera { plane, lens };
    // Twice: the second time the shapes are looked at through the better perspective.
    let mut marks: Vec<(usize, Registered)> = Vec::new();
    for _ in 0..2 {
        marks = wedge
            .marks
            .iter()
            .enumerate()
            .filter_map(|(i, m)| Some((i, register(&photo.light, &camera, m, wedge.blank.height())?)))
            .filter(|(_, r)| r.likeness > 0.5)
            .collect();
        if marks.len() < 4 {
            break;
        }
        let to: Vec<(f64, f64)> = marks.iter().map(|m| m.1.at).collect();
        camera = Camera::fit(&model, &to, lens)
            .ok_or_else(|| ReadingError::Corners(text!("wedge.corners.line").into()))?;
    }
    if marks.len() < 3 && by_hand {
        return Err(ReadingError::Corners(text!("wedge.corners.not-marks").into()));
    }
    let by = |marks: &[(usize, Registered)]| {
        let known: Vec<(f64, f64)> = marks.iter().filter_map(|(i, _)| model.get(*i).copied()).collect();
        let at: Vec<(f64, f64)> = marks.iter().map(|m| m.1.at).collect();
        if marks.len() >= 3 { refine(&photo.light, wedge, &camera, &known, &at) } else { None }
    };
    let mut refined = by(&marks);
    // A mark half under a thumb or a spot of light is found beside its place: the patches know better.
    while let Some(r) = refined
        && marks.len() > 3
        && let Some((away, worst)) = furthest(&marks, &model, &r.camera)
        && away > STRAY_MM
    {
        marks.remove(worst);
        refined = by(&marks);
    }
    let mut notes = Vec::new();
    if marks.len() < 4 {
        // Without the fourth mark the patches must carry the place: half of a blurred edge is the limit.
        if !refined.is_some_and(|r| r.rest < 0.15) {
            return Err(ReadingError::NoMarks { rings: marks.len(), discs: 0 });
        }
        notes.push(text!("wedge.note.three-marks").into());
    }
    if let Some(r) = refined {
        camera = r.camera;
    }
    if camera.lens.k1.abs() > 0.005 {
        notes.push(text!("wedge.note.lens", bend = format_args!("{:+.1}", 100.0 * camera.lens.k1)));
    }
    let mut blurs: Vec<f64> = marks.iter().map(|m| m.1.blur_mm).collect();
    blurs.sort_by(f64::total_cmp);
    let contrast = marks.iter().map(|m| m.1.contrast).sum::<f64>() / marks.len() as f64;
    if let Err(e) = check_code(photo, wedge, &camera, contrast > 0.0, &mut notes) {
        let mirrored = mirrored(photo, wedge, &model, &marks, lens, contrast > 0.0);
        return Err(if mirrored { ReadingError::Mirrored } else { e });
    }
    let photo_middle = (photo.light.width() as f64 / 2.0, photo.light.height() as f64 / 2.0);
    // The sharpest photo of this beam still blurs; the second largest guards against one bad mark.
    Ok(Located {
        camera,
        marks: model
            .iter()
            .enumerate()
            .map(|(i, &m)| {
                let own = marks.iter().find(|(k, _)| *k == i).map(|(_, r)| r.at);
                own.or_else(|| camera.project(m)).unwrap_or(photo_middle)
            })
            .collect(),
        blur: blurs.get(blurs.len().saturating_sub(2)).copied().unwrap_or(0.1),
        lighter: contrast > 0.0,
        notes,
    })
}

/// Whether the id's cells are those of the wedge where the marks run anticlockwise: the photo is a mirror picture.
fn mirrored(
    photo: &Photo,
    wedge: &Wedge,
    model: &[(f64, f64)],
    marks: &[(usize, Registered)],
    lens: Lens,
    lighter: bool,
) -> bool {
    let [a, b, c, d] = model else { return false };
    let [p, q, r, s] = marks else { return false };
    let to = [p, q, r, s].map(|m| m.1.at);
    let plane = Homography::fit(&[*a, *d, *c, *b], &to);
    let camera = plane.map(|plane| Camera { plane, lens });
    let mut notes = Vec::new();
    let told = wedge.code.as_ref().is_some_and(|c| c.bits.contains('1'));
    told && camera.is_some_and(|c| check_code(photo, wedge, &c, lighter, &mut notes).is_ok())
        && notes.is_empty()
}

/// A finder mark further from where the patches put it than this was found beside its place. Marks are good to
/// 0.02 mm, patches to 0.05 mm each.
const STRAY_MM: f64 = 0.06;

/// The mark that lies furthest from where the camera puts it: mm, and its index in the list.
fn furthest(marks: &[(usize, Registered)], model: &[(f64, f64)], camera: &Camera) -> Option<(f64, usize)> {
    marks
        .iter()
        .enumerate()
        .filter_map(|(k, (i, r))| {
            let (m, p) = (model.get(*i)?, camera.back_project(r.at)?);
            Some((libm::hypot(m.0 - p.0, m.1 - p.1), k))
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))
}

fn unfound(wedge: &Wedge, why: Unfound) -> ReadingError {
    let Searched { rings, discs } = match why {
        Unfound::Stopped(stopped) => return stopped.into(),
        Unfound::Searched(searched) => searched,
    };
    if rings < 3 || discs < 1 {
        return ReadingError::NoMarks { rings, discs };
    }
    ReadingError::NotThis { given: wedge.id.clone(), why: text!("wedge.not-this.other-places", rings, discs) }
}

fn hand_map(photo: &Photo, model: &[(f64, f64)], ask: &Ask) -> Result<Homography, ReadingError> {
    if ask.corners.len() != 4 {
        return Err(ReadingError::Corners(text!("wedge.corners.count", count = ask.corners.len())));
    }
    let (w, h) = (photo.light.width() as f64, photo.light.height() as f64);
    if let Some(p) = ask.corners.iter().find(|p| !(0.0..w).contains(&p.0) || !(0.0..h).contains(&p.1)) {
        return Err(ReadingError::Corners(text!(
            "wedge.corners.outside",
            x = p.0,
            y = p.1,
            width = w,
            height = h
        )));
    }
    Homography::fit(model, &ask.corners)
        .ok_or_else(|| ReadingError::Corners(text!("wedge.corners.line").into()))
}

/// Takes the corners of a grid as they were given.
///
/// # Errors
/// When they are not four points of the photo.
fn by_corners(photo: &Photo, wedge: &Wedge, ask: &Ask) -> Result<Located, ReadingError> {
    let (w, h) = (wedge.blank.width(), wedge.blank.height());
    let plane = hand_map(photo, &[(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)], ask)?;
    let camera = Camera { plane, lens: Lens::new(photo.light.width(), photo.light.height(), 0.0) };
    let per_mm = camera.scale((w / 2.0, h / 2.0)).unwrap_or(8.0);
    Ok(Located {
        camera,
        marks: ask.corners.clone(),
        // No finder mark to measure it on: three pixels are taken as the blur of a hand-held photo.
        blur: 3.0 / per_mm,
        lighter: true,
        notes: vec![text!("wedge.note.by-hand").into()],
    })
}
