//! Finding `tone-shift`: tones that come out weaker or stronger than they are wanted.

use super::{Finding, Severity};
use crate::colour::lstar;
use crate::said::Said;
use crate::texts::text;
use crate::units::short;

/// A mean that is off by more than this share of what is wanted is a finding: screens with their own curves keep it to
/// 0.6 % (measured on the samples), and 2 % of a middle tone is half an L*.
const SHIFT: f64 = 0.02;
/// What is about told apart side by side, L*. Of a night photo, nearly all of which is hardly marked, a twentieth of the mean
/// is less; screens that keep that too show less of what is in it (4 dB, measured on night views of a harbour).
const SEEN: f64 = 0.5;
/// Less than this share of a full mark is not looked at: a nearly bare piece has no tones.
const LEAST: f64 = 0.01;

/// What the dots' tones were made with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MadeWith {
    /// A curve that a tone wedge measured.
    Wedge,
    /// A curve of the maker's own file.
    File,
    /// No curve, as asked.
    Nothing,
    /// The forecast's own curve.
    Forecast,
    /// The screen that keeps tones best.
    Best,
}

/// `tone-shift`: the mean mark that is forecast differs from the wanted one by more than 2 % of it, and so that it is seen.
/// `wanted` is the mean of what a solid can reach of it; both are shares of a full mark. `looks` are the luminances where
/// nothing and where all is marked.
pub fn shift(wanted: f64, forecast: f64, looks: (f64, f64), with: MadeWith) -> Option<Finding> {
    let off = forecast / wanted.max(1e-9) - 1.0;
    let look = |share: f64| lstar(looks.0 + share * (looks.1 - looks.0));
    if wanted < LEAST || off.abs() <= SHIFT || (look(forecast) - look(wanted)).abs() < SEEN {
        return None;
    }
    let why = match with {
        MadeWith::Wedge => {
            Said::two(text!("findings.tone-shift.wedge.line"), text!("findings.tone-shift.wedge"))
        }
        MadeWith::File => {
            Said::two(text!("findings.tone-shift.curve.line"), text!("findings.tone-shift.curve"))
        }
        MadeWith::Nothing => {
            Said::two(text!("findings.tone-shift.no-gain.line"), text!("findings.tone-shift.no-gain"))
        }
        MadeWith::Best => Said::default(),
        MadeWith::Forecast => Said::two(
            text!("findings.tone-shift.screen", screen = "--screen auto"),
            text!("findings.tone-shift.screen", screen = "auto"),
        ),
    };
    // Of dark pictures the means are small: as many decimals as show how they differ.
    let apart = 100.0 * (forecast - wanted).abs();
    let decimals = (1..4).find(|&d| libm::pow(0.1, f64::from(d)) <= apart / 4.0).unwrap_or(4) as usize;
    let (forecast, wanted) = (short(100.0 * forecast, decimals), short(100.0 * wanted, decimals));
    let percent = short(100.0 * off.abs(), 1);
    let message = if off < 0.0 {
        text!("findings.tone-shift.weak", percent, forecast, wanted)
    } else {
        text!("findings.tone-shift.strong", percent, forecast, wanted)
    };
    Some(Finding::new("tone-shift", Severity::Caution, Said::from(message).and(why)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of light marks on glass before a dark ground.
    const LOOKS: (f64, f64) = (0.03, 0.65);

    #[test]
    fn a_mean_that_is_off_by_more_than_two_percent_is_said_with_its_way() {
        let said = |wanted, forecast| shift(wanted, forecast, LOOKS, MadeWith::Wedge).map(|f| f.message);
        assert_eq!(said(0.30, 0.305), None);
        let weak = said(0.30, 0.276).unwrap();
        assert!(weak.contains("8% too weak") && weak.contains("27.6% of a full mark where 30%"), "{weak}");
        assert!(said(0.30, 0.33).unwrap().contains("10% too strong"));
        let small = said(0.0272, 0.0242).unwrap();
        assert!(
            small.contains("11% too weak") && small.contains("2.42% of a full mark where 2.72%"),
            "{small}"
        );
        // A night photo: 4 % of so little is not seen, and of a middle tone it is.
        assert_eq!(said(0.0375, 0.0359), None);
        assert!(said(0.5, 0.48).is_some());
        assert_eq!(said(0.005, 0.0), None);
        assert!(
            shift(0.3, 0.4, LOOKS, MadeWith::Nothing).unwrap().message.ends_with("leave out --dot-gain off")
        );
        let page = shift(0.3, 0.4, LOOKS, MadeWith::Forecast).unwrap().message.on_page().to_string();
        assert!(page.ends_with("30% is wanted; another screen keeps the tones: auto"), "{page}");
    }
}
