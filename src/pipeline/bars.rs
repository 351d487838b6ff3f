//! Bars: the bar codes of a piece, and what scanners will make of them there.

use super::codes::{exchanged, once, picture_at};
use super::shown::Shown;
use super::wanted::Wanted;
use crate::art::reading::{BarCode, bar_codes};
use crate::findings::Finding;
use crate::findings::code::{self as of_codes, Beside, Mend};
use crate::job::Plan;
use crate::progress::Progress;

/// What is to be said of the bar codes of what is `wanted` of a piece.
pub(super) fn findings(
    plan: &Plan,
    shown: Shown<'_>,
    wanted: &Wanted,
    progress: &dyn Progress,
) -> Vec<Finding> {
    let lighter = plan.burn.response.y_marked > plan.burn.response.y_unmarked;
    let rect = &wanted.placement.rect;
    let of_one = |code: BarCode| {
        let middle = (rect.left.0 + code.middle.0, rect.top.0 + code.middle.1);
        let wants = Beside { modules: code.wants, module: code.module };
        let found = if code.bars_set == lighter {
            let mend = mend(plan, (shown, wanted), (&code, middle), progress);
            Some(of_codes::bars_reversed(mend.as_ref(), wants))
        } else {
            of_codes::bars_border(code.quiet, wants)
        };
        let at_mm = Some((middle.0, plan.blank.shape.height() - middle.1));
        found.map(|f| Finding { at_mm, ..f })
    };
    once(codes_of(wanted).into_iter().filter_map(of_one))
}

fn codes_of(wanted: &Wanted) -> Vec<BarCode> {
    let grid = &wanted.placement.rect.grid;
    bar_codes(&wanted.tone, (grid.along.0, grid.across.0))
}

/// What makes the bars of that code dark, whose middle lies there, mm from the blank's left and top.
fn mend(
    plan: &Plan,
    (shown, wanted): (Shown<'_>, &Wanted),
    (code, middle): (&BarCode, (f64, f64)),
    progress: &dyn Progress,
) -> Option<Mend> {
    let picture = picture_at(plan, shown, wanted, middle)?;
    let (exchanged, invert) = exchanged(plan, shown, (picture, wanted), 1.0, progress)?;
    let rect = &exchanged.placement.rect;
    let same = |other: &BarCode| {
        let (x, y) = (rect.left.0 + other.middle.0, rect.top.0 + other.middle.1);
        other.bars_set != code.bars_set && libm::hypot(x - middle.0, y - middle.1) < 4.0 * code.module
    };
    let mended = codes_of(&exchanged).into_iter().find(same)?;
    Some(Mend { of: picture.of, invert, quiet: mended.quiet })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::reading::{RETAIL, bar_widths};
    use crate::findings::Severity;
    use crate::job::Job;
    use crate::progress::Silent;
    use crate::{art, pipeline};

    /// What is said of a code with so many modules of border, placed `width` mm wide.
    fn said(surface: &str, quiet: usize, width: f64, tone: &str) -> Vec<Finding> {
        let times = 8;
        let mut row = vec![255; quiet * times];
        for (i, n) in bar_widths(RETAIL).into_iter().enumerate() {
            row.extend(vec![if i.is_multiple_of(2) { 0 } else { 255 }; n * times]);
        }
        row.extend(vec![255; quiet * times]);
        let (wide, high) = (row.len() as u32, 400);
        let picture = image::GrayImage::from_fn(wide, high, |x, y| {
            let bare = y < 40 || y >= high - 40;
            image::Luma([if bare { 255 } else { row[x as usize] }])
        });
        let mut png = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut png, image::ImageFormat::Png).unwrap();
        let art = art::open(png.get_ref(), "code.png").unwrap();
        let job: Job = format!(
            "blank = {{ shape = 'rect:60x40mm', margin = '2mm', surface = '{surface}', place = '{width}x30mm' }}\n\
             dots = {{ screen = 'floyd-steinberg' }}\n{tone}"
        )
        .parse()
        .unwrap();
        let outcome = pipeline::run(&Plan::of(&job).unwrap(), &art, "code.png", &Silent).unwrap();
        outcome.findings.into_iter().filter(|f| f.name == "bar-code").collect()
    }

    #[test]
    fn a_bar_code_is_told_where_its_bars_come_out_light() {
        let found = said("slate", 10, 40.0, "");
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].message.contains("light on dark"), "{found:?}");
        assert_eq!(found[0].remedies[0].sets, [("tone.invert".to_string(), "true".to_string())]);
        assert!(found[0].remedies[0].verified && found[0].remedies.len() == 1, "{found:?}");
        // So mended, and where marks are dark, there is nothing to say.
        assert_eq!(said("slate", 10, 40.0, "tone = { invert = true }"), []);
        assert_eq!(said("tile", 10, 40.0, ""), []);
        let found = said("tile", 10, 40.0, "tone = { invert = true }");
        assert_eq!(found[0].remedies[0].sets, [("tone.invert".to_string(), "false".to_string())]);
    }

    #[test]
    fn a_light_border_that_is_too_narrow_is_told_before_and_after() {
        let found = said("slate", 2, 40.0, "");
        assert!(
            found[0].remedies[0].text.contains("the light border beside its bars is then only"),
            "{found:?}"
        );
        let found = said("slate", 5, 40.0, "tone = { invert = true }");
        assert_eq!((found.len(), found[0].severity), (1, Severity::Note), "{found:?}");
        // Bare ground that is light is border enough.
        assert_eq!(said("tile", 1, 40.0, ""), []);
    }
}
