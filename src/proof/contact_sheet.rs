//! The contact sheet: the original and several ways to make the piece of it, in a grid at one scale, with the same
//! places of each enlarged.

use minijinja::{Value, context};

use super::canvas::{Picture, ProofError, Rgb, draw, escape, wrapped};
use super::legend::{INK, PAPER};
use super::page::{data_uri, fill};
use super::reduce::reduced;
use crate::encode::EncodeError;
use crate::texts::text;

/// One way to make the piece, or what it is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// What was varied, in words (`blue-noise at 304 dpi`).
    pub name: String,
    /// The whole piece; at the same scale for all of a sheet.
    pub whole: Picture,
    /// The same places of each at high magnification, in the order of their letters.
    pub crops: Vec<Picture>,
    /// Its figures, the same ones in the same order for each candidate, and what is to be said against it.
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

/// A picture below all candidates.
#[derive(Debug, Clone, PartialEq)]
pub struct Below {
    /// What it shows, in words for those who do not see it.
    pub says: String,
    /// The picture.
    pub picture: Picture,
}

/// A contact sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct ContactSheet {
    /// The piece (`lighthouse.jpg on round:90mm`).
    pub title: String,
    /// How far the forecasts can be trusted, in one line.
    pub standing: String,
    /// The art as it is placed, without figures.
    pub original: Candidate,
    /// Where the crops lie on the whole, in shares of its width and height: left, top, right, bottom.
    pub places: Vec<[f64; 4]>,
    /// All candidates, in the order in which they are shown.
    pub candidates: Vec<Candidate>,
    /// What is shown below them.
    pub below: Option<Below>,
    /// Whether the first is recommended: the best by its figures.
    pub recommends: bool,
    /// What to know, in a sentence or two: why the first is recommended, or how to choose.
    pub words: String,
}

/// Side of a whole piece on the sheet, pixels.
const CELL: usize = 600;
/// Between pictures.
const GAP: usize = 20;
/// Cells side by side.
const ACROSS: usize = 3;
/// The letters of the crops.
const NAMES: [&str; 6] = ["A", "B", "C", "D", "E", "F"];
/// Frames and letters of the crops: seen on black and on white.
const FRAME: Rgb = [255, 176, 0];

/// The sheet as one picture: a grid, the original first.
///
/// # Errors
/// When lettering cannot be drawn.
pub fn picture(sheet: &ContactSheet) -> Result<Picture, ProofError> {
    let width = GAP + ACROSS * (CELL + GAP);
    let mut parts = vec![head(sheet, width)?];
    let mut cells = vec![cell(sheet, &sheet.original, text!("proof.sheet.original"))?];
    for (i, c) in sheet.candidates.iter().enumerate() {
        let best = i == 0 && sheet.recommends;
        let name = if best { text!("proof.sheet.best", name = c.name) } else { c.name.clone() };
        cells.push(cell(sheet, c, &name)?);
    }
    for row in cells.chunks(ACROSS) {
        let high = row.iter().map(|c| c.height).max().unwrap_or(0);
        let mut all = Picture::filled(width, high + GAP, PAPER);
        for (i, c) in row.iter().enumerate() {
            all.lay(c, GAP + i * (CELL + GAP), 0);
        }
        parts.push(all);
    }
    if let Some(below) = &sheet.below {
        parts.push(reduced(&below.picture, width)?);
    }
    Ok(stacked(&parts, width))
}

fn stacked(parts: &[Picture], width: usize) -> Picture {
    let mut all = Picture::filled(width, parts.iter().map(|p| p.height).sum(), PAPER);
    let mut y = 0;
    for part in parts {
        all.lay(part, 0, y);
        y += part.height;
    }
    all
}

fn text(x: usize, y: usize, size: usize, extra: &str, t: &str) -> String {
    format!(r#"<text x="{x}" y="{y}" font-size="{size}" fill="{INK}" {extra}>{}</text>"#, escape(t))
}

fn head(sheet: &ContactSheet, width: usize) -> Result<Picture, ProofError> {
    let mut body =
        text(GAP, 42, 28, r#"font-weight="bold""#, &sheet.title) + &text(GAP, 72, 18, "", &sheet.standing);
    let mut y = 74;
    for line in wrapped(&words(sheet), (width - 2 * GAP) / 11) {
        y += 26;
        body += &text(GAP, y, 18, "", &line);
    }
    draw(width, y + 20, PAPER, &body)
}

fn words(sheet: &ContactSheet) -> String {
    match sheet.candidates.first() {
        Some(best) if sheet.recommends => {
            text!("proof.sheet.recommended", name = best.name, why = sheet.words)
        }
        _ => sheet.words.clone(),
    }
}

/// Name, whole piece, crops and figures, one below the other.
fn cell(sheet: &ContactSheet, c: &Candidate, name: &str) -> Result<Picture, ProofError> {
    let mut body = format!(r#"<path d="M0 2H{CELL}" stroke="{INK}" stroke-width="2"/>"#);
    let mut y = 8;
    for line in wrapped(name, CELL * 100 / 1250) {
        y += 26;
        body += &text(0, y, 20, r#"font-weight="bold""#, &line);
    }
    let title = draw(CELL, y + 12, PAPER, &body)?;
    let (whole, crops) = pictures(sheet, c)?;
    let mut parts = vec![title, whole];
    if let Some(first) = crops.first() {
        let high = crops.iter().map(|p| p.height).max().unwrap_or(first.height);
        let mut row = Picture::filled(CELL, high + CROP_GAP, PAPER);
        for (i, crop) in crops.iter().enumerate() {
            row.lay(crop, i * (crop_side() + CROP_GAP), CROP_GAP);
        }
        parts.push(row);
    }
    let figures: Vec<String> = c.figures.iter().map(|f| format!("{} {}", f.name, f.text)).collect();
    let (mut body, mut y) = (String::new(), 4);
    for line in wrapped(&figures.join(" · "), CELL * 100 / 880) {
        y += 21;
        body += &text(0, y, 15, "", &line);
    }
    parts.push(draw(CELL, y + 12, PAPER, &body)?);
    Ok(stacked(&parts, CELL))
}

/// Between crops.
const CROP_GAP: usize = 9;

/// Side of a crop, pixels: three beside each other are as wide as the whole.
fn crop_side() -> usize {
    (CELL - 2 * CROP_GAP) / 3
}

/// The whole piece with its places framed where it is the original, and its lettered crops.
fn pictures(sheet: &ContactSheet, c: &Candidate) -> Result<(Picture, Vec<Picture>), ProofError> {
    let mut whole = reduced(&c.whole, CELL)?;
    if std::ptr::eq(c, &sheet.original) {
        for (place, name) in sheet.places.iter().zip(NAMES) {
            frame(&mut whole, place, name)?;
        }
    }
    let crops = c.crops.iter().zip(NAMES).map(|(crop, name)| {
        let mut crop = reduced(crop, crop_side())?;
        letter(&mut crop, (0, 0), name)?;
        Ok(crop)
    });
    let crops = crops.collect::<Result<_, ProofError>>()?;
    Ok((whole, crops))
}

/// A frame around a place, with its letter.
fn frame(picture: &mut Picture, [left, top, right, bottom]: &[f64; 4], name: &str) -> Result<(), ProofError> {
    let pixel = |share: f64, n: usize| (share * n as f64).round() as isize;
    let (w, h) = (picture.width, picture.height);
    let (x0, x1) = (pixel(*left, w), pixel(*right, w));
    let (y0, y1) = (pixel(*top, h), pixel(*bottom, h));
    for (inset, colour) in [(0, [0; 3]), (1, FRAME), (2, FRAME)] {
        let (x0, x1, y0, y1) = (x0 - 2 + inset, x1 + 2 - inset, y0 - 2 + inset, y1 + 2 - inset);
        for x in x0..=x1 {
            picture.mix(x, y0, colour, 1.0);
            picture.mix(x, y1, colour, 1.0);
        }
        for y in y0..=y1 {
            picture.mix(x0, y, colour, 1.0);
            picture.mix(x1, y, colour, 1.0);
        }
    }
    letter(picture, ((x1 + 3).max(0) as usize, (y0 - 2).max(0) as usize), name)
}

/// A letter on a patch of its own.
fn letter(picture: &mut Picture, (x, y): (usize, usize), name: &str) -> Result<(), ProofError> {
    let body = format!(r#"<text x="5" y="18" font-size="18" font-weight="bold" fill="{INK}">{name}</text>"#);
    picture.lay(&draw(24, 24, FRAME, &body)?, x, y);
    Ok(())
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
/// When a picture has no pixels, or a letter cannot be drawn.
pub fn page(sheet: &ContactSheet) -> Result<String, SheetError> {
    let cell = |c: &Candidate| -> Result<Value, SheetError> {
        let (whole, crops) = pictures(sheet, c)?;
        let uri = |p: &Picture| -> Result<String, EncodeError> { Ok(data_uri(&p.to_png(None)?)) };
        let crops: Vec<Value> = crops
            .iter()
            .zip(NAMES)
            .map(|(p, name)| Ok(context! { uri => uri(p)?, name }))
            .collect::<Result<_, EncodeError>>()?;
        let figures: Vec<Value> =
            c.figures.iter().map(|f| context! { name => f.name.clone(), text => f.text.clone() }).collect();
        Ok(context! { name => c.name.clone(), whole => uri(&whole)?, crops, figures })
    };
    let below = sheet.below.as_ref().map(|b| -> Result<Value, SheetError> {
        let uri = data_uri(&b.picture.to_png(None)?);
        Ok(context! { uri, says => b.says.clone() })
    });
    let values = context! {
        below => below.transpose()?,
        title => sheet.title.clone(),
        standing => sheet.standing.clone(),
        words => words(sheet),
        recommends => sheet.recommends,
        original_name => text!("proof.sheet.original"),
        best_name => sheet.candidates.first().map(|best| text!("proof.sheet.best", name = best.name)),
        original => cell(&sheet.original)?,
        candidates => sheet.candidates.iter().map(cell).collect::<Result<Vec<_>, _>>()?,
    };
    Ok(fill("contact-sheet.html", include_str!("contact_sheet.html"), values)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::proof::made::{keep, lighthouse};

    fn sheet(candidates: &[&str]) -> ContactSheet {
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
        let candidate = |name: &str| Candidate {
            name: name.into(),
            whole: crop(0, 0, 600, 1),
            crops: vec![crop(300, 100, 60, 7), crop(80, 400, 60, 7)],
            figures: [("likeness", "39.3 dB"), ("over-burnt", "0 mm²"), ("time", "2 h 21 min")]
                .map(|(n, t)| Figure { name: n.into(), text: t.into() })
                .to_vec(),
        };
        ContactSheet {
            title: "lighthouse at dusk.jpg on glass, round:90mm".into(),
            standing: "? process assumed, not measured on this machine".into(),
            original: Candidate { figures: Vec::new(), ..candidate("Original") },
            places: vec![[0.5, 0.17, 0.6, 0.27], [0.13, 0.67, 0.23, 0.77]],
            candidates: candidates.iter().map(|n| candidate(n)).collect(),
            below: None,
            recommends: true,
            words: "Its forecast is nearest to the wanted picture (39.3 dB, 2.2 dB above the next).".into(),
        }
    }

    #[test]
    fn the_original_stands_first_and_the_recommended_one_beside_it() {
        let s = sheet(&["blue-noise at 304 dpi", "floyd-steinberg <304 dpi>", "bayer at 304 dpi"]);
        let p = picture(&s).unwrap();
        keep("contact-sheet.png", &p.to_png(None).unwrap());
        // Four cells are two rows of three.
        assert_eq!(p.width, GAP + ACROSS * (CELL + GAP));
        assert!(p.height > 2 * (CELL + crop_side()));
        let html = page(&s).unwrap();
        keep("contact-sheet.html", html.as_bytes());
        let at = |t: &str| html.find(t).unwrap_or_else(|| panic!("{t} is missing"));
        assert!(at(">Original<") < at("★ blue-noise at 304 dpi") && at("2.2 dB above") > 0);
        assert!(at("★ blue-noise at 304 dpi") < at("floyd-steinberg &lt;304 dpi&gt;"));
        assert_eq!(html.matches("src=\"").count(), html.matches("src=\"data:image/png;base64,").count());
        assert_eq!(html.matches("src=\"").count(), 12);
        assert!(!html.contains("<script"));
    }

    #[test]
    fn the_places_are_framed_on_the_original_alone_and_every_crop_has_its_letter() {
        let s = sheet(&["bayer at 304 dpi"]);
        let framed = |p: &Picture| p.rgb.chunks_exact(3).filter(|c| *c == FRAME).count();
        let (original, crops) = pictures(&s, &s.original).unwrap();
        assert!(framed(&original) > 600 && crops.iter().all(|c| framed(c) > 200));
        let (whole, crops) = pictures(&s, &s.candidates[0]).unwrap();
        assert!(framed(&whole) == 0 && crops.iter().all(|c| framed(c) > 200));
    }

    #[test]
    fn what_stands_below_is_on_picture_and_page() {
        let without = sheet(&["bayer at 304 dpi"]);
        let below = Below { says: "Burn times".into(), picture: Picture::filled(900, 77, [9, 99, 199]) };
        let with = ContactSheet { below: Some(below), ..without.clone() };
        let (a, b) = (picture(&without).unwrap(), picture(&with).unwrap());
        assert!(b.height == a.height + 77 && b.get(450, b.height - 5) == [9, 99, 199]);
        let page = page(&with).unwrap();
        assert!(page.contains("alt=\"Burn times\"") && page.matches("src=\"").count() == 7);
    }

    #[test]
    fn where_nothing_is_recommended_the_page_only_says_how_to_choose() {
        let s = ContactSheet {
            recommends: false,
            words: "Choose by eye.".into(),
            ..sheet(&["darker", "brighter"])
        };
        let html = page(&s).unwrap();
        assert!(html.contains("Choose by eye.") && !html.contains("ecommended") && !html.contains('★'));
    }
}
