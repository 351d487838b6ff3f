//! The scan program as a whole: what is written, read by our own reader, by a general-purpose parser and
//! by plain checks of the standard's limits; stored samples for readers outside.

use std::path::Path;

use dotwright::kernels::blank::{Blank, Shape};
use dotwright::kernels::mark::Burn;
use dotwright::kernels::placement::{Along, DotRect, Grid};
use dotwright::kernels::plane::{Dots, Tone};
use dotwright::kernels::progress::Silent;
use dotwright::kernels::scan::axis::Axis;
use dotwright::kernels::scan::contour::Contour;
use dotwright::kernels::scan::grey;
use dotwright::kernels::scan::limits::{BeamLag, Limits, PowerMode};
use dotwright::kernels::scan::lines::{Marking, level_of};
use dotwright::kernels::scan::outline;
use dotwright::kernels::scan::program::{Cost, Notes, Program};
use dotwright::kernels::scan::raster::{RasterPath, Scan, Ways};
use dotwright::kernels::scan::readback;
use dotwright::kernels::scan::replay::{Ground, ReplayOptions, Replayed, replay};
use dotwright::kernels::scan::toolpath::Toolpath;
use dotwright::kernels::units::Mm;
use proptest::prelude::*;

fn notes() -> Notes {
    Notes {
        job: "Lighthouse (harbour museum)".into(),
        settings: vec!["poster paint on glass, 4.5 W".into()],
        cautions: vec!["the process is assumed, not measured".into()],
    }
}

fn program<'a>(raster: &RasterPath, marking: Marking<'a>) -> Program<'a> {
    Program::of_raster(raster.clone(), marking, notes().of_raster(raster))
}

fn write(raster: &RasterPath, marking: Marking<'_>) -> (String, Cost) {
    let mut out = Vec::new();
    let written = program(raster, marking).write(&mut out, &Silent).expect("memory takes all");
    (String::from_utf8(out).expect("ASCII"), written)
}

fn read(raster: &RasterPath, text: &str, levels: bool) -> Replayed {
    let options = ReplayOptions {
        ground: Some(Ground { rect: raster.rect, blank: raster.blank }),
        lag: Some(raster.limits.lag),
        levels,
        ..ReplayOptions::new(&raster.limits)
    };
    replay(text.as_bytes(), &options).expect("own programs are read")
}

/// The limits of NISTIR 6556 that the parsers used here do not enforce: line length (section 3.3), plain
/// numbers (3.3.2.1), S not negative (3.7.2), parentheses (3.3.4).
fn within_limits(text: &str) {
    for line in text.lines() {
        assert!(line.len() <= 256 && line.is_ascii(), "{line}");
        let (open, close) = (line.matches('(').count(), line.matches(')').count());
        assert!(open == close && open <= 1, "{line}");
        if open == 0 {
            assert!(!line.contains(['e', 'E', '+', ' ']), "{line}");
            assert!(!line.contains("S-"), "{line}");
        }
    }
    assert!(text.ends_with("M2\n"));
}

fn parsed_by_crate(text: &str) {
    let program = gcode::parse(text).unwrap_or_else(|d| panic!("{d:?}"));
    assert!(program.blocks.len() >= 5);
}

#[derive(Debug, Clone)]
struct Case {
    dots: Dots,
    limits: Limits,
    scan: Scan,
    rect: DotRect,
    blank: Blank,
}

fn dots(columns: usize, rows: usize) -> impl Strategy<Value = Dots> {
    // Scattered dots, nearly solid ones and mostly blank ones.
    (prop::collection::vec(any::<u8>(), columns.div_ceil(8) * rows), 0..4u8).prop_map(move |(bits, kind)| {
        let bits = bits
            .iter()
            .enumerate()
            .map(|(i, &b)| match kind {
                0 => b,
                1 => b | b.rotate_left(3) | (b >> 1),
                2 => {
                    if i % 7 == 0 {
                        b
                    } else {
                        0
                    }
                }
                _ => {
                    if b > 200 {
                        0xFF
                    } else {
                        0
                    }
                }
            })
            .collect();
        Dots::from_packed(columns, rows, bits)
    })
}

fn case() -> impl Strategy<Value = Case> {
    let size = (1usize..90, 1usize..24);
    let pitches = (0.005f64..0.4, 0.005f64..0.4);
    let place = (0.0f64..20.0, 0.0f64..20.0);
    let machine = (any::<[bool; 4]>(), -20.0f64..20.0, -20.0f64..20.0, -0.2f64..0.2, 1u32..20_000);
    let scan = (any::<[bool; 3]>(), 0.5f64..150.0, 0.01f64..=1.0, 1u32..3, 0.0f64..0.3, 0u8..3);
    (size, pitches, place, machine, scan).prop_flat_map(|((w, h), p, at, m, s)| {
        dots(w, h).prop_map(move |dots| {
            let grid = Grid { along: Mm(p.0), across: Mm(p.1) };
            let rect = DotRect { left: Mm(at.0), top: Mm(at.1), columns: w, rows: h, grid };
            let blank = Blank { shape: "rect:80x60mm".parse().expect("a blank"), margin: Mm(0.0) };
            let [x_left, y_down, scaled, in_motion] = m.0;
            let plain = Limits::default();
            let limits = Limits {
                x: Axis { zero: m.1, backwards: x_left, ..plain.x },
                y: Axis { zero: m.2, backwards: y_down, ..plain.y },
                lag: BeamLag::Mm(m.3),
                full_scale_s: m.4,
                power_mode: if scaled { PowerMode::SpeedScaled } else { PowerMode::Constant },
                power_in_motion: in_motion,
                ..Limits::default()
            };
            let scan = Scan {
                along: if s.0[0] { Along::X } else { Along::Y },
                ways: if s.0[1] { Ways::Both } else { Ways::One },
                skip_blanks: s.0[2],
                passes: s.3,
                trim: s.4,
                run_up: [None, Some(0.0), Some(1.5)][usize::from(s.5)],
                ..Scan::new(s.1, s.2)
            };
            Case { dots, limits, scan, rect, blank }
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn any_dots_with_any_settings_come_back_bit_for_bit(case in case()) {
        let raster = RasterPath::new(&case.limits, case.scan, case.rect, case.blank).expect("a raster path");
        let (text, written) = write(&raster, Marking::Dots(&case.dots));
        within_limits(&text);
        let mut back = read(&raster, &text, false);
        prop_assert!(back.against(&case.dots));
        let r = &back.report;
        let d = r.difference.as_ref().expect("compared");
        prop_assert!(d.same, "{d:?}");
        // Beam off elsewhere, and off at the end.
        prop_assert_eq!(r.dots_again, case.dots.count() * u64::from(case.scan.passes - 1));
        prop_assert_eq!(r.off_grid_mm, 0.0);
        prop_assert_eq!(r.beam_on_in_rapid.count + r.beam_on_at_rest.count + r.beam_on_outside_blank.count, 0);
        prop_assert!(!r.power_left_on && r.not_in_standard_count == 0);
        // Two counts of the same time and travel, by code that shares only the formula of one move.
        let s = &written.estimate;
        prop_assert!((r.seconds - s.times.total()).abs() < 1e-6 * (1.0 + r.seconds), "{} {:?}", r.seconds, s.times);
        prop_assert!((r.travel_mm - s.travel_mm).abs() < 1e-6 * (1.0 + r.travel_mm));
        prop_assert!((r.burning_mm - s.burning_mm).abs() < 1e-6 * (1.0 + r.burning_mm));
        // Every coordinate within run-up and lag of the art; the last move goes to the program's zero.
        if let Some(e) = s.extents {
            let far = f64::from(raster.run_up) / 1000.0 + case.limits.lag.shift(case.scan.speed).abs() + 0.002;
            let (a, b) = (case.limits.to_blank((e[0], e[1])), case.limits.to_blank((e[2], e[3])));
            prop_assert!(a.0.min(b.0) >= case.rect.left.0 - far);
            prop_assert!(a.0.max(b.0) <= case.rect.left.0 + case.rect.width() + far);
            let top = 60.0 - case.rect.top.0;
            prop_assert!(a.1.min(b.1) >= top - case.rect.height() - far && a.1.max(b.1) <= top + far);
            let all = r.extents_mm.expect("moves");
            let with_zero = [e[0].min(0.0), e[1].min(0.0), e[2].max(0.0), e[3].max(0.0)];
            for (a, b) in all.iter().zip(with_zero) {
                prop_assert!((a - b).abs() < 1e-9, "{:?} {:?}", all, with_zero);
            }
        }
    }

    #[test]
    fn any_bytes_are_refused_or_read_but_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let limits = Limits::default();
        let _ = replay(&bytes[..], &ReplayOptions { picture: Some(64), ..ReplayOptions::new(&limits) });
    }

    #[test]
    fn any_words_are_refused_or_read_but_never_panic(text in "([GMXYSFNPT%( )/.$;-]{1,3}[0-9]{0,4}\n?){0,40}") {
        let limits = Limits::default();
        let _ = replay(text.as_bytes(), &ReplayOptions { picture: Some(64), ..ReplayOptions::new(&limits) });
    }
}

/// A machine that plans ahead, near or far: how many moves, accelerations, lag, way before a mark, link, moves a second.
fn planner() -> impl Strategy<Value = Limits> {
    let motion = (1u32..=64, 100.0f64..10_000.0, 100.0f64..10_000.0, -3e-3f64..3e-3, 0u8..3, 0u8..2);
    let rates = (prop::option::of(500.0f64..20_000.0), prop::option::of(50.0f64..2000.0));
    (motion, rates, any::<[bool; 2]>()).prop_map(|(m, rates, backwards)| {
        let plain = Limits::default();
        Limits {
            plans_ahead: Some(m.0),
            x: Axis { acceleration: m.1, backwards: backwards[0], ..plain.x },
            y: Axis { acceleration: m.2, backwards: backwards[1], rapid_speed: 400.0, ..plain.y },
            lag: BeamLag::Seconds([m.3, m.3, 0.0][usize::from(m.4)]),
            gap_settle: [0.0, 0.05][usize::from(m.5)],
            link_bytes_per_s: rates.0,
            moves_per_s: rates.1,
            ..plain
        }
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn a_hurry_in_gaps_leaves_every_mark_as_it_is(
        (case, limits) in (case(), planner()),
        speed in 2.0f64..80.0,
    ) {
        let scan = Scan { speed, run_up: None, ..case.scan };
        let steady = Scan { hurry: false, ..scan };
        let path = |scan| RasterPath::new(&limits, scan, case.rect, case.blank).expect("a raster path");
        let (slow, fast) = (path(steady), path(scan));
        let ((slow_text, slow_cost), (text, cost)) =
            (write(&slow, Marking::Dots(&case.dots)), write(&fast, Marking::Dots(&case.dots)));
        within_limits(&text);
        let (before, mut back) = (read(&slow, &slow_text, false).report, read(&fast, &text, false));
        prop_assert!(back.against(&case.dots));
        let r = &back.report;
        prop_assert!(r.difference.as_ref().expect("compared").same, "{:?}", r.difference);
        prop_assert_eq!(r.beam_on_in_rapid.count + r.beam_on_at_rest.count + r.beam_on_outside_blank.count, 0);
        prop_assert!(r.off_grid_mm == 0.0 && !r.power_left_on && r.highest_s == before.highest_s);
        prop_assert!((r.burning_mm - before.burning_mm).abs() < 1e-6 * (1.0 + r.burning_mm));
        // A controller that sees too little ahead is slow within marks whatever the program; a hurry adds nothing.
        let (a, b) = (&before.beam_on_off_speed, &r.beam_on_off_speed);
        prop_assert!(b.count <= a.count && b.mm <= a.mm + 1e-6, "{b:?} {a:?}");
        let (s, t) = (&slow_cost.estimate.times, &cost.estimate.times);
        prop_assert!(t.total() <= s.total() + 1e-9 && t.burning_s <= s.burning_s + 1e-9, "{t:?} {s:?}");
        // The forecast is that of this controller, whose short sight is all that slows the head within marks.
        prop_assert!((r.seconds - t.total()).abs() < 1e-6 * (1.0 + t.total()), "{} {t:?}", r.seconds);
        prop_assert_eq!(r.beam_on_off_speed.count, cost.estimate.slowed);
        let far = Limits { plans_ahead: Some(10_000), ..limits.clone() };
        let seen = replay(text.as_bytes(), &ReplayOptions {
            ground: Some(Ground { rect: fast.rect, blank: fast.blank }),
            lag: Some(limits.lag),
            ..ReplayOptions::new(&far)
        }).expect("read").report;
        prop_assert!(seen.seconds <= t.total() + 1e-6 * (1.0 + t.total()), "{} {t:?}", seen.seconds);
        prop_assert_eq!(seen.beam_on_off_speed.count, 0);
        prop_assert!((r.travel_mm - cost.estimate.travel_mm).abs() < 1e-6 * (1.0 + r.travel_mm));
        // The link and the controller are asked for no more than before, or than they carry.
        let no_more = |now: f64, before: f64, rate: Option<f64>| {
            now <= before.max(rate.unwrap_or(f64::INFINITY)) * 1.001
        };
        let (now, before) = (&cost.load, &slow_cost.load);
        prop_assert!(no_more(now.bytes.per_s, before.bytes.per_s, limits.link_bytes_per_s), "{now:?} {before:?}");
        prop_assert!(no_more(now.moves.per_s, before.moves.per_s, limits.moves_per_s), "{now:?} {before:?}");
    }
}

/// Rasters and contours one after the other, on one sheet.
fn sheet() -> impl Strategy<Value = Vec<(Dots, (usize, usize), Scan)>> {
    let part = (dots(24, 16), 0usize..6, 0usize..5, any::<[bool; 2]>(), 2.0f64..60.0, 0.1f64..=1.0);
    prop::collection::vec(part, 1..6).prop_map(|parts| {
        parts
            .into_iter()
            .map(|(dots, column, row, [along_y, both], speed, power)| {
                let along = if along_y { Along::Y } else { Along::X };
                let ways = if both { Ways::Both } else { Ways::Back };
                (dots, (column * 30, row * 20), Scan { along, ways, ..Scan::new(speed, power) })
            })
            .collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    #[test]
    fn parts_of_any_kind_come_back_as_one_sheet(
        sheet in sheet(),
        lag in -0.004f64..0.004,
        in_motion in any::<bool>(),
        accelerations in (100.0f64..2000.0, 100.0f64..2000.0),
    ) {
        let plain = Limits::default();
        let limits = Limits {
            lag: BeamLag::Seconds(lag),
            power_in_motion: in_motion,
            x: Axis { acceleration: accelerations.0, ..plain.x },
            y: Axis { acceleration: accelerations.1, rapid_speed: 90.0, ..plain.y },
            ..plain
        };
        let blank = Blank { shape: "rect:60x50mm".parse().expect("a blank"), margin: Mm(0.0) };
        let grid = Grid { along: Mm(0.2), across: Mm(0.25) };
        let whole = DotRect { left: Mm(10.0), top: Mm(10.0), columns: 180, rows: 100, grid };
        let mut wanted = Dots::off(whole.columns, whole.rows);
        let mut parts = Vec::new();
        for (dots, at, scan) in &sheet {
            for (x, y) in (0..24).flat_map(|x| (0..16).map(move |y| (x, y))).filter(|&(x, y)| dots.get(x, y)) {
                wanted.set(at.0 + x, at.1 + y, true);
            }
            let rect = DotRect {
                left: Mm(10.0 + at.0 as f64 * 0.2),
                top: Mm(10.0 + at.1 as f64 * 0.25),
                columns: 24,
                rows: 16,
                grid,
            };
            let path = RasterPath::new(&limits, *scan, rect, blank).expect("a path");
            parts.push(Toolpath { remark: "a part".into(), ..Toolpath::raster(path, Marking::Dots(dots)) });
            let corners = [(1.0, 1.0), (59.0, 1.0), (30.0, 49.0), (1.0, 1.0)];
            parts.push(Toolpath::contour("a walk", Contour::new(&limits, &corners, 0, 40.0)));
        }
        let program = Program::new(&limits, Vec::new(), parts);
        let options = ReplayOptions {
            ground: Some(Ground { rect: whole, blank }),
            ..ReplayOptions::of(&program)
        };
        let mut out = Vec::new();
        let (cost, mut back) = readback::write(&program, &options, &mut out, &Silent).expect("read back");
        within_limits(std::str::from_utf8(&out).expect("ASCII"));
        prop_assert!(back.against(&wanted));
        let r = &back.report;
        prop_assert!(r.difference.as_ref().expect("compared").same, "{:?}", r.difference);
        prop_assert_eq!(r.beam_on_in_rapid.count + r.beam_on_at_rest.count + r.beam_on_outside_blank.count, 0);
        prop_assert!(!r.power_left_on && r.off_grid_mm == 0.0 && r.not_in_standard_count == 0);
        let e = &cost.estimate;
        prop_assert!((r.seconds - e.times.total()).abs() < 1e-6 * r.seconds, "{} {:?}", r.seconds, e.times);
        prop_assert!((r.travel_mm - e.travel_mm).abs() < 1e-6 * r.travel_mm);
        prop_assert!((r.burning_mm - e.burning_mm).abs() < 1e-6 * (1.0 + r.burning_mm));
        for (a, b) in r.extents_mm.expect("moves").iter().zip(e.reach) {
            prop_assert!((a - b).abs() < 1e-9, "{:?} {:?}", r.extents_mm, e.reach);
        }
    }
}

#[test]
fn tones_by_power_come_back_level_for_level() {
    let (w, h) = (60, 20);
    let tone = Tone::from_vec(w, h, (0..w * h).map(|i| ((i * 37) % 101) as f32 / 100.0).collect());
    let levels = grey::levels(&Burn::plain(1.5, 1.5), 900);
    for along in [Along::X, Along::Y] {
        for power_in_motion in [true, false] {
            let limits = Limits { power_in_motion, ..Limits::default() };
            let scan = Scan { along, ..Scan::new(20.0, 0.9) };
            let (rect, blank) = place(w, h, "rect:50x40mm");
            let raster = RasterPath::new(&limits, scan, rect, blank).expect("a raster path");
            let (text, _) = write(&raster, Marking::Grey { tone: &tone, levels: &levels });
            within_limits(&text);
            let back = read(&raster, &text, true);
            let found = back.levels.expect("asked for");
            for (i, (&found, &wanted)) in found.iter().zip(tone.data()).enumerate() {
                assert_eq!(found, level_of(&levels, wanted) as f32, "{i}");
            }
            let r = back.report;
            assert_eq!((r.off_grid_mm, r.beam_on_in_rapid.count, r.power_left_on), (0.0, 0, false));
        }
    }
}

fn place(columns: usize, rows: usize, blank: &str) -> (DotRect, Blank) {
    let blank = Blank { shape: blank.parse::<Shape>().expect("a blank"), margin: Mm(2.0) };
    let pitch = 25.4 / 304.0;
    let grid = Grid { along: Mm(pitch), across: Mm(pitch) };
    let left = (blank.shape.width() - columns as f64 * pitch) / 2.0;
    let top = (blank.shape.height() - rows as f64 * pitch) / 2.0;
    (DotRect { left: Mm(left), top: Mm(top), columns, rows, grid }, blank)
}

/// A lighthouse of 48 x 40 dots: tower, lantern, beam of light, sea.
fn lighthouse() -> Dots {
    let mut d = Dots::off(48, 40);
    for y in 0..40usize {
        for x in 0..48usize {
            let half = 3 + y / 8;
            let tower = (6..34).contains(&y) && x.abs_diff(24) <= half && (y / 5) % 2 == 0;
            let light = y < 6 && x > 24 && x.is_multiple_of(2) && y.abs_diff(3) <= x / 12;
            let sea = y >= 34 && (x + 2 * y) % 6 < 4;
            d.set(x, y, tower || light || sea);
        }
    }
    d
}

/// The lighthouse in two parts, the left half by rows, the right half by columns at another speed and power,
/// and a walk round it between them.
fn halves(dots: &Dots, limits: &Limits) -> String {
    let (rect, blank) = place(48, 40, "round:30mm");
    let half = |from: usize| {
        let mut d = Dots::off(24, 40);
        (0..40).for_each(|y| (0..24).for_each(|x| d.set(x, y, dots.get(from + x, y))));
        let left = Mm(rect.left.0 + from as f64 * rect.grid.along.0);
        (d, DotRect { left, columns: 24, ..rect })
    };
    let ((left, a), (right, b)) = (half(0), half(24));
    let path = |scan, rect| RasterPath::new(limits, scan, rect, blank).expect("a path");
    let rows = path(Scan::new(12.5, 0.9), a);
    let columns = path(Scan { along: Along::Y, ways: Ways::Back, ..Scan::new(30.0, 0.4) }, b);
    let part = |name: &str, path, dots| Toolpath { remark: name.into(), ..Toolpath::raster(path, dots) };
    let walk = Contour::new(limits, &[(12.0, 12.0), (18.0, 12.0), (18.0, 18.0), (12.0, 12.0)], 0, 40.0);
    let parts = vec![
        part("left half", rows, Marking::Dots(&left)),
        Toolpath::contour("walk", walk),
        part("right half", columns, Marking::Dots(&right)),
    ];
    let mut comments = notes().of_place(&rect, &blank);
    comments.push("(lag 2 ms along the motion, taken up in the coordinates)".into());
    let mut out = Vec::new();
    Program::new(limits, comments, parts).write(&mut out, &Silent).expect("memory takes all");
    String::from_utf8(out).expect("ASCII")
}

/// The stored samples: name, text.
fn samples() -> Vec<(&'static str, String)> {
    let dots = lighthouse();
    let (rect, blank) = place(48, 40, "round:30mm");
    let plain = Limits::default();
    let other = Limits {
        power_mode: PowerMode::SpeedScaled,
        power_in_motion: false,
        full_scale_s: 255,
        x: Axis { zero: 15.0, backwards: true, ..plain.x },
        y: Axis { zero: 15.0, backwards: true, ..plain.y },
        lag: BeamLag::Seconds(0.001),
        pointer: Some(0.004),
        ..Limits::default()
    };
    let program = |limits: &Limits, scan: Scan| {
        let raster = RasterPath::new(limits, scan, rect, blank).expect("a raster path");
        write(&raster, Marking::Dots(&dots)).0
    };
    let walk = |limits: &Limits| {
        let mut out = Vec::new();
        outline::program(limits, &rect, &blank, "Lighthouse")
            .write(&mut out, &Silent)
            .expect("memory takes all");
        String::from_utf8(out).expect("ASCII")
    };
    let hasty = Limits { plans_ahead: Some(15), lag: BeamLag::Seconds(0.002), ..plain.clone() };
    let early =
        Limits { plans_ahead: Some(15), lag: BeamLag::Seconds(-0.001), gap_settle: 0.02, ..plain.clone() };
    let heavy = Limits { y: Axis { acceleration: 200.0, rapid_speed: 60.0, ..plain.y }, ..plain.clone() };
    vec![
        ("lighthouse.nc", program(&plain, Scan::new(12.5, 0.9))),
        ("lighthouse_along_y.nc", program(&heavy, Scan { along: Along::Y, ..Scan::new(60.0, 0.9) })),
        ("parts.nc", halves(&dots, &Limits { lag: BeamLag::Seconds(0.002), ..plain.clone() })),
        ("lighthouse_switched.nc", program(&other, Scan { along: Along::Y, ..Scan::new(30.0, 0.5) })),
        ("hurried.nc", program(&hasty, Scan::new(12.5, 0.9))),
        ("hurried_early.nc", program(&early, Scan { along: Along::Y, trim: 0.01, ..Scan::new(25.0, 0.9) })),
        ("outline.nc", walk(&plain)),
        ("outline_pointer.nc", walk(&other)),
    ]
}

/// The samples are what the writer writes today. With DOTWRIGHT_REWRITE set they are written anew, and
/// the test still fails, so that a change is never passed over.
#[test]
fn the_stored_samples_are_what_is_written_today() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/scan");
    let rewrite = std::env::var_os("DOTWRIGHT_REWRITE").is_some();
    for (name, text) in samples() {
        within_limits(&text);
        parsed_by_crate(&text);
        let path = folder.join(name);
        if rewrite {
            std::fs::write(&path, &text).expect("the sample is written");
        }
        let stored = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(stored == text, "{} differs from what is written today", path.display());
    }
    // The dots that readers outside compare with.
    let dots = lighthouse();
    let text: String = (0..dots.height())
        .map(|y| (0..dots.width()).map(|x| if dots.get(x, y) { '#' } else { '.' }).collect::<String>() + "\n")
        .collect();
    if rewrite {
        std::fs::write(folder.join("lighthouse.txt"), &text).expect("written");
    }
    assert_eq!(std::fs::read_to_string(folder.join("lighthouse.txt")).unwrap_or_default(), text);
    assert!(!rewrite, "the samples were rewritten; run again without DOTWRIGHT_REWRITE");
}

#[test]
fn a_program_says_by_itself_where_its_dots_lie() {
    let text = &samples()[0].1;
    let limits = Limits::default();
    let mut back = replay(text.as_bytes(), &ReplayOptions::new(&limits)).expect("read");
    assert!(back.against(&lighthouse()));
    assert!(back.report.difference.expect("compared").same);
    assert_eq!(back.ground.expect("said").blank.shape.to_string(), "round:30mm");
}

#[test]
fn a_lost_dot_a_shift_and_an_added_burn_are_all_seen() {
    let text = &samples()[0].1;
    let limits = Limits::default();
    let dots = lighthouse();
    let play = |text: &str| {
        let mut r = replay(text.as_bytes(), &ReplayOptions::new(&limits)).expect("read");
        assert!(r.against(&dots));
        r.report
    };
    let count = text.matches("S900").count();
    assert!(count > 100);
    let lost = play(&text.replacen("S900", "S0", 1)).difference.expect("compared");
    assert!(!lost.same && lost.missing > 0 && lost.extra == 0);
    let shifted = text.replace("Y16.", "Y16.08");
    assert!(!play(&shifted).difference.expect("compared").same);
    let burnt = text.replace("M5S0\nG0X0Y0", "S900\nG0X0Y0\nM5S0");
    let r = play(&burnt);
    assert_eq!(r.beam_on_in_rapid.count, 1);
    assert!(r.off_grid_mm > 1.0);
    let cut = &text[..text.len() / 2];
    let cut = &cut[..cut.rfind('\n').expect("lines")];
    assert!(
        replay(cut.as_bytes(), &ReplayOptions::new(&limits))
            .is_err_and(|e| e.to_string().contains("cut off"))
    );
}
