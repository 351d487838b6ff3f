//! The canvas: an 8-bit sRGB picture, and lettering and line art drawn on it.

use std::sync::{Arc, LazyLock};

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

use crate::encode::png::{self, Samples};
use crate::encode::{EncodeError, pixels_per_metre};
use crate::placement::Grid;
use crate::texts::text;
use crate::units::Mm;

/// Why a picture or page could not be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ProofError {
    /// The drawing of lettering or lines failed.
    #[error("{}", text!("proof.why.drawing", detail = .0))]
    Drawing(String),
    /// The planes given do not fit each other.
    #[error("{}", text!("proof.why.size", have = .have, want = .want))]
    Size {
        /// Samples given.
        have: usize,
        /// Samples needed.
        want: usize,
    },
    /// A place outside the marked rectangle.
    #[error("{}", text!("proof.why.outside", at = .at, area = .area))]
    OutsideArt {
        /// Asked for.
        at: String,
        /// The marked area.
        area: String,
    },
    /// The page's template failed.
    #[error("{}", text!("proof.why.page", detail = .0))]
    Page(String),
}

/// An sRGB colour.
pub type Rgb = [u8; 3];

/// An 8-bit sRGB picture, three bytes a pixel, rows from the top.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// `3 * width * height` bytes.
    pub rgb: Vec<u8>,
}

impl Picture {
    /// A picture of one colour.
    pub fn filled(width: usize, height: usize, colour: Rgb) -> Picture {
        Picture { width, height, rgb: colour.repeat(width * height) }
    }

    /// The colour of a pixel.
    pub fn get(&self, x: usize, y: usize) -> Rgb {
        let at = 3 * (y * self.width + x);
        [self.rgb[at], self.rgb[at + 1], self.rgb[at + 2]]
    }

    /// Lays `over` on this picture with its left upper corner at (`x`, `y`); what does not fit is cut off.
    pub fn lay(&mut self, over: &Picture, x: usize, y: usize) {
        let columns = over.width.min(self.width.saturating_sub(x));
        for row in 0..over.height.min(self.height.saturating_sub(y)) {
            let (to, from) = (3 * ((y + row) * self.width + x), 3 * row * over.width);
            self.rgb[to..to + 3 * columns].copy_from_slice(&over.rgb[from..from + 3 * columns]);
        }
    }

    /// Mixes `colour` into a pixel; `alpha` 0 keeps the pixel, 1 replaces it. Outside nothing happens.
    pub fn mix(&mut self, x: isize, y: isize, colour: Rgb, alpha: f64) {
        if x >= 0 && y >= 0 && (x as usize) < self.width && (y as usize) < self.height {
            let at = 3 * (y as usize * self.width + x as usize);
            blend(&mut self.rgb[at..at + 3], colour, alpha as f32);
        }
    }

    /// The picture as a PNG; `pixel` (mm), where given, is stored as its size.
    ///
    /// # Errors
    /// When it has no pixels.
    pub fn to_png(&self, pixel: Option<f64>) -> Result<Vec<u8>, EncodeError> {
        let grid =
            pixel.filter(|&mm| pixels_per_metre(mm) > 0).map(|mm| Grid { along: Mm(mm), across: Mm(mm) });
        png::picture(self.width, self.height, Samples::Rgb, &self.rgb, grid)
    }
}

/// Mixes `colour` into the three bytes of a pixel.
pub fn blend(pixel: &mut [u8], colour: Rgb, alpha: f32) {
    for (p, c) in pixel.iter_mut().zip(colour) {
        let mixed = f32::from(*p) + alpha.clamp(0.0, 1.0) * (f32::from(c) - f32::from(*p));
        // Rounded; `round` is a call, which for all pixels takes as long as a small picture's dots.
        *p = (f64::from(mixed) + 0.5) as u8;
    }
}

/// The fonts that ship with the program: the lettering does not depend on the machine.
static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut db = fontdb::Database::new();
    db.load_font_data(include_bytes!("../art/fonts/DejaVuSans.ttf").to_vec());
    db.load_font_data(include_bytes!("../art/fonts/DejaVuSans-Bold.ttf").to_vec());
    db.set_sans_serif_family("DejaVu Sans");
    Arc::new(db)
});

/// A picture with `body` (SVG elements) drawn on `ground`.
///
/// # Errors
/// When the size is zero or the elements are not SVG.
pub fn draw(width: usize, height: usize, ground: Rgb, body: &str) -> Result<Picture, ProofError> {
    let fail = |e: &dyn ToString| ProofError::Drawing(e.to_string());
    let svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" font-family="DejaVu Sans">{body}</svg>"#
    );
    let options = Options { fontdb: FONTS.clone(), font_family: "DejaVu Sans".into(), ..Options::default() };
    let tree = Tree::from_str(&svg, &options).map_err(|e| fail(&e))?;
    let size = u32::try_from(width).ok().zip(u32::try_from(height).ok());
    let mut map = size
        .and_then(|(w, h)| Pixmap::new(w, h))
        .ok_or_else(|| fail(&text!("proof.why.pixels", width, height)))?;
    let [r, g, b] = ground;
    map.fill(resvg::tiny_skia::Color::from_rgba8(r, g, b, 255));
    resvg::render(&tree, Transform::identity(), &mut map.as_mut());
    let rgb = map.data().chunks_exact(4).flat_map(|p| [p[0], p[1], p[2]]).collect();
    Ok(Picture { width, height, rgb })
}

/// `text` with the characters that mean something in SVG replaced.
pub fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// Width of `text` in multiples of the letter size, in the plain cut of the shipped font, estimated: the
/// mean advance of its lower-case letters, digits and spaces is 0.56.
pub fn letters(text: &str) -> f64 {
    0.57 * text.chars().count() as f64
}

/// `text` in lines of at most `most` letters, broken at spaces; a longer word has a line of its own.
pub fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_string()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lettering_is_drawn_with_the_shipped_font() {
        let p = draw(200, 40, [255; 3], r#"<text x="5" y="30" font-size="30">Ahoy ✓</text>"#).unwrap();
        let dark = p.rgb.chunks(3).filter(|c| c[0] < 100).count();
        assert!(dark > 400, "{dark} dark pixels");
        assert_eq!(p, draw(200, 40, [255; 3], r#"<text x="5" y="30" font-size="30">Ahoy ✓</text>"#).unwrap());
    }

    #[test]
    fn a_wrong_drawing_is_an_error() {
        assert!(draw(10, 10, [0; 3], "<text").is_err());
        assert!(draw(0, 10, [0; 3], "").is_err());
    }

    #[test]
    fn lines_are_broken_at_spaces_only() {
        assert_eq!(wrapped("two masts, one funnel", 10), ["two masts,", "one funnel"]);
        assert_eq!(wrapped("a lighthouse-keeper", 4), ["a", "lighthouse-keeper"]);
        assert_eq!(wrapped("", 4), [""]);
    }

    #[test]
    fn names_cannot_break_out_of_the_drawing() {
        assert_eq!(escape(r#"a<b>&"c""#), "a&lt;b&gt;&amp;&quot;c&quot;");
    }
}
