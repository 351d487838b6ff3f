//! How dense the pixels of a picture file are, as the formats say it.

/// Pixels a metre, rounded to the nearest whole one, for a pitch in mm: what PNG's `pHYs` and a BMP
/// header hold. 304 dpi is 11968.504 a metre and is stored as 11969.
pub fn pixels_per_metre(pitch_mm: f64) -> u32 {
    (1000.0 / pitch_mm).round() as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixels_a_metre_are_rounded_not_cut() {
        // check values U04, U06 (PNG specification 1.2, 4.2.4.2; 1 inch = 0.0254 m exactly).
        let dpi = [72.0, 96.0, 127.0, 254.0, 300.0, 304.0, 318.0, 508.0, 600.0, 1000.0];
        let want = [2835, 3780, 5000, 10000, 11811, 11969, 12520, 20000, 23622, 39370];
        for (d, w) in dpi.into_iter().zip(want) {
            assert_eq!(pixels_per_metre(25.4 / d), w, "{d} dpi");
        }
    }
}
