//! Code: the cells of the wedge's id under the patches, so that a photo is never read with another wedge's file.

use super::camera::Camera;
use super::photo::sample;
use crate::art::Photo;
use crate::texts::text;
use crate::wedge::ask::ReadingError;
use crate::wedge::spread::deviation;
use crate::wedge::target::Wedge;

/// Compares the id's cells in the photo with the sheet.
pub(super) fn check_code(
    photo: &Photo,
    wedge: &Wedge,
    camera: &Camera,
    lighter: bool,
    notes: &mut Vec<String>,
) -> Result<(), ReadingError> {
    let Some(code) = &wedge.code else {
        notes.push(text!("wedge.note.no-code").into());
        return Ok(());
    };
    let height = wedge.blank.height();
    let look = |x: f64, y: f64, half: f64| -> Option<f64> {
        let mut sum = 0.0;
        for j in -2..=2 {
            for i in -2..=2 {
                let at = (x + half * f64::from(i) / 2.0, y + half * f64::from(j) / 2.0);
                let (px, py) = camera.project(at)?;
                sum += f64::from(sample(&photo.light, px, py)?.max(0.0).sqrt());
            }
        }
        Some(sum / 25.0)
    };
    let y = height - code.first[1];
    let cells: Option<Vec<(f64, f64)>> = (0..code.bits.len())
        .map(|i| {
            let x = code.first[0] + i as f64 * code.step;
            let before = look(x - code.step / 2.0, y, 0.05 * code.cell)?;
            let after = look(x + code.step / 2.0, y, 0.05 * code.cell)?;
            Some((look(x, y, 0.3 * code.cell)?, (before + after) / 2.0))
        })
        .collect();
    let Some(cells) = cells else { return Ok(()) };
    let sign = if lighter { 1.0 } else { -1.0 };
    let differences: Vec<f64> = cells.iter().map(|(c, g)| sign * (c - g)).collect();
    let top = differences.iter().copied().fold(0.0, f64::max);
    let level = 0.5 * top;
    let noise = deviation(&differences.iter().copied().filter(|d| *d < level).collect::<Vec<_>>());
    let bits: String = differences.iter().map(|d| if *d > level { '1' } else { '0' }).collect();
    let wrong = bits.chars().zip(code.bits.chars()).filter(|(a, b)| a != b).count();
    if top < 6.0 * noise || top < 0.02 {
        if code.bits.contains('1') {
            return Err(ReadingError::NotThis {
                given: wedge.id.clone(),
                why: text!("wedge.not-this.no-code").into(),
            });
        }
        return Ok(());
    }
    match wrong {
        0 => Ok(()),
        1 => {
            notes.push(text!("wedge.note.one-cell").into());
            Ok(())
        }
        _ => {
            let digits = bits.len() / 4;
            let seen = (0..digits)
                .filter_map(|d| u8::from_str_radix(bits.get(4 * d..4 * d + 4)?, 2).ok())
                .map(|v| format!("{v:X}"))
                .collect::<String>();
            Err(ReadingError::OtherWedge { seen: format!("W{seen}"), given: wedge.id.clone() })
        }
    }
}
