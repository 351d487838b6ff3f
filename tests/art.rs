//! Picture files against what Pillow reads from them, and files that must be refused.
//!
//! The files and their expected values are made by tests/outside/make_art_data.py.

use std::path::PathBuf;

use dotwright::kernels::art::{
    Art, Kind, OpenError, Patience, View, Window, open, open_path, open_within, reading, render,
};
use dotwright::kernels::colour::srgb_to_linear;
use proptest::prelude::*;
use serde_json::Value;

fn path(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data/art").join(name)
}

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(path(name)).unwrap()
}

fn refused(data: &[u8]) -> String {
    let said = open(data, "'picture'").map(|a| a.describe()).unwrap_err().to_string();
    assert!(!said.contains('\n') && said.len() < 400, "{said}");
    said
}

fn numbers(v: &Value) -> Vec<Vec<f64>> {
    serde_json::from_value(v.clone()).unwrap()
}

/// `tests/data/heic`: made by libheif and x265, and what libheif decodes from them (`make_heic_data.py`).
#[test]
fn photos_of_telephones_give_the_light_that_libheif_reads() {
    // libheif repeats the colour of a coarser grid, the decoder here interpolates it: that moves the light by up to
    // 0.014 at a sharp edge of this scene, and by 0.001 on the mean. Where there is no coarser grid nothing may differ
    // beyond half a code of 8 bits at the brightest (0.0045).
    const EXACT: [&str; 4] = ["full-colour", "grey", "lossless", "odd-full-colour"];
    let folder = path("../heic");
    let mut seen = 0;
    for entry in std::fs::read_dir(&folder).unwrap() {
        let file = entry.unwrap().path();
        if file.extension().is_none_or(|e| e != "heic") {
            continue;
        }
        let name = file.file_stem().unwrap().to_string_lossy().into_owned();
        let Art::Raster(got) = open_path(&file).unwrap() else { panic!("{name}") };
        let Art::Raster(want) = open_path(&file.with_extension("png")).unwrap() else { panic!("{name}") };
        assert_eq!(got.facts.format.to_string(), "HEIC");
        let size = |r: &dotwright::kernels::art::Raster| (r.light.width(), r.light.height());
        assert_eq!(size(&got), size(&want), "{name}");
        assert_eq!(got.alpha.is_some(), want.alpha.is_some(), "{name}");
        let off = |a: &[f32], b: &[f32]| -> (f32, f32) {
            let all: Vec<f32> = a.iter().zip(b).map(|(a, b)| (a - b).abs()).collect();
            (all.iter().copied().fold(0.0, f32::max), all.iter().sum::<f32>() / all.len() as f32)
        };
        let (worst, mean) = off(got.light.data(), want.light.data());
        let (most, on_mean) = if EXACT.contains(&name.as_str()) { (1e-6, 1e-6) } else { (0.014, 0.0012) };
        assert!(worst <= most && mean <= on_mean, "{name}: {worst} and {mean}");
        if let (Some(a), Some(b)) = (&got.alpha, &want.alpha) {
            // Of ten bits the PNG keeps the upper eight, cut and not rounded: three codes of 1023 are lost at most.
            let most = if name.starts_with("ten") { 3.0 / 1023.0 } else { 0.0 };
            assert!(off(a.data(), b.data()).0 <= most + 1e-6, "{name}");
        }
        seen += 1;
    }
    assert_eq!(seen, 22);
}

#[test]
fn a_photo_of_a_telephone_that_is_cut_off_or_changed_is_refused_or_read_and_never_worse() {
    let whole = std::fs::read(path("../heic/tiles.heic")).unwrap();
    for length in (0..whole.len()).step_by(97) {
        assert!(open(&whole[..length], "'photo'").is_err(), "{length} bytes");
    }
    for at in 0..whole.len().min(900) {
        let mut changed = whole.clone();
        changed[at] ^= 0x55;
        if let Err(e) = open(&changed, "'photo'") {
            assert!(e.to_string().starts_with("'photo' ") && e.to_string().len() < 300, "{e}");
        }
    }
}

#[test]
fn every_format_gives_the_light_and_alpha_that_pillow_reads() {
    let expected: Value = serde_json::from_slice(&bytes("expected.json")).unwrap();
    let mut faults = Vec::new();
    for (name, want) in expected.as_object().unwrap() {
        let art = match open_path(&path(name)) {
            Ok(Art::Raster(r)) => r,
            Ok(_) => panic!("{name} is a drawing"),
            Err(e) => {
                faults.push(e.to_string());
                continue;
            }
        };
        let tolerance = want["tolerance"].as_f64().unwrap();
        let alpha = want.get("alpha").map(numbers);
        let rows = numbers(&want["y"]);
        if (art.light.height(), art.light.width()) != (rows.len(), rows[0].len()) {
            faults.push(format!("{name}: {} x {}", art.light.width(), art.light.height()));
            continue;
        }
        if alpha.is_some() != art.alpha.is_some() {
            faults.push(format!("{name}: alpha {:?}", art.alpha.is_some()));
            continue;
        }
        let mut worst: f64 = 0.0;
        for (y, row) in rows.iter().enumerate() {
            for (x, &v) in row.iter().enumerate() {
                let cover = alpha.as_ref().map_or(1.0, |a| a[y][x]);
                if let Some(a) = &art.alpha {
                    worst = worst.max((f64::from(a.row(y)[x]) - cover).abs());
                }
                if cover > 0.0 {
                    worst = worst.max((f64::from(art.light.row(y)[x]) - v).abs());
                }
            }
        }
        if worst > tolerance {
            faults.push(format!("{name}: off by {worst}, at most {tolerance}"));
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn sixteen_bits_are_kept() {
    let Art::Raster(art) = open_path(&path("deep.png")).unwrap() else { panic!() };
    assert_eq!(art.facts.bits, 16);
    // Check value T04: code 32768 and code 32896 (128 · 257), and the step between 32768 and 32769.
    let row = art.light.row(0);
    assert!((f64::from(row[0]) - 0.214_048_202_298_185_2).abs() < 1e-7);
    assert!((f64::from(row[2]) - 0.215_860_500_113_899_26).abs() < 1e-7);
    assert!(row[1] > row[0]);
}

#[test]
fn a_file_tells_its_own_resolution() {
    let dpi = |name: &str| match open_path(&path(name)).unwrap() {
        Art::Raster(r) => r.facts.resolution.map(|r| r.x_dpi),
        Art::Vector(_) => None,
    };
    // Check value U07: pHYs 11969 a metre reads back as 304.0126.
    assert!((dpi("alpha.png").unwrap() - 304.0126).abs() < 1e-9);
    assert_eq!(dpi("progressive.jpg"), Some(254.0));
    assert_eq!(dpi("rgb.png"), None);
}

#[test]
fn a_name_that_lies_does_not_matter() {
    let dir = tempfile::tempdir().unwrap();
    let lie = dir.path().join("picture.gif");
    std::fs::copy(path("rgb.png"), &lie).unwrap();
    assert!(open_path(&lie).unwrap().describe().starts_with("PNG, 7 x 5, 8 bits"));
}

#[test]
fn a_file_that_is_cut_off_is_refused_wherever_it_is_cut() {
    for name in [
        "whole.jpg",
        "whole-progressive.jpg",
        "whole.png",
        "whole.bmp",
        "whole.tif",
        "whole.webp",
        "whole.gif",
    ] {
        let whole = bytes(name);
        open(&whole, name).unwrap();
        for share in [10, 30, 50, 70, 90, 97] {
            let cut = &whole[..whole.len() * share / 100];
            let said = refused(cut);
            assert!(said.contains("cut off") || said.contains("damaged"), "{name} at {share} %: {said}");
        }
    }
    let jpeg = bytes("whole.jpg");
    assert!(refused(&jpeg[..jpeg.len() - 2]).contains("is cut off"));
}

#[test]
fn a_header_that_claims_too_much_is_refused_with_the_bounds() {
    let said = refused(&bytes("liar.png"));
    assert!(said.contains("60000 x 60000") && said.contains("250 megapixels and 2 GiB"), "{said}");
    assert!(refused(&bytes("zero.png")).contains("picture"));
}

#[test]
fn a_kind_that_no_decoder_reads_is_named() {
    let said = refused(&bytes("palette.tif"));
    assert!(said.contains("RGBPalette") && said.contains("save it as PNG or TIFF"), "{said}");
}

#[test]
fn what_is_no_picture_is_refused_in_one_sentence() {
    assert_eq!(refused(b""), "'picture' is empty; copy or export it again");
    assert!(refused(b"hello there").contains("is text, which cannot be opened"));
    assert!(refused(&[0, 159, 146, 150, 3, 3]).contains("is not a picture"));
    let e: OpenError = open_path(&path("no-such-file.png")).unwrap_err();
    assert!(e.to_string().contains("no-such-file.png' cannot be read"), "{e}");
    assert!(open_path(&path("")).unwrap_err().to_string().contains("it is a folder"));
}

#[test]
fn a_compressed_drawing_opens_and_a_bomb_does_not() {
    let art = open_path(&path("packed.svgz")).unwrap();
    assert_eq!(art.size(), (20.0, 10.0));
    assert!(refused(&bytes("bomb.svgz")).contains("longer than 64 MiB"));
}

#[test]
fn drawings_never_reach_outside_and_never_run_away() {
    let svg = |body: &str| {
        format!(
            "<svg xmlns='http://www.w3.org/2000/svg' xmlns:xlink='http://www.w3.org/1999/xlink' width='10' height='10'>{body}</svg>"
        )
    };
    let outside = refused(svg("<image xlink:href='file:///etc/passwd' width='5' height='5'/>").as_bytes());
    assert!(outside.contains("file:///etc/passwd") && outside.contains("never followed"));
    let entity = "<!DOCTYPE svg [<!ENTITY a SYSTEM 'file:///etc/passwd'>]><svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'><text>&a;</text></svg>";
    let _ = open(entity.as_bytes(), "'picture'");
    let mut laughs = "<!DOCTYPE svg [<!ENTITY a0 '<g/>'>".to_string();
    for i in 1..12 {
        laughs += &format!("<!ENTITY a{i} '{}'>", format!("&a{};", i - 1).repeat(10));
    }
    laughs += "]><svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'>&a11;</svg>";
    assert!(refused(laughs.as_bytes()).contains("once its entities are replaced"));
    assert!(refused(svg(&"<g>".repeat(200_000)).as_bytes()).contains("nests"));
    let liar = "<image width='9' height='9' href='data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAA6mAAAOpgCAIAAADeVkGAAAAACklEQVR4nGMAAQAABQABDQottAAAAABJRU5ErkJggg=='/>";
    let said = refused(svg(liar).as_bytes());
    assert!(said.contains("60000 x 60000") || said.contains("damaged"), "{said}");
    // Nested as deep as is allowed it opens and draws.
    let deep = svg(&format!(
        "{}<rect width='10' height='10'/>{}",
        "<g opacity='0.99'>".repeat(200),
        "</g>".repeat(200)
    ));
    let art = open(deep.as_bytes(), "'picture'").unwrap();
    assert!(render(&art, &View::default(), 20, 20, Kind::Drawing).unwrap().alpha.is_some());
}

/// A drawing of 20 x 16 units.
fn drawing(body: &str) -> String {
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' xmlns:xlink='http://www.w3.org/1999/xlink' width='20' height='16'>{body}</svg>"
    )
}

/// What is said when a drawing is opened and drawn in two sizes, as a job does; `None` when it comes out.
fn complaint(text: &str) -> Option<String> {
    let art = match open(text.as_bytes(), "'drawing.svg'") {
        Ok(art) => art,
        Err(e) => return Some(e.to_string()),
    };
    [(1024, 819), (200, 160)].into_iter().find_map(|(columns, rows)| {
        render(&art, &View::default(), columns, rows, Kind::Drawing).err().map(|e| e.to_string())
    })
}

#[test]
fn a_kilobyte_of_drawing_never_asks_for_more_than_it_is_given() {
    let filtered = |f: &str| {
        drawing(&format!("<filter id='f'>{f}</filter><rect width='20' height='16' filter='url(#f)'/>"))
    };
    let stroked = |d: &str, more: &str| drawing(&format!("<path d='{d}' fill='none' stroke='#000' {more}/>"));
    let nested = |n: usize| {
        let mut inner =
            "<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'><rect width='9' height='9'/></svg>"
                .to_string();
        for _ in 0..n {
            let data: String = inner.bytes().map(|b| format!("%{b:02x}")).collect();
            inner = format!(
                "<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'><image width='9' height='9' href='data:image/svg+xml,{data}'/></svg>"
            );
        }
        inner
    };
    let far = "more than ten million dots beyond the art";
    let late = "takes more than 30 s to draw";
    let memory = "need more than 2 GiB";
    let laughs: String = (1..8).fold("<!ENTITY a0 'ahoy ahoy '>".into(), |s: String, i| {
        s + &format!("<!ENTITY a{i} '{}'>", format!("&a{};", i - 1).repeat(10))
    });
    let cases: Vec<(&str, String, &str)> = vec![
        ("a far corner, turned", drawing("<path transform='rotate(135)' d='M0 0L1e9 1e9L0 5Z'/>"), far),
        ("a far corner", drawing("<path d='M0 0L1e9 1e9L0 5Z'/>"), far),
        ("corners beyond all numbers", drawing("<path d='M-1e38 -1e38L1e38 1e38L0 5Z'/>"), "more than a thousand million"),
        ("an arc of pieces without end", drawing("<path d='M0 0A9 1e37 0 1 0 20 24'/>"), "more than a thousand million"),
        ("a far curve with a wide stroke", stroked("M-1e9 -1e9C1e9 1e9 -1e9 1e9 1e9 -1e9", "stroke-width='3e8'"), far),
        ("a stroke of a thousand kilometres", stroked("M0 0L9 9", "stroke-width='1e9'"), far),
        ("a far picture", drawing("<g transform='scale(1e8)'><image width='9' height='9' href='data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGNgAAAAAgABSK+kcQAAAABJRU5ErkJggg=='/></g>"), far),
        ("turbulence of many octaves", filtered("<feTurbulence baseFrequency='.05' numOctaves='99999'/>"), late),
        ("a wide morphology", filtered("<feMorphology radius='300'/>"), late),
        ("a wide blur, many times", filtered(&"<feGaussianBlur stdDeviation='900'/>".repeat(3000)), late),
        ("a large kernel, many times", filtered(&format!("<feConvolveMatrix order='99' kernelMatrix='{}'/>", "1 ".repeat(99 * 99)).repeat(3)), late),
        ("lighting, many times", filtered(&"<feDiffuseLighting><fePointLight x='1' y='1' z='1'/></feDiffuseLighting>".repeat(4000)), late),
        ("a vast tile", drawing("<pattern id='p' width='1e5' height='1e5' patternUnits='userSpaceOnUse'><rect width='1' height='1'/></pattern><rect width='20' height='16' fill='url(#p)'/>"), memory),
        ("tiles of tiles", drawing(&format!("{}<rect width='20' height='16' fill='url(#p9)'/>", (0..10).map(|i| format!("<pattern id='p{i}' width='20' height='16' patternUnits='userSpaceOnUse'>{}</pattern>", if i == 0 { "<rect width='9' height='9'/>".into() } else { format!("<rect width='20' height='16' fill='url(#p{})'/>", i - 1).repeat(9) })).collect::<String>())), "more than 1000000 elements"),
        ("endless dashes", drawing(&"<path d='M0 0H99000' stroke='#000' stroke-dasharray='.2 .2'/>".repeat(900)), late),
        ("layers without end", drawing(&format!("{}<rect width='20' height='16'/>{}", "<g opacity='.9'>".repeat(250), "</g>".repeat(250)).replace("<rect", "<rect x='-40' y='-32' ").replace("'20' height='16'/>", "'100' height='80'/>")), "need more than 2 GiB|million"),
        ("a book of text", drawing(&format!("<text font-size='2' y='5'>{}</text>", "ahoy ".repeat(300_000))), "sets more than 50000 letters"),
        ("a page, many times", drawing(&format!("<text id='t' y='5'>{}</text>{}", "ahoy ".repeat(500), "<use href='#t'/>".repeat(99))), "sets more than 50000 letters"),
        ("markers of markers", drawing(&format!("<marker id='m'>{}</marker><path marker-mid='url(#m)' d='M0 0{}'/>", "<rect/>".repeat(900), "L1 1".repeat(900))), "more than 1000000 elements"),
        ("text from entities", format!("<!DOCTYPE svg [{laughs}]>{}", drawing("<text>&a7;</text>")), "once its entities are replaced"),
        ("drawings in drawings", nested(6), "embeds drawings in each other"),
        ("a mask of itself", drawing("<mask id='m' mask='url(#m)'><rect/></mask><rect width='9' height='9' mask='url(#m)'/>"), "in a circle"),
    ];
    let mut faults = Vec::new();
    for (name, text, says) in cases {
        let begun = std::time::Instant::now();
        let said = complaint(&text).unwrap_or_else(|| "comes out".into());
        if !says.split('|').any(|s| said.contains(s)) || said.contains('\n') {
            faults.push(format!("{name}: {said}"));
        }
        // Refused before it is drawn: even a slow machine at work on other things takes no more than this.
        if begun.elapsed().as_secs() > 15 {
            faults.push(format!("{name}: took {:?}", begun.elapsed()));
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn what_a_maker_draws_still_comes_out() {
    for (name, body) in [
        (
            "a shadow",
            "<filter id='f'><feDropShadow dx='1' dy='1' stdDeviation='.5'/></filter><rect x='4' y='4' width='9' height='6' filter='url(#f)'/>",
        ),
        (
            "waves",
            "<filter id='f'><feTurbulence baseFrequency='.3' numOctaves='5'/></filter><rect width='20' height='16' filter='url(#f)'/>",
        ),
        (
            "a dashed rope",
            "<circle cx='10' cy='8' r='6' fill='none' stroke='#000' stroke-dasharray='.4 .2'/>",
        ),
        (
            "a hatched sail",
            "<pattern id='p' width='1' height='1' patternUnits='userSpaceOnUse'><path d='M0 0L1 1' stroke='#000' stroke-width='.2'/></pattern><path d='M2 14L10 1L18 14Z' fill='url(#p)'/>",
        ),
        (
            "a masked moon",
            "<mask id='m'><rect width='20' height='16' fill='#fff'/><circle cx='12' cy='6' r='4'/></mask><circle cx='10' cy='8' r='5' mask='url(#m)'/>",
        ),
        ("ground far beyond the sheet", "<rect x='-20000' y='-20000' width='40000' height='40000'/>"),
        (
            "a clipped name",
            "<clipPath id='c'><circle cx='10' cy='8' r='6'/></clipPath><text clip-path='url(#c)' x='1' y='10' font-size='5'>Harbour</text>",
        ),
    ] {
        assert_eq!(complaint(&drawing(body)), None, "{name}");
    }
}

#[test]
fn a_drawing_is_given_up_after_its_time() {
    let slow = drawing(
        "<filter id='f'><feTurbulence baseFrequency='.05' numOctaves='400'/></filter><rect width='20' height='16' filter='url(#f)'/>",
    );
    let hasty = Patience { drawing_s: 0.05 };
    let begun = std::time::Instant::now();
    let art = open_within(slow.as_bytes(), "'drawing.svg'", Patience::default()).unwrap();
    let patient = render(&art, &View::default(), 40, 32, Kind::Drawing).unwrap();
    assert!(patient.alpha.is_some());
    match open_within(slow.as_bytes(), "'drawing.svg'", hasty) {
        Ok(art) => {
            let said = render(&art, &View::default(), 900, 720, Kind::Drawing).unwrap_err().to_string();
            assert!(said.contains("takes more than 0.05 s to draw at 900 x 720 dots"), "{said}");
            assert!(said.contains("--drawing-time"));
        }
        // Reading alone takes longer on a machine that is busy with other things.
        Err(e) => assert!(e.to_string().contains("takes more than 0.05 s to read"), "{e}"),
    }
    assert!(begun.elapsed().as_secs() < 20, "{:?}", begun.elapsed());
}

#[test]
fn a_file_claims_no_more_than_its_bytes_can_hold() {
    let mut hollow: Vec<(&str, Vec<u8>)> = Vec::new();
    // The size stands in the start of frame of a JPEG, big end first, height before width.
    for name in ["whole.jpg", "whole-progressive.jpg"] {
        let mut jpeg = bytes(name);
        let at = jpeg.windows(2).position(|w| w == [0xFF, 0xC0] || w == [0xFF, 0xC2]).unwrap();
        jpeg[at + 5..at + 9].copy_from_slice(&[0x2E, 0xE0, 0x2E, 0xE0]);
        hollow.push((name, jpeg));
    }
    let mut png = bytes("whole.png");
    png[16..24].copy_from_slice(&[0, 0, 0x2E, 0xE0, 0, 0, 0x2E, 0xE0]);
    let mut crc = flate2::Crc::new();
    crc.update(&png[12..29]);
    png[29..33].copy_from_slice(&crc.sum().to_be_bytes());
    hollow.push(("whole.png", png));
    let mut gif = bytes("whole.gif");
    gif[6..10].copy_from_slice(&[0xE0, 0x2E, 0xE0, 0x2E]);
    hollow.push(("whole.gif", gif));
    let mut bmp = bytes("whole.bmp");
    bmp[18..26].copy_from_slice(&[0xE0, 0x2E, 0, 0, 0xE0, 0x2E, 0, 0]);
    hollow.push(("whole.bmp", bmp));
    for (name, data) in hollow {
        let said = refused(&data);
        assert!(said.contains("12000 x 12000") && said.contains("bytes can hold"), "{name}: {said}");
    }
}

#[test]
fn lettering_is_drawn_with_the_fonts_that_ship() {
    let mean = |family: &str| {
        let text = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='90' height='20'><text x='2' y='15' font-size='14' font-family='{family}'>Lighthouse</text></svg>"
        );
        let art = open(text.as_bytes(), "'picture'").unwrap();
        let note = !art.notes().is_empty();
        (render(&art, &View::default(), 360, 80, Kind::Drawing).unwrap().alpha.unwrap().mean(), note)
    };
    let (sans, serif) = (mean("sans-serif"), mean("serif"));
    assert!(sans.0 > 0.05 && serif.0 > 0.05 && sans.0 != serif.0);
    // A name that does not ship is drawn with the face of its kind, and said so.
    assert_eq!(mean("Harbour Grotesk"), (sans.0, true));
    assert_eq!(mean("Old Harbour Roman, serif"), (serif.0, true));
}

fn made(w: usize, h: usize, f: impl Fn(usize, usize) -> u8) -> Art {
    let grey: Vec<u8> = (0..w * h).map(|i| f(i % w, i / w)).collect();
    let mut file = std::io::Cursor::new(Vec::new());
    image::write_buffer_with_format(
        &mut file,
        &grey,
        w as u32,
        h as u32,
        image::ExtendedColorType::L8,
        image::ImageFormat::Png,
    )
    .unwrap();
    open(&file.into_inner(), "'made'").unwrap()
}

/// A number from 0 to 255 for a place.
fn noise(x: usize, y: usize) -> u8 {
    let h = (x as u32).wrapping_mul(0x9E37_79B1) ^ (y as u32).wrapping_mul(0x85EB_CA77);
    ((h ^ (h >> 15)).wrapping_mul(0x2C1B_3C6D) >> 24) as u8
}

#[test]
fn photos_and_drawings_are_told_apart() {
    let disc =
        |x: usize, y: usize, r: f64| ((x as f64 - 150.0).hypot(y as f64 - 150.0) - r).clamp(-0.5, 0.5) + 0.5;
    let speck = |x, y, n: u8| noise(x, y) % (n + 1);
    let cases: Vec<(&str, Kind, Art)> = vec![
        (
            "black and white",
            Kind::Drawing,
            made(300, 300, |x, y| if disc(x, y, 90.0) < 0.5 { 0 } else { 255 }),
        ),
        ("a soft-edged disc", Kind::Drawing, made(300, 300, |x, y| (disc(x, y, 90.0) * 255.0) as u8)),
        (
            "a thin ring",
            Kind::Drawing,
            made(300, 300, |x, y| (255.0 * (1.0 - disc(x, y, 89.0) + disc(x, y, 90.0)).min(1.0)) as u8),
        ),
        ("three greys", Kind::Drawing, made(300, 300, |x, y| [30, 120, 240][(x / 100 + y / 100) % 3])),
        (
            "a disc on noisy paper",
            Kind::Drawing,
            made(300, 300, |x, y| 20 + (disc(x, y, 90.0) * 225.0) as u8 + speck(x, y, 2)),
        ),
        ("stripes", Kind::Drawing, made(300, 300, |x, _| if x / 15 % 2 == 0 { 40 } else { 220 })),
        ("a smooth ramp", Kind::Photo, made(300, 300, |x, _| (x * 255 / 299) as u8)),
        ("noise", Kind::Photo, made(300, 300, noise)),
        (
            "a soft sky over dark sea",
            Kind::Photo,
            made(300, 300, |x, y| if y < 200 { 90 + (y / 2) as u8 } else { 20 + speck(x, y, 60) }),
        ),
        (
            "a night with a few lights",
            Kind::Photo,
            made(300, 300, |x, y| {
                if noise(x / 3, y / 3) > 253 { 250 - speck(x, y, 100) } else { 4 + speck(x, y, 20) }
            }),
        ),
        ("fog of one tone", Kind::Photo, made(300, 300, |x, y| 180 + speck(x, y, 12))),
        ("a vignette", Kind::Photo, made(300, 300, |x, y| 255 - (disc_distance(x, y) * 0.9) as u8)),
        (
            "an SVG",
            Kind::Drawing,
            open(b"<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'/>", "'made'").unwrap(),
        ),
        ("a palette cut out", Kind::Drawing, open_path(&path("palette.png")).unwrap()),
        ("one bit", Kind::Drawing, open_path(&path("bits.tif")).unwrap()),
    ];
    let mut faults = Vec::new();
    for (name, want, art) in cases {
        let said = reading::decide(&art, Window::WHOLE);
        let (got, why) = (said.kind, said.why);
        assert!(!why.is_empty());
        if got != want {
            faults.push(format!("{name}: {got}, as {why}"));
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn a_cut_out_of_a_few_tones_that_vary_a_little_is_a_drawing_and_a_cut_out_photo_is_none() {
    // Flat colours as a lossy file leaves them: each varies by a few codes.
    let logo = |x: usize, y: usize| match (disc_distance(x, y), noise(x, y) % 3) {
        (d, _) if d > 120.0 => [0, 0, 0, 0],
        (d, n) if d > 60.0 => [20 + n, 40 + n, 110 + n, 255],
        (_, n) => [190 + n, 30 + n, 40 + n, 255],
    };
    let photo = |x: usize, y: usize| {
        let v = (128.0 + 90.0 * (x as f64 / 23.0).sin() * (y as f64 / 31.0).cos()) as u8 + noise(x, y) % 9;
        [v, v, v, if disc_distance(x, y) > 120.0 { 0 } else { 255 }]
    };
    let kind = |f: &dyn Fn(usize, usize) -> [u8; 4]| {
        let mut picture = image::RgbaImage::new(300, 300);
        for (x, y, pixel) in picture.enumerate_pixels_mut() {
            *pixel = image::Rgba(f(x as usize, y as usize));
        }
        let mut png = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut png, image::ImageFormat::Png).unwrap();
        let art = open(png.get_ref(), "cut-out.png").unwrap();
        reading::decide(&art, Window::WHOLE)
    };
    let (drawn, taken) = (kind(&logo), kind(&photo));
    assert!(drawn.kind == Kind::Drawing && drawn.sure >= 0.7, "{drawn:?}");
    assert_eq!(taken.kind, Kind::Photo, "{taken:?}");
}

#[test]
fn text_in_a_frame_of_its_own_is_missed_and_so_is_a_picture_beside_lines() {
    let of = |body: &str| open(drawing(body).as_bytes(), "drawn.svg").unwrap();
    let flowed = |body: &str| of(body).lettering().is_some_and(|l| l.flowed);
    let words = "<foreignObject width='9' height='9'><p xmlns='http://www.w3.org/1999/xhtml'>Pier</p></foreignObject>";
    assert!(flowed(words));
    assert!(flowed("<flowRoot><flowPara>Pier</flowPara></flowRoot>"));
    // With another element in its place, as diagram editors write it, nothing is lost.
    assert!(!flowed(&format!("<switch>{words}<text y='8'>Pier</text></switch>")));
    assert!(!flowed("<text y='8'>Pier</text>"));
    let png =
        "iVBORw0KGgoAAAANSUhEUgAAAAIAAAACCAAAAABX3VL4AAAADklEQVR4nGOMYmBiYAAAAdQAXtQYtZQAAAAASUVORK5CYII=";
    let image = format!("<image width='5' height='10' href='data:image/png;base64,{png}'/>");
    assert_eq!(of(&image).picture_within(), None, "a picture alone");
    let share = of(&format!("{image}<rect x='6' width='2' height='2'/>")).picture_within();
    assert!(share.is_some_and(|s| s > 0.0), "{share:?}");
    assert_eq!(of("<rect width='2' height='2'/>").picture_within(), None);
}

fn disc_distance(x: usize, y: usize) -> f64 {
    (x as f64 - 150.0).hypot(y as f64 - 150.0)
}

#[test]
fn the_samples_open() {
    let sample = |name: &str| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("samples").join(name);
    for (name, want) in
        [("harbour.jpg", Kind::Photo), ("emblem.svg", Kind::Drawing), ("name-tag.svg", Kind::Drawing)]
    {
        let art = open_path(&sample(name)).unwrap();
        assert!(art.notes().is_empty(), "{name}: {:?}", art.notes());
        assert_eq!(reading::decide(&art, Window::WHOLE).kind, want, "{name}");
    }
}

#[test]
fn codes_of_eight_bits_are_read_exactly() {
    let art = made(256, 1, |x, _| x as u8);
    let Art::Raster(r) = art else { panic!() };
    for (c, &v) in r.light.row(0).iter().enumerate() {
        assert_eq!(v, srgb_to_linear(c as f64 / 255.0) as f32);
    }
}

const NAMES: [&str; 12] = [
    "whole.jpg",
    "whole-progressive.jpg",
    "rgb.png",
    "palette.png",
    "palette.gif",
    "rgb.webp",
    "rgb.bmp",
    "rgb.tif",
    "bits.tif",
    "inks.jpg",
    "profile-wide.png",
    "packed.svgz",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn random_bytes_never_panic(start in 0usize..12, data in proptest::collection::vec(any::<u8>(), 0..400)) {
        let mut all = bytes(NAMES[start])[..12].to_vec();
        all.extend(data);
        let _ = open(&all, "'random'");
    }

    #[test]
    fn changed_files_never_panic(which in 0usize..12, changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8)) {
        let mut data = bytes(NAMES[which]);
        for (at, value) in changes {
            let i = at.index(data.len());
            data[i] = value;
        }
        if let Ok(art) = open(&data, "'changed'") {
            let _ = render(&art, &View::default(), 5, 4, Kind::Photo);
            let _ = dotwright::kernels::art::extent::extent(&art, &View::default());
        }
    }
}
