//! PDF: one page of a document, as the text of a drawing that then goes the way of every drawing.
//!
//! The library that reads a document knows no bounds, so that what the page asks for is found first: what its streams
//! unpack to, and how much it draws once its forms are followed.

use std::io::Read;
use std::panic::resume_unwind;
use std::sync::{Arc, Mutex, PoisonError};

use hayro_svg::hayro_interpret::font::{FontData, FontQuery, GlyphRun, StandardFont};
use hayro_svg::hayro_interpret::hayro_syntax::page::Page;
use hayro_svg::hayro_interpret::hayro_syntax::{DecryptionError, LoadPdfError, Pdf};
use hayro_svg::hayro_interpret::kurbo::{BezPath, Rect, Shape};
use hayro_svg::hayro_interpret::pattern::Pattern;
use hayro_svg::hayro_interpret::{
    BlendMode, ClipPath, Context, Device, DrawMode, DrawProps, Image, ImageDrawProps, InterpreterCache,
    InterpreterSettings, InterpreterWarning, Paint, SoftMask, TransformExt, interpret_page,
};
use hayro_svg::{RenderCache, SvgRenderSettings, convert};

use super::guard::MAX_DRAWN;
use super::{fonts, hairlines};
use crate::art::contain::contained;
use crate::art::error::{Why, one_line};
use crate::art::pages::taken;
use crate::note::Note;
use crate::texts::text;
use crate::units::{MM_PER_INCH, short};

/// A unit of a page, mm: 72 to the inch.
pub(super) const MM_PER_POINT: f64 = MM_PER_INCH / 72.0;

/// Most bytes that all streams of a document unpack to.
const MAX_UNPACKED: u64 = 512 << 20;
/// Most picture elements that a page shows, counted each time they are shown: they become text on the way.
const MAX_SHOWN: u64 = 64_000_000;
/// Most pieces of lines and curves on a page.
const MAX_PIECES: u64 = 10_000_000;

/// A page as the text of a drawing.
pub(super) struct Converted {
    /// The drawing.
    pub text: String,
    /// What a person should know.
    pub notes: Vec<Note>,
}

/// The page `number`, counted from 1, of the document in `bytes`.
pub(super) fn page(bytes: &[u8], number: usize) -> Result<Converted, Why> {
    unpacks_within_bounds(bytes)?;
    let pdf = Pdf::new(bytes.to_vec()).map_err(|e| match e {
        LoadPdfError::Decryption(DecryptionError::PasswordProtected) => Why::Locked,
        LoadPdfError::Decryption(_) => Why::Unsupported(text!("art.reason.encryption").into()),
        LoadPdfError::Invalid => Why::Damaged(text!("art.reason.no-pages").into()),
    })?;
    let pages = pdf.pages();
    let Some(page) = number.checked_sub(1).and_then(|i| pages.get(i)) else {
        return Err(Why::NoPage { asked: number, pages: pages.len() });
    };
    let heard = Arc::new(Mutex::new(Heard::default()));
    let settings = settings(&heard);
    weigh(page, &settings)?;
    let mut text = convert(page, &RenderCache::new(), &settings, &SvgRenderSettings::default());
    let mut notes = heard.lock().unwrap_or_else(PoisonError::into_inner).notes();
    let (width, height) = page.render_dimensions();
    if let Some((drawn, thin)) = hairlines::drawn(&text, width.max(height)) {
        text = drawn;
        let width = short(f64::from(thin) * MM_PER_POINT, 2);
        notes.push(Note::fact(text!("art.picture.hairlines", width)));
    }
    if let Some(taken) = taken(number, pages.len()) {
        notes.insert(0, taken);
    }
    Ok(Converted { text, notes })
}

/// What the library said while it read the page.
#[derive(Default)]
struct Heard {
    /// Fonts that are named and not in the document.
    absent: Vec<String>,
    /// Whether a font in the document could not be read.
    font: bool,
    /// Whether a picture in the document could not be read.
    picture: bool,
}

impl Heard {
    fn notes(&self) -> Vec<Note> {
        let mut notes = Vec::new();
        if !self.absent.is_empty() {
            let names: Vec<_> = self.absent.iter().map(|n| format!("'{}'", one_line(n))).collect();
            notes.push(Note::choice(text!("art.lettering.not-embedded", names = names.join(", "))));
        }
        if self.font {
            notes.push(Note::choice(text!("art.lettering.unreadable")));
        }
        if self.picture {
            notes.push(Note::choice(text!("art.picture.unreadable")));
        }
        notes
    }
}

fn settings(heard: &Arc<Mutex<Heard>>) -> InterpreterSettings {
    let (fonts_heard, warnings) = (Arc::clone(heard), Arc::clone(heard));
    InterpreterSettings {
        font_resolver: Arc::new(move |query| {
            let (name, font) = match query {
                FontQuery::Standard(font) => (font.postscript_name().to_string(), *font),
                FontQuery::Fallback(like) => {
                    let font = like.pick_standard_font();
                    let named = like.font_name.clone().or_else(|| like.post_script_name.clone());
                    (named.unwrap_or_else(|| font.postscript_name().to_string()), font)
                }
            };
            let mut heard = fonts_heard.lock().unwrap_or_else(PoisonError::into_inner);
            if !heard.absent.contains(&name) && heard.absent.len() < 8 {
                heard.absent.push(name);
            }
            let data: FontData = Arc::new(stand_in(font));
            Some((data, 0))
        }),
        warning_sink: Arc::new(move |warning| {
            let mut heard = warnings.lock().unwrap_or_else(PoisonError::into_inner);
            match warning {
                InterpreterWarning::UnsupportedFont => heard.font = true,
                InterpreterWarning::ImageDecodeFailure => heard.picture = true,
                _ => {}
            }
        }),
        ..InterpreterSettings::default()
    }
}

/// The shipped face that stands in for one of the fonts every reader of documents is expected to have.
fn stand_in(font: StandardFont) -> &'static [u8] {
    use StandardFont as F;
    let (serifs, bold) = match font {
        F::HelveticaBold | F::HelveticaBoldOblique | F::CourierBold | F::CourierBoldOblique => (false, true),
        F::TimesRoman | F::TimesItalic => (true, false),
        F::TimesBold | F::TimesBoldItalic => (true, true),
        _ => (false, false),
    };
    fonts::face(serifs, bold)
}

/// Refuses a page that asks for more to be drawn than the bounds allow.
fn weigh<'a>(page: &'a Page<'a>, settings: &InterpreterSettings) -> Result<(), Why> {
    let (width, height) = page.render_dimensions();
    let sound = |v: f32| v.is_finite() && v > 0.0;
    if !sound(width) || !sound(height) {
        return Err(Why::NoSize);
    }
    let mut scale = Scale::default();
    let done = contained(|| {
        let cache = InterpreterCache::new();
        let all = Rect::new(0.0, 0.0, width.into(), height.into());
        let upright = page.initial_transform(true).to_kurbo();
        let mut context = Context::new(upright, all, &cache, page.xref(), settings.clone());
        interpret_page(page, &mut context, &mut scale);
    });
    match (scale.beyond, done) {
        (Some(words), _) => Err(Why::TooComplex(words)),
        (None, None) => Err(Why::Damaged(text!("art.reason.page").into())),
        (None, Some(())) => Ok(()),
    }
}

/// A device that draws nothing and counts.
#[derive(Default)]
struct Scale {
    drawn: u64,
    pieces: u64,
    shown: u64,
    beyond: Option<String>,
}

impl Scale {
    fn add(&mut self, drawn: u64, pieces: u64, shown: u64) {
        self.drawn = self.drawn.saturating_add(drawn);
        self.pieces = self.pieces.saturating_add(pieces);
        self.shown = self.shown.saturating_add(shown);
        let beyond = if self.drawn > MAX_DRAWN {
            text!("art.complaint.pdf-things", most = MAX_DRAWN)
        } else if self.pieces > MAX_PIECES {
            text!("art.complaint.pdf-lines", most = MAX_PIECES)
        } else if self.shown > MAX_SHOWN {
            text!("art.complaint.pdf-pictures", megapixels = MAX_SHOWN / 1_000_000)
        } else {
            return;
        };
        self.beyond = Some(beyond);
        // The library asks nobody whether to go on; this leaves it, and says nothing on the way.
        resume_unwind(Box::new(()));
    }
}

impl<'a> Device<'a> for Scale {
    fn draw_path(&mut self, path: &BezPath, props: DrawProps<'a>, mode: &DrawMode) {
        self.add(1, path.elements().len() as u64, shaded(&props, path.bounding_box(), mode));
    }

    fn push_clip_path(&mut self, clip: &ClipPath) {
        self.add(1, clip.path.elements().len() as u64, 0);
    }

    fn push_transparency_group(&mut self, _: f32, _: Option<SoftMask<'a>>, _: BlendMode) {
        self.add(1, 0, 0);
    }

    fn draw_glyph_run(&mut self, run: &GlyphRun<'_, 'a>, props: DrawProps<'a>, mode: &DrawMode) {
        // Letters are drawn in thousandths of their size.
        let em = Rect::new(0.0, 0.0, 1000.0, 1000.0);
        let all = run.glyphs().iter().map(|g| {
            let placed = DrawProps { transform: props.transform * g.transform(), ..props.clone() };
            shaded(&placed, em, mode)
        });
        self.add(run.glyphs().len() as u64, 0, all.fold(0, u64::saturating_add));
    }

    fn draw_image(&mut self, image: Image<'a, '_>, _: ImageDrawProps<'a>) {
        self.add(1, 0, u64::from(image.width()) * u64::from(image.height()));
    }

    fn pop_clip(&mut self) {}

    fn pop_transparency_group(&mut self) {}
}

/// Elements of the picture that a shading becomes, of which there is one for each unit of the page that a path spans.
fn shaded(props: &DrawProps<'_>, of: Rect, mode: &DrawMode) -> u64 {
    let Paint::Pattern(pattern) = &props.paint else { return 0 };
    let Pattern::Shading(_) = pattern.as_ref() else { return 0 };
    let more = match mode {
        DrawMode::Stroke(stroke) | DrawMode::FillAndStroke(_, stroke) => f64::from(stroke.line_width),
        _ => 0.0,
    };
    let all = props.transform.transform_rect_bbox(of.inflate(more, more));
    // What is not a number is without end; the conversion ends at the most.
    let area = all.width() * all.height();
    if area.is_nan() { u64::MAX } else { area as u64 }
}

/// Refuses a document whose deflated streams come to more than is ever needed: each is unpacked here once and
/// dropped, wherever the document's own tables say that it lies.
fn unpacks_within_bounds(bytes: &[u8]) -> Result<(), Why> {
    const KEYWORD: &[u8] = b"stream";
    let mut left = MAX_UNPACKED;
    let mut at = 0;
    while let Some(step) = find(&bytes[at..], KEYWORD) {
        let keyword = at + step;
        at = keyword + KEYWORD.len();
        if bytes[..keyword].ends_with(b"end") {
            continue;
        }
        let head = &bytes[keyword.saturating_sub(2048)..keyword];
        let own = head.windows(3).rposition(|w| w == b"obj").map_or(head, |i| &head[i..]);
        let times = [&b"FlateDecode"[..], b"LZWDecode", b"RunLengthDecode"];
        let count: usize = times.iter().map(|&t| own.windows(t.len()).filter(|w| *w == t).count()).sum();
        if count > 1 {
            return Err(Why::TooComplex(text!("art.complaint.packed-twice").into()));
        }
        let data = bytes[at..].strip_prefix(b"\r").unwrap_or(&bytes[at..]);
        let data = data.strip_prefix(b"\n").unwrap_or(data);
        left -= unpacked(data, left);
        if left == 0 {
            return Err(Why::TooComplex(text!("art.complaint.unpacks", size = MAX_UNPACKED >> 20)));
        }
    }
    Ok(())
}

/// Where `what` begins in `bytes`.
fn find(bytes: &[u8], what: &[u8]) -> Option<usize> {
    bytes.windows(what.len()).position(|w| w == what)
}

/// How many bytes deflated data come to, at most `most`; 0 where they are something else.
fn unpacked(data: &[u8], most: u64) -> u64 {
    let mut from = flate2::read::ZlibDecoder::new(data).take(most);
    let (mut piece, mut sum) = ([0u8; 1 << 14], 0u64);
    // What ends in the middle counts as far as it came.
    while let Ok(n @ 1..) = from.read(&mut piece) {
        sum += n as u64;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::{Art, open};

    /// A document of one object after another, and its table.
    fn document(objects: &[&str]) -> Vec<u8> {
        let mut out = b"%PDF-1.4\n".to_vec();
        let mut places = Vec::new();
        for (i, object) in objects.iter().enumerate() {
            places.push(out.len());
            out.extend_from_slice(format!("{} 0 obj\n{object}\nendobj\n", i + 1).as_bytes());
        }
        let table = out.len();
        out.extend_from_slice(format!("xref\n0 {}\n0000000000 65535 f \n", objects.len() + 1).as_bytes());
        places.iter().for_each(|p| out.extend_from_slice(format!("{p:010} 00000 n \n").as_bytes()));
        let end =
            format!("trailer\n<< /Size {} /Root 1 0 R >>\nstartxref\n{table}\n%%EOF\n", objects.len() + 1);
        out.extend_from_slice(end.as_bytes());
        out
    }

    /// A document of pages, 100 x 50 points each, with what each draws and shared resources.
    fn pages(contents: &[&str], resources: &str, more: &[&str]) -> Vec<u8> {
        let kids: Vec<_> = (0..contents.len()).map(|i| format!("{} 0 R", 3 + 2 * i)).collect();
        let mut objects = vec![
            "<< /Type /Catalog /Pages 2 0 R >>".to_string(),
            format!("<< /Type /Pages /Kids [{}] /Count {} >>", kids.join(" "), kids.len()),
        ];
        for (i, content) in contents.iter().enumerate() {
            objects.push(format!(
                "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 100 50] /Resources << {resources} >> /Contents {} 0 R >>",
                4 + 2 * i
            ));
            objects.push(format!("<< /Length {} >>\nstream\n{content}\nendstream", content.len()));
        }
        objects.extend(more.iter().map(|m| m.to_string()));
        document(&objects.iter().map(String::as_str).collect::<Vec<_>>())
    }

    #[test]
    fn a_shading_over_a_rectangle_without_end_is_refused() {
        let page = "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 90 60] /Contents 4 0 R /Resources << /Pattern << /P << \
                    /PatternType 2 /Shading << /ShadingType 3 /ColorSpace /DeviceRGB /Coords [70 40 2 70 40 20] \
                    /Extend [true false] /Function << /FunctionType 2 /Domain [0 1] /C0 [0 0 0] /C1 [1 1 1] /N 1 >> >> >> >> >> >>";
        let of = |side: &str| {
            let drawn = format!("/Pattern cs /P scn 60 30 {side} 25 re f*");
            let stream = format!("<< /Length {} >>\nstream\n{drawn}\nendstream", drawn.len());
            let all = [
                "<< /Type /Catalog /Pages 2 0 R >>",
                "<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
                page,
                &stream,
            ];
            super::page(&document(&all), 1)
        };
        assert!(of("25").is_ok());
        assert!(matches!(of("4294967296"), Err(Why::TooComplex(_))));
    }

    #[test]
    fn the_chosen_page_becomes_a_drawing() {
        let two = pages(&["0 0 50 50 re f", "0 0 100 10 re f"], "", &[]);
        let first = page(&two, 1).unwrap();
        assert!(
            first.notes[0].says.contains("2 pages") && first.notes[0].says.contains("--page"),
            "{:?}",
            first.notes
        );
        assert_ne!(first.text, page(&two, 2).unwrap().text);
        for asked in [0, 3] {
            let said = page(&two, asked).err().unwrap().to_string();
            assert!(said.contains("--page 1 to --page 2"), "{said}");
        }
    }

    #[test]
    fn lettering_without_its_font_is_set_in_the_font_that_ships_and_says_so() {
        let font = "/Font << /F1 << /Type /Font /Subtype /Type1 /BaseFont /Helvetica >> >>";
        let made = page(&pages(&["BT /F1 20 Tf 5 20 Td (Harbour) Tj ET"], font, &[]), 1).unwrap();
        let told = |n: &Note| n.about.is_told() && n.says.contains("'Helvetica'");
        assert!(made.notes.iter().any(told), "{:?}", made.notes);
        // Seven letters, of which one comes twice.
        assert_eq!(made.text.matches("<use").count(), 7);
        assert!(made.text.matches("<path").count() >= 6);
    }

    #[test]
    fn a_line_of_no_width_is_a_thin_line_and_says_so() {
        let made = page(&pages(&["q 2 0 0 2 0 0 cm 0 w 5 5 m 45 20 l S Q"], "", &[]), 1).unwrap();
        // A thousandth of 100 points, drawn twice as large.
        assert!(made.text.contains("stroke-width=\"0.05\""), "{}", made.text);
        assert!(made.notes.iter().any(|n| n.says.contains("0.04 mm")), "{:?}", made.notes);
        let wide = page(&pages(&["2 w 5 5 m 45 20 l S"], "", &[]), 1).unwrap();
        assert!(wide.notes.is_empty() && wide.text.contains("stroke-width=\"2\""), "{:?}", wide.notes);
    }

    #[test]
    fn a_page_is_as_large_as_its_points() {
        let bytes = pages(&["10 10 20 20 re S"], "", &[]);
        let Art::Vector(drawing) = open(&bytes, "a page").unwrap() else { panic!() };
        let (width, height) = drawing.page_mm();
        assert!((width - 100.0 / 72.0 * 25.4).abs() < 1e-3 && (height - width / 2.0).abs() < 1e-3);
        let outline = drawing.closed_outlines()[0].sides;
        assert!((outline[2] - outline[0] - 20.0 / 72.0 * 25.4).abs() < 1e-3, "{outline:?}");
    }

    #[test]
    fn forms_that_draw_each_other_without_end_are_refused() {
        // Nine levels of ten: a thousand million squares out of three kilobytes.
        let form = |inner: String, draws: &str| {
            format!(
                "<< /Type /XObject /Subtype /Form /BBox [0 0 100 50] /Resources << {inner} >> /Length {} >>\n\
                 stream\n{draws}\nendstream",
                draws.len()
            )
        };
        let ten = "/X Do ".repeat(10);
        let mut more: Vec<String> =
            (6..14).map(|next| form(format!("/XObject << /X {next} 0 R >>"), &ten)).collect();
        more.push(form(String::new(), "0 0 1 1 re f"));
        let more: Vec<&str> = more.iter().map(String::as_str).collect();
        let said = page(&pages(&[&ten], "/XObject << /X 5 0 R >>", &more), 1).err().unwrap().to_string();
        assert!(said.starts_with("draws more than"), "{said}");
    }

    #[test]
    fn a_stream_that_unpacks_without_end_is_refused_before_it_is_unpacked() {
        use std::io::Write;
        let mut packed = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::fast());
        let zeros = vec![b' '; 1 << 20];
        (0..=512).for_each(|_| packed.write_all(&zeros).unwrap());
        let packed = packed.finish().unwrap();
        let mut bomb =
            format!("%PDF-1.4\n1 0 obj\n<< /Filter /FlateDecode /Length {} >>\nstream\n", packed.len())
                .into_bytes();
        bomb.extend_from_slice(&packed);
        let said = page(&bomb, 1).err().unwrap().to_string();
        assert!(said.contains("unpacks to more than 512 MiB"), "{said}");
        let twice = b"%PDF-1.4\n1 0 obj\n<< /Filter [/FlateDecode /FlateDecode] >>\nstream\nx\nendstream";
        assert!(page(twice, 1).err().unwrap().to_string().contains("more than once"));
    }

    #[test]
    fn broken_documents_are_refused_in_a_sentence() {
        let whole = pages(&["0 0 50 50 re f"], "", &[]);
        assert!(page(b"%PDF-1.7\n", 1).is_err());
        assert!(page(&whole[..60], 1).is_err());
        let flat = String::from_utf8(whole).unwrap().replace("[0 0 100 50]", "[0 0 100 00]");
        // A page without a height is read as one of the usual size, or refused: never drawn as nothing.
        assert!(page(flat.as_bytes(), 1).map_or(true, |c| c.text.contains("viewBox")));
    }
}
