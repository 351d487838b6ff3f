//! Fonts: the four faces that ship, and which of them stands in for a name that is not at hand.

use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use resvg::usvg::{FontFamily, FontResolver, fontdb};

const FONTS: [&[u8]; 4] = [
    include_bytes!("../fonts/DejaVuSans.ttf"),
    include_bytes!("../fonts/DejaVuSans-Bold.ttf"),
    include_bytes!("../fonts/DejaVuSerif.ttf"),
    include_bytes!("../fonts/DejaVuSerif-Bold.ttf"),
];

/// The four fonts that ship, loaded once.
pub(super) fn shipped() -> Arc<fontdb::Database> {
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

/// One of the four, by its look.
pub(super) fn face(serifs: bool, bold: bool) -> &'static [u8] {
    FONTS[2 * usize::from(serifs) + usize::from(bold)]
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

/// Picks a face by the first family at hand; where none is, one of the four shipped faces: by the first family that tells its kind, and by weight.
/// Names that were asked for and do not ship are put down in `missing`.
pub(super) fn resolver(missing: &Mutex<Vec<String>>) -> FontResolver<'_> {
    FontResolver {
        select_font: Box::new(move |font, db| {
            let style = match font.style() {
                resvg::usvg::FontStyle::Normal => fontdb::Style::Normal,
                resvg::usvg::FontStyle::Italic => fontdb::Style::Italic,
                resvg::usvg::FontStyle::Oblique => fontdb::Style::Oblique,
            };
            let (mut serifs, mut settled) = (None, false);
            for family in font.families() {
                let (kind, name) = match family {
                    FontFamily::Serif | FontFamily::Cursive => (true, None),
                    FontFamily::SansSerif | FontFamily::Monospace | FontFamily::Fantasy => (false, None),
                    FontFamily::Named(n) => (has_serifs(n), Some(n)),
                };
                let at_hand = name.filter(|_| db.len() > FONTS.len()).and_then(|n| {
                    db.query(&fontdb::Query {
                        families: &[fontdb::Family::Name(n)],
                        weight: fontdb::Weight(font.weight()),
                        stretch: fontdb::Stretch::Normal,
                        style,
                    })
                });
                if !settled && at_hand.is_some() {
                    return at_hand;
                }
                // What comes after a sort of face is for those who have none of it.
                settled |= name.is_none();
                // What is asked for where nothing is named comes by the name of its kind.
                let known = |n: &str| {
                    let n = n.to_lowercase();
                    n.starts_with("dejavu s") || n == "sans-serif"
                };
                if let Some(n) = name.filter(|n| !known(n)) {
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
