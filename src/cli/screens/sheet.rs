//! The picture of all screens: each on the same ramps and the same part of a photo.

use super::figures::Search;
use super::{Failure, PITCH, SIDE, input};
use crate::colour::srgb8;
use crate::mark::{Burn, Forecast};
use crate::plane::{Dots, Tone};
use crate::progress::Silent;
use crate::proof::canvas::{Picture, Rgb, draw, escape};
use crate::proof::legend::stack;
use crate::screen::{Options, SCREENS, Screen};

const PAPER: Rgb = [247; 3];
const GAP: usize = 12;
/// Side of the photo's part, and of the part of its dots that is shown at twice the size.
const PART: usize = 224;
const WIDTH: usize = 4 * GAP + 4 * PART;
/// The lightest tones, which show how a screen begins and whether its dots keep apart.
const LIGHT: f32 = 0.06;

/// The sheet: what is wanted, then a strip for each screen, then what more search brings.
pub fn picture(photo: &Tone, search: &[Search]) -> Result<Picture, Failure> {
    let options = Options::new(Burn::plain(1.5, 1.5), PITCH, PITCH);
    let part: Vec<f32> = (0..PART)
        .flat_map(|y| photo.row(SIDE / 2 - PART / 2 + y)[SIDE / 3..SIDE / 3 + PART].iter().copied())
        .collect();
    let wanted = Wanted {
        ramp: ramp(2 * PART, 68, 1.0),
        light: ramp(2 * PART, 64, LIGHT),
        part: Tone::from_vec(PART, PART, part),
    };
    let mut sheet = stack(&heading()?, &wanted.strip());
    for screen in SCREENS {
        let title = format!(
            r##"<text x="{GAP}" y="24" font-size="18" font-weight="bold">{}</text><text x="230" y="24" font-size="14">{}</text>"##,
            escape(screen.name),
            escape(screen.about)
        );
        sheet = stack(&sheet, &stack(&draw(WIDTH, 34, PAPER, &title)?, &wanted.made_by(screen, &options)));
    }
    Ok(stack(&sheet, &curve(search)?))
}

fn heading() -> Result<Picture, Failure> {
    let light = format!("dots of the tones 0 to {:.0} %", 100.0 * LIGHT);
    let lines = [
        (GAP, 26, 18, "Wanted".to_string()),
        (GAP, 46, 13, "Left, from above: dots of a ramp; the forecast of it; ".to_string() + &light),
        (GAP, 64, 13, "Right: forecast of a part of the photo; its middle's dots at twice the size. White is marked, beam 1.5 pitches.".into()),
    ];
    let text: String = lines
        .iter()
        .map(|(x, y, size, text)| {
            format!(r#"<text x="{x}" y="{y}" font-size="{size}">{}</text>"#, escape(text))
        })
        .collect();
    Ok(draw(WIDTH, 76, PAPER, &text)?)
}

/// A ramp from 0 to `most`, left to right.
fn ramp(width: usize, height: usize, most: f32) -> Tone {
    let row = (0..width).map(|x| most * x as f32 / (width - 1) as f32);
    Tone::from_vec(width, height, (0..height).flat_map(|_| row.clone()).collect())
}

struct Wanted {
    ramp: Tone,
    light: Tone,
    part: Tone,
}

impl Wanted {
    fn strip(&self) -> Picture {
        let mut strip = Picture::filled(WIDTH, PART + GAP, PAPER);
        strip.lay(&tones(&self.ramp), GAP, 0);
        strip.lay(&tones(&self.light), GAP, 2 * (68 + GAP));
        strip.lay(&tones(&self.part), 2 * GAP + 2 * PART, 0);
        let middle = |x, y| srgb8(self.part.row(PART / 4 + y / 2)[PART / 4 + x / 2]);
        strip.lay(&grey(PART, PART, middle), 3 * GAP + 3 * PART, 0);
        strip
    }

    fn made_by(&self, screen: &Screen, options: &Options) -> Picture {
        let made = |tone: &Tone| (screen.make)(&input(screen, options, tone), options, &Silent);
        let forecast = Forecast::new(&options.burn);
        let (ramp, light, part) = (made(&self.ramp), made(&self.light), made(&self.part));
        let mut strip = Picture::filled(WIDTH, PART + GAP, PAPER);
        let dots = |d: &Dots| grey(d.width(), d.height(), |x, y| if d.get(x, y) { 255 } else { 0 });
        strip.lay(&dots(&ramp), GAP, 0);
        strip.lay(&tones(&forecast.plane(&ramp).recast()), GAP, 68 + GAP);
        strip.lay(&dots(&light), GAP, 2 * (68 + GAP));
        strip.lay(&tones(&forecast.plane(&part).recast()), 2 * GAP + 2 * PART, 0);
        let middle = |x: usize, y: usize| if part.get(PART / 4 + x / 2, PART / 4 + y / 2) { 255 } else { 0 };
        strip.lay(&grey(PART, PART, middle), 3 * GAP + 3 * PART, 0);
        strip
    }
}

fn tones(tone: &Tone) -> Picture {
    grey(tone.width(), tone.height(), |x, y| srgb8(tone.row(y)[x]))
}

fn grey(width: usize, height: usize, value: impl Fn(usize, usize) -> u8) -> Picture {
    let mut p = Picture::filled(width, height, [0; 3]);
    for (i, pixel) in p.rgb.chunks_exact_mut(3).enumerate() {
        pixel.fill(value(i % width, i / width));
    }
    p
}

/// Quality against time for the searching screen, time on a scale of powers.
fn curve(search: &[Search]) -> Result<Picture, Failure> {
    const FIELD: (f64, f64, f64, f64) = (70.0, 52.0, 760.0, 230.0);
    let (left, top, width, height) = FIELD;
    let all = || search.iter().flat_map(|s| s.psnr_db);
    let low = all().fold(f64::INFINITY, f64::min).floor();
    let high = all().fold(f64::NEG_INFINITY, f64::max).ceil().max(low + 1.0);
    let ends =
        |f: fn(f64, f64) -> f64, from| search.iter().map(|s| s.seconds.max(1e-4).log10()).fold(from, f);
    let (first, last) = (ends(f64::min, f64::INFINITY).floor(), ends(f64::max, f64::NEG_INFINITY).ceil());
    let x = |seconds: f64| left + width * (seconds.max(1e-4).log10() - first) / (last - first).max(1.0);
    let y = |db: f64| top + height * (high - db) / (high - low);
    let mut svg = String::from(
        r#"<text x="12" y="26" font-size="18" font-weight="bold">What more search brings</text><text x="300" y="26" font-size="14">fitted by its passes; 0 is where it starts, model-diffusion</text>"#,
    );
    let mut db = low;
    while db <= high {
        svg += &format!(
            r##"<path d="M{left} {0:.1}h{width}" stroke="#bbb"/><text x="{1}" y="{2:.1}" font-size="13" text-anchor="end">{db:.0}</text>"##,
            y(db),
            left - 8.0,
            y(db) + 4.0
        );
        db += 1.0;
    }
    for power in first as i32..=last as i32 {
        let seconds = 10f64.powi(power);
        svg += &format!(
            r##"<path d="M{0:.1} {top}v{height}" stroke="#bbb"/><text x="{0:.1}" y="{1}" font-size="13" text-anchor="middle">{seconds} s</text>"##,
            x(seconds),
            top + height + 18.0
        );
    }
    svg += &format!(
        r#"<text x="{}" y="{}" font-size="13" text-anchor="middle">time for a million dots</text><text transform="translate(22 {}) rotate(-90)" font-size="13" text-anchor="middle">PSNR after the eye, dB</text>"#,
        left + width / 2.0,
        top + height + 38.0,
        top + height / 2.0
    );
    for (beam, dash, label) in [(0, "none", "beam 1.5"), (1, "7 4", "beam 2.0")] {
        let points = search.iter().map(|s| format!("{:.1} {:.1}", x(s.seconds), y(s.psnr_db[beam])));
        let path = points.collect::<Vec<_>>().join("L");
        svg += &format!(
            r#"<path d="M{path}" fill="none" stroke="black" stroke-width="2" stroke-dasharray="{dash}"/>"#
        );
        for s in search {
            let at = (x(s.seconds), y(s.psnr_db[beam]));
            svg += &format!(
                r#"<circle cx="{:.1}" cy="{:.1}" r="3.5"/><text x="{:.1}" y="{:.1}" font-size="12">{}</text>"#,
                at.0,
                at.1,
                at.0 + 7.0,
                at.1 + if beam == 0 { 17.0 } else { -8.0 },
                s.passes
            );
        }
        let longest = search.iter().map(|s| s.seconds).fold(0.0, f64::max);
        if let Some(s) = search.last() {
            svg += &format!(
                r#"<text x="{:.1}" y="{:.1}" font-size="13" font-weight="bold">{label}</text>"#,
                x(longest) + 30.0,
                y(s.psnr_db[beam]) + if beam == 0 { 17.0 } else { -8.0 }
            );
        }
    }
    Ok(draw(WIDTH, 340, PAPER, &svg)?)
}
