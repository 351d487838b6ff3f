//! What differs, laid out for a look: expected, got and difference, in `target/golden-failures/NAME/`.

use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};

use image::{Rgb, RgbImage};

/// An empty folder for what differs in a job; made only when something is put there.
pub fn fresh(name: &str) -> PathBuf {
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).parent().expect("the build folder");
    let folder = target.join("golden-failures").join(name);
    let _ = fs::remove_dir_all(&folder);
    folder
}

fn put(folder: &Path, name: &str, bytes: &[u8]) {
    fs::create_dir_all(folder).expect("made");
    fs::write(folder.join(name), bytes).expect("written");
}

/// Two texts, and the lines in which they differ.
pub fn texts(folder: &Path, name: &str, expected: &str, got: &str) -> String {
    put(folder, &format!("{name}.expected"), expected.as_bytes());
    put(folder, &format!("{name}.got"), got.as_bytes());
    let (e, g): (Vec<&str>, Vec<&str>) = (expected.lines().collect(), got.lines().collect());
    let head = e.iter().zip(&g).take_while(|(a, b)| a == b).count();
    let most = e.len().min(g.len()) - head;
    let tail = e.iter().rev().zip(g.iter().rev()).take(most).take_while(|(a, b)| a == b).count();
    let mut lines = String::new();
    for (sign, list) in [("-", &e), ("+", &g)] {
        // Where no line was lost or added, only lines that differ are shown.
        let shown = |at: usize| e.len() != g.len() || e.get(at) != g.get(at);
        let part = list.iter().enumerate().take(list.len() - tail).skip(head);
        for (at, line) in part.filter(|(at, _)| shown(*at)).take(40) {
            let _ = writeln!(lines, "{sign}{:>6} {line}", at + 1);
        }
    }
    put(folder, &format!("{name}.difference"), lines.as_bytes());
    let line = |list: &[&str]| list.get(head).map_or("nothing".to_string(), |l| format!("'{l}'"));
    format!("line {} was {}, is {}", head + 1, line(&e), line(&g))
}

/// Dots: grey where they are the same, red where they are lost, green where they are added.
pub fn bits(folder: &Path, name: &str, expected: &[u8], got: &[u8]) -> String {
    put(folder, &format!("expected-{name}"), expected);
    put(folder, &format!("got-{name}"), got);
    let decoded = [expected, got].map(|b| image::load_from_memory(b).map(|p| p.to_luma8()));
    let [Ok(e), Ok(g)] = decoded else { return "its bytes are others".into() };
    if e.dimensions() != g.dimensions() {
        return format!("{:?} dots became {:?}", e.dimensions(), g.dimensions());
    }
    let mut count = 0;
    let picture = RgbImage::from_fn(e.width(), e.height(), |x, y| {
        let (was, is) = (e.get_pixel(x, y)[0] < 128, g.get_pixel(x, y)[0] < 128);
        count += usize::from(was != is);
        Rgb(match (was, is) {
            (true, false) => [220, 0, 0],
            (false, true) => [0, 160, 0],
            (true, true) => [120; 3],
            (false, false) => [255; 3],
        })
    });
    picture.save(folder.join(format!("difference-{name}.png"))).expect("written");
    format!("{count} dots are others{}", if count == 0 { ", but its bytes are" } else { "" })
}

/// Reduced pictures: expected, got, and what differs made strong; the whole picture as it was made beside them.
pub fn pictures(folder: &Path, name: &str, expected: &RgbImage, got: &RgbImage, whole: &[u8]) -> String {
    put(folder, &format!("whole-{name}"), whole);
    expected.save(folder.join(format!("expected-{name}"))).expect("written");
    got.save(folder.join(format!("got-{name}"))).expect("written");
    if expected.dimensions() != got.dimensions() {
        return format!("its reduced size {:?} became {:?}", expected.dimensions(), got.dimensions());
    }
    let mut worst = 0;
    let picture = RgbImage::from_fn(expected.width(), expected.height(), |x, y| {
        let (a, b) = (expected.get_pixel(x, y), got.get_pixel(x, y));
        Rgb(std::array::from_fn(|c| {
            worst = worst.max(a[c].abs_diff(b[c]));
            a[c].abs_diff(b[c]).saturating_mul(16)
        }))
    });
    picture.save(folder.join(format!("difference-{name}"))).expect("written");
    format!("by up to {worst} levels")
}
