//! The forecast as a whole: against quadrature, against the 8 x 8 reference, turned, in any number of threads.

use dotwright::mark::{Burn, Forecast, Samples, exposure, reduced, summary};
use dotwright::parallel::with_threads;
use dotwright::plane::Dots;

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
        let marks = Forecast::with_samples(&burn, Samples::REFERENCE).plane(&dots);
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
            let burn = Burn { x_solid: power, ..Burn::plain(along, across) };
            let (few, all) = (Forecast::new(&burn), Forecast::with_samples(&burn, Samples::REFERENCE));
            for (i, dots) in pictures.iter().enumerate() {
                let (a, b) = (summary(dots, &few).mean_mark, summary(dots, &all).mean_mark);
                // Below one mark in fifty the share is of no account.
                assert!((a - b).abs() < 0.003 * b.max(0.02), "{along} {across} {power} {i}: {a} {b}");
            }
        }
    }
}

#[test]
fn the_forecast_is_the_same_for_any_thread_count() {
    let dots = random(700, 500, 0.6, 9);
    let burn = Burn { x_solid: 2.2, ..Burn::plain(1.436, 2.0) };
    let burn = Burn { response: dotwright::mark::Response { x_char: 2.0, ..burn.response }, ..burn };
    let forecast = Forecast::new(&burn);
    let work = || (forecast.plane(&dots), reduced(&dots, &forecast, 130, 77));
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
    forecast.bands_with_halo(&dots, 5, |band| {
        for i in 0..band.rows() {
            assert_eq!(band.mark[i * 300..(i + 1) * 300], *whole.row(band.first + i));
        }
    });
}

#[test]
fn art_turned_upside_down_is_forecast_upside_down() {
    let dots = random(203, 150, 0.4, 5);
    let mut turned = Dots::off(203, 150);
    for y in 0..150 {
        (0..203).for_each(|x| turned.set(202 - x, 149 - y, dots.get(x, y)));
    }
    let forecast = Forecast::with_samples(&Burn::plain(1.436, 2.0), Samples::REFERENCE);
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
        let marked = summary(&dots, &Forecast::new(&plain)).mean_mark;
        let s = summary(&dots, &Forecast::new(&charring));
        let now = (marked, s.charred, f64::from(s.peak) * plain.x_solid);
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
fn the_reduced_picture_keeps_the_mean_and_the_places() {
    let dots = random(331, 257, 0.5, 8);
    let burn = Burn::plain(1.5, 1.5);
    let forecast = Forecast::new(&burn);
    let marks = forecast.plane(&dots);
    for (columns, rows) in [(331, 257), (100, 77), (33, 20), (1, 1)] {
        let (summary, small) = reduced(&dots, &forecast, columns, rows);
        assert_eq!((small.look.width(), small.look.height()), (columns, rows));
        assert!((small.look.mean() - summary.mean_mark).abs() < 1e-5);
        if columns == 331 {
            let far = small.look.data().iter().zip(marks.data()).map(|(a, b)| (a - b).abs());
            assert!(far.fold(0.0, f32::max) < 1e-5);
        }
        if columns == 100 {
            // The cell at column 41, row 30: by hand from its exact area.
            let (w, h) = (331.0 / 100.0, 257.0 / 77.0);
            let mut sum = 0.0;
            for y in 0..257 {
                for x in 0..331 {
                    let share = |i: usize, c: f64, s: f64| {
                        ((i as f64 + 1.0).min((c + 1.0) * s) - (i as f64).max(c * s)).max(0.0)
                    };
                    sum += f64::from(marks.row(y)[x]) * share(x, 41.0, w) * share(y, 30.0, h);
                }
            }
            let got = f64::from(small.look.row(30)[41]);
            assert!((got - sum / (w * h)).abs() < 1e-5, "{got} {}", sum / (w * h));
        }
    }
}

#[test]
fn planes_of_any_small_size_are_forecast() {
    for (width, height) in [(0, 0), (1, 1), (7, 3), (8, 1), (64, 65), (257, 2)] {
        let dots = random(width, height, 0.7, 3);
        let s = summary(&dots, &Forecast::new(&Burn::plain(1.5, 1.5)));
        assert_eq!(s.cells, (width * height) as u64);
        assert!(s.mean_mark.is_finite());
    }
}
