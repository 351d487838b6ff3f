//! Findings about the spacing of lines: lines-apart, lines-crowded.

use super::{Finding, Remedy, Severity};
use crate::mark::{Beam, Burn, Response, Setting, advise};
use crate::texts::text;
use crate::units::{MM_PER_INCH, Mm, short};

/// `lines-apart`: in a solid the mark between lines is under 90 % of that on the lines.
pub fn apart(beam: Beam, setting: &Setting, response: &Response, steps_per_mm: f64) -> Option<Finding> {
    let lines = advise::lines_apart(&Burn::new(beam, *setting, *response))?;
    let share = short(100.0 * lines.mark_between / lines.mark_on, 0);
    // How much more dose lies on the lines than between them: of lines that do not touch the share says nothing.
    let more = lines.ripple.ratio() - 1.0;
    let pitch = setting.pitch_across;
    let message = if more < 10.0 {
        let ripple = short(more * 100.0, 1);
        text!("findings.lines-apart.ripple", pitch, share, ripple, beam = beam.across)
    } else {
        text!("findings.lines-apart.bare", pitch, share, beam = beam.across)
    };
    let mut finding = Finding::new("lines-apart", Severity::Caution, message);
    if let Some(pitch) = advise::closest_even_pitch(beam.across, setting, response, steps_per_mm) {
        let denser = Setting { pitch_across: pitch, ..*setting };
        let (mm, dpi) = (short(pitch.0, 4), short(MM_PER_INCH / pitch.0, 1));
        let text = text!("findings.lines-apart.pitch", pitch = mm, dpi);
        finding = finding.with(
            Remedy::new("pitch", pitch.0, "mm", text)
                .verified(advise::lines_apart(&Burn::new(beam, denser, *response)).is_none()),
        );
    }
    Some(finding)
}

/// `lines-crowded`: the pitch is under half the beam's radius across.
pub fn crowded(beam: Beam, pitch: Mm, steps_per_mm: f64) -> Option<Finding> {
    let share = advise::lines_crowded(beam.across, pitch)?;
    let (share, radius) = (short(share, 2), Mm(beam.across.0 / 2.0));
    let message = text!("findings.lines-crowded", pitch, share, radius);
    let better = advise::recommended_pitch(beam.across, steps_per_mm);
    let (mm, dpi) = (short(better.0, 4), short(MM_PER_INCH / better.0, 1));
    let text = text!("findings.lines-crowded.pitch", pitch = mm, dpi);
    Some(
        Finding::new("lines-crowded", Severity::Caution, message).with(
            Remedy::new("pitch", better.0, "mm", text)
                .verified(advise::lines_crowded(beam.across, better).is_none()),
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::placement::Along;
    use crate::units::{MmPerS, Watts};

    fn setting(dpi: f64) -> Setting {
        let p = Mm(25.4 / dpi);
        Setting {
            power: Watts(4.5),
            speed: MmPerS(12.5),
            passes: 1,
            pitch_along: p,
            pitch_across: p,
            lines: Along::X,
        }
    }

    fn beam() -> Beam {
        Beam { along: Mm(0.12), across: Mm(0.12) }
    }

    #[test]
    fn lines_at_the_trades_density_are_neither_apart_nor_crowded() {
        // 304 dpi with a 5 W diode: common practice.
        let response = crate::job::kit::coating("poster-paint").unwrap().response();
        assert!(apart(beam(), &setting(304.0), &response, 80.0).is_none());
        assert!(crowded(beam(), Mm(25.4 / 304.0), 80.0).is_none());
    }

    #[test]
    fn wide_lines_show_and_a_verified_pitch_mends_it() {
        let response = crate::job::kit::coating("poster-paint").unwrap().response();
        let f = apart(beam(), &setting(120.0), &response, 80.0).unwrap();
        assert!(f.remedies[0].verified && f.remedies[0].value < 25.4 / 120.0, "{f:?}");
    }

    #[test]
    fn lines_that_do_not_touch_have_no_share_of_ripple() {
        let response = crate::job::kit::coating("poster-paint").unwrap().response();
        let f = apart(beam(), &setting(20.0), &response, 80.0).unwrap();
        assert!(
            f.message.contains("hardly any dose falls between them") && f.message.len() < 160,
            "{}",
            f.message
        );
    }

    #[test]
    fn a_pitch_of_a_quarter_radius_is_crowded() {
        let f = crowded(beam(), Mm(0.015), 80.0).unwrap();
        assert!(f.remedies[0].verified && f.message.contains("0.25 of the beam's radius"), "{}", f.message);
    }
}
