//! Outlines: a jig that is drawn already. Each closed outline of an SVG is a spot, if a piece lies upright in it.

use std::path::Path;

use super::spots::{Outlined, SpotArea, SpotsError};
use crate::art::{self, Art, ClosedOutline, Form};
use crate::texts::text;

/// The most bytes of a jig's drawing.
const MOST_BYTES: u64 = 32 << 20;
/// Boxes that reach into each other by less only touch, mm.
const TOUCH: f64 = 0.01;

/// The spots of a drawing. An outline around all others is the edge of the tray; else its page is.
///
/// # Errors
/// A file that cannot be read, no closed outline, outlines that overlap or in which nothing lies upright.
pub fn read(path: &Path) -> Result<Outlined, SpotsError> {
    let name = path.display().to_string();
    let wrong = |why: String| SpotsError::Outlines(name.clone(), why);
    let unread = |e: std::io::Error| {
        wrong(text!(
            "order.jig.unreadable",
            why = crate::cause::of(&e),
            next = crate::job::near::or_check(path, &e)
        ))
    };
    let size = std::fs::metadata(path).map_err(unread)?.len();
    if size > MOST_BYTES {
        return Err(wrong(text!("order.jig.long").into()));
    }
    let bytes = std::fs::read(path).map_err(unread)?;
    let art = art::open(&bytes, &format!("'{name}'")).map_err(|e| SpotsError::Drawing(e.to_string()))?;
    let Art::Vector(drawing) = art else {
        return Err(wrong(text!("order.jig.pixels").into()));
    };
    of(drawing.page_mm(), &drawing.closed_outlines()).map_err(wrong)
}

/// The spots of outlines on a page of so many mm.
fn of(page: (f64, f64), outlines: &[ClosedOutline]) -> Result<Outlined, String> {
    let holds = |a: &[f64; 4], b: &[f64; 4]| {
        a[0] <= b[0] + TOUCH && a[1] <= b[1] + TOUCH && a[2] >= b[2] - TOUCH && a[3] >= b[3] - TOUCH
    };
    let around = |a: &ClosedOutline| outlines.iter().all(|b| holds(&a.sides, &b.sides));
    let edge = outlines.iter().position(|a| outlines.len() > 1 && around(a));
    let tray = edge.map_or([0.0, 0.0, page.0, page.1], |i| outlines[i].sides);
    let spots: Vec<&ClosedOutline> =
        outlines.iter().enumerate().filter(|(i, _)| Some(*i) != edge).map(|(_, outline)| outline).collect();
    if spots.is_empty() {
        return Err(text!("order.jig.open").into());
    }
    if spots.len() > MOST_SPOTS {
        return Err(text!("order.jig.most", count = spots.len(), most = MOST_SPOTS));
    }
    if let Some(i) = spots.iter().position(|spot| spot.form == Form::Other) {
        return Err(text!("order.jig.crooked", spot = i + 1));
    }
    for (i, ClosedOutline { sides: a, .. }) in spots.iter().enumerate() {
        let over = |b: &&ClosedOutline| {
            let b = b.sides;
            a[0] < b[2] - TOUCH && b[0] < a[2] - TOUCH && a[1] < b[3] - TOUCH && b[1] < a[3] - TOUCH
        };
        if let Some(k) = spots[..i].iter().position(over) {
            return Err(text!("order.jig.overlap", first = k + 1, second = i + 1));
        }
        if !holds(&tray, a) {
            return Err(text!("order.jig.past-page", spot = i + 1));
        }
    }
    // Whole micrometres: a drawing's own units leave 199.999993 of 200 mm.
    let exact = |mm: f64| (mm * 1000.0).round() / 1000.0;
    let area = |ClosedOutline { sides: b, form }: &ClosedOutline| SpotArea {
        corner: (exact(b[0] - tray[0]), exact(tray[3] - b[3])),
        sides: (exact(b[2] - b[0]), exact(b[3] - b[1])),
        round: *form == Form::Ellipse,
    };
    Ok(Outlined {
        tray: (exact(tray[2] - tray[0]), exact(tray[3] - tray[1])),
        spots: spots.into_iter().map(area).collect(),
    })
}

/// The most spots of a drawing: as many as the largest grid has.
const MOST_SPOTS: usize = 10_000;

#[cfg(test)]
mod tests {
    use super::*;

    fn outlines(form: Form, all: &[[f64; 4]]) -> Vec<ClosedOutline> {
        all.iter().map(|&sides| ClosedOutline { sides, form }).collect()
    }

    #[test]
    fn an_outline_around_all_others_is_the_tray() {
        let mut drawn = outlines(
            Form::Rectangle,
            &[[10.0, 10.0, 110.0, 60.0], [15.0, 20.0, 45.0, 50.0], [60.0, 20.0, 100.0, 40.0]],
        );
        // Whatever the edge of the tray looks like.
        (drawn[0].form, drawn[1].form) = (Form::Other, Form::Ellipse);
        let found = of((200.0, 100.0), &drawn).unwrap();
        assert_eq!(found.tray, (100.0, 50.0));
        assert_eq!(found.spots[0], SpotArea { corner: (5.0, 10.0), sides: (30.0, 30.0), round: true });
        assert_eq!(found.spots[1], SpotArea { corner: (50.0, 20.0), sides: (40.0, 20.0), round: false });
        let drawn = outlines(Form::Rectangle, &[[10.0, 10.0, 110.0, 60.0]]);
        let alone = of((199.99999345143635, 99.9999967), &drawn).unwrap();
        assert_eq!((alone.tray, alone.spots[0].corner), ((200.0, 100.0), (10.0, 40.0)));
    }

    #[test]
    fn what_is_no_jig_is_said_in_a_sentence() {
        let page = (100.0, 100.0);
        for (boxes, said) in [
            (vec![], "no closed outline"),
            (vec![[0.0, 0.0, 50.0, 50.0], [40.0, 40.0, 90.0, 90.0]], "spots 1 and 2 overlap"),
            (vec![[0.0, 0.0, 20.0, 20.0], [90.0, 90.0, 120.0, 95.0]], "spot 2 reach past its page"),
        ] {
            let why = of(page, &outlines(Form::Rectangle, &boxes)).unwrap_err();
            assert!(why.contains(said), "{why}");
        }
        let mut two = outlines(Form::Rectangle, &[[0.0, 0.0, 50.0, 50.0], [50.0, 0.0, 90.0, 50.0]]);
        of(page, &two).unwrap();
        two[1].form = Form::Other;
        let why = of(page, &two).unwrap_err();
        assert!(why.starts_with("has spot 2 neither as an upright rectangle"), "{why}");
    }
}
