//! Codes: the QR codes of a piece, and what phones will make of them there.

use std::ops::Range;

use super::drawable::Drawable;
use super::error::PipelineError;
use super::shown::Shown;
use super::wanted::{Wanted, placed, wanted_as};
use crate::art::reading::{QrCode, maybe_qr_codes, qr_codes};
use crate::art::{Art, Kind};
use crate::findings::Finding;
use crate::findings::code::{self as of_codes, MOST_WRONG, Mend, QUIET, Sized};
use crate::job::Plan;
use crate::job::settle::{Of, SettledArt};
use crate::job::words::ToneBy;
use crate::mark::Burn;
use crate::mark::exposure::fine;
use crate::placement::{DotRect, Grid, Place};
use crate::plane::{Dots, Tone};
use crate::progress::{Progress, Within};
use crate::units::Mm;

/// Samples of a module in which a code is looked at, each way, as far as there is room for them.
const SAMPLES: f64 = 4.0;
/// The most times finer than the lines, and the most samples in all.
const FINEST: f64 = 8.0;
const MOST_SAMPLES: f64 = 6e6;
/// The least share of a border's ring that is light.
const LIGHT: f64 = 0.95;
/// Samples of the forecast a dot each way.
const OVER: usize = 3;
/// A module is judged by its middle: at so many of its sides from there, each way.
const INNER: [f64; 3] = [-0.25, 0.0, 0.25];
/// Steps in which a larger code is tried, and how many.
const LARGER: f64 = 1.08;
const STEPS: usize = 25;

/// A QR code on a piece.
pub(super) struct Seen<'a> {
    code: QrCode,
    /// Where the plane lies in which it was found, mm from the blank's left and top.
    from: (f64, f64),
    /// Its modules, row after row: whether they are to be marked.
    set: Vec<bool>,
    /// Whether it comes out light on dark.
    reversed: bool,
    /// Modules of border around it that come out as its light ones do.
    quiet: usize,
    /// What would mend it where it is reversed.
    mend: Option<Mend>,
    /// The picture that it is in, where that is known.
    picture: Option<Picture<'a>>,
}

/// A picture of the piece.
#[derive(Clone, Copy)]
pub(super) struct Picture<'a> {
    pub of: Of,
    art: &'a Art,
    settled: SettledArt,
    /// Its number among the layers, where it is one.
    layer: Option<usize>,
    width: f64,
    height: f64,
}

/// The QR codes of what is `wanted` of a piece.
///
/// # Errors
/// Where it cannot be drawn finer; [`PipelineError::Stopped`] where the person asked for it.
pub(super) fn seen<'a>(
    plan: &Plan,
    shown: Shown<'a>,
    wanted: &Wanted,
    progress: &dyn Progress,
) -> Result<Vec<Seen<'a>>, PipelineError> {
    let cell = &wanted.placement.rect.grid;
    // The grain of a photo has much that may be one.
    let find = if wanted.kind.is_drawn() { maybe_qr_codes } else { qr_codes };
    let rough = find(&wanted.tone, (cell.along.0, cell.across.0));
    let Some(least) = rough.iter().map(QrCode::module).min_by(f64::total_cmp) else {
        return Ok(Vec::new());
    };
    let (wide, high) = plan.switched();
    let pitch = plan.grid.along.0 * wide as f64;
    let cells = wanted.tone.data().len() as f64 / (wide * high) as f64;
    let most = (MOST_SAMPLES / cells).sqrt().floor().min(FINEST);
    let times = (SAMPLES * pitch / least).ceil().min(most);
    let piece = finer(Drawable::of(plan), plan, times, wanted.kind);
    let drawn = if times < 2.0 { None } else { Some(piece.wanted(shown, &Within(progress))?) };
    let drawn = drawn.as_ref().filter(|fine| !codes_of(fine).is_empty()).unwrap_or(wanted);
    let lighter = plan.burn.response.y_marked > plan.burn.response.y_unmarked;
    let rect = &drawn.placement.rect;
    let from = (rect.left.0, rect.top.0);
    let all = codes_of(drawn).into_iter().map(|code| {
        let reversed = code.dark_set == lighter;
        let (x, y) = code.middle();
        let middle = (from.0 + x, from.1 + y);
        let picture = picture_at(plan, shown, wanted, middle);
        let mend = picture.filter(|_| reversed).and_then(|picture| {
            let (exchanged, invert) = exchanged(plan, shown, (picture, wanted), times, progress)?;
            let rect = &exchanged.placement.rect;
            let same = |other: &QrCode| {
                let (x, y) = other.middle();
                let off = libm::hypot(rect.left.0 + x - middle.0, rect.top.0 + y - middle.1);
                other.dark_set != lighter && off < 2.0 * code.module()
            };
            let mended = codes_of(&exchanged).into_iter().find(same)?;
            Some(Mend { of: picture.of, invert, quiet: quiet(&exchanged.tone, &rect.grid, &mended) })
        });
        let set = modules(&drawn.tone, &rect.grid, &code);
        let quiet = quiet(&drawn.tone, &rect.grid, &code);
        Seen { code, from, set, reversed, quiet, mend, picture }
    });
    Ok(all.collect())
}

fn codes_of(wanted: &Wanted) -> Vec<QrCode> {
    let grid = &wanted.placement.rect.grid;
    qr_codes(&wanted.tone, (grid.along.0, grid.across.0))
}

/// The uppermost picture of the piece that covers the place, mm from the blank's left and top.
pub(super) fn picture_at<'a>(
    plan: &Plan,
    shown: Shown<'a>,
    wanted: &Wanted,
    (x, y): (f64, f64),
) -> Option<Picture<'a>> {
    let of = |rect: &DotRect| (rect.width(), rect.height());
    match shown {
        Shown::Art(art) => {
            let (width, height) = of(&wanted.placement.rect);
            Some(Picture { of: Of::Art, art, settled: plan.art, layer: None, width, height })
        }
        Shown::Layers(layers) => {
            let covers = |rect: &DotRect| {
                let (w, h) = of(rect);
                (0.0..w).contains(&(x - rect.left.0)) && (0.0..h).contains(&(y - rect.top.0))
            };
            let picture = wanted.pictures.iter().rev().find(|p| covers(&p.placement.rect))?;
            let (settled, layer) = (plan.layers.get(picture.layer)?, layers.get(picture.layer)?);
            let (width, height) = of(&picture.placement.rect);
            let (of, art) = (settled.of, &layer.art.art);
            Some(Picture { of, art, settled: settled.art, layer: Some(picture.layer), width, height })
        }
    }
}

/// A piece as it is drawn `times` finer than its lines lie apart; it is known to be of `kind`.
fn finer<'b>(piece: Drawable<'b>, plan: &Plan, times: f64, kind: Kind) -> Drawable<'b> {
    if times < 2.0 { piece } else { piece.finer(times as usize, plan.switched(), kind) }
}

/// What is wanted of a picture whose light and dark are exchanged, drawn `times` finer, and whether it is then inverted.
pub(super) fn exchanged(
    plan: &Plan,
    shown: Shown<'_>,
    (picture, wanted): (Picture<'_>, &Wanted),
    times: f64,
    progress: &dyn Progress,
) -> Option<(Wanted, bool)> {
    let quiet = Within(progress);
    let piece = finer(Drawable::of(plan), plan, times, wanted.kind);
    match (picture.layer, shown) {
        (Some(number), Shown::Layers(layers)) => {
            let mut settled = plan.layers.get(number)?.clone();
            let invert = !settled.tone.shape.tilt.invert;
            settled.tone.shape.tilt.invert = invert;
            let read = wanted.pictures.iter().find(|p| p.layer == number)?.reading.kind;
            let piece = piece.of_layer(&settled, layers.get(number)?.art.place);
            Some((wanted_as(&piece, picture.art, read.into(), &quiet).ok()?, invert))
        }
        _ => {
            let mut tone = plan.tone.clone();
            let invert = !tone.shape.tilt.invert;
            tone.shape.tilt.invert = invert;
            let piece = Drawable { tone: &tone, ..piece };
            Some((wanted_as(&piece, picture.art, wanted.kind.into(), &quiet).ok()?, invert))
        }
    }
}

/// Where each module of the code, row after row, is to be marked.
fn modules(tone: &Tone, grid: &Grid, code: &QrCode) -> Vec<bool> {
    let n = code.side;
    (0..n * n).map(|i| marked(tone, grid, code.at((i % n) as f64 + 0.5, (i / n) as f64 + 0.5))).collect()
}

/// Whether a place, mm, is to be marked; what lies outside is not.
fn marked(tone: &Tone, grid: &Grid, (x, y): (f64, f64)) -> bool {
    let (x, y) = ((x / grid.along.0).floor(), (y / grid.across.0).floor());
    let within = x >= 0.0 && y >= 0.0 && x < tone.width() as f64 && y < tone.height() as f64;
    within && tone.row(y as usize)[x as usize] >= 0.5
}

/// How many rings of modules around the code are as its light ones, up to as many as phones want.
fn quiet(tone: &Tone, grid: &Grid, code: &QrCode) -> usize {
    let side = code.side as f64;
    let light = |ring: usize| {
        let (first, last) = (0.5 - ring as f64, side - 0.5 + ring as f64);
        let along = 0..code.side + 2 * ring - 1;
        let places = along.flat_map(|i| {
            let step = i as f64;
            [(first + step, first), (last, first + step), (last - step, last), (first, last - step)]
        });
        let all = 4 * (code.side + 2 * ring - 1);
        let light = places.filter(|&(c, r)| marked(tone, grid, code.at(c, r)) != code.dark_set).count();
        light as f64 >= LIGHT * all as f64
    };
    (1..=QUIET).take_while(|&ring| light(ring)).count()
}

/// What is to be said of the codes, once there are dots, which lie in `rect`.
pub(super) fn findings(plan: &Plan, seen: &[Seen<'_>], dots: &Dots, rect: &DotRect) -> Vec<Finding> {
    let mut all: Vec<Finding> = Vec::new();
    for one in seen {
        let (x, y) = one.code.middle();
        let at = (one.from.0 + x, plan.blank.shape.height() - one.from.1 - y);
        let module = one.code.module();
        let looks = if one.reversed {
            Some(of_codes::reversed(one.mend.as_ref(), module))
        } else {
            of_codes::border(one.quiet, module)
        };
        let small = (plan.scan.tone_by == ToneBy::Dots).then(|| one.too_small(plan, dots, rect)).flatten();
        let found = looks.into_iter().chain(small).map(|f| Finding { at_mm: Some(at), ..f });
        all.extend(found);
    }
    once(all)
}

/// Of several codes alike it is said once.
pub(super) fn once(all: impl IntoIterator<Item = Finding>) -> Vec<Finding> {
    let mut told: Vec<Finding> = Vec::new();
    for finding in all {
        if told.iter().all(|t| t.message != finding.message) {
            told.push(finding);
        }
    }
    told
}

impl Seen<'_> {
    fn too_small(&self, plan: &Plan, dots: &Dots, rect: &DotRect) -> Option<Finding> {
        let off = (self.from.0 - rect.left.0, self.from.1 - rect.top.0);
        let at = |c: f64, r: f64| {
            let (x, y) = self.code.at(c, r);
            (x + off.0, y + off.1)
        };
        let (side, set) = (self.code.side, self.set.as_slice());
        let wrong = wrong(dots, &plan.burn, &rect.grid, (side, set), at);
        if wrong <= MOST_WRONG {
            return None;
        }
        let module = self.code.module();
        // Where no size helps, something else is wrong.
        let mut sizes = std::iter::successors(Some(LARGER), |times| Some(times * LARGER)).take(STEPS);
        let times = sizes.find(|times| {
            let module = module * times;
            let dots = drawn(&rect.grid, (side, set), module, !self.code.dark_set);
            let at = |c: f64, r: f64| ((c + 1.0) * module, (r + 1.0) * module);
            self::wrong(&dots, &plan.burn, &rect.grid, (side, set), at) <= MOST_WRONG
        })?;
        let least = self.picture.filter(|p| p.fits(plan, times));
        let least = least.map(|p| Sized { of: p.of, width: p.width * times, height: p.height / p.width });
        Some(of_codes::too_small(wrong, module, least))
    }
}

impl Picture<'_> {
    /// Whether it has room on the blank so many times as large.
    fn fits(&self, plan: &Plan, times: f64) -> bool {
        let place = Place::Box { width: Mm(self.width * times), height: Mm(self.height * times) };
        let piece = Drawable { art: SettledArt { place, ..self.settled }, ..Drawable::of(plan) };
        placed(&piece, self.art).is_ok_and(|(placement, _)| placement.past_margin.0 <= 0.0)
    }
}

/// The share of a code's modules that the forecast shows otherwise than they are to be; `at` says where a place of it lies, mm
/// from the dots' left and top.
fn wrong(
    dots: &Dots,
    burn: &Burn,
    grid: &Grid,
    (side, set): (usize, &[bool]),
    at: impl Fn(f64, f64) -> (f64, f64),
) -> f64 {
    let n = side as f64;
    let corners = [at(0.0, 0.0), at(n, 0.0), at(0.0, n), at(n, n)];
    let reach = |of: fn(&(f64, f64)) -> f64, pitch: f64, all: usize| -> Range<usize> {
        let low = corners.iter().map(of).fold(f64::INFINITY, f64::min);
        let high = corners.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
        let first = ((low / pitch).floor().max(0.0) as usize).min(all);
        first..((high / pitch).ceil().max(0.0) as usize).clamp(first, all)
    };
    let columns = reach(|c| c.0, grid.along.0, dots.width());
    let rows = reach(|c| c.1, grid.across.0, dots.height());
    let exposure = fine(dots, burn, columns.clone(), rows.clone(), OVER);
    let rise = |(x, y): (f64, f64)| {
        let sample = |v: f64, pitch: f64, first: usize| ((v / pitch - first as f64) * OVER as f64).floor();
        let (x, y) = (sample(x, grid.along.0, columns.start), sample(y, grid.across.0, rows.start));
        let within = x >= 0.0 && y >= 0.0 && x < exposure.width() as f64 && y < exposure.height() as f64;
        let exposure = if within { f64::from(exposure.row(y as usize)[x as usize]) } else { 0.0 };
        burn.response.rise_at(exposure * burn.x_solid)
    };
    let otherwise = set.iter().enumerate().filter(|&(i, &set)| {
        let (c, r) = ((i % side) as f64 + 0.5, (i / side) as f64 + 0.5);
        let places = INNER.iter().flat_map(|dr| INNER.iter().map(move |dc| (c + dc, r + dr)));
        let sum: f64 = places.map(|(c, r)| rise(at(c, r))).sum();
        (sum >= 0.5 * (INNER.len() * INNER.len()) as f64) != set
    });
    otherwise.count() as f64 / set.len().max(1) as f64
}

/// The dots of a code whose modules are so wide, mm, with a border of one, which is marked or not.
fn drawn(grid: &Grid, (side, set): (usize, &[bool]), module: f64, border: bool) -> Dots {
    let long = (side as f64 + 2.0) * module;
    let (columns, rows) = ((long / grid.along.0).ceil() as usize, (long / grid.across.0).ceil() as usize);
    let mut dots = Dots::off(columns, rows);
    let of = |i: usize, pitch: f64| ((i as f64 + 0.5) * pitch / module).floor() as usize;
    for (x, y) in (0..rows).flat_map(|y| (0..columns).map(move |x| (x, y))) {
        // Counted with the border, which is the first of either.
        let (c, r) = (of(x, grid.along.0), of(y, grid.across.0));
        let within = (1..=side).contains(&c) && (1..=side).contains(&r);
        dots.set(x, y, if within { set[(r - 1) * side + c - 1] } else { border });
    }
    dots
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::reading::qr_dark;
    use crate::findings::Severity;
    use crate::job::Job;
    use crate::progress::Silent;
    use crate::{art, pipeline};

    /// What is said of a code of `side` modules with a border of `quiet`, placed in a square of `place` mm.
    fn said(surface: &str, (side, quiet): (usize, usize), place: f64, tone: &str) -> Vec<Finding> {
        let (n, times) = (side + 2 * quiet, 8);
        let mut picture = image::GrayImage::new((n * times) as u32, (n * times) as u32);
        for (x, y, pixel) in picture.enumerate_pixels_mut() {
            let of = |v: u32| (v as usize / times).wrapping_sub(quiet);
            let (c, r) = (of(x), of(y));
            *pixel = image::Luma([if c < side && r < side && qr_dark(side, c, r) { 0 } else { 255 }]);
        }
        let mut png = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut png, image::ImageFormat::Png).unwrap();
        let art = art::open(png.get_ref(), "code.png").unwrap();
        let job: Job = format!(
            "blank = {{ shape = 'rect:40x40mm', margin = '2mm', surface = '{surface}', place = '{place}x{place}mm' }}\n\
             dots = {{ screen = 'floyd-steinberg' }}\n{tone}"
        )
        .parse()
        .unwrap();
        let outcome = pipeline::run(&Plan::of(&job).unwrap(), &art, "code.png", &Silent).unwrap();
        outcome.findings.into_iter().filter(|f| f.name == "qr-code").collect()
    }

    #[test]
    fn a_code_is_told_where_it_comes_out_light_on_dark() {
        let found = said("slate", (25, 4), 33.0, "");
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].message.contains("light on dark"), "{found:?}");
        assert_eq!(found[0].remedies[0].sets, [("tone.invert".to_string(), "true".to_string())]);
        assert!(found[0].remedies[0].verified && found[0].remedies.len() == 1, "{found:?}");
        // So mended, and where marks are dark, there is nothing to say.
        assert_eq!(said("slate", (25, 4), 33.0, "tone = { invert = true }"), []);
        assert_eq!(said("tile", (25, 4), 33.0, ""), []);
        let found = said("tile", (25, 4), 33.0, "tone = { invert = true }");
        assert_eq!(found[0].remedies[0].sets, [("tone.invert".to_string(), "false".to_string())]);
    }

    #[test]
    fn a_border_that_is_too_narrow_is_told_before_and_after() {
        let found = said("slate", (25, 2), 29.0, "");
        assert!(
            found[0].remedies[0].text.ends_with("its light border is then 2 of its modules wide"),
            "{found:?}"
        );
        let found = said("slate", (25, 2), 29.0, "tone = { invert = true }");
        assert_eq!((found.len(), found[0].severity), (1, Severity::Note), "{found:?}");
        // Bare ground that is light is border enough.
        assert_eq!(said("tile", (25, 1), 27.0, ""), []);
    }

    #[test]
    fn modules_smaller_than_the_beam_are_told_with_the_size_that_holds() {
        let found = said("tile", (69, 4), 7.7, "");
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].message.contains("come out wrong: they are 0.1 mm wide"), "{found:?}");
        let size = &found[0].remedies[0].sets[0];
        assert_eq!(size.0, "blank.place");
        // Somewhat larger than that it holds on any dots.
        let least: f64 = size.1.split('x').next().unwrap().parse().unwrap();
        assert!(least > 7.7 && said("tile", (69, 4), 1.3 * least, "").is_empty(), "{size:?}");
    }
}
