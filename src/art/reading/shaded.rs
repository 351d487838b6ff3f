//! Shaded: art of two tones at most whose transparency runs through many, as a soft shadow does.

use crate::art::Raster;
use crate::art::picture::Facts;
use crate::parallel;
use crate::plane::{Alpha, Light};

/// Opacity between these is neither clear nor full.
const BETWEEN: std::ops::Range<f32> = 0.05..0.95;
/// The most by which opacity differs from place to place in a shadow; the smooth edge of a drawing runs from full to clear
/// within two places or three.
const GENTLE: f32 = 0.25;
/// The least of what is not clear that is shaded: less is the corner of a smooth edge here and there (own judgement).
const LEAST: f64 = 0.01;

/// What art of two tones looks like on its ground, white below dark ink and black below light; `None` where its transparency
/// has no tones of its own, but smooth edges at most.
pub(super) fn flattened(raster: &Raster) -> Option<Raster> {
    let alpha = raster.alpha.as_ref()?;
    let (shaded, seen) = shaded(alpha);
    if (shaded as f64) < LEAST * seen as f64 || shaded == 0 {
        return None;
    }
    let (mut sum, mut cover) = (0.0f64, 0.0f64);
    for (l, a) in raster.light.data().iter().zip(alpha.data()) {
        sum += f64::from(l * a);
        cover += f64::from(*a);
    }
    let ground = if sum < 0.5 * cover { 1.0 } else { 0.0 };
    let light = raster.light.data().iter().zip(alpha.data()).map(|(l, a)| l * a + ground * (1.0 - a));
    let light = Light::from_vec(raster.light.width(), raster.light.height(), light.collect());
    Some(Raster {
        light,
        alpha: None,
        likeness: raster.likeness.clone(),
        colours: None,
        facts: Facts { bilevel: false, ..raster.facts.clone() },
    })
}

/// How many places are shaded, and how many are not clear.
fn shaded(alpha: &Alpha) -> (u64, u64) {
    let (w, h) = (alpha.width(), alpha.height());
    let rows = parallel::map(h, |y| {
        let (above, row, below) =
            (alpha.row(y.saturating_sub(1)), alpha.row(y), alpha.row((y + 1).min(h - 1)));
        let (mut shaded, mut seen) = (0u64, 0u64);
        for (x, &a) in row.iter().enumerate() {
            seen += u64::from(a >= BETWEEN.start);
            let (left, right) = (row[x.saturating_sub(1)], row[(x + 1).min(w - 1)]);
            let gentle = [left, right, above[x], below[x]].iter().all(|b| (b - a).abs() <= GENTLE);
            shaded += u64::from(BETWEEN.contains(&a) && gentle);
        }
        (shaded, seen)
    });
    rows.iter().fold((0, 0), |all, row| (all.0 + row.0, all.1 + row.1))
}

#[cfg(test)]
mod tests {
    use crate::art::reading::decide;
    use crate::art::{Art, Kind, Window, open};

    /// Black on transparency, with an opacity (0 to 1) for each place of 200 x 200.
    fn black(opacity: impl Fn(f64, f64) -> f64) -> Art {
        let mut picture = image::RgbaImage::new(200, 200);
        for (x, y, pixel) in picture.enumerate_pixels_mut() {
            let a = opacity(f64::from(x) + 0.5, f64::from(y) + 0.5).clamp(0.0, 1.0);
            *pixel = image::Rgba([0, 0, 0, (a * 255.0).round() as u8]);
        }
        let mut png = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut png, image::ImageFormat::Png).unwrap();
        open(png.get_ref(), "logo.png").unwrap()
    }

    /// How far a place lies outside a disc of radius 50.
    fn outside(x: f64, y: f64) -> f64 {
        ((x - 100.0).powi(2) + (y - 100.0).powi(2)).sqrt() - 50.0
    }

    #[test]
    fn smooth_edges_are_two_tones_and_a_soft_shadow_is_more() {
        // Edges over one place, over two, and a ring as thin as a place.
        let logos: [fn(f64) -> f64; 3] = [|d| 0.5 - d, |d| 0.5 - d / 2.0, |d| 1.0 - d.abs()];
        for logo in logos {
            let said = decide(&black(|x, y| logo(outside(x, y))), Window::WHOLE);
            assert_eq!((said.kind, said.sure), (Kind::Drawing, 1.0), "{}", said.why);
            assert_eq!(said.why, "it has no more than two tones");
        }
        let soft = black(|x, y| (0.5 - outside(x, y)).max(0.6 - outside(x - 10.0, y - 10.0).max(0.0) / 40.0));
        let said = decide(&soft, Window::WHOLE);
        assert_eq!(said.kind, Kind::Drawing);
        assert!(said.sure < 1.0 && !said.why.contains("no more than two tones"), "{said:?}");
    }
}
