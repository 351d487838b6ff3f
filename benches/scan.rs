//! Benchmarks of the scan program; see DEVELOPERS.md.

use std::io::{self, Write};

use divan::counter::BytesCount;
use dotwright::kernels::blank::Blank;
use dotwright::kernels::placement::{Along, DotRect, Grid};
use dotwright::kernels::plane::Dots;
use dotwright::kernels::progress::Silent;
use dotwright::kernels::scan::estimate::Estimate;
use dotwright::kernels::scan::limits::Limits;
use dotwright::kernels::scan::lines::Marking;
use dotwright::kernels::scan::program::Program;
use dotwright::kernels::scan::raster::{RasterPath, Scan};
use dotwright::kernels::scan::replay::{Ground, ReplayOptions, replay};
use dotwright::kernels::units::Mm;

fn main() {
    divan::main();
}

/// Dots scattered with a coverage that falls from left to right, as a dithered photo has them.
fn scattered(columns: usize, rows: usize) -> Dots {
    let mut state = 0x9E37_79B9_7F4A_7C15u64;
    let mut dots = Dots::off(columns, rows);
    for y in 0..rows {
        for x in 0..columns {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            let wanted = 0.75 - 0.7 * x as f64 / columns as f64;
            if ((state >> 40) as f64 / 16_777_216.0) < wanted {
                dots.set(x, y, true);
            }
        }
    }
    dots
}

fn raster(dots: &Dots, pitch: f64, along: Along) -> RasterPath {
    let side = (dots.width() as f64 * pitch + 5.0).ceil();
    let blank = Blank { shape: format!("rect:{side}x{side}mm").parse().expect("a blank"), margin: Mm(2.0) };
    let grid = Grid { along: Mm(pitch), across: Mm(pitch) };
    let rect = DotRect { left: Mm(2.5), top: Mm(2.5), columns: dots.width(), rows: dots.height(), grid };
    let mut limits = Limits::default();
    (limits.x.travel, limits.y.travel) = (1000.0, 1000.0);
    RasterPath::new(&limits, Scan { along, ..Scan::new(100.0, 0.9) }, rect, blank).expect("a raster path")
}

/// A coaster of 1017 x 1017 dots.
fn coaster() -> Dots {
    scattered(1017, 1017)
}

/// The bed of 9448 x 9448 dots: 89 million.
fn bed() -> Dots {
    scattered(9448, 9448)
}

/// Counts bytes and drops them.
struct Count(u64);

impl Write for Count {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0 += bytes.len() as u64;
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

fn write(bencher: divan::Bencher<'_, '_>, dots: &Dots, along: Along) {
    let raster = raster(dots, 25.4 / 304.0, along);
    let mut size = Count(0);
    let program = Program::of_raster(raster, Marking::Dots(dots), Vec::new());
    program.write(&mut size, &Silent).expect("written");
    bencher
        .counter(BytesCount::new(size.0))
        .bench_local(|| program.write(&mut Count(0), &Silent).map(|w| w.bytes));
}

#[divan::bench]
fn write_coaster(bencher: divan::Bencher<'_, '_>) {
    write(bencher, &coaster(), Along::X);
}

#[divan::bench(sample_count = 5)]
fn write_bed(bencher: divan::Bencher<'_, '_>) {
    write(bencher, &bed(), Along::X);
}

#[divan::bench(sample_count = 5)]
fn write_bed_along_y(bencher: divan::Bencher<'_, '_>) {
    write(bencher, &bed(), Along::Y);
}

/// The time of the job alone, without a word.
#[divan::bench(sample_count = 5)]
fn estimate_bed(bencher: divan::Bencher<'_, '_>) {
    let dots = bed();
    let raster = raster(&dots, 25.4 / 304.0, Along::X);
    let program = Program::of_raster(raster, Marking::Dots(&dots), Vec::new());
    bencher.bench_local(|| Estimate::new(&program).times.total());
}

fn read(bencher: divan::Bencher<'_, '_>, dots: &Dots, along: Along, picture: Option<usize>) {
    let raster = raster(dots, 25.4 / 304.0, along);
    let mut text = Vec::new();
    let program = Program::of_raster(raster.clone(), Marking::Dots(dots), Vec::new());
    program.write(&mut text, &Silent).expect("written");
    let options = ReplayOptions {
        ground: Some(Ground { rect: raster.rect, blank: raster.blank }),
        picture,
        ..ReplayOptions::new(&raster.limits)
    };
    bencher.counter(BytesCount::new(text.len())).bench_local(|| {
        let mut back = replay(&text[..], &options).expect("read");
        assert!(back.against(dots) && back.report.difference.as_ref().is_some_and(|d| d.same));
        back.report.seconds
    });
}

#[divan::bench]
fn replay_coaster(bencher: divan::Bencher<'_, '_>) {
    read(bencher, &coaster(), Along::X, None);
}

#[divan::bench(sample_count = 3)]
fn replay_bed(bencher: divan::Bencher<'_, '_>) {
    read(bencher, &bed(), Along::X, None);
}

#[divan::bench(sample_count = 3)]
fn replay_bed_with_picture(bencher: divan::Bencher<'_, '_>) {
    read(bencher, &bed(), Along::X, Some(2000));
}
