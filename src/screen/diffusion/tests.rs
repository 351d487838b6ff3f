use super::*;
use crate::mark::Burn;
use crate::progress::Silent;
use proptest::prelude::*;

fn options(serpentine: bool, as_published: bool) -> Options {
    let mut options = Options::new(Burn::plain(1.5, 1.5), 0.1, 0.1);
    options.serpentine = serpentine;
    options.as_published = as_published;
    options
}

fn rows(dots: &Dots) -> Vec<String> {
    (0..dots.height())
        .map(|y| (0..dots.width()).map(|x| if dots.get(x, y) { '1' } else { '0' }).collect())
        .collect()
}

const METHODS: [Method; 5] = [
    Method::FloydSteinberg,
    Method::JarvisJudiceNinke,
    Method::Stucki,
    Method::Ostromoukhov,
    Method::ZhouFang,
];

/// The textbook's walk in `f64`, written apart from the code above: kernels as printed.
fn by_the_book(method: Method, tone: &Tone, serpentine: bool) -> Dots {
    let (w, h) = (tone.width(), tone.height());
    let fixed: &[(i64, usize, f64)] = match method {
        Method::FloydSteinberg => {
            &[(1, 0, 7.0 / 16.0), (-1, 1, 3.0 / 16.0), (0, 1, 5.0 / 16.0), (1, 1, 1.0 / 16.0)]
        }
        Method::JarvisJudiceNinke => &[
            (1, 0, 7.0 / 48.0),
            (2, 0, 5.0 / 48.0),
            (-2, 1, 3.0 / 48.0),
            (-1, 1, 5.0 / 48.0),
            (0, 1, 7.0 / 48.0),
            (1, 1, 5.0 / 48.0),
            (2, 1, 3.0 / 48.0),
            (-2, 2, 1.0 / 48.0),
            (-1, 2, 3.0 / 48.0),
            (0, 2, 5.0 / 48.0),
            (1, 2, 3.0 / 48.0),
            (2, 2, 1.0 / 48.0),
        ],
        Method::Stucki => &[
            (1, 0, 8.0 / 42.0),
            (2, 0, 4.0 / 42.0),
            (-2, 1, 2.0 / 42.0),
            (-1, 1, 4.0 / 42.0),
            (0, 1, 8.0 / 42.0),
            (1, 1, 4.0 / 42.0),
            (2, 1, 2.0 / 42.0),
            (-2, 2, 1.0 / 42.0),
            (-1, 2, 2.0 / 42.0),
            (0, 2, 4.0 / 42.0),
            (1, 2, 2.0 / 42.0),
            (2, 2, 1.0 / 42.0),
        ],
        // Zhou and Fang's are walked apart in tests/outside/test_screen.py.
        Method::Ostromoukhov | Method::ZhouFang => &[],
    };
    let mut value: Vec<f64> = tone.data().iter().map(|&t| f64::from(t).clamp(0.0, 1.0)).collect();
    let mut dots = Dots::off(w, h);
    for y in 0..h {
        let reverse = serpentine && y % 2 == 1;
        for n in 0..w {
            let x = if reverse { w - 1 - n } else { n };
            let v = value[y * w + x];
            let level = (tone.row(y)[x] * 255.0).round() as usize;
            let on = match method {
                Method::Ostromoukhov => v > 0.5 && level > 0,
                _ => v >= 0.5,
            };
            dots.set(x, y, on);
            let error = if on { v - 1.0 } else { v };
            let of_level;
            let spread = if method == Method::Ostromoukhov {
                let (ahead, behind, below) = weights_of(level.min(255 - level));
                of_level = [(1, 0, ahead), (-1, 1, behind), (0, 1, below)];
                &of_level[..]
            } else {
                fixed
            };
            for &(dx, dy, weight) in spread {
                let to = x as i64 + if reverse { -dx } else { dx };
                if to >= 0 && to < w as i64 && y + dy < h {
                    value[(y + dy) * w + to as usize] += error * weight;
                }
            }
        }
    }
    dots
}

/// Between the nodes of the author's table, as shares.
fn weights_of(level: usize) -> (f64, f64, f64) {
    let nodes: [(usize, [f64; 3]); 15] = [
        (0, [13.0, 0.0, 5.0]),
        (1, [13.0, 0.0, 5.0]),
        (2, [21.0, 0.0, 10.0]),
        (3, [7.0, 0.0, 4.0]),
        (4, [8.0, 0.0, 5.0]),
        (10, [7.0, 3.0, 3.0]),
        (22, [3.0, 2.0, 1.0]),
        (36, [5.0, 3.0, 3.0]),
        (64, [1.0, 1.0, 0.0]),
        (72, [5.0, 7.0, 1.0]),
        (77, [4.0, 1.0, 1.0]),
        (85, [4.0, 1.0, 1.0]),
        (95, [5.0, 3.0, 2.0]),
        (107, [5.0, 3.0, 2.0]),
        (127, [4.0, 1.0, 1.0]),
    ];
    let at = nodes.iter().position(|n| n.0 >= level).unwrap();
    let (to, from) = (nodes[at], nodes[at.saturating_sub(1)]);
    let t = if to.0 == from.0 { 0.0 } else { (level - from.0) as f64 / (to.0 - from.0) as f64 };
    let share = |n: (usize, [f64; 3]), k: usize| n.1[k] / n.1.iter().sum::<f64>();
    let w = |k| share(from, k) * (1.0 - t) + share(to, k) * t;
    (w(0), w(1), w(2))
}

/// Tones without an exact tie: 8-bit levels, a slow wave and noise.
fn picture(width: usize, height: usize, seed: u32) -> Tone {
    let mut state = seed.wrapping_mul(2_654_435_761).wrapping_add(12_345);
    let data = (0..width * height)
        .map(|i| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let (x, y) = ((i % width) as f32, (i / width) as f32);
            let wave = 0.5 + 0.45 * (x * 0.021 + seed as f32).sin() * (y * 0.034).cos();
            let noise = ((state >> 8) as f32 / 16_777_216.0 - 0.5) * 0.1;
            ((wave + noise).clamp(0.0, 1.0) * 255.0).round() / 255.0
        })
        .collect();
    Tone::from_vec(width, height, data)
}

#[test]
fn floyd_steinberg_gives_the_patterns_of_exact_rationals() {
    // 4 x 4 of 1/4, 1/2 and 3/4 worked in exact rationals; marked where the value is at least 1/2, the
    // kernel mirrored from right to left, what leaves is dropped.
    let cases: [(f32, [&str; 4], [&str; 4]); 3] = [
        (0.25, ["0000", "0101", "0000", "0100"], ["0000", "1010", "0000", "0010"]),
        (0.5, ["1010", "0101", "1010", "0101"], ["1010", "0101", "1010", "0101"]),
        (0.75, ["1111", "1010", "1111", "1011"], ["1111", "0101", "1111", "1101"]),
    ];
    for (tone, raster, serpentine) in cases {
        let tone = Tone::filled(4, 4, tone);
        for (turns, expected) in [(false, raster), (true, serpentine)] {
            let dots = by_method(Single, Method::FloydSteinberg, &tone, &options(turns, true), &Silent);
            assert_eq!(rows(&dots), expected);
        }
    }
}

#[test]
fn every_method_gives_the_dots_of_the_textbook() {
    for method in METHODS.into_iter().filter(|&m| m != Method::ZhouFang) {
        for serpentine in [true, false] {
            for (width, height) in [(1, 1), (1, 9), (9, 1), (17, 23), (300, 40), (1004, 60)] {
                let tone = picture(width, height, width as u32);
                let dots = diffuse(method, &tone, &options(serpentine, true), &Silent);
                let book = by_the_book(method, &tone, serpentine);
                let differ = (0..height)
                    .flat_map(|y| (0..width).map(move |x| (x, y)))
                    .filter(|&(x, y)| dots.get(x, y) != book.get(x, y))
                    .count();
                assert_eq!(differ, 0, "{method:?} serpentine {serpentine}, {width} x {height}");
            }
        }
    }
}

#[test]
fn flat_tones_where_lanes_rarely_meet_are_walked_exactly() {
    // 1/3 and ½ lay patterns that do not forget where they began: many walks a row.
    for tone in [0.0, 1.0 / 3.0, 0.5, 0.25, 1.0, 37.0 / 255.0] {
        let tone = Tone::filled(700, 50, tone);
        for method in METHODS {
            for serpentine in [true, false] {
                for as_published in [true, false] {
                    let options = options(serpentine, as_published);
                    let vectors = diffuse(method, &tone, &options, &Silent);
                    let plain = by_method(Single, method, &tone, &options, &Silent);
                    assert_eq!(vectors, plain, "{method:?}");
                }
            }
        }
    }
}

#[test]
fn rows_side_by_side_give_the_bytes_of_the_plain_walk_on_any_thread_count() {
    for (width, height) in [(256, 5), (257, 33), (289, 16), (1003, 130), (2048, 70)] {
        let tone = picture(width, height, height as u32);
        for as_published in [true, false] {
            let options = options(false, as_published);
            let plain = by_method(Single, Method::FloydSteinberg, &tone, &options, &Silent);
            for threads in [1, 2, 3, 7] {
                let dots = crate::parallel::with_threads(threads, || {
                    diffuse(Method::FloydSteinberg, &tone, &options, &Silent)
                });
                assert!(dots == plain, "{width} x {height}, {threads} threads, {as_published}");
            }
        }
    }
}

/// Blocks of random size and of tones far apart, grain in some: errors at the sides grow beyond half a mark.
fn harsh(width: usize, height: usize, seed: u32) -> Tone {
    let mut state = seed.wrapping_mul(2_654_435_761).wrapping_add(99);
    let mut chance = |n: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 16) as usize % n
    };
    let mut tones = vec![0.0; width * height];
    for _ in 0..width * height / 12 {
        let (x, y) = (chance(width + 6), chance(height));
        let (w, h) = (1 + chance(9), 1 + chance(5));
        let level = [0.0, 0.02, 0.1, 0.45, 0.499, 0.55, 0.9, 0.98, 1.0][chance(9)];
        let grain = chance(3);
        for row in y..(y + h).min(height) {
            for column in x.min(width)..(x + w).min(width) {
                tones[row * width + column] = level + grain as f32 * 1e-3 * chance(50) as f32;
            }
        }
    }
    Tone::from_vec(width, height, tones)
}

#[test]
fn harsh_tones_give_the_bytes_of_the_plain_walk_and_keep_their_mean() {
    for seed in 0..40 {
        let (width, height) = (256 + seed as usize * 7, 64 + seed as usize % 19);
        let tone = harsh(width, height, seed);
        let wanted: f64 = tone.data().iter().map(|&t| f64::from(t.clamp(0.0, 1.0))).sum();
        for serpentine in [true, false] {
            let options = options(serpentine, false);
            let dots = diffuse(Method::FloydSteinberg, &tone, &options, &Silent);
            let plain = by_method(Single, Method::FloydSteinberg, &tone, &options, &Silent);
            assert!(dots == plain, "seed {seed}, serpentine {serpentine}");
            // What is not made up yet lies in the last row: at most half a mark a dot.
            let off = (dots.count() as f64 - wanted).abs() / width as f64;
            assert!(off < 0.5, "seed {seed}, serpentine {serpentine}: {off} marks a column");
        }
    }
}

#[test]
fn values_out_of_range_are_read_as_none_and_full() {
    let wild = [f32::NAN, f32::NEG_INFINITY, -3.0, f32::INFINITY, 7.0, 0.5];
    let tame = [0.0, 0.0, 0.0, 1.0, 1.0, 0.5];
    for width in [60, 600] {
        let of = |v: [f32; 6]| Tone::from_vec(width, 5, (0..width * 5).map(|i| v[i * i % 6]).collect());
        for method in METHODS {
            let options = options(true, false);
            let dots = diffuse(method, &of(wild), &options, &Silent);
            assert_eq!(dots, diffuse(method, &of(tame), &options, &Silent), "{method:?}");
        }
    }
}

#[test]
fn a_plane_without_dots_is_no_trouble() {
    for (width, height) in [(0, 0), (0, 5), (5, 0)] {
        let dots = diffuse(Method::Stucki, &Tone::filled(width, height, 0.5), &options(true, false), &Silent);
        assert_eq!((dots.width(), dots.height(), dots.count()), (width, height, 0));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn vectors_give_the_bytes_of_the_plain_walk(
        width in 1usize..900, height in 1usize..12, seed in 0u32..1000,
        serpentine: bool, as_published: bool,
    ) {
        let tone = picture(width, height, seed);
        let options = options(serpentine, as_published);
        for method in METHODS {
            let vectors = diffuse(method, &tone, &options, &Silent);
            prop_assert_eq!(vectors, by_method(Single, method, &tone, &options, &Silent));
        }
    }
}
