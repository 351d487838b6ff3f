//! Drawings: SVG parsed with the fonts that ship and those that were named, and nothing from the network.
//!
//! ```text
//! PDF --pdf--> text
//! text --entities, guard--> bounded text --library--> tree      tree, place --cost--> seconds and bytes
//! tree, place --draw, in bands, watched--> light and alpha
//! ```
//!
//! A drawing of a kilobyte can ask for years of work. What it may ask for is bounded before the drawing
//! library sees it ([guard]) and again before each time it is drawn ([cost]); what still takes too long is
//! given up after the person's time, and a panic of the library is caught ([watch]).

mod cost;
pub(super) mod draw;
mod embedded;
mod entities;
mod fonts;
mod guard;
mod hairlines;
mod lettering;
mod more_fonts;
mod outlines;
mod pdf;
mod style;
mod watch;

use std::io::Read;
use std::sync::{Arc, Mutex, PoisonError};

use resvg::usvg::{Group, ImageHrefResolver, ImageKind, Node, Options, Tree};

use self::embedded::Embedded;
use self::guard::MAX_TEXT;
pub use self::lettering::Lettering;
pub use self::more_fonts::{Fonts, FontsError};
pub use self::outlines::{ClosedOutline, Form};
use self::watch::{Stopped, watched};
use super::Format;
use super::bounds::Patience;
use super::error::{Why, one_line};
use super::view::View;
use crate::lately::Lately;
use crate::note::Note;
use crate::said::Said;
use crate::texts::text;

/// A user unit of a resolved SVG, mm: a pixel of CSS, 96 to the inch.
const MM_PER_UNIT: f64 = crate::units::MM_PER_INCH / 96.0;

/// A parsed drawing, resolved and ready to be drawn at any density.
#[derive(Debug, Clone)]
pub struct Vector {
    tree: Arc<Tree>,
    format: Format,
    patience: Patience,
    notes: Vec<Note>,
    lettering: Lettering,
    extents: Extents,
    on_nothing: bool,
    measured: bool,
}

/// The hulls of what is not transparent in the last few views of a drawing, which takes a drawing of its own to find.
pub type Extents = Arc<Lately<View, Vec<(f64, f64)>>>;

/// Views of a drawing whose extent is kept: those of one job.
const EXTENTS: usize = 4;

impl Vector {
    fn new(tree: Tree, format: Format, patience: Patience, notes: Vec<Note>, lettering: Lettering) -> Self {
        let extents = Arc::new(Lately::new(EXTENTS));
        let (tree, on_nothing, measured) = (Arc::new(tree), false, format == Format::Pdf);
        Vector { tree, format, patience, notes, lettering, extents, on_nothing, measured }
    }

    /// The same, known to lie on no ground of its own: all that is drawn is ink.
    pub(crate) fn on_nothing(self) -> Self {
        Vector { on_nothing: true, ..self }
    }

    /// Whether that is known.
    pub(crate) fn is_on_nothing(&self) -> bool {
        self.on_nothing
    }

    /// What was found lately of its extents.
    pub(in crate::art) fn extents(&self) -> &Extents {
        &self.extents
    }

    /// Width and height in user units; never zero.
    pub fn size(&self) -> (f64, f64) {
        (f64::from(self.tree.size().width()), f64::from(self.tree.size().height()))
    }

    /// The box of the letters of all its text, user units: left, top, right and bottom; `None` where no letter shows.
    pub fn letters(&self) -> Option<[f64; 4]> {
        lettering::letters(&self.tree)
    }

    /// Width and height of its page, mm; a size without a unit counts 96 to the inch, as in CSS.
    pub fn page_mm(&self) -> (f64, f64) {
        let (w, h) = self.size();
        (w * self.unit_mm(), h * self.unit_mm())
    }

    /// The same where its file says it in units of length, as a PDF does.
    pub(crate) fn stated_mm(&self) -> Option<(f64, f64)> {
        self.measured.then(|| self.page_mm())
    }

    /// A user unit, mm.
    fn unit_mm(&self) -> f64 {
        if self.format == Format::Pdf { pdf::MM_PER_POINT } else { MM_PER_UNIT }
    }

    /// Each closed outline in the order of the drawing.
    pub fn closed_outlines(&self) -> Vec<ClosedOutline> {
        outlines::closed(&self.tree, self.unit_mm())
    }

    /// SVG or PDF.
    pub fn format(&self) -> Format {
        self.format
    }

    /// What became of its text; a PDF's is outlines already.
    pub fn lettering(&self) -> &Lettering {
        &self.lettering
    }

    /// Whether it is nothing but one picture of picture elements: a photo that came in a drawing's file.
    pub(super) fn is_one_picture(&self) -> bool {
        let (mut pictures, mut others) = (0, 0);
        count(self.tree.root(), &mut pictures, &mut others);
        pictures == 1 && others == 0
    }

    /// The file of that picture, where it lies upright and takes nearly all of the page.
    pub(super) fn one_picture(&self) -> Option<Arc<Vec<u8>>> {
        fn first(group: &Group) -> Option<&resvg::usvg::Image> {
            group.children().iter().find_map(|node| match node {
                Node::Group(inner) => first(inner),
                Node::Image(image) => Some(image.as_ref()),
                _ => None,
            })
        }
        let image = first(self.tree.root()).filter(|_| self.is_one_picture())?;
        let (place, (w, h)) = (image.abs_transform(), self.size());
        let upright = place.sx > 0.0 && place.sy > 0.0 && place.kx == 0.0 && place.ky == 0.0;
        if !upright || area(self.tree.root(), (w, h)) < WHOLE_PAGE * w * h {
            return None;
        }
        match image.kind() {
            ImageKind::JPEG(data) | ImageKind::PNG(data) | ImageKind::GIF(data) | ImageKind::WEBP(data) => {
                Some(Arc::clone(data))
            }
            ImageKind::SVG(_) => None,
        }
    }

    /// The share of its page that pictures take, where it holds other things too.
    pub(super) fn pictures_within(&self) -> Option<f64> {
        let (mut pictures, mut others) = (0, 0);
        count(self.tree.root(), &mut pictures, &mut others);
        let (w, h) = self.size();
        (pictures > 0 && others > 0).then(|| (area(self.tree.root(), (w, h)) / (w * h)).min(1.0))
    }

    pub(super) fn notes(&self) -> &[Note] {
        &self.notes
    }
}

/// A picture that takes this share of a page is all of it, but for a margin.
const WHOLE_PAGE: f64 = 0.9;

/// Counts pictures of picture elements, and what else a drawing holds.
fn count(group: &Group, pictures: &mut usize, others: &mut usize) {
    for node in group.children() {
        match node {
            Node::Group(inner) => count(inner, pictures, others),
            Node::Image(image) if !matches!(image.kind(), ImageKind::SVG(_)) => *pictures += 1,
            _ => *others += 1,
        }
    }
}

/// The area of the boxes of all pictures of picture elements, as far as they lie on the page.
fn area(group: &Group, (w, h): (f64, f64)) -> f64 {
    let of = |node: &Node| match node {
        Node::Group(inner) => area(inner, (w, h)),
        Node::Image(image) if !matches!(image.kind(), ImageKind::SVG(_)) => {
            let b = image.abs_bounding_box();
            let side =
                |from: f32, to: f32, page: f64| (f64::from(to).min(page) - f64::from(from).max(0.0)).max(0.0);
            side(b.left(), b.right(), w) * side(b.top(), b.bottom(), h)
        }
        _ => 0.0,
    };
    group.children().iter().map(of).sum()
}

/// Parses the bytes of an SVG, plain or compressed with gzip.
pub(super) fn parse(bytes: &[u8], patience: Patience, fonts: &Fonts) -> Result<Vector, Why> {
    let unpacked;
    let bytes = if bytes.starts_with(&[0x1F, 0x8B]) {
        unpacked = unpack(bytes)?;
        &unpacked
    } else {
        bytes
    };
    if bytes.len() as u64 > MAX_TEXT {
        return Err(Why::TooComplex(text!("art.complaint.long", size = MAX_TEXT >> 20)));
    }
    let text =
        std::str::from_utf8(bytes).map_err(|_| Why::BadDrawing(text!("art.reason.not-utf-8").into()))?;
    let text = text.trim_start_matches('\u{FEFF}').to_string();
    let fonts = fonts.clone();
    let parsed = watched(patience.drawing_s, move || {
        let asks = guard::check(&text)?;
        let (tree, notes, lettering) = tree(&text, &fonts)?;
        Ok((tree, notes, Lettering { flowed: asks.flowed, ..lettering }, asks.measured))
    });
    let (tree, notes, lettering, measured) = parsed.map_err(|stopped| match stopped {
        Stopped::Late => Why::late(patience.drawing_s),
        Stopped::GaveUp(words) => Why::BadDrawing(words),
    })??;
    Ok(Vector { measured, ..Vector::new(tree, Format::Svg, patience, notes, lettering) })
}

/// Parses a page, counted from 1, of the bytes of a PDF.
pub(super) fn parse_page(bytes: &[u8], page: usize, patience: Patience) -> Result<Vector, Why> {
    let bytes = bytes.to_vec();
    let parsed = watched(patience.drawing_s, move || {
        let converted = pdf::page(&bytes, page)?;
        if converted.text.len() as u64 > MAX_TEXT {
            return Err(Why::TooComplex(text!("art.complaint.long-pdf", size = MAX_TEXT >> 20)));
        }
        guard::check(&converted.text)?;
        let (tree, more, lettering) = tree(&converted.text, &Fonts::default())?;
        Ok((tree, [converted.notes, more].concat(), lettering))
    });
    let (tree, notes, lettering) = parsed.map_err(|stopped| match stopped {
        Stopped::Late => Why::late(patience.drawing_s),
        Stopped::GaveUp(_) => Why::Damaged(text!("art.reason.page").into()),
    })??;
    Ok(Vector::new(tree, Format::Pdf, patience, notes, lettering))
}

/// The text inside a file compressed with gzip.
fn unpack(bytes: &[u8]) -> Result<Vec<u8>, Why> {
    let mut out = Vec::new();
    let packed = flate2::read::MultiGzDecoder::new(bytes);
    packed.take(MAX_TEXT + 1).read_to_end(&mut out).map_err(|e| match e.kind() {
        std::io::ErrorKind::UnexpectedEof => Why::CutOff,
        _ => Why::Damaged(one_line(&text!("art.reason.compression", reason = e))),
    })?;
    if super::sniff::sniff(&out) != Ok(super::Format::Svg) && out.len() as u64 <= MAX_TEXT {
        return Err(Why::SomethingElse(text!("art.what.no-drawing")));
    }
    Ok(out)
}

/// The drawing as the library resolves it, and what a person should know of it.
fn tree(text: &str, fonts: &Fonts) -> Result<(Tree, Vec<Note>, Lettering), Why> {
    let missing = Mutex::new(Vec::new());
    let embedded = Mutex::new(Embedded::default());
    let keep = |why: Why| {
        let mut e = embedded.lock().unwrap_or_else(PoisonError::into_inner);
        e.fault.get_or_insert(why);
        None
    };
    let mut options = Options {
        font_family: "sans-serif".to_string(),
        fontdb: Arc::clone(&fonts.0),
        font_resolver: fonts::resolver(&missing),
        ..Options::default()
    };
    options.image_href_resolver = ImageHrefResolver {
        resolve_data: Box::new(|_, data, options| match embedded::picture(data, options, &embedded) {
            Ok(kind) => Some(kind),
            Err(why) => keep(why),
        }),
        resolve_string: Box::new(|target, _| keep(Why::Refers(one_line(target)))),
    };
    let parsed = Tree::from_str(text, &options).map_err(|e| Why::BadDrawing(one_line(&e.to_string())));
    drop(options);
    if let Some(fault) = embedded.into_inner().unwrap_or_else(PoisonError::into_inner).fault {
        return Err(fault);
    }
    let tree = parsed?;
    let (w, h) = (tree.size().width(), tree.size().height());
    if !(w.is_finite() && h.is_finite() && w > 0.0 && h > 0.0) {
        return Err(Why::NoSize);
    }
    let mut notes = Vec::new();
    let names = missing.into_inner().unwrap_or_else(PoisonError::into_inner);
    if !names.is_empty() {
        let names = names.iter().map(|n| format!("'{}'", one_line(n))).collect::<Vec<_>>().join(", ");
        notes.push(Note::choice(Said::two(
            text!("art.lettering.missing.line", names),
            text!("art.lettering.missing.page", names),
        )));
    }
    let lettering = Lettering::of(&tree);
    Ok((tree, notes, lettering))
}

#[cfg(test)]
mod tests {
    use crate::art::{Art, open};

    #[test]
    fn a_drawing_states_its_size_in_units_of_length_only() {
        let stated = |size: &str| {
            let text = format!("<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 90 20' {size}/>");
            let Art::Vector(drawing) = open(text.as_bytes(), "a drawing").unwrap() else { panic!() };
            drawing.stated_mm().map(|(w, h)| (w.round(), h.round()))
        };
        assert_eq!(stated("width='90mm' height='20mm'"), Some((90.0, 20.0)));
        assert_eq!(stated("width='9cm' height='2cm'"), Some((90.0, 20.0)));
        for size in ["", "width='90' height='20'", "width='90px' height='20px'", "width='90mm'"] {
            assert_eq!(stated(size), None, "{size}");
        }
    }
}
