//! Parts: what is burnt one after the other, each at its own setting, and in which order.

use crate::placement::DotRect;
use crate::plane::Dots;
use crate::wedge::spread::square;
use crate::wedge::target::Dial;

/// A part of the wedge that is burnt at one setting.
#[derive(Debug, Clone, PartialEq)]
pub struct BurntPart {
    /// Name for the program's comments.
    pub name: String,
    /// Power, speed, passes.
    pub dial: Dial,
    /// Its dots.
    pub dots: Dots,
    /// Where they lie.
    pub rect: DotRect,
    /// Which way its lines run.
    pub way: Way,
}

/// What the names of patches begin with.
pub(super) const PATCH: &str = "PATCH";
/// What those of combs begin with; all others are labels and finder marks.
pub(super) const COMB: &str = "COMB";

impl BurntPart {
    /// Whether it is a patch.
    pub fn is_patch(&self) -> bool {
        self.name.starts_with(PATCH)
    }

    /// Whether it is a finder mark or the labels.
    pub fn is_sign(&self) -> bool {
        !self.is_patch() && !self.name.starts_with(COMB)
    }
}

/// Direction of a part's lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Both ways in turn, as the machine marks pictures.
    Both,
    /// Towards growing x only.
    Right,
    /// Towards falling x only.
    Left,
}

/// Orders parts so that each is far from the last few: every patch meets a cool neighbourhood.
pub(super) fn spread_heat(parts: Vec<BurntPart>) -> Vec<BurntPart> {
    let middle = |p: &BurntPart| (p.rect.left.0 + p.rect.width() / 2.0, p.rect.top.0 + p.rect.height() / 2.0);
    let mut rest: Vec<Option<BurntPart>> = parts.into_iter().map(Some).collect();
    let mut out: Vec<BurntPart> = Vec::with_capacity(rest.len());
    while out.len() < rest.len() {
        let heat = |p: &BurntPart| {
            let (x, y) = middle(p);
            out.iter()
                .rev()
                .take(4)
                .enumerate()
                .map(|(age, q)| {
                    let (qx, qy) = middle(q);
                    1.0 / (square(x - qx) + square(y - qy) + 1.0) / (age + 1) as f64
                })
                .sum::<f64>()
        };
        let next = rest
            .iter()
            .enumerate()
            .filter_map(|(i, p)| p.as_ref().map(|p| (i, heat(p))))
            .min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        match next.and_then(|(i, _)| rest.get_mut(i).and_then(Option::take)) {
            Some(p) => out.push(p),
            None => break,
        }
    }
    out
}
