//! The closed outlines of a drawing: where its lines come back to where they began.

use resvg::tiny_skia::{Path, PathBuilder, PathSegment, Point};
use resvg::usvg::{Group, Node, Tree};

/// Ends that lie nearer to a line's beginning close it, user units: a hundredth of a millimetre and less.
const CLOSES: f32 = 0.03;

/// The box of each closed outline, in the order of the drawing, user units: left, top, right and bottom. Text and
/// pictures have none.
pub(super) fn closed(tree: &Tree) -> Vec<[f64; 4]> {
    let mut all = Vec::new();
    within(tree.root(), &mut all);
    all
}

fn within(group: &Group, all: &mut Vec<[f64; 4]>) {
    for node in group.children() {
        match node {
            Node::Group(inner) => within(inner, all),
            Node::Path(path) if path.is_visible() => {
                let placed = path.data().clone().transform(path.abs_transform());
                all.extend(placed.iter().flat_map(of_path));
            }
            Node::Path(_) | Node::Image(_) | Node::Text(_) => {}
        }
    }
}

/// Those of one path, line after line.
fn of_path(path: &Path) -> Vec<[f64; 4]> {
    let mut all = Vec::new();
    let mut line = PathBuilder::new();
    let (mut first, mut last) = (Point::zero(), Point::zero());
    let mut end = |line: &mut PathBuilder, closed: bool| {
        let whole = std::mem::replace(line, PathBuilder::new()).finish();
        let sides = whole.filter(|_| closed).and_then(|p| p.compute_tight_bounds());
        all.extend(sides.map(|b| [b.left(), b.top(), b.right(), b.bottom()].map(f64::from)));
    };
    let near = |a: Point, b: Point| {
        let (x, y) = (a.x - b.x, a.y - b.y);
        x * x + y * y < CLOSES * CLOSES
    };
    for segment in path.segments() {
        match segment {
            PathSegment::MoveTo(p) => {
                end(&mut line, near(first, last));
                line.move_to(p.x, p.y);
                (first, last) = (p, p);
            }
            PathSegment::LineTo(p) => {
                line.line_to(p.x, p.y);
                last = p;
            }
            PathSegment::QuadTo(a, p) => {
                line.quad_to(a.x, a.y, p.x, p.y);
                last = p;
            }
            PathSegment::CubicTo(a, b, p) => {
                line.cubic_to(a.x, a.y, b.x, b.y, p.x, p.y);
                last = p;
            }
            PathSegment::Close => {
                line.close();
                end(&mut line, true);
                last = first;
            }
        }
    }
    end(&mut line, near(first, last));
    all
}

#[cfg(test)]
mod tests {
    use crate::art::{self, Art};

    fn closed(body: &str) -> Vec<[f64; 4]> {
        let svg = format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="50mm" viewBox="0 0 100 50"><g stroke="black" fill="none">{body}</g></svg>"#
        );
        let Art::Vector(v) = art::open(svg.as_bytes(), "a jig").unwrap() else { panic!("a drawing") };
        v.closed_outlines_mm()
    }

    fn near(a: &[[f64; 4]], b: &[[f64; 4]]) -> bool {
        a.len() == b.len() && a.iter().flatten().zip(b.iter().flatten()).all(|(x, y)| (x - y).abs() < 1e-3)
    }

    #[test]
    fn what_comes_back_to_its_beginning_is_closed() {
        let found = closed(
            r#"<circle cx="20" cy="20" r="10"/><rect x="40" y="5" width="30" height="20" rx="4"/><path d="M75 5h10v10h-10z m0 20h10v10h-10v-10"/>"#,
        );
        let want = [
            [10.0, 10.0, 30.0, 30.0],
            [40.0, 5.0, 70.0, 25.0],
            [75.0, 5.0, 85.0, 15.0],
            [75.0, 25.0, 85.0, 35.0],
        ];
        assert!(near(&found, &want), "{found:?}");
    }

    #[test]
    fn open_lines_text_and_what_is_moved_are_told_apart() {
        let found = closed(
            r#"<path d="M0 0h10v10"/><line x2="9" y2="9"/><text y="20" font-size="9" fill="black">O</text><g transform="translate(5 6) scale(2)"><rect width="4" height="3"/></g>"#,
        );
        assert!(near(&found, &[[5.0, 6.0, 13.0, 12.0]]), "{found:?}");
    }
}
