//! The blank: its outline, its margin, and which places may be marked.

mod mantle;

pub use self::mantle::Mantle;

use std::f64::consts::PI;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::texts::text;
use crate::units::Mm;

/// The outline of a blank, seen from above; of a round piece, its mantle. Parsed from `round:90mm`, `rect:100x60mm`,
/// `rect:100x100mm:r8mm`, `cylinder:73x100mm`, `cylinder:73x100mm:closed` and `cone:60x78x120mm`.
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
    /// The mantle of a cone that is cut off above, every line round it laid straight: x runs round the piece from its seam,
    /// y along the mantle, and both keep their lengths. So a sector becomes a trapezoid of the same area, as in Bonne's
    /// projection of maps. A straight line up the mantle is a straight one here too, which leans towards the middle at the
    /// narrow end.
    Cone {
        /// Diameter at the foot.
        foot: Mm,
        /// Diameter at the top.
        top: Mm,
        /// Height, straight up.
        height: Mm,
        /// What is kept free on either side of the seam.
        seam: Mm,
        /// Whether marks may run on across the seam.
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
            Shape::Cone { foot, top, seam, .. } => PI * foot.0.max(top.0) - 2.0 * seam.0,
        }
    }

    /// Height of the bounding box, mm.
    pub fn height(&self) -> f64 {
        match *self {
            Shape::Round { diameter } => diameter.0,
            Shape::Rect { height, .. } | Shape::Cylinder { height, .. } => height.0,
            Shape::Cone { foot, top, height, .. } => Mantle { foot, top, height }.slant(),
        }
    }

    /// The mantle of a cylinder or a cone.
    pub fn turned(&self) -> Option<Mantle> {
        match *self {
            Shape::Cylinder { diameter, height, .. } => {
                Some(Mantle { foot: diameter, top: diameter, height })
            }
            Shape::Cone { foot, top, height, .. } => Some(Mantle { foot, top, height }),
            Shape::Round { .. } | Shape::Rect { .. } => None,
        }
    }

    /// The same with marks that may run on across its seam, if it has one.
    fn closed(self) -> Shape {
        match self {
            Shape::Cylinder { diameter, height, .. } => Shape::Cylinder { diameter, height, closed: true },
            Shape::Cone { foot, top, height, seam, .. } => {
                Shape::Cone { foot, top, height, seam, closed: true }
            }
            flat => flat,
        }
    }

    /// Whether marks may run on across its seam.
    pub fn is_closed(&self) -> bool {
        matches!(self, Shape::Cylinder { closed: true, .. } | Shape::Cone { closed: true, .. })
    }

    /// The shape drawn in by `margin` mm on every side; `None` when nothing is left.
    ///
    /// A rounded corner shrinks with the margin and becomes sharp when the margin exceeds its radius. Of a cylinder a
    /// rectangle is left, over all of its girth where its seam is closed; of a cone a shorter one with a wider seam.
    pub fn inset(&self, margin: f64) -> Option<Shape> {
        let s = match *self {
            Shape::Cone { foot, top, height, seam, closed } => {
                let mantle = Mantle { foot, top, height };
                let slant = mantle.slant();
                if 2.0 * margin >= slant {
                    return None;
                }
                let cone = Shape::Cone {
                    foot: Mm(mantle.across(margin)),
                    top: Mm(mantle.across(slant - margin)),
                    height: Mm(height.0 * (slant - 2.0 * margin) / slant),
                    seam: Mm(seam.0 + if closed { 0.0 } else { margin }),
                    closed,
                };
                return (cone.width() > 0.0).then_some(cone);
            }
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
    /// from the middle of the shape's box, mm (`y` as well, downwards: a cone has its foot there; all others are
    /// symmetric). `None` where the line misses the shape.
    pub fn span(&self, down: f64) -> Option<(f64, f64)> {
        let y = down.abs();
        let half = match *self {
            Shape::Cone { foot, top, height, seam, .. } => {
                let mantle = Mantle { foot, top, height };
                let middle = mantle.slant() / 2.0;
                let half = PI * mantle.across(middle - down) / 2.0 - seam.0;
                if y > middle || half < 0.0 {
                    return None;
                }
                half
            }
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

    /// Whether the point, measured to the right of and down from the middle of the box in mm, lies inside or on the edge.
    pub fn contains(&self, x: f64, down: f64) -> bool {
        self.span(down).is_some_and(|(l, r)| x >= l && x <= r)
    }

    /// Area in mm².
    pub fn area(&self) -> f64 {
        match *self {
            Shape::Round { diameter } => PI * diameter.0 * diameter.0 / 4.0,
            Shape::Rect { width, height, radius } => width.0 * height.0 - (4.0 - PI) * radius.0 * radius.0,
            Shape::Cylinder { diameter, height, .. } => PI * diameter.0 * height.0,
            Shape::Cone { foot, top, height, seam, .. } => {
                let mantle = Mantle { foot, top, height };
                // Where the seam is wider than the narrower end, what is left of it is a triangle.
                let ends = [foot, top].map(|d| PI * d.0 - 2.0 * seam.0);
                let (wide, narrow) = (ends[0].max(ends[1]), ends[0].min(ends[1]));
                if narrow >= 0.0 {
                    (wide + narrow) / 2.0 * mantle.slant()
                } else {
                    wide / 2.0 * mantle.slant() * wide / (wide - narrow)
                }
            }
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
            Shape::Cone { foot, top, height, closed, .. } => {
                let seam = if closed { ":closed" } else { "" };
                write!(f, "cone:{}x{}x{}mm{seam}", foot.0, top.0, height.0)
            }
        }
    }
}

/// Parses `100x60mm` (one unit for both) or `100mmx6cm`.
///
/// # Errors
/// Text that is not two sides with a unit, or a side that is not above zero.
pub fn parse_size(text: &str) -> Result<(Mm, Mm), String> {
    sides(text, "100x60mm").map(|[width, height]| (width, height))
}

/// Parses as many sides as asked for; those without a unit have that of the last.
fn sides<const N: usize>(text: &str, example: &str) -> Result<[Mm; N], String> {
    let parts: Vec<&str> = text.splitn(N, ['x', '×']).map(str::trim).collect();
    if parts.len() < N {
        return Err(text!("blank.size", text, example));
    }
    let last = parts[N - 1];
    let unit: String = last.chars().skip_while(|c| c.is_ascii_digit() || ".+- ".contains(*c)).collect();
    let mut found = [Mm(0.0); N];
    for (side, part) in found.iter_mut().zip(&parts).rev() {
        *side = match part.parse() {
            Err(crate::units::UnitError::NoUnit { .. }) if *part != last => format!("{part}{unit}").parse(),
            side => side,
        }
        .map_err(|e: crate::units::UnitError| e.to_string())?;
    }
    if found.iter().all(|side| side.0 > 0.0) {
        Ok(found)
    } else {
        Err(match N {
            2 => text!("blank.size.two-zero", text),
            _ => text!("blank.size.three-zero", text),
        })
    }
}

/// What a text without a sort of shape lacks; a size alone is completed.
fn sort_of(text: &str) -> String {
    let has_unit = text.ends_with(|c: char| c.is_alphabetic());
    let size = if has_unit { text.to_string() } else { format!("{text}mm") };
    if size.parse::<Mm>().is_ok() {
        text!("blank.sort.round", size)
    } else if parse_size(&size).is_ok() {
        text!("blank.sort.rect", size)
    } else {
        text!("blank.sort.no-size").into()
    }
}

/// The most that a cone's axis may be turned from level, degrees: a chuck is hardly tilted further (assumed).
const MOST_TILT: f64 = 45.0;
/// The least that a cone's narrow end may be of its wide one (assumed): its words would grow by more than that.
const LEAST_TAPER: f64 = 0.25;

/// A cone of diameter at the foot, diameter at the top, and height.
fn cone(size: &str) -> Result<Shape, String> {
    let [foot, top, height] = sides(size, text!("blank.size.cone"))?;
    let mantle = Mantle { foot, top, height };
    let mm = |v: f64| crate::units::short(v, 1);
    if !mantle.is_cone() {
        return Err(text!("blank.cone.alike", diameter = mm(foot.0), height = mm(height.0)));
    }
    if mantle.tilt() > MOST_TILT {
        return Err(text!("blank.cone.tilt", tilt = mm(mantle.tilt()), most = MOST_TILT));
    }
    if mantle.narrowest() < LEAST_TAPER * mantle.widest() {
        return Err(text!("blank.cone.taper", least = 100.0 * LEAST_TAPER));
    }
    Ok(Shape::Cone { foot, top, height, seam: Mm(0.0), closed: false })
}

impl FromStr for Shape {
    type Err = ShapeError;
    fn from_str(text: &str) -> Result<Self, ShapeError> {
        let fail = |why: String| ShapeError(text!("blank.shape", text, why));
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
                    Some(radius) => radius
                        .strip_prefix('r')
                        .ok_or_else(|| fail(text!("blank.corner", radius)))?
                        .parse()
                        .map_err(|e: crate::units::UnitError| fail(e.to_string()))?,
                };
                if radius.0 < 0.0 || 2.0 * radius.0 > width.0.min(height.0) {
                    return Err(fail(text!("blank.corner.large", radius)));
                }
                Shape::Rect { width, height, radius }
            }
            "cylinder" | "cone" => {
                let whole = match kind {
                    "cylinder" => parse_size(size).map(|(diameter, height)| Shape::Cylinder {
                        diameter,
                        height,
                        closed: false,
                    }),
                    _ => cone(size),
                }
                .map_err(fail)?;
                match parts.next() {
                    None => whole,
                    Some("closed") => whole.closed(),
                    Some(seam) => {
                        return Err(fail(text!("blank.seam", seam)));
                    }
                }
            }
            sort => return Err(fail(text!("blank.sort.none", sort))),
        };
        if parts.next().is_some() {
            return Err(fail(text!("blank.size.more").into()));
        }
        if !(1.0..=2000.0).contains(&shape.width()) || !(1.0..=2000.0).contains(&shape.height()) {
            return Err(fail(text!("blank.size.range").into()));
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

    /// The blank that art is placed on, as wide as this one: of a cone, a mantle whose girth is the widest all over, with
    /// as much kept free beside the seam as is the margin at the narrow end. Laid on the cone, art is drawn together where
    /// that is narrower, as on a printed cup: what is upright in it runs up the piece. All others are their own.
    pub fn to_place_on(&self) -> Blank {
        let Shape::Cone { foot, top, height, closed, .. } = self.shape else { return *self };
        let mantle = Mantle { foot, top, height };
        let (diameter, height) = (Mm(mantle.widest()), Mm(mantle.slant()));
        let shape = if closed {
            Shape::Cylinder { diameter, height, closed }
        } else {
            let more = self.margin.0 * (mantle.widest() / mantle.narrowest() - 1.0);
            Shape::Rect { width: Mm(mantle.girth() - 2.0 * more), height, radius: Mm(0.0) }
        };
        Blank { shape, margin: self.margin }
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
            _ => Err(text!("blank.surface", text)),
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
            "cone:60x78x120mm",
            "cone:60x78x120mm:closed",
        ] {
            assert_eq!(text.parse::<Shape>().unwrap().to_string(), text);
        }
        assert_eq!("rect:10cmx60mm".parse::<Shape>().unwrap().to_string(), "rect:100x60mm");
        assert_eq!("cone:6x78mmx12cm".parse::<Shape>().unwrap().to_string(), "cone:60x78x120mm");
    }

    #[test]
    fn wrong_shapes_say_why() {
        for (text, why) in [
            ("round:90", "no unit"),
            ("oval:90mm", "none of round, rect, cylinder and cone"),
            ("cylinder:73mm", "not a size"),
            ("cylinder:73x100mm:glued", "'glued' is no seam"),
            ("cylinder:700x100mm", "to 2000mm"),
            ("cone:80x80x100mm", "write cylinder:80x100mm"),
            ("cone:90x50mm", "across its foot, across its top, and high"),
            ("cone:90x50x100", "no unit"),
            ("cone:90x0x100mm", "all must be above zero"),
            ("cone:90x50x100mm:glued", "'glued' is no seam"),
            // By hand: atan(35 / 10) = 74.1 degrees.
            ("cone:90x20x10mm", "tilted by 74.1°"),
            ("cone:90x20x200mm", "less than 25 % of its wide one"),
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
    fn a_cone_is_unrolled_by_similar_triangles() {
        let cone: Shape = "cone:72x78x96mm".parse().unwrap();
        let mantle = cone.turned().unwrap();
        // By hand: slant √(96² + 3²) = 96.0469; the wide circle's radius 96.0469 · 78 / 6 = 1248.61, the foot's
        // 1152.56; the tilt atan(3 / 96) = 1.78991°.
        assert!((mantle.slant() - 96.0469).abs() < 1e-4 && (mantle.tilt() - 1.78991).abs() < 1e-5);
        assert!((mantle.unrolled_foot().unwrap() - 1152.56).abs() < 1e-2);
        // A cone's lateral area is π (r + R) s; what lies above the foot is the wider here.
        assert!((cone.area() - PI * (36.0 + 39.0) * mantle.slant()).abs() < 1e-9);
        let (low, high) = (cone.span(48.0).unwrap().1, cone.span(-48.0).unwrap().1);
        assert!((low - 36.0 * PI).abs() < 0.01 && (high - 39.0 * PI).abs() < 0.01);
        // Its margin is kept at both ends and on either side of the seam.
        let within = cone.inset(2.0).unwrap();
        assert!((within.height() - mantle.slant() + 4.0).abs() < 1e-9);
        let at = |shape: &Shape, down: f64| shape.span(down).unwrap().1;
        assert!((at(&cone, 30.0) - at(&within, 30.0) - 2.0).abs() < 1e-9);
        assert!(cone.inset(60.0).is_none());
    }

    #[test]
    fn spans_fill_the_area() {
        let cone: Shape = "cone:60x78x120mm".parse().unwrap();
        // Within 90 mm of the seam on either side, a triangle is left of the narrow end.
        for s in ["round:90mm", "rect:100x60mm", "rect:100x100mm:r8mm", "cylinder:73x100mm"]
            .map(|text| text.parse().unwrap())
            .into_iter()
            .chain([
                cone,
                cone.inset(10.0).unwrap(),
                Shape::Cone {
                    foot: Mm(30.0),
                    top: Mm(60.0),
                    height: Mm(90.0),
                    seam: Mm(60.0),
                    closed: false,
                },
            ])
        {
            let n = 20_000;
            let dy = s.height() / n as f64;
            let area: f64 = (0..n)
                .filter_map(|i| s.span((i as f64 + 0.5) * dy - s.height() / 2.0))
                .map(|(l, r)| (r - l) * dy)
                .sum();
            assert!((area - s.area()).abs() < 1e-4 * s.area(), "{s:?}: {area} {}", s.area());
        }
    }
}
