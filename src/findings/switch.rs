//! Findings about how fast the laser switches: slow-switch.

use super::motion::{changed, estimate};
use super::{Finding, Remedy, Severity};
use crate::job::Laser;
use crate::scan::estimate::Estimate;
use crate::scan::lines::Marking;
use crate::scan::raster::{RasterPath, Scan};
use crate::texts::text;
use crate::units::{MM_PER_INCH, short};

/// A pitch that would have to be so many times as wide is no remedy: lines would lie apart.
const WIDEST: f64 = 2.0;

/// `slow-switch`: the laser takes more than a fifth of the shortest mark or gap to come on or go off.
pub fn slow(
    raster: &RasterPath,
    marking: Marking<'_>,
    laser: &Laser,
    estimate_of: &Estimate,
) -> Option<Finding> {
    let (has, needs) = (estimate_of.briefest_s?, laser.briefest());
    // A millionth is rounding.
    if has >= needs * (1.0 - 1e-6) {
        return None;
    }
    let (takes, lasts) = (short(laser.switch_ms, 3), short(has * 1000.0, 2));
    let message = if laser.switch_is_assumed() {
        text!("findings.slow-switch.assumed", takes, lasts)
    } else {
        text!("findings.slow-switch.known", takes, lasts)
    };
    let mut finding = Finding::new("slow-switch", Severity::Caution, message);
    // Ways from rest to rest, and across gaps in a hurry, take longer or shorter than the speed says: a few tries.
    let down = |fit: f64, parts: f64| (fit * parts + 1e-6).floor() / parts;
    let mut speed = raster.scan.speed;
    let mut lasts = has;
    for _ in 0..8 {
        let fit = speed * lasts / needs;
        speed = if fit >= 1.0 { down(fit, 10.0) } else { down(fit, 1000.0) };
        let Some(path) = changed(raster, Scan { speed, ..raster.scan }) else { break };
        lasts = estimate(&path, marking).briefest_s.unwrap_or(needs);
        if lasts >= needs * (1.0 - 1e-6) {
            finding = finding.with(Remedy::slower(speed, 3));
            break;
        }
    }
    let wider = needs / has;
    if wider <= WIDEST {
        let grid = &raster.rect.grid;
        let pitch = wider * raster.xy(grid.along.0, grid.across.0).1;
        // Whole motor steps.
        let steps_per_mm = raster.limits.axes(raster.scan.along).1.steps_per_mm;
        let pitch = (pitch * steps_per_mm - 1e-6).ceil() / steps_per_mm;
        let (mm, dpi) = (short(pitch, 4), short(MM_PER_INCH / pitch, 1));
        let text = text!("findings.slow-switch.pitch", pitch = mm, dpi);
        finding = finding.with(
            Remedy::new("pitch", pitch, "mm", text)
                // The dots are then others; the job is carried through with them.
                .verified(true),
        );
    }
    Some(finding)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::motion::tests::path;
    use crate::job::kit;
    use crate::plane::{Dots, Tone};
    use crate::scan::limits::Limits;

    fn found(switch_ms: f64, speed: f64, dots: &Dots) -> Option<Finding> {
        let laser = Laser { switch_ms, ..kit::machine("diode-5w").unwrap().laser };
        let raster = path(&Limits::default(), Scan::new(speed, 0.9), dots);
        let marking = Marking::Dots(dots);
        slow(&raster, marking, &laser, &estimate(&raster, marking))
    }

    #[test]
    fn a_laser_that_is_too_slow_for_its_dots_is_told_of() {
        // Two dots, a gap of one, four dots: the gap of 0.1 mm lasts 2 ms at 50 mm/s, of which a fifth is 0.4 ms.
        let mut dots = Dots::off(80, 2);
        [0, 1, 3, 4, 5, 6].into_iter().for_each(|x| dots.set(x, 1, true));
        assert_eq!(found(0.4, 50.0, &dots), None);
        let f = found(0.5, 50.0, &dots).unwrap();
        assert_eq!((f.name, f.severity), ("slow-switch", Severity::Caution));
        assert!(f.message.contains("takes 0.5 ms") && f.message.contains("lasts 2 ms"), "{}", f.message);
        let told: Vec<_> = f.remedies.iter().map(|r| (r.change, r.value)).collect();
        assert_eq!(told, [("speed", 40.0), ("pitch", 0.125)]);
        assert_eq!(found(0.5, 40.0, &dots), None);
        // 10 ms would take a pitch of 2.5 mm.
        let f = found(10.0, 50.0, &dots).unwrap();
        assert_eq!(f.remedies.iter().map(|r| (r.change, r.value)).collect::<Vec<_>>(), [("speed", 2.0)]);
    }

    #[test]
    fn marks_that_only_change_their_power_are_one() {
        // A line of eight levels, each of a dot.
        let tone = Tone::from_vec(8, 1, (1..=8u8).map(|i| f32::from(i) / 8.0).collect());
        let levels: Vec<u32> = (0..=8).map(|i| 100 * i).collect();
        let dots = Dots::off(8, 1);
        let raster = path(&Limits::default(), Scan::new(50.0, 0.9), &dots);
        let marking = Marking::Grey { tone: &tone, levels: &levels };
        let brief = estimate(&raster, marking).briefest_s.unwrap();
        assert!((brief - 0.8 / 50.0).abs() < 1e-9, "{brief}");
    }
}
