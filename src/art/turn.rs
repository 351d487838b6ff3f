//! Turns by quarters and mirroring of whole planes.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::parallel;
use crate::plane::Plane;
use crate::texts::text;

/// A turn clockwise, as the owner sees the piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Turn {
    /// As it is.
    #[default]
    None,
    /// A quarter clockwise (90).
    Quarter,
    /// Upside down (180).
    Half,
    /// A quarter counter-clockwise (270).
    ThreeQuarters,
}

/// Why a text is not a turn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}", text!("art.turn.unknown", text = .0))]
pub struct TurnError(String);

impl Turn {
    /// Degrees clockwise.
    pub fn degrees(self) -> u16 {
        match self {
            Turn::None => 0,
            Turn::Quarter => 90,
            Turn::Half => 180,
            Turn::ThreeQuarters => 270,
        }
    }

    /// Whether width and height change places.
    pub fn swaps(self) -> bool {
        matches!(self, Turn::Quarter | Turn::ThreeQuarters)
    }

    /// Where a point of the turned and then mirrored unit square lies in the square before.
    pub(crate) fn back(self, mirror: bool, (x, y): (f64, f64)) -> (f64, f64) {
        let x = if mirror { 1.0 - x } else { x };
        match self {
            Turn::None => (x, y),
            Turn::Quarter => (y, 1.0 - x),
            Turn::Half => (1.0 - x, 1.0 - y),
            Turn::ThreeQuarters => (1.0 - y, x),
        }
    }

    /// Where a point of the unit square comes to lie once that is turned and then mirrored.
    pub(crate) fn ahead(self, mirror: bool, (x, y): (f64, f64)) -> (f64, f64) {
        let (x, y) = match self {
            Turn::None => (x, y),
            Turn::Quarter => (1.0 - y, x),
            Turn::Half => (1.0 - x, 1.0 - y),
            Turn::ThreeQuarters => (y, 1.0 - x),
        };
        (if mirror { 1.0 - x } else { x }, y)
    }
}

impl fmt::Display for Turn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.degrees())
    }
}

impl FromStr for Turn {
    type Err = TurnError;
    fn from_str(text: &str) -> Result<Self, TurnError> {
        match text.trim().trim_end_matches('°').trim_end_matches("deg") {
            "0" => Ok(Turn::None),
            "90" => Ok(Turn::Quarter),
            "180" => Ok(Turn::Half),
            "270" => Ok(Turn::ThreeQuarters),
            _ => Err(TurnError(text.to_string())),
        }
    }
}

impl Serialize for Turn {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_u16(self.degrees())
    }
}

impl<'de> Deserialize<'de> for Turn {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        u16::deserialize(d)?.to_string().parse().map_err(serde::de::Error::custom)
    }
}

/// Side of the square tiles in which a quarter turn walks: 64 x 64 values of source and of result
/// stay in the first cache together.
const TILE: usize = 64;

/// The plane turned clockwise, then mirrored left to right where asked.
pub(crate) fn turned<K: Send + Sync>(plane: Plane<K>, turn: Turn, mirror: bool) -> Plane<K> {
    if turn == Turn::None && !mirror {
        return plane;
    }
    let (w, h) = (plane.width(), plane.height());
    if !turn.swaps() {
        // Row by row in place: rows change order for a half turn, and run backwards for one of the two.
        let backwards = mirror != (turn == Turn::Half);
        let mut data = plane.into_vec();
        if turn == Turn::Half {
            // The whole run reversed is a half turn; `backwards` then undoes the rows' own reversal.
            data.reverse();
            if !backwards {
                parallel::bands(&mut data, w, TILE, |_, band| {
                    band.chunks_mut(w.max(1)).for_each(<[f32]>::reverse)
                });
            }
        } else {
            parallel::bands(&mut data, w, TILE, |_, band| {
                band.chunks_mut(w.max(1)).for_each(<[f32]>::reverse)
            });
        }
        return Plane::from_vec(w, h, data);
    }
    // Result is h wide and w high. Row y of it is a column of the source.
    let source = plane.data();
    let mut out = vec![0.0f32; w * h];
    let column_up = |y: usize| if turn == Turn::Quarter { y } else { w - 1 - y };
    // A quarter clockwise reads each column from the bottom up; mirroring turns that round.
    let from_bottom = (turn == Turn::Quarter) != mirror;
    parallel::bands(&mut out, h, TILE, |first, band| {
        for x0 in (0..h).step_by(TILE) {
            let x1 = (x0 + TILE).min(h);
            for (dy, row) in band.chunks_mut(h).enumerate() {
                let column = column_up(first + dy);
                for (x, v) in (x0..x1).zip(&mut row[x0..x1]) {
                    let source_row = if from_bottom { h - 1 - x } else { x };
                    *v = source[source_row * w + column];
                }
            }
        }
    });
    Plane::from_vec(h, w, out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plane::Light;

    fn plane(rows: &[&[u8]]) -> Light {
        let data = rows.iter().flat_map(|r| r.iter().map(|&v| f32::from(v))).collect();
        Light::from_vec(rows[0].len(), rows.len(), data)
    }

    #[test]
    fn a_quarter_turn_is_clockwise() {
        let p = plane(&[b"abc", b"def"]);
        assert_eq!(turned(p.clone(), Turn::Quarter, false), plane(&[b"da", b"eb", b"fc"]));
        assert_eq!(turned(p.clone(), Turn::ThreeQuarters, false), plane(&[b"cf", b"be", b"ad"]));
        assert_eq!(turned(p.clone(), Turn::Half, false), plane(&[b"fed", b"cba"]));
        assert_eq!(turned(p.clone(), Turn::None, true), plane(&[b"cba", b"fed"]));
        assert_eq!(turned(p.clone(), Turn::Half, true), plane(&[b"def", b"abc"]));
        assert_eq!(turned(p.clone(), Turn::Quarter, true), plane(&[b"ad", b"be", b"cf"]));
        assert_eq!(turned(p, Turn::ThreeQuarters, true), plane(&[b"fc", b"eb", b"da"]));
    }

    #[test]
    fn large_planes_turn_the_same_with_any_number_of_threads() {
        let p = Light::from_vec(301, 203, (0..301 * 203).map(|i| i as f32).collect());
        for turn in [Turn::Quarter, Turn::Half, Turn::ThreeQuarters] {
            let one = parallel::with_threads(1, || turned(p.clone(), turn, true));
            for threads in [2, 3, 7] {
                assert_eq!(parallel::with_threads(threads, || turned(p.clone(), turn, true)), one);
            }
            // Four quarter turns, or the turn and its opposite, lead back.
            let mut q = p.clone();
            for _ in 0..4 {
                q = turned(q, turn, false);
            }
            assert_eq!(q, p);
        }
    }

    #[test]
    fn points_are_led_back_as_values_are() {
        let p = Light::from_vec(4, 3, (0..12).map(|i| i as f32).collect());
        for turn in [Turn::None, Turn::Quarter, Turn::Half, Turn::ThreeQuarters] {
            for mirror in [false, true] {
                let t = turned(p.clone(), turn, mirror);
                for y in 0..t.height() {
                    for x in 0..t.width() {
                        let at = ((x as f64 + 0.5) / t.width() as f64, (y as f64 + 0.5) / t.height() as f64);
                        let (u, v) = turn.back(mirror, at);
                        let again = turn.ahead(mirror, (u, v));
                        assert!((again.0 - at.0).abs() < 1e-12 && (again.1 - at.1).abs() < 1e-12);
                        assert_eq!(p.row((v * 3.0) as usize)[(u * 4.0) as usize], t.row(y)[x]);
                    }
                }
            }
        }
    }
}
