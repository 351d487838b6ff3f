//! Encoders at 1 Mdot (an 85 mm coaster at 304 dpi) and 89 Mdot (a 400 mm bed at 600 dpi); see DEVELOPERS.md.

use divan::Bencher;
use divan::counter::ItemsCount;
use dotwright::kernels::encode::{BeamOn, bmp, png, tiff};
use dotwright::kernels::placement::Grid;
use dotwright::kernels::plane::Dots;
use dotwright::kernels::units::Mm;

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

/// Proof, density and their files, as a job of a coaster or of a bed makes them.
mod pictures {
    use super::*;
    use dotwright::kernels::blank::Blank;
    use dotwright::kernels::job::kit::Surface;
    use dotwright::kernels::job::process::Footing;
    use dotwright::kernels::placement::DotRect;
    use dotwright::kernels::proof::layout::{Layout, Look, MOST_PIXELS};
    use dotwright::kernels::proof::picture::Scene;
    use dotwright::kernels::proof::{density, picture};

    fn with(side: usize, work: impl FnOnce(&Dots, &Layout, &Scene, &Look)) {
        let mm = side as f64 * GRID.along.0;
        let shape = format!("rect:{0}x{0}mm", mm + 5.0).parse().unwrap();
        let blank = Blank { shape, margin: Mm(2.5) };
        let rect = DotRect { left: Mm(2.5), top: Mm(2.5), columns: side, rows: side, grid: GRID };
        let layout = Layout::new(&blank, &rect, MOST_PIXELS);
        let dots = dithered(side);
        let look = Look::of_dots(&dots, &layout, 0.03, 0.65);
        let scene = Scene {
            blank: &blank,
            surface: Surface::Glass,
            rect: &rect,
            y_unmarked: 0.03,
            y_marked: 0.65,
            footing: Footing::Assumed,
            spots: &[],
        };
        work(&dots, &layout, &scene, &look);
    }

    #[divan::bench(args = SIDES, max_time = 3)]
    fn proof(bencher: Bencher, side: usize) {
        with(side, |_, layout, scene, look| {
            bencher.bench_local(|| picture::proof(scene, layout, look).unwrap())
        });
    }

    #[divan::bench(args = SIDES, max_time = 3)]
    fn proof_png(bencher: Bencher, side: usize) {
        with(side, |_, layout, scene, look| {
            let p = picture::proof(scene, layout, look).unwrap();
            bencher.bench_local(|| p.to_png(Some(layout.pixel)).unwrap());
        });
    }

    #[divan::bench(args = SIDES, max_time = 3)]
    fn density_plane(bencher: Bencher, side: usize) {
        with(side, |dots, layout, _, _| {
            bencher.bench_local(|| density::coverage(dots, layout, (GRID.along.0, GRID.across.0)));
        });
    }

    #[divan::bench(args = SIDES, max_time = 3)]
    fn density_picture(bencher: Bencher, side: usize) {
        with(side, |dots, layout, scene, _| {
            bencher.bench_local(|| density::density(scene, layout, dots, None).unwrap());
        });
    }
}
