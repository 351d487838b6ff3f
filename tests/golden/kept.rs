//! What is kept of a job's files, small enough for a repository, and how it is compared.
//!
//! Short texts and dots are kept whole, long texts packed. A picture is kept reduced, three times one above the other:
//! mean, darkest and lightest of each cell, so that a single wrong pixel is seen.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use image::RgbImage;

use crate::{differ, job};

/// Longest text that is kept unpacked, bytes.
const SHORT: usize = 12 << 10;
/// Most cells along a side of a reduced picture.
const CELLS: u32 = 64;
/// By how much figures may differ, relative to the larger.
const FIGURES: f64 = 1e-9;

/// Where a job's files are kept.
pub fn folder(name: &str) -> PathBuf {
    job::package().join("tests/data/golden").join(name)
}

/// Fails when something else than these jobs is kept, or more than `most` bytes in all.
pub fn only(names: &[&str], most: u64) {
    let mut all = 0;
    for path in job::files(&folder("")) {
        let inside = path.strip_prefix(folder("")).expect("inside");
        let name = inside.iter().next().expect("a name").to_string_lossy();
        assert!(names.contains(&&*name), "{} belongs to no job", inside.display());
        all += fs::metadata(&path).expect("readable").len();
    }
    assert!(all > 0 && all <= most, "{all} bytes are kept, at most {most} should be");
}

/// Writes what is kept of these files, where it is not the same already; what it was is laid out in `failures`.
pub fn write(folder: &Path, made: &BTreeMap<String, Vec<u8>>, failures: &Path) {
    for old in job::files(folder) {
        let name = old.strip_prefix(folder).expect("inside").to_string_lossy().into_owned();
        let name = name.strip_suffix(".gz").unwrap_or(&name);
        if !made.contains_key(name) {
            fs::remove_file(old).expect("removed");
        }
    }
    for (name, bytes) in made {
        let one = BTreeMap::from([(name.clone(), bytes.clone())]);
        if kept(folder, name).is_none() || !compare_some(folder, &one, failures).is_empty() {
            for old in [folder.join(name), folder.join(format!("{name}.gz"))] {
                let _ = fs::remove_file(old);
            }
            put(folder, name, bytes);
        }
    }
}

fn put(folder: &Path, name: &str, bytes: &[u8]) {
    let path = folder.join(name);
    fs::create_dir_all(path.parent().expect("a folder")).expect("made");
    match Sort::of(name) {
        Sort::Exact => fs::write(path, bytes).expect("written"),
        Sort::Picture => reduced(bytes).save(path).expect("written"),
        Sort::Text | Sort::Figures => {
            let text = plain(bytes);
            if text.len() <= SHORT || name == "said.txt" {
                fs::write(path, text).expect("written");
            } else {
                let mut packed = GzEncoder::new(Vec::new(), Compression::best());
                packed.write_all(text.as_bytes()).expect("packed");
                let packed = packed.finish().expect("packed");
                fs::write(folder.join(format!("{name}.gz")), packed).expect("written");
            }
        }
    }
}

/// The kept bytes of a file, unpacked.
fn kept(folder: &Path, name: &str) -> Option<Vec<u8>> {
    if let Ok(bytes) = fs::read(folder.join(name)) {
        return Some(bytes);
    }
    let packed = fs::read(folder.join(format!("{name}.gz"))).ok()?;
    let mut bytes = Vec::new();
    GzDecoder::new(&*packed).read_to_end(&mut bytes).expect("unpacked");
    Some(bytes)
}

/// How a file is compared.
#[derive(PartialEq)]
enum Sort {
    /// Every byte: dots in any format.
    Exact,
    /// A picture: every reduced pixel within one level.
    Picture,
    /// Text: every letter.
    Text,
    /// Text of which the figures may differ in their last digits.
    Figures,
}

impl Sort {
    fn of(name: &str) -> Sort {
        if name.ends_with("dots.png") || name.ends_with(".tiff") || name.ends_with(".bmp") {
            Sort::Exact
        } else if name.ends_with(".png") {
            Sort::Picture
        } else if name.ends_with(".json") || name.ends_with("process.toml") || name.ends_with(".svg") {
            Sort::Figures
        } else {
            Sort::Text
        }
    }
}

/// What differs between the made files and the kept ones, a sentence each; laid out in `failures`.
pub fn compare(folder: &Path, made: &BTreeMap<String, Vec<u8>>, failures: &Path) -> Vec<String> {
    let mut wrong = compare_some(folder, made, failures);
    for path in job::files(folder) {
        let name = path.strip_prefix(folder).expect("inside").to_string_lossy().into_owned();
        if !made.contains_key(name.strip_suffix(".gz").unwrap_or(&name)) {
            wrong.push(format!("{name} is no longer made"));
        }
    }
    wrong
}

fn compare_some(folder: &Path, made: &BTreeMap<String, Vec<u8>>, failures: &Path) -> Vec<String> {
    let mut wrong = Vec::new();
    for (name, got) in made {
        let Some(expected) = kept(folder, name) else {
            wrong.push(format!("nothing is kept of {name} (DOTWRIGHT_REWRITE=1 keeps it)"));
            continue;
        };
        let flat = name.replace('/', "-");
        let differs = match Sort::of(name) {
            Sort::Exact => (&expected != got).then(|| differ::bits(failures, &flat, &expected, got)),
            Sort::Picture => {
                let kept = image::load_from_memory(&expected).expect("a kept picture").to_rgb8();
                let small = reduced(got);
                let same = kept.dimensions() == small.dimensions()
                    && kept.iter().zip(small.iter()).all(|(a, b)| a.abs_diff(*b) <= 1);
                (!same).then(|| differ::pictures(failures, &flat, &kept, &small, got))
            }
            sort => {
                let (expected, got) = (String::from_utf8(expected).expect("kept text"), plain(got));
                let same = expected == got || sort == Sort::Figures && same_figures(&expected, &got);
                (!same).then(|| differ::texts(failures, &flat, &expected, &got))
            }
        };
        wrong.extend(differs.map(|how| format!("{name} differs: {how}")));
    }
    wrong
}

/// A text without the program's version and without the pictures that a page carries within it.
fn plain(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes)
        .replace(&format!("Dotwright {}", env!("CARGO_PKG_VERSION")), "Dotwright VERSION");
    let mut parts = text.split(";base64,");
    let mut out = parts.next().unwrap_or_default().to_string();
    for part in parts {
        let end =
            part.find(|c: char| !(c.is_ascii_alphanumeric() || "+/=".contains(c))).unwrap_or(part.len());
        out += &format!(";base64,(a picture){}", &part[end..]);
    }
    out
}

/// Whether two texts are the same but for the last digits of their figures.
fn same_figures(a: &str, b: &str) -> bool {
    let (a, b) = (pieces(a), pieces(b));
    a.len() == b.len()
        && a.iter().zip(&b).all(|(x, y)| {
            x == y
                || matches!((x.parse::<f64>(), y.parse::<f64>()), (Ok(x), Ok(y))
                    if (x - y).abs() <= FIGURES * x.abs().max(y.abs()).max(1e-3))
        })
}

/// A text cut into its figures and what stands between them.
fn pieces(text: &str) -> Vec<&str> {
    let figure = |c: char| c.is_ascii_digit() || "+-.eE".contains(c);
    let mut all = Vec::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let kind = figure(first);
        let end = rest.find(|c: char| figure(c) != kind).unwrap_or(rest.len());
        all.push(&rest[..end]);
        rest = &rest[end..];
    }
    all
}

/// Mean, darkest and lightest of each cell, one above the other. The cells' size follows from the picture's.
fn reduced(png: &[u8]) -> RgbImage {
    let whole = image::load_from_memory(png).expect("a picture").to_rgb8();
    let (width, height) = whole.dimensions();
    let side = width.max(height).div_ceil(CELLS);
    let (columns, rows) = (width.div_ceil(side), height.div_ceil(side));
    let mut small = RgbImage::new(columns, rows * 3);
    for (x, y) in (0..columns).flat_map(|x| (0..rows).map(move |y| (x, y))) {
        for channel in 0..3 {
            let (mut sum, mut count, mut least, mut most) = (0u32, 0u32, u8::MAX, 0u8);
            for py in y * side..((y + 1) * side).min(height) {
                for px in x * side..((x + 1) * side).min(width) {
                    let v = whole.get_pixel(px, py)[channel];
                    (sum, count) = (sum + u32::from(v), count + 1);
                    (least, most) = (least.min(v), most.max(v));
                }
            }
            small.get_pixel_mut(x, y)[channel] = (sum / count) as u8;
            small.get_pixel_mut(x, y + rows)[channel] = least;
            small.get_pixel_mut(x, y + 2 * rows)[channel] = most;
        }
    }
    small
}
