//! The legend: a strip below a picture with what it shows, a scale bar and its signs.

use super::canvas::{Picture, ProofError, Rgb, draw, escape, letters};
use super::ground::{MARGIN, OVER_BURN, OVER_BURN_DARK};
use crate::units::short;

/// The strip's paper.
pub const PAPER: Rgb = [248, 247, 243];
/// The strip's ink.
pub const INK: &str = "#1c1d20";

/// A sign with its meaning.
pub enum Key {
    /// A patch of one colour.
    Patch(Rgb, String),
    /// Striped as over-burnt places are.
    OverBurn(String),
    /// Dotted as the margin line is.
    Margin(String),
    /// The ring around a spot.
    Ring(String),
    /// A ramp of colours from left to right, with the text at either end.
    Ramp(Vec<Rgb>, String, String),
    /// Outlined and thinly striped: a solid.
    Solid(String),
    /// A broken line of two colours: a limit.
    Contour(String),
}

/// What a legend says.
pub struct Legend<'a> {
    /// What the picture is.
    pub title: &'a str,
    /// How far it can be trusted.
    pub standing: &'a str,
    /// Size of a pixel, mm.
    pub pixel: f64,
    /// The signs, in order.
    pub keys: &'a [Key],
}

fn css(c: Rgb) -> String {
    format!("#{:02x}{:02x}{:02x}", c[0], c[1], c[2])
}

/// The longest of 1, 2, 5, 10, … mm (or tenths) that is at most `most` mm.
pub fn bar_length(most: f64) -> f64 {
    let decade = 10f64.powf(most.max(1e-6).log10().floor());
    [5.0, 2.0, 1.0].into_iter().map(|m| m * decade).find(|&l| l <= most * 1.000_001).unwrap_or(decade)
}

/// The strip for a picture of `width` pixels.
///
/// # Errors
/// When the drawing fails.
pub fn strip(width: usize, legend: &Legend) -> Result<Picture, ProofError> {
    let w = width as f64;
    let f = (w / 66.0).clamp(11.0, 30.0);
    let pad = 0.9 * f;
    let mut body = String::new();
    let text = |x: f64, y: f64, size: f64, extra: &str, t: &str, body: &mut String| {
        body.push_str(&format!(
            r#"<text x="{x:.1}" y="{y:.1}" font-size="{size:.1}" fill="{INK}" {extra}>{}</text>"#,
            escape(t)
        ));
    };
    let mut y = pad + f;
    text(pad, y, 1.1 * f, r#"font-weight="bold""#, legend.title, &mut body);
    // The standing goes to the right of the title where there is room, else below.
    let fits = letters(legend.title) * 1.25 * f + letters(legend.standing) * f + 3.0 * pad < w;
    if !fits {
        y += 1.5 * f;
        text(pad, y, f, "", legend.standing, &mut body);
    } else {
        text(w - pad, y, f, r#"text-anchor="end""#, legend.standing, &mut body);
    }
    y += 1.9 * f;
    let bar = bar_length(w * legend.pixel * 0.2);
    let long = bar / legend.pixel;
    let label = format!("{} mm", short(bar, 2));
    body.push_str(&format!(
        r#"<path d="M{pad:.2} {:.1}v{:.1}M{pad:.2} {:.1}h{long:.2}m0 {:.1}v{:.1}" stroke="{INK}" stroke-width="{:.1}" fill="none"/>"#,
        y - 0.8 * f, 0.8 * f, y - 0.4 * f, -0.4 * f, 0.8 * f, 0.14 * f
    ));
    let mut x = pad + long + 0.5 * f;
    text(x, y, f, "", &label, &mut body);
    x += letters(&label) * f + 1.6 * f;
    for key in legend.keys {
        let (sign, wide, words) = sign(key, x, y, f);
        let full = wide + 0.5 * f + letters(words) * f + 1.3 * f;
        if x + full > w && x > pad {
            // The sign goes to a line of its own.
            (x, y) = (pad, y + 1.7 * f);
            let (again, _, _) = self::sign(key, x, y, f);
            body.push_str(&again);
        } else {
            body.push_str(&sign);
        }
        text(x + wide + 0.5 * f, y, f, "", words, &mut body);
        x += full;
    }
    draw(width, (y + pad).ceil() as usize, PAPER, &body)
}

/// The sign of a key at (x, y), its width, and the words beside it.
fn sign(key: &Key, x: f64, y: f64, f: f64) -> (String, f64, &str) {
    let (top, h, wide) = (y - 0.9 * f, 1.1 * f, 1.7 * f);
    let boxed = |fill: &str, extra: &str| {
        format!(
            r##"<rect x="{x:.1}" y="{top:.1}" width="{wide:.1}" height="{h:.1}" fill="{fill}" stroke="#55575c" stroke-width="1" {extra}/>"##
        )
    };
    let stripes = |colour: &str, gap: f64, thick: f64| {
        let n = (wide / gap) as usize;
        (0..n)
            .map(|i| {
                let a = x + i as f64 * gap;
                let run = h.min(x + wide - a);
                format!(
                    r#"<path d="M{a:.1} {:.1}l{run:.1} {:.1}" stroke="{colour}" stroke-width="{thick:.1}"/>"#,
                    top + h,
                    -run
                )
            })
            .collect::<String>()
    };
    match key {
        Key::Patch(c, t) => (boxed(&css(*c), ""), wide, t),
        Key::OverBurn(t) => {
            (boxed(&css(OVER_BURN), "") + &stripes(&css(OVER_BURN_DARK), 0.5 * f, 0.18 * f), wide, t)
        }
        Key::Solid(t) => (
            boxed("#e8c84a", "")
                + &stripes("#ffffff", 0.55 * f, 0.08 * f)
                + &boxed("none", r#"style="stroke:#000;stroke-width:2""#),
            wide,
            t,
        ),
        Key::Margin(t) => (dashes(x, y, f, &css(MARGIN), wide), wide, t),
        Key::Contour(t) => (
            format!(
                r##"<path d="M{x:.1} {m:.1}h{wide:.1}" stroke="#000" stroke-width="4"/><path d="M{x:.1} {m:.1}h{wide:.1}" stroke="#fff" stroke-width="2" stroke-dasharray="4 4"/>"##,
                m = y - 0.35 * f
            ),
            wide,
            t,
        ),
        Key::Ring(t) => {
            let ring = |width: f64, colour: &str| {
                format!(
                    r#"<circle cx="{:.1}" cy="{:.1}" r="{:.1}" fill="none" stroke="{colour}" stroke-width="{width:.1}"/>"#,
                    x + 0.6 * f,
                    y - 0.35 * f,
                    0.5 * f
                )
            };
            (ring(0.3 * f, "#000") + &ring(0.1 * f, "#fff"), 1.2 * f, t)
        }
        Key::Ramp(colours, from, to) => {
            let step = 0.16 * f;
            let lead = letters(from) * f + 0.5 * f;
            let cells: String = colours
                .iter()
                .enumerate()
                .map(|(i, c)| {
                    format!(
                        r#"<rect x="{:.2}" y="{top:.1}" width="{:.2}" height="{h:.1}" fill="{}" shape-rendering="crispEdges"/>"#,
                        x + lead + i as f64 * step,
                        step + 0.8,
                        css(*c)
                    )
                })
                .collect();
            let start = format!(
                r#"<text x="{x:.1}" y="{y:.1}" font-size="{f:.1}" fill="{INK}">{}</text>"#,
                escape(from)
            );
            (start + &cells, lead + colours.len() as f64 * step, to)
        }
    }
}

fn dashes(x: f64, y: f64, f: f64, colour: &str, wide: f64) -> String {
    format!(
        r#"<path d="M{x:.1} {:.1}h{wide:.1}" stroke="{colour}" stroke-width="{:.1}" stroke-dasharray="3 3"/>"#,
        y - 0.35 * f,
        (0.14 * f).max(1.5)
    )
}

/// `above` with `below` under it, on paper of the wider one's width.
pub fn stack(above: &Picture, below: &Picture) -> Picture {
    let mut all = Picture::filled(above.width.max(below.width), above.height + below.height, PAPER);
    all.lay(above, 0, 0);
    all.lay(below, 0, above.height);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_bar_has_a_round_length() {
        for (most, want) in [(21.3, 20.0), (19.9, 10.0), (5.0, 5.0), (0.9, 0.5), (99.0, 50.0), (1.0, 1.0)] {
            assert!((bar_length(most) - want).abs() < 1e-9, "{most}");
        }
    }

    #[test]
    fn a_narrow_strip_breaks_its_line() {
        let keys: Vec<Key> = (0..3).map(|i| Key::Patch([9; 3], format!("meaning number {i}"))).collect();
        let legend = Legend { title: "Forecast", standing: "assumed", pixel: 0.1, keys: &keys };
        let (narrow, wide) = (strip(500, &legend).unwrap(), strip(1600, &legend).unwrap());
        assert_eq!((narrow.width, wide.width), (500, 1600));
        // In letter sizes (a 66th of the width, at least 11 pixels) the narrow one has a line more.
        let lines = |p: &Picture| p.height as f64 / (p.width as f64 / 66.0).max(11.0);
        assert!(lines(&narrow) > lines(&wide) + 1.0, "{} {}", lines(&narrow), lines(&wide));
    }
}
