//! Picture: the photo laid flat, patches outlined with their values, the pick, and what was read beside it.

use super::summary::summary;
use crate::colour::srgb8;
use crate::proof::canvas::{Picture, ProofError, draw, escape};
use crate::proof::page::data_uri;
use crate::proof::plot::{ORANGE, SKY_BLUE, VERMILION};
use crate::texts::text;
use crate::wedge::evidence::Evidence;
use crate::wedge::measurement::Measurement;
use crate::wedge::reading::Reading;
use crate::wedge::target::Wedge;

/// Width of the flat photo in the picture, pixels.
const PHOTO: f64 = 1120.0;
/// Width of the column of text, pixels.
const COLUMN: f64 = 520.0;
/// Letters in a line of it: letters of 16 pixels are 0.56 of that wide in the mean.
pub const LETTERS: usize = (COLUMN / (0.56 * 16.0)) as usize;
/// Outlines.
const PATCH: &str = SKY_BLUE;
const PICK: &str = ORANGE;
const REFUSED: &str = VERMILION;

/// Draws the reading.
///
/// # Errors
/// When the drawing cannot be made, which is a fault of the program.
pub fn reading_picture(evidence: &Evidence, wedge: &Wedge) -> Result<Picture, ProofError> {
    let (w, h) = (wedge.blank.width(), wedge.blank.height());
    let scale = PHOTO / w.max(h);
    let (pw, ph) = ((w * scale).round(), (h * scale).round());
    let column = summary(&evidence.reading, LETTERS);
    let rows = column.len() as f64;
    let height = (ph + 40.0).max(60.0 + 24.0 * rows);
    let (width, height) = ((pw + COLUMN + 60.0) as usize, height as usize);
    let mut body = String::new();
    let photo = photo_png(evidence, pw as usize, ph as usize, scale)?;
    body.push_str(&format!(
        r#"<image x="20" y="20" width="{pw}" height="{ph}" href="{}"/>"#,
        data_uri(&photo)
    ));
    body.push_str(&format!(
        r#"<g transform="translate(20 20)">{}</g>"#,
        overlay(&evidence.reading, wedge, scale)
    ));
    if !evidence.reading.doubts.is_empty() {
        body.push_str(&format!(
            r##"<rect x="20" y="20" width="{pw}" height="64" fill="{REFUSED}" fill-opacity="0.92"/><text x="{}" y="66" font-size="40" font-weight="bold" text-anchor="middle" fill="white">{}</text>"##,
            20.0 + pw / 2.0,
            escape(text!("wedge.summary.do-not-use"))
        ));
    }
    body.push_str(&format!(r#"<g transform="translate({} 40)" font-size="16" fill="black">"#, pw + 45.0));
    for (i, line) in column.iter().enumerate() {
        let weight = if line.strong { r#" font-weight="bold""# } else { "" };
        body.push_str(&format!(r#"<text x="0" y="{}"{weight}>{}</text>"#, 24 * i, escape(&line.text)));
    }
    body.push_str("</g>");
    draw(width, height, [250, 250, 248], &body)
}

/// The flat photo at the picture's size, its light stretched so that the lightest patch is nearly white.
fn photo_png(evidence: &Evidence, width: usize, height: usize, scale: f64) -> Result<Vec<u8>, ProofError> {
    let flat = &evidence.flat;
    let mut sorted: Vec<f32> =
        flat.light.data().iter().step_by(97).copied().filter(|v| v.is_finite()).collect();
    sorted.sort_by(f32::total_cmp);
    let top =
        sorted.get(sorted.len().saturating_sub(1 + sorted.len() / 100)).copied().unwrap_or(1.0).max(1e-3);
    let mut out = Picture::filled(width, height, [200, 200, 200]);
    let size = 1.0 / scale;
    for y in 0..height {
        for x in 0..width {
            let (l, t) = (x as f64 * size, y as f64 * size);
            // The mean over the pixel, and a little more where the photo is coarser than the picture.
            let reach = size.max(2.0 / flat.per_mm);
            if let Some((v, _)) = flat.mean(l, t, l + reach, t + reach) {
                let g = srgb8(0.92 * v as f32 / top);
                if let Some(p) = out.rgb.get_mut(3 * (y * width + x)..3 * (y * width + x) + 3) {
                    p.fill(g);
                }
            }
        }
    }
    out.to_png(None).map_err(|e| ProofError::Drawing(e.to_string()))
}

fn overlay(reading: &Reading, wedge: &Wedge, scale: f64) -> String {
    let height = wedge.blank.height();
    let mut out = String::new();
    let picked = reading.pick.as_ref().map(|p| p.patch.as_str());
    for (p, r) in wedge.patches.iter().zip(&reading.patches) {
        let (x, y) =
            ((p.centre[0] - p.size[0] / 2.0) * scale, (height - p.centre[1] - p.size[1] / 2.0) * scale);
        let (w, h) = (p.size[0] * scale, p.size[1] * scale);
        let is_pick = picked == Some(p.name.as_str());
        let (colour, line) = match (&r.lightness, is_pick) {
            (_, true) => (PICK, 6.0),
            (Measurement::NotMeasured { .. }, _) => (REFUSED, 2.5),
            _ => (PATCH, 1.5),
        };
        out.push_str(&format!(
            r#"<rect x="{x:.1}" y="{y:.1}" width="{w:.1}" height="{h:.1}" fill="none" stroke="{colour}" stroke-width="{line}"/>"#
        ));
        let size = (0.26 * w.min(h)).clamp(9.0, 22.0);
        let (mut value, mut second) =
            (r.lightness.get().map_or("—".to_string(), |l| format!("{l:.1}")), String::new());
        if r.lightness.get().is_none() {
            out.push_str(&format!(
                r#"<path d="M{x:.1} {y:.1}l{w:.1} {h:.1}m0 -{h:.1}l-{w:.1} {h:.1}" stroke="{REFUSED}" stroke-width="2"/>"#
            ));
            value = "?".into();
        } else if is_pick {
            second = text!("wedge.picture.pick").into();
        }
        let light = r.lightness.get().is_none_or(|l| l > 55.0);
        let (ink, halo) = if light { ("black", "white") } else { ("white", "black") };
        let mut say = |text: &str, dy: f64, bold: bool| {
            out.push_str(&format!(
                r#"<text x="{:.1}" y="{:.1}" font-size="{size:.1}" text-anchor="middle" fill="{ink}" stroke="{halo}" stroke-width="2.5" paint-order="stroke"{}>{}</text>"#,
                x + w / 2.0,
                y + h / 2.0 + size * (0.35 + dy),
                if bold { r#" font-weight="bold""# } else { "" },
                escape(text)
            ));
        };
        if second.is_empty() {
            say(&value, 0.0, false);
        } else {
            say(&value, -0.55, true);
            say(&second, 0.6, true);
        }
    }
    for m in &wedge.marks {
        let (x, y, r) = (m.centre[0] * scale, (height - m.centre[1]) * scale, 0.58 * m.diameter.0 * scale);
        out.push_str(&format!(
            r#"<circle cx="{x:.1}" cy="{y:.1}" r="{r:.1}" fill="none" stroke="{PATCH}" stroke-width="3"/><path d="M{0:.1} {y:.1}h{r:.1}M{x:.1} {1:.1}v{r:.1}" stroke="{PICK}" stroke-width="2"/>"#,
            x - r / 2.0,
            y - r / 2.0
        ));
    }
    for (c, lag) in wedge.combs.iter().zip(&reading.lags) {
        if let (Some(up), Some(offset)) = (lag.lines_up_at, lag.offset_mm.get()) {
            let x = (c.middle + up as f64 * (c.step_right + c.step_left) / 2.0) * scale;
            let y = (height - c.rows_left[1]) * scale;
            out.push_str(&format!(
                r#"<circle cx="{x:.1}" cy="{y:.1}" r="14" fill="none" stroke="{PICK}" stroke-width="4"/><text x="{x:.1}" y="{:.1}" font-size="15" text-anchor="middle" fill="black" stroke="white" stroke-width="3" paint-order="stroke">{offset:+.3} mm</text>"#,
                y + (c.rows_right[1] - c.rows_left[0]).abs().max(2.0) * scale / 2.0 + 24.0
            ));
        }
    }
    out
}
