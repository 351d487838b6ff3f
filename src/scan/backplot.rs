//! The backplot: the path of a program as a picture, with where the beam is on and where the head is slow.
//!
//! One chain of moves is gathered in a row of pixels before it is drawn, because only at its end is it
//! known where the head began to slow down. Memory is that of the picture, whatever the program's size.

use super::motion::speed_at;

/// What is drawn, the later over the earlier.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Ink {
    Nothing = 0,
    Rapid = 1,
    Dark = 2,
    Burn = 3,
}

/// The part of the program's plane that is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlotView {
    /// Left, bottom, right, top, mm of the program.
    pub mm: [f64; 4],
    /// Pixels of the longer side, 16 to 2000.
    pub pixels: usize,
}

/// A picture of a path under construction.
#[derive(Debug, Clone)]
pub struct Backplot {
    view: PlotView,
    width: usize,
    height: usize,
    per_mm: f64,
    ink: Vec<Ink>,
    /// Slowest speed with the beam on, in 255ths of the asked one.
    speed: Vec<u8>,
    /// The chain under way: one pixel wide, along x or y.
    chain: Vec<Ink>,
    touched: Option<(usize, usize)>,
}

/// Colours of Okabe and Ito's palette (2008), told apart by all kinds of colour vision; beam-off ways are
/// dashed and rapids dotted, so that the picture reads without colour too.
const BURN: [f64; 3] = [34.0, 34.0, 34.0];
const SLOW: [f64; 3] = [213.0, 94.0, 0.0];
const DARK: [u8; 3] = [86, 180, 233];
const RAPID: [u8; 3] = [0, 158, 115];

impl Backplot {
    /// An empty picture of `view`; `None` where it has no area.
    pub fn new(view: PlotView) -> Option<Self> {
        let (w, h) = (view.mm[2] - view.mm[0], view.mm[3] - view.mm[1]);
        if !(w > 0.0 && h > 0.0 && w.is_finite() && h.is_finite()) {
            return None;
        }
        let per_mm = view.pixels.clamp(16, 2000) as f64 / w.max(h);
        let size = |mm: f64| ((mm * per_mm).ceil() as usize).clamp(1, 2000);
        let (width, height) = (size(w), size(h));
        Some(Backplot {
            view,
            width,
            height,
            per_mm,
            ink: vec![Ink::Nothing; width * height],
            speed: vec![255; width * height],
            chain: vec![Ink::Nothing; width.max(height)],
            touched: None,
        })
    }

    fn pixel(&self, (x, y): (f64, f64)) -> (f64, f64) {
        ((x - self.view.mm[0]) * self.per_mm, (self.view.mm[3] - y) * self.per_mm)
    }

    /// Adds a move to the chain under way.
    #[inline]
    pub fn add(&mut self, from: (f64, f64), to: (f64, f64), rapid: bool, on: bool) {
        let ink = if on {
            Ink::Burn
        } else if rapid {
            Ink::Rapid
        } else {
            Ink::Dark
        };
        let (a, b) = (self.pixel(from), self.pixel(to));
        if from.1 == to.1 || from.0 == to.0 {
            let level = from.1 == to.1;
            let (p, q, size) = if level { (a.0, b.0, self.width) } else { (a.1, b.1, self.height) };
            let (low, high) = (p.min(q), p.max(q));
            if high < 0.0 || low >= size as f64 {
                return;
            }
            let (low, high) = (low.max(0.0) as usize, (high as usize).min(size - 1));
            for p in &mut self.chain[low..=high] {
                *p = (*p).max(ink);
            }
            let t = self.touched.unwrap_or((low, high));
            self.touched = Some((t.0.min(low), t.1.max(high)));
        } else {
            let n = (a.0 - b.0).abs().max((a.1 - b.1).abs()).ceil().clamp(1.0, 8000.0);
            for i in 0..=n as usize {
                let f = i as f64 / n;
                self.dab(a.0 + f * (b.0 - a.0), a.1 + f * (b.1 - a.1), ink, 255);
            }
        }
    }

    #[inline]
    fn dab(&mut self, x: f64, y: f64, ink: Ink, speed: u8) {
        if x < 0.0 || y < 0.0 || x >= self.width as f64 || y >= self.height as f64 {
            return;
        }
        let i = y as usize * self.width + x as usize;
        self.ink[i] = self.ink[i].max(ink);
        if ink == Ink::Burn {
            self.speed[i] = self.speed[i].min(speed);
        }
    }

    /// Draws the chain from `from` to `to`, run at `speed` with `acceleration` from rest to rest.
    pub fn end_chain(&mut self, from: (f64, f64), to: (f64, f64), speed: f64, acceleration: f64) {
        let Some((low, high)) = self.touched.take() else { return };
        let length = libm::hypot(to.0 - from.0, to.1 - from.1);
        let level = from.1 == to.1;
        let (a, fixed) = (self.pixel(from), self.pixel(from));
        let start = if level { a.0 } else { a.1 };
        for i in low..=high {
            let ink = std::mem::replace(&mut self.chain[i], Ink::Nothing);
            if ink == Ink::Nothing {
                continue;
            }
            let at = ((i as f64 + 0.5) - start).abs() / self.per_mm;
            let share = speed_at(at, length, speed, acceleration) / speed.max(1e-9);
            let (x, y) = if level { (i as f64, fixed.1) } else { (fixed.0, i as f64) };
            self.dab(x, y, ink, (share * 255.0).round() as u8);
        }
    }

    /// Width, height and RGB pixels. Beam on: dark grey, towards vermilion where the head is slower than
    /// asked; beam off: blue dashes; rapids: green dots.
    pub fn pixels(&self) -> (usize, usize, Vec<u8>) {
        let mut rgb = Vec::with_capacity(self.ink.len() * 3);
        for (i, (&ink, &speed)) in self.ink.iter().zip(&self.speed).enumerate() {
            let way = i % self.width + i / self.width;
            rgb.extend_from_slice(&match ink {
                Ink::Dark if way % 6 < 4 => DARK,
                Ink::Rapid if way.is_multiple_of(4) => RAPID,
                Ink::Burn => {
                    let f = f64::from(speed) / 255.0;
                    [0, 1, 2].map(|c| (SLOW[c] + f * (BURN[c] - SLOW[c])).round() as u8)
                }
                _ => [255, 255, 255],
            });
        }
        (self.width, self.height, rgb)
    }

    /// The picture as PNG bytes, with its true scale.
    ///
    /// # Errors
    /// Those of the encoder.
    pub fn png(&self) -> Result<Vec<u8>, png::EncodingError> {
        let (width, height, rgb) = self.pixels();
        let mut out = Vec::new();
        let mut encoder = png::Encoder::new(&mut out, width as u32, height as u32);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        let per_metre = (self.per_mm * 1000.0).round() as u32;
        encoder.set_pixel_dims(Some(png::PixelDimensions {
            xppu: per_metre,
            yppu: per_metre,
            unit: png::Unit::Meter,
        }));
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&rgb)?;
        writer.finish()?;
        Ok(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(t: &Backplot, x: usize, y: usize) -> [u8; 3] {
        let (w, _, rgb) = t.pixels();
        let i = (y * w + x) * 3;
        [rgb[i], rgb[i + 1], rgb[i + 2]]
    }

    #[test]
    fn the_beam_is_dark_and_turns_vermilion_where_the_head_is_slow() {
        let mut t = Backplot::new(PlotView { mm: [0.0, 0.0, 100.0, 50.0], pixels: 100 }).unwrap();
        // A chain without run-up: from rest to 100 mm/s within 10 mm at 500 mm/s².
        t.add((10.0, 25.0), (90.0, 25.0), false, true);
        t.end_chain((10.0, 25.0), (90.0, 25.0), 100.0, 500.0);
        assert_eq!(at(&t, 50, 25), [34, 34, 34]);
        let edge = at(&t, 10, 25);
        assert!(edge[0] > 130 && edge[2] < 34, "{edge:?}");
        assert_eq!(at(&t, 50, 24), [255, 255, 255]);
        let png = t.png().unwrap();
        let reader = png::Decoder::new(std::io::Cursor::new(&png)).read_info().unwrap();
        assert_eq!((reader.info().width, reader.info().height), (100, 50));
        assert_eq!(reader.info().pixel_dims.unwrap().xppu, 1000);
    }

    #[test]
    fn ways_with_the_beam_off_are_dashed_and_rapids_dotted() {
        let mut t = Backplot::new(PlotView { mm: [0.0, 0.0, 100.0, 50.0], pixels: 100 }).unwrap();
        t.add((0.0, 10.5), (100.0, 10.5), false, false);
        t.end_chain((0.0, 10.5), (100.0, 10.5), 10.0, 500.0);
        t.add((20.5, 0.0), (20.5, 50.0), true, false);
        t.end_chain((20.5, 0.0), (20.5, 50.0), 10.0, 500.0);
        t.add((-500.0, -500.0), (500.0, 400.0), true, false);
        let (_, _, rgb) = t.pixels();
        let count = |c: [u8; 3]| rgb.chunks(3).filter(|p| *p == c).count();
        assert!((60..70).contains(&count(DARK)), "{}", count(DARK));
        assert!((12..50).contains(&count(RAPID)), "{}", count(RAPID));
    }
}
