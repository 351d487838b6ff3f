//! The guard before a drawing is parsed: how deep it nests, how much it draws, what it refers to.
//!
//! The drawing library walks a drawing recursively, so depth is bounded before it sees the file.
//! References (`use`, patterns, masks, markers, clip paths, filters) multiply what is drawn: eight
//! levels of ten uses are a hundred million elements out of a kilobyte.

use std::collections::HashMap;

use resvg::usvg::roxmltree::{Document, Node, NodeId, NodeType, ParsingOptions};

use super::entities::expanded;
use super::style::{Sheet, Times, declared, targets};
use crate::art::error::{Why, one_line};
use crate::texts::text;

/// Longest text of a drawing, also after decompression and with its entities replaced.
pub(super) const MAX_TEXT: u64 = 64 << 20;
/// Deepest nesting of elements, references included.
const MAX_DEPTH: u32 = 256;
/// Most elements drawn once every reference is followed.
pub(super) const MAX_DRAWN: u64 = 1_000_000;
/// Most letters set once every reference is followed: twenty pages of a book. Each takes the library some
/// 60 µs, and a kilobyte of memory.
const MAX_LETTERS: u64 = 50_000;
/// Greatest number in a path's data. The library cuts an arc into the more pieces the greater its radii are, without
/// bound: of a radius of 1e38 a gigabyte.
const MAX_NUMBER: f64 = 1e9;
/// Longest style sheets, all together: the library tries each of their rules on each element.
const MAX_STYLE: usize = 1 << 20;

/// Counts the depth of tags in raw text, without a parser that could be led into the depths itself.
/// Tags inside comments, CDATA and quotes are not told apart from others in every odd case; the
/// count only has to catch drawings that nest without end.
fn raw_depth(text: &str) -> u32 {
    let bytes = text.as_bytes();
    let (mut depth, mut deepest, mut at) = (0u32, 0u32, 0usize);
    while let Some(open) = bytes.get(at..).and_then(|b| b.iter().position(|&c| c == b'<')) {
        let start = at + open;
        let rest = &text.as_bytes()[start..];
        let skip_to = |end: &str| text.get(start..).and_then(|t| t.find(end)).map(|i| start + i + end.len());
        if rest.starts_with(b"<!--") {
            at = skip_to("-->").unwrap_or(bytes.len());
            continue;
        }
        if rest.starts_with(b"<![CDATA[") {
            at = skip_to("]]>").unwrap_or(bytes.len());
            continue;
        }
        let close = rest.iter().position(|&c| c == b'>').unwrap_or(rest.len());
        match rest.get(1) {
            Some(b'/') => depth = depth.saturating_sub(1),
            Some(b'!' | b'?') => {}
            _ if rest.get(..close).is_some_and(|tag| tag.ends_with(b"/")) => deepest = deepest.max(depth + 1),
            _ => {
                depth += 1;
                deepest = deepest.max(depth);
            }
        }
        at = start + close.max(1);
    }
    deepest
}

/// Refuses a drawing beyond the bounds, or one that refers outside itself; what it asks to be drawn.
pub(super) fn check(text: &str) -> Result<Weight, Why> {
    if raw_depth(text) > MAX_DEPTH {
        return Err(Why::TooComplex(text!("art.complaint.deep", depth = MAX_DEPTH)));
    }
    match expanded(text) {
        None => return Err(Why::BadDrawing(text!("art.reason.entity").into())),
        Some(n) if n > MAX_TEXT => {
            return Err(Why::TooComplex(text!("art.complaint.long-entities", size = MAX_TEXT >> 20)));
        }
        Some(_) => {}
    }
    let options = ParsingOptions { allow_dtd: true, nodes_limit: 2 * MAX_DRAWN as u32, ..Default::default() };
    let doc =
        Document::parse_with_options(text, options).map_err(|e| Why::BadDrawing(one_line(&e.to_string())))?;
    if doc.root_element().tag_name().name() != "svg" {
        return Err(Why::BadDrawing(text!(
            "art.reason.outermost",
            name = one_line(doc.root_element().tag_name().name())
        )));
    }
    if let Some(target) = doc.descendants().find_map(outside) {
        return Err(Why::Refers(one_line(target)));
    }
    if doc.descendants().filter_map(|n| n.attribute("d")).any(|d| greatest(d) > MAX_NUMBER) {
        return Err(Why::TooComplex(text!("art.complaint.great-number").into()));
    }
    let mut ids: HashMap<&str, Node> = HashMap::new();
    for node in doc.descendants() {
        if let Some(id) = node.attribute("id") {
            ids.entry(id).or_insert(node);
        }
    }
    let styles = || doc.descendants().filter(|n| n.tag_name().name() == "style").filter_map(|n| n.text());
    if styles().map(str::len).sum::<usize>() > MAX_STYLE {
        return Err(Why::TooComplex(text!("art.complaint.styles", size = MAX_STYLE >> 20)));
    }
    let weight = weigh(doc.root_element(), &ids, &Sheet::new(styles()))?;
    let measured = measured(doc.root_element());
    Ok(Weight { flowed: doc.descendants().any(flows), measured, ..weight })
}

/// Whether a drawing says how large it is in units of length; pixels are none, and points are what programs make of pixels.
fn measured(root: Node) -> bool {
    let length = |v: &str| ["mm", "cm", "in"].iter().any(|unit| v.trim_end().ends_with(unit));
    ["width", "height"].iter().all(|side| root.attribute(*side).is_some_and(length))
}

/// Whether an element is text that flows in a frame, which only a browser sets, with nothing else in its place.
fn flows(node: Node) -> bool {
    let framed = matches!(node.tag_name().name(), "foreignObject" | "flowRoot");
    let words =
        |n: Node| n.descendants().any(|d| d.is_text() && d.text().is_some_and(|t| !t.trim().is_empty()));
    let other = |n: Node| n.is_element() && n.tag_name().name() != "foreignObject";
    let replaced = node.parent().is_some_and(|p| p.tag_name().name() == "switch" && p.children().any(other));
    framed && !replaced && words(node)
}

/// The greatest number in a path's data, without its sign.
fn greatest(data: &str) -> f64 {
    let bytes = data.as_bytes();
    let (mut at, mut greatest) = (0, 0.0f64);
    let digits = |mut i: usize| {
        while bytes.get(i).is_some_and(u8::is_ascii_digit) {
            i += 1;
        }
        i
    };
    while let Some(step) = bytes.get(at..).and_then(|b| b.iter().position(u8::is_ascii_digit)) {
        let start = at + step;
        let mut end = digits(start);
        if bytes.get(end) == Some(&b'.') {
            end = digits(end + 1);
        }
        if matches!(bytes.get(end), Some(b'e' | b'E')) {
            let signed = end + 1 + usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
            if digits(signed) > signed {
                end = digits(signed);
            }
        }
        greatest = greatest.max(data[start..end].parse().unwrap_or(0.0));
        at = end;
    }
    greatest
}

fn href<'a>(node: Node<'a, '_>) -> Option<&'a str> {
    node.attributes().find(|a| a.name() == "href").map(|a| a.value().trim())
}

/// The target of an element that would have to be fetched from elsewhere.
fn outside<'a>(node: Node<'a, '_>) -> Option<&'a str> {
    let fetches = matches!(
        node.tag_name().name(),
        "image"
            | "use"
            | "feImage"
            | "pattern"
            | "linearGradient"
            | "radialGradient"
            | "textPath"
            | "tref"
            | "filter"
    );
    let target = href(node).filter(|_| fetches)?;
    let inside = target.is_empty()
        || target.starts_with('#')
        || target.get(..5).is_some_and(|d| d.eq_ignore_ascii_case("data:"));
    (!inside).then_some(target)
}

/// Elements that an element refers to and that are drawn with it, and how often.
fn references<'a, 'n>(
    node: Node<'a, 'n>,
    ids: &HashMap<&'a str, Node<'a, 'n>>,
    sheet: &Sheet<'a>,
) -> Vec<(Link, Node<'a, 'n>)> {
    let mut out = Vec::new();
    let mut add = |link: Link, id: &str| out.extend(ids.get(id).map(|n| (link, *n)));
    let drawn = matches!(
        node.tag_name().name(),
        "use" | "pattern" | "linearGradient" | "radialGradient" | "textPath" | "tref" | "feImage"
    );
    if drawn && let Some(id) = href(node).and_then(|h| h.strip_prefix('#')) {
        add(Link::Part, id);
    }
    for a in node.attributes().filter(|a| a.name() != "href") {
        if a.name() == "style" {
            declared(a.value()).for_each(|(times, id)| add(Link::Refers(times), id));
        } else {
            targets(a.value()).for_each(|id| add(Link::Refers(Times::of(a.name())), id));
        }
    }
    sheet.of(node).for_each(|(times, id)| add(Link::Refers(times), id));
    out
}

/// How one element belongs to another.
#[derive(Clone, Copy)]
enum Link {
    /// It is a child, or what a `use` shows: part of it.
    Part,
    /// It is drawn with the other by a property.
    Refers(Times),
}

/// What an element asks to be drawn, its references followed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Weight {
    /// Elements.
    pub drawn: u64,
    /// Shapes in it that inherit a fill.
    shapes: u64,
    /// Corners of those shapes, at each of which a marker may stand.
    corners: u64,
    /// Letters set.
    letters: u64,
    /// Elements in each other.
    depth: u32,
    /// Whether there is text that flows in a frame, which is not drawn.
    pub flowed: bool,
    /// Whether its size is said in units of length.
    pub measured: bool,
}

impl Weight {
    /// The element alone.
    fn own(node: Node) -> Weight {
        let name = node.tag_name().name();
        let numbers = |attribute: &str| {
            let breaks = |c: char| !(c.is_ascii_digit() || c == '.');
            node.attribute(attribute).map_or(0, |v| v.split(breaks).filter(|n| !n.is_empty()).count() as u64)
        };
        let shape = matches!(
            name,
            "path" | "rect" | "circle" | "ellipse" | "line" | "polyline" | "polygon" | "text" | "tspan"
        );
        let corners = match name {
            "path" => numbers("d") + 1,
            "polyline" | "polygon" => numbers("points") + 1,
            "line" => 2,
            _ => 0,
        };
        let letters = if matches!(name, "text" | "tspan" | "textPath" | "tref" | "a") {
            let texts = node.children().filter(|c| c.is_text()).filter_map(|c| c.text());
            texts.map(|t| t.chars().count() as u64).sum()
        } else {
            0
        };
        Weight {
            drawn: 1,
            shapes: u64::from(shape),
            corners,
            letters,
            depth: 1,
            flowed: false,
            measured: false,
        }
    }

    /// Takes in a part.
    fn part(&mut self, w: &Weight) {
        self.shapes = self.shapes.saturating_add(w.shapes);
        self.corners = self.corners.saturating_add(w.corners);
        self.times(w, 1);
    }

    /// Takes in what is drawn so many times with it, and inherits nothing.
    fn times(&mut self, w: &Weight, n: u64) {
        self.drawn = self.drawn.saturating_add(w.drawn.saturating_mul(n));
        self.letters = self.letters.saturating_add(w.letters.saturating_mul(n));
        self.depth = self.depth.max(w.depth + 1);
    }

    /// Refuses what is beyond the bounds.
    fn within(self) -> Result<Weight, Why> {
        let complaint = if self.drawn > MAX_DRAWN {
            text!("art.complaint.elements", most = MAX_DRAWN)
        } else if self.letters > MAX_LETTERS {
            text!("art.complaint.letters", most = MAX_LETTERS)
        } else if self.depth > MAX_DEPTH {
            text!("art.complaint.deep", depth = MAX_DEPTH)
        } else {
            return Ok(self);
        };
        Err(Why::TooComplex(complaint))
    }
}

/// An element on the way down, and the elements below it.
struct Step<'a, 'n> {
    node: Node<'a, 'n>,
    below: Vec<(Link, Node<'a, 'n>)>,
    next: usize,
}

/// Walks elements and references without recursion; circles, depth and number are bounded.
fn weigh<'a, 'n>(
    root: Node<'a, 'n>,
    ids: &HashMap<&'a str, Node<'a, 'n>>,
    sheet: &Sheet<'a>,
) -> Result<Weight, Why> {
    // `None` while an element is open: meeting it again then closes a circle.
    let mut seen: HashMap<NodeId, Option<Weight>> = HashMap::new();
    let step = |node: Node<'a, 'n>| {
        let mut below: Vec<_> =
            node.children().filter(|c| c.node_type() == NodeType::Element).map(|c| (Link::Part, c)).collect();
        below.extend(references(node, ids, sheet));
        Step { node, below, next: 0 }
    };
    seen.insert(root.id(), None);
    let mut path = vec![step(root)];
    while let Some(top) = path.last_mut() {
        if let Some(&(_, node)) = top.below.get(top.next) {
            match seen.get(&node.id()) {
                Some(None) => {
                    let id = one_line(node.attribute("id").unwrap_or_default());
                    return Err(Why::TooComplex(text!("art.complaint.circle", id)));
                }
                Some(Some(_)) => top.next += 1,
                None => {
                    seen.insert(node.id(), None);
                    path.push(step(node));
                }
            }
            if path.len() as u32 > MAX_DEPTH {
                return Err(Why::TooComplex(text!("art.complaint.deep", depth = MAX_DEPTH)));
            }
            continue;
        }
        let mut weight = Weight::own(top.node);
        let of = |node: &Node| seen.get(&node.id()).copied().flatten();
        for w in top.below.iter().filter(|(l, _)| matches!(l, Link::Part)).filter_map(|(_, n)| of(n)) {
            weight.part(&w);
        }
        let (shapes, corners) = (weight.shapes, weight.corners);
        for (link, node) in &top.below {
            let (Link::Refers(times), Some(w)) = (link, of(node)) else { continue };
            let n = match times {
                Times::Once => 1,
                Times::EachShape => shapes,
                Times::EachCorner => corners,
            };
            weight.times(&w, n);
        }
        let weight = weight.within()?;
        seen.insert(top.node.id(), Some(weight));
        path.pop();
        if path.is_empty() {
            return Ok(weight);
        }
    }
    Ok(Weight::own(root))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn svg(body: &str) -> String {
        format!(
            "<svg xmlns='http://www.w3.org/2000/svg' xmlns:xlink='http://www.w3.org/1999/xlink'>{body}</svg>"
        )
    }

    #[test]
    fn an_ordinary_drawing_passes() {
        let text = svg("<defs><linearGradient id='g'/><g id='a'><rect/></g></defs>\
             <a href='https://example.org'><use xlink:href='#a' fill='url(#g)'/></a><use href='#a'/>");
        check(&text).unwrap();
    }

    #[test]
    fn endless_nesting_is_refused_before_it_is_parsed() {
        let deep = format!("{}{}", "<g>".repeat(100_000), "</g>".repeat(100_000));
        assert!(check(&svg(&deep)).unwrap_err().to_string().contains("more than 256 deep"));
        assert!(check(&svg(&"<g>".repeat(100_000))).is_err());
    }

    #[test]
    fn circles_are_refused_and_named() {
        for body in [
            "<g id='a'><use href='#a'/></g>",
            "<g id='a'><use href='#b'/></g><g id='b'><use href='#a'/></g>",
            "<pattern id='a'><rect fill='url(#a)'/></pattern>",
            "<mask id='a'><rect style='mask:url( \"#a\" )'/></mask>",
        ] {
            let said = check(&svg(body)).unwrap_err().to_string();
            assert!(said.contains("in a circle"), "{body}: {said}");
        }
    }

    #[test]
    fn references_that_multiply_are_refused() {
        let mut body = "<g id='l0'><rect/></g>".to_string();
        for level in 1..=8 {
            let uses = format!("<use href='#l{}'/>", level - 1).repeat(10);
            body += &format!("<g id='l{level}'>{uses}</g>");
        }
        assert!(check(&svg(&body)).unwrap_err().to_string().contains("more than 1000000 elements"));
    }

    #[test]
    fn what_is_inherited_is_counted_for_each_shape_and_each_corner() {
        let many = |n: usize, element: &str| element.repeat(n);
        let heavy = many(2000, "<rect/>");
        for (name, body) in [
            (
                "a marker at each corner",
                format!(
                    "<marker id='m'>{heavy}</marker><g marker-mid='url(#m)'><path d='M0 0{}'/></g>",
                    many(600, "L1 1")
                ),
            ),
            (
                "a pattern for each shape",
                format!("<pattern id='p'>{heavy}</pattern><g fill='url(#p)'>{}</g>", many(600, "<rect/>")),
            ),
            (
                "a pattern by a style sheet",
                format!(
                    "<style>.a rect{{fill:url(#p)}}</style><pattern id='p'>{heavy}</pattern><g class='a'>{}</g>",
                    many(600, "<rect/>")
                ),
            ),
            (
                "a pattern by a style",
                format!(
                    "<pattern id='p'>{heavy}</pattern><g style='fill: url(\"#p\")'>{}</g>",
                    many(600, "<rect/>")
                ),
            ),
        ] {
            let said = check(&svg(&body)).map(|w| w.drawn).unwrap_err().to_string();
            assert!(said.contains("more than 1000000 elements"), "{name}: {said}");
        }
        // A style sheet with a gradient for each of many shapes is ordinary.
        let ordinary = format!(
            "<style>.a{{fill:url(#g)}}</style><linearGradient id='g'><stop/><stop/></linearGradient>{}",
            many(5000, "<rect class='a'/>")
        );
        assert!((20_000..21_000).contains(&check(&svg(&ordinary)).unwrap().drawn));
    }

    #[test]
    fn letters_are_counted_once_their_references_are_followed() {
        let page = "ahoy ".repeat(2000);
        assert_eq!(check(&svg(&format!("<text>{page}</text>"))).unwrap().letters, 10_000);
        let book = format!("<text id='t'>{page}</text>{}", "<use href='#t'/>".repeat(5));
        assert!(check(&svg(&book)).unwrap_err().to_string().contains("more than 50000 letters"));
        // What is not set is not counted.
        check(&svg(&format!("<desc>{}</desc>", "ahoy ".repeat(20_000)))).unwrap();
    }

    #[test]
    fn numbers_in_path_data_are_held_within_bounds() {
        for (data, want) in
            [("M0 0L12.5-7e2.5", 700.0), ("", 0.0), ("A1e38,-5 0 10.5.25", 1e38), ("M1ex-2E+3", 2000.0)]
        {
            assert_eq!(greatest(data), want, "{data}");
        }
        let said = check(&svg("<path d='M0 0A1 -5e36 0 1 0 20 24'/>")).unwrap_err().to_string();
        assert!(said.contains("a path with a number of more than a thousand million"), "{said}");
        check(&svg("<path d='M-1e9 0h2000000000e-1'/>")).unwrap();
    }

    #[test]
    fn targets_outside_are_named() {
        for target in
            ["photo.jpg", "/etc/passwd", "https://example.org/a.png", "file:///a.png", "other.svg#a"]
        {
            let said = check(&svg(&format!("<image href='{target}'/>"))).unwrap_err().to_string();
            assert!(said.contains(target) && said.contains("never followed"), "{said}");
        }
        assert!(check(&svg("<use xlink:href='other.svg#a'/>")).is_err());
    }
}
