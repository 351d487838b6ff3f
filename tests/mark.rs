//! The forecast as a whole: against quadrature, against the 8 x 8 reference, turned, in any number of threads.

use dotwright::kernels::mark::{
    Burn, CellSamples, Forecast, LineWork, Sums, Walked, Wish, exposure, sums, walk,
};
use dotwright::kernels::parallel::with_threads;
use dotwright::kernels::placement::Along;
use dotwright::kernels::plane::{Dots, Tone};
use dotwright::kernels::progress::{Progress, Silent, Stopped};

/// `###./..#.` as dots, one row between slashes.
fn dots_of(text: &str) -> Dots {
    let rows: Vec<&[u8]> = text.split('/').map(str::as_bytes).collect();
    let mut dots = Dots::off(rows[0].len(), rows.len());
    for (y, row) in rows.iter().enumerate() {
        row.iter().enumerate().for_each(|(x, &c)| dots.set(x, y, c == b'#'));
    }
    dots
}

/// Dots on with the given chance, the same every time.
fn random(width: usize, height: usize, chance: f64, seed: u64) -> Dots {
    let mut dots = Dots::off(width, height);
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    for y in 0..height {
        for x in 0..width {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            dots.set(x, y, ((state >> 33) as f64) < chance * (1u64 << 31) as f64);
        }
    }
    dots
}

fn summed(forecast: &Forecast, dots: &Dots) -> Sums {
    sums(forecast, dots, &Silent).unwrap()
}

fn seen(forecast: &Forecast, dots: &Dots, blocks: (usize, usize)) -> Walked {
    walk(forecast, dots, Wish { blocks, ink: None }, &Silent).unwrap()
}

/// Floyd–Steinberg, rows to and fro, of a flat tone: for its texture.
fn diffused(side: usize, tone: f32) -> Dots {
    let mut dots = Dots::off(side, side);
    let mut errors = vec![0.0f32; side + 2];
    for y in 0..side {
        let mut next = vec![0.0f32; side + 2];
        let forward = y % 2 == 0;
        let mut carry = 0.0;
        for i in 0..side {
            let x = if forward { i } else { side - 1 - i };
            let value = tone + errors[x + 1] + carry;
            let on = value >= 0.5;
            dots.set(x, y, on);
            let error = value - f32::from(u8::from(on));
            carry = error * 7.0 / 16.0;
            let (ahead, behind) = if forward { (x + 2, x) } else { (x, x + 2) };
            next[behind] += error * 3.0 / 16.0;
            next[x + 1] += error * 5.0 / 16.0;
            next[ahead] += error / 16.0;
        }
        errors = next;
    }
    dots
}

#[test]
fn exposure_agrees_with_the_irradiance_integrated_over_time() {
    // tests/outside/make_mark_data.py: the beam's irradiance moved along each dot, by quadrature.
    let mut dots = Dots::off(1, 1);
    let mut checked = 0;
    for line in include_str!("data/mark/exposure.txt").lines() {
        if let Some(text) = line.strip_prefix("dots ") {
            dots = dots_of(text);
        } else if !line.starts_with('#') {
            let v: Vec<f64> = line.split(' ').map(|t| t.parse().unwrap()).collect();
            let burn = Burn::plain(v[0], v[1]);
            // Positions are multiples of 1/16 that a grid of one or of eight samples a dot holds.
            let (cell, over) = (|p: f64| p.round(), if v[2].fract() == 0.0 { 1 } else { 8 });
            let at = |p: f64| ((p - cell(p) + 0.5) * over as f64 - 0.5).round() as usize;
            let (x, y) = (cell(v[2]) as usize, cell(v[3]) as usize);
            let fine = exposure::fine(&dots, &burn, x..x + 1, y..y + 1, over);
            let got = f64::from(fine.row(at(v[3]))[at(v[2])]);
            // What lies beyond the reach (2.2 beam radii and half a pitch) is left out: under 1e-4.
            assert!((got - v[4]).abs() < 1e-4, "{line}: {got}");
            checked += 1;
        }
    }
    assert_eq!(checked, 12);
}

#[test]
fn marks_of_all_64_samples_agree_with_an_outside_calculation() {
    // tests/outside/make_mark_data.py.
    let mut lines = include_str!("data/mark/mark.txt").lines().filter(|l| !l.starts_with('#'));
    let mut checked = 0;
    while let Some(head) = lines.next() {
        let beam: Vec<f64> = head[5..].split(' ').map(|t| t.parse().unwrap()).collect();
        let dots = dots_of(&lines.next().unwrap()[5..]);
        let burn = Burn::plain(beam[0], beam[1]);
        let marks = Forecast::with_samples(&burn, CellSamples::REFERENCE).plane(&dots);
        for y in 0..dots.height() {
            for (got, want) in marks.row(y).iter().zip(lines.next().unwrap().split(' ')) {
                let want: f32 = want.parse().unwrap();
                assert!((got - want).abs() < 1e-4, "{head} row {y}: {got} {want}");
                checked += 1;
            }
        }
    }
    assert_eq!(checked, 4 * 20 * 27);
}

#[test]
fn few_samples_keep_the_mean_mark_within_a_third_of_a_percent_of_the_reference() {
    let mut pictures = vec![random(96, 96, 0.2, 1), random(96, 96, 0.7, 2)];
    pictures.extend([0.1, 0.25, 0.5, 0.75, 0.9].map(|t| diffused(96, t)));
    for (period, width) in [(4, 1), (5, 2)] {
        for upright in [true, false] {
            let mut lines = Dots::off(100, 100);
            for i in 0..100 {
                for j in (0..100).filter(|j| j % period < width) {
                    if upright { lines.set(j, i, true) } else { lines.set(i, j, true) }
                }
            }
            pictures.push(lines);
        }
    }
    for (along, across) in [(0.8, 0.8), (1.0, 1.0), (1.436, 1.436), (2.0, 2.0), (3.0, 1.2), (4.5, 4.5)] {
        for power in [0.7, 1.0, 2.0] {
            for lines in [Along::X, Along::Y] {
                let burn = Burn { x_solid: power, lines, ..Burn::plain(along, across) };
                let (few, all) =
                    (Forecast::new(&burn), Forecast::with_samples(&burn, CellSamples::REFERENCE));
                for (i, dots) in pictures.iter().enumerate() {
                    let (a, b) = (summed(&few, dots).totals.mean_mark, summed(&all, dots).totals.mean_mark);
                    // Below one mark in fifty the share is of no account.
                    let near = (a - b).abs() < 0.003 * b.max(0.02);
                    assert!(near, "{along} {across} {power} {lines:?} {i}: {a} {b}");
                }
            }
        }
    }
}

/// Columns become rows.
fn turned(dots: &Dots) -> Dots {
    let mut out = Dots::off(dots.height(), dots.width());
    (0..dots.height()).for_each(|y| (0..dots.width()).for_each(|x| out.set(y, x, dots.get(x, y))));
    out
}

#[test]
fn dots_marked_by_columns_look_like_turned_dots_marked_by_rows() {
    for (dots, (along, across)) in [
        (random(150, 110, 0.4, 3), (1.0, 1.6)),
        (random(75, 140, 0.6, 5), (2.2, 1.2)),
        (diffused(96, 0.3), (1.436, 1.436)),
        (random(90, 90, 0.5, 7), (5.0, 3.0)),
    ] {
        let burn = Burn { x_solid: 2.0, ..Burn::plain(along, across) };
        let upright = Burn { lines: Along::Y, ..burn };
        let plane =
            |burn: &Burn, dots: &Dots| Forecast::with_samples(burn, CellSamples::REFERENCE).plane(dots);
        let (rows, columns) = (plane(&burn, &turned(&dots)), plane(&upright, &dots));
        let close = |burn: &Burn, dots: &Dots| exposure::fine(dots, burn, 0..40, 0..40, 4);
        let (near, far) = (close(&burn, &turned(&dots)), close(&upright, &dots));
        for y in 0..dots.height() {
            for x in 0..dots.width() {
                let (a, b) = (columns.row(y)[x], rows.row(x)[y]);
                assert!((a - b).abs() < 2e-4, "{along} {across} at {x} {y}: {a} {b}");
            }
        }
        for i in 0..160 {
            for j in 0..160 {
                assert!((near.row(i)[j] - far.row(j)[i]).abs() < 1e-5, "{along} {across} at {i} {j}");
            }
        }
        // Swept and stamped differ, so that a mistake is seen.
        let along_rows = plane(&burn, &dots);
        let apart = along_rows.data().iter().zip(columns.data()).map(|(a, b)| (a - b).abs());
        let most = apart.fold(0.0, f32::max);
        assert!(rows.mean() > 0.0 && most > 1e-3, "{along} {across}: {most}");
    }
}

#[test]
fn the_forecast_is_the_same_for_any_thread_count() {
    let dots = random(700, 500, 0.6, 9);
    let burn = Burn { x_solid: 2.2, ..Burn::plain(1.436, 2.0) };
    let burn = Burn { response: dotwright::kernels::mark::Response { x_char: 2.0, ..burn.response }, ..burn };
    let forecast = Forecast::new(&burn);
    let work = || (forecast.plane(&dots), seen(&forecast, &dots, (5, 3)));
    let one = with_threads(1, work);
    for threads in [2, 3, 7] {
        assert!(with_threads(threads, work) == one, "{threads} threads");
    }
}

#[test]
fn bands_with_a_halo_show_the_same_rows() {
    let dots = random(300, 200, 0.5, 4);
    let forecast = Forecast::new(&Burn::plain(1.5, 1.5));
    let whole = forecast.plane(&dots);
    let rows = forecast.bands_with_halo(&dots, 5, &Silent, |band| {
        for y in band.first..band.first + band.rows() {
            assert_eq!(band.marks(y), whole.row(y));
        }
        (band.first, band.own.clone(), band.rows())
    });
    assert_eq!(rows.unwrap()[1..3], [(59, 64..128, 74), (123, 128..192, 74)]);
}

#[test]
fn art_turned_upside_down_is_forecast_upside_down() {
    let dots = random(203, 150, 0.4, 5);
    let mut turned = Dots::off(203, 150);
    for y in 0..150 {
        (0..203).for_each(|x| turned.set(202 - x, 149 - y, dots.get(x, y)));
    }
    let forecast = Forecast::with_samples(&Burn::plain(1.436, 2.0), CellSamples::REFERENCE);
    let (a, b) = (forecast.plane(&dots), forecast.plane(&turned));
    for (v, w) in a.data().iter().zip(b.data().iter().rev()) {
        assert!((v - w).abs() < 1e-3, "{v} {w}");
    }
}

#[test]
fn more_power_never_means_less_exposure_or_less_char() {
    let dots = diffused(128, 0.6);
    let mut last = (0.0, 0.0, 0.0);
    for step in 1..20 {
        let plain = Burn { x_solid: 0.15 * f64::from(step), ..Burn::plain(1.436, 1.436) };
        let mut charring = plain;
        charring.response.x_char = 1.5;
        let marked = summed(&Forecast::new(&plain), &dots).totals.mean_mark;
        let s = summed(&Forecast::new(&charring), &dots);
        let now = (marked, s.totals.charred, f64::from(s.peak) * plain.x_solid);
        assert!(now.0 > last.0 && now.1 >= last.1 && now.2 > last.2, "{step}: {now:?} {last:?}");
        last = now;
    }
    assert!(last.1 > 0.5 * 128.0 * 128.0);
}

#[test]
fn a_mark_ends_at_the_edge_of_the_dots() {
    // A disc of dots: nothing is marked farther out than the beam reaches.
    let (side, r) = (120i64, 50i64);
    let mut dots = Dots::off(side as usize, side as usize);
    let from_centre = |x: i64, y: i64| ((2 * x + 1 - side).pow(2) + (2 * y + 1 - side).pow(2)) as f64;
    for y in 0..side {
        for x in 0..side {
            dots.set(x as usize, y as usize, from_centre(x, y).sqrt() / 2.0 <= r as f64);
        }
    }
    let marks = Forecast::new(&Burn::plain(1.5, 1.5)).plane(&dots);
    for y in 0..side {
        for x in 0..side {
            let (d, m) = (from_centre(x, y).sqrt() / 2.0, marks.row(y as usize)[x as usize]);
            if d > r as f64 + 2.2 {
                assert!(m < 0.01, "{x} {y} {d}: {m}");
            } else if d < r as f64 - 2.2 {
                assert!(m > 0.97, "{x} {y} {d}: {m}");
            }
        }
    }
}

#[test]
fn planes_of_any_small_size_are_forecast() {
    for (width, height) in [(0, 0), (1, 1), (7, 3), (8, 1), (64, 65), (257, 2)] {
        let dots = random(width, height, 0.7, 3);
        let s = summed(&Forecast::new(&Burn::plain(1.5, 1.5)), &dots);
        assert_eq!(s.cells, (width * height) as u64);
        assert!(s.totals.mean_mark.is_finite());
    }
}

/// A burn that chars solids, and some of what is dense.
fn charring() -> Burn {
    let burn = Burn { x_solid: 1.4, ..Burn::plain(1.436, 2.0) };
    Burn { response: dotwright::kernels::mark::Response { x_char: 1.3, ..burn.response }, ..burn }
}

/// Random dots with a solid, a bare place and, at the edges, cut blocks.
fn busy(width: usize, height: usize) -> Dots {
    let mut dots = random(width, height, 0.5, 8);
    for y in 0..height {
        for x in 0..width {
            if (60..140).contains(&x) && (40..150).contains(&y) {
                dots.set(x, y, true);
            }
            if (150..260).contains(&x) && (20..90).contains(&y) {
                dots.set(x, y, false);
            }
        }
    }
    dots
}

#[test]
fn one_walk_gives_what_the_plane_holds() {
    let dots = busy(331, 257);
    let burn = charring();
    let forecast = Forecast::new(&burn);
    let over_burn_from = burn.over_burn_from() as f32;
    // The whole plane, by the bands: marks, greatest exposures, over-burnt shares.
    let plane = |take: fn(&dotwright::kernels::mark::Band) -> Vec<f32>| forecast.bands(&dots, take).concat();
    let (mark, peak, charred) =
        (plane(|b| b.mark.to_vec()), plane(|b| b.peak.to_vec()), plane(|b| b.charred.to_vec()));
    let sum = |v: &[f32]| v.iter().map(|&v| f64::from(v)).sum::<f64>();
    for (along, across) in [(1, 1), (3, 5), (4, 4), (7, 100), (331, 257), (400, 1)] {
        let seen = seen(&forecast, &dots, (along, across));
        let totals = seen.sums.totals;
        assert!((totals.mean_mark - sum(&mark) / (331.0 * 257.0)).abs() < 1e-6);
        assert_eq!(totals.marked, mark.iter().filter(|&&m| m >= 0.5).count() as u64);
        assert!((totals.charred - sum(&charred)).abs() < 1e-6 && totals.charred > 1000.0, "{totals:?}");
        let top = peak.iter().copied().fold(0.0, f32::max);
        assert_eq!((seen.sums.peak, peak[seen.sums.peak_at.1 * 331 + seen.sums.peak_at.0]), (top, top));
        let b = &seen.blocks;
        assert_eq!((b.columns, b.rows), (331usize.div_ceil(along), 257usize.div_ceil(across)));
        for (r, c) in (0..b.rows).flat_map(|r| (0..b.columns).map(move |c| (r, c))) {
            let (mut looks, mut burnt, mut most, mut cells) = (0.0, 0.0, 0.0f32, 0.0);
            for y in r * across..((r + 1) * across).min(257) {
                for x in c * along..((c + 1) * along).min(331) {
                    let i = y * 331 + x;
                    looks += f64::from(mark[i]);
                    burnt += f64::from(charred[i]);
                    most = most.max(peak[i]);
                    cells += 1.0;
                }
            }
            // Looks go from 0 to 1 here, so a block's look is its mean mark fraction.
            let (i, look) = (r * b.columns + c, (looks / cells).clamp(0.0, 1.0));
            assert!((f64::from(b.look[i]) - look).abs() < 2e-5, "{along} {across} {r} {c}");
            assert!((f64::from(b.charred[i]) - burnt / cells).abs() < 1e-5, "{along} {across} {r} {c}");
            assert_eq!(b.dose[i], most / over_burn_from, "{along} {across} {r} {c}");
        }
    }
}

#[test]
fn all_that_a_walk_gives_is_what_walks_of_their_own_give() {
    let dots = busy(331, 257);
    let forecast = Forecast::new(&charring());
    // Neighbours differ: a soft shade would be a tint, which has no strokes.
    let tone =
        Tone::from_vec(331, 257, (0..331 * 257).map(|i| (i % 331 * 101 % 331) as f32 / 331.0).collect());
    let ink = LineWork::new(&tone, |y| y % 20..331);
    let all = walk(&forecast, &dots, Wish { blocks: (4, 3), ink: Some(&ink) }, &Silent).unwrap();
    let picture = seen(&forecast, &dots, (4, 3));
    assert_eq!((&all.sums, &all.blocks), (&picture.sums, &picture.blocks), "ink or no ink");
    let alone = summed(&forecast, &dots);
    let mean = all.sums.totals.mean_mark;
    // Where there are blocks the mean is summed by them: the same but for rounding.
    assert!((alone.totals.mean_mark - mean).abs() < 1e-6);
    let totals = dotwright::kernels::mark::Totals { mean_mark: mean, ..alone.totals };
    assert_eq!(all.sums, Sums { totals, ..alone }, "picture or no picture");
    let other = walk(&forecast, &dots, Wish { blocks: (9, 9), ink: Some(&ink) }, &Silent).unwrap();
    assert!(all.lost.is_some() && all.lost == other.lost, "{:?} {:?}", all.lost, other.lost);
}

#[test]
fn strokes_and_gaps_are_lost_where_the_definition_says_so() {
    let dots = busy(300, 200);
    let forecast = Forecast::new(&Burn::plain(1.5, 2.6));
    let marks = forecast.plane(&dots);
    let tone = random(300, 200, 0.6, 77);
    let tone =
        |x: usize, y: usize| if tone.get(x, y) { 0.2 + (x % 8) as f32 / 10.0 } else { (y % 3) as f32 / 16.0 };
    let plane = Tone::from_vec(300, 200, (0..300 * 200).map(|i| tone(i % 300, i / 300)).collect());
    let allowed = |y: usize| y % 7..300 - y % 5;
    let lost =
        walk(&forecast, &dots, Wish { blocks: (2, 2), ink: Some(&LineWork::new(&plane, allowed)) }, &Silent);
    // One cell along (1.5 / 2, rounded) and one across (2.6 / 2) are near.
    let (mut strokes, mut gaps) = (0, 0);
    for y in 0..200usize {
        for x in allowed(y) {
            let near = || {
                (y.saturating_sub(1)..=(y + 1).min(199))
                    .flat_map(move |v| (x.saturating_sub(1)..=(x + 1).min(299)).map(move |u| (u, v)))
                    .map(|(u, v)| marks.row(v)[u])
            };
            strokes += u64::from(tone(x, y) >= 0.2 && near().all(|m| m < 0.25));
            gaps += u64::from(tone(x, y) <= 0.5 && near().all(|m| m > 0.75));
        }
    }
    let lost = lost.unwrap().lost.unwrap();
    assert_eq!((lost.strokes, lost.gaps), (strokes, gaps));
    assert!(strokes > 1000 && gaps > 1000, "{strokes} {gaps}");
}

/// Stops after so many steps.
struct Patient {
    left: std::sync::atomic::AtomicI64,
    expected: std::sync::atomic::AtomicU64,
}

impl Patient {
    fn new(steps: i64) -> Self {
        Patient { left: steps.into(), expected: 0.into() }
    }
}

impl Progress for Patient {
    fn stage(&self, _name: &str, _share: f64) {}
    fn expect(&self, steps: u64) {
        self.expected.fetch_add(steps, std::sync::atomic::Ordering::Relaxed);
    }
    fn step(&self, done: u64) -> bool {
        let done = done as i64;
        self.left.fetch_sub(done, std::sync::atomic::Ordering::Relaxed) - done > 0
    }
}

#[test]
fn a_walk_counts_its_rows_and_stops_in_the_middle_when_asked() {
    let dots = random(300, 2000, 0.5, 6);
    let forecast = Forecast::new(&Burn::plain(1.5, 1.5));
    let wish = Wish { blocks: (2, 2), ink: None };
    for threads in [1, 3] {
        with_threads(threads, || {
            let patient = Patient::new(2001);
            assert!(walk(&forecast, &dots, wish, &patient).is_ok());
            assert_eq!((patient.left.into_inner(), patient.expected.into_inner()), (1, 2000));
            let patient = Patient::new(700);
            assert_eq!(walk(&forecast, &dots, wish, &patient), Err(Stopped));
            // Bands that were under way are finished, no further ones begun.
            assert!(patient.left.into_inner() > -64 * 4);
            assert_eq!(sums(&forecast, &dots, &Patient::new(0)), Err(Stopped));
        });
    }
}
