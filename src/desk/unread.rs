//! Unread: why a photo of a wedge was not read, in the words of the page, where wedges have names and corners are dragged.

use std::fs;

use super::home::{Home, Name};
use super::says::Says;
use super::texts::{filled, say};
use super::wedge::list;
use crate::art::Photo;
use crate::progress::Silent;
use crate::texts::text;
use crate::units::short;
use crate::wedge::ask::{Ask, ReadingError};
use crate::wedge::register::locate;
use crate::wedge::target::Wedge;

/// Other wedges that a photo is held against, those drawn last first.
const OTHERS: usize = 12;

/// Whether the cells of its number tell a wedge from all others.
fn is_told(wedge: &Wedge) -> bool {
    wedge.code.as_ref().is_some_and(|code| code.bits.contains('1'))
}

/// By how many of four points set by hand the first lies beside the disc with the hole: whoever is in a hurry begins at the
/// upper left. 0 where nothing tells it.
pub(super) fn off(photo: &Photo, wedge: &Wedge, ask: &Ask) -> usize {
    if ask.corners.len() != 4 || !is_told(wedge) {
        return 0;
    }
    let fits = |by: &usize| locate(photo, wedge, &begun_at(ask, *by), &Silent).is_ok();
    (0..4).find(fits).unwrap_or(0)
}

/// The same with the points begun so many later.
pub(super) fn begun_at(ask: &Ask, by: usize) -> Ask {
    let mut ask = ask.clone();
    let points = ask.corners.len().max(1);
    ask.corners.rotate_left(by % points);
    ask
}

/// Pixels a mm that a photo should have for all patches to be read.
const ENOUGH: f64 = 10.0;

/// What helps where the four points lie on the marks already, with how wide a patch is in the photo where that is too little.
fn photo_again(marks: &[[f64; 2]], side: Option<f64>, points: &[(f64, f64)]) -> Option<String> {
    let places: Vec<(f64, f64)> = marks.iter().map(|m| (m[0], m[1])).collect();
    let round = |p: &[(f64, f64)]| -> f64 {
        p.iter().zip(p.iter().cycle().skip(1)).map(|(a, b)| (a.0 - b.0).hypot(a.1 - b.1)).sum()
    };
    if points.len() != 4 || places.len() != 4 {
        return None;
    }
    let pixels_per_mm = round(points) / round(&places);
    Some(match side.filter(|_| pixels_per_mm < ENOUGH) {
        Some(side) => {
            let (pixels, enough) = (short(pixels_per_mm * side, 0), short((ENOUGH * side).ceil(), 0));
            filled("says.photo.again.nearer", &[("pixels", &pixels), ("enough", &enough)])
        }
        None => say("says.photo.again"),
    })
}

/// What is said of a photo that was not read, and whether its corners are asked for.
pub(super) fn says(
    home: &Home,
    name: &Name,
    photo: &Photo,
    wedge: &Wedge,
    ask: &Ask,
    why: &ReadingError,
) -> Says {
    let by_hand = !ask.corners.is_empty();
    let misplaced = matches!(why, ReadingError::OtherWedge { .. } | ReadingError::NotThis { .. });
    if misplaced && let Some(other) = other(home, name, photo, wedge, ask) {
        let says = filled("says.photo.other", &[("name", name), ("other", &other)]);
        return Says::unusable(says).with("corners_needed", false);
    }
    let named = |key: &str| filled(key, &[("name", name)]);
    let marks: Vec<[f64; 2]> = wedge.marks.iter().map(|m| m.centre).collect();
    let side = wedge.patches.iter().map(|p| p.size[0].min(p.size[1])).min_by(f64::total_cmp);
    let again = |says: String| match photo_again(&marks, side, &ask.corners) {
        Some(again) => format!("{says} {again}"),
        None => says,
    };
    let (sentence, searched) = match why {
        ReadingError::Corners(what) if what == text!("wedge.corners.not-marks") => {
            (again(named("says.photo.points")), true)
        }
        ReadingError::Corners(_) => (why.to_string(), true),
        ReadingError::Mirrored if by_hand => (say("says.photo.mirrored"), true),
        ReadingError::NoMarks { .. } | ReadingError::OtherWedge { .. } | ReadingError::NotThis { .. }
            if by_hand =>
        {
            (again(named("says.photo.points")), true)
        }
        ReadingError::NoMarks { .. } => (say("says.photo.marks"), true),
        ReadingError::NotThis { .. } => (named("says.photo.part"), true),
        ReadingError::OtherWedge { .. } => (named("says.photo.unknown"), false),
        ReadingError::White(why) => (filled("says.photo.white", &[("why", why)]), false),
        why => (why.to_string(), false),
    };
    Says::unusable(sentence).with("corners_needed", searched)
}

/// The name of the wedge that a photo shows, of all but `own`.
fn other(home: &Home, own: &Name, photo: &Photo, wedge: &Wedge, ask: &Ask) -> Option<String> {
    let all = list(home).ok()?;
    let names = all["wedges"].as_array()?.iter().filter_map(|w| w["name"].as_str());
    let shown = |name: &&str| {
        let path = home.at(&["wedges", name, "drawn", "wedge.toml"]);
        let text = path.ok().and_then(|path| fs::read_to_string(path).ok());
        let other = text.and_then(|text| Wedge::from_toml(&text).ok());
        other.is_some_and(|other| {
            other.id != wedge.id && is_told(&other) && locate(photo, &other, ask, &Silent).is_ok()
        })
    };
    names.filter(|name| *name != own.text()).take(OTHERS).find(shown).map(str::to_string)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_that_lie_right_are_told_how_wide_a_patch_is() {
        let marks = [[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [0.0, 40.0]];
        let said = |side: f64| {
            let far = 9.0 + side;
            photo_again(&marks, Some(4.5), &[(9.0, 9.0), (far, 9.0), (far, far), (9.0, far)]).unwrap()
        };
        let far = said(80.0);
        assert!(far.contains("nearer") && far.contains("9 pixels") && far.contains("45 or more"), "{far}");
        let near = said(800.0);
        assert!(near.contains("sharp") && !near.contains("pixels"), "{near}");
        assert_eq!(photo_again(&marks, Some(4.5), &[]), None);
    }

    #[test]
    fn points_are_begun_at_another_one() {
        let corners = vec![(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)];
        let ask = Ask { corners: corners.clone(), ..Ask::default() };
        assert_eq!(begun_at(&ask, 0).corners, corners);
        assert_eq!(begun_at(&ask, 3).corners, [corners[3], corners[0], corners[1], corners[2]]);
        assert!(begun_at(&Ask::default(), 2).corners.is_empty());
    }
}
