//! Drawings: SVG parsed with the fonts that ship, and nothing from the machine or the network.

use std::io::Read;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use resvg::usvg::{self, FontFamily, FontResolver, ImageHrefResolver, ImageKind, Options, Tree, fontdb};

use super::guard::{MAX_TEXT, check};
use super::open::{MAX_BYTES, MAX_PIXELS, Why, one_line};

/// Stack of the thread that parses or draws: both walk the drawing recursively, up to the guard's
/// depth. Only what is touched is taken from memory.
pub(super) const STACK: usize = 256 << 20;

/// Most bytes of the pictures embedded in one drawing, once decoded (four bytes a picture element).
const MAX_EMBEDDED: u64 = MAX_BYTES / 2;

const FONTS: [&[u8]; 4] = [
    include_bytes!("fonts/DejaVuSans.ttf"),
    include_bytes!("fonts/DejaVuSans-Bold.ttf"),
    include_bytes!("fonts/DejaVuSerif.ttf"),
    include_bytes!("fonts/DejaVuSerif-Bold.ttf"),
];

/// A parsed drawing, resolved and ready to be drawn at any density.
#[derive(Debug, Clone)]
pub struct Vector {
    pub(super) tree: Arc<Tree>,
    notes: Vec<String>,
}

impl Vector {
    /// Width and height in user units; never zero.
    pub fn size(&self) -> (f64, f64) {
        (f64::from(self.tree.size().width()), f64::from(self.tree.size().height()))
    }

    pub(super) fn notes(&self) -> &[String] {
        &self.notes
    }
}

/// The four fonts that ship, loaded once.
fn fonts() -> Arc<fontdb::Database> {
    static LOADED: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    Arc::clone(LOADED.get_or_init(|| {
        let mut db = fontdb::Database::new();
        for font in FONTS {
            db.load_font_source(fontdb::Source::Binary(Arc::new(font)));
        }
        db.set_sans_serif_family("DejaVu Sans");
        db.set_monospace_family("DejaVu Sans");
        db.set_serif_family("DejaVu Serif");
        db.set_cursive_family("DejaVu Serif");
        db.set_fantasy_family("DejaVu Sans");
        Arc::new(db)
    }))
}

/// Whether a family name belongs to a face with serifs, by the names that are common in drawings.
fn has_serifs(name: &str) -> bool {
    let name = name.to_lowercase();
    let known = [
        "serif",
        "times",
        "georgia",
        "garamond",
        "roman",
        "bodoni",
        "baskerville",
        "palatino",
        "cambria",
        "caslon",
        "didot",
        "minion",
        "merriweather",
        "playfair",
        "book",
        "antiqua",
        "slab",
    ];
    !name.contains("sans") && known.iter().any(|k| name.contains(k))
}

/// Picks one of the four shipped faces: by the first family that tells its kind, and by weight.
/// Names that were asked for and do not ship are put down in `missing`.
fn resolver(missing: &Mutex<Vec<String>>) -> FontResolver<'_> {
    FontResolver {
        select_font: Box::new(move |font, db| {
            let mut serifs = None;
            for family in font.families() {
                let (kind, name) = match family {
                    FontFamily::Serif | FontFamily::Cursive => (true, None),
                    FontFamily::SansSerif | FontFamily::Monospace | FontFamily::Fantasy => (false, None),
                    FontFamily::Named(n) => (has_serifs(n), Some(n)),
                };
                if let Some(n) = name.filter(|n| !n.to_lowercase().starts_with("dejavu s")) {
                    let mut names = missing.lock().unwrap_or_else(PoisonError::into_inner);
                    if !names.contains(n) && names.len() < 8 {
                        names.push(n.clone());
                    }
                }
                serifs.get_or_insert(kind);
            }
            let family = if serifs.unwrap_or(false) { "DejaVu Serif" } else { "DejaVu Sans" };
            let query = fontdb::Query {
                families: &[fontdb::Family::Name(family)],
                weight: fontdb::Weight(if font.weight() >= 600 { 700 } else { 400 }),
                stretch: fontdb::Stretch::Normal,
                style: fontdb::Style::Normal,
            };
            db.query(&query)
        }),
        select_fallback: FontResolver::default_fallback_selector(),
    }
}

/// Parses the bytes of an SVG, plain or compressed with gzip.
pub(super) fn parse(bytes: &[u8]) -> Result<Vector, Why> {
    let unpacked;
    let bytes = if bytes.starts_with(&[0x1F, 0x8B]) {
        unpacked = unpack(bytes)?;
        &unpacked
    } else {
        bytes
    };
    if bytes.len() as u64 > MAX_TEXT {
        return Err(Why::TooComplex(format!("is longer than {} MiB", MAX_TEXT >> 20)));
    }
    let text = std::str::from_utf8(bytes).map_err(|_| Why::BadDrawing("its text is not UTF-8".into()))?;
    let text = text.trim_start_matches('\u{FEFF}');
    check(text)?;
    deep(|| tree(text))?
}

/// Runs `work` on a thread with a stack deep enough for the deepest drawing that passes the guard.
pub(super) fn deep<R: Send>(work: impl FnOnce() -> R + Send) -> Result<R, Why> {
    std::thread::scope(|scope| {
        let thread = std::thread::Builder::new().stack_size(STACK).spawn_scoped(scope, work);
        let thread = thread.map_err(|e| Why::BadDrawing(format!("no thread can be had for it: {e}")))?;
        thread.join().map_err(|_| Why::BadDrawing("the drawing library gave up on it".into()))
    })
}

fn unpack(bytes: &[u8]) -> Result<Vec<u8>, Why> {
    let mut out = Vec::new();
    let packed = flate2::read::MultiGzDecoder::new(bytes);
    packed.take(MAX_TEXT + 1).read_to_end(&mut out).map_err(|e| match e.kind() {
        std::io::ErrorKind::UnexpectedEof => Why::CutOff,
        _ => Why::Damaged(one_line(&format!("its compression is broken: {e}"))),
    })?;
    if super::sniff::sniff(&out) != Ok(super::Format::Svg) && out.len() as u64 <= MAX_TEXT {
        return Err(Why::SomethingElse("a compressed file without a drawing in it"));
    }
    Ok(out)
}

/// What the hooks of the parser put down: they cannot fail, so the first fault is kept here.
#[derive(Default)]
struct Embedded {
    fault: Option<Why>,
    bytes: u64,
}

fn tree(text: &str) -> Result<Vector, Why> {
    let missing = Mutex::new(Vec::new());
    let embedded = Mutex::new(Embedded::default());
    let keep = |why: Why| {
        let mut e = embedded.lock().unwrap_or_else(PoisonError::into_inner);
        e.fault.get_or_insert(why);
        None
    };
    let mut options = Options {
        font_family: "sans-serif".to_string(),
        fontdb: fonts(),
        font_resolver: resolver(&missing),
        ..Options::default()
    };
    options.image_href_resolver = ImageHrefResolver {
        resolve_data: Box::new(|_, data, options| match embedded_picture(data, options, &embedded) {
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
        notes.push(format!(
            "its lettering asks for {}, which does not ship: DejaVu was used instead; turn lettering into outlines to keep its look",
            names.iter().map(|n| format!("'{}'", one_line(n))).collect::<Vec<_>>().join(", ")
        ));
    }
    Ok(Vector { tree: Arc::new(tree), notes })
}

/// A picture embedded as a `data:` address, within bounds: its header is read before anything is decoded.
fn embedded_picture(data: Arc<Vec<u8>>, options: &Options, sum: &Mutex<Embedded>) -> Result<ImageKind, Why> {
    use super::Format;
    let format = super::sniff::sniff(&data)
        .map_err(|_| Why::BadDrawing("a picture embedded in it is of no known kind".into()))?;
    let image_format = match format {
        Format::Jpeg => image::ImageFormat::Jpeg,
        Format::Png => image::ImageFormat::Png,
        Format::Gif => image::ImageFormat::Gif,
        Format::WebP => image::ImageFormat::WebP,
        Format::Svg => {
            let text = if data.starts_with(&[0x1F, 0x8B]) { unpack(&data)? } else { data.to_vec() };
            let text = std::str::from_utf8(&text)
                .map_err(|_| Why::BadDrawing("a drawing embedded in it is not UTF-8".into()))?;
            check(text)?;
            let tree = usvg::Tree::from_data_nested(text.as_bytes(), options)
                .map_err(|e| Why::BadDrawing(one_line(&format!("a drawing embedded in it: {e}"))))?;
            return Ok(ImageKind::SVG(tree));
        }
        Format::Tiff | Format::Bmp => {
            return Err(Why::BadDrawing(format!(
                "a {format} picture is embedded in it; embed a PNG instead"
            )));
        }
    };
    let mut reader = image::ImageReader::with_format(std::io::Cursor::new(data.as_slice()), image_format);
    reader.no_limits();
    let (w, h) = reader
        .into_dimensions()
        .map_err(|e| Why::BadDrawing(one_line(&format!("a picture embedded in it is damaged: {e}"))))?;
    let pixels = u64::from(w) * u64::from(h);
    let mut sum = sum.lock().unwrap_or_else(PoisonError::into_inner);
    sum.bytes = sum.bytes.saturating_add(pixels * 4);
    if pixels > MAX_PIXELS || sum.bytes > MAX_EMBEDDED {
        return Err(Why::TooLarge { width: w.into(), height: h.into(), need: sum.bytes });
    }
    drop(sum);
    Ok(match format {
        Format::Jpeg => ImageKind::JPEG(data),
        Format::Png => ImageKind::PNG(data),
        Format::Gif => ImageKind::GIF(data),
        _ => ImageKind::WEBP(data),
    })
}
