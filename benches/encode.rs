//! Encoders at 1 Mdot (an 85 mm coaster at 304 dpi) and 89 Mdot (a 400 mm bed at 600 dpi); see DEVELOPERS.md.

use divan::Bencher;
use divan::counter::ItemsCount;
use dotwright::encode::{BeamOn, bmp, png, tiff};
use dotwright::placement::Grid;
use dotwright::plane::Dots;
use dotwright::units::Mm;

fn main() {
    divan::main();
}

const SIDES: [usize; 2] = [1017, 9449];
const GRID: Grid = Grid { along: Mm(25.4 / 304.0), across: Mm(25.4 / 304.0) };

/// A smooth made-up picture, dithered by plain error diffusion: what a photo's dots look like.
fn dithered(side: usize) -> Dots {
    let mut dots = Dots::off(side, side);
    let (mut now, mut next) = (vec![0.0f32; side + 2], vec![0.0f32; side + 2]);
    for y in 0..side {
        for x in 0..side {
            let (u, v) = (x as f32 / side as f32, y as f32 / side as f32);
            let want = 0.5 + 0.45 * (9.0 * u).sin() * (7.0 * v + 3.0 * u).cos();
            let value = want + now[x + 1];
            let on = value > 0.5;
            let error = value - if on { 1.0 } else { 0.0 };
            dots.set(x, y, on);
            now[x + 2] += error * 7.0 / 16.0;
            next[x] += error * 3.0 / 16.0;
            next[x + 1] += error * 5.0 / 16.0;
            next[x + 2] += error / 16.0;
        }
        now.fill(0.0);
        std::mem::swap(&mut now, &mut next);
    }
    dots
}

fn bench(bencher: Bencher, side: usize, encode: impl Fn(&Dots) -> Vec<u8> + Sync) {
    let dots = dithered(side);
    eprintln!("{} bytes", encode(&dots).len());
    bencher.counter(ItemsCount::new(side * side)).bench(|| encode(&dots));
}

#[divan::bench(args = SIDES, max_time = 4)]
fn png_dots(bencher: Bencher, side: usize) {
    bench(bencher, side, |d| png::dots(d, GRID, BeamOn::Black).unwrap());
}

#[divan::bench(args = SIDES, max_time = 4)]
fn tiff_group_4(bencher: Bencher, side: usize) {
    bench(bencher, side, |d| tiff::dots(d, GRID, BeamOn::Black, tiff::Packing::Group4).unwrap());
}

#[divan::bench(args = SIDES, max_time = 4)]
fn tiff_pack_bits(bencher: Bencher, side: usize) {
    bench(bencher, side, |d| tiff::dots(d, GRID, BeamOn::Black, tiff::Packing::PackBits).unwrap());
}

#[divan::bench(args = SIDES, max_time = 4)]
fn bmp_dots(bencher: Bencher, side: usize) {
    bench(bencher, side, |d| bmp::dots(d, GRID, BeamOn::Black).unwrap());
}
