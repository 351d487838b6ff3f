//! A wedge as a whole: drawn, written as a program, replayed, looked at and read.

use dotwright::kernels::art::{Photo, open_photo};
use dotwright::kernels::blank::Blank;
use dotwright::kernels::colour::{linear_to_srgb, lstar, srgb_to_linear};
use dotwright::kernels::job::Job;
use dotwright::kernels::job::asked::Reference;
use dotwright::kernels::job::plan::resolve;
use dotwright::kernels::mark::{Beam, Response};
use dotwright::kernels::placement::Grid;
use dotwright::kernels::plane::Light;
use dotwright::kernels::progress::Silent;
use dotwright::kernels::scan::axis::Axis;
use dotwright::kernels::scan::limits::{BeamLag, Limits};
use dotwright::kernels::scan::replay::{ReplayOptions, replay};
use dotwright::kernels::units::{Mm, MmPerS, Share, Watts};
use dotwright::kernels::wedge::ask::{Ask, ReadingError};
use dotwright::kernels::wedge::draw::program::program;
use dotwright::kernels::wedge::draw::{Drawing, Request, Way, draw, steps};
use dotwright::kernels::wedge::measure::{Flat, gaps};
use dotwright::kernels::wedge::read::read_photo;
use dotwright::kernels::wedge::reading::Reading;
use dotwright::kernels::wedge::show::preview::preview;
use dotwright::kernels::wedge::show::process::process;
use dotwright::kernels::wedge::target::{Dial, Wedge, WedgeKind};

fn request(kind: WedgeKind, blank: &str) -> Request {
    Request {
        kind,
        blank: Blank { shape: blank.parse().unwrap(), margin: Mm(2.5) },
        machine: "bench diode".into(),
        coating: "harbour white".into(),
        rated_power: Watts(5.0),
        beam: Beam { along: Mm(0.12), across: Mm(0.12) },
        beam_measured: false,
        grid: Grid { along: Mm(0.1), across: Mm(0.1) },
        powers: steps(0.4, 1.0, 5, true).into_iter().map(Share).collect(),
        speeds: steps(6.0, 30.0, 5, true).into_iter().map(MmPerS).collect(),
        chosen: Dial { power: Share(0.9), speed: MmPerS(10.0), passes: 1 },
        marks_power: None,
        marks_speed: None,
        response: Response {
            y_unmarked: 0.03,
            y_marked: 0.65,
            y_char: 0.10,
            x_half: 2.2,
            rise: 6.25,
            x_char: 9.0,
            char_rise: 8.0,
            schwarzschild: 0.8,
            v0: MmPerS(12.5),
        },
        response_measured: false,
        screens: vec!["threshold".into()],
        coverages: steps(0.1, 1.0, 10, false).into_iter().map(Share).collect(),
        combs: 3,
        patch: Mm(4.0),
    }
}

/// The preview as if a scanner had seen it: straight from above, evenly lit.
fn seen(drawing: &Drawing) -> Photo {
    let (w, h, grey) = preview(drawing, 1);
    let picture = image::GrayImage::from_raw(w as u32, h as u32, grey).unwrap();
    shown(picture)
}

/// The photo that such a picture is.
fn shown(picture: impl Into<image::DynamicImage>) -> Photo {
    let picture = picture.into();
    let mut png = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut png, image::ImageFormat::Png).unwrap();
    open_photo(&png.into_inner(), "made").unwrap()
}

#[test]
fn the_program_of_a_wedge_replays_to_its_dots() {
    for (kind, blank) in [
        (WedgeKind::Exposure, "round:60mm"),
        (WedgeKind::Tone, "rect:80x60mm"),
        (WedgeKind::Timing, "rect:80x60mm"),
    ] {
        let request = request(kind, blank);
        let drawing = draw(&request).unwrap();
        let limits = Limits::default();
        let program = program(&drawing, &limits, request.blank).unwrap();
        let options = dotwright::kernels::scan::replay::ReplayOptions::new(&limits);
        let mut replayed = dotwright::kernels::scan::replay::replay(&program.bytes[..], &options).unwrap();
        assert!(replayed.against(&drawing.dots), "{kind:?}");
        let difference = replayed.report.difference.as_ref().unwrap();
        assert_eq!(format!("{} {}", difference.missing, difference.extra), "0 0", "{kind:?}");
        assert!(!replayed.report.power_left_on);
        assert_eq!(replayed.report.beam_on_in_rapid.count, 0);
        assert_eq!(replayed.report.beam_on_outside_blank.count, 0);
        let ends = program.bytes.ends_with(b"M2\n");
        assert!(ends && program.seconds > 60.0);
    }
}

#[test]
fn a_late_beam_is_taken_up_at_every_speed_of_a_wedge() {
    // 4 ms at 30 mm/s are 1.2 dots, at 6 mm/s a quarter of one.
    let late = Limits { lag: BeamLag::Seconds(0.004), ..Limits::default() };
    let request = request(WedgeKind::Exposure, "rect:60x60mm");
    let drawing = draw(&request).unwrap();
    let written = program(&drawing, &late, request.blank).unwrap();
    // Whoever replays it knows only what its comments say.
    let mut back = replay(&written.bytes[..], &ReplayOptions::new(&late)).unwrap();
    assert!(back.against(&drawing.dots) && back.report.difference.unwrap().same);
    assert!(written.bytes.starts_with(b"(job: exposure wedge"));
    // A timing wedge shows the whole lag, so nothing of it is taken up.
    let request = Request { kind: WedgeKind::Timing, ..request };
    let drawing = draw(&request).unwrap();
    let written = program(&drawing, &late, request.blank).unwrap();
    assert_eq!(written, program(&drawing, &Limits::default(), request.blank).unwrap());
}

#[test]
fn a_wedge_that_the_machine_cannot_burn_as_asked_is_refused() {
    let request = request(WedgeKind::Exposure, "rect:60x60mm");
    let drawing = draw(&request).unwrap();
    let refusal = |limits: &Limits| program(&drawing, limits, request.blank).unwrap_err().to_string();
    let plain = Limits::default();
    let at_the_edge = Limits { on_bed: Some((-5.0, 20.0)), ..plain.clone() };
    assert!(refusal(&at_the_edge).contains("leave the bed of 400 x 400 mm by"), "{}", refusal(&at_the_edge));
    let far_zero = Limits { x: Axis { zero: -500.0, ..plain.x }, ..plain.clone() };
    assert!(refusal(&far_zero).contains("leave the bed"), "{}", refusal(&far_zero));
    let coarse = Limits { full_scale_s: 1, ..plain.clone() };
    assert!(refusal(&coarse).contains("too few steps"), "{}", refusal(&coarse));
    let burning = Limits { footer: vec!["M3S1000".into()], ..plain };
    assert!(refusal(&burning).contains("switches the beam on"), "{}", refusal(&burning));
}

#[test]
fn the_same_request_gives_the_same_wedge_and_another_one_another_id() {
    let a = draw(&request(WedgeKind::Exposure, "round:90mm")).unwrap();
    assert!(a == draw(&request(WedgeKind::Exposure, "round:90mm")).unwrap());
    let b =
        draw(&Request { rated_power: Watts(10.0), ..request(WedgeKind::Exposure, "round:90mm") }).unwrap();
    assert_ne!(a.wedge.id, b.wedge.id);
    let text = a.wedge.to_toml().unwrap();
    assert!(Wedge::from_toml(&text).unwrap() == a.wedge);
    let forged = text.replacen("speed = \"30mm/s\"", "speed = \"31mm/s\"", 1);
    assert!(Wedge::from_toml(&forged).unwrap_err().to_string().contains("changed after it was drawn"));
}

#[test]
fn no_dot_of_a_wedge_lies_beyond_the_margin() {
    for blank in ["round:90mm", "rect:100x100mm:r8mm", "rect:100x60mm"] {
        let request = request(WedgeKind::Exposure, blank);
        let d = draw(&request).unwrap();
        for y in 0..d.dots.height() {
            let allowed = d.rect.allowed(&request.blank, y);
            let inside = (0..d.dots.width()).all(|x| !d.dots.get(x, y) || allowed.contains(&x));
            assert!(inside, "{blank}: row {y}");
        }
    }
}

#[test]
fn a_wedge_seen_from_above_is_read_as_it_was_drawn() {
    for (blank, lighter) in [("rect:100x100mm", true), ("round:90mm", true), ("rect:100x60mm", false)] {
        let mut request = request(WedgeKind::Exposure, blank);
        if !lighter {
            request.response = Response { y_unmarked: 0.7, y_marked: 0.06, y_char: 0.03, ..request.response };
        }
        let drawing = draw(&request).unwrap();
        let evidence = read_photo(&seen(&drawing), &drawing.wedge, &Ask::default(), &Silent).unwrap();
        let r = &evidence.reading;
        assert_eq!(r.marks_lighter, lighter);
        let response = drawing.wedge.expected.response();
        for (p, q) in drawing.wedge.patches.iter().zip(&r.patches) {
            let want = lstar(response.look(drawing.wedge.burn(&p.dial, response).x_solid));
            let got = q.lightness.get().unwrap();
            assert!((got - want).abs() < 1.0, "{blank} {}: {got} for {want}", p.name);
        }
        // The marks lie where the sheet says: the preview has 2 mm round the blank and 10 pixels a mm.
        let h = drawing.wedge.blank.height();
        for (m, px) in drawing.wedge.marks.iter().zip(&r.photo.marks_px) {
            let want = ((m.centre[0] + 2.0) * 10.0 - 0.5, (h - m.centre[1] + 2.0) * 10.0 - 0.5);
            assert!((px[0] - want.0).hypot(px[1] - want.1) < 1.0, "{blank}: {px:?} for {want:?}");
        }
        assert!(r.pick.is_some());
    }
}

#[test]
fn what_is_no_white_paper_leaves_all_looks_unmeasured() {
    let drawing = draw(&request(WedgeKind::Exposure, "rect:100x100mm")).unwrap();
    let (w, h, grey) = preview(&drawing, 1);
    // A card of this luminance in the corner beside the piece, where the preview has 2 mm of table.
    let read = |luminance: f64| {
        let mut picture = image::GrayImage::from_raw(w as u32, h as u32, grey.clone()).unwrap();
        let card = image::Luma([(255.0 * linear_to_srgb(luminance)).round() as u8]);
        (2..16).for_each(|y| (2..16).for_each(|x| picture.put_pixel(x, y, card)));
        let ask = Ask { white: Some([4.0, 4.0, 10.0, 10.0]), white_luminance: 0.87, ..Ask::default() };
        read_photo(&shown(picture), &drawing.wedge, &ask, &Silent).unwrap().reading
    };
    let says = |r: &Reading| r.notes.iter().any(|n| n.says.contains("is not white"));
    let paper = read(0.87);
    assert!(paper.scale.absolute && !says(&paper));
    assert!(process(&paper, &drawing.wedge, None).unmarked.is_some());
    // Against wood a full mark of 0.65 would have a luminance of 1.9; against a dark bench none at all can be read.
    for wood in [0.3, 0.1] {
        let reading = read(wood);
        assert!(!reading.scale.absolute && says(&reading), "{wood}");
        let file = process(&reading, &drawing.wedge, None);
        assert!(file.unmarked.is_none() && file.marked.is_none() && file.charred.is_none());
        for look in ["unmarked", "marked", "charred"] {
            assert!(file.not_measured[look].contains("is not white"), "{wood} {look}");
        }
        assert!(file.x_half.is_some());
    }
}

#[test]
fn unmarked_gaps_lie_beyond_the_outermost_patches_too_and_none_holds_a_dot() {
    for (kind, blank) in [
        (WedgeKind::Exposure, "rect:100x100mm"),
        (WedgeKind::Exposure, "round:90mm"),
        (WedgeKind::Exposure, "rect:100x60mm"),
        (WedgeKind::Tone, "round:90mm"),
        (WedgeKind::Combined, "rect:90x90mm"),
        (WedgeKind::Combined, "round:90mm"),
    ] {
        let drawing = draw(&request(kind, blank)).unwrap();
        let (rect, wedge) = (&drawing.rect, &drawing.wedge);
        let pitch = rect.grid.along.0;
        let samples = |mm: f64| (mm / pitch).round() as usize;
        let mut light = Light::filled(samples(wedge.blank.width()), samples(wedge.blank.height()), 0.03);
        let columns = light.width();
        for (x, y) in (0..rect.rows).flat_map(|y| (0..rect.columns).map(move |x| (x, y))) {
            if drawing.dots.get(x, y) {
                light.data_mut()[(y + samples(rect.top.0)) * columns + x + samples(rect.left.0)] = 0.65;
            }
        }
        let found = gaps(&Flat { light, per_mm: 1.0 / pitch }, wedge, 0.3);
        assert!(found.iter().all(|g| (g.light - 0.03).abs() < 1e-6), "{kind:?}, {blank}: {found:?}");
        // The charred patch beside the last column has less room round it.
        let grid = || wedge.patches.iter().filter(|p| !p.charred);
        let height = wedge.blank.height();
        let middles =
            |of: fn(f64, f64) -> f64, axis: usize| grid().map(|p| p.centre[axis]).reduce(of).unwrap();
        let (left, right) = (middles(f64::min, 0), middles(f64::max, 0));
        let (top, bottom) = (height - middles(f64::max, 1), height - middles(f64::min, 1));
        let beyond = |outside: &dyn Fn((f64, f64)) -> bool| found.iter().filter(|g| outside(g.at)).count();
        // Half a patch and the guard from its middle.
        let counts = [
            beyond(&|p| p.0 < left - 2.2),
            beyond(&|p| p.1 < top - 2.2),
            beyond(&|p| p.0 > right + 2.2),
            beyond(&|p| p.1 > bottom + 2.2),
        ];
        // At least one beside each outermost patch.
        let [columns, rows] = [0, 1].map(|axis| grid().map(|p| p.cell[axis] + 1).max().unwrap());
        let least = [rows, columns, rows, columns];
        assert!(counts.iter().zip(&least).all(|(n, least)| n >= least), "{kind:?}, {blank}: {counts:?}");
    }
}

#[test]
fn on_a_small_tag_no_label_and_no_tick_lies_on_what_is_taken_for_bare() {
    for kind in [WedgeKind::Exposure, WedgeKind::Combined] {
        let powers = steps(0.4, 1.0, 4, true).into_iter().map(Share).collect();
        let drawing = draw(&Request { powers, ..request(kind, "rect:60x30mm:r4mm") }).unwrap();
        let (rect, wedge) = (&drawing.rect, &drawing.wedge);
        // Five samples a dot: what a sharp photo shows.
        let fine = rect.grid.along.0 / 5.0;
        let samples = |mm: f64| (mm / fine).round() as usize;
        let (width, height) = (samples(wedge.blank.width()), samples(wedge.blank.height()));
        let mut light = Light::filled(width, height, 0.04);
        for (x, y) in (0..height).flat_map(|y| (0..width).map(move |x| (x, y))) {
            let (column, row) = (x.checked_sub(samples(rect.left.0)), y.checked_sub(samples(rect.top.0)));
            if let (Some(column), Some(row)) = (column, row)
                && (column / 5 < rect.columns && row / 5 < rect.rows)
                && drawing.dots.get(column / 5, row / 5)
            {
                light.data_mut()[y * width + x] = 0.48;
            }
        }
        let found = gaps(&Flat { light, per_mm: 1.0 / fine }, wedge, 0.11);
        let lit: Vec<_> = found.iter().filter(|g| (g.light - 0.04).abs() > 1e-6).collect();
        assert!(found.len() > 40 && lit.is_empty(), "{kind:?}: {lit:?} of {}", found.len());
    }
}

#[test]
fn a_soft_shadow_is_followed_to_the_outermost_patches() {
    let drawing = draw(&request(WedgeKind::Exposure, "rect:100x100mm")).unwrap();
    let (w, h, grey) = preview(&drawing, 1);
    let read = |shade: &dyn Fn(f64, f64) -> f64| -> Vec<f64> {
        // The preview has 10 pixels a mm.
        let code = |(i, &grey): (usize, &u8)| {
            let light = srgb_to_linear(f64::from(grey) / 255.0);
            let shaded = light * shade((i % w) as f64 / 10.0, (i / w) as f64 / 10.0);
            (linear_to_srgb(shaded) * 65535.0).round() as u16
        };
        let codes: Vec<u16> = grey.iter().enumerate().map(code).collect();
        let picture = image::ImageBuffer::<image::Luma<u16>, _>::from_raw(w as u32, h as u32, codes).unwrap();
        let evidence = read_photo(&shown(picture), &drawing.wedge, &Ask::default(), &Silent).unwrap();
        evidence.reading.patches.iter().map(|p| p.lightness.get().unwrap()).collect()
    };
    let even = read(&|_, _| 1.0);
    // Over one corner or another, its edge some 30 mm wide.
    for (right, down, middle) in [(1.0, 1.0, 30.0), (-1.0, 1.0, -40.0), (1.0, -1.0, -45.0)] {
        let away = |x: f64, y: f64| (right * x + down * y) / f64::sqrt(2.0) - middle;
        let shaded = read(&|x, y| 1.0 - 0.35 / (1.0 + (away(x, y) / 8.0).exp()));
        for ((p, even), shaded) in drawing.wedge.patches.iter().zip(&even).zip(&shaded) {
            assert!((even - shaded).abs() < 0.25, "{}: {shaded} under a shadow, {even} without", p.name);
        }
    }
}

#[test]
fn one_patch_shows_char_and_is_no_setting_to_pick() {
    for (blank, most) in [("round:90mm", 3.0), ("rect:100x100mm", 3.0), ("rect:100x60mm:r8mm", 3.0)] {
        // A beam of two pitches: the preview does not show the ripple that a narrower one leaves between lines.
        let beam = Beam { along: Mm(0.2), across: Mm(0.2) };
        let asked = Request { beam, ..request(WedgeKind::Exposure, blank) };
        let d = draw(&asked).unwrap();
        let charred: Vec<_> = d.wedge.patches.iter().filter(|p| p.charred).collect();
        let [patch] = charred[..] else { panic!("{blank}: {} charred patches", charred.len()) };
        // The strongest setting of the wedge, as often as it takes to get 2.2 times the exposure at half char.
        assert_eq!((patch.dial.power, patch.dial.speed), (Share(1.0), MmPerS(6.0)));
        let x = |passes| {
            let dial = Dial { passes, ..patch.dial };
            d.wedge.burn(&dial, asked.response).x_solid
        };
        assert!(x(patch.dial.passes) >= 19.8 && x(patch.dial.passes - 1) < 19.8, "{blank}: {:?}", patch.dial);
        assert!(patch.size.iter().all(|s| (2.0..=most).contains(s)), "{blank}: {:?}", patch.size);
        // Without it the look of char hangs on a patch or two that are half charred.
        let r = read_photo(&seen(&d), &d.wedge, &Ask::default(), &Silent).unwrap().reading;
        let y_char = r.response.as_ref().unwrap().y_char.get().unwrap();
        assert!((y_char / asked.response.y_char).ln().abs() < 0.05, "{blank}: {y_char}");
        assert_ne!(r.pick.unwrap().patch, patch.name);
    }
    // A coating that is not expected to char has none, and no other kind of wedge.
    let never = Response { x_char: f64::INFINITY, ..request(WedgeKind::Exposure, "round:90mm").response };
    let d = draw(&Request { response: never, ..request(WedgeKind::Exposure, "round:90mm") }).unwrap();
    assert!(d.wedge.patches.iter().all(|p| !p.charred));
    let d = draw(&request(WedgeKind::Tone, "rect:80x60mm")).unwrap();
    assert!(d.wedge.patches.iter().all(|p| !p.charred));
}

#[test]
fn the_reading_is_the_same_for_any_thread_count() {
    let drawing = draw(&request(WedgeKind::Exposure, "rect:60x60mm")).unwrap();
    let photo = seen(&drawing);
    let read = || read_photo(&photo, &drawing.wedge, &Ask::default(), &Silent).unwrap().reading;
    let one = serde_json::to_string(&dotwright::kernels::parallel::with_threads(1, read)).unwrap();
    for n in [2, 3, 7] {
        assert_eq!(serde_json::to_string(&dotwright::kernels::parallel::with_threads(n, read)).unwrap(), one);
    }
}

#[test]
fn a_photo_of_something_else_says_what_was_searched() {
    let drawing = draw(&request(WedgeKind::Exposure, "rect:60x60mm")).unwrap();
    let mut picture = image::GrayImage::new(900, 700);
    for (x, y, p) in picture.enumerate_pixels_mut() {
        p.0 = [((x * x / 50 + 3 * y) % 200) as u8];
    }
    let photo = shown(picture);
    let e = read_photo(&photo, &drawing.wedge, &Ask::default(), &Silent).unwrap_err();
    let text = e.to_string();
    assert!(matches!(e, ReadingError::NoMarks { .. }), "{text}");
    assert!(text.contains("three rings with a dot") && text.contains("--corners"), "{text}");
}

#[test]
fn a_wedge_is_not_read_with_the_file_of_another() {
    let a = draw(&request(WedgeKind::Exposure, "rect:100x100mm")).unwrap();
    let other = Request { rated_power: Watts(10.0), ..request(WedgeKind::Exposure, "rect:100x100mm") };
    let b = draw(&other).unwrap();
    let e = read_photo(&seen(&a), &b.wedge, &Ask::default(), &Silent).unwrap_err().to_string();
    assert!(e.contains(&a.wedge.id[..4]) && e.contains(&b.wedge.id), "{e}");
}

#[test]
fn a_wedge_that_missed_its_range_says_which_way_to_move() {
    let weak = Request {
        powers: steps(0.02, 0.06, 4, true).into_iter().map(Share).collect(),
        ..request(WedgeKind::Exposure, "rect:100x100mm")
    };
    let d = draw(&weak).unwrap();
    let r = read_photo(&seen(&d), &d.wedge, &Ask::default(), &Silent).unwrap().reading;
    assert!(
        r.notes.iter().any(|n| n.says.contains("under-burnt") && n.says.contains("lower speeds")),
        "{:?}",
        r.notes
    );
    assert!(r.pick.is_none() && r.response.unwrap().x_half_j_mm2.get().is_none());
}

#[test]
fn a_wedge_burnt_too_far_says_which_way_to_move() {
    let strong = Request {
        powers: steps(0.6, 1.0, 5, true).into_iter().map(Share).collect(),
        speeds: steps(2.0, 5.0, 5, true).into_iter().map(MmPerS).collect(),
        marks_power: Some(Share(0.9)),
        marks_speed: Some(MmPerS(12.5)),
        ..request(WedgeKind::Exposure, "rect:100x100mm")
    };
    let d = draw(&strong).unwrap();
    let evidence = read_photo(&seen(&d), &d.wedge, &Ask::default(), &Silent).unwrap();
    let missed = evidence.missed.unwrap();
    assert!(missed.contains("over-burnt") && missed.contains("higher speeds"), "{missed}");
    assert!(evidence.reading.pick.is_none());
}

#[test]
fn too_few_patches_for_the_fit_leave_the_response_unmeasured() {
    let small = Request {
        powers: vec![Share(0.6), Share(1.0)],
        speeds: vec![MmPerS(8.0), MmPerS(20.0)],
        ..request(WedgeKind::Exposure, "rect:60x60mm")
    };
    let d = draw(&small).unwrap();
    let r = read_photo(&seen(&d), &d.wedge, &Ask::default(), &Silent).unwrap().reading;
    assert!(r.patches.iter().all(|p| p.lightness.get().is_some()));
    let response = r.response.unwrap();
    assert!(response.x_half_j_mm2.get().is_none() && response.schwarzschild.get().is_none());
    assert!(r.notes.iter().any(|n| n.says.contains("the response needs 5")), "{:?}", r.notes);
}

/// The photo with a thumb over a finder mark.
fn covered(photo: &Photo, at: [f64; 2], radius: f64) -> Photo {
    let mut photo = photo.clone();
    let width = photo.light.width();
    for (i, v) in photo.light.data_mut().iter_mut().enumerate() {
        let (x, y) = ((i % width) as f64, (i / width) as f64);
        if (x - at[0]).hypot(y - at[1]) < radius {
            *v = 0.2;
        }
    }
    photo
}

#[test]
fn three_finder_marks_do_where_the_patches_settle_the_rest() {
    for blank in ["rect:100x100mm", "round:90mm"] {
        let d = draw(&request(WedgeKind::Exposure, blank)).unwrap();
        let photo = seen(&d);
        let whole = read_photo(&photo, &d.wedge, &Ask::default(), &Silent).unwrap().reading;
        // A thumb reaches in from the edge.
        let radius = 1.05 * d.wedge.marks[0].diameter.0 * 10.0;
        for (i, at) in whole.photo.marks_px.iter().enumerate() {
            // Once wholly under the thumb, once with a part of it looking out.
            for beside in [0.0, 0.7 * radius] {
                let thumb = covered(&photo, [at[0] + beside, at[1]], radius);
                let r = read_photo(&thumb, &d.wedge, &Ask::default(), &Silent).unwrap().reading;
                assert!(
                    r.notes.iter().any(|n| n.says.contains("one of the four")),
                    "{blank} {i} {beside}: {:?} {:?} {at:?}",
                    r.notes,
                    r.photo.marks_px
                );
                let p = r.photo.marks_px[i];
                // 10 pixels a mm: 0.15 mm.
                assert!((p[0] - at[0]).hypot(p[1] - at[1]) < 1.5, "{blank} {i}: {p:?} for {at:?}");
            }
        }
    }
}

#[test]
fn two_finder_marks_do_not_do() {
    let d = draw(&request(WedgeKind::Exposure, "rect:100x100mm")).unwrap();
    let photo = seen(&d);
    let marks = read_photo(&photo, &d.wedge, &Ask::default(), &Silent).unwrap().reading.photo.marks_px;
    let thumbs = covered(&covered(&photo, marks[1], 60.0), marks[2], 60.0);
    let e = read_photo(&thumbs, &d.wedge, &Ask::default(), &Silent).unwrap_err().to_string();
    assert!(e.contains("--corners"), "{e}");
}

/// The drawing as a machine burns it whose beam comes late: every comb shifted along its own motion.
fn late(drawing: &Drawing, seconds: f64) -> Drawing {
    let mut shifted = drawing.clone();
    for part in &mut shifted.parts {
        let sign = match part.way {
            Way::Both => continue,
            Way::Right => 1.0,
            Way::Left => -1.0,
        };
        part.rect.left.0 += sign * part.dial.speed.0 * seconds;
    }
    shifted
}

#[test]
fn the_lag_of_a_timing_wedge_is_what_the_scan_program_takes_up() {
    // 5 ms at 8, 12 and 20 mm/s are 0.04, 0.06 and 0.1 mm: whole samples of 0.02 mm.
    let timing = Request {
        speeds: vec![MmPerS(8.0), MmPerS(12.0), MmPerS(20.0)],
        // That of the job below: a lag holds for the machine that it was measured on.
        machine: "diode 5 W".into(),
        ..request(WedgeKind::Timing, "rect:80x60mm")
    };
    let drawing = draw(&timing).unwrap();
    let (w, h, grey) = preview(&late(&drawing, 0.005), 5);
    let sharp = image::GrayImage::from_raw(w as u32, h as u32, grey).unwrap();
    // Halved: edges without any blur would be placed to a whole sample only.
    let filter = image::imageops::FilterType::Triangle;
    let picture = image::imageops::resize(&sharp, w as u32 / 2, h as u32 / 2, filter);
    let photo = shown(picture);
    let r = read_photo(&photo, &drawing.wedge, &Ask::default(), &Silent).unwrap().reading;
    // Check value M08: opposite directions come apart by 2 v tau.
    for lag in &r.lags {
        let offset = lag.offset_mm.get().unwrap();
        assert!((offset - 2.0 * lag.speed_mm_s * 0.005).abs() < 0.01, "{lag:?}");
    }
    let process = process(&r, &drawing.wedge, None);
    let measured = process.lag_ms.as_ref().unwrap().value;
    assert!((measured - 5.0).abs() < 0.2, "{measured}");
    let job = Job { process: Some(Reference::Whole(Box::new(process))), ..Job::default() };
    let limits = resolve(&job).unwrap().machine().limits();

    // A job at one speed, written for that machine: burnt late by the true lag, its dots lie where they belong.
    let one_speed = Request {
        speeds: vec![MmPerS(12.0)],
        chosen: Dial { power: Share(0.9), speed: MmPerS(12.0), passes: 1 },
        marks_power: Some(Share(0.9)),
        marks_speed: Some(MmPerS(12.0)),
        ..request(WedgeKind::Exposure, "rect:60x60mm")
    };
    let d = draw(&one_speed).unwrap();
    let written = program(&d, &limits, one_speed.blank).unwrap();
    let missing = |lag_mm: f64| {
        let mut options = dotwright::kernels::scan::replay::ReplayOptions::new(&limits);
        options.lag = Some(dotwright::kernels::scan::limits::BeamLag::Mm(lag_mm));
        let mut burnt = dotwright::kernels::scan::replay::replay(&written.bytes[..], &options).unwrap();
        burnt.against(&d.dots);
        let difference = burnt.report.difference.as_ref().unwrap();
        difference.missing + difference.extra
    };
    assert_eq!(missing(12.0 * 0.005), 0);
    // Without the lag the lines of opposite directions lie 1.2 dots apart.
    assert!(missing(0.0) > 1000 && missing(-12.0 * 0.005) > 1000);
}

#[test]
fn corners_given_by_hand_replace_the_search() {
    let d = draw(&request(WedgeKind::Exposure, "rect:100x100mm")).unwrap();
    let photo = seen(&d);
    let found = read_photo(&photo, &d.wedge, &Ask::default(), &Silent).unwrap().reading;
    let near: Vec<(f64, f64)> = found.photo.marks_px.iter().map(|m| (m[0] + 4.0, m[1] - 3.0)).collect();
    let ask = Ask { corners: near, ..Ask::default() };
    let by_hand = read_photo(&photo, &d.wedge, &ask, &Silent).unwrap().reading;
    for (a, b) in found.photo.marks_px.iter().zip(&by_hand.photo.marks_px) {
        assert!((a[0] - b[0]).hypot(a[1] - b[1]) < 0.05, "{a:?} {b:?}");
    }
    let three = Ask { corners: vec![(1.0, 1.0); 3], ..Ask::default() };
    assert!(read_photo(&photo, &d.wedge, &three, &Silent).unwrap_err().to_string().contains("give four"));
}

#[test]
fn a_combined_wedge_tells_everything_from_one_photo() {
    let mut asked = request(WedgeKind::Combined, "rect:90x90mm");
    asked.screens = vec!["auto".into(), "floyd-steinberg".into()];
    asked.chosen = Dial { power: Share(0.9), speed: MmPerS(11.0), passes: 1 };
    // A beam of two pitches: the preview does not show the ripple that a narrower one leaves between lines.
    asked.beam = Beam { along: Mm(0.2), across: Mm(0.2) };
    let d = draw(&asked).unwrap();
    let w = &d.wedge;
    let of = |pattern: &str| w.patches.iter().filter(|p| format!("{:?}", p.pattern) == pattern).count();
    assert_eq!((of("LinesAlong"), of("LinesAcross"), of("Dots")), (5, 5, 5));
    assert_eq!(w.patches.iter().filter(|p| p.is_setting()).count(), 25);
    assert_eq!(w.combs.len(), 3);
    // Fine lines across the scan and screens are burnt one way: a late beam would pass for a wider one.
    let one_way = d.parts.iter().filter(|p| p.way == Way::Right && p.name.starts_with("PATCH")).count();
    assert_eq!(one_way, 10 + of("Screen"));
    let r = read_photo(&seen(&d), w, &Ask::default(), &Silent).unwrap().reading;
    assert!(r.pick.is_some() && r.response.as_ref().unwrap().x_half_j_mm2.get().is_some());
    assert_eq!((r.dot_gain.len(), r.lags.len()), (2, 3));
    assert!(r.beam.is_some());
    // What is picked is a setting of the grid, never a solid of a screen's row.
    let pick = r.pick.as_ref().unwrap();
    assert!(w.patches.iter().any(|p| p.is_setting() && p.name == pick.patch));
    // The patches are kept, and a later sheet takes them in: read again with them, the answer stays.
    let file = process(&r, w, None);
    assert_eq!(file.sheet.len(), 1);
    assert_eq!(file.sheet[0].patch.len(), w.patches.len() - of("Screen"));
    let charred = |of: &mut dyn Iterator<Item = bool>| of.filter(|charred| *charred).count();
    let burnt = charred(&mut w.patches.iter().map(|p| p.charred));
    assert_eq!((burnt, charred(&mut file.sheet[0].patch.iter().map(|p| p.charred))), (1, 1));
    let text = toml::to_string_pretty(&file).unwrap();
    let back: dotwright::kernels::job::ProcessFile = toml::from_str(&text).unwrap();
    assert_eq!(back, file);
    let tone = draw(&request(WedgeKind::Tone, "rect:80x60mm")).unwrap();
    let ask = Ask { earlier: file.sheet, ..Ask::default() };
    let both = read_photo(&seen(&tone), &tone.wedge, &ask, &Silent).unwrap().reading;
    let x = |r: &dotwright::kernels::wedge::reading::Reading| r.response.as_ref().unwrap().x_half_j_mm2.get();
    assert!((x(&both).unwrap() / x(&r).unwrap() - 1.0).abs() < 0.1, "{:?} {:?}", x(&both), x(&r));
}

#[test]
fn wedges_of_the_usual_range_burn_in_the_time_that_is_promised() {
    use dotwright::kernels::wedge::draw::usual_range;
    for (kind, columns, rows, minutes) in
        [(WedgeKind::Exposure, 6, 6, 20.0), (WedgeKind::Combined, 6, 5, 35.0)]
    {
        for blank in ["rect:100x100mm", "round:90mm"] {
            let mut asked = request(kind, blank);
            asked.grid = Grid { along: Mm(0.0875), across: Mm(0.0875) };
            let u = usual_range(asked.rated_power, asked.grid.across, &asked.response, MmPerS(100.0));
            asked.powers = steps(u.powers.0.0, u.powers.1.0, rows, true).into_iter().map(Share).collect();
            asked.speeds = steps(u.speeds.0.0, u.speeds.1.0, columns, true).into_iter().map(MmPerS).collect();
            asked.screens = vec!["blue-noise".into(), "floyd-steinberg".into()];
            asked.chosen = Dial { power: Share(0.9), speed: MmPerS(12.5), passes: 1 };
            let d = draw(&asked).unwrap();
            let mut limits = Limits::default();
            limits.x.acceleration = 500.0;
            limits.y.acceleration = 500.0;
            let seconds = program(&d, &limits, asked.blank).unwrap().seconds;
            assert!(seconds < 60.0 * minutes, "{kind:?} {blank}: {:.1} min", seconds / 60.0);
        }
    }
}
