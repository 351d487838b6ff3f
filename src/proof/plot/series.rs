//! Series: colours and signs that stay apart, and the list of what they stand for.

use crate::proof::canvas::escape;

/// A sky blue of Okabe and Ito's set (2008), which stays apart for colour-blind eyes.
pub const SKY_BLUE: &str = "#56B4E9";
/// The orange of the same set.
pub const ORANGE: &str = "#E69F00";
/// The vermilion of the same set.
pub const VERMILION: &str = "#D55E00";
/// Seven colours of that set for series, used together with shapes.
pub const COLOURS: [&str; 7] = ["#0072B2", ORANGE, "#009E73", "#CC79A7", SKY_BLUE, VERMILION, "#000000"];

/// A sign for series `i`: neighbours have neither its shape nor its colour.
pub fn sign(i: usize, x: f64, y: f64) -> String {
    let c = COLOURS[i % COLOURS.len()];
    let r = 5.0;
    match i % 4 {
        0 => format!(r#"<circle cx="{x:.1}" cy="{y:.1}" r="{r}" fill="{c}"/>"#),
        1 => format!(r#"<rect x="{:.1}" y="{:.1}" width="9" height="9" fill="{c}"/>"#, x - 4.5, y - 4.5),
        2 => format!(r#"<path d="M{x:.1} {:.1}l6 10h-12z" fill="{c}"/>"#, y - 6.0),
        _ => format!(r#"<path d="M{x:.1} {:.1}l6 6l-6 6l-6 -6z" fill="{c}"/>"#, y - 6.0),
    }
}

/// The names of series under a title, each with its sign, from `left` and `top` on.
pub fn legend(names: &[String], title: &str, left: f64, top: f64) -> String {
    let mut out =
        format!(r#"<text x="{left}" y="{}" font-weight="bold">{}</text>"#, top + 10.0, escape(title));
    for (i, n) in names.iter().enumerate() {
        let y = top + 34.0 + 22.0 * i as f64;
        out += &sign(i, left + 6.0, y - 5.0);
        out += &format!(r#"<text x="{}" y="{y}">{}</text>"#, left + 20.0, escape(n));
    }
    out
}
