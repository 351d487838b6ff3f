//! The closed outlines of a drawing: where its lines come back to where they began.

use resvg::tiny_skia::{Path, PathBuilder, PathSegment, Point};
use resvg::usvg::{Group, Node, Tree};

/// Ends that lie nearer to a line's beginning close it, user units: a hundredth of a millimetre and less.
const CLOSES: f32 = 0.03;

/// How far an outline may stray from the one that it is taken for, mm: a rectangle of 60 mm that is turned by more than a third
/// of a degree does.
const STRAYS: f64 = 0.3;
/// The same as a share of an ellipse's radius, which one that is drawn as a polygon of sixteen sides keeps to.
const STRAYS_ROUND: f64 = 0.03;
/// Places at which each stretch of an outline is looked at.
const PLACES: u8 = 8;

/// A closed outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClosedOutline {
    /// Its left, upper, right and lower end, mm from the page's upper left.
    pub sides: [f64; 4],
    /// What it is.
    pub form: Form,
}

/// What a closed outline is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// An upright rectangle, which may have rounded corners.
    Rectangle,
    /// A circle or an upright ellipse.
    Ellipse,
    /// Anything else.
    Other,
}

/// Each closed outline, in the order of the drawing, whose user units are so many mm. Text and pictures have none.
pub(super) fn closed(tree: &Tree, unit_mm: f64) -> Vec<ClosedOutline> {
    let mut all = Vec::new();
    within(tree.root(), unit_mm, &mut all);
    all
}

fn within(group: &Group, unit_mm: f64, all: &mut Vec<ClosedOutline>) {
    for node in group.children() {
        match node {
            Node::Group(inner) => within(inner, unit_mm, all),
            Node::Path(path) if path.is_visible() => {
                let placed = path.data().clone().transform(path.abs_transform());
                all.extend(placed.iter().flat_map(of_path).filter_map(|line| outlined(&line, unit_mm)));
            }
            Node::Path(_) | Node::Image(_) | Node::Text(_) => {}
        }
    }
}

/// The outline that a closed line is.
fn outlined(line: &Path, unit_mm: f64) -> Option<ClosedOutline> {
    let b = line.compute_tight_bounds()?;
    let sides = [b.left(), b.top(), b.right(), b.bottom()].map(|v| f64::from(v) * unit_mm);
    let places: Vec<(f64, f64)> =
        places(line).iter().map(|p| (f64::from(p.x) * unit_mm, f64::from(p.y) * unit_mm)).collect();
    Some(ClosedOutline { sides, form: form(&places, sides) })
}

/// Places along a closed line.
fn places(line: &Path) -> Vec<Point> {
    let mut all = Vec::new();
    let (mut first, mut at) = (Point::zero(), Point::zero());
    let steps = || (1..=PLACES).map(|i| f32::from(i) / f32::from(PLACES));
    let mix = |a: Point, b: Point, t: f32| Point::from_xy(a.x + (b.x - a.x) * t, a.y + (b.y - a.y) * t);
    for segment in line.segments() {
        match segment {
            PathSegment::MoveTo(p) => (first, at) = (p, p),
            PathSegment::LineTo(p) => {
                all.extend(steps().map(|t| mix(at, p, t)));
                at = p;
            }
            PathSegment::QuadTo(a, p) => {
                all.extend(steps().map(|t| mix(mix(at, a, t), mix(a, p, t), t)));
                at = p;
            }
            PathSegment::CubicTo(a, b, p) => {
                all.extend(steps().map(|t| {
                    let middle = mix(a, b, t);
                    mix(mix(mix(at, a, t), middle, t), mix(middle, mix(b, p, t), t), t)
                }));
                at = p;
            }
            PathSegment::Close => {
                all.extend(steps().map(|t| mix(at, first, t)));
                at = first;
            }
        }
    }
    all
}

/// What an outline is, by places along it and its sides, mm.
fn form(places: &[(f64, f64)], [left, top, right, bottom]: [f64; 4]) -> Form {
    let (a, b) = ((right - left) / 2.0, (bottom - top) / 2.0);
    if a <= 0.0 || b <= 0.0 {
        return Form::Other;
    }
    // From its middle.
    let places: Vec<(f64, f64)> =
        places.iter().map(|(x, y)| (x - (left + right) / 2.0, y - (top + bottom) / 2.0)).collect();
    if places.iter().all(|(x, y)| (libm::hypot(x / a, y / b) - 1.0).abs() <= STRAYS_ROUND) {
        return Form::Ellipse;
    }
    // A corner that is rounded by r comes to within (√2 - 1) r of that of the box.
    let nearest =
        places.iter().map(|(x, y)| libm::hypot(a - x.abs(), b - y.abs())).fold(f64::INFINITY, f64::min);
    let radius = (nearest / (std::f64::consts::SQRT_2 - 1.0)).min(a).min(b);
    let strays = |(x, y): &(f64, f64)| {
        let (u, v) = (x.abs() - (a - radius), y.abs() - (b - radius));
        (libm::hypot(u.max(0.0), v.max(0.0)) + u.max(v).min(0.0) - radius).abs()
    };
    if places.iter().all(|p| strays(p) <= STRAYS) { Form::Rectangle } else { Form::Other }
}

/// The closed lines of one path.
fn of_path(path: &Path) -> Vec<Path> {
    let mut all = Vec::new();
    let mut line = PathBuilder::new();
    let (mut first, mut last) = (Point::zero(), Point::zero());
    let mut end = |line: &mut PathBuilder, closed: bool| {
        let whole = std::mem::replace(line, PathBuilder::new()).finish();
        all.extend(whole.filter(|_| closed));
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
    use super::{ClosedOutline, Form};
    use crate::art::{self, Art};

    fn outlines(body: &str) -> Vec<ClosedOutline> {
        let svg = format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="50mm" viewBox="0 0 100 50"><g stroke="black" fill="none">{body}</g></svg>"#
        );
        let Art::Vector(v) = art::open(svg.as_bytes(), "a jig").unwrap() else { panic!("a drawing") };
        v.closed_outlines()
    }

    fn closed(body: &str) -> Vec<[f64; 4]> {
        outlines(body).into_iter().map(|outline| outline.sides).collect()
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

    #[test]
    fn upright_rectangles_and_ellipses_are_told_from_other_outlines() {
        let sixteen: Vec<String> = (0..16)
            .map(|i| (std::f64::consts::TAU * f64::from(i) / 16.0).sin_cos())
            .map(|(s, c)| format!("{} {}", 30.0 + 10.0 * c, 20.0 + 10.0 * s))
            .collect();
        for (body, form) in [
            ("<rect width='60' height='30'/>", Form::Rectangle),
            ("<rect width='60' height='30' rx='4'/>", Form::Rectangle),
            ("<rect width='60' height='30' rx='15'/>", Form::Rectangle),
            ("<rect x='50' width='30' height='20' transform='rotate(90 60 20)'/>", Form::Rectangle),
            ("<rect width='60' height='30' transform='rotate(0.2 30 15)'/>", Form::Rectangle),
            ("<path d='M2 0h56l2 2v26l-2 2h-56l-2-2v-26z'/>", Form::Rectangle),
            ("<rect width='60' height='30' transform='rotate(1 30 15)'/>", Form::Other),
            ("<rect width='60' height='30' transform='rotate(10 30 15)'/>", Form::Other),
            ("<rect width='20' height='20' transform='rotate(45 10 10)'/>", Form::Other),
            ("<circle cx='30' cy='20' r='10'/>", Form::Ellipse),
            ("<circle cx='30' cy='20' r='10' transform='rotate(10 30 20)'/>", Form::Ellipse),
            ("<ellipse cx='30' cy='20' rx='20' ry='10'/>", Form::Ellipse),
            ("<ellipse cx='30' cy='20' rx='20' ry='10' transform='rotate(10 30 20)'/>", Form::Other),
            (&format!("<polygon points='{}'/>", sixteen.join(" ")), Form::Ellipse),
            ("<path d='M20 0 L40 40 L0 40 z'/>", Form::Other),
            ("<path d='M0 0h40v40h-20v-20h-20z'/>", Form::Other),
        ] {
            let found: Vec<Form> = outlines(body).into_iter().map(|outline| outline.form).collect();
            assert_eq!(found, [form], "{body}");
        }
    }
}
