//! A fixed threshold: marked where the wanted coverage reaches the level.

use super::{Options, Screen, Wants};
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;

/// The threshold screen; its level is `Options::level`.
pub const THRESHOLD: Screen = Screen {
    name: "threshold",
    wants: Wants::Coverage,
    searches: false,
    takes: &["level", "dot-gain"],
    make: threshold,
};

/// Marks every dot whose tone is at least the level.
pub fn threshold(tone: &Tone, options: &Options, _progress: &dyn Progress) -> Dots {
    let level = options.level.0 as f32;
    let mut dots = Dots::off(tone.width(), tone.height());
    let stride = dots.stride();
    parallel::bands(dots.bits_mut(), stride, 64, |first, band| {
        for (i, row) in band.chunks_exact_mut(stride).enumerate() {
            for (byte, tones) in row.iter_mut().zip(tone.row(first + i).chunks(8)) {
                *byte = tones.iter().enumerate().fold(0, |b, (k, &t)| b | (u8::from(t >= level) << (7 - k)));
            }
        }
    });
    dots
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::Burn;
    use crate::progress::Silent;

    #[test]
    fn the_level_itself_is_marked() {
        let tone = Tone::from_vec(3, 1, vec![0.49, 0.5, 1.0]);
        let options = Options::new(Burn::plain(1.5, 1.5), 0.1, 0.1);
        assert_eq!(threshold(&tone, &options, &Silent).bits(), [0b0110_0000]);
    }
}
