//! The border: a line along the edge of the blank.

use super::{LayerArt, drawn};
use crate::art::{OpenError, Opening};
use crate::blank::Shape;
use crate::placement::Place;
use crate::texts::text;
use crate::units::Mm;

/// A line `width` wide along the edge of a blank, its outer side `inset` from it; both such that something is left inside.
///
/// # Errors
/// Where the drawing library fails, which it does not for a line.
pub fn border(shape: &Shape, width: Mm, inset: Mm) -> Result<LayerArt, OpenError> {
    let outer = shape.inset(inset.0).unwrap_or(*shape);
    let (w, h) = (outer.width(), outer.height());
    let half = width.0 / 2.0;
    let line = format!(r##"fill="none" stroke="#000" stroke-width="{}""##, width.0);
    let body = match outer {
        // Across a closed seam it goes on: two rings round the piece.
        _ if shape.is_closed() => {
            format!(r##"<path d="M0 {half}H{w}M0 {}H{w}" {line}/>"##, h - half)
        }
        Shape::Round { .. } => {
            format!(r#"<circle cx="{0}" cy="{0}" r="{1}" {line}/>"#, w / 2.0, w / 2.0 - half)
        }
        Shape::Rect { .. } | Shape::Cylinder { .. } | Shape::Cone { .. } => {
            let radius = if let Shape::Rect { radius, .. } = outer { radius.0 } else { 0.0 };
            format!(
                r#"<rect x="{half}" y="{half}" width="{}" height="{}" rx="{}" {line}/>"#,
                w - width.0,
                h - width.0,
                (radius - half).max(0.0)
            )
        }
    };
    let name = text!("layer.border", width);
    let art = drawn(&body, (w, h), &Opening::default(), &name)?;
    Ok(LayerArt { art, place: Place::Box { width: Mm(w), height: Mm(h) }, name })
}
