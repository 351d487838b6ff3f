//! Unread: why a photo of a wedge was not read, in the words of the page, where wedges have names and corners are dragged.

use std::fs;

use super::home::{Home, Name};
use super::says::Says;
use super::texts::{filled, say};
use super::wedge::list;
use crate::art::Photo;
use crate::progress::Silent;
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
    let (sentence, searched) = match why {
        ReadingError::Corners(_) => (why.to_string(), true),
        ReadingError::Mirrored if by_hand => (say("says.photo.mirrored"), true),
        ReadingError::NoMarks { .. } | ReadingError::OtherWedge { .. } | ReadingError::NotThis { .. }
            if by_hand =>
        {
            (named("says.photo.points"), true)
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
    fn points_are_begun_at_another_one() {
        let corners = vec![(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)];
        let ask = Ask { corners: corners.clone(), ..Ask::default() };
        assert_eq!(begun_at(&ask, 0).corners, corners);
        assert_eq!(begun_at(&ask, 3).corners, [corners[3], corners[0], corners[1], corners[2]]);
        assert!(begun_at(&Ask::default(), 2).corners.is_empty());
    }
}
