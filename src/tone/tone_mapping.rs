//! The look of the piece: from the light of the art to the wanted mark fraction of each dot.

use std::sync::LazyLock;

use crate::colour::{Curve, linear_to_srgb, lstar, luminance};
use crate::parallel;
use crate::plane::{Alpha, Light, Tone};
use crate::texts::text;

/// Rows a band.
const ROWS: usize = 16;

/// Share of ink that still counts as paper, and lack of ink that still counts as solid: 2 %, five 8-bit
/// codes, the ripple of a JPEG of good quality beside a hard edge (common practice, no source).
pub const ENDS: f64 = 0.02;

/// The two looks of a piece, as relative luminance Y (0..1); they differ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Looks {
    /// The bare place after cleaning.
    pub unmarked: f64,
    /// A full mark.
    pub marked: f64,
}

/// What carries the ink of a drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// What is dark is ink, white is paper.
    Dark,
    /// The drawing is light on transparency: all that is opaque is ink.
    Opaque,
}

/// The wanted mark fraction, 0..1, of a picture of relative luminance `y` on a piece with these looks (exact).
///
/// The picture's L* (0..100) is laid linearly on the range of L* that the piece has, from the darker
/// of its looks to the lighter; that is turned back to luminance Y, and the mark fraction is
/// Murray–Davies (A. Murray, J. Franklin Inst. 221, 1936): `(Y − Y_unmarked) / (Y_marked − Y_unmarked)`.
/// So white always gets the lightest look the piece can have: full mark where marks are lighter, no
/// mark where they are darker.
pub fn mark(looks: Looks, y: f64) -> f64 {
    let (dark, light) = (looks.unmarked.min(looks.marked), looks.unmarked.max(looks.marked));
    let (from, to) = (lstar(dark), lstar(light));
    let l = from + (to - from) * lstar(y.clamp(0.0, 1.0)) / 100.0;
    ((luminance(l) - looks.unmarked) / (looks.marked - looks.unmarked)).clamp(0.0, 1.0)
}

/// Reads a photo: the look of its tones is kept as far as the piece allows. Transparent places are
/// left alone, half transparent ones marked by half. Done in place: the plane of light becomes the plane of tone.
pub fn photo(light: Light, alpha: Option<&Alpha>, looks: Looks) -> Tone {
    through(light, alpha, &Curve::new(|y| mark(looks, y)))
}

/// Reads a drawing: what is ink gets marked, whichever way the coating goes. The share of ink is
/// `1 − code` with the sRGB code value (0..1): programs that draw blend edges in code values, so an
/// edge that covers half a dot has the code ½ and marks half the dot. White paper and transparent
/// places are never marked. The last [`ENDS`] at either end count as paper and as solid, so that the
/// noise of a JPEG does not sprinkle dots on the paper; an edge keeps its mean by that.
pub fn drawing(light: Light, alpha: Option<&Alpha>, ink: Ink) -> Tone {
    match ink {
        Ink::Dark => {
            static SHARE: LazyLock<Curve> = LazyLock::new(|| Curve::new(ink_share));
            through(light, alpha, &SHARE)
        }
        Ink::Opaque => through(light, alpha, &Curve::new(|_| 1.0)),
    }
}

/// The share of ink, 0..1, of a place of relative luminance `y`.
fn ink_share(y: f64) -> f64 {
    ((1.0 - linear_to_srgb(y) - ENDS) / (1.0 - 2.0 * ENDS)).clamp(0.0, 1.0)
}

/// What carries the ink of a drawing, and a note for the person where that is not the dark.
///
/// Light ink is assumed where at least a hundredth of the drawing is transparent and less than a fiftieth of the
/// rest is darker than middle grey (code ½): a white or pale logo made for dark ground.
pub fn ink(light: &Light, alpha: Option<&Alpha>) -> (Ink, Option<String>) {
    let Some(alpha) = alpha else { return (Ink::Dark, None) };
    let middle = crate::colour::srgb_to_linear(0.5) as f32;
    let (mut opaque, mut dark) = (0.0f64, 0.0f64);
    for y in 0..light.height() {
        let (mut row_opaque, mut row_dark) = (0.0f32, 0.0f32);
        for (&v, &a) in light.row(y).iter().zip(alpha.row(y)) {
            row_opaque += a;
            row_dark += if v < middle { a } else { 0.0 };
        }
        opaque += f64::from(row_opaque);
        dark += f64::from(row_dark);
    }
    let all = light.data().len() as f64;
    if opaque > 0.0 && opaque <= 0.99 * all && dark < 0.02 * opaque {
        let note = text!("tone.light-ink");
        (Ink::Opaque, Some(note.to_string()))
    } else {
        (Ink::Dark, None)
    }
}

fn through(mut light: Light, alpha: Option<&Alpha>, curve: &Curve) -> Tone {
    let w = light.width();
    parallel::bands(light.data_mut(), w, ROWS, |first, band| {
        curve.apply(band);
        if let Some(alpha) = alpha {
            band.iter_mut().zip(&alpha.data()[first * w..]).for_each(|(v, &a)| *v *= a);
        }
    });
    light.recast()
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIGHTER: Looks = Looks { unmarked: 0.03, marked: 0.65 };
    const DARKER: Looks = Looks { unmarked: 0.75, marked: 0.05 };

    /// The luminance of a piece marked to the fraction `a`: Murray–Davies the other way round.
    fn look(looks: Looks, a: f64) -> f64 {
        looks.unmarked + a * (looks.marked - looks.unmarked)
    }

    #[test]
    fn white_gets_the_lightest_look_whichever_way_the_coating_goes() {
        assert_eq!((mark(LIGHTER, 1.0), mark(LIGHTER, 0.0)), (1.0, 0.0));
        assert_eq!((mark(DARKER, 1.0), mark(DARKER, 0.0)), (0.0, 1.0));
        for looks in [LIGHTER, DARKER] {
            // Lighter in the picture is lighter on the piece, all the way, and evenly in L*.
            let on_piece = |y: f64| lstar(look(looks, mark(looks, y)));
            let (from, to) = (on_piece(0.0), on_piece(1.0));
            for i in 0..=100 {
                let y = luminance(f64::from(i));
                assert!((on_piece(y) - (from + (to - from) * f64::from(i) / 100.0)).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn a_middle_grey_by_hand() {
        // L* 50 on a piece from L*(0.03) = 20.04 to L*(0.65) = 84.48: L* 52.26, so Y 0.2037 and
        // a = (0.2037 − 0.03) / 0.62 = 0.280. Worked by hand from CIE 1976 and Murray–Davies.
        let a = mark(LIGHTER, luminance(50.0));
        assert!((a - 0.280).abs() < 5e-4, "{a}");
    }

    #[test]
    fn an_ideal_piece_marks_the_light_itself() {
        // Check value T12: code 128 wants 21.6 % light coverage, not 50.2 %.
        let ideal = Looks { unmarked: 0.0, marked: 1.0 };
        let y = crate::colour::srgb_to_linear(128.0 / 255.0);
        assert!((mark(ideal, y) - 0.215_860_500_113_899_26).abs() < 1e-9);
    }

    #[test]
    fn the_table_is_within_a_hundred_thousandth_of_the_exact_mapping() {
        for looks in [
            LIGHTER,
            DARKER,
            Looks { unmarked: 0.0, marked: 1.0 },
            Looks { unmarked: 1.0, marked: 0.0 },
            Looks { unmarked: 0.2, marked: 0.25 },
            Looks { unmarked: 0.0, marked: 0.01 },
        ] {
            let n = 400_009;
            let light = Light::from_vec(n, 1, (0..n).map(|i| i as f32 / (n - 1) as f32).collect());
            let tone = photo(light.clone(), None, looks);
            for (&y, &a) in light.data().iter().zip(tone.data()) {
                assert!((f64::from(a) - mark(looks, f64::from(y))).abs() < 1e-5, "{looks:?} at {y}");
            }
        }
    }

    #[test]
    fn a_drawing_marks_its_ink_and_neither_paper_nor_air() {
        let light = Light::from_vec(4, 1, vec![0.0, 1.0, 0.0, crate::colour::srgb_to_linear(0.5) as f32]);
        let alpha = Alpha::from_vec(4, 1, vec![1.0, 1.0, 0.0, 1.0]);
        let tone = drawing(light.clone(), Some(&alpha), Ink::Dark);
        assert_eq!(&tone.data()[..3], [1.0, 0.0, 0.0]);
        assert!((tone.data()[3] - 0.5).abs() < 1e-5);
        let half = Alpha::from_vec(4, 1, vec![0.25; 4]);
        assert_eq!(drawing(light, Some(&half), Ink::Dark).data()[0], 0.25);
    }

    #[test]
    fn a_white_logo_on_transparency_is_all_ink() {
        let n = 100;
        let light = Light::filled(n, n, 0.95);
        let alpha = Alpha::from_vec(n, n, (0..n * n).map(|i| if i % n < 30 { 1.0 } else { 0.0 }).collect());
        let (what, note) = ink(&light, Some(&alpha));
        assert_eq!(what, Ink::Opaque);
        assert!(note.unwrap().contains("light on a transparent ground"));
        assert_eq!(drawing(light.clone(), Some(&alpha), what).mean(), 0.3);
        // With dark ink in it, or without transparency, light is paper.
        let inked = Light::from_vec(n, n, (0..n * n).map(|i| if i % n < 5 { 0.0 } else { 0.95 }).collect());
        assert_eq!(ink(&inked, Some(&alpha)), (Ink::Dark, None));
        assert_eq!(ink(&light, None), (Ink::Dark, None));
    }

    #[test]
    fn threads_do_not_change_a_byte() {
        let light = Light::from_vec(700, 311, (0..700 * 311).map(|i| (i % 1013) as f32 / 1012.0).collect());
        let alpha = Alpha::from_vec(700, 311, (0..700 * 311).map(|i| (i % 7) as f32 / 6.0).collect());
        let one = parallel::with_threads(1, || photo(light.clone(), Some(&alpha), LIGHTER));
        for threads in [2, 3, 7] {
            assert!(parallel::with_threads(threads, || photo(light.clone(), Some(&alpha), LIGHTER)) == one);
        }
    }
}
