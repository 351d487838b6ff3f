//! The picture of all screens: each on the same ramps and the same part of a photo.

use super::figures::Search;
use super::{Failure, PITCH, SIDE, input};
use crate::colour::srgb8;
use crate::mark::{Burn, Forecast};
use crate::plane::{Dots, Tone};
use crate::progress::Silent;
use crate::proof::canvas::{Picture, Rgb, draw, escape};
use crate::proof::legend::stack;
use crate::proof::plot::{Field, Plot, PlotAxis, sign};
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
            escape(screen.about())
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
        let made = |tone: &Tone| screen.dots(&input(screen, options, tone), options, &Silent);
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
    let all = || search.iter().flat_map(|s| s.psnr_db);
    let low = all().fold(f64::INFINITY, f64::min).floor();
    let high = all().fold(f64::NEG_INFINITY, f64::max).ceil().max(low + 1.0);
    let decibels: Vec<f64> = (0..=(high - low) as u32).map(|i| low + f64::from(i)).collect();
    let ends = |f: fn(f64, f64) -> f64, from| search.iter().map(|s| taken(s).log10()).fold(from, f);
    let first = ends(f64::min, f64::INFINITY).floor() as i32;
    let last = (ends(f64::max, f64::NEG_INFINITY).ceil() as i32).max(first + 1);
    let seconds: Vec<(f64, String)> =
        (first..=last).map(|p| 10f64.powi(p)).map(|s| (s, format!("{s} s"))).collect();
    let plot = Plot {
        field: Field { left: 70.0, top: 52.0, width: 760.0, height: 230.0, text: 13.0 },
        x: PlotAxis::log("time for a million dots", 10f64.powi(first), 10f64.powi(last)).with_labels(seconds),
        y: PlotAxis::linear("PSNR after the eye, dB", low, high).with_ticks(&decibels),
    };
    let mut svg = format!(
        r#"<text x="12" y="26" font-size="18" font-weight="bold">What more search brings</text><text x="300" y="26" font-size="14">fitted by its passes; 0 is where it starts, model-diffusion</text><g font-size="13">{}"#,
        plot.axes()
    );
    for (beam, dash, label) in [(0, "", "beam 1.5"), (1, "7 4", "beam 2.0")] {
        let below = if beam == 0 { 17.0 } else { -8.0 };
        let points: Vec<(f64, f64)> = search.iter().map(|s| (taken(s), s.psnr_db[beam])).collect();
        svg += &plot.line(&points, "black", dash);
        for (s, p) in search.iter().zip(&points) {
            let (x, y) = plot.at(p.0, p.1);
            svg += &sign(beam, x, y);
            svg += &format!(
                r#"<text x="{:.1}" y="{:.1}" font-size="12">{}</text>"#,
                x + 7.0,
                y + below,
                s.passes
            );
        }
        let longest = points.iter().map(|p| p.0).fold(0.0, f64::max);
        if let Some(p) = points.last() {
            let (x, y) = plot.at(longest, p.1);
            svg += &format!(
                r#"<text x="{:.1}" y="{:.1}" font-weight="bold">{label}</text>"#,
                x + 30.0,
                y + below
            );
        }
    }
    Ok(draw(WIDTH, 340, PAPER, &(svg + "</g>"))?)
}

/// Seconds for a million dots, as a log axis can show them.
fn taken(search: &Search) -> f64 {
    search.seconds.max(1e-4)
}
