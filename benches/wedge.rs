//! Benchmarks of the wedge: drawing, and reading a photo of 12 megapixels. See DEVELOPERS.md.

use dotwright::kernels::blank::Blank;
use dotwright::kernels::mark::{Beam, Response};
use dotwright::kernels::placement::Grid;
use dotwright::kernels::progress::Silent;
use dotwright::kernels::units::{Mm, MmPerS, Share, Watts};
use dotwright::kernels::wedge::ask::Ask;
use dotwright::kernels::wedge::draw::{Drawing, Request, draw, steps};
use dotwright::kernels::wedge::read::{read, read_photo};
use dotwright::kernels::wedge::register::photo;
use dotwright::kernels::wedge::show::preview::preview;
use dotwright::kernels::wedge::target::{Dial, WedgeKind};

fn main() {
    divan::main();
}

fn drawing() -> Drawing {
    draw(&Request {
        kind: WedgeKind::Exposure,
        blank: Blank { shape: "rect:100x100mm".parse().expect("a shape"), margin: Mm(2.5) },
        machine: "bench".into(),
        coating: "bench".into(),
        rated_power: Watts(5.0),
        beam: Beam { along: Mm(0.12), across: Mm(0.12) },
        beam_measured: false,
        grid: Grid { along: Mm(25.4 / 304.0), across: Mm(25.4 / 304.0) },
        powers: steps(0.4, 1.0, 7, true).into_iter().map(Share).collect(),
        speeds: steps(6.0, 30.0, 7, true).into_iter().map(MmPerS).collect(),
        chosen: Dial { power: Share(0.9), speed: MmPerS(12.5), passes: 1 },
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
        screens: Vec::new(),
        coverages: Vec::new(),
        combs: 3,
        patch: Mm(4.0),
    })
    .expect("a wedge")
}

/// A JPEG of 4000 x 3000 pixels with the wedge in its middle.
fn jpeg(drawing: &Drawing) -> Vec<u8> {
    let (w, h, grey) = preview(drawing, 2);
    let piece = image::GrayImage::from_raw(w as u32, h as u32, grey).expect("a picture");
    let mut photo = image::RgbImage::from_pixel(4000, 3000, image::Rgb([140, 140, 140]));
    for (x, y, p) in piece.enumerate_pixels() {
        photo.put_pixel(x + 800, y + 300, image::Rgb([p.0[0]; 3]));
    }
    let mut bytes = Vec::new();
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 92);
    image::DynamicImage::ImageRgb8(photo).write_with_encoder(encoder).expect("a JPEG");
    bytes
}

#[divan::bench(sample_count = 10)]
fn draw_7_by_7(bencher: divan::Bencher) {
    bencher.bench(drawing);
}

#[divan::bench(sample_count = 10)]
fn open_12_megapixels(bencher: divan::Bencher) {
    let bytes = jpeg(&drawing());
    bencher.bench(|| photo::open(&bytes, "photo"));
}

/// All but the pictures: bytes to reading. The limit is 1.5 s on two cores.
#[divan::bench(sample_count = 10)]
fn bytes_to_reading_12_megapixels(bencher: divan::Bencher) {
    let drawing = drawing();
    let bytes = jpeg(&drawing);
    bencher.bench(|| read(&bytes, "photo", &drawing.wedge, &Ask::default(), &Silent));
}

#[divan::bench(sample_count = 10)]
fn read_12_megapixels(bencher: divan::Bencher) {
    let drawing = drawing();
    let bytes = jpeg(&drawing);
    let photo = photo::open(&bytes, "photo").expect("a photo");
    bencher.bench(|| read_photo(&photo, &drawing.wedge, &Ask::default(), &Silent));
}
