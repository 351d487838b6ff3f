//! Benchmarks of opening, rendering and mapping; see DEVELOPERS.md.
//!
//! `cargo bench --bench art`. The picture is the sample of samples/, enlarged to 12 megapixels and encoded
//! again; sizes are an 85 mm coaster at 304 dpi (1 Mdot) and a 400 mm bed at 600 dpi (89 Mdot).

use std::io::Cursor;

use divan::Bencher;
use dotwright::kernels::art::{Art, Kind, View, open, render};
use dotwright::kernels::tone::tone_mapping::{Looks, photo};

const SIDES: [usize; 2] = [1017, 9449];
const LOOKS: Looks = Looks { unmarked: 0.03, marked: 0.65 };

fn main() {
    divan::main();
}

fn jpeg() -> Vec<u8> {
    let sample = concat!(env!("CARGO_MANIFEST_DIR"), "/samples/harbour.jpg");
    let small = image::open(sample).expect("the sample opens");
    let large = small.resize_exact(4000, 3000, image::imageops::FilterType::Triangle).to_rgb8();
    let mut file = Cursor::new(Vec::new());
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, 90)
        .encode_image(&large)
        .expect("it encodes");
    file.into_inner()
}

fn art() -> Art {
    open(&jpeg(), "'bench'").expect("it opens")
}

#[divan::bench(sample_count = 10)]
fn open_12_megapixel_jpeg(bencher: Bencher) {
    let file = jpeg();
    bencher.bench(|| open(divan::black_box(&file), "'bench'"));
}

#[divan::bench(args = SIDES, sample_count = 5)]
fn render_photo(bencher: Bencher, side: usize) {
    let art = art();
    bencher.bench(|| render(divan::black_box(&art), &View::default(), side, side, Kind::Photo));
}

#[divan::bench(args = SIDES, sample_count = 5)]
fn map_to_the_piece(bencher: Bencher, side: usize) {
    let light = dotwright::kernels::plane::Light::filled(side, side, 0.3);
    bencher.with_inputs(|| light.clone()).bench_values(|light| photo(light, None, LOOKS));
}

#[divan::bench(args = SIDES, sample_count = 3)]
fn draw_the_emblem(bencher: Bencher, side: usize) {
    let file = include_bytes!("../samples/emblem.svg");
    let art = open(file, "'emblem'").expect("it opens");
    bencher.bench(|| render(divan::black_box(&art), &View::default(), side, side, Kind::Drawing));
}
