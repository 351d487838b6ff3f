//! On ground: a photo that stands on a plain ground, as a portrait cut out on white does.
//!
//! The plain ground is one flat tone, however large, and of the whole picture most lies in few tones: as in a drawing or
//! on paper. What stands on it tells. Measured on what is left once the ground that reaches the frame and a few elements
//! beside it are left out: flat inks lie in their few tones (97 % and more, under three bits), a photo runs through all
//! (under 70 %, over seven bits) in small steps; so do shaded strokes, but those are mostly edges, and so does metal that is
//! drawn with gradients, but in fewer such steps (own trial: some thirty cut-outs of people, pets and things on white, grey
//! and coloured grounds, many cut by the frame, some fifty logos, drawings and sketches, and the set that the readings are
//! judged by, of which only photos meet the rule).

use super::features::{NEAR_FRAME, bits, frame, histogram, in_frame, tones};
use super::small::Small;

/// Share of the frame that a ground reaches at least: half-length people cover the lower edge and some of the sides.
const FRAME: f64 = 0.6;
/// Elements beside the ground that are left out: what a lens or compression blurs.
const BESIDE: usize = 3;
/// Shares of the picture: the least that a ground has, and the least that stands on it.
const LEAST_GROUND: f64 = 0.2;
const LEAST: f64 = 0.05;
/// Share of what stands on the ground that is more than its rim, at least: of letters and strokes hardly any is.
const BODY: f64 = 0.25;

/// What stands on a plain ground.
struct Stands {
    /// Share of it in the four commonest tones.
    tones: f64,
    /// Entropy of its codes, bits.
    bits: f64,
    /// Share of it with small steps to its neighbours, and with large ones.
    soft: f64,
    sharp: f64,
}

/// How sure what stands on the picture's plain ground is a photo; `None` where there is no such ground, or no photo on it.
pub(super) fn photo(s: &Small) -> Option<f64> {
    let it = stands(s)?;
    if it.sharp <= 0.12 && it.tones <= 0.75 && it.bits >= 6.8 && it.soft >= 0.44 {
        return Some(0.9);
    }
    // Drawn with gradients, in flat clothes, or small before a busy ground: it may be one.
    let shaded = it.sharp <= 0.12 && it.tones <= 0.85 && it.bits >= 6.3 && it.soft >= 0.25;
    let plain = it.sharp <= 0.12 && it.tones <= 0.75 && it.bits >= 5.0 && it.soft >= 0.4;
    let busy = it.sharp <= 0.16 && it.tones <= 0.65 && it.bits >= 7.0 && it.soft >= 0.44;
    (shaded || plain || busy).then_some(0.7)
}

fn stands(s: &Small) -> Option<Stands> {
    let (median, plain) = frame(s)?;
    if plain < FRAME {
        return None;
    }
    let all = s.width * s.height;
    let near = |i: usize| s.opaque[i] && (s.code[i] - median).abs() <= NEAR_FRAME;
    // The ground: all that is near the frame's tone and hangs together with the frame.
    let mut ground = vec![false; all];
    let mut left: Vec<usize> = (0..all).filter(|&i| in_frame(s, i) && near(i)).collect();
    left.iter().for_each(|&i| ground[i] = true);
    while let Some(i) = left.pop() {
        let (x, y) = (i % s.width, i / s.width);
        let sides = [
            (x > 0).then(|| i - 1),
            (x + 1 < s.width).then(|| i + 1),
            (y > 0).then(|| i - s.width),
            (y + 1 < s.height).then(|| i + s.width),
        ];
        for j in sides.into_iter().flatten().filter(|&j| near(j)) {
            if !ground[j] {
                ground[j] = true;
                left.push(j);
            }
        }
    }
    let share = |n: usize| n as f64 / all as f64;
    if share(ground.iter().filter(|g| **g).count()) < LEAST_GROUND {
        return None;
    }
    let beside = widened(&ground, s.width);
    let stands: Vec<usize> = (0..all).filter(|&i| s.opaque[i] && !beside[i]).collect();
    let rim = widened(&beside, s.width);
    let body = stands.iter().filter(|i| !rim[**i]).count();
    if share(stands.len()) < LEAST || (body as f64) < BODY * stands.len() as f64 {
        return None;
    }
    Some(measured(s, &stands))
}

/// The places that have one of `these` within [`BESIDE`] either way, both ways.
fn widened(these: &[bool], width: usize) -> Vec<bool> {
    let mut along = vec![false; these.len()];
    for (out, row) in along.chunks_exact_mut(width).zip(these.chunks_exact(width)) {
        for x in (0..width).filter(|&x| row[x]) {
            out[x.saturating_sub(BESIDE)..(x + BESIDE + 1).min(width)].fill(true);
        }
    }
    let mut both = along.clone();
    let rows = these.len() / width;
    for y in 0..rows {
        for near in y.saturating_sub(BESIDE)..(y + BESIDE + 1).min(rows) {
            for x in 0..width {
                both[y * width + x] |= along[near * width + x];
            }
        }
    }
    both
}

fn measured(s: &Small, these: &[usize]) -> Stands {
    let histogram = histogram(these.iter().map(|&i| s.code[i]));
    let (mut soft, mut sharp) = (0u64, 0u64);
    for &i in these {
        let (x, y) = (i % s.width, i / s.width);
        let to = |j: usize| (s.code[j] - s.code[i]).abs();
        let right = if x + 1 < s.width { to(i + 1) } else { 0.0 };
        let below = if y + 1 < s.height { to(i + s.width) } else { 0.0 };
        let step = right.max(below);
        soft += u64::from((2.0..=25.0).contains(&step));
        sharp += u64::from(step > 40.0);
    }
    let all = these.len() as f64;
    Stands {
        tones: tones(&histogram).iter().map(|tone| tone.1).sum(),
        bits: bits(&histogram),
        soft: soft as f64 / all,
        sharp: sharp as f64 / all,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: usize = 200;

    /// A disc of `tone` on white, in the middle.
    fn disc(tone: impl Fn(usize, usize) -> f32) -> Small {
        let code: Vec<f32> = (0..SIDE * SIDE)
            .map(|i| {
                let (x, y) = (i % SIDE, i / SIDE);
                let from_middle = (x as f32 - 100.0).hypot(y as f32 - 100.0);
                if from_middle < 70.0 { tone(x, y) } else { 255.0 }
            })
            .collect();
        let light = code.iter().map(|c| c / 255.0).collect();
        let opaque = vec![true; SIDE * SIDE];
        Small { width: SIDE, height: SIDE, code, light, opaque, transparent: 0.0, clear_cut: 1.0 }
    }

    #[test]
    fn a_photo_on_white_is_told_from_flat_inks_shades_and_strokes() {
        let grain = |x: usize, y: usize| ((x * 7919 + y * 104_729) % 13) as f32;
        let face = |x: usize, y: usize| {
            115.0 + 80.0 * libm::sinf(x as f32 * 0.04) * libm::cosf(y as f32 * 0.05) + grain(x, y)
        };
        assert_eq!(photo(&disc(face)), Some(0.9));
        // Flat inks, one smooth shade, hatching, and a photo without a ground.
        assert_eq!(photo(&disc(|x, _| if x < 100 { 40.0 } else { 130.0 })), None);
        assert_eq!(photo(&disc(|_, y| y as f32)), None);
        assert_eq!(photo(&disc(|x, y| if (x + y) % 4 < 2 { 30.0 + grain(x, y) } else { 250.0 })), None);
        // Small steps in half of it only, as in metal that is drawn.
        let half = |x: usize, y: usize| if x < 104 { face(x, y) } else { (y as f32) + 30.0 };
        assert_eq!(photo(&disc(half)), Some(0.7));
        let mut everywhere = disc(face);
        for i in 0..SIDE * SIDE {
            everywhere.code[i] = face(i % SIDE, i / SIDE);
        }
        assert_eq!(photo(&everywhere), None);
    }

    #[test]
    fn half_length_people_cover_the_lower_edge_and_hatching_and_letters_stay_drawn() {
        let grain = |x: usize, y: usize| ((x * 7919 + y * 104_729) % 13) as f32;
        let face = |x: usize, y: usize| {
            115.0 + 80.0 * libm::sinf(x as f32 * 0.04) * libm::cosf(y as f32 * 0.05) + grain(x, y)
        };
        // From the disc down to the lower edge, all of its width.
        let half_length = |tone: &dyn Fn(usize, usize) -> f32| {
            let mut small = disc(tone);
            for i in (0..SIDE * SIDE).filter(|i| i / SIDE >= 100 && (10..190).contains(&(i % SIDE))) {
                small.code[i] = tone(i % SIDE, i / SIDE);
            }
            small
        };
        assert_eq!(photo(&half_length(&face)), Some(0.9));
        assert_eq!(photo(&half_length(&|x, _| if x < 100 { 40.0 } else { 130.0 })), None);
        assert_eq!(photo(&half_length(&|x, y| if (x + y) % 4 < 2 { 30.0 } else { 250.0 })), None);
        // Strokes nine wide on white.
        assert_eq!(photo(&disc(|x, y| if x % 20 < 9 { face(x, y) } else { 255.0 })), None);
    }
}
