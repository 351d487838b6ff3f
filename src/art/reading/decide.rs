//! Decide: the reading of art, how sure it is, and why, in words.

use super::doubt;
use super::features::{Features, measure};
use super::kind::Kind;
use super::model::{KINDS, likelihoods};
use super::on_ground;
use super::paler;
use super::paper::flattened;
use super::ruled::Ruled;
use super::shaded;
use super::small::Small;
use super::soft;
use crate::art::picture::Facts;
use crate::art::{Art, Format, Model, Raster, View, Window, likeness, open, render};
use crate::plane::Light;
use crate::texts::text;

/// A decision that is less sure than this (0 to 1) is worth a second look.
pub const UNSURE: f64 = 0.8;
/// How sure a decision is at most that something speaks against.
const ASKS: f64 = 0.75;
/// How sure a decision is at most when it rests on looks alone.
const MOST: f64 = 0.999;

/// A decision for another reading than paper that is less sure than the first is looked at for the ruling of paper, which makes
/// it as sure as the second. Of 28 pictures of drawings and writing on lined paper nine were taken for drawings, up to 0.93 sure;
/// of 190 trial pictures one has such a ruling, and is lined paper.
const RULED: (f64, f64) = (0.98, 0.95);
/// A sheet with writing all over is bare in so great a share.
const LEAST_BARE: f64 = 0.5;

/// How art is read, and how that came about.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    /// The reading.
    pub kind: Kind,
    /// How sure it is, 0 to 1; 1 where it was asked for.
    pub sure: f64,
    /// The next likely reading, where another is possible at all.
    pub other: Option<Kind>,
    /// Why, in words that follow "as".
    pub why: String,
}

impl Decision {
    /// What a person asked for.
    pub fn asked(kind: Kind, why: &str) -> Decision {
        Decision { kind, sure: 1.0, other: None, why: why.to_string() }
    }

    fn certain(kind: Kind, why: &str) -> Decision {
        Decision { kind, sure: 1.0, other: None, why: why.to_string() }
    }
}

/// What is measured of the part `crop` of a raster; `None` for a drawing of any density and where nothing is opaque.
pub fn features(art: &Art, crop: Window) -> Option<Features> {
    match art {
        Art::Vector(_) => None,
        Art::Raster(raster) => measure(&Small::of(raster, crop)),
    }
}

/// Decides how the part `crop` of the art is read when nobody says, how sure that is, and why.
pub fn decide(art: &Art, crop: Window) -> Decision {
    let raster = match art {
        Art::Vector(v) if v.is_one_picture() => {
            let said = v.one_picture().and_then(|file| alone(&file, v.format(), crop));
            let said = said.or_else(|| embedded(art, v.format(), crop));
            return match said {
                Some(said) => Decision { why: text!("art.read.nothing-but-picture", why = said.why), ..said },
                None => Decision::certain(Kind::Drawing, drawing(v.format())),
            };
        }
        Art::Vector(v) => return Decision::certain(Kind::Drawing, drawing(v.format())),
        Art::Raster(r) => r,
    };
    of(raster, crop, lossy(raster.facts.format))
}

/// Whether a file of this format may have lost the grain of its picture.
fn lossy(format: Format) -> bool {
    matches!(format, Format::Jpeg | Format::WebP)
}

/// Decides on the picture that a drawing is, as it would be read by itself: drawn anew, the grain of paper and the edges of
/// strokes would be lost. Whether a picture in a PDF was compressed before is not known.
fn alone(file: &[u8], within: Format, crop: Window) -> Option<Decision> {
    match open(file, "the picture in it").ok()? {
        Art::Raster(raster) => Some(of(&raster, crop, within == Format::Pdf || lossy(raster.facts.format))),
        Art::Vector(_) => None,
    }
}

/// Why a drawing of any density is one.
fn drawing(format: Format) -> &'static str {
    if format == Format::Pdf { text!("art.read.pdf") } else { text!("art.read.svg") }
}

/// Longer side in which a picture within a drawing is looked at.
const SIDE: f64 = 800.0;

/// Decides on a drawing that holds nothing but a picture, which lies in it somehow, by what it looks like.
fn embedded(art: &Art, format: Format, crop: Window) -> Option<Decision> {
    let view = View { crop, ..View::default() };
    let (w, h) = view.size(art);
    let dots = |v: f64| ((v * SIDE / w.max(h)).round() as usize).max(1);
    let drawn = render(art, &view, dots(w), dots(h), Kind::Photo).ok()?;
    let facts = Facts {
        format,
        bits: 8,
        model: Model::Rgb,
        bilevel: false,
        colour: String::new(),
        profile: false,
        resolution: None,
        notes: Vec::new(),
    };
    let likeness = likeness(art).ok()?;
    let raster = Raster { light: drawn.light, alpha: drawn.alpha, colours: None, likeness, facts };
    Some(of(&raster, Window::WHOLE, true))
}

fn of(raster: &Raster, crop: Window, lossy: bool) -> Decision {
    if raster.facts.bilevel {
        let Some(flat) = shaded::flattened(raster) else {
            return Decision::certain(Kind::Drawing, text!("art.read.two-tones"));
        };
        // All of its look is in its transparency, of which a photo and a sheet of paper would make nothing.
        let said = of(&flat, crop, lossy);
        return match said.kind {
            Kind::Drawing => said,
            kind => Decision {
                kind: Kind::Drawing,
                sure: 0.5,
                other: Some(kind),
                why: text!("art.read.soft").into(),
            },
        };
    }
    let small = Small::of(raster, crop);
    let Some(f) = measure(&small) else {
        return Decision::certain(Kind::Drawing, text!("art.read.not-opaque"));
    };
    let mut likely = likelihoods(&f);
    // A cut-out is made by a program that draws: paper under a camera is never transparent.
    let stencil = small.clear_cut >= 0.85 && small.transparent >= 0.03;
    let drawn_by_program = stencil || (spotless(&f) && !lossy);
    if drawn_by_program {
        likely[1] += likely[2];
        likely[2] = 0.0;
    }
    if let Some(sure) = few_tones(&f).filter(|_| stencil && likely[1] < UNSURE) {
        let others = likely[0] + likely[2];
        likely = [likely[0] * (1.0 - sure) / others, sure, likely[2] * (1.0 - sure) / others];
    }
    if grainy(&f) && !stencil {
        // Neither ink nor ground of a drawing has grain all over.
        let others = likely[0] + likely[2];
        likely = [likely[0], 0.0, likely[2]].map(|l| if others > 0.0 { l / others } else { 0.5 });
    }
    // A plain ground makes a photo look like a drawing of few tones, or like paper; what stands on it is neither ink nor
    // stroke. A ground that looks like paper may be some: then both are shown.
    let most = if likely[2] > likely[1] { ASKS } else { MOST };
    let on_ground = if likely[0] <= likely[1].max(likely[2]) { on_ground::photo(&small) } else { None };
    let on_ground = on_ground.map(|sure| sure.min(most));
    if let Some(sure) = on_ground {
        let others = likely[1] + likely[2];
        likely = [sure, likely[1] * (1.0 - sure) / others, likely[2] * (1.0 - sure) / others];
    }
    let tint = doubt::Tint::of(&raster.likeness, crop);
    let hardly = doubt::hardly_paper(&f, &tint, lossy);
    // What is no paper at all is another reading; where it may be, both are shown.
    let doubted = hardly > 0.0 && likely[2] >= likely[0].max(likely[1]);
    if doubted {
        likely = without(likely, 2, hardly);
    }
    let mut order = [0usize, 1, 2];
    order.sort_by(|&a, &b| likely[b].total_cmp(&likely[a]).then(a.cmp(&b)));
    let kind = KINDS[order[0]];
    let mut other = KINDS[order[1]];
    let mut sure = likely[order[0]].min(if doubted { ASKS } else { MOST });
    if kind == Kind::Photo && on_ground.is_none() && doubt::may_be_paper(&f, &tint) {
        (sure, other) = (sure.min(ASKS), Kind::Paper);
    }
    if kind == Kind::Paper && sure >= UNSURE && (soft::body(&small) || paler::strokes(&small)) {
        (sure, other) = (ASKS, Kind::Photo);
    }
    if kind != Kind::Paper
        && sure < RULED.0
        && !drawn_by_program
        && let Some(ruled) = ruled(&small, &f)
    {
        return Decision { kind: Kind::Paper, sure: RULED.1, other: Some(kind), why: on_ruled(ruled).into() };
    }
    Decision {
        kind,
        sure,
        other: Some(other),
        why: if on_ground.is_some() { text!("art.read.on-ground").into() } else { why(kind, &f, stencil) },
    }
}

/// What the paper is ruled with, if it is paper: only that has squares or lines all over, much paler than what is drawn on it.
fn ruled(small: &Small, f: &Features) -> Option<Ruled> {
    let bare = f[6];
    if bare < LEAST_BARE {
        return None;
    }
    flattened(&Light::from_vec(small.width, small.height, small.light.clone())).2
}

fn on_ruled(ruled: Ruled) -> &'static str {
    match ruled {
        Ruled::Squares => text!("art.read.squared"),
        Ruled::Lines => text!("art.read.lined"),
    }
}

/// The likelihoods with `share` of one of them given to the others.
fn without(likely: [f64; 3], which: usize, share: f64) -> [f64; 3] {
    let others = 1.0 - likely[which];
    std::array::from_fn(|i| match i {
        i if i == which => likely[i] * (1.0 - share),
        _ if others > 1e-9 => likely[i] * (1.0 + share * likely[which] / others),
        _ => likely[which] * share / 2.0,
    })
}

/// Whether most of the picture has no grain at all, not even one code: what a program drew. Paper under a camera or in a
/// scanner always has some, unless the file's compression took it away.
fn spotless(f: &Features) -> bool {
    let (even, noise) = (f[1], libm::exp(f[10]) - 0.1);
    even > 0.9 && noise < 0.02
}

/// How sure a cut-out is a drawing because all of it lies in a few tones; `None` where it does not. What a lossy file, or one that
/// was made smaller, leaves of a logo varies by a few codes, which looks like grain. Measured on cut-outs: two bits and less of
/// such logos, over three and a half of photos, unless they are nearly black (own trial, sixty logos and thirty photos).
fn few_tones(f: &Features) -> Option<f64> {
    let (tones, bits) = (f[4], 8.0 * f[19]);
    (tones >= 0.97 && bits <= 3.0).then_some(if bits <= 2.2 { 0.95 } else { 0.7 })
}

/// Whether the picture has grain all over, as a camera's sensor gives it in fog or at night: no block of it is quiet, and
/// the usual block varies by more than a drawing's ground does and less than hatching.
fn grainy(f: &Features) -> bool {
    let (noise, quiet) = (libm::exp(f[10]) - 0.1, f[21]);
    (2.5..14.0).contains(&noise) && quiet < 0.05
}

fn why(kind: Kind, f: &Features, stencil: bool) -> String {
    let percent = |v: f64| format!("{:.0}%", (v * 100.0).floor().clamp(0.0, 100.0));
    let [flat, _, _, _, tones, ..] = *f;
    match kind {
        Kind::Drawing if stencil => text!("art.read.cut-out", share = percent(tones)),
        Kind::Drawing => text!("art.read.flat-tones", share = percent(tones)),
        Kind::Paper => text!("art.read.paper", share = percent(f[6])),
        Kind::Photo if tones < 0.6 => text!("art.read.many-tones", share = percent(tones)),
        Kind::Photo if flat < 0.6 => text!("art.read.running-flat", share = percent(flat)),
        Kind::Photo => text!("art.read.running").to_string(),
    }
}
