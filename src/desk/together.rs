//! Together: a photo of a wedge read with what an earlier one measured, where a person chose that and the two agree.

use super::home::Home;
use super::texts::filled;
use crate::art::Photo;
use crate::job::named::read_process;
use crate::job::process::ExposureAt;
use crate::job::{ProcessFile, file_name};
use crate::progress::Progress;
use crate::units::short;
use crate::wedge::apart::differ;
use crate::wedge::ask::{Ask, ReadingError};
use crate::wedge::evidence::Evidence;
use crate::wedge::read;
use crate::wedge::reading::Reading;
use crate::wedge::target::Wedge;

/// The process that a person chose for a wedge.
pub(super) struct Earlier {
    name: String,
    /// Its file; none where it is gone or cannot be read.
    file: Option<ProcessFile>,
}

impl Earlier {
    /// That which a job would name so; none where none is named.
    pub fn of(home: &Home, asked: &str) -> Option<Earlier> {
        let asked = Some(asked.trim()).filter(|a| !a.is_empty())?;
        let path = file_name::path(asked);
        let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let place = home.at(&["jobs", "wedge"]).and_then(|jobs| home.within(&jobs.join(&path)));
        Some(Earlier { name, file: place.ok().and_then(|p| read_process(&p).ok()) })
    }
}

/// A photo that was read, and what it was read with.
pub(super) struct Together {
    /// What was read.
    pub evidence: Evidence,
    /// What it is laid over.
    pub earlier: Option<ProcessFile>,
    /// What is to be said of the two.
    pub says: Option<String>,
    /// Whether the process that was chosen was left out.
    pub apart: bool,
}

/// Reads a photo, with the chosen process where that is of this machine and says the same of this coating. A laser that has
/// become weaker or another paint shows as a photo that does not agree; the mean of both would fit neither.
///
/// # Errors
/// As [`read::read_photo`].
pub(super) fn read(
    photo: &Photo,
    wedge: &Wedge,
    ask: &Ask,
    chosen: Option<Earlier>,
    progress: &dyn Progress,
) -> Result<Together, ReadingError> {
    let alone = read::read_photo(photo, wedge, ask, progress)?;
    let apart = |evidence: Evidence, says: String| Together {
        evidence,
        earlier: None,
        says: Some(says),
        apart: true,
    };
    let Some(Earlier { name, file }) = chosen else {
        return Ok(Together { evidence: alone, earlier: None, says: None, apart: false });
    };
    let Some(file) = file else {
        return Ok(apart(alone, filled("together.gone", &[("name", &name)])));
    };
    if file.of_other_machine(&wedge.machine) {
        let says = filled("together.machine", &[("name", &name), ("machine", &file.machine)]);
        return Ok(apart(alone, says));
    }
    if let Some(rated) = file.of_other_laser(wedge.rated_power) {
        let (then, now) = (rated.to_string(), wedge.rated_power.to_string());
        let says = filled("together.laser", &[("name", &name), ("then", &then), ("now", &now)]);
        return Ok(apart(alone, says));
    }
    let after = ask.clone().after(Some(&file), wedge);
    let both = if after == *ask { None } else { Some(read::read_photo(photo, wedge, &after, progress)?) };
    let reading = both.as_ref().map_or(&alone.reading, |both| &both.reading);
    let says = if file.is_of_others(&wedge.machine, &wedge.coating) {
        filled("together.coating", &[("name", &name), ("coating", &file.coating)])
    } else if let Some(why) = disagree(&alone.reading, reading, &file) {
        return Ok(apart(alone, filled("together.apart", &[("name", &name), ("why", &why)])));
    } else {
        filled("together.read", &[("name", &name)])
    };
    Ok(Together { evidence: both.unwrap_or(alone), earlier: Some(file), says: Some(says), apart: false })
}

/// Why a photo and a process of the same machine and coating cannot both be right.
fn disagree(alone: &Reading, together: &Reading, file: &ProcessFile) -> Option<String> {
    let half = alone.response.as_ref().map(|r| &r.x_half_j_mm2);
    if let Some(here) = half.and_then(|h| h.get())
        && let Some(known) = &file.x_half
        && let ExposureAt::Dose(there) = known.value
    {
        let sigma = half.map_or(0.0, |h| h.uncertainty());
        if differ((here, sigma), (there.0, known.sigma.unwrap_or(0.0))) {
            let (here, there) = (short(here, 2), short(there.0, 2));
            return Some(filled("together.apart.dose", &[("here", &here), ("there", &there)]));
        }
    }
    let doubt = together.doubts.first().filter(|_| alone.doubts.is_empty())?;
    Some(filled("together.apart.doubt", &[("doubt", doubt)]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wedge::measurement::Measurement;
    use crate::wedge::reading::{PhotoReading, ResponseReading, Scale};

    fn reading(half: Measurement) -> Reading {
        let no = || Measurement::not("not asked here");
        Reading {
            wedge: "W000001".into(),
            kind: "combined".into(),
            machine: "diode 5 W".into(),
            coating: "poster paint".into(),
            date: String::new(),
            marks_lighter: true,
            scale: Scale { absolute: false, note: String::new(), y_unmarked: 0.1, sigma: 0.0 },
            photo: PhotoReading {
                size: [1, 1],
                pixels_per_mm: 10.0,
                blur_mm: 0.1,
                marks_px: Vec::new(),
                homography: [0.0; 9],
                lens_k1: 0.0,
                light_ratio: 1.0,
            },
            patches: Vec::new(),
            response: Some(ResponseReading {
                y_marked: no(),
                y_char: no(),
                x_half_j_mm2: half,
                rise: no(),
                x_char_j_mm2: no(),
                x_char_above_j_mm2: None,
                char_rise: no(),
                schwarzschild: no(),
                v0_mm_s: 10.0,
                rms_l: None,
                patches: 9,
                beam_mm: None,
            }),
            pick: None,
            dot_gain: Vec::new(),
            beam: None,
            lags: Vec::new(),
            doubts: Vec::new(),
            notes: Vec::new(),
        }
    }

    #[test]
    fn a_weaker_laser_shows_as_a_photo_that_does_not_agree() {
        let file: ProcessFile = toml::from_str("x_half = { value = '1.72J/mm2', sigma = 0.03 }\n").unwrap();
        let said = |half: Measurement| disagree(&reading(half.clone()), &reading(half), &file);
        let why = said(Measurement::value(2.727, 0.05)).unwrap();
        assert!(why.contains("2.73 J/mm² here and 1.72 J/mm² there"), "{why}");
        // Another sheet of the same paint, one that tells little, and one that tells nothing.
        assert_eq!(said(Measurement::value(1.85, 0.02)), None);
        assert_eq!(said(Measurement::value(2.3, 0.4)), None);
        assert_eq!(said(Measurement::not("no")), None);
        // What only the two together speak against.
        let alone = reading(Measurement::not("no"));
        let doubted = Reading { doubts: vec!["the camera bent the tones".into()], ..alone.clone() };
        assert!(disagree(&alone, &doubted, &file).unwrap().contains("the camera bent the tones"));
        assert_eq!(disagree(&doubted, &doubted, &file), None);
    }

    #[test]
    fn a_process_is_chosen_as_a_job_names_it() {
        let (_dir, home) = crate::desk::home::tests::home();
        let text = "wedge = 'W1'\nx_half = { value = '1.72J/mm2', sigma = 0.03 }\n";
        home.write(&home.at(&["processes", "shop.toml"]).unwrap(), text.as_bytes()).unwrap();
        let shop = Earlier::of(&home, "../../processes/shop.toml").unwrap();
        assert!(shop.name == "shop" && shop.file.is_some_and(|f| f.wedge == "W1"));
        for gone in ["../../processes/old.toml", "../../../elsewhere/old.toml"] {
            let gone = Earlier::of(&home, gone).unwrap();
            assert!(gone.name == "old" && gone.file.is_none());
        }
        assert!(Earlier::of(&home, "  ").is_none());
    }
}
