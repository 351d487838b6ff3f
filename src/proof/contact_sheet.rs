//! The contact sheet: several ways to lay the dots of one piece, side by side, best first.

use minijinja::{Value, context};

use super::canvas::{Picture, ProofError, draw, escape, wrapped};
use super::legend::{INK, PAPER};
use super::page::{data_uri, fill};
use super::reduce::reduced;
use crate::encode::EncodeError;

/// One way to lay the dots.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// What was varied, in words (`blue-noise at 304 dpi`).
    pub name: String,
    /// The whole piece as forecast.
    pub whole: Picture,
    /// The same places of each candidate at high magnification, as forecast.
    pub loupes: Vec<Picture>,
    /// Its figures, the same ones in the same order for each candidate.
    pub figures: Vec<Figure>,
}

/// A figure with its name and unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// What it is (`HVS-weighted PSNR`).
    pub name: String,
    /// The value with its unit (`39.3 dB`).
    pub text: String,
}

/// A contact sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// The piece (`lighthouse.jpg on round:90mm`).
    pub title: String,
    /// How far the forecasts can be trusted, in one line.
    pub standing: String,
    /// All candidates, the best first: the first is the one recommended.
    pub candidates: Vec<Candidate>,
    /// Why the first is recommended, in a sentence.
    pub why: String,
}

/// Side of the pictures on the sheet, pixels.
const CELL: usize = 380;
/// Between pictures.
const GAP: usize = 16;

/// The sheet as one picture: a row a candidate, the whole piece and then its loupes.
///
/// # Errors
/// When lettering cannot be drawn.
pub fn picture(sheet: &Sheet) -> Result<Picture, ProofError> {
    let across = 1 + sheet.candidates.iter().map(|c| c.loupes.len()).max().unwrap_or(0);
    let width = (GAP + across * (CELL + GAP)).max(900);
    let mut parts = vec![head(sheet, width)?];
    for (i, candidate) in sheet.candidates.iter().enumerate() {
        parts.push(words(candidate, i, width)?);
        let shown: Vec<Picture> =
            std::iter::once(&candidate.whole).chain(&candidate.loupes).map(|p| reduced(p, CELL)).collect();
        let high = shown.iter().map(|p| p.height).max().unwrap_or(0);
        let mut row = Picture::filled(width, high + GAP, PAPER);
        for (k, p) in shown.iter().enumerate() {
            row.lay(p, GAP + k * (CELL + GAP), 0);
        }
        parts.push(row);
    }
    let mut all = Picture::filled(width, parts.iter().map(|p| p.height).sum(), PAPER);
    let mut y = 0;
    for part in &parts {
        all.lay(part, 0, y);
        y += part.height;
    }
    Ok(all)
}

fn text(x: usize, y: usize, size: usize, extra: &str, t: &str) -> String {
    format!(r#"<text x="{x}" y="{y}" font-size="{size}" fill="{INK}" {extra}>{}</text>"#, escape(t))
}

fn head(sheet: &Sheet, width: usize) -> Result<Picture, ProofError> {
    let mut body =
        text(GAP, 36, 24, r#"font-weight="bold""#, &sheet.title) + &text(GAP, 62, 16, "", &sheet.standing);
    let mut y = 62;
    let why = sheet.candidates.first().map(|c| format!("Recommended: {}. {}", c.name, sheet.why));
    for line in wrapped(&why.unwrap_or_default(), (width - 2 * GAP) / 10) {
        y += 24;
        body += &text(GAP, y, 16, "", &line);
    }
    draw(width, y + 16, PAPER, &body)
}

/// Rank, name and figures of a candidate; the recommended one has a filled sign.
fn words(candidate: &Candidate, rank: usize, width: usize) -> Result<Picture, ProofError> {
    let best = rank == 0;
    let mut body = format!(
        r#"<path d="M{GAP} 6H{}" stroke="{INK}" stroke-width="{}"/>"#,
        width - GAP,
        if best { 3 } else { 1 }
    );
    let name = format!(
        "{} {}. {}{}",
        if best { "★" } else { "·" },
        rank + 1,
        candidate.name,
        if best { " (recommended)" } else { "" }
    );
    body += &text(GAP, 34, 19, r#"font-weight="bold""#, &name);
    let figures: Vec<String> = candidate.figures.iter().map(|f| format!("{} {}", f.name, f.text)).collect();
    let mut y = 36;
    for line in wrapped(&figures.join("  ·  "), (width - 2 * GAP) / 9) {
        y += 22;
        body += &text(GAP, y, 15, "", &line);
    }
    draw(width, y + 12, PAPER, &body)
}

/// Why a sheet could not be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SheetError {
    /// A picture of it could not be stored.
    #[error(transparent)]
    Encode(#[from] EncodeError),
    /// The page could not be made.
    #[error(transparent)]
    Proof(#[from] ProofError),
}

/// The sheet as one self-contained page.
///
/// # Errors
/// When a candidate's picture has no pixels.
pub fn page(sheet: &Sheet) -> Result<String, SheetError> {
    let mut candidates: Vec<Value> = Vec::new();
    for c in &sheet.candidates {
        let pictures: Result<Vec<String>, EncodeError> = std::iter::once(&c.whole)
            .chain(&c.loupes)
            .map(|p| Ok(data_uri(&reduced(p, CELL).to_png(None)?)))
            .collect();
        let figures: Vec<Value> =
            c.figures.iter().map(|f| context! { name => f.name.clone(), text => f.text.clone() }).collect();
        candidates.push(context! { name => c.name.clone(), pictures => pictures?, figures });
    }
    let values = context! {
        title => sheet.title.clone(),
        standing => sheet.standing.clone(),
        why => sheet.why.clone(),
        candidates,
    };
    Ok(fill("contact-sheet.html", include_str!("contact_sheet.html"), values)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::proof::made::{keep, lighthouse};

    fn sheet() -> Sheet {
        let dots = lighthouse(600, 600);
        let crop = |x0: usize, y0: usize, n: usize, scale: usize| {
            let mut p = Picture::filled(n * scale, n * scale, [40; 3]);
            for (i, pixel) in p.rgb.chunks_exact_mut(3).enumerate() {
                let (x, y) = (i % (n * scale) / scale, i / (n * scale) / scale);
                if dots.get(x0 + x, y0 + y) {
                    pixel.fill(210);
                }
            }
            p
        };
        let candidate = |name: &str, psnr: &str| Candidate {
            name: name.into(),
            whole: crop(0, 0, 600, 1),
            loupes: vec![crop(300, 100, 60, 7), crop(80, 400, 60, 7)],
            figures: [
                ("HVS-weighted PSNR", psnr),
                ("SSIM", "0.981"),
                ("mean tone error", "0.4 %"),
                ("over-burnt", "0 mm²"),
                ("dots on", "412 331"),
                ("time", "2 h 21 min"),
            ]
            .map(|(n, t)| Figure { name: n.into(), text: t.into() })
            .to_vec(),
        };
        Sheet {
            title: "lighthouse at dusk.jpg on glass, round:90mm".into(),
            standing: "? process assumed, not measured on this machine".into(),
            candidates: vec![candidate("blue-noise at 304 dpi", "39.3 dB"), candidate("floyd-steinberg <304 dpi>", "37.1 dB"), candidate("bayer at 304 dpi", "31.0 dB")],
            why: "Its forecast is nearest to the wanted picture (39.3 dB, 2.2 dB above the next) and nothing is over-burnt.".into(),
        }
    }

    #[test]
    fn the_sheet_names_the_recommended_one_first_and_says_why() {
        let s = sheet();
        let p = picture(&s).unwrap();
        keep("contact-sheet.png", &p.to_png(None).unwrap());
        assert!(p.width >= 3 * CELL && p.height > 3 * CELL);
        let html = page(&s).unwrap();
        keep("contact-sheet.html", html.as_bytes());
        let at = |t: &str| html.find(t).unwrap_or_else(|| panic!("{t} is missing"));
        assert!(
            at("blue-noise at 304 dpi") < at("floyd-steinberg &lt;304 dpi&gt;") && at("2.2 dB above") > 0
        );
        assert_eq!(html.matches("src=\"").count(), html.matches("src=\"data:image/png;base64,").count());
        assert_eq!(html.matches("src=\"").count(), 9);
        assert!(!html.contains("<script"));
    }
}
