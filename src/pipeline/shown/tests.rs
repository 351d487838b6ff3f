use super::*;
use crate::art;
use crate::findings::Remedy;
use crate::findings::layers::How;
use crate::job::Job;
use crate::job::asked::Reference;
use crate::pipeline::layers;
use crate::progress::Silent;

fn piece(job: &str) -> (Plan, Wanted) {
    of_job(job.parse().unwrap())
}

fn of_job(job: Job) -> (Plan, Wanted) {
    let plan = Plan::of(&job).unwrap();
    let arts = layers(&plan, Vec::new(), &art::Opening::default(), None).unwrap();
    let wanted = wanted(&plan, Shown::Layers(&arts), &Silent).unwrap();
    (plan, wanted)
}

/// The mean of the wanted mark in a box of the blank, mm from its upper left corner.
fn mean(wanted: &Wanted, x: (f64, f64), y: (f64, f64)) -> f64 {
    let rect = &wanted.placement.rect;
    let (mut sum, mut n) = (0.0, 0);
    for row in 0..rect.rows {
        for column in 0..rect.columns {
            let at = (
                rect.left.0 + (column as f64 + 0.5) * rect.grid.along.0,
                rect.top.0 + (row as f64 + 0.5) * rect.grid.across.0,
            );
            if (x.0..x.1).contains(&at.0) && (y.0..y.1).contains(&at.1) {
                sum += f64::from(wanted.tone.row(row)[column]);
                n += 1;
            }
        }
    }
    if n == 0 { 0.0 } else { sum / f64::from(n) }
}

#[test]
fn a_border_lies_where_it_is_asked_to() {
    let (_, wanted) =
        piece("blank = { shape = 'rect:40x20mm', margin = '1mm' }\n[[layer]]\nborder = '1mm'\ninset = '2mm'");
    assert!(mean(&wanted, (2.1, 2.9), (3.0, 17.0)) > 0.99);
    assert!(mean(&wanted, (37.1, 37.9), (3.0, 17.0)) > 0.99);
    assert!(mean(&wanted, (3.0, 37.0), (17.1, 17.9)) > 0.99);
    assert!(mean(&wanted, (3.2, 36.8), (3.2, 16.8)) == 0.0 && mean(&wanted, (0.0, 1.9), (0.0, 20.0)) == 0.0);
    assert_eq!((wanted.left_out.map(|l| l.share), wanted.placement.past_margin.0), (Some(0.0), 0.0));
}

#[test]
fn a_text_stands_at_its_anchor_and_is_as_large_as_its_box() {
    let of = |more: &str| {
        piece(&format!(
            "blank = {{ shape = 'rect:60x40mm', margin = '2mm' }}\n[[layer]]\ntext = 'HHH'\nplace = '30x5mm'\n{more}"
        ))
        .1
    };
    let left = of("anchor = 'top-left'").placement;
    // A line is 5 mm high: its letters reach from 0.03 of it below its upper end, as the height above the base line.
    assert!((left.rect.left.0 - 2.0).abs() < 0.1 && (left.rect.top.0 - 2.0).abs() < 0.1, "{left:?}");
    assert!((left.wished_height.0 - 5.0).abs() < 1.5 * 0.0875);
    let right = of("anchor = 'bottom-right'\nat = '-3mm,4mm'").placement;
    assert!((right.rect.left.0 + right.rect.width() - 55.0).abs() < 0.1, "{right:?}");
    assert!((right.rect.top.0 + right.rect.height() - 34.0).abs() < 0.1, "{right:?}");
    // In a wide box a text stands where its lines begin.
    let begins = of("anchor = 'middle'\nalign = 'left'").placement;
    assert!((begins.rect.left.0 - 15.0).abs() < 0.1, "{begins:?}");
    let turned = of("turn = 90").placement;
    assert!(turned.rect.height() > 2.0 * turned.rect.width());
}

#[test]
fn a_layer_clears_or_bares_what_lies_below() {
    let over = |more: &str| {
        piece(&format!(
            "blank = {{ shape = 'rect:40x40mm', margin = '1mm' }}\n[[layer]]\nborder = '15mm'\n[[layer]]\ntext = 'I'\nbold = true\nplace = '10x20mm'\nanchor = 'left'\nat = '4mm,0mm'\n{more}"
        ))
        .1
    };
    let (marked, bare, cleared) = (over(""), over("bare = true"), over("clear = '1mm'"));
    let around = |w: &Wanted| mean(w, (1.2, 15.8), (8.0, 32.0));
    assert!(around(&marked) > 0.99);
    assert!(around(&bare) < around(&marked) - 0.05);
    // The stroke itself is marked again within what was cleared around it.
    let middle = |w: &Wanted| mean(w, (6.5, 7.3), (15.0, 25.0));
    assert!(middle(&cleared) > 0.99 && middle(&bare) < 0.01, "{} {}", middle(&cleared), middle(&bare));
    assert!(around(&cleared) < around(&marked) - 0.05);
}

#[test]
fn a_text_along_an_arc_follows_it() {
    let of = |arc: f64| {
        piece(&format!(
            "blank = {{ shape = 'round:80mm', margin = '2mm' }}\n[[layer]]\ntext = 'EEEEEEEEEEEE'\nplace = '60x6mm'\narc_mm = {arc}"
        ))
        .1
    };
    let (top, bottom) = (of(30.0), of(-30.0));
    for (wanted, ring, upper) in
        [(&top, (30.0, 30.0 + 6.0 * 0.76), true), (&bottom, (30.0 - 6.0 * 0.76, 30.0), false)]
    {
        let rect = &wanted.placement.rect;
        let (mut all, mut on_ring, mut above) = (0.0, 0.0, 0.0);
        for y in 0..rect.rows {
            for (x, &v) in wanted.tone.row(y).iter().enumerate() {
                let dx = rect.left.0 + (x as f64 + 0.5) * rect.grid.along.0 - 40.0;
                let dy = rect.top.0 + (y as f64 + 0.5) * rect.grid.across.0 - 40.0;
                let r = dx.hypot(dy);
                all += f64::from(v);
                // Straight letters on a curve stand off it by a little at their corners.
                on_ring += if (ring.0 - 0.3..ring.1 + 0.3).contains(&r) { f64::from(v) } else { 0.0 };
                above += if dy < 0.0 { f64::from(v) } else { 0.0 };
            }
        }
        assert!(all > 100.0 && on_ring / all > 0.99, "{} of {all}", on_ring / all);
        assert!((above / all > 0.95) == upper, "{}", above / all);
    }
}

#[test]
fn what_is_to_be_said_of_a_picture_is_said_beside_a_border_too() {
    let svg =
        br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 8 8"><circle cx="4" cy="4" r="3"/></svg>"#;
    let mut coarse = image::RgbImage::new(40, 40);
    for (x, y, pixel) in coarse.enumerate_pixels_mut() {
        *pixel = image::Rgb([(x * 6) as u8, (y * 6) as u8, 120]);
    }
    let mut png = std::io::Cursor::new(Vec::new());
    coarse.write_to(&mut png, image::ImageFormat::Png).unwrap();
    let of = |bytes: &[u8], name: &str| {
        let job: Job = format!(
            "blank = {{ shape = 'rect:30x30mm', margin = '2mm' }}\nart = {{ file = '{name}' }}\n[[layer]]\nborder = '1mm'"
        )
        .parse()
        .unwrap();
        let plan = Plan::of(&job).unwrap();
        let art = art::open(bytes, name).unwrap();
        let arts = layers(&plan, vec![(name.into(), art)], &art::Opening::default(), None).unwrap();
        crate::pipeline::run_shown(&plan, Shown::Layers(&arts), name, &Silent).unwrap()
    };
    let outcome = of(png.get_ref(), "coarse.png");
    assert!(outcome.findings.iter().any(|f| f.name == "coarse-art"), "{:?}", outcome.findings);
    assert!(outcome.original.is_some() && outcome.report.art.read_as == "photo", "{:?}", outcome.report.art);
    let outcome = of(svg, "disc.svg");
    assert!(outcome.findings.iter().all(|f| f.name != "coarse-art"));
    assert!(outcome.original.is_some() && outcome.report.art.read_as == "drawing");
}

#[test]
fn a_piece_that_is_mirrored_has_its_texts_mirrored_too() {
    let of = |more: &str| {
        piece(&format!(
            "blank = {{ shape = 'rect:40x20mm', margin = '2mm' }}\n{more}\n[[layer]]\ntext = 'L'\nplace = '20x14mm'"
        ))
        .1
    };
    // Of an L the stem stands at the left.
    let (middle, half) = (20.0, 5.0);
    let left = |w: &Wanted| mean(w, (middle - half, middle), (5.0, 10.0));
    let right = |w: &Wanted| mean(w, (middle, middle + half), (5.0, 10.0));
    let (plain, mirrored) = (of(""), of("art = { mirror = true }"));
    assert!(left(&plain) > right(&plain) + 0.1, "{} {}", left(&plain), right(&plain));
    assert!(right(&mirrored) > left(&mirrored) + 0.1, "{} {}", left(&mirrored), right(&mirrored));
    let twice = of("art = { mirror = true }\n[[layer]]\ntext = 'L'\nplace = '20x14mm'\nmirror = true");
    assert!((left(&twice) - left(&plain)).abs() < 0.5, "one of the two stands as it was");
}

#[test]
fn a_text_in_the_middle_has_as_much_room_above_it_as_below() {
    for text in ["Bo", "gypsy", "\u{c5}SA"] {
        let (plan, wanted) =
            piece(&format!("blank = {{ shape = 'round:90mm', margin = '2mm' }}\n[[layer]]\ntext = '{text}'"));
        let rect = &wanted.placement.rect;
        let inked = |y: &usize| wanted.tone.row(*y).iter().any(|&v| v > 0.5);
        let rows: Vec<usize> = (0..rect.rows).filter(inked).collect();
        let at = |y: usize| rect.top.0 + y as f64 * rect.grid.across.0;
        let above = at(rows[0]);
        let below = plan.blank.shape.height() - at(rows[rows.len() - 1] + 1);
        assert!((above - below).abs() < 0.5, "{text}: {above} mm above, {below} mm below");
    }
}

#[test]
fn a_text_on_a_cylinder_can_be_read_from_one_side() {
    let mut job: Job =
        "blank = { shape = 'cylinder:80x95mm', margin = '3mm' }\n[[layer]]\ntext = 'Harbour Museum'"
            .parse()
            .unwrap();
    let turner = toml::from_str(include_str!("../../../samples/turner.toml")).unwrap();
    job.machine = Some(Reference::Whole(turner));
    let (_, wanted) = of_job(job);
    let third = std::f64::consts::PI * 80.0 / 3.0;
    let width = wanted.placement.rect.width();
    assert!(width < third + 0.2 && width > 0.9 * third, "{width}");
}

#[test]
fn a_text_across_what_is_marked_is_said_and_one_beside_it_is_not() {
    let of =
        |layers: &str| piece(&format!("blank = {{ shape = 'rect:60x60mm', margin = '2mm' }}\n{layers}")).1;
    let block = "[[layer]]\ntext = 'MMMM'\nbold = true\nplace = '50x20mm'\n";
    let over = of(&format!("{block}[[layer]]\ntext = 'Anna'\nplace = '40x12mm'")).meeting.crossing;
    assert_eq!(over.len(), 1);
    assert!((over[0].upper, over[0].how) == (1, How::Across) && over[0].lower == [0], "{over:?}");
    assert!(
        over[0].part.share > 0.2 && !over[0].clears_well,
        "to clear would spoil the text below: {over:?}"
    );
    let beside = "[[layer]]\ntext = 'Anna'\nplace = '40x8mm'\nanchor = 'bottom'";
    assert!(of(&format!("{block}{beside}")).meeting.crossing.is_empty());
    assert!(of("[[layer]]\nborder = '2mm'\n[[layer]]\ntext = 'Anna'").meeting.crossing.is_empty());
    // A text on a solid, cleared around or bare, is meant.
    let solid = "[[layer]]\nborder = '25mm'\n[[layer]]\ntext = 'Anna'\nplace = '40x12mm'\nanchor = 'top'\n";
    for meant in ["clear = '1mm'", "bare = true"] {
        assert_eq!(of(&format!("{solid}{meant}")).meeting, Meeting::default(), "{meant}");
    }
}

#[test]
fn one_letter_lost_of_a_long_text_is_said() {
    let of =
        |layers: &str| piece(&format!("blank = {{ shape = 'rect:100x60mm', margin = '2mm' }}\n{layers}")).1;
    let found = |layers: &str| of(layers).meeting.crossing;
    // A tower crosses one letter or two of a long name, which is little of all its ink.
    let tower = "[[layer]]\ntext = 'I'\nbold = true\nplace = '40x12mm'\n";
    let name = "[[layer]]\ntext = 'Volunteers of the Harbour Museum and its Lighthouse'\nplace = '96x8mm'\n";
    for (layers, how) in [(format!("{tower}{name}"), How::Across), (format!("{name}{tower}"), How::Across)] {
        let met = found(&layers);
        assert!(met.len() == 1 && met[0].how == how, "{met:?}");
    }
    let met = found(&format!("{tower}{name}"));
    assert!(met[0].part.share < 0.1 && met[0].part.letter.is_some_and(|share| share > 0.2), "{met:?}");
    assert!(found(&format!("{tower}{name}anchor = 'bottom'")).is_empty());
    // A line that runs a little into the tails of another.
    let lines = |up: f64| {
        found(&format!(
            "[[layer]]\ntext = 'Peggy Quigley'\nplace = '60x8mm'\n[[layer]]\ntext = 'HARBOUR MUSEUM'\nplace = '60x5mm'\nat = '0mm,{up}mm'"
        ))
    };
    assert!(lines(-5.0).len() == 1 && lines(-8.0).is_empty(), "{:?} {:?}", lines(-5.0), lines(-8.0));
}

#[test]
fn a_layer_that_is_lost_below_another_is_said() {
    let of =
        |layers: &str| piece(&format!("blank = {{ shape = 'rect:100x60mm', margin = '2mm' }}\n{layers}")).1;
    let found = |layers: &str| of(layers).meeting.crossing;
    // Half a name is cleared away around the letters above it.
    let name = "[[layer]]\ntext = 'Ida Sandmoor'\nplace = '60x8mm'\n";
    let cleared = found(&format!("{name}[[layer]]\ntext = 'O'\nplace = '40x40mm'\nclear = '2mm'"));
    assert!(cleared.len() == 1 && cleared[0].how == How::Clears && cleared[0].lower == [0], "{cleared:?}");
    // A small word vanishes under a large letter, little of which lies on it.
    let small = "[[layer]]\ntext = 'on'\nplace = '20x2mm'\n";
    let covered = found(&format!("{small}[[layer]]\ntext = 'I'\nbold = true\nplace = '90x54mm'"));
    assert!(
        covered.len() == 1 && covered[0].how == How::Covers && covered[0].part.share > 0.3,
        "{covered:?}"
    );
    assert!(found(&format!("{small}[[layer]]\ntext = 'O'\nbold = true\nplace = '90x54mm'")).is_empty());
    // Tails of letters that run into a border are too little to be covered, and are seen all the same; either may be above.
    let tails = "[[layer]]\ntext = 'jygq'\nplace = '60x8mm'\nanchor = 'bottom'\n";
    let border = "[[layer]]\nborder = '0.8mm'\n";
    for (layers, how) in
        [(format!("{tails}{border}"), How::Covers), (format!("{border}{tails}"), How::Across)]
    {
        let met = found(&layers);
        assert!(met.len() == 1 && met[0].how == how && met[0].part.share < 0.1, "{met:?}");
    }
    assert!(found(&format!("{tails}at = '0mm,1.8mm'\n{border}")).is_empty());
    // A border over it hides a text as well.
    let under = found(&format!("{name}[[layer]]\nborder = '25mm'"));
    assert!(under.len() == 1 && under[0].how == How::Covers, "{under:?}");
}

#[test]
fn a_border_that_leaves_a_slit_is_no_ground() {
    let (_, wanted) =
        piece("blank = { shape = 'rect:60x40mm', margin = '2mm' }\n[[layer]]\nborder = '17.5mm'\n");
    // 56 x 36 mm less the slit of 21 x 1 mm in its middle.
    let share = 1.0 - 21.0 / (56.0 * 36.0);
    let marked =
        wanted.tone.data().iter().map(|&v| f64::from(v)).sum::<f64>() / wanted.tone.data().len() as f64;
    assert!((marked - share).abs() < 0.003, "{marked} of {share}");
}

#[test]
fn photos_that_overlap_are_said_and_a_text_that_is_bare_on_one_is_not() {
    let mut grey = image::RgbImage::new(60, 60);
    for (x, y, pixel) in grey.enumerate_pixels_mut() {
        *pixel = image::Rgb([(90 + x * 2) as u8, (90 + y * 2) as u8, 120]);
    }
    let mut png = std::io::Cursor::new(Vec::new());
    grey.write_to(&mut png, image::ImageFormat::Png).unwrap();
    let of = |more: &str, files: usize| {
        let job: Job = format!(
            "blank = {{ shape = 'rect:40x40mm', margin = '2mm', place = '14x14mm' }}\nart = {{ file = 'ship.png', read_as = 'photo' }}\n{more}"
        )
        .parse()
        .unwrap();
        let plan = Plan::of(&job).unwrap();
        let opened =
            (0..files).map(|i| (format!("{i}.png"), art::open(png.get_ref(), "it").unwrap())).collect();
        let arts = layers(&plan, opened, &art::Opening::default(), None).unwrap();
        crate::pipeline::run_shown(&plan, Shown::Layers(&arts), "ship.png", &Silent).unwrap().findings
    };
    let photo = "[[layer]]\nfile = 'crew.png'\nread_as = 'photo'\nplace = '12x12mm'\n";
    let said = |found: &[crate::findings::Finding]| -> Vec<String> {
        found.iter().filter(|f| f.name == "layers-cross").map(|f| f.message.to_string()).collect()
    };
    let doubled = said(&of(photo, 2));
    assert!(doubled.len() == 1 && doubled[0].starts_with("1.png is marked over 0.png"), "{doubled:?}");
    let apart = said(&of(&format!("{}anchor = 'top-left'", photo.replace("12x12", "10x10")), 2));
    assert!(apart.is_empty(), "{apart:?}");
    for meant in ["bare = true", "clear = '0.6mm'"] {
        let text = said(&of(&format!("[[layer]]\ntext = 'Ida'\nplace = '20x8mm'\n{meant}"), 1));
        assert!(text.is_empty(), "{text:?}");
    }
}

#[test]
fn what_is_left_bare_where_nothing_is_marked_is_a_caution() {
    let job: Job = "blank = { shape = 'rect:40x30mm', margin = '2mm' }\n[[layer]]\ntext = 'I'\nplace = '20x8mm'\nanchor = 'top'\n[[layer]]\ntext = 'Anna'\nplace = '20x6mm'\nanchor = 'bottom'\nbare = true"
        .parse()
        .unwrap();
    let plan = Plan::of(&job).unwrap();
    let arts = layers(&plan, Vec::new(), &art::Opening::default(), None).unwrap();
    let outcome = crate::pipeline::run_shown(&plan, Shown::Layers(&arts), "it", &Silent).unwrap();
    let found = outcome.findings.iter().find(|f| f.name == "bare-unseen").unwrap();
    assert!(found.message.starts_with("'Anna' is to be left bare where hardly anything"), "{found:?}");
    assert!(outcome.report.notes.iter().all(|n| !n.says.contains("left bare")), "{:?}", outcome.report.notes);
}

#[test]
fn a_border_at_the_margin_of_a_round_blank_is_not_past_it() {
    for (shape, past) in [("round:90mm", false), ("rect:90x90mm:r20mm", false)] {
        let (_, wanted) =
            piece(&format!("blank = {{ shape = '{shape}', margin = '2.5mm' }}\n[[layer]]\nborder = '2mm'"));
        assert_eq!(wanted.placement.past_margin.0 > 0.0, past, "{shape}: {:?}", wanted.placement);
    }
    let (_, nearer) =
        piece("blank = { shape = 'round:90mm', margin = '2.5mm' }\n[[layer]]\nborder = '2mm'\ninset = '1mm'");
    assert!(nearer.placement.past_margin.0 > 1.0, "{:?}", nearer.placement);
}

#[test]
fn a_picture_is_spoken_of_as_it_was_asked_for() {
    // A small picture with little to tell a photo from a drawing by.
    let jpeg = include_bytes!("../../../tests/data/art/inks.jpg");
    let of = |what: &str| {
        let job: Job = format!(
            "blank = {{ shape = 'rect:40x30mm' }}\ndots = {{ screen = 'floyd-steinberg' }}\n{what}\n[[layer]]\nborder = '1mm'"
        )
        .parse()
        .unwrap();
        let plan = Plan::of(&job).unwrap();
        let opened = vec![("inks.jpg".into(), art::open(jpeg, "inks.jpg").unwrap())];
        let arts = layers(&plan, opened, &art::Opening::default(), None).unwrap();
        let outcome = crate::pipeline::run_shown(&plan, Shown::Layers(&arts), "inks.jpg", &Silent).unwrap();
        let own = outcome.original.is_some();
        let found = |name| outcome.findings.iter().find(|f| f.name == name).unwrap().remedies[0].clone();
        (own, found("reading-unsure"), found("coarse-art"))
    };
    let key = |remedy: &Remedy| remedy.sets[0].0.clone();
    let (own, asked, size) = of("art = { file = 'inks.jpg' }");
    assert!(own && asked.text.contains("then say --read-as drawing, or --read-as photo"), "{asked:?}");
    assert_eq!((key(&asked.answers[0]), key(&size)), ("art.read_as".into(), "blank.place".into()));
    let (own, asked, size) = of("[[layer]]\nfile = 'inks.jpg'");
    assert!(!own && asked.text.contains("say read_as = 'drawing' in its --layer, or"), "{asked:?}");
    assert_eq!((key(&asked.answers[0]), key(&size)), ("layer.0.read_as".into(), "layer.0.place".into()));
}

#[test]
fn what_mends_a_picture_among_layers_is_tried_too() {
    let mut tones = image::RgbImage::new(300, 300);
    for (x, y, pixel) in tones.enumerate_pixels_mut() {
        *pixel = image::Rgb([(x * 250 / 300) as u8, (y * 250 / 300) as u8, 120]);
    }
    let mut png = std::io::Cursor::new(Vec::new());
    tones.write_to(&mut png, image::ImageFormat::Png).unwrap();
    let job: Job = "blank = { shape = 'rect:20x20mm', margin = '1mm' }\nburn = { power = '90%', speed = '26mm/s' }\n\
                    dots = { screen = 'floyd-steinberg', pitch = '0.05mm' }\n\
                    [[layer]]\nfile = 'ship.png'\nread_as = 'photo'\nplace = '16x16mm'\n[[layer]]\nborder = '0.5mm'"
        .parse()
        .unwrap();
    let plan = Plan::of(&job).unwrap();
    let opened = vec![("ship.png".into(), art::open(png.get_ref(), "ship.png").unwrap())];
    let arts = layers(&plan, opened, &art::Opening::default(), None).unwrap();
    let outcome = crate::pipeline::run_shown(&plan, Shown::Layers(&arts), "ship.png", &Silent).unwrap();
    let coarse = outcome.findings.iter().find(|f| f.name == "coarse-art").unwrap();
    // A dot for each pixel needs lines so far apart that a solid gets too little.
    let wider = coarse.remedies.iter().find(|r| r.change == "pitch").unwrap();
    assert!(
        !wider.verified && wider.text.ends_with("; but then solids stay short of a full mark"),
        "{coarse:?}"
    );
}
