//! Preview: the wedge as it is expected to look, for the screen and the ticket.

use crate::colour::srgb8_exact;
use crate::mark::Response;
use crate::wedge::draw::Drawing;
use crate::wedge::target::Dial;

/// Draws the wedge at `scale` picture elements a dot: outside the blank a mid grey with a dark rim at the
/// edge, inside the look that the expected response gives to each part's mean exposure. Returns width,
/// height and 8-bit grey rows.
pub fn preview(drawing: &Drawing, scale: usize) -> (usize, usize, Vec<u8>) {
    let scale = scale.max(1);
    let w = &drawing.wedge;
    let response: Response = w.expected.response();
    let (px, py) = (w.pitch_along.0 / scale as f64, w.pitch_across.0 / scale as f64);
    let pad = 2.0;
    let (bw, bh) = (w.blank.width(), w.blank.height());
    let width = ((bw + 2.0 * pad) / px).ceil() as usize;
    let height = ((bh + 2.0 * pad) / py).ceil() as usize;
    let bare = srgb8_exact(response.y_unmarked);
    let mut out = vec![150u8; width * height];
    for y in 0..height {
        for x in 0..width {
            let (mx, my) = ((x as f64 + 0.5) * px - pad - bw / 2.0, (y as f64 + 0.5) * py - pad - bh / 2.0);
            if w.blank.contains(mx, my) {
                out[y * width + x] = bare;
            } else {
                let rim = 0.35;
                let grown = w.blank.inset(-rim);
                if grown.is_some_and(|s| s.contains(mx, my)) {
                    out[y * width + x] = 90;
                }
            }
        }
    }
    let look = |d: &Dial| srgb8_exact(response.look(w.burn(d, response).x_solid));
    for part in &drawing.parts {
        let value = look(&part.dial);
        let left = ((part.rect.left.0 + pad) / px).round() as usize;
        let top = ((part.rect.top.0 + pad) / py).round() as usize;
        for y in 0..part.dots.height() {
            for x in 0..part.dots.width() {
                if part.dots.get(x, y) {
                    for sy in 0..scale {
                        let at = (top + y * scale + sy) * width + left + x * scale;
                        if let Some(run) = out.get_mut(at..at + scale) {
                            run.fill(value);
                        }
                    }
                }
            }
        }
    }
    (width, height, out)
}
