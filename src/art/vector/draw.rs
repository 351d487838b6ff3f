//! Drawings drawn at the density itself, in bands of rows.

use std::sync::Arc;
use std::time::Instant;

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::Tree;

use super::Vector;
use super::cost::{Cost, Refusal, cost};
use super::watch::{Stopped, watched};
use crate::art::bounds::MAX_BYTES;
use crate::art::colours::{enough, is_colour, packed};
use crate::art::{Kind, Likeness, RenderError, Rendered, View, reading};
use crate::colour::{Curve, linear_light, relative_luminance};
use crate::parallel;
use crate::plane::{Alpha, Light};
use crate::texts::text;

/// Dots a band at most: 4 bytes a dot, so 16 MiB a thread.
const BAND_DOTS: usize = 4 << 20;
/// Rows drawn above and below a band that has filters, and not kept: a blur reaches that far.
const FILTER_REACH: usize = 512;

/// Draws what `view` shows into `columns` x `rows` dots: anti-aliased by area, transparent where
/// nothing is drawn. Bands have the same heights whatever the number of threads. Read as a drawing, colours count as inks.
///
/// # Errors
/// What the drawing may take is looked at first: a shape that reaches too far, layers that need too much
/// memory and work that cannot be done in the drawing's time are refused before anything is drawn; work that takes
/// longer all the same is given up.
pub(in crate::art) fn draw(
    art: &Vector,
    view: &View,
    columns: usize,
    rows: usize,
    kind: Kind,
) -> Result<Rendered, RenderError> {
    let begun = Instant::now();
    let seconds = art.patience.drawing_s;
    let late = || RenderError::late(seconds, columns, rows);
    let place = placement(art, view, columns, rows);
    let filters = !art.tree.filters().is_empty();
    let reach = if filters { FILTER_REACH } else { 0 };
    let least = if filters { 2048 } else { 16 };
    let band = (BAND_DOTS / columns.max(1)).clamp(least, rows.max(least));
    let bands: Vec<Band> = (0..rows)
        .step_by(band)
        .map(|top| {
            let height = band.min(rows - top);
            let above = reach.min(top);
            Band { top, height, above, below: reach.min(rows - top - height) }
        })
        .collect();
    let given_up = |stopped| match stopped {
        Stopped::Late => late(),
        Stopped::GaveUp(words) => RenderError::GaveUp(words),
    };
    let (tree, all) = (Arc::clone(&art.tree), bands.clone());
    let cost = watched(seconds, move || {
        let mut sum = Cost { seconds: 0.0, bytes: 0 };
        for b in all {
            let one = cost(&tree, b.place(place), columns, b.rows(), seconds - sum.seconds)?;
            sum = Cost { seconds: sum.seconds + one.seconds, bytes: sum.bytes.max(one.bytes) };
        }
        Ok(sum)
    });
    let cost = cost.map_err(given_up)?.map_err(|refusal| match refusal {
        Refusal::FarAway => RenderError::FarAway,
        Refusal::Late => late(),
        Refusal::Memory => RenderError::Memory(columns, rows),
    })?;
    let curve = Curve::decoding();
    let (mut light, mut alpha, mut codes) = (Vec::new(), Vec::new(), Vec::new());
    let mut colourful = 0;
    // A drawing of one band is not copied.
    let append = |all: &mut Vec<f32>, band: Vec<f32>| {
        if bands.len() == 1 {
            *all = band;
        } else {
            all.reserve_exact(columns * rows - all.len());
            all.extend_from_slice(&band);
        }
    };
    // A few bands at once, so that finished ones do not pile up beside the planes, and as many as there is
    // memory for.
    let group = parallel::threads().min((MAX_BYTES / cost.bytes.max(1)) as usize).max(1);
    for some in bands.chunks(group) {
        let drawn = parallel::map(some.len(), |i| {
            let b = some[i];
            let left = seconds - begun.elapsed().as_secs_f64();
            let tree = Arc::clone(&art.tree);
            let pixels = watched(left, move || one_band(&tree, b.place(place), columns, b.rows()));
            let pixels = pixels.map_err(given_up)??;
            let kept = pixels.data().get(b.above * columns * 4..(b.above + b.height) * columns * 4);
            let kept = kept.unwrap_or_default();
            let colourful =
                if kind == Kind::Drawing { kept.chunks_exact(4).filter(|p| is_colour(p)).count() } else { 0 };
            let codes = if kind == Kind::Drawing { codes_of(kept) } else { Vec::new() };
            Ok::<_, RenderError>((planes(kept, curve, kind), codes, colourful))
        });
        for result in drawn {
            let ((l, a), c, n) = result?;
            colourful += n;
            append(&mut light, l);
            append(&mut alpha, a);
            append(&mut codes, c);
        }
    }
    let opaque = alpha.iter().all(|&a| a == 1.0);
    Ok(Rendered {
        light: Light::from_vec(columns, rows, light),
        alpha: (!opaque).then(|| Alpha::from_vec(columns, rows, alpha)),
        codes: enough(colourful, columns * rows).then(|| Light::from_vec(columns, rows, codes)),
    })
}

/// What the drawing looks like in its colours, at most `most` pixels long, within its bounds of time and memory.
///
/// # Errors
/// As [`draw`].
pub(in crate::art) fn likeness(art: &Vector, most: usize) -> Result<Likeness, RenderError> {
    let (w, h) = art.size();
    let scale = most as f64 / w.max(h);
    let side = |v: f64| ((v * scale).round() as usize).clamp(1, most);
    let (columns, rows) = (side(w), side(h));
    let place = placement(art, &View::default(), columns, rows);
    let (tree, seconds) = (Arc::clone(&art.tree), art.patience.drawing_s);
    let late = RenderError::late(seconds, columns, rows);
    let drawn = watched(seconds, move || match cost(&tree, place, columns, rows, seconds) {
        Ok(_) => one_band(&tree, place, columns, rows),
        Err(Refusal::FarAway) => Err(RenderError::FarAway),
        Err(Refusal::Late) => Err(RenderError::late(seconds, columns, rows)),
        Err(Refusal::Memory) => Err(RenderError::Memory(columns, rows)),
    });
    let pixels = match drawn {
        Ok(pixels) => pixels?,
        Err(Stopped::Late) => return Err(late),
        Err(Stopped::GaveUp(words)) => return Err(RenderError::GaveUp(words)),
    };
    let straight = |p: &[u8]| {
        let alpha = u32::from(p[3]).max(1);
        let code = |c: u8| (u32::from(c) * 255 / alpha).min(255) as u8;
        [code(p[0]), code(p[1]), code(p[2]), p[3]]
    };
    Ok(Likeness {
        width: columns,
        height: rows,
        rgba: pixels.data().chunks_exact(4).flat_map(straight).collect(),
    })
}

/// Rows drawn at once.
#[derive(Debug, Clone, Copy)]
struct Band {
    /// First row kept.
    top: usize,
    /// Rows kept.
    height: usize,
    /// Rows drawn above and below them and not kept.
    above: usize,
    below: usize,
}

impl Band {
    /// Rows drawn.
    fn rows(&self) -> usize {
        self.above + self.height + self.below
    }

    /// From user units to dots of the band.
    fn place(&self, whole: Transform) -> Transform {
        whole.post_translate(0.0, -((self.top - self.above) as f32))
    }
}

/// From user units to dots.
fn placement(art: &Vector, view: &View, columns: usize, rows: usize) -> Transform {
    let (w, h) = art.size();
    let at = |p| {
        let (x, y) = view.seen(p);
        (x * columns as f64, y * rows as f64)
    };
    let (o, x, y) = (at((0.0, 0.0)), at((1.0, 0.0)), at((0.0, 1.0)));
    Transform::from_row(
        ((x.0 - o.0) / w) as f32,
        ((x.1 - o.1) / w) as f32,
        ((y.0 - o.0) / h) as f32,
        ((y.1 - o.1) / h) as f32,
        o.0 as f32,
        o.1 as f32,
    )
}

fn one_band(tree: &Tree, place: Transform, columns: usize, rows: usize) -> Result<Pixmap, RenderError> {
    let mut pixels = Pixmap::new(columns as u32, rows as u32)
        .ok_or_else(|| RenderError::Failed(text!("art.reason.no-room", columns, rows)))?;
    resvg::render(tree, place, &mut pixels.as_mut());
    Ok(pixels)
}

/// Red, green and blue of premultiplied sRGB codes as they are without it, packed; white where nothing is drawn.
fn codes_of(rgba: &[u8]) -> Vec<f32> {
    let straight = |p: &[u8]| match p[3] {
        0 => [255; 3],
        255 => [p[0], p[1], p[2]],
        a => [p[0], p[1], p[2]]
            .map(|c| ((u32::from(c) * 510 + u32::from(a)) / (2 * u32::from(a))).min(255) as u8),
    };
    rgba.chunks_exact(4).map(|p| packed(straight(p))).collect()
}

/// Light and alpha of premultiplied sRGB codes; what is a colour in a drawing counts as ink.
fn planes(rgba: &[u8], curve: &Curve, kind: Kind) -> (Vec<f32>, Vec<f32>) {
    let solid = linear_light();
    let opaque = |c: u8| solid[usize::from(c)];
    rgba.chunks_exact(4)
        .map(|p| {
            let y = match p[3] {
                0 => 1.0,
                a if kind == Kind::Drawing && is_colour(p) => {
                    let straight = |c: u8| f32::from(c) / f32::from(a);
                    curve.at(1.0 - reading::share_of_ink([p[0], p[1], p[2]].map(straight)))
                }
                255 => relative_luminance([p[0], p[1], p[2]].map(opaque)),
                a => {
                    let straight = |c: u8| curve.at(f32::from(c) / f32::from(a));
                    relative_luminance([p[0], p[1], p[2]].map(straight))
                }
            };
            (y.min(1.0), f32::from(p[3]) / 255.0)
        })
        .unzip()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::turn::Turn;
    use crate::art::{Art, Window, open, render};

    fn drawing(body: &str) -> Art {
        let text = format!("<svg xmlns='http://www.w3.org/2000/svg' width='40' height='20'>{body}</svg>");
        open(text.as_bytes(), "a drawing").unwrap()
    }

    #[test]
    fn edges_carry_the_share_of_the_dot_they_cover() {
        // The left edge of the box lies a quarter into a dot, so three quarters of it are covered.
        let a = drawing("<rect x='10.25' width='20' height='20'/>");
        let r = render(&a, &View::default(), 40, 20, Kind::Drawing).unwrap();
        let alpha = r.alpha.unwrap();
        let row = alpha.row(10);
        assert_eq!((row[9], row[11], row[29]), (0.0, 1.0, 1.0));
        assert!((row[10] - 0.75).abs() < 0.02 && (row[30] - 0.25).abs() < 0.02, "{} {}", row[10], row[30]);
        assert!((alpha.mean() - 0.5).abs() < 1e-3);
        assert!(r.light.row(10)[20] == 0.0);
    }

    #[test]
    fn a_drawing_is_turned_mirrored_and_windowed() {
        let a = drawing("<rect width='10' height='5'/>");
        let at = |turn, mirror, x: usize, y: usize| {
            let (c, r) =
                if matches!(turn, Turn::Quarter | Turn::ThreeQuarters) { (20, 40) } else { (40, 20) };
            let view = View { turn, mirror, ..View::default() };
            render(&a, &view, c, r, Kind::Drawing).unwrap().alpha.unwrap().row(y)[x]
        };
        assert_eq!(at(Turn::None, false, 1, 1), 1.0);
        assert_eq!(at(Turn::None, true, 38, 1), 1.0);
        assert_eq!(at(Turn::Quarter, false, 18, 1), 1.0);
        assert_eq!(at(Turn::Half, false, 38, 18), 1.0);
        assert_eq!(at(Turn::ThreeQuarters, false, 1, 38), 1.0);
        let upper_left =
            View { window: Window { right: 0.25, bottom: 0.25, ..Window::WHOLE }, ..View::default() };
        assert!(render(&a, &upper_left, 33, 17, Kind::Drawing).unwrap().alpha.is_none());
    }

    #[test]
    fn bands_join_without_a_seam_and_threads_change_nothing() {
        let a = drawing("<circle cx='20' cy='10' r='9'/><text x='4' y='12' font-size='6'>Harbour</text>");
        // 4 Mdot a band: three bands.
        let (c, r) = (3000, 3000);
        let one = parallel::with_threads(1, || render(&a, &View::default(), c, r, Kind::Drawing).unwrap());
        let seven = parallel::with_threads(7, || render(&a, &View::default(), c, r, Kind::Drawing).unwrap());
        assert!(one == seven);
        let Art::Vector(v) = &a else { panic!() };
        let whole = one_band(&v.tree, placement(v, &View::default(), c, r), c, r).unwrap();
        let (_, alpha) = planes(whole.data(), Curve::decoding(), Kind::Drawing);
        let joined = one.alpha.unwrap();
        // A curve is cut into lines from where it lies, so that here and there one of the sixteen samples
        // of a dot (a quarter of it along a row) falls to the other side; no seam shows as more.
        let off: Vec<f32> =
            joined.data().iter().zip(&alpha).map(|(a, b)| (a - b).abs()).filter(|d| *d > 0.0).collect();
        assert!(off.len() < c * r / 1000 && off.iter().all(|d| *d < 0.26), "{} differ", off.len());
    }
}
