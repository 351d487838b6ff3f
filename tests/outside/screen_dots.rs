//! Screens tones from standard input and writes the packed dots to standard output, so that the outside
//! checks can give a screen exactly the tones they mean. Several planes may follow each other.
//!
//! `screen_dots NAME WIDTH HEIGHT [raster] [as-published] [matrix=N] [effort=N] [switches=N] [beam=ALONG,ACROSS]
//! [pitch=ALONG,ACROSS] [unsure=BEAM,EXPOSURE]`; tones are `f32`, little-endian; beams in pitches, pitches in mm, what is
//! not known in shares.

use dotwright::kernels::mark::Burn;
use dotwright::kernels::plane::Tone;
use dotwright::kernels::progress::Silent;
use dotwright::kernels::screen::{Options, find};
use std::io::{Read, Write};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [name, width, height, words @ ..] = &arguments[..] else {
        return Err("screen_dots NAME WIDTH HEIGHT [raster] [as-published] [matrix=N]".into());
    };
    let mut bytes = Vec::new();
    std::io::stdin().read_to_end(&mut bytes)?;
    let (width, height) = (width.parse::<usize>()?, height.parse::<usize>()?);
    let mut options = Options::new(Burn::plain(1.5, 1.5), 25.4 / 300.0, 25.4 / 300.0);
    for word in words {
        match word.as_str() {
            "raster" => options.serpentine = false,
            "as-published" => options.as_published = true,
            other => {
                let (key, value) = other.split_once('=').ok_or_else(|| format!("unknown word {other}"))?;
                let two = || -> Result<(f64, f64), Box<dyn std::error::Error>> {
                    let (a, b) = value.split_once(',').ok_or("two numbers, please")?;
                    Ok((a.parse()?, b.parse()?))
                };
                match key {
                    "matrix" => options.matrix = value.parse()?,
                    "effort" => options.effort = value.parse()?,
                    "switches" => options.switches = value.parse()?,
                    "beam" => (options.burn.along, options.burn.across) = two()?,
                    "pitch" => (options.pitch_along_mm, options.pitch_across_mm) = two()?,
                    "barred" => options.barred = value.parse()?,
                    "unsure" => (options.unsure.beam, options.unsure.exposure) = two()?,
                    _ => return Err(format!("unknown word {other}").into()),
                }
            }
        }
    }
    let screen = find(name).ok_or_else(|| format!("no screen {name}"))?;
    for plane in bytes.chunks_exact(4 * width * height) {
        let tones = plane.as_chunks::<4>().0.iter().map(|b| f32::from_le_bytes(*b)).collect();
        let dots = screen.dots(&Tone::from_vec(width, height, tones), &options, &Silent);
        std::io::stdout().write_all(dots.bits())?;
    }
    Ok(())
}
