//! Room: what the blank leaves for the patches, between finder marks and labels.

use crate::blank::Shape;

/// The least side of a patch, mm: below it a phone photo has too few pixels inside once the blurred
/// edge is left out (at 12 MP and a 90 mm blank a pixel is 0.035 mm, the edge about 0.3 mm each side).
pub const LEAST_PATCH_MM: f64 = 2.0;

/// The most that the patch beside the grid measures either way, mm.
const BESIDE_MM: f64 = 3.0;
/// What is left free around it, mm.
const BESIDE_GAP_MM: f64 = 0.7;

/// Left edge, middle and side of the patch beside the last column, from the blank's middle.
pub(super) fn beside(
    shape: &Shape,
    mark: f64,
    room: &Room,
    row: usize,
    step: f64,
) -> Option<(f64, f64, f64)> {
    let left = room.left + room.width + BESIDE_GAP_MM;
    let y = room.top + (row as f64 + 0.5) * step;
    let fits = |side: f64| {
        let (right, upper, lower) = (left + side, y - side / 2.0, y + side / 2.0);
        // The finder marks lie in the corners or at the right edge's middle.
        let clear = if room.corners {
            upper > mark + BESIDE_GAP_MM - shape.height() / 2.0
        } else {
            lower < -mark / 2.0 - BESIDE_GAP_MM
        };
        clear && shape.contains(right, upper) && shape.contains(right, lower)
    };
    let steps = ((BESIDE_MM - LEAST_PATCH_MM) / 0.1).round() as u32;
    // Two tenths of a millimetre more: the patch begins on a whole dot.
    let side = (0..=steps).map(|i| BESIDE_MM - 0.1 * f64::from(i)).find(|side| fits(side + 0.2))?;
    Some((left, y, side))
}

/// The rectangle for patches and the gaps round them, from the blank's middle, y downwards.
pub(super) struct Room {
    pub left: f64,
    pub top: f64,
    pub width: f64,
    pub height: f64,
    /// Whether the finder marks lie in the corners; else at the middles of the edges.
    pub corners: bool,
}

/// How far from both edges the centre of a disc of radius `m` lies that touches a rounded corner.
pub(super) fn corner_inset(shape: &Shape, m: f64) -> f64 {
    match *shape {
        Shape::Rect { radius, .. } => m.max(radius.0 - (radius.0 - m) / std::f64::consts::SQRT_2),
        Shape::Round { .. } | Shape::Cylinder { .. } | Shape::Cone { .. } => m,
    }
}

/// The largest rectangle of patches between the finder marks of the corners and the labels.
pub(super) fn rect_room(shape: &Shape, mark: f64, row_text: f64, text: f64, footer: f64) -> Option<Room> {
    let side = corner_inset(shape, mark / 2.0) + mark / 2.0 + 0.8;
    let (left, top, bottom) = (side.max(row_text + 0.6), side.max(text + 0.6), side.max(footer));
    let (w, h) = (shape.width(), shape.height());
    let room = Room {
        left: left - w / 2.0,
        top: top - h / 2.0,
        width: w - left - side,
        height: h - top - bottom,
        corners: true,
    };
    (room.width > 0.0 && room.height > 0.0).then_some(room)
}

/// The largest square of patches, moved off the middle to make room for the labels, whose corners and
/// labels stay inside the disc and clear of the finder marks at the edge midpoints.
pub(super) fn round_room(
    radius: f64,
    mark: f64,
    row_text: f64,
    text: f64,
    footer: f64,
    rows: usize,
) -> Option<Room> {
    let (left_band, top_band) = (row_text + 0.8, text + 0.6);
    let inside = |x: f64, y: f64| libm::hypot(x, y) <= radius;
    let clear = mark + 0.6;
    let mut side = 2.0 * radius;
    while side > 4.0 {
        // Moved right by half the left band and up by half of what the footer takes more than the top labels.
        let left = -side / 2.0 + (left_band / 2.0).min(2.0);
        let top = -side / 2.0 - (footer - top_band) / 2.0;
        let (right, bottom) = (left + side, top + side);
        let step = side / rows as f64;
        let last_row = (step / 2.0 - text / 2.0).max(0.0);
        let label_x = left - left_band;
        let fits = inside(left, top)
            && inside(right, top)
            && inside(left, bottom)
            && inside(right, bottom)
            && inside(left + step * 0.15, top - top_band)
            && inside(right - step * 0.15, top - top_band)
            && inside(label_x, top + last_row)
            && inside(label_x, bottom - last_row)
            && inside(left + 0.05 * side, bottom + footer)
            && inside(right - 0.05 * side, bottom + footer)
            && label_x >= -radius + clear + 0.8
            && right <= radius - clear
            && top - top_band >= -radius + clear
            && bottom + footer <= radius - clear;
        if fits {
            return Some(Room { left, top, width: side, height: side, corners: false });
        }
        side -= 0.1;
    }
    None
}
