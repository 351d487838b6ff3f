//! Labels: the lettering of a wedge, and where it lies.

use super::contents::Contents;
use super::glyphs;
use super::room::Room;
use crate::wedge::target::LABELS_OFF_MM;

/// A line of text with its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// What it says.
    pub text: String,
    /// Left edge, mm.
    pub left: f64,
    /// Upper edge, mm.
    pub top: f64,
    /// Height of the glyphs, mm.
    pub height: f64,
}

/// Heights in mm.
pub(super) struct LabelSizes {
    /// Height of the glyphs.
    pub text: f64,
    /// Side of the id's cells, which lie between the patches and the footer.
    pub cell: f64,
}

/// The least height of glyphs that is written, mm: below it a beam of 0.12 mm fills their holes.
const LEAST_TEXT_MM: f64 = 0.9;

/// The labels above the columns, at the left of the rows, and under all, where it can be read. `middle` is the
/// blank's, `step` that from patch to patch, mm.
pub(super) fn labels(
    contents: &Contents,
    room: &Room,
    (mx, my): (f64, f64),
    (sx, sy): (f64, f64),
    sizes: &LabelSizes,
) -> Vec<Label> {
    let text = sizes.text;
    let mut labels = Vec::new();
    let widest = contents.column_labels.iter().map(|l| glyphs::width(l, 1.0)).fold(0.0, f64::max);
    let column_text = if widest > 0.0 { text.min(0.72 * sx / widest).max(LEAST_TEXT_MM) } else { text };
    for (c, l) in contents.column_labels.iter().enumerate() {
        let w = glyphs::width(l, column_text);
        labels.push(Label {
            text: l.clone(),
            left: mx + room.left + (c as f64 + 0.5) * sx - w / 2.0,
            top: my + room.top - LABELS_OFF_MM - column_text,
            height: column_text,
        });
    }
    for (r, l) in contents.row_labels.iter().enumerate() {
        labels.push(Label {
            text: l.clone(),
            left: mx + room.left - 0.4 - glyphs::width(l, text),
            top: my + room.top + (r as f64 + 0.5) * sy - text / 2.0,
            height: text,
        });
    }
    let bottom = my + room.top + room.height;
    let fit = 0.9 * room.width / glyphs::width(&contents.footer, 1.0).max(1e-9);
    let footer_text = text.min(fit);
    if footer_text >= LEAST_TEXT_MM {
        labels.push(Label {
            text: contents.footer.clone(),
            left: mx + room.left + (room.width - glyphs::width(&contents.footer, footer_text)) / 2.0,
            top: bottom + 1.3 + sizes.cell,
            height: footer_text,
        });
    }
    labels
}
