//! Judged: what `prepare` would say of a solid burnt at a setting: the same judges, so that a pick never brings a finding.

use crate::findings::burn::shortfall;
use crate::mark::response::OVER_BURN;
use crate::mark::{Burn, advise};

/// What `prepare` would say, the worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Judged {
    /// Nothing.
    Clear,
    /// Lines show, and nothing else.
    LinesApart,
    /// Single dots come faster than the machine switches.
    TooFast,
    /// The mark is not full.
    UnderBurnt,
    /// It chars on the lines.
    OverBurnt,
}

impl Judged {
    /// The worst of what would be said of a solid. `limit` is the char that counts as over-burn.
    pub fn of(burn: &Burn, limit: f64) -> Judged {
        let worst = [Judged::OverBurnt, Judged::UnderBurnt, Judged::LinesApart];
        worst.into_iter().find(|judged| judged.holds(burn, limit)).unwrap_or(Judged::Clear)
    }

    /// Whether this would be said of a solid.
    fn holds(self, burn: &Burn, limit: f64) -> bool {
        match self {
            Judged::OverBurnt => {
                let on = advise::LinePair::new(burn).ripple.on * burn.x_solid;
                on >= burn.response.exposure_at_char(limit)
            }
            Judged::UnderBurnt => shortfall(burn).is_some(),
            Judged::LinesApart => advise::lines_apart(burn).is_some(),
            Judged::TooFast | Judged::Clear => false,
        }
    }

    /// All that would be said of a setting, the worst first.
    pub fn all(burn: &Burn, speed: f64, switched: Option<f64>) -> Vec<Judged> {
        let too_fast = Judged::Clear.at(speed, switched);
        let worst = [Judged::OverBurnt, Judged::UnderBurnt, Judged::TooFast, Judged::LinesApart];
        worst.into_iter().filter(|judged| *judged == too_fast || judged.holds(burn, OVER_BURN)).collect()
    }

    /// The same with the limit that findings have.
    pub fn usual(burn: &Burn) -> Judged {
        Judged::of(burn, OVER_BURN)
    }

    /// The same of a setting whose dots the machine may not follow.
    pub fn at(self, speed: f64, switched: Option<f64>) -> Judged {
        let too_fast = switched.is_some_and(|most| speed > most * (1.0 + 1e-9));
        if too_fast { self.max(Judged::TooFast) } else { self }
    }

    /// In words, as the finding is called.
    pub fn name(self) -> &'static str {
        match self {
            Judged::Clear => "nothing",
            Judged::LinesApart => "lines-apart",
            Judged::TooFast => "link-starved or slow-switch",
            Judged::UnderBurnt => "under-burn",
            Judged::OverBurnt => "over-burn",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setting_that_the_machine_cannot_switch_at_is_no_clear_one() {
        assert_eq!(Judged::Clear.at(50.0, Some(40.0)), Judged::TooFast);
        assert_eq!(Judged::LinesApart.at(50.0, Some(40.0)), Judged::TooFast);
        assert_eq!(Judged::OverBurnt.at(50.0, Some(40.0)), Judged::OverBurnt);
        assert_eq!([Some(40.0), None].map(|most| Judged::Clear.at(40.0, most)), [Judged::Clear; 2]);
    }

    #[test]
    fn all_that_would_be_said_of_a_setting_is_named() {
        // A beam half a pitch wide, and less exposure than half a mark needs.
        let mut burn = Burn::plain(0.5, 0.5);
        burn.x_solid = 0.3;
        let found = [Judged::UnderBurnt, Judged::LinesApart];
        assert_eq!(Judged::all(&burn, 10.0, None), found);
        assert_eq!(
            Judged::all(&burn, 50.0, Some(40.0)),
            [Judged::UnderBurnt, Judged::TooFast, Judged::LinesApart]
        );
        assert_eq!(Judged::usual(&burn), Judged::UnderBurnt);
        let full = Burn { x_solid: 5.0, ..Burn::plain(2.0, 2.0) };
        assert_eq!((Judged::all(&full, 10.0, None), Judged::usual(&full)), (Vec::new(), Judged::Clear));
    }
}
