//! Points: places on a photo of a wedge that were set by hand.

use super::says::Says;
use super::texts::say;

/// How light plain office paper is: of all makes within a twentieth (own judgement).
pub(super) const PAPER: f64 = 0.87;

/// Left, top, width and height in pixels of a photo, `x,y,w,h`; none where it is not set.
///
/// # Errors
/// What are no four numbers.
pub(super) fn rectangle(text: Option<&str>) -> Result<Option<[f64; 4]>, Says> {
    let Some(text) = text.filter(|t| !t.is_empty()) else { return Ok(None) };
    let all: Option<Vec<f64>> = text.split(',').map(|n| n.trim().parse().ok()).collect();
    let four =
        all.and_then(|all| <[f64; 4]>::try_from(all).ok()).filter(|all| all.iter().all(|v| v.is_finite()));
    four.map(Some).ok_or_else(|| Says::unusable(say("says.photo.paper")))
}

/// Four points of a photo in its pixels, `x,y,x,y,x,y,x,y`; none where none are set.
///
/// # Errors
/// What are no eight numbers.
pub(super) fn corners(text: Option<&str>) -> Result<Vec<(f64, f64)>, Says> {
    let Some(text) = text.filter(|t| !t.is_empty()) else { return Ok(Vec::new()) };
    let wrong = || Says::unusable(say("says.photo.corners"));
    let all = text.split(',').map(|n| n.trim().parse::<f64>().ok().filter(|v| v.is_finite()));
    let all = all.collect::<Option<Vec<f64>>>().filter(|all| all.len() == 8).ok_or_else(wrong)?;
    Ok(all.chunks_exact(2).map(|p| (p[0], p[1])).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn white_paper_is_four_numbers() {
        assert_eq!(rectangle(Some("12.5, 40,100,80")).unwrap(), Some([12.5, 40.0, 100.0, 80.0]));
        assert_eq!(rectangle(None).unwrap().or(rectangle(Some("")).unwrap()), None);
        for wrong in ["1,2,3", "1,2,3,x", "1,2,x,3,4", "1,2,3,4,5", "1,2,3,inf"] {
            assert!(rectangle(Some(wrong)).is_err(), "{wrong}");
        }
    }
}
