//! The screens as a whole: any size, any thread count, means, starts.

use dotwright::kernels::mark::Burn;
use dotwright::kernels::parallel::with_threads;
use dotwright::kernels::plane::{Dots, Tone};
use dotwright::kernels::progress::{Progress, Silent};
use dotwright::kernels::screen::{Options, SCREENS, Screen, Wants, find};
use proptest::prelude::*;

/// The published screens; those that know the beam are tested where they are.
const PUBLISHED: [&str; 8] = [
    "bayer",
    "floyd-steinberg",
    "jarvis-judice-ninke",
    "stucki",
    "ostromoukhov",
    "zhou-fang",
    "blue-noise",
    "clustered",
];
const DIFFUSING: [&str; 5] =
    ["floyd-steinberg", "jarvis-judice-ninke", "stucki", "ostromoukhov", "zhou-fang"];

fn options() -> Options {
    Options::new(Burn::plain(1.5, 1.5), 0.0836, 0.0836)
}

fn screen(name: &str) -> &'static Screen {
    find(name).unwrap_or_else(|| panic!("no screen {name}"))
}

fn make(name: &str, tone: &Tone) -> Dots {
    screen(name).dots(tone, &options(), &Silent)
}

/// A smooth wave with a fine texture.
fn picture(width: usize, height: usize) -> Tone {
    let data = (0..width * height)
        .map(|i| {
            let (x, y) = ((i % width) as f32, (i / width) as f32);
            (0.5 + 0.45 * (x * 0.031).sin() * (y * 0.023).cos() + 0.05 * ((x * 1.7).sin() * (y * 2.3).sin()))
                .clamp(0.0, 1.0)
        })
        .collect();
    Tone::from_vec(width, height, data)
}

#[test]
fn every_name_is_listed_once_and_found() {
    for (i, s) in SCREENS.iter().enumerate() {
        assert!(SCREENS[i + 1..].iter().all(|o| o.name != s.name), "{} is listed twice", s.name);
        assert_eq!(find(s.name).map(|f| f.name), Some(s.name));
    }
    for name in PUBLISHED {
        assert_eq!(screen(name).wants, Wants::Coverage, "{name}");
    }
    assert!(find("no such screen").is_none());
}

#[test]
fn the_thread_count_does_not_change_a_byte() {
    let tone = picture(1003, 401);
    for name in PUBLISHED {
        let one = with_threads(1, || make(name, &tone));
        for threads in [2, 3, 7] {
            assert_eq!(with_threads(threads, || make(name, &tone)), one, "{name} on {threads} threads");
        }
    }
}

#[test]
fn flat_patches_keep_their_mean_at_all_256_levels() {
    // The bound is 0.5 / √N; Bayer has 65 levels, so it is exact only at those.
    let (side, bound) = (64, 0.5 / 64.0);
    for name in DIFFUSING.into_iter().chain(["blue-noise", "clustered"]) {
        for level in 0..=255 {
            let g = f64::from(level) / 255.0;
            let error = make(name, &Tone::filled(side, side, g as f32)).coverage() - g;
            assert!(error.abs() <= bound, "{name} level {level}: {error:+.5}");
        }
    }
    for rank in 0..=64 {
        let g = f64::from(rank) / 64.0;
        assert_eq!(make("bayer", &Tone::filled(side, side, g as f32)).coverage(), g);
    }
}

#[test]
fn the_ends_of_the_scale_are_clean() {
    for name in PUBLISHED {
        assert_eq!(make(name, &Tone::filled(301, 77, 0.0)).count(), 0, "{name}");
        assert_eq!(make(name, &Tone::filled(301, 77, 1.0)).count(), 301 * 77, "{name}");
    }
}

#[test]
fn light_and_dark_flats_begin_at_once_and_keep_to_the_sides() {
    // A settled pattern of coverage g has a dot in about every 1/√g rows and columns. Strips of ten
    // such distances at each side must hold their share, within a third.
    for name in DIFFUSING {
        for level in [1, 2, 4, 10] {
            let g = f64::from(level) / 255.0;
            let deep = (10.0 / g.sqrt()) as usize;
            let (width, height) = (900, 600);
            let light = make(name, &Tone::filled(width, height, g as f32));
            let dark = make(name, &Tone::filled(width, height, (1.0 - g) as f32));
            let strips = [
                ("top", 0..width, 0..deep),
                ("bottom", 0..width, height - deep..height),
                ("left", 0..deep, 0..height),
                ("right", width - deep..width, 0..height),
            ];
            for (side, columns, rows) in strips {
                let all = (columns.len() * rows.len()) as f64;
                let share = |dots: &Dots, on: bool| {
                    let count = |y| columns.clone().filter(|&x| dots.get(x, y) == on).count();
                    rows.clone().map(count).sum::<usize>() as f64 / all
                };
                for (what, share) in [("light", share(&light, true)), ("dark", share(&dark, false))] {
                    let ratio = share / g;
                    assert!((0.67..1.5).contains(&ratio), "{name}, {what} {level}, {side}: {ratio:.2}");
                }
            }
        }
    }
}

#[test]
fn a_gentle_ramp_leaves_no_blank_rows_at_the_top() {
    // From 0 at 0.05 % a row: the first dot is due where the sum of all tones reaches one, in row 2 of 900
    // columns; the tone asks for one dot in 20 rows' height by row 20.
    let tone = Tone::from_vec(900, 200, (0..900 * 200).map(|i| (i / 900) as f32 * 0.0005).collect());
    for name in DIFFUSING {
        let dots = make(name, &tone);
        let first = (0..200).find(|&y| dots.row(y).iter().any(|&b| b != 0));
        assert!(first.is_some_and(|y| y <= 20), "{name}: first dots in row {first:?}");
        assert!((dots.coverage() - tone.mean()).abs() < 0.002, "{name}: {}", dots.coverage());
    }
}

#[test]
fn dots_of_light_tones_keep_apart() {
    // No two dots touch at 4 % and below, and every screen but clustered ones is meant to.
    for name in DIFFUSING.into_iter().chain(["blue-noise"]) {
        for level in [1, 2, 4, 6, 10] {
            let dots = make(name, &Tone::filled(400, 400, level as f32 / 255.0));
            let on: Vec<_> =
                (0..160_000).map(|i| (i % 400, i / 400)).filter(|&(x, y)| dots.get(x, y)).collect();
            let touching = on
                .iter()
                .filter(|&&(x, y)| {
                    x + 1 < 400 && (dots.get(x + 1, y) || y + 1 < 400 && dots.get(x + 1, y + 1))
                        || y + 1 < 400 && dots.get(x, y + 1)
                })
                .count();
            assert_eq!(touching, 0, "{name} level {level}: {touching} of {}", on.len());
        }
    }
}

#[test]
fn the_work_can_be_stopped() {
    struct Impatient;
    impl Progress for Impatient {
        fn stage(&self, _name: &str, _share: f64) {}
        fn expect(&self, _steps: u64) {}
        fn step(&self, _done: u64) -> bool {
            false
        }
    }
    for name in DIFFUSING {
        let dots = screen(name).dots(&Tone::filled(300, 300, 0.5), &options(), &Impatient);
        assert_eq!((dots.width(), dots.height(), dots.count()), (300, 300, 0), "{name}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20))]

    #[test]
    fn any_size_gives_packed_rows_of_that_size(width in 1usize..300, height in 1usize..60) {
        let tone = picture(width, height);
        for name in PUBLISHED {
            let dots = make(name, &tone);
            prop_assert_eq!((dots.width(), dots.height()), (width, height));
            // Padding bits are zero.
            prop_assert_eq!(&Dots::from_packed(width, height, dots.bits().to_vec()), &dots);
        }
    }
}

#[test]
fn along_columns_the_beam_is_known_as_well_as_along_rows() {
    // 240 x 200 places of 0.05 x 0.1 mm, beam 0.15 mm: switched twice in a line pitch, some lines spared.
    let burn = Burn::plain(3.0, 1.5);
    let options = Options { switches: 2, barred: 0.8, ..Options::new(burn, 0.05, 0.1) };
    let tone = picture(240, 200);
    for name in ["auto", "fitted", "model-diffusion"] {
        let screen = screen(name);
        let rows = screen.dots(&tone, &options, &Silent);
        let columns = screen.dots(&tone.transposed(), &options.turned(), &Silent);
        assert_eq!(columns, rows.transposed(), "{name}");
        // Otherwise dots are made for a beam that is swept across its lines.
        let across = screen.dots(&tone, &options.turned(), &Silent);
        assert_ne!(across, rows, "{name}");
    }
}
