//! What is done to the tones.

use crate::job::asked::ToneJob;
use crate::job::error::PlanError;
use crate::job::words::{DotGain, Levels, Nudge, Sharpen};
use crate::texts::text;
use crate::tone::dot_gain::GainCurve;
use crate::tone::shape::{self, Shaping};
use crate::units::Share;

/// Radius of the local contrast on the piece, mm: larger than any texture, smaller than a face.
const CONTRAST_RADIUS_MM: f64 = 4.0;

/// What is done to the tones.
#[derive(Debug, Clone, PartialEq)]
pub struct SettledTone {
    /// Levels, local contrast, sharpening and curve, in the units of that stage.
    pub shape: Shaping,
    /// The dot-gain curve.
    pub dot_gain: DotGain,
    /// The measured curve of a file, where one was named.
    pub curve: Option<GainCurve>,
    /// The most coverage anywhere.
    pub ceiling: Share,
}

pub(super) fn settle(tone: &ToneJob, curve: Option<GainCurve>) -> Result<SettledTone, PlanError> {
    let ceiling = tone.ceiling.unwrap_or(Share(1.0));
    if ceiling.0 < 0.01 {
        return Err(PlanError::absurd(text!("job.wrong.ceiling", ceiling)));
    }
    let shape = shaping(tone);
    shape.check().map_err(|e| PlanError::absurd(e.to_string()))?;
    Ok(SettledTone { shape, dot_gain: tone.dot_gain.clone().unwrap_or(DotGain::Forecast), curve, ceiling })
}

fn shaping(tone: &ToneJob) -> Shaping {
    let amount = tone.local_contrast.map_or(0.0, |a| a.0.0);
    let nudge = |n: Option<Nudge>| n.unwrap_or_default().0;
    Shaping {
        levels: match tone.levels.unwrap_or(Levels::Fitting) {
            Levels::Off => shape::LevelStretch::Off,
            Levels::Fitting => shape::LevelStretch::Fitting,
            Levels::Auto(clip) => shape::LevelStretch::Auto { clip: clip.0 },
            Levels::Given(black, white) => {
                shape::LevelStretch::Given { black: black.0 * 100.0, white: white.0 * 100.0 }
            }
        },
        tilt: shape::Tilt {
            brighten: nudge(tone.brighten),
            contrast: nudge(tone.contrast),
            invert: tone.invert.unwrap_or(false),
        },
        local: (amount > 0.0).then_some(shape::Local { radius_mm: CONTRAST_RADIUS_MM, amount }),
        sharpen: match tone.sharpen.unwrap_or(Sharpen::Off) {
            Sharpen::Off => None,
            Sharpen::Mask { radius, amount } => Some(shape::UnsharpMask { radius_mm: radius.0, amount }),
        },
        curve: tone.curve.iter().flat_map(|c| &c.0).map(|(a, b)| (a.0 * 100.0, b.0 * 100.0)).collect(),
    }
}
