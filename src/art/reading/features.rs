//! Features: what is measured of a picture to tell a photo, a drawing and a sheet of paper from each other.

use super::background;
use super::paper::bare_paper;
use super::small::Small;
use crate::parallel;

/// How many there are.
pub const COUNT: usize = 27;

/// One value a feature, in this order; shares are 0 to 1, steps and ranges are sRGB codes (0 to 255).
///
/// 0. flat: share of places whose right, lower and diagonal neighbours are within 4 codes;
/// 1. even: the same within 1 code;
/// 2. ground: share within 10 codes of the commonest tone;
/// 3. border: share of the outer frame within 14 codes of its median;
/// 4. tones: share in the four commonest tones, 21 codes wide each;
/// 5. shade: share that is smooth but in none of these tones;
/// 6. paper: share that reflects 92 % or more of its surroundings' background;
/// 7. strokes: share that reflects under 80 % of it;
/// 8. between: share that reflects 80 to 92 % of it;
/// 9. wash: share that reflects under 90 % of it and is smooth;
/// 10. noise: logarithm of the median standard deviation of blocks;
/// 11. uneven: standard deviation of the logarithm of the background;
/// 12. sharp: share of steps above 40 codes;
/// 13. soft: share of steps of 8 to 40 codes;
/// 14. crisp: logarithm of the ratio of these two;
/// 15. background: its median code, of 255;
/// 16. dark: 1 where the commonest tone lies under code 80;
/// 17. solid: of what lies over 24 codes from the commonest tone, the share that is flat;
/// 18. two-sided: in blocks with a range above 32 codes, the share near one of their ends;
/// 19. entropy: of the histogram of codes, of 8 bits;
/// 20. ink: share over 40 codes from the commonest tone;
/// 21. quiet: share of blocks with a range of at most 6 codes;
/// 22. levels: standard deviation of the means of quiet blocks, of 64 codes;
/// 23. drift: logarithm of the mean step between neighbouring quiet blocks;
/// 24. grain: logarithm of the standard deviation of what is lighter than bare paper, against it;
/// 25. below: logarithm of the share that is darker than bare paper by four of these, and not alone in it: on paper,
///     strokes however faint;
/// 26. above: logarithm of the share that is lighter by as much: on paper, nothing.
pub type Features = [f64; COUNT];

/// Half width of a tone in codes.
const TONE: usize = 10;

/// Measures all of them; `None` where nothing is opaque.
pub(super) fn measure(s: &Small) -> Option<Features> {
    let all = s.opaque.iter().filter(|o| **o).count();
    if all == 0 {
        return None;
    }
    let share = |n: u64| n as f64 / all as f64;
    let histogram = histogram(s.code.iter().zip(&s.opaque).filter(|(_, o)| **o).map(|(c, _)| *c));
    let mode = mode(&histogram);
    let tones = tones(&histogram);
    let ((steps, blocks, edge), reflect) = parallel::both(
        || (steps(s, mode, &tones), blocks(s), frame(s).map_or(1.0, |(_, near)| near)),
        || reflect(s),
    );
    let near = |c: f32, t: f64, by: f64| (f64::from(c) - t).abs() <= by;
    let count =
        |f: &dyn Fn(f32) -> bool| s.code.iter().zip(&s.opaque).filter(|(c, o)| **o && f(**c)).count() as u64;
    let ground = share(count(&|c| near(c, mode as f64, TONE as f64)));
    let ink = share(count(&|c| !near(c, mode as f64, 40.0)));
    let far = count(&|c| !near(c, mode as f64, 24.0));
    let in_tones: f64 = tones.iter().map(|t| t.1).sum();
    let entropy = bits(&histogram);
    let ratio = libm::log((share(steps.sharp) + 1e-4) / (share(steps.soft) + 1e-4));
    Some([
        share(steps.flat),
        share(steps.even),
        ground,
        edge,
        in_tones,
        share(steps.shade),
        share(reflect.paper),
        share(reflect.strokes),
        share(reflect.between),
        share(reflect.wash),
        libm::log(blocks.noise + 0.1),
        reflect.uneven,
        share(steps.sharp),
        share(steps.soft),
        ratio,
        reflect.level / 255.0,
        f64::from(u8::from(mode < 80)),
        (steps.solid as f64 + 1.0) / (far as f64 + 2.0),
        blocks.two_sided,
        entropy / 8.0,
        ink,
        blocks.quiet,
        blocks.levels / 64.0,
        libm::log(blocks.drift + 0.02),
        libm::log(reflect.grain + 1e-3),
        libm::log(share(reflect.below) + 1e-3),
        libm::log(share(reflect.above) + 1e-3),
    ])
}

/// How often each code is there.
pub(super) fn histogram(codes: impl Iterator<Item = f32>) -> Vec<u64> {
    let mut bins = vec![0u64; 256];
    for c in codes {
        bins[(c.round() as usize).min(255)] += 1;
    }
    bins
}

/// Entropy of a histogram, bits.
pub(super) fn bits(histogram: &[u64]) -> f64 {
    let all = histogram.iter().sum::<u64>() as f64;
    let of = |&n: &u64| {
        let p = n as f64 / all;
        -p * libm::log2(p)
    };
    histogram.iter().filter(|n| **n > 0).map(of).sum()
}

/// The commonest tone: where most lies within three codes.
fn mode(histogram: &[u64]) -> usize {
    let mass = |i: usize| histogram[i.saturating_sub(3)..(i + 4).min(256)].iter().sum::<u64>();
    (0..256).max_by_key(|&i| (mass(i), std::cmp::Reverse(i))).unwrap_or(255)
}

/// The four commonest tones and their shares of all.
pub(super) fn tones(histogram: &[u64]) -> Vec<(usize, f64)> {
    let all = histogram.iter().sum::<u64>().max(1) as f64;
    let mut left = histogram.to_vec();
    (0..4)
        .map(|_| {
            let mode = mode(&left);
            let range = mode.saturating_sub(TONE)..(mode + TONE + 1).min(256);
            let mass: u64 = left[range.clone()].iter().sum();
            left[range].fill(0);
            (mode, mass as f64 / all)
        })
        .collect()
}

/// Counts by the greatest step to the right, lower and diagonal neighbour.
#[derive(Debug, Default)]
struct Steps {
    flat: u64,
    even: u64,
    shade: u64,
    sharp: u64,
    soft: u64,
    solid: u64,
}

/// The greatest step from each place to its right, lower and diagonal neighbour; rows and columns from the second on.
fn step_at(s: &Small, x: usize, y: usize) -> f32 {
    let (x1, y1) = ((x + 1).min(s.width - 1), (y + 1).min(s.height - 1));
    let here = s.code[y * s.width + x];
    let to = |x: usize, y: usize| {
        let i = y * s.width + x;
        // What lies under transparency means nothing.
        if s.opaque[i] { (s.code[i] - here).abs() } else { 0.0 }
    };
    to(x1, y).max(to(x, y1)).max(to(x1, y1))
}

fn steps(s: &Small, mode: usize, tones: &[(usize, f64)]) -> Steps {
    let mut n = Steps::default();
    for y in 0..s.height {
        for (x, &c) in s.row(y).iter().enumerate() {
            if !s.opaque[y * s.width + x] {
                continue;
            }
            let step = step_at(s, x, y);
            let off = |t: usize| (c - t as f32).abs();
            n.flat += u64::from(step <= 4.0);
            n.even += u64::from(step <= 1.0);
            n.sharp += u64::from(step > 40.0);
            n.soft += u64::from((8.0..=40.0).contains(&step));
            n.shade += u64::from(step <= 12.0 && tones.iter().all(|t| off(t.0) > 14.0));
            n.solid += u64::from(step <= 6.0 && off(mode) > 24.0);
        }
    }
    n
}

/// Whether a place lies in the outer frame, a fiftieth wide.
pub(super) fn in_frame(s: &Small, i: usize) -> bool {
    let frame = (s.width.min(s.height) / 50).max(1);
    let (x, y) = (i % s.width, i / s.width);
    x < frame || y < frame || x + frame >= s.width || y + frame >= s.height
}

/// A code is near the frame's within so many.
pub(super) const NEAR_FRAME: f32 = 14.0;

/// The median code of the outer frame, and the share of it that is near that; `None` where none of it is opaque.
pub(super) fn frame(s: &Small) -> Option<(f32, f64)> {
    let mut codes: Vec<f32> =
        (0..s.code.len()).filter(|&i| s.opaque[i] && in_frame(s, i)).map(|i| s.code[i]).collect();
    if codes.is_empty() {
        return None;
    }
    let middle = codes.len() / 2;
    let median = *codes.select_nth_unstable_by(middle, f32::total_cmp).1;
    let near = codes.iter().filter(|c| (**c - median).abs() <= NEAR_FRAME).count();
    Some((median, near as f64 / codes.len() as f64))
}

/// Counts by the reflectance against the background, as paper would have it.
struct Reflect {
    paper: u64,
    strokes: u64,
    between: u64,
    wash: u64,
    uneven: f64,
    level: f64,
    grain: f64,
    below: u64,
    above: u64,
}

fn reflect(s: &Small) -> Reflect {
    let ground = background::Background::of(s.width, s.height, &s.light, Some(&s.opaque));
    let mut n = Reflect {
        paper: 0,
        strokes: 0,
        between: 0,
        wash: 0,
        uneven: 0.0,
        level: 0.0,
        grain: 0.0,
        below: 0,
        above: 0,
    };
    let mut reflectance = vec![f32::NAN; s.light.len()];
    let mut row = vec![0.0f32; s.width];
    for y in 0..s.height {
        ground.row(y, &mut row);
        for (x, &ground) in row.iter().enumerate() {
            let i = y * s.width + x;
            if !s.opaque[i] {
                continue;
            }
            let r = s.light[i] / ground.max(1e-4);
            reflectance[i] = r;
            n.paper += u64::from(r >= 0.92);
            n.strokes += u64::from(r < 0.8);
            n.between += u64::from((0.8..0.92).contains(&r));
            n.wash += u64::from(r < 0.9 && step_at(s, x, y) <= 6.0);
        }
    }
    let (uneven, level) = ground.spread();
    n.uneven = uneven;
    n.level = crate::colour::linear_to_srgb(level) * 255.0;
    let (bare, grain) = bare_paper(&reflectance);
    let apart = (4.0 * grain).max(0.02);
    let (low, high) = ((bare * (1.0 - apart)) as f32, (bare * (1.0 + apart)) as f32);
    n.grain = grain;
    let size = (s.width, s.height);
    (n.below, n.above) = parallel::both(
        || in_company(&reflectance, size, |r| r < low),
        || in_company(&reflectance, size, |r| r > high),
    );
    n
}

/// How many places have three or more of the nine around them (themselves one of these) in the range: a speck of grain has
/// fewer.
fn in_company(v: &[f32], (w, h): (usize, usize), within: impl Fn(f32) -> bool) -> u64 {
    // Of each row how many of three are in the range, with a row of noughts above and below.
    let mut threes = vec![0u8; w * (h + 2)];
    let mut padded = vec![0u8; w + 2];
    for (threes, row) in threes[w..].chunks_exact_mut(w).zip(v.chunks_exact(w)) {
        padded[1..].iter_mut().zip(row).for_each(|(p, &r)| *p = u8::from(within(r)));
        for (i, three) in threes.iter_mut().enumerate() {
            *three = padded[i] + padded[i + 1] + padded[i + 2];
        }
    }
    let mut n = 0;
    for rows in threes.windows(3 * w).step_by(w).take(h) {
        let (above, rest) = rows.split_at(w);
        let (own, below) = rest.split_at(w);
        n += above.iter().zip(own).zip(below).filter(|((a, o), b)| **a + **o + **b >= 3).count() as u64;
    }
    n
}

/// What blocks of 8 x 8 look like.
struct BlockFacts {
    noise: f64,
    two_sided: f64,
    quiet: f64,
    levels: f64,
    drift: f64,
}

fn blocks(s: &Small) -> BlockFacts {
    let (columns, rows) = s.blocks();
    let mut deviations = Vec::with_capacity(columns * rows);
    let mut quiet: Vec<Option<f64>> = vec![None; columns * rows];
    let (mut near_ends, mut in_ranges) = (0u64, 0u64);
    for by in 0..rows {
        for bx in 0..columns {
            let (mut n, mut sum, mut square) = (0u32, 0.0f64, 0.0f64);
            let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
            for c in s.block(bx, by) {
                n += 1;
                sum += f64::from(c);
                square += f64::from(c) * f64::from(c);
                low = low.min(c);
                high = high.max(c);
            }
            if n == 0 {
                continue;
            }
            let mean = sum / f64::from(n);
            deviations.push((square / f64::from(n) - mean * mean).max(0.0).sqrt());
            let range = high - low;
            if range <= 6.0 {
                quiet[by * columns + bx] = Some(mean);
            }
            if range > 32.0 {
                in_ranges += u64::from(n);
                near_ends +=
                    s.block(bx, by).filter(|c| *c <= low + 0.2 * range || *c >= high - 0.2 * range).count()
                        as u64;
            }
        }
    }
    let all = deviations.len().max(1);
    let middle = all / 2;
    let noise = if deviations.is_empty() {
        0.0
    } else {
        *deviations.select_nth_unstable_by(middle, f64::total_cmp).1
    };
    let means: Vec<f64> = quiet.iter().flatten().copied().collect();
    let count = means.len().max(1) as f64;
    let mean = means.iter().sum::<f64>() / count;
    let levels = (means.iter().map(|m| (m - mean) * (m - mean)).sum::<f64>() / count).sqrt();
    let (mut drift, mut pairs) = (0.0, 0u64);
    for by in 0..rows {
        for bx in 0..columns {
            let Some(here) = quiet[by * columns + bx] else { continue };
            let right = if bx + 1 < columns { quiet[by * columns + bx + 1] } else { None };
            let below = if by + 1 < rows { quiet[(by + 1) * columns + bx] } else { None };
            for other in [right, below].into_iter().flatten() {
                // A step between two flat tones is an edge, no drift.
                if (other - here).abs() < 8.0 {
                    drift += (other - here).abs();
                    pairs += 1;
                }
            }
        }
    }
    BlockFacts {
        noise,
        two_sided: (near_ends as f64 + 32.0) / (in_ranges as f64 + 64.0),
        quiet: means.len() as f64 / all as f64,
        levels,
        drift: drift / pairs.max(1) as f64,
    }
}
