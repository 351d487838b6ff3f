//! Findings from the forecast: over-burn, under-burn.

use super::remedies::{cooler, hotter};
use super::trial::Remake;
use super::{Finding, Severity, spot};
use crate::blank::Blank;
use crate::mark::{Beam, Burn, Response, Setting, Sums};
use crate::placement::DotRect;
use crate::plane::Dots;
use crate::progress::Progress;
use crate::texts::text;
use crate::units::{MmPerS, Watts, short};

/// Charred area above this share of the marked area is a finding.
pub const CHARRED_SHARE: f64 = 0.001;
/// A connected charred patch above this area (mm²) is a finding.
pub const CHARRED_PATCH_MM2: f64 = 1.0;
/// Charred area above this share of the marked area is a stop, as is any patch above
/// [`CHARRED_PATCH_MM2`]: it is seen at arm's length, and a blank cannot be unmarked. Less is a caution:
/// scattered specks.
pub const RUINED_SHARE: f64 = 0.01;
/// A solid that reaches less than this share of a full mark is a stop: what is left of the coating is thin and the
/// mark washes off or cannot be told from the piece (own judgement).
pub const HALF_MARKED: f64 = 0.5;

/// What the findings are about.
#[derive(Clone, Copy)]
pub struct Case<'a> {
    /// The dots.
    pub dots: &'a Dots,
    /// Where they lie.
    pub rect: &'a DotRect,
    /// On what.
    pub blank: &'a Blank,
    /// The beam.
    pub beam: Beam,
    /// The setting.
    pub setting: Setting,
    /// The coating.
    pub response: Response,
    /// The laser's full optical power; remedies name a share of it.
    pub rated_power: Watts,
    /// The fastest the machine marks.
    pub top_speed: MmPerS,
    /// Motor steps per mm across the lines.
    pub steps_per_mm: f64,
    /// Works the job through again with a change.
    pub remake: &'a Remake<'a>,
    /// Hears of the tries, and may end them.
    pub progress: &'a dyn Progress,
}

impl Case<'_> {
    /// Beam, setting and coating together.
    pub fn burn(&self) -> Burn {
        Burn::new(self.beam, self.setting, self.response)
    }
}

/// What the forecast says about over-burn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verdict {
    /// Charred area, mm².
    pub charred_mm2: f64,
    /// Charred area as a share of the marked area.
    pub share: f64,
    /// The largest connected charred patch, mm².
    pub patch_mm2: f64,
}

impl Verdict {
    /// Nothing is charred.
    pub const CLEAR: Verdict = Verdict { charred_mm2: 0.0, share: 0.0, patch_mm2: 0.0 };

    /// Reads the sums of a forecast; `cell_mm2` is the area of a dot's cell.
    pub fn new(sums: &Sums, cell_mm2: f64) -> Self {
        let charred = sums.totals.charred;
        Verdict {
            charred_mm2: charred * cell_mm2,
            share: if charred > 0.0 { charred / sums.worked } else { 0.0 },
            patch_mm2: sums.largest.map_or(0.0, |p| p.area) * cell_mm2,
        }
    }

    /// Whether nothing need be said.
    pub fn clear(&self) -> bool {
        self.share <= CHARRED_SHARE && self.patch_mm2 <= CHARRED_PATCH_MM2
    }

    /// How serious it is.
    pub fn severity(&self) -> Severity {
        if self.patch_mm2 > CHARRED_PATCH_MM2 || self.share > RUINED_SHARE {
            Severity::Stop
        } else {
            Severity::Caution
        }
    }
}

/// `over-burn`: the charred area (char of 5 % and more) is above 0.1 % of the marked area, or a connected
/// patch is above 1 mm². `sums` are those of the case's dots under its burn.
pub fn over_burn(case: &Case, sums: &Sums) -> Option<Finding> {
    let verdict = Verdict::new(sums, case.rect.grid.cell_mm2());
    if verdict.clear() {
        return None;
    }
    let worst = sums.largest.map_or(sums.peak_at, |p| p.worst);
    let at = case.rect.centre(case.blank, worst.0, worst.1);
    let exposure = f64::from(sums.peak) * case.burn().x_solid;
    let char_from = case.response.exposure_at_char(crate::mark::response::OVER_BURN);
    let message = text!(
        "findings.over-burn",
        area = short(verdict.charred_mm2, 2),
        share = short(verdict.share * 100.0, 2),
        patch = short(verdict.patch_mm2, 2),
        place = spot(at),
        exposure = short(exposure, 2),
        char_from = short(char_from, 2)
    );
    let mut finding =
        Finding::new("over-burn", verdict.severity(), message).measuring(verdict.charred_mm2, "mm2");
    finding.area_mm2 = Some(verdict.charred_mm2);
    finding.at_mm = Some(at);
    finding.remedies = cooler(case, worst);
    Some(finding)
}

/// The mark a solid reaches, 0 to 1, where it falls short of a full mark by more than 2 L*; by the rise
/// alone, for char is another finding.
pub fn shortfall(burn: &Burn) -> Option<f64> {
    // On the lines and between them, as far as the mean exposure of a solid goes.
    burn.response.shortfall(burn.x_solid)
}

/// `under-burn`: a solid does not reach a full mark (within 2 L*) under the burn; a stop where it reaches less than
/// half.
pub fn under_burn(case: &Case, sums: &Sums) -> Option<Finding> {
    if sums.dots == 0 {
        return None;
    }
    let burn = case.burn();
    let mut finding = short_of_full(&burn)?;
    if sums.solid_cells > 0 {
        finding.area_mm2 = Some(sums.solid_cells as f64 * case.rect.grid.cell_mm2());
        finding.at_mm = sums.solid_at.map(|(x, y)| case.rect.centre(case.blank, x, y));
    }
    finding.remedies = hotter(case, &burn);
    Some(finding)
}

/// `under-burn` of a burn, whatever is made with it.
pub fn short_of_full(burn: &Burn) -> Option<Finding> {
    let reached = shortfall(burn)?;
    let message = text!(
        "findings.under-burn",
        share = short(reached * 100.0, 0),
        exposure = short(burn.x_solid, 2),
        half_at = short(burn.response.x_half, 2)
    );
    let severity = if reached < HALF_MARKED { Severity::Stop } else { Severity::Caution };
    Some(Finding::new("under-burn", severity, message).measuring(100.0 * (1.0 - reached), "% short"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::change::Change;
    use crate::findings::trial::Remade;
    use crate::mark::response::tests::{POSTER_PAINT, setting};
    use crate::mark::{Forecast, sums};
    use crate::placement::Grid;
    use crate::progress::Silent;
    use crate::screen;
    use crate::tone::dot_gain;
    use crate::units::{Mm, Share};

    const BLANK: Blank = Blank {
        shape: crate::blank::Shape::Rect { width: Mm(60.0), height: Mm(40.0), radius: Mm(0.0) },
        margin: Mm(2.0),
    };
    const BEAM: Beam = Beam { along: Mm(0.12), across: Mm(0.12) };

    /// A job of a few words: a ramp from light to full with a solid disc, on the blank, by Bayer's screen.
    struct Small {
        setting: Setting,
        response: Response,
    }

    impl Small {
        fn make(&self, change: Option<Change>) -> (Dots, DotRect, Setting) {
            let mut s = self.setting;
            let mut share = 1.0;
            match change {
                Some(Change::Power(w)) => s.power = w,
                Some(Change::Speed(v)) => s.speed = v,
                Some(Change::Pitch(p)) => (s.pitch_along, s.pitch_across) = (p, p),
                Some(Change::Ceiling(c)) => share = c.0,
                Some(Change::Alike { speed, power, .. }) => (s.speed, s.power) = (speed, power),
                Some(Change::WholePitch | Change::Levels(_)) | None => {}
            }
            let p = s.pitch_across.0;
            let (columns, rows) = ((30.0 / p).round() as usize, (20.0 / p).round() as usize);
            let tone = (0..columns * rows).map(|i| {
                let (x, y) = ((i % columns) as f64 * p, (i / columns) as f64 * p);
                let disc = (x - 8.0).powi(2) + (y - 10.0).powi(2) < 25.0;
                if disc { 1.0 } else { (x / 40.0) as f32 }
            });
            let tone = crate::plane::Tone::from_vec(columns, rows, tone.collect());
            let options = screen::Options::new(Burn::new(BEAM, s, self.response), p, p);
            let bayer = &screen::ordered::BAYER;
            let curve = dot_gain::forecast(bayer, &options);
            let tone = dot_gain::ceiling(curve.apply(tone), share);
            let dots = bayer.dots(&tone, &options, &Silent);
            let grid = Grid { along: Mm(p), across: Mm(p) };
            (dots, DotRect { left: Mm(15.0), top: Mm(10.0), columns, rows, grid }, s)
        }

        fn findings(&self) -> (Option<Finding>, Option<Finding>) {
            let (dots, rect, setting) = self.make(None);
            let remake = |change| {
                let (dots, rect, setting) = self.make(Some(change));
                Some(Remade { dots, grid: rect.grid, burn: Burn::new(BEAM, setting, self.response) })
            };
            let case = Case {
                dots: &dots,
                rect: &rect,
                blank: &BLANK,
                beam: BEAM,
                setting,
                response: self.response,
                rated_power: Watts(5.0),
                top_speed: MmPerS(100.0),
                steps_per_mm: 80.0,
                remake: &remake,
                progress: &Silent,
            };
            let s = sums(&Forecast::new(&case.burn()), &dots, &Silent).unwrap();
            (over_burn(&case, &s), under_burn(&case, &s))
        }
    }

    fn at(dpi: f64) -> Small {
        Small { setting: setting(4.5, dpi), response: POSTER_PAINT }
    }

    #[test]
    fn at_304_dpi_poster_paint_is_fully_marked_and_not_charred() {
        // Fact of the trade (common practice): 304 dpi, 5 W at 90 %, 12.5 mm/s.
        assert_eq!(at(304.0).findings(), (None, None));
    }

    #[test]
    fn doubled_density_chars_and_each_remedy_really_clears_it() {
        let small = at(608.0);
        let finding = small.findings().0.unwrap();
        assert_eq!((finding.name, finding.severity), ("over-burn", Severity::Stop));
        // The disc of 78.5 mm2 is charred through; its middle lies 23 mm from the left, 20 from the bottom.
        let (x, y) = finding.at_mm.unwrap();
        assert!(finding.area_mm2.unwrap() > 60.0 && (x - 23.0).hypot(y - 20.0) < 5.5, "{finding:?}");
        for change in ["power", "speed", "pitch", "ceiling"] {
            let found = finding.remedies.iter().find(|r| r.change == change);
            let remedy = found.unwrap_or_else(|| panic!("no {change} in {finding:#?}"));
            assert!(remedy.verified, "{remedy:?}");
            let change = match change {
                "power" => Change::Power(Watts(5.0 * remedy.value / 100.0)),
                "speed" => Change::Speed(MmPerS(remedy.value)),
                "pitch" => Change::Pitch(Mm(remedy.value)),
                _ => Change::Ceiling(Share(remedy.value / 100.0)),
            };
            let (dots, rect, setting) = small.make(Some(change));
            let burn = Burn::new(BEAM, setting, POSTER_PAINT);
            let v = Verdict::new(&sums(&Forecast::new(&burn), &dots, &Silent).unwrap(), rect.grid.cell_mm2());
            assert!(v.clear(), "{remedy:?} {v:?}");
        }
        let power = finding.remedies.iter().find(|r| r.change == "power").unwrap();
        // Solids char from 6.23 J/mm2 (9 * 19^(-1/8)) at the ripple's crest; 8.62 J/mm2 at 90 %.
        assert!((60.0..=66.0).contains(&power.value), "{power:?}");
    }

    #[test]
    fn a_coating_that_wants_more_is_under_burnt_and_slower_clears_it() {
        // Zinc spray wants about twice the dose (common practice).
        let zinc = Response { y_marked: 0.42, x_half: 5.0, x_char: 20.0, ..POSTER_PAINT };
        let (over, under) = Small { setting: setting(4.5, 304.0), response: zinc }.findings();
        let under = under.unwrap();
        assert!(over.is_none() && under.message.contains("28% of a full mark"), "{}", under.message);
        assert!(
            !under.remedies.is_empty() && under.remedies.iter().all(|r| r.verified && r.change != "power")
        );
        assert!(under.remedies.iter().any(|r| r.change == "speed" && r.value < 12.5));
    }
}
