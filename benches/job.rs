//! Benchmarks of whole jobs from a 12-megapixel JPEG: a coaster with all its outputs, and the dots of a
//! 400 x 400 mm bed at 600 dpi (89 Mdot). See DEVELOPERS.md.

use std::io::Cursor;
use std::sync::OnceLock;

use divan::Bencher;
use divan::counter::ItemsCount;
use dotwright::kernels::art;
use dotwright::kernels::encode::sink::Folder;
use dotwright::kernels::job::asked::{BlankJob, DotsJob};
use dotwright::kernels::job::{Job, Plan, plan};
use dotwright::kernels::placement::Place;
use dotwright::kernels::progress::Silent;
use dotwright::kernels::units::{Mm, Pitch};
use dotwright::kernels::{outputs, pipeline, screen};

fn main() {
    divan::main();
}

/// The sample picture at 4000 x 3000, as JPEG.
fn jpeg() -> &'static [u8] {
    static BYTES: OnceLock<Vec<u8>> = OnceLock::new();
    BYTES.get_or_init(|| {
        let sample = image::load_from_memory(include_bytes!("../samples/harbour.jpg")).expect("the sample");
        let large = sample.resize_exact(4000, 3000, image::imageops::FilterType::CatmullRom).to_rgb8();
        let mut bytes = Cursor::new(Vec::new());
        let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 92);
        encoder.encode_image(&large).expect("encoded");
        bytes.into_inner()
    })
}

fn planned(shape: &str, margin: f64, dpi: f64) -> Plan {
    let job = Job {
        blank: BlankJob {
            shape: Some(shape.parse().expect("a shape")),
            margin: Some(Mm(margin)),
            place: Some(Place::Cover),
            ..BlankJob::default()
        },
        dots: DotsJob { pitch: Pitch::from_dpi(dpi), ..DotsJob::default() },
        ..Job::default()
    };
    plan::resolve(&job).expect("a plan")
}

/// The 85 mm coaster at 304 dpi: opening, all stages, all files on disk.
#[divan::bench(min_time = 2)]
fn coaster_all_outputs(bencher: Bencher) {
    let plan = planned("round:90mm", 2.5, 304.0);
    let bytes = jpeg();
    bencher.counter(ItemsCount::new(1017 * 1017usize)).bench(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let mut output = Folder::begin(&folder.path().join("out"), &outputs::JOB, false, &[]).expect("begun");
        let art = art::open(bytes, "the sample").expect("opened");
        let outcome = pipeline::run(&plan, &art, "sample", &Silent).expect("run");
        outputs::write(&plan, &outcome, None, &mut output, &Silent).expect("written");
        output.commit().expect("in place")
    });
}

/// The bed: from the JPEG's bytes to packed dots.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn bed_dots(bencher: Bencher) {
    let plan = planned("rect:400x400mm", 0.0, 600.0);
    let screen = screen::find("auto").expect("the usual screen");
    let bytes = jpeg();
    bencher.counter(ItemsCount::new(9449 * 9449usize)).bench(|| {
        let art = art::open(bytes, "the sample").expect("opened");
        let wanted = pipeline::wanted(&plan, pipeline::Shown::Art(&art), &Silent).expect("drawn");
        drop(art);
        let placement = wanted.placement;
        pipeline::dots(&plan, screen, wanted.kind, wanted.tone, &placement, &Silent).expect("screened").0
    });
}
