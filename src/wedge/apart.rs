//! Apart: where an earlier reading and this sheet cannot both be right.

use super::measurement::Measurement;
use super::reading::{Reading, ResponseReading};
use crate::job::ProcessFile;
use crate::job::process::{BeamSize, ExposureAt, MeasuredValue};
use crate::texts::text;
use crate::units::short;

/// Two values differ for certain where they lie so many of their joined standard deviations apart, and it matters where they do
/// so by more than this share: sheets of one paint and one laser scatter by less.
const SURE: f64 = 3.0;
const APART: f64 = 0.15;

/// Whether two values, each with its standard deviation, cannot both be right.
pub fn differ(a: (f64, f64), b: (f64, f64)) -> bool {
    let off = (a.0 - b.0).abs();
    off > SURE * libm::hypot(a.1, b.1) && off > APART * a.0.min(b.0)
}

/// An exposure of an earlier file, J/mm², as many as it has at the reference speed of this response.
fn exposure(value: f64, earlier: &ProcessFile, here: &ResponseReading) -> f64 {
    let s = here.schwarzschild.get().or(earlier.schwarzschild.as_ref().map(|s| s.value)).unwrap_or(1.0);
    earlier.v0.map_or(value, |v0| value * libm::pow(v0.0 / here.v0_mm_s, 1.0 - s))
}

/// Half char of an earlier file, J/mm², where this sheet shows that it lies higher: both cannot stand in one file.
pub fn no_char(earlier: &ProcessFile, here: &ResponseReading) -> Option<f64> {
    let ExposureAt::Dose(there) = earlier.x_char.as_ref()?.value else { return None };
    let there = exposure(there.0, earlier, here);
    here.x_char_above_j_mm2.filter(|above| there < *above).map(|_| there)
}

/// What to say where an earlier reading does not agree with this one.
pub fn apart(earlier: &ProcessFile, reading: &Reading) -> Option<String> {
    let mut what: Vec<String> = Vec::new();
    // What a person wrote in without saying how well it is known is no reading.
    let both = |here: &Measurement, there: Option<(f64, Option<f64>)>| {
        let (there, sigma) = there?;
        let here = (here.get()?, here.uncertainty());
        differ(here, (there, sigma?)).then_some((there, here.0))
    };
    let plain = |v: &Option<MeasuredValue<f64>>| v.as_ref().map(|v| (v.value, v.sigma));
    if let Some(r) = &reading.response {
        let half = earlier.x_half.as_ref().and_then(|v| match v.value {
            ExposureAt::Dose(dose) => Some((exposure(dose.0, earlier, r), v.sigma)),
            _ => None,
        });
        if let Some((there, here)) = both(&r.x_half_j_mm2, half) {
            what.push(text!("wedge.apart.half", there = short(there, 2), here = short(here, 2)));
        }
        if let Some((there, here)) = both(&r.rise, plain(&earlier.rise)) {
            what.push(text!("wedge.apart.rise", there = short(there, 1), here = short(here, 1)));
        }
        if let (Some(there), Some(above)) = (no_char(earlier, r), r.x_char_above_j_mm2)
            && above - there > APART * there
        {
            what.push(text!("wedge.apart.char", there = short(there, 1), above = short(above, 1)));
        }
    }
    let beam = |v: &Option<MeasuredValue<BeamSize>>| match v.as_ref()?.value {
        BeamSize::Mm(mm) => Some((mm.0, v.as_ref()?.sigma)),
        BeamSize::Pitches(_) => None,
    };
    if let Some(b) = &reading.beam {
        if let Some((there, here)) = both(&b.along_mm, beam(&earlier.beam_along)) {
            what.push(text!("wedge.apart.along", there = short(there, 3), here = short(here, 3)));
        }
        if let Some((there, here)) = both(&b.across_mm, beam(&earlier.beam_across)) {
            what.push(text!("wedge.apart.across", there = short(there, 3), here = short(here, 3)));
        }
    }
    (!what.is_empty()).then(|| text!("wedge.note.apart", what = what.join(", ")))
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::wedge::reading::BeamReading;
    use crate::wedge::show::summary::tests::reading;

    pub(crate) fn response(half: f64, above: Option<f64>) -> ResponseReading {
        let no = || Measurement::not("not asked here");
        ResponseReading {
            y_marked: no(),
            y_char: no(),
            x_half_j_mm2: Measurement::value(half, 0.025),
            rise: Measurement::value(4.99, 0.1),
            x_char_j_mm2: no(),
            x_char_above_j_mm2: above,
            char_rise: no(),
            schwarzschild: Measurement::value(0.9, 0.009),
            v0_mm_s: 12.5,
            rms_l: None,
            patches: 30,
            beam_mm: None,
        }
    }

    fn earlier() -> ProcessFile {
        toml::from_str(
            "v0 = '12.5mm/s'\n[x_half]\nvalue = '1.39J/mm2'\nsigma = 0.012\n[rise]\nvalue = 5.05\nsigma = 0.11\n\
             [x_char]\nvalue = '5.28J/mm2'\nsigma = 0.065\n[beam_along]\nvalue = '0.142mm'\nsigma = 0.004\n",
        )
        .unwrap()
    }

    #[test]
    fn an_earlier_reading_of_another_laser_is_told() {
        let here = |half, above| Reading { response: Some(response(half, above)), ..reading() };
        let said = apart(&earlier(), &here(2.99, Some(7.6))).unwrap();
        let what = "half exposure 1.39 against 2.99 J/mm², half char 5.3 against more than 7.6 J/mm²";
        assert!(said.contains(what), "{said}");
        // Another sheet of the same paint, its char just seen to lie higher.
        assert_eq!(apart(&earlier(), &here(1.5, Some(5.5))), None);
        // What was known poorly, and what nobody measured.
        let of = |sigma| {
            let half = MeasuredValue { value: ExposureAt::Dose(crate::units::JoulesPerMm2(1.39)), sigma };
            ProcessFile { x_half: Some(half), ..ProcessFile::default() }
        };
        assert_eq!([Some(0.6), None].map(|sigma| apart(&of(sigma), &here(2.99, None))), [None, None]);
        assert!(apart(&of(Some(0.1)), &here(2.99, None)).is_some());
        let wide = BeamReading {
            along_mm: Measurement::value(0.18, 0.004),
            across_mm: Measurement::value(0.16, 0.003),
            rms: None,
        };
        let said = apart(&earlier(), &Reading { beam: Some(wide), ..reading() }).unwrap();
        assert!(said.contains("beam along the lines 0.142 against 0.18 mm"), "{said}");
    }

    #[test]
    fn exposures_are_compared_at_one_reference_speed() {
        // At s = 0.9 a reference speed four times as high is 1.15 times less exposure.
        let faster = ProcessFile { v0: Some(crate::units::MmPerS(50.0)), ..earlier() };
        let at = exposure(1.39, &faster, &response(1.39, None));
        assert!((at / 1.39 - libm::pow(4.0, 0.1)).abs() < 1e-9);
        assert_eq!(exposure(1.39, &earlier(), &response(1.39, None)), 1.39);
    }

    #[test]
    fn char_is_refuted_only_where_it_lies_higher() {
        assert_eq!(no_char(&earlier(), &response(1.4, Some(7.6))), Some(5.28));
        assert_eq!(no_char(&earlier(), &response(1.4, Some(4.0))), None);
        assert_eq!(no_char(&earlier(), &response(1.4, None)), None);
    }
}
