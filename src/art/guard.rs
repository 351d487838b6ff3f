//! The guard before a drawing is parsed: how deep it nests, how much it draws, what it refers to.
//!
//! The drawing library walks a drawing recursively, so depth is bounded before it sees the file.
//! References (`use`, patterns, masks, markers, clip paths, filters) multiply what is drawn: eight
//! levels of ten uses are a hundred million elements out of a kilobyte.

use std::collections::HashMap;

use resvg::usvg::roxmltree::{Document, Node, NodeType, ParsingOptions};

use super::open::{Why, one_line};

/// Longest text of a drawing, also after decompression.
pub(super) const MAX_TEXT: u64 = 64 << 20;
/// Deepest nesting of elements, references included.
const MAX_DEPTH: u32 = 256;
/// Most elements drawn once every reference is followed.
const MAX_DRAWN: u64 = 1_000_000;

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

/// Refuses a drawing beyond the bounds, or one that refers outside itself.
pub(super) fn check(text: &str) -> Result<(), Why> {
    if raw_depth(text) > MAX_DEPTH {
        return Err(Why::TooComplex(format!("nests its elements more than {MAX_DEPTH} deep")));
    }
    let options = ParsingOptions { allow_dtd: true, nodes_limit: 2 * MAX_DRAWN as u32, ..Default::default() };
    let doc =
        Document::parse_with_options(text, options).map_err(|e| Why::BadDrawing(one_line(&e.to_string())))?;
    if doc.root_element().tag_name().name() != "svg" {
        return Err(Why::BadDrawing(format!(
            "its outermost element is '{}'",
            doc.root_element().tag_name().name()
        )));
    }
    if let Some(target) = doc.descendants().find_map(outside) {
        return Err(Why::Refers(one_line(target)));
    }
    let mut ids: HashMap<&str, Node> = HashMap::new();
    for node in doc.descendants() {
        if let Some(id) = node.attribute("id") {
            ids.entry(id).or_insert(node);
        }
    }
    let mut seen = HashMap::new();
    weigh(doc.root_element(), &ids, &mut seen)?;
    Ok(())
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

/// Elements that an element refers to and that are drawn with it.
fn references<'a, 'n>(node: Node<'a, 'n>, ids: &HashMap<&'a str, Node<'a, 'n>>) -> Vec<Node<'a, 'n>> {
    let mut out = Vec::new();
    let drawn = matches!(
        node.tag_name().name(),
        "use" | "pattern" | "linearGradient" | "radialGradient" | "textPath" | "tref" | "feImage"
    );
    if drawn && let Some(id) = href(node).and_then(|h| h.strip_prefix('#')) {
        out.extend(ids.get(id));
    }
    for a in node.attributes().filter(|a| a.name() != "href") {
        let mut rest = a.value();
        while let Some((_, after)) = rest.split_once("url(") {
            let (inner, next) = after.split_once(')').unwrap_or((after, ""));
            let inner = inner.trim().trim_matches(['"', '\'']);
            out.extend(inner.strip_prefix('#').and_then(|id| ids.get(id)));
            rest = next;
        }
    }
    out
}

/// What a node weighs once it is done: elements drawn, and how deep it goes.
#[derive(Clone, Copy)]
enum Weight {
    Open,
    Done { drawn: u64, depth: u32 },
}

/// Walks elements and references without recursion; circles, depth and number are bounded.
fn weigh<'a, 'n>(
    root: Node<'a, 'n>,
    ids: &HashMap<&'a str, Node<'a, 'n>>,
    seen: &mut HashMap<resvg::usvg::roxmltree::NodeId, Weight>,
) -> Result<(), Why> {
    struct Step<'a, 'n> {
        node: Node<'a, 'n>,
        below: Vec<Node<'a, 'n>>,
        next: usize,
        drawn: u64,
        depth: u32,
    }
    let step = |node: Node<'a, 'n>| {
        let mut below: Vec<_> = node.children().filter(|c| c.node_type() == NodeType::Element).collect();
        below.extend(references(node, ids));
        Step { node, below, next: 0, drawn: 1, depth: 1 }
    };
    seen.insert(root.id(), Weight::Open);
    let mut path = vec![step(root)];
    while let Some(top) = path.last_mut() {
        if let Some(&node) = top.below.get(top.next) {
            match seen.get(&node.id()) {
                Some(Weight::Open) => {
                    let id = node.attribute("id").unwrap_or_default();
                    return Err(Why::TooComplex(format!(
                        "refers to itself in a circle at '#{}'",
                        one_line(id)
                    )));
                }
                Some(&Weight::Done { drawn, depth }) => {
                    top.next += 1;
                    top.drawn = top.drawn.saturating_add(drawn);
                    top.depth = top.depth.max(depth + 1);
                }
                None => {
                    seen.insert(node.id(), Weight::Open);
                    path.push(step(node));
                }
            }
            if path.len() as u32 > MAX_DEPTH {
                return Err(Why::TooComplex(format!("nests its elements more than {MAX_DEPTH} deep")));
            }
            continue;
        }
        let (drawn, depth) = (top.drawn, top.depth);
        if drawn > MAX_DRAWN {
            return Err(Why::TooComplex(format!(
                "draws more than {MAX_DRAWN} elements once its references are followed"
            )));
        }
        if depth > MAX_DEPTH {
            return Err(Why::TooComplex(format!("nests its elements more than {MAX_DEPTH} deep")));
        }
        seen.insert(top.node.id(), Weight::Done { drawn, depth });
        path.pop();
    }
    Ok(())
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
