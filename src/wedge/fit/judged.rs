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
        let on = advise::LinePair::new(burn).ripple.on * burn.x_solid;
        if on >= burn.response.exposure_at_char(limit) {
            Judged::OverBurnt
        } else if shortfall(burn).is_some() {
            Judged::UnderBurnt
        } else if advise::lines_apart(burn).is_some() {
            Judged::LinesApart
        } else {
            Judged::Clear
        }
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
}
