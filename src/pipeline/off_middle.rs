//! Off the middle: art that an empty page around what is drawn keeps off to one side, or small.

use super::AS_STATED;
use super::drawable::Drawable;
use super::laid_round::Cone;
use super::read::crop_to;
use super::shown::Shown;
use super::wanted::{Wanted, laid, outlined};
use crate::art::extent::hull_of;
use crate::art::{Art, Kind, View};
use crate::findings::{Finding, art as of_art};
use crate::job::Plan;
use crate::job::settle::{Of, Shows};
use crate::job::words::Crop;
use crate::placement::{Offset, Outline, Place};

/// What lies off the middle by less than this share of its own longer side may be meant so, as a flag that blows out of a
/// ring (own judgement).
const SEEN: f64 = 0.1;
/// From so many times the size on, what is drawn in the middle of an empty border is worth a word (own judgement).
const WORTH_TIMES: f64 = 1.25;
/// Less than this share of a full mark is not drawn: what is left of a JPEG's ground, and a few dots in a thousand.
const DRAWN: f32 = 0.02;

/// `off-middle` or `empty-border` of the art as it is `wanted`, or of the one picture among layers: several may be drawn on one
/// page each, to meet on the piece.
pub(super) fn off_middle(plan: &Plan, shown: Shown<'_>, wanted: &Wanted) -> Option<Finding> {
    let piece = Drawable::of(plan);
    match shown {
        Shown::Art(art) => of_picture(&piece, (art, Some(wanted)), Of::Art),
        Shown::Layers(layers) => {
            let all = plan.layers.iter().zip(layers);
            let mut pictures = all.filter(|(settled, _)| matches!(settled.shows, Shows::File(_)));
            let (settled, layer) = pictures.next()?;
            if pictures.next().is_some() {
                return None;
            }
            of_picture(&piece.of_layer(settled, layer.art.place), (&layer.art.art, None), settled.of)
        }
    }
}

/// The same of one picture. Where a crop or a place was asked for, or its page is made for the blank or the size, it lies as
/// it is meant to; a picture file of the blank's proportions may have got them from its camera or its server, though, and its
/// empty border is told.
fn of_picture(piece: &Drawable<'_>, (art, wanted): (&Art, Option<&Wanted>), of: Of) -> Option<Finding> {
    let moved = piece.art.spot.is_some_and(|spot| spot.at != Offset::default());
    if piece.art.crop != Crop::WHOLE || piece.art.place == Place::Cover || moved {
        return None;
    }
    let (page, view) = outlined(piece, art).ok()?;
    let now = laid(piece, &page, piece.art.place).ok()?;
    let (width, height) = (now.wished_width.0, now.wished_height.0);
    let laid_out = drawn_for(piece, art, &view, (width, height));
    if laid_out && matches!(art, Art::Vector(_)) {
        return None;
    }
    // A cone bends what is wanted.
    let outline = wanted.filter(|_| sides(&page) == WHOLE && Cone::of(&piece.blank).is_none());
    let outline = outline.and_then(|wanted| inked(wanted, page.aspect));
    let outline = outline.unwrap_or(page);
    let [left, top, right, bottom] = sides(&outline);
    let (across, down) = (right - left, bottom - top);
    if !(across > 0.0 && down > 0.0) {
        return None;
    }
    let alone = Outline {
        aspect: outline.aspect * across / down,
        hull: outline.hull.iter().map(|(x, y)| ((x - left) / across, (y - top) / down)).collect(),
    };
    let larger = laid(piece, &alone, piece.art.place).ok()?.wished_width.0 / (across * width);
    let drawn = crop_to([left, top, right, bottom], &view);
    let drawn = [drawn.left, drawn.top, drawn.right, drawn.bottom];
    let off = libm::hypot(((left + right) / 2.0 - 0.5) * width, ((top + bottom) / 2.0 - 0.5) * height);
    if !laid_out && off >= SEEN * (across * width).max(down * height) {
        Some(of_art::off_middle(off, larger, drawn, of))
    } else {
        (larger >= WORTH_TIMES).then(|| of_art::empty_border(larger, drawn, of))
    }
}

/// The outline of what is drawn on a page that covers all it is, as a picture file without transparency does. None of a photo,
/// and of a sheet of paper that has a crop of its own.
fn inked(wanted: &Wanted, aspect: f64) -> Option<Outline> {
    if wanted.kind == Kind::Photo || wanted.around.is_some() {
        return None;
    }
    let window = &wanted.placement.window;
    let hull: Vec<_> = hull_of(&wanted.tone, DRAWN).into_iter().map(|at| window.at(at)).collect();
    (!hull.is_empty()).then_some(Outline { aspect, hull })
}

/// Whether the page, which becomes so large (mm), is of the blank's proportions, or of the very size that it states.
fn drawn_for(piece: &Drawable<'_>, art: &Art, view: &View, (width, height): (f64, f64)) -> bool {
    let near = |a: f64, b: f64| (a / b - 1.0).abs() <= AS_STATED;
    let stated = match art {
        Art::Vector(drawing) => drawing.stated_mm(),
        Art::Raster(_) => None,
    };
    let stated = stated.map(|(w, h)| if view.turn.swaps() { (h, w) } else { (w, h) });
    let blank = &piece.blank.shape;
    let for_blank = piece.art.place == Place::Inside && near(width / height, blank.width() / blank.height());
    for_blank || stated.is_some_and(|(w, h)| near(width, w) && near(height, h))
}

/// The ends of a page that covers all it is.
const WHOLE: [f64; 4] = [0.0, 0.0, 1.0, 1.0];

/// Left, upper, right and lower end of an outline.
fn sides(outline: &Outline) -> [f64; 4] {
    outline.hull.iter().fold([1.0, 1.0, 0.0, 0.0], |[l, t, r, b], &(x, y)| {
        [f64::min(l, x), f64::min(t, y), f64::max(r, x), f64::max(b, y)]
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art;
    use crate::findings::Severity;
    use crate::pipeline;
    use crate::progress::Silent;

    /// A lighthouse's name at the upper left of an office page.
    const PAGE: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="210mm" height="297mm" viewBox="0 0 210 297"><rect x="20" y="25" width="60" height="30"/></svg>"#;

    fn found_of(drawing: &str, job: &str) -> Option<Finding> {
        found_in(drawing.as_bytes(), job)
    }

    fn found_in(file: &[u8], job: &str) -> Option<Finding> {
        let plan = Plan::of(&job.parse().unwrap()).unwrap();
        let art = art::open(file, "'drawing'").unwrap();
        let wanted = pipeline::wanted(&plan, Shown::Art(&art), &Silent).unwrap();
        off_middle(&plan, Shown::Art(&art), &wanted)
    }

    fn found(more: &str) -> Option<Finding> {
        found_of(PAGE, &format!("blank = {{ shape = 'round:90mm', margin = '2.5mm' }}\n{more}"))
    }

    #[test]
    fn a_name_at_one_side_of_its_page_is_told_with_the_crop_that_lays_it_in_the_middle() {
        let f = found("").unwrap();
        let crop = &f.remedies[0].sets[0].1;
        assert_eq!(f.remedies[0].sets[0].0, "art.crop");
        let is_drawn = |crop: &str| {
            let w = crop.parse::<Crop>().unwrap().window();
            let drawn = [20.0 / 210.0, 25.0 / 297.0, 80.0 / 210.0, 55.0 / 297.0];
            let found = [w.left, w.top, w.right, w.bottom];
            found.iter().zip(drawn).all(|(a, b)| (a - b).abs() < 0.003)
        };
        assert!(is_drawn(crop), "{crop}");
        assert!(f.message.contains("times as large"), "{}", f.message);
        assert_eq!(found(&format!("art = {{ crop = '{crop}' }}")), None);
        // Turned and mirrored, the same part of the page is drawn.
        let turned = found("art = { turn = 90, mirror = true }").unwrap();
        assert!(is_drawn(&turned.remedies[0].sets[0].1), "{turned:?}");
    }

    #[test]
    fn what_is_meant_to_lie_so_is_not_told() {
        assert_eq!(found("art = { at = '5mm,0mm' }"), None);
        assert_eq!(found_of(PAGE, "blank = { shape = 'rect:210x297mm' }"), None);
        assert_eq!(found_of(PAGE, "blank = { shape = 'rect:400x400mm', place = '210x297mm' }"), None);
        assert_eq!(found_of(PAGE, "blank = { shape = 'round:90mm', place = 'cover' }"), None);
        let boxed = found_of(PAGE, "blank = { shape = 'round:90mm', place = '40x40mm' }").unwrap();
        assert!(boxed.remedies[0].text.contains("--crop "), "{boxed:?}");
    }

    #[test]
    fn what_fills_its_page_or_lies_in_the_middle_of_it_is_not_told() {
        let drawing = |body: &str| {
            let svg =
                format!("<svg xmlns='http://www.w3.org/2000/svg' width='210' height='297'>{body}</svg>");
            found_of(&svg, "blank = { shape = 'round:90mm' }")
        };
        assert_eq!(drawing("<circle cx='108' cy='146' r='80'/>"), None);
        assert!(drawing("<rect width='30' height='30'/>").is_some_and(|f| f.name == "off-middle"));
        // On a page that is all white its corners count.
        let ground = "<rect width='210' height='297' fill='white'/>";
        let found = |body: &str| drawing(&format!("{ground}{body}")).unwrap().name;
        assert_eq!(found("<circle cx='108' cy='146' r='80'/>"), "empty-border");
        assert_eq!(found("<rect width='30' height='30'/>"), "off-middle");
        assert!(drawing("<circle cx='108' cy='106' r='80'/>").is_some_and(|f| f.name == "off-middle"));
    }

    #[test]
    fn a_logo_in_an_empty_border_is_told_with_its_crop() {
        // A lighthouse's sign of 40 x 20 in the middle of 100 x 100, or beside it.
        let picture = |left: u32, ground: [u8; 4]| {
            let of = |x: u32, y: u32| (left..left + 160).contains(&x) && (160..240).contains(&y);
            let logo = image::RgbaImage::from_fn(400, 400, |x, y| {
                image::Rgba(if of(x, y) { [20, 40, 90, 255] } else { ground })
            });
            let mut file = std::io::Cursor::new(Vec::new());
            logo.write_to(&mut file, image::ImageFormat::Png).unwrap();
            file.into_inner()
        };
        let holds = |f: &Finding, drawn: [f64; 4]| {
            let crop = f.remedies[0].sets[0].1.parse::<Crop>().unwrap().window();
            let found = [crop.left, crop.top, crop.right, crop.bottom];
            let out = [drawn[0] - found[0], drawn[1] - found[1], found[2] - drawn[2], found[3] - drawn[3]];
            out.iter().all(|d| (-1e-9..0.006).contains(d))
        };
        let (white, nothing) = ([255; 4], [0; 4]);
        let (long, square) = (
            "blank = { shape = 'rect:120x60mm', margin = '0mm' }",
            "blank = { shape = 'rect:80x80mm', margin = '0mm' }",
        );
        for (job, times) in [(long, "5"), (square, "2.5")] {
            let f = found_in(&picture(120, white), job).unwrap();
            assert_eq!((f.name, f.severity), ("empty-border", Severity::Note));
            assert!(f.message.contains(&format!("{times} times as large")), "{}", f.message);
            assert!(holds(&f, [0.3, 0.4, 0.7, 0.6]), "{f:?}");
            let cropped = format!("{job}\nart = {{ crop = '30%,40%,40%,20%' }}");
            assert_eq!(found_in(&picture(120, white), &cropped), None);
            // What is transparent needs no room.
            assert_eq!(found_in(&picture(120, nothing), job), None);
        }
        for ground in [white, nothing] {
            let f = found_in(&picture(20, ground), long).unwrap();
            assert_eq!((f.name, f.severity), ("off-middle", Severity::Caution));
            assert!(holds(&f, [0.05, 0.4, 0.45, 0.6]), "{f:?}");
            // A page of the blank's proportions may be laid out so.
            let f = found_in(&picture(20, ground), square).unwrap();
            assert_eq!((f.name, f.severity), ("empty-border", Severity::Note));
        }
        // Where the ground is marked, nothing of it is empty; and what nearly fills its page gains too little.
        assert_eq!(found_in(&picture(120, white), &format!("{long}\ntone = {{ invert = true }}")), None);
        let wide = "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 100 50'><rect width='100' height='50' \
                    fill='white'/><rect x='9' y='9' width='82' height='32' fill='#14285a'/></svg>";
        assert_eq!(found_of(wide, "blank = { shape = 'rect:120x70mm' }"), None);
    }

    #[test]
    fn the_one_picture_among_layers_is_told_and_several_on_one_page_are_not() {
        let found = |more: &str| {
            let layer = "[[layer]]\nfile = 'name.svg'\nplace = '40x40mm'\n";
            let job = format!("blank = {{ shape = 'round:90mm' }}\n{layer}{more}");
            let plan = Plan::of(&job.parse().unwrap()).unwrap();
            let files = plan.layers.iter().filter(|l| matches!(l.shows, Shows::File(_))).count();
            let arts = (0..files)
                .map(|_| ("name.svg".to_string(), art::open(PAGE.as_bytes(), "'name.svg'").unwrap()));
            let layers = pipeline::layers(&plan, arts.collect(), &art::Opening::default(), None).unwrap();
            let wanted = pipeline::wanted(&plan, Shown::Layers(&layers), &Silent).unwrap();
            off_middle(&plan, Shown::Layers(&layers), &wanted)
        };
        let f = found("[[layer]]\nborder = '0.5mm'\n").unwrap();
        assert_eq!(f.remedies[0].sets[0].0, "layer.0.crop");
        assert_eq!(found("[[layer]]\nfile = 'name.svg'\nplace = '40x40mm'\n"), None);
    }
}
