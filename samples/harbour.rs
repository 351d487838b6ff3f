//! Makes the sample picture: a harbour at dusk, much as a camera would see it.
//!
//! `cargo run --release --example harbour -- OUT.jpg [WIDTH]` (default 2400 wide, 4 : 3). It is made of what
//! breaks dithering: a long smooth sky, fine texture on the water, thin rigging, small bright lights, soft clouds.
//! The same code gives the same picture on every machine.

use std::error::Error;

use dotwright::kernels::colour::linear_to_srgb;
use image::codecs::jpeg::JpegEncoder;

/// A colour in linear light.
type Rgb = [f32; 3];

fn mix(a: Rgb, b: Rgb, t: f32) -> Rgb {
    let t = t.clamp(0.0, 1.0);
    [0, 1, 2].map(|i| a[i] + (b[i] - a[i]) * t)
}

fn add(a: Rgb, b: Rgb, t: f32) -> Rgb {
    [0, 1, 2].map(|i| a[i] + b[i] * t)
}

fn smooth(from: f32, to: f32, v: f32) -> f32 {
    let t = ((v - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A number from 0 to 1 for a lattice point.
fn hash(x: i32, y: i32, seed: u32) -> f32 {
    let mut h = (x as u32).wrapping_mul(0x9E37_79B1)
        ^ (y as u32).wrapping_mul(0x85EB_CA77)
        ^ seed.wrapping_mul(0xC2B2_AE3D);
    h = (h ^ (h >> 15)).wrapping_mul(0x2C1B_3C6D);
    h = (h ^ (h >> 12)).wrapping_mul(0x297A_2D39);
    ((h ^ (h >> 15)) >> 8) as f32 / (1 << 24) as f32
}

/// Value noise, 0 to 1.
fn noise(x: f32, y: f32, seed: u32) -> f32 {
    let (xi, yi) = (x.floor(), y.floor());
    let s = |t: f32| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
    let (u, v) = (s(x - xi), s(y - yi));
    let at = |dx: i32, dy: i32| hash(xi as i32 + dx, yi as i32 + dy, seed);
    let (top, bottom) = (at(0, 0) + (at(1, 0) - at(0, 0)) * u, at(0, 1) + (at(1, 1) - at(0, 1)) * u);
    top + (bottom - top) * v
}

/// Noise of several octaves, 0 to 1.
fn cloud(x: f32, y: f32, octaves: u32, seed: u32) -> f32 {
    let (mut sum, mut weight, mut scale) = (0.0, 0.5, 1.0);
    for o in 0..octaves {
        sum += weight * noise(x * scale, y * scale, seed + o);
        weight *= 0.5;
        scale *= 2.03;
    }
    sum / (1.0 - weight * 2.0)
}

const HORIZON: f32 = 0.565;
/// The sun has just set here, and the lamp of the lighthouse burns there.
const SUN: (f32, f32) = (0.36, 0.575);
const LAMP: (f32, f32) = (1.002, 0.247);
const WARM: Rgb = [1.0, 0.62, 0.28];

/// Sky at (x, y); x runs from 0 to 4/3, y from 0 (top) to 1.
fn sky(x: f32, y: f32) -> Rgb {
    let up = ((HORIZON - y) / HORIZON).clamp(0.0, 1.0);
    let mut c = mix([0.98, 0.50, 0.20], [0.66, 0.33, 0.26], smooth(0.0, 0.16, up));
    c = mix(c, [0.26, 0.24, 0.36], smooth(0.10, 0.45, up));
    c = mix(c, [0.035, 0.06, 0.14], smooth(0.35, 1.0, up));
    let d = ((x - SUN.0) / 1.9).hypot(y - SUN.1);
    c = add(c, [1.0, 0.55, 0.22], 0.75 * (-d * d * 38.0).exp() + 0.5 * (-d * d * 260.0).exp());
    // Long clouds, lit from below near the sun.
    let (cx, cy) = (x * 2.2 + cloud(x * 2.0, y * 5.0, 3, 91) * 0.8, y * 11.0);
    let thick =
        smooth(0.50, 0.80, cloud(cx, cy, 6, 7)) * smooth(0.02, 0.22, up) * (1.0 - 0.5 * smooth(0.6, 1.0, up));
    let below = smooth(0.46, 0.80, cloud(cx, cy + 0.35, 6, 7));
    let lit = mix([0.10, 0.10, 0.16], [1.0, 0.52, 0.28], (1.1 - below) * (-d * 2.2).exp() * 1.5);
    c = mix(c, lit, thick * 0.78);
    // A few first stars, high up.
    let (sx, sy) = ((x * 230.0).floor(), (y * 230.0).floor());
    if hash(sx as i32, sy as i32, 3) > 0.9955 && up > 0.45 {
        let (ox, oy) = (hash(sx as i32, sy as i32, 4), hash(sx as i32, sy as i32, 5));
        let r = ((x * 230.0 - sx - ox).hypot(y * 230.0 - sy - oy)) / 0.14;
        c = add(c, [0.9, 0.95, 1.0], (-r * r).exp() * hash(sx as i32, sy as i32, 6) * (1.0 - thick));
    }
    c
}

/// The beam of the lighthouse in hazy air.
fn beam(x: f32, y: f32) -> f32 {
    let (dx, dy) = (LAMP.0 - x, y - LAMP.1);
    let one = |dx: f32, slope: f32, spread: f32| {
        if dx <= 0.0 {
            return 0.0;
        }
        let across = (dy - dx * slope) / (0.004 + dx * spread);
        (-across * across).exp() / (1.0 + dx * 2.6)
    };
    0.34 * one(dx, -0.13, 0.035) + 0.16 * one(-dx, 0.10, 0.05)
}

/// Height (y) of the far hills.
fn hills(x: f32) -> f32 {
    HORIZON
        - 0.018
        - 0.055 * smooth(0.35, 1.25, x) * (0.55 + 0.6 * cloud(x * 4.0, 0.3, 5, 21))
        - 0.012 * cloud(x * 9.0, 2.0, 4, 22)
}

/// Height (y) of the rock that carries the lighthouse.
fn rock(x: f32) -> f32 {
    let rise = smooth(0.80, 0.99, x) * 0.098;
    HORIZON + 0.045 - rise - 0.022 * cloud(x * 26.0, 1.0, 5, 31) * smooth(0.78, 0.86, x)
}

/// Distance of a point from the segment a–b.
fn segment(p: (f32, f32), a: (f32, f32), b: (f32, f32)) -> f32 {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let t = (((p.0 - a.0) * dx + (p.1 - a.1) * dy) / (dx * dx + dy * dy)).clamp(0.0, 1.0);
    (p.0 - a.0 - t * dx).hypot(p.1 - a.1 - t * dy)
}

/// A sailing ship at anchor: where its waterline lies and how large it is.
struct Ship {
    x: f32,
    y: f32,
    size: f32,
    masts: &'static [(f32, f32)],
    shade: f32,
}

const FLEET: [Ship; 3] = [
    Ship {
        x: 0.285,
        y: 0.655,
        size: 0.40,
        masts: &[(-0.24, 0.80), (0.04, 0.98), (0.29, 0.74)],
        shade: 0.009,
    },
    Ship { x: 0.700, y: 0.607, size: 0.155, masts: &[(-0.12, 0.86), (0.2, 0.74)], shade: 0.045 },
    Ship { x: 0.545, y: 0.588, size: 0.075, masts: &[(0.02, 0.9)], shade: 0.09 },
];

impl Ship {
    /// How much of the place (x, y) the ship covers, for a point `px` wide.
    fn cover(&self, x: f32, y: f32, px: f32) -> f32 {
        let p = ((x - self.x) / self.size, (self.y - y) / self.size);
        if p.0.abs() > 0.75 || !(-0.02..1.05).contains(&p.1) {
            return 0.0;
        }
        let px = px / self.size;
        let mut c: f32 = 0.0;
        // Hull with its sheer, bow to the right.
        let sheer = 0.085 + 0.035 * p.0 * p.0 * 4.0 + 0.03 * smooth(0.1, 0.52, p.0);
        let (stern, bow) = (-0.44 - 0.10 * p.1, 0.43 + 0.65 * p.1);
        c = c.max(
            smooth(-px, px, sheer - p.1)
                * smooth(-px, px, p.0 - stern)
                * smooth(-px, px, bow - p.0)
                * smooth(-px, px, p.1 + 0.01),
        );
        let house = smooth(-px, px, 0.145 - p.1) * smooth(-px, px, p.0 + 0.40) * smooth(-px, px, -0.27 - p.0);
        c = c.max(house);
        let mut sails: f32 = 0.0;
        let mut line = |a: (f32, f32), b: (f32, f32), width: f32| {
            let half = (width / 2.0).max(px * 0.4);
            let strength = (width / (px * 0.8)).min(1.0);
            c = c.max(strength * smooth(half + px * 0.7, half - px * 0.7, segment(p, a, b)));
        };
        line((0.44, 0.14), (0.66, 0.23), 0.010);
        let mut before: Option<(f32, f32)> = None;
        for &(m, top) in self.masts {
            line((m, 0.05), (m, top), 0.012);
            for (h, w) in [(0.40, 0.150), (0.58, 0.120), (0.74, 0.085)] {
                let at = top * h + 0.1;
                if at < top {
                    line((m - w, at), (m + w, at), 0.008);
                    // Furled sail under the yard.
                    let n = ((p.0 - m) / w).clamp(-1.0, 1.0);
                    let roll = 0.011 * (1.0 - n * n) + 0.002;
                    if (p.0 - m).abs() < w {
                        sails = sails.max(smooth(roll + px, roll - px, (p.1 - at + roll * 0.7).abs()));
                    }
                }
            }
            for side in [-1.0f32, 1.0] {
                for k in 0..4 {
                    let foot = 0.045 + 0.022 * k as f32;
                    line((m + side * foot, 0.09), (m + side * 0.006, top * 0.62 + 0.1), 0.0022);
                }
                for r in 1..9 {
                    let t = r as f32 / 10.0;
                    let at = 0.09 + (top * 0.62 + 0.01) * t;
                    let (near, far) = (0.045 * (1.0 - t), 0.111 * (1.0 - t));
                    line((m + side * near, at), (m + side * far, at), 0.0016);
                }
            }
            if let Some((bm, btop)) = before {
                line((bm, btop), (m, top * 0.72), 0.0022);
                line((bm, btop * 0.66), (m, 0.14), 0.0022);
            }
            before = Some((m, top));
        }
        if let Some((m, top)) = before {
            for h in [0.98, 0.8, 0.62] {
                line((m, top * h), (0.44 + 0.21 * h, 0.14 + 0.09 * h), 0.0022);
            }
        }
        if let Some(&(m, top)) = self.masts.first() {
            line((m, top), (-0.45, 0.12), 0.0022);
        }
        c.max(sails)
    }
}

/// The scene above the water, without ships and lamps; `px` is the width of a picture element.
fn above(x: f32, y: f32, px: f32) -> Rgb {
    let mut c = sky(x, y);
    c = add(c, [1.0, 0.86, 0.62], beam(x, y));
    // Far hills in haze, then the near headland and its tower.
    let far = smooth(-px, px, y - hills(x));
    let haze = mix([0.17, 0.12, 0.14], [0.42, 0.22, 0.15], (-((x - SUN.0) * 2.0).powi(2)).exp());
    c = mix(c, mix(haze, [0.03, 0.03, 0.045], smooth(0.5, 1.3, x) * 0.75), far);
    let town = (0.74..1.33).contains(&x) && y > hills(x);
    if town {
        let grain = noise(x * 160.0, y * 300.0, 77);
        c = mix(c, [0.05, 0.045, 0.06], 0.5 * grain * smooth(0.72, 0.85, x));
    }
    // The tower: tapering, lit from the left, with two dark bands, a gallery and the lantern.
    let (foot, head) = (0.520, 0.268);
    let t = ((foot - y) / (foot - head)).clamp(0.0, 1.0);
    let half = 0.0245 - 0.0085 * t;
    let off = (x - LAMP.0) / half;
    if y > head && y < foot + 0.004 {
        let round = (1.0 - off * off).max(0.0).sqrt();
        let light = 0.035 + 0.40 * (round * 0.5 - off * 0.62).max(0.0);
        let dark = if (0.26..0.46).contains(&t) || (0.68..0.86).contains(&t) { 0.18 } else { 1.0 };
        c = mix(
            c,
            [light * dark * 1.12, light * dark * 0.86, light * dark * 0.74],
            smooth(1.0 + px / half, 1.0 - px / half, off.abs()),
        );
    }
    let boxed = |w: f32, top: f32, end: f32| {
        smooth(-px, px, w - (x - LAMP.0).abs()) * smooth(-px, px, y - top) * smooth(-px, px, end - y)
    };
    c = mix(c, [0.012, 0.011, 0.013], boxed(0.0215, 0.2655, 0.2715));
    c = mix(c, [0.9, 0.7, 0.42], boxed(0.0105, 0.232, 0.2655));
    for bar in [-0.0105f32, -0.0035, 0.0035, 0.0105] {
        c = mix(
            c,
            [0.02, 0.018, 0.02],
            0.8 * smooth(0.0012, 0.0004, (x - LAMP.0 - bar).abs()) * boxed(0.012, 0.232, 0.2655),
        );
    }
    let roof = 0.0145 * ((y - 0.212) / 0.02).clamp(0.0, 1.0);
    c = mix(
        c,
        [0.014, 0.012, 0.014],
        smooth(-px, px, roof - (x - LAMP.0).abs()) * smooth(0.212, 0.2125, y) * smooth(0.2335, 0.2325, y),
    );
    let body = rock(x);
    let on_rock = smooth(-px, px, y - body) * smooth(0.785, 0.80, x);
    let face = 0.006 + 0.03 * cloud(x * 60.0, y * 90.0, 5, 41).powi(2) + 0.02 * smooth(0.012, 0.0, y - body);
    c = mix(c, [face * 1.25, face, face * 0.95], on_rock);
    c
}

/// The ships over what lies behind them.
fn ships(mut c: Rgb, x: f32, y: f32, px: f32) -> Rgb {
    for ship in FLEET.iter().rev() {
        let s = ship.shade;
        c = mix(c, [s * 1.2, s * 0.9, s * 0.9], ship.cover(x, y, px));
    }
    c
}

/// Small bright lights: (x, y, strength, radius).
fn lamps() -> Vec<(f32, f32, f32, f32)> {
    let mut all = vec![
        (LAMP.0, LAMP.1, 6.0, 0.0042),
        (0.197, 0.604, 1.5, 0.0017),
        (0.452, 0.603, 1.2, 0.0015),
        (0.640, 0.589, 0.8, 0.0011),
    ];
    for i in 0..46 {
        let x = 0.755 + 0.57 * hash(i, 1, 51);
        let along = 0.15 + 0.75 * hash(i, 2, 51);
        let y = hills(x) + (HORIZON - hills(x)) * along;
        all.push((x, y, 0.25 + 0.8 * hash(i, 3, 51).powi(2), 0.0009 + 0.0006 * hash(i, 4, 51)));
    }
    for i in 0..9 {
        all.push((0.02 + 0.022 * i as f32 * (1.0 + 0.3 * hash(i, 6, 51)), HORIZON - 0.004, 0.35, 0.0008));
    }
    all
}

fn glow(x: f32, y: f32, lamps: &[(f32, f32, f32, f32)]) -> f32 {
    lamps
        .iter()
        .map(|&(lx, ly, strength, r)| {
            let d2 = ((x - lx).powi(2) + (y - ly).powi(2)) / (r * r);
            if d2 > 3000.0 { 0.0 } else { strength * ((-d2).exp() * 1.4 + 0.05 / (1.0 + d2 * 0.12)) }
        })
        .sum()
}

/// The water: the scene mirrored in slopes that shrink towards the horizon.
fn water(x: f32, y: f32, px: f32, lamps: &[(f32, f32, f32, f32)]) -> Rgb {
    let depth = (y - HORIZON) / (1.0 - HORIZON);
    let far = 1.0 / (depth + 0.035);
    let (u, v) = (x * far * 3.2, far * 9.0);
    let swell = cloud(u * 0.9, v * 1.7, 4, 61) - 0.5;
    let ripple = cloud(u * 6.0, v * 6.0, 4, 62) - 0.5;
    let fine = noise(u * 31.0, v * 19.0, 63) - 0.5;
    let slope = swell * 0.55 + ripple * 0.55 + fine * 0.16;
    let reach = (0.04 + depth * 0.55) * slope;
    let up = (HORIZON - (y - HORIZON) * 0.93 - reach * 0.55 - 0.004).min(HORIZON - 0.002);
    let side = x + (ripple + fine * 0.5) * 0.016 * (0.3 + depth);
    let mut mirrored = above(side, up.max(0.0), px * 2.0);
    mirrored = add(mirrored, WARM, 1.1 * glow(side, up, lamps));
    // Ships are mirrored at their own waterlines.
    for ship in FLEET.iter().rev().filter(|s| y > s.y) {
        let s = ship.shade;
        let hidden = ship.cover(side, ship.y - (y - ship.y) * 0.95 - reach * 0.45, px * 2.0);
        mirrored = mix(mirrored, [s * 1.2, s * 0.9, s * 0.9], hidden * 0.92);
    }
    // Streaks below the lamps, broken by the ripples.
    for &(lx, ly, strength, _) in lamps {
        let across = (side - lx) / (0.0035 + 0.012 * depth + 0.002 * strength);
        if across.abs() < 3.0 && (HORIZON - ly) < 0.4 {
            let along = smooth(0.0, 0.04, depth) * (-depth * (3.2 - 0.25 * strength)).exp();
            mirrored = add(
                mirrored,
                WARM,
                0.17 * strength * (-across * across).exp() * along * smooth(-0.05, 0.28, slope + 0.08),
            );
        }
    }
    // Seen steeper, the water turns from a mirror into its own dark colour (Schlick's approximation of Fresnel).
    let cosine = (0.05 + depth * 0.55 + slope * 0.35).clamp(0.0, 1.0);
    let mirror = 0.02 + 0.98 * (1.0 - cosine).powi(5);
    let own: Rgb = [0.006, 0.013, 0.022];
    mix(own, mirrored, mirror.clamp(0.04, 0.95))
}

/// The colour of a place in linear light.
fn scene(x: f32, y: f32, px: f32, lamps: &[(f32, f32, f32, f32)]) -> Rgb {
    let ship =
        FLEET.iter().map(|s| if y <= s.y + 0.01 { s.cover(x, y, px) } else { 0.0 }).fold(0.0, f32::max);
    let land = smooth(0.785, 0.80, x)
        * smooth(-px, px, y - rock(x))
        * smooth(HORIZON + 0.0605, HORIZON + 0.056, y + 0.006 * noise(x * 90.0, 0.0, 12));
    let mut c = if y < HORIZON {
        ships(above(x, y, px), x, y, px)
    } else {
        let w = water(x, y, px, lamps);
        let shore = mix(w, above(x, y, px), land);
        if ship > 0.0 { ships(shore, x, y, px) } else { shore }
    };
    // Haze over the line where sea and sky meet.
    c = mix(
        c,
        [0.72, 0.40, 0.25],
        0.22 * (-((y - HORIZON) / 0.012).powi(2)).exp() * (-((x - SUN.0) * 1.6).powi(2)).exp(),
    );
    if y < HORIZON + 0.05 {
        c = add(c, WARM, glow(x, y, lamps));
    }
    c
}

/// A film-like curve, a little vignette and grain, then sRGB.
fn develop(c: Rgb, x: f32, y: f32, grain: f32) -> [u8; 3] {
    let corner = ((x - 0.667) / 0.95).powi(2) + ((y - 0.5) / 0.85).powi(2);
    let exposure = 1.22 * (1.0 - 0.32 * corner);
    c.map(|v| {
        let v = (v * exposure).max(0.0);
        let v = v * (1.0 + v / 4.0) / (1.0 + v * 0.75);
        let code = linear_to_srgb(f64::from(v.min(1.0))) as f32;
        ((code + grain * 0.012 * (1.0 - code * 0.6)) * 255.0).round().clamp(0.0, 255.0) as u8
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut args = std::env::args().skip(1);
    let out = args.next().ok_or("give the name of the picture to write, for example harbour.jpg")?;
    let width: usize = args.next().map_or(Ok(2400), |w| w.parse())?;
    let height = width * 3 / 4;
    let px = 1.0 / height as f32;
    let lamps = lamps();
    let rows = dotwright::kernels::parallel::map(height, |row| {
        let mut line = Vec::with_capacity(width * 3);
        for column in 0..width {
            // Two by two samples a picture element.
            let mut c = [0.0f32; 3];
            for (dx, dy) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                let (x, y) = ((column as f32 + dx) * px, (row as f32 + dy) * px);
                c = add(c, scene(x, y, px * 0.5, &lamps), 0.25);
            }
            let grain = hash(column as i32, row as i32, 99) + hash(column as i32, row as i32, 98) - 1.0;
            line.extend(develop(c, column as f32 * px, row as f32 * px, grain));
        }
        line
    });
    let mut file = std::io::BufWriter::new(std::fs::File::create(&out)?);
    JpegEncoder::new_with_quality(&mut file, 80).encode(
        &rows.concat(),
        width as u32,
        height as u32,
        image::ExtendedColorType::Rgb8,
    )?;
    Ok(())
}
