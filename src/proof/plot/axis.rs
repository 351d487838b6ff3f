//! Axis: what it shows, from where to where, and its ticks.

use crate::units::short;

/// An axis of a plot.
#[derive(Debug, Clone, PartialEq)]
pub struct PlotAxis {
    /// What it shows, with its unit.
    pub title: String,
    /// Value at its start.
    pub from: f64,
    /// Value at its end.
    pub to: f64,
    log: bool,
    ticks: Vec<(f64, String)>,
}

impl PlotAxis {
    /// Equal steps for equal differences, with up to eight round ticks.
    pub fn linear(title: &str, from: f64, to: f64) -> Self {
        let step = round_step(to - from);
        let ticks: Vec<f64> = (0..=20)
            .map(|i| (from / step).ceil() * step + step * f64::from(i))
            .filter(|v| *v <= to)
            .collect();
        PlotAxis { title: title.into(), from, to, log: false, ticks: Vec::new() }.with_ticks(&ticks)
    }

    /// Equal steps for equal ratios; both ends above zero. It has no ticks but those it is given.
    pub fn log(title: &str, from: f64, to: f64) -> Self {
        PlotAxis { title: title.into(), from, to, log: true, ticks: Vec::new() }
    }

    /// With ticks at those values, each with its figure.
    pub fn with_ticks(self, values: &[f64]) -> Self {
        let ticks = values.iter().map(|&v| (v, short(v, 3))).collect();
        PlotAxis { ticks, ..self }
    }

    /// With those ticks, each a value and what stands beside it.
    pub fn with_labels(self, ticks: Vec<(f64, String)>) -> Self {
        PlotAxis { ticks, ..self }
    }

    /// How far along the axis a value lies, 0 at its start and 1 at its end.
    pub(super) fn share(&self, value: f64) -> f64 {
        if self.log {
            (value.max(1e-9) / self.from).ln() / (self.to / self.from).ln()
        } else {
            (value - self.from) / (self.to - self.from)
        }
    }

    /// The ticks that lie on the axis; a value that rounding has put beyond an end counts as that end.
    pub(super) fn shown_ticks(&self) -> impl Iterator<Item = (f64, &str)> {
        let (slack, ends) =
            (1e-9 + 1e-4 * self.to.abs() * f64::from(u8::from(self.log)), (self.from, self.to));
        self.ticks
            .iter()
            .filter(move |t| (ends.0 - 1e-9..=ends.1 + slack).contains(&t.0))
            .map(|t| (t.0, t.1.as_str()))
    }
}

/// A step of 1, 2 or 5 times a power of ten that divides a span into at most seven.
fn round_step(span: f64) -> f64 {
    let p = 10f64.powf((span / 5.0).log10().floor());
    [1.0, 2.0, 5.0, 10.0].iter().map(|m| m * p).find(|s| span / s <= 7.0).unwrap_or(p * 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_lie_within() {
        let a = PlotAxis::linear("lag", -0.13, 0.31);
        let labels: Vec<&str> = a.shown_ticks().map(|t| t.1).collect();
        assert_eq!(labels, ["-0.1", "0", "0.1", "0.2", "0.3"]);
        let b = PlotAxis::log("X", 0.2, 30.0).with_ticks(&[0.1, 0.2, 1.0, 30.0, 50.0]);
        assert_eq!(b.shown_ticks().map(|t| t.0).collect::<Vec<_>>(), [0.2, 1.0, 30.0]);
    }

    #[test]
    fn a_log_axis_has_equal_ratios_equally_far() {
        let a = PlotAxis::log("X", 1.0, 100.0);
        assert!((a.share(10.0) - 0.5).abs() < 1e-12 && (a.share(100.0) - 1.0).abs() < 1e-12);
    }
}
