//! The blank: its outline, its margin, and which places may be marked.

use std::f64::consts::PI;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::units::Mm;

/// The outline of a blank, seen from above; of a cylinder, unrolled. Parsed from `round:90mm`, `rect:100x60mm`,
/// `rect:100x100mm:r8mm`, `cylinder:73x100mm` and `cylinder:73x100mm:closed`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// A disc of the given diameter.
    Round {
        /// Diameter.
        diameter: Mm,
    },
    /// A rectangle, its corners rounded with `radius` (0 for sharp corners).
    Rect {
        /// Size along x.
        width: Mm,
        /// Size along y.
        height: Mm,
        /// Corner radius.
        radius: Mm,
    },
    /// The mantle of a cylinder, unrolled: x runs round the piece from its seam, y along its height.
    Cylinder {
        /// Diameter.
        diameter: Mm,
        /// Height.
        height: Mm,
        /// Whether marks may run on across the seam; else the margin is kept free on either side of it.
        closed: bool,
    },
}

/// Why a text is not a blank.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct ShapeError(String);

impl Shape {
    /// Width of the bounding box, mm.
    pub fn width(&self) -> f64 {
        match *self {
            Shape::Round { diameter } => diameter.0,
            Shape::Rect { width, .. } => width.0,
            Shape::Cylinder { diameter, .. } => PI * diameter.0,
        }
    }

    /// Height of the bounding box, mm.
    pub fn height(&self) -> f64 {
        match *self {
            Shape::Round { diameter } => diameter.0,
            Shape::Rect { height, .. } | Shape::Cylinder { height, .. } => height.0,
        }
    }

    /// The diameter of a cylinder, mm.
    pub fn turned(&self) -> Option<f64> {
        match *self {
            Shape::Cylinder { diameter, .. } => Some(diameter.0),
            Shape::Round { .. } | Shape::Rect { .. } => None,
        }
    }

    /// The shape drawn in by `margin` mm on every side; `None` when nothing is left.
    ///
    /// A rounded corner shrinks with the margin and becomes sharp when the margin exceeds its radius. Of a cylinder a
    /// rectangle is left, over all of its girth where its seam is closed.
    pub fn inset(&self, margin: f64) -> Option<Shape> {
        let s = match *self {
            Shape::Round { diameter } => Shape::Round { diameter: Mm(diameter.0 - 2.0 * margin) },
            Shape::Rect { width, height, radius } => Shape::Rect {
                width: Mm(width.0 - 2.0 * margin),
                height: Mm(height.0 - 2.0 * margin),
                radius: Mm((radius.0 - margin).max(0.0)),
            },
            Shape::Cylinder { height, closed, .. } => Shape::Rect {
                width: Mm(self.width() - if closed { 0.0 } else { 2.0 * margin }),
                height: Mm(height.0 - 2.0 * margin),
                radius: Mm(0.0),
            },
        };
        (s.width() > 0.0 && s.height() > 0.0).then_some(s)
    }

    /// The part of the horizontal line at height `y` that lies inside, as `(left, right)` measured
    /// from the shape's centre, mm (`y` as well; the direction of y does not matter: every shape is
    /// symmetric). `None` where the line misses the shape.
    pub fn span(&self, y: f64) -> Option<(f64, f64)> {
        let y = y.abs();
        let half = match *self {
            Shape::Round { diameter } => {
                let r = diameter.0 / 2.0;
                if y > r {
                    return None;
                }
                (r * r - y * y).sqrt()
            }
            Shape::Cylinder { height, .. } => {
                if y > height.0 / 2.0 {
                    return None;
                }
                self.width() / 2.0
            }
            Shape::Rect { width, height, radius } => {
                let (w, h) = (width.0 / 2.0, height.0 / 2.0);
                let r = radius.0;
                if y > h {
                    return None;
                }
                let into_corner = y - (h - r);
                if into_corner <= 0.0 {
                    w
                } else {
                    w - r + (r * r - into_corner * into_corner).max(0.0).sqrt()
                }
            }
        };
        Some((-half, half))
    }

    /// Whether the point, measured from the centre in mm, lies inside or on the edge.
    pub fn contains(&self, x: f64, y: f64) -> bool {
        self.span(y).is_some_and(|(l, r)| x >= l && x <= r)
    }

    /// Area in mm².
    pub fn area(&self) -> f64 {
        match *self {
            Shape::Round { diameter } => PI * diameter.0 * diameter.0 / 4.0,
            Shape::Rect { width, height, radius } => width.0 * height.0 - (4.0 - PI) * radius.0 * radius.0,
            Shape::Cylinder { diameter, height, .. } => PI * diameter.0 * height.0,
        }
    }
}

impl fmt::Display for Shape {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Shape::Round { diameter } => write!(f, "round:{}mm", diameter.0),
            Shape::Rect { width, height, radius } if radius.0 == 0.0 => {
                write!(f, "rect:{}x{}mm", width.0, height.0)
            }
            Shape::Rect { width, height, radius } => {
                write!(f, "rect:{}x{}mm:r{}mm", width.0, height.0, radius.0)
            }
            Shape::Cylinder { diameter, height, closed } => {
                write!(f, "cylinder:{}x{}mm{}", diameter.0, height.0, if closed { ":closed" } else { "" })
            }
        }
    }
}

/// Parses `100x60mm` (one unit for both) or `100mmx6cm`.
pub fn parse_size(text: &str) -> Result<(Mm, Mm), String> {
    let (a, b) = text
        .split_once(['x', '×'])
        .ok_or_else(|| format!("'{text}' is not a size; write for example 100x60mm"))?;
    let height: Mm = b.parse().map_err(|e: crate::units::UnitError| e.to_string())?;
    let unit: String = b.trim().chars().skip_while(|c| c.is_ascii_digit() || ".+- ".contains(*c)).collect();
    let width: Mm = match a.parse() {
        Ok(w) => w,
        Err(crate::units::UnitError::NoUnit { .. }) => {
            format!("{}{unit}", a.trim()).parse().map_err(|e: crate::units::UnitError| e.to_string())?
        }
        Err(e) => return Err(e.to_string()),
    };
    if width.0 > 0.0 && height.0 > 0.0 {
        Ok((width, height))
    } else {
        Err(format!("'{text}' is not a size: both sides must be above zero"))
    }
}

/// What a text without a sort of shape lacks; a size alone is completed.
fn sort_of(text: &str) -> String {
    let has_unit = text.ends_with(|c: char| c.is_alphabetic());
    let size = if has_unit { text.to_string() } else { format!("{text}mm") };
    if size.parse::<Mm>().is_ok() {
        format!("say its sort: round:{size} for a round one")
    } else if parse_size(&size).is_ok() {
        format!("say its sort: rect:{size}")
    } else {
        "it has no size".into()
    }
}

/// Why a cone `wide x narrow x height` cannot be marked, and what can be done; `None` for a text that is no cone.
///
/// Unrolled, a cone is a sector between two circles. Lines along its height draw together like spokes, so one power
/// gives the narrow end more dose than the wide one, as the diameters are: `dose ~ 1 / diameter`. A taper by which both
/// ends stay within a tenth of the middle is taken for a cylinder.
fn cone(size: &str) -> Option<String> {
    let unit: String =
        size.chars().rev().take_while(|c| c.is_alphabetic()).collect::<Vec<_>>().into_iter().rev().collect();
    let sides: Vec<f64> = size
        .split(['x', '×'])
        .map(|t| {
            let t = t.trim();
            let whole =
                if t.ends_with(|c: char| c.is_ascii_digit()) { format!("{t}{unit}") } else { t.to_string() };
            whole.parse::<Mm>().ok().map(|mm| mm.0).filter(|mm| *mm > 0.0)
        })
        .collect::<Option<_>>()?;
    let [a, b, height] = sides[..] else { return None };
    let (wide, narrow) = (a.max(b), a.min(b));
    let middle = (wide + narrow) / 2.0;
    // The way along the mantle, and the radii and the angle of its sector (similar triangles).
    let slant = (height * height + (wide - narrow) * (wide - narrow) / 4.0).sqrt();
    let mm = |v: f64| crate::units::short(v, 1);
    if wide - narrow < 1e-9 {
        return Some(format!("both ends are alike: write cylinder:{}x{}mm", mm(wide), mm(height)));
    }
    let radius = slant * wide / (wide - narrow);
    let cut = format!(
        "unrolled it is a sector between circles of {} and {} mm radius, {}° wide, on which lines draw together: its narrow end would get {} % more dose than its wide one",
        mm(radius),
        mm(radius - slant),
        mm(180.0 * wide / radius),
        mm(100.0 * (wide / narrow - 1.0))
    );
    let share = 100.0 * (wide / middle - 1.0);
    Some(if share <= 10.0 {
        format!(
            "{cut}; take it for cylinder:{}x{}mm, with its mantle laid level in the rotary: the art then comes out within {} % of its width, and the dose too",
            mm(middle),
            mm(slant),
            mm(100.0 * (middle / narrow - 1.0))
        )
    } else {
        format!(
            "{cut}, and one power cannot suit both; mark a narrower band of it, as the cylinder of that band's middle"
        )
    })
}

impl FromStr for Shape {
    type Err = ShapeError;
    fn from_str(text: &str) -> Result<Self, ShapeError> {
        let fail = |why: String| {
            ShapeError(format!(
                "'{text}' is not a blank: {why}; write for example round:90mm, rect:100x60mm, rect:100x100mm:r8mm or cylinder:73x100mm"
            ))
        };
        let mut parts = text.trim().split(':');
        let kind = parts.next().unwrap_or("");
        let size = parts.next().ok_or_else(|| fail(sort_of(kind)))?;
        let shape = match kind {
            "round" => {
                let diameter: Mm = size.parse().map_err(|e: crate::units::UnitError| fail(e.to_string()))?;
                Shape::Round { diameter }
            }
            "rect" => {
                let (width, height) = parse_size(size).map_err(fail)?;
                let radius = match parts.next() {
                    None => Mm(0.0),
                    Some(r) => r
                        .strip_prefix('r')
                        .ok_or_else(|| fail(format!("'{r}' is not a corner radius such as r8mm")))?
                        .parse()
                        .map_err(|e: crate::units::UnitError| fail(e.to_string()))?,
                };
                if radius.0 < 0.0 || 2.0 * radius.0 > width.0.min(height.0) {
                    return Err(fail(format!(
                        "the corner radius {radius} is more than half the shorter side"
                    )));
                }
                Shape::Rect { width, height, radius }
            }
            "cylinder" => {
                let (diameter, height) = parse_size(size).map_err(fail)?;
                let closed = match parts.next() {
                    None => false,
                    Some("closed") => true,
                    Some(seam) => {
                        return Err(fail(format!(
                            "'{seam}' is no seam; write closed where marks may run on across it, or leave it out"
                        )));
                    }
                };
                Shape::Cylinder { diameter, height, closed }
            }
            "cone" => {
                let why = cone(size).ok_or_else(|| fail("a cone cannot be marked".into()))?;
                return Err(ShapeError(format!("'{text}': {why}")));
            }
            other => return Err(fail(format!("'{other}' is none of round, rect and cylinder"))),
        };
        if parts.next().is_some() {
            return Err(fail("there is text after the size".into()));
        }
        if !(1.0..=2000.0).contains(&shape.width()) || !(1.0..=2000.0).contains(&shape.height()) {
            return Err(fail("a side is from 1mm to 2000mm".into()));
        }
        Ok(shape)
    }
}

impl Serialize for Shape {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(&self.to_string())
    }
}

impl<'de> Deserialize<'de> for Shape {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        String::deserialize(d)?.parse().map_err(serde::de::Error::custom)
    }
}

/// A blank with the margin that is kept free at its edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blank {
    /// The outline.
    pub shape: Shape,
    /// What is kept free inside the outline, all round.
    pub margin: Mm,
}

impl Blank {
    /// The part that may be marked: the outline less its margin. `None` when nothing is left.
    pub fn printable(&self) -> Option<Shape> {
        self.shape.inset(self.margin.0)
    }
}

/// What a blank's surface looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Surface {
    /// Clear glass before a dark backdrop.
    Glass,
    /// Glazed tile.
    Tile,
    /// Slate.
    Slate,
    /// Metal.
    Metal,
}

impl std::fmt::Display for Surface {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Surface::Glass => "glass",
            Surface::Tile => "tile",
            Surface::Slate => "slate",
            Surface::Metal => "metal",
        })
    }
}

impl FromStr for Surface {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "glass" => Ok(Surface::Glass),
            "tile" => Ok(Surface::Tile),
            "slate" => Ok(Surface::Slate),
            "metal" => Ok(Surface::Metal),
            _ => Err(format!("'{text}' is no surface; choose glass, tile, slate or metal")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shapes_are_parsed_and_printed_alike() {
        for text in [
            "round:90mm",
            "rect:100x60mm",
            "rect:100x100mm:r8mm",
            "cylinder:73x100mm",
            "cylinder:73x100mm:closed",
        ] {
            assert_eq!(text.parse::<Shape>().unwrap().to_string(), text);
        }
        assert_eq!("rect:10cmx60mm".parse::<Shape>().unwrap().to_string(), "rect:100x60mm");
    }

    #[test]
    fn wrong_shapes_say_why() {
        for (text, why) in [
            ("round:90", "no unit"),
            ("oval:90mm", "none of round, rect and cylinder"),
            ("cylinder:73mm", "not a size"),
            ("cylinder:73x100mm:glued", "'glued' is no seam"),
            ("cylinder:700x100mm", "to 2000mm"),
            ("cone:80x80x100mm", "write cylinder:80x100mm"),
            // Similar triangles by hand: slant √(96² + 3²) = 96.05, radius 96.05 · 78 / 6 = 1248.6.
            ("cone:78x72x96mm", "circles of 1248.6 and 1152.6 mm radius, 11.2° wide"),
            ("cone:72mmx78mmx9.6cm", "take it for cylinder:75x96mm"),
            ("cone:90x50x100mm", "80 % more dose"),
            ("cone:90x50mm", "a cone cannot be marked"),
            ("rect:100mm", "not a size"),
            ("rect:10x10mm:r8mm", "more than half"),
            ("round:0mm", "from 1mm"),
            ("round", "no size"),
        ] {
            let e = text.parse::<Shape>().unwrap_err().to_string();
            assert!(e.contains(why), "{text}: {e}");
        }
    }

    #[test]
    fn art_inside_a_90_mm_blank_with_2_5_mm_margin_is_85_mm_wide() {
        // Fact of the trade (common practice).
        let b = Blank { shape: "round:90mm".parse().unwrap(), margin: Mm(2.5) };
        assert_eq!(b.printable().unwrap().width(), 85.0);
        let small = Blank { shape: "round:5mm".parse().unwrap(), margin: Mm(2.5) };
        assert!(small.printable().is_none());
    }

    #[test]
    fn a_seam_is_a_margin_or_closed() {
        let within =
            |text: &str| Blank { shape: text.parse().unwrap(), margin: Mm(3.0) }.printable().unwrap();
        let girth = 73.0 * PI;
        assert_eq!(
            (within("cylinder:73x100mm").width(), within("cylinder:73x100mm").height()),
            (girth - 6.0, 94.0)
        );
        assert_eq!(
            (within("cylinder:73x100mm:closed").width(), within("cylinder:73x100mm:closed").height()),
            (girth, 94.0)
        );
    }

    #[test]
    fn spans_fill_the_area() {
        for text in ["round:90mm", "rect:100x60mm", "rect:100x100mm:r8mm", "cylinder:73x100mm"] {
            let s: Shape = text.parse().unwrap();
            let n = 20_000;
            let dy = s.height() / n as f64;
            let area: f64 = (0..n)
                .filter_map(|i| s.span((i as f64 + 0.5) * dy - s.height() / 2.0))
                .map(|(l, r)| (r - l) * dy)
                .sum();
            assert!((area - s.area()).abs() < 1e-4 * s.area(), "{text}: {area} {}", s.area());
        }
    }
}
