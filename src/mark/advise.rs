//! stub
use crate::units::Mm;
/// stub
pub fn recommended_pitch(beam: Mm, steps_per_mm: f64) -> Mm {
    Mm((0.7 * beam.0 * steps_per_mm).round().max(1.0) / steps_per_mm)
}
