//! Cost: how long a drawing will take to draw and how much memory, known before it is drawn.
//!
//! The walk follows the drawing library's own (resvg 0.49): where it makes a layer, a layer is counted, of the
//! size it would make it. Times are those of a fast machine and of the best case, so that what is refused would
//! not have come to its end in the time allowed; what takes longer all the same is given up when the time is over.

use resvg::tiny_skia::{Rect, Transform};
use resvg::usvg::{ClipPath, Group, Image, ImageKind, Mask, Node, Paint, Path, Tree, filter};

use crate::art::bounds::MAX_BYTES;

/// How far from the art's corner a shape may reach, in dots. From some 500 million on the library's
/// arithmetic overflows; well before that, strokes of such size take seconds each.
const REACH: f32 = 1e7;

/// Nanoseconds: an element, a segment of a filled and of a stroked path, a dash, a dot's row of an edge.
const ELEMENT: f64 = 200.0;
const SEGMENT: f64 = 20.0;
const STROKED: f64 = 200.0;
const DASH: f64 = 500.0;
const EDGE_ROW: f64 = 4.0;
/// Nanoseconds a dot: flat colour, gradient, pattern or picture, layer.
const FLAT: f64 = 0.2;
const GRADIENT: f64 = 1.0;
const PICTURE: f64 = 5.0;
const LAYER: f64 = 1.0;
/// Nanoseconds a picture element of an embedded picture that is decoded.
const DECODE: f64 = 2.0;

/// Why a drawing is not drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Refusal {
    /// A shape reaches too far.
    FarAway,
    /// More time than allowed.
    Late,
    /// More memory than is ever given.
    Memory,
}

/// What drawing takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cost {
    /// Seconds on a fast machine, at best.
    pub seconds: f64,
    /// Bytes at one time, at most.
    pub bytes: u64,
}

/// What drawing `tree` into `columns` x `rows` dots takes, as `place` brings user units to dots; refused as
/// soon as it is beyond `seconds` or the bounds of memory.
pub(super) fn cost(
    tree: &Tree,
    place: Transform,
    columns: usize,
    rows: usize,
    seconds: f64,
) -> Result<Cost, Refusal> {
    let mut walk = Walk { seconds: 0.0, allowed: seconds };
    let canvas = Canvas::of(columns as f32, rows as f32);
    let bytes = (canvas.bytes() + walk.nodes(tree.root(), place, &canvas)?).max(0.0) as u64;
    if bytes > MAX_BYTES { Err(Refusal::Memory) } else { Ok(Cost { seconds: walk.seconds, bytes }) }
}

/// Something drawn into, and how far layers above it may reach.
#[derive(Clone, Copy)]
struct Canvas {
    width: f32,
    height: f32,
    /// Left, top, right and bottom.
    most: [f32; 4],
}

impl Canvas {
    /// The library cuts layers at twice the canvas beyond each of its sides.
    fn of(width: f32, height: f32) -> Canvas {
        Canvas { width, height, most: [-2.0 * width, -2.0 * height, 3.0 * width, 3.0 * height] }
    }

    fn area(&self) -> f64 {
        f64::from(self.width) * f64::from(self.height)
    }

    /// Four bytes a dot.
    fn bytes(&self) -> f64 {
        4.0 * self.area()
    }

    /// The dots of a box that lie in it.
    fn inside(&self, b: Rect) -> f64 {
        let side = |low: f32, high: f32, end: f32| f64::from((high.min(end) - low.max(0.0) + 1.0).max(0.0));
        side(b.left(), b.right(), self.width) * side(b.top(), b.bottom(), self.height)
    }
}

/// The walk over a drawing: the time so far. Functions give the memory, in bytes, that they need at once.
struct Walk {
    seconds: f64,
    allowed: f64,
}

impl Walk {
    /// Adds nanoseconds.
    fn spend(&mut self, ns: f64) -> Result<(), Refusal> {
        self.seconds += ns * 1e-9;
        // What is not a number is beyond every bound.
        if self.seconds <= self.allowed { Ok(()) } else { Err(Refusal::Late) }
    }

    fn nodes(&mut self, group: &Group, ts: Transform, canvas: &Canvas) -> Result<f64, Refusal> {
        let mut most = 0.0f64;
        for node in group.children() {
            self.spend(ELEMENT)?;
            most = most.max(match node {
                Node::Group(g) => self.group(g, ts, canvas)?,
                Node::Path(p) => self.path(p, ts, canvas)?,
                Node::Image(i) => self.image(i, ts, canvas)?,
                Node::Text(t) => self.group(t.flattened(), ts, canvas)?,
            });
        }
        Ok(most)
    }

    fn group(&mut self, group: &Group, ts: Transform, canvas: &Canvas) -> Result<f64, Refusal> {
        let ts = ts.pre_concat(group.transform());
        if !group.should_isolate() {
            return self.nodes(group, ts, canvas);
        }
        // Filters work along the drawing's own axes: the turn is taken out and put back afterwards.
        let rest = if group.filters().is_empty() {
            Transform::identity()
        } else {
            let (sx, sy) = (libm::hypotf(ts.sx, ts.ky), libm::hypotf(ts.kx, ts.sy));
            Transform::from_row(ts.sx / sx, ts.ky / sx, ts.kx / sy, ts.sy / sy, 0.0, 0.0)
        };
        let Some(back) = rest.invert() else { return Ok(0.0) };
        let [left, top, right, bottom] = canvas.most;
        let Some(most) = Rect::from_ltrb(left, top, right, bottom).and_then(|r| r.transform(back)) else {
            return Ok(0.0);
        };
        let ts = back.pre_concat(ts);
        let Some(bounds) = group.layer_bounding_box().transform(ts) else { return Ok(0.0) };
        let (left, top) = (bounds.left().floor() - 2.0, bounds.top().floor() - 2.0);
        let (right, bottom) = (bounds.right().ceil() + 2.0, bounds.bottom().ceil() + 2.0);
        let (left, top) = (left.max(most.left()), top.max(most.top()));
        let (right, bottom) = (right.min(most.right()), bottom.min(most.bottom()));
        if right <= left || bottom <= top {
            return Ok(0.0);
        }
        let most = [most.left(), most.top(), most.right(), most.bottom()];
        let layer = Canvas { width: right - left, height: bottom - top, most };
        let ts = ts.post_translate(-left, -top);
        self.spend(LAYER * layer.area())?;
        let mut more = self.nodes(group, ts, &layer)?;
        for filter in group.filters() {
            more = more.max(self.filter(filter, ts, &layer)?);
        }
        if let Some(clip) = group.clip_path() {
            more = more.max(self.clip(clip, ts, &layer)?);
        }
        if let Some(mask) = group.mask() {
            more = more.max(self.mask(mask, ts, &layer)?);
        }
        Ok(layer.bytes() + more)
    }

    fn clip(&mut self, clip: &ClipPath, ts: Transform, canvas: &Canvas) -> Result<f64, Refusal> {
        self.spend(LAYER * canvas.area())?;
        let mut more = self.nodes(clip.root(), ts.pre_concat(clip.transform()), canvas)?;
        // Groups in it that are clipped themselves have a layer of the whole size each.
        if clip.root().children().iter().any(|n| matches!(n, Node::Group(_))) {
            more += canvas.bytes();
        }
        if let Some(inner) = clip.clip_path() {
            more = more.max(self.clip(inner, ts, canvas)?);
        }
        Ok(1.25 * canvas.bytes() + more)
    }

    fn mask(&mut self, mask: &Mask, ts: Transform, canvas: &Canvas) -> Result<f64, Refusal> {
        self.spend(2.0 * LAYER * canvas.area())?;
        let mut more = self.nodes(mask.root(), ts, canvas)?;
        if let Some(inner) = mask.mask() {
            more = more.max(self.mask(inner, ts, canvas)?);
        }
        Ok(1.5 * canvas.bytes() + more)
    }

    fn path(&mut self, path: &Path, ts: Transform, canvas: &Canvas) -> Result<f64, Refusal> {
        if !path.is_visible() {
            return Ok(0.0);
        }
        let stroked = path.stroke().is_some();
        let own = if stroked { path.stroke_bounding_box() } else { path.data().bounds() };
        let Some(bounds) = own.transform(ts) else { return Err(Refusal::FarAway) };
        within_reach(bounds)?;
        let segments = path.data().len() as f64;
        let points = path.data().points();
        let pairs = || points.windows(2).map(|p| (p[1].x - p[0].x, p[1].y - p[0].y));
        // Rows that the edges cross, a mean over all of them where most lie outside.
        let share =
            canvas.inside(bounds) / f64::from(bounds.width() + 1.0) / f64::from(bounds.height() + 1.0);
        let down: f64 = pairs().map(|(x, y)| f64::from((ts.ky * x + ts.sy * y).abs())).sum();
        self.spend(SEGMENT * segments + EDGE_ROW * down * share.min(1.0))?;
        let area = canvas.inside(bounds);
        let mut bytes = 0.0f64;
        if let Some(fill) = path.fill() {
            bytes = bytes.max(self.paint(fill.paint(), area, ts, canvas)?);
        }
        if let Some(stroke) = path.stroke() {
            self.spend(STROKED * segments)?;
            if let Some(dashes) = stroke.dasharray() {
                let period: f32 = dashes.iter().sum();
                let length: f64 = pairs().map(|(x, y)| f64::from(libm::hypotf(x, y))).sum();
                let count = length / f64::from(period.max(f32::MIN_POSITIVE)) * dashes.len() as f64 / 2.0;
                // Of more than a million dashes the library draws none.
                self.spend(DASH * if count <= 1e6 { count } else { 0.0 })?;
            }
            // A stroke covers its outline's box at most, and seldom all of it.
            bytes = bytes.max(self.paint(stroke.paint(), 0.1 * area, ts, canvas)?);
        }
        Ok(bytes + 64.0 * segments)
    }

    fn paint(&mut self, paint: &Paint, area: f64, ts: Transform, canvas: &Canvas) -> Result<f64, Refusal> {
        let pattern = match paint {
            Paint::Color(_) => return self.spend(FLAT * area).map(|()| 0.0),
            Paint::LinearGradient(_) | Paint::RadialGradient(_) => {
                return self.spend(GRADIENT * area).map(|()| 0.0);
            }
            Paint::Pattern(pattern) => pattern,
        };
        self.spend(PICTURE * area)?;
        // A pattern's tile is drawn anew for each shape, as large as it comes out, seen or not.
        let (sx, sy) = ts.pre_concat(pattern.transform()).get_scale();
        let rect = pattern.rect();
        let tile = Canvas {
            width: (rect.width() * sx).round(),
            height: (rect.height() * sy).round(),
            most: canvas.most,
        };
        if tile.bytes().is_nan() || tile.bytes() > MAX_BYTES as f64 {
            return Err(Refusal::Memory);
        }
        self.spend(LAYER * tile.area())?;
        let inner = self.nodes(pattern.root(), Transform::from_scale(sx, sy), &tile)?;
        Ok(tile.bytes() + inner)
    }

    fn image(&mut self, image: &Image, ts: Transform, canvas: &Canvas) -> Result<f64, Refusal> {
        if !image.is_visible() {
            return Ok(0.0);
        }
        if let ImageKind::SVG(tree) = image.kind() {
            self.spend(LAYER * canvas.area())?;
            let whole = Canvas::of(canvas.width, canvas.height);
            return Ok(canvas.bytes() + self.nodes(tree.root(), ts, &whole)?);
        }
        let (w, h) = (image.size().width(), image.size().height());
        let placed = Rect::from_xywh(0.0, 0.0, w, h).and_then(|r| r.transform(ts));
        let Some(bounds) = placed else { return Err(Refusal::FarAway) };
        within_reach(bounds)?;
        let elements = f64::from(w) * f64::from(h);
        self.spend(DECODE * elements + PICTURE * canvas.inside(bounds))?;
        // Decoded, and once more as it is drawn from.
        Ok(8.0 * elements)
    }

    fn filter(&mut self, f: &filter::Filter, ts: Transform, layer: &Canvas) -> Result<f64, Refusal> {
        let Some(region) = f.rect().transform(ts) else { return Ok(0.0) };
        let area = layer.inside(region.to_rect()).min(layer.area());
        let (sx, sy) = ts.get_scale();
        // How far a radius reaches, in dots: no further than the layer.
        let across = |r: f32| f64::from((r * sx).min(layer.width)).max(0.0);
        let down = |r: f32| f64::from((r * sy).min(layer.height)).max(0.0);
        let mut more = 0.0f64;
        for primitive in f.primitives() {
            use filter::Kind;
            // Nanoseconds a dot.
            let each = match primitive.kind() {
                Kind::GaussianBlur(_) | Kind::DropShadow(_) => 10.0,
                Kind::Turbulence(t) => 40.0 * f64::from(t.num_octaves()),
                Kind::Morphology(m) => {
                    let (x, y) = (across(m.radius_x().get()), down(m.radius_y().get()));
                    // Windows are cut at the layer's sides: a quarter of a window remains at least.
                    0.25 * (2.0 * x + 1.0) * (2.0 * y + 1.0)
                }
                Kind::ConvolveMatrix(c) => {
                    2.0 * f64::from(c.matrix().columns()) * f64::from(c.matrix().rows())
                }
                Kind::DiffuseLighting(_) | Kind::SpecularLighting(_) => 10.0,
                Kind::DisplacementMap(_) | Kind::ComponentTransfer(_) | Kind::ColorMatrix(_) => 3.0,
                Kind::Merge(m) => 1.0 + m.inputs().len() as f64,
                Kind::Tile(_) => PICTURE,
                Kind::Image(i) => {
                    let canvas = Canvas::of(layer.width, layer.height);
                    more = more.max(self.nodes(i.root(), Transform::from_scale(sx, sy), &canvas)?);
                    1.0
                }
                Kind::Blend(_) | Kind::Composite(_) | Kind::Flood(_) | Kind::Offset(_) => 1.0,
            };
            self.spend((each + 1.0) * area)?;
        }
        // Every primitive's result is kept to the end; up to three more planes are at work.
        Ok(4.0 * area * (f.primitives().len() as f64 + 3.0) + more)
    }
}

/// Refuses what reaches too far.
fn within_reach(b: Rect) -> Result<(), Refusal> {
    let sides = [b.left(), b.top(), b.right(), b.bottom()];
    // What is not a number is out of reach.
    if sides.iter().all(|s| s.abs() <= REACH) { Ok(()) } else { Err(Refusal::FarAway) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use resvg::usvg::Options;

    fn of(body: &str, side: usize) -> Result<Cost, Refusal> {
        let text = format!("<svg xmlns='http://www.w3.org/2000/svg' width='100' height='100'>{body}</svg>");
        let tree = Tree::from_str(&text, &Options::default()).unwrap();
        cost(&tree, Transform::from_scale(side as f32 / 100.0, side as f32 / 100.0), side, side, 30.0)
    }

    #[test]
    fn an_ordinary_drawing_costs_next_to_nothing() {
        let c = of("<circle cx='50' cy='50' r='40'/><path d='M0 0L100 100' stroke='#000'/>", 1000).unwrap();
        assert!(c.seconds < 0.01 && c.bytes < 5_000_000, "{c:?}");
    }

    #[test]
    fn what_runs_away_is_refused() {
        let filtered = |primitive: &str| {
            format!("<filter id='f'>{primitive}</filter><rect width='100' height='100' filter='url(#f)'/>")
        };
        let late = |body: &str| assert_eq!(of(body, 1000), Err(Refusal::Late), "{body}");
        late(&filtered("<feTurbulence baseFrequency='0.05' numOctaves='99999'/>"));
        late(&filtered("<feMorphology radius='300'/>"));
        late(&filtered(&"<feGaussianBlur stdDeviation='90'/>".repeat(2000)));
        late(&"<path d='M0 50H99990' stroke='#000' stroke-dasharray='.2 .2'/>".repeat(500));
        assert_eq!(of("<path d='M0 0L1e9 1e9L0 5Z'/>", 1000), Err(Refusal::FarAway));
        assert_eq!(of("<path d='M0 0L9 9' stroke='#000' stroke-width='1e8'/>", 1000), Err(Refusal::FarAway));
        let tile = "<pattern id='p' width='1e5' height='1e5' patternUnits='userSpaceOnUse'><rect width='9' height='9'/></pattern><rect width='9' height='9' fill='url(#p)'/>";
        assert_eq!(of(tile, 1000), Err(Refusal::Memory));
    }

    #[test]
    fn layers_add_up_while_they_lie_in_each_other() {
        let layers = |n: usize| {
            let body = format!(
                "{}<rect width='100' height='100'/>{}",
                "<g opacity='.9'>".repeat(n),
                "</g>".repeat(n)
            );
            of(&body, 1000)
        };
        let (one, ten) = (layers(1).unwrap().bytes, layers(10).unwrap().bytes);
        assert!(
            (8_000_000..8_200_000).contains(&one) && (44_000_000..44_800_000).contains(&ten),
            "{one} {ten}"
        );
        assert_eq!(layers(200).map(|c| c.bytes > 800_000_000), Ok(true));
    }
}
