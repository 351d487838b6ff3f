//! Lettering: what became of a drawing's text, which may lack glyphs or leave the page.

use std::collections::HashSet;
use std::sync::Arc;

use resvg::usvg::{FontResolver, Group, Node, Text, Tree};

/// Characters that are kept by name; more are not told apart by a person anyway.
const KEPT: usize = 24;
/// Lettering counts as leaving the page from this share of the page's side on: less is a serif's overhang.
const LEAST: f64 = 0.005;

/// What became of a drawing's text.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Lettering {
    /// Characters that no font at hand has, in the order of the text; they are drawn as empty boxes.
    pub missing: Vec<char>,
    /// How far text reaches past the page, as a share of the page's width or height, the larger of the two.
    pub past_page: Option<f64>,
    /// Whether there is text that flows in a frame, which the library does not set.
    pub flowed: bool,
}

/// Whether a character is seen: spaces, joiners and selectors of a variant have no shape of their own.
fn shows(c: char) -> bool {
    let joins =
        matches!(c, '\u{200B}'..='\u{200F}' | '\u{2060}'..='\u{2064}' | '\u{FE00}'..='\u{FE0F}' | '\u{FEFF}');
    !(c.is_whitespace() || c.is_control() || joins)
}

impl Lettering {
    /// Looks at all text of a drawing.
    pub(super) fn of(tree: &Tree) -> Lettering {
        let mut texts = Vec::new();
        gather(tree.root(), &mut texts);
        let (w, h) = (f64::from(tree.size().width()), f64::from(tree.size().height()));
        let past = texts.iter().map(|text| {
            let place = text.flattened().abs_stroke_bounding_box();
            let (left, top) = (f64::from(place.left()), f64::from(place.top()));
            let (right, bottom) = (f64::from(place.right()), f64::from(place.bottom()));
            ((-left).max(right - w) / w).max((-top).max(bottom - h) / h)
        });
        let most = past.fold(0.0, f64::max);
        Lettering {
            missing: missing(&texts, tree),
            past_page: (most >= LEAST).then_some(most),
            flowed: false,
        }
    }
}

/// The box of the outlines of all letters: the library's own box of a text is that of its lines.
pub(super) fn letters(tree: &Tree) -> Option<[f64; 4]> {
    let mut texts = Vec::new();
    gather(tree.root(), &mut texts);
    let boxes = texts.iter().filter(|t| t.flattened().has_children()).map(|t| {
        let b = t.flattened().abs_bounding_box();
        [b.left(), b.top(), b.right(), b.bottom()].map(f64::from)
    });
    boxes.reduce(|a, b| [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])])
}

/// The text nodes below a group, in the order of the drawing.
fn gather<'a>(group: &'a Group, texts: &mut Vec<&'a Text>) {
    for node in group.children() {
        match node {
            Node::Group(g) => gather(g, texts),
            Node::Text(t) => texts.push(t),
            Node::Path(_) | Node::Image(_) => {}
        }
    }
}

/// Characters that no font at hand has. The library looks no further than the first of a word, so each is asked for.
fn missing(texts: &[&Text], tree: &Tree) -> Vec<char> {
    let usual = FontResolver::default_fallback_selector();
    let mut fonts = Arc::clone(tree.fontdb());
    // The search passes over the font that is in use: with one and then another in use it sees them all.
    let in_use: Vec<_> = fonts.faces().take(2).map(|f| f.id).collect();
    let (mut seen, mut missing) = (HashSet::new(), Vec::new());
    let all = texts.iter().flat_map(|t| t.chunks()).flat_map(|c| c.text().chars());
    for c in all.filter(|&c| !c.is_ascii() && shows(c)) {
        if missing.len() < KEPT
            && seen.insert(c)
            && in_use.iter().all(|&f| usual(c, &[f], &mut fonts).is_none())
        {
            missing.push(c);
        }
    }
    missing
}

#[cfg(test)]
mod tests {
    use crate::art::Patience;
    use crate::art::vector::parse;

    /// The scripts that the shipped fonts are for, by Unicode's blocks; without the four letters of Middle Welsh, U+1EFA to
    /// U+1EFF.
    #[test]
    fn the_shipped_fonts_have_latin_greek_and_cyrillic() {
        let blocks = [0xA1..=0x17F, 0x386..=0x3CE, 0x400..=0x4FF, 0x1E00..=0x1EF9, 0x1F00..=0x1FFC];
        let all: Vec<char> = blocks.into_iter().flatten().filter_map(char::from_u32).collect();
        let letters: String = all.into_iter().filter(|c| c.is_alphabetic()).collect();
        assert!(letters.chars().count() > 900);
        assert_eq!(lettering(&letters).missing, Vec::<char>::new());
    }

    #[test]
    fn a_named_font_gives_what_the_shipped_ones_lack_and_no_other_is_touched() {
        let own = concat!(env!("CARGO_MANIFEST_DIR"), "/src/art/fonts/DejaVuSerif.ttf");
        let fonts = crate::art::vector::Fonts::with(own).unwrap();
        let svg = "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'><text y='9' font-family='DejaVu Serif'>A</text></svg>";
        let art = parse(svg.as_bytes(), Patience::default(), &fonts).unwrap();
        assert!(art.notes().is_empty(), "{:?}", art.notes());
        let svg = svg.replace("DejaVu Serif", "Pier");
        let art = parse(svg.as_bytes(), Patience::default(), &Default::default()).unwrap();
        let says = &art.notes()[0].says;
        assert!(says.contains("instead; name its file with --fonts, or turn lettering into"), "{says:?}");
        assert!(says.on_page().contains("instead; turn lettering into outlines"), "{says:?}");
    }

    fn lettering(text: &str) -> super::Lettering {
        let svg = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 200 100'><text x='100' y='60' font-size='40' \
             text-anchor='middle'>{text}</text></svg>"
        );
        parse(svg.as_bytes(), Patience::default(), &Default::default()).unwrap().lettering().clone()
    }

    #[test]
    fn characters_without_a_glyph_are_named_once_and_in_order() {
        assert_eq!(lettering("A 李伟 B 李").missing, ['李', '伟']);
        assert_eq!(lettering("Ingrid Sørli, Ελένη, Надежда\u{200D}").missing, Vec::<char>::new());
    }

    #[test]
    fn lettering_that_leaves_the_page_is_measured() {
        assert_eq!(lettering("Ingrid").past_page, None);
        let past = lettering("Bartholomew Quay").past_page.unwrap();
        // Some 360 units wide about the middle of 200: 80 past either side.
        assert!((0.3..0.6).contains(&past), "{past}");
    }
}
