//! Picture: the photo laid flat, patches outlined with their values, the pick, and what was read beside it.

use crate::colour::lstar;
use crate::wedge::estimate::Estimate;
use crate::wedge::evidence::Evidence;
use crate::wedge::fit::wants_mark;
use crate::wedge::reading::Reading;
use crate::wedge::target::{Wedge, WedgeKind};

use crate::colour::srgb8;
use crate::proof::canvas::{Picture, ProofError, draw, escape};
use crate::units::short;

/// Width of the flat photo in the picture, pixels.
const PHOTO: f64 = 1120.0;
/// Width of the column of text, pixels.
const COLUMN: f64 = 520.0;
/// Colours that stay apart for colour-blind eyes (Okabe and Ito, 2008): sky blue, orange, vermillion.
const PATCH: &str = "#56B4E9";
const PICK: &str = "#E69F00";
const REFUSED: &str = "#D55E00";

/// Draws the reading.
///
/// # Errors
/// When the drawing cannot be made, which is a fault of the program.
pub fn reading_picture(evidence: &Evidence, wedge: &Wedge) -> Result<Picture, ProofError> {
    let (w, h) = (wedge.blank.width(), wedge.blank.height());
    let scale = PHOTO / w.max(h);
    let (pw, ph) = ((w * scale).round(), (h * scale).round());
    let column = text(&evidence.reading);
    let rows = column.len() as f64;
    let height = (ph + 40.0).max(60.0 + 24.0 * rows);
    let (width, height) = ((pw + COLUMN + 60.0) as usize, height as usize);
    let mut body = String::new();
    let photo = photo_png(evidence, pw as usize, ph as usize, scale)?;
    body.push_str(&format!(
        r#"<image x="20" y="20" width="{pw}" height="{ph}" href="data:image/png;base64,{}"/>"#,
        base64(&photo)
    ));
    body.push_str(&format!(
        r#"<g transform="translate(20 20)">{}</g>"#,
        overlay(&evidence.reading, wedge, scale)
    ));
    body.push_str(&format!(r#"<g transform="translate({} 40)" font-size="16" fill="black">"#, pw + 45.0));
    for (i, (line, strong)) in column.iter().enumerate() {
        let weight = if *strong { r#" font-weight="bold""# } else { "" };
        body.push_str(&format!(r#"<text x="0" y="{}"{weight}>{}</text>"#, 24 * i, escape(line)));
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
            (Estimate::NotMeasured { .. }, _) => (REFUSED, 2.5),
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
            second = "PICK".into();
        }
        let light = r.lightness.get().is_none_or(|l| l > 55.0);
        let (ink, halo) = if light { ("black", "white") } else { ("white", "black") };
        let mut say = |text: &str, dy: f64, bold: bool| {
            out.push_str(&format!(
                r#"<text x="{:.1}" y="{:.1}" font-size="{size:.1}" text-anchor="middle" fill="{ink}" stroke="{halo}" stroke-width="2.5" paint-order="stroke"{}>{text}</text>"#,
                x + w / 2.0,
                y + h / 2.0 + size * (0.35 + dy),
                if bold { r#" font-weight="bold""# } else { "" }
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
                r#"<circle cx="{x:.1}" cy="{y:.1}" r="14" fill="none" stroke="{PICK}" stroke-width="4"/><text x="{:.1}" y="{:.1}" font-size="16" fill="black" stroke="white" stroke-width="3" paint-order="stroke">{offset:+.3} mm</text>"#,
                x + 20.0,
                y + 5.0
            ));
        }
    }
    out
}

fn known(k: &Estimate, decimals: usize, unit: &str) -> String {
    match k {
        Estimate::Measured { value, uncertainty } if *uncertainty > 0.0 => {
            format!("{value:.decimals$} ± {uncertainty:.decimals$}{unit}")
        }
        Estimate::Measured { value, .. } => format!("{value:.decimals$}{unit}"),
        Estimate::NotMeasured { .. } => "not measured".into(),
    }
}

/// The text beside the photo: lines, and whether they are headings.
pub fn text(r: &Reading) -> Vec<(String, bool)> {
    let mut out: Vec<(String, bool)> = Vec::new();
    let head = |t: String, out: &mut Vec<(String, bool)>| {
        if !out.is_empty() {
            out.push((String::new(), false));
        }
        out.push((t, true));
    };
    head(format!("Wedge {} ({})", r.wedge, r.kind), &mut out);
    out.push((format!("{} on {}", r.coating, r.machine), false));
    if !r.date.is_empty() {
        out.push((format!("read {}", r.date), false));
    }
    if let Some(p) = &r.pick {
        head("The pick".into(), &mut out);
        let passes = if p.passes == 1 { String::new() } else { format!(", {} passes", p.passes) };
        out.push((
            format!("{}: {}% at {} mm/s{passes}", p.patch, short(p.power_percent, 1), short(p.speed_mm_s, 2)),
            true,
        ));
        out.push((format!("L* {:.1}, grain {:.1} L*", p.lightness, p.grain), false));
        wrap(&p.why, &mut out);
        out.push((format!("power may rise by {} before char", known(&p.latitude_percent, 0, " %")), false));
    } else if r.kind == WedgeKind::Exposure.name() {
        head("No patch is picked".into(), &mut out);
    }
    if let Some(f) = &r.response {
        head("The response".into(), &mut out);
        out.push((format!("half mark at {}", known(&f.x_half_j_mm2, 3, " J/mm²")), false));
        out.push((format!("steepness {}", known(&f.rise, 2, "")), false));
        out.push((format!("reciprocity s {}", known(&f.schwarzschild, 3, "")), false));
        out.push((format!("half char at {}", known(&f.x_char_j_mm2, 2, " J/mm²")), false));
        if let Some(rms) = f.rms_l {
            out.push((format!("the curve misses the patches by {rms:.2} L* rms"), false));
        }
    }
    if let Some(b) = &r.beam {
        head("The beam (1/e² diameter)".into(), &mut out);
        out.push((format!("along the lines {}", known(&b.along_mm, 3, " mm")), false));
        out.push((format!("across the lines {}", known(&b.across_mm, 3, " mm")), false));
    }
    for g in &r.dot_gain {
        let own = if wants_mark(&g.screen) { " (it searches for the mark: no curve)" } else { "" };
        head(format!("Dot gain: {}{own}", g.screen), &mut out);
        for line in g.steps.chunks(5) {
            let steps: Vec<String> =
                line.iter().map(|s| format!("{:.0}→{:.0}%", 100.0 * s.coverage, 100.0 * s.mark)).collect();
            out.push((steps.join("  "), false));
        }
    }
    if !r.lags.is_empty() {
        head("Lag between directions".into(), &mut out);
        for l in &r.lags {
            out.push((
                format!("{}: {}, {}", l.name, known(&l.offset_mm, 3, " mm"), known(&l.lag_ms, 2, " ms")),
                false,
            ));
        }
    }
    head("Good to know".into(), &mut out);
    if r.patches.is_empty() {
        out.push(("The lag is how late the beam comes: half the offset over the speed.".into(), false));
    } else {
        wrap(&format!("Lightness is {}.", r.scale.note), &mut out);
    }
    for n in &r.notes {
        wrap(
            &format!(
                "{}{}.",
                n.chars().next().map_or(String::new(), |c| c.to_uppercase().collect()),
                n.chars().skip(1).collect::<String>()
            ),
            &mut out,
        );
    }
    for p in r.patches.iter().filter(|p| p.lightness.get().is_none()).take(8) {
        if let Estimate::NotMeasured { not_measured } = &p.lightness {
            wrap(&format!("{}: {not_measured}.", p.name), &mut out);
        }
    }
    if r.patches.is_empty() {
        return out;
    }
    out.push((String::new(), false));
    out.push((
        format!("Bare coating L* {:.1}. Numbers in the patches are L*.", lstar(r.scale.y_unmarked)),
        false,
    ));
    out
}

/// Breaks a sentence into lines that fit the column.
fn wrap(sentence: &str, out: &mut Vec<(String, bool)>) {
    let most = (COLUMN / (0.56 * 16.0)) as usize;
    let mut line = String::new();
    for word in sentence.split_whitespace() {
        if !line.is_empty() && line.chars().count() + 1 + word.chars().count() > most {
            out.push((std::mem::take(&mut line), false));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    out.push((line, false));
}

/// Base64 of RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for c in bytes.chunks(3) {
        let n = c.iter().enumerate().fold(0u32, |n, (i, &b)| n | u32::from(b) << (16 - 8 * i));
        for i in 0..4 {
            let letter = LETTERS[(n >> (18 - 6 * i) & 63) as usize];
            out.push(if i <= c.len() { char::from(letter) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_agrees_with_the_test_vectors_of_rfc_4648() {
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }
}
