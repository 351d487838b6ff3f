//! Findings from the forecast: over-burn, under-burn; and the search for what clears them.

use super::{Finding, Remedy, Severity};
use crate::blank::Blank;
use crate::colour::lstar;
use crate::mark::{Beam, Burn, Forecast, Response, Setting, Summary, advise, summary};
use crate::placement::{DotRect, Grid};
use crate::plane::Dots;
use crate::units::{Mm, MmPerS, Share, Watts, short};

/// Charred area above this share of the marked area is a finding.
pub const CHARRED_SHARE: f64 = 0.001;
/// A connected charred patch above this area (mm²) is a finding.
pub const CHARRED_PATCH_MM2: f64 = 1.0;
/// Charred area above this share of the marked area is a stop, as is any patch above
/// [`CHARRED_PATCH_MM2`]: it is seen at arm's length, and a blank cannot be unmarked. Less is a caution:
/// scattered specks.
pub const RUINED_SHARE: f64 = 0.01;
/// A solid counts as fully marked when it looks within so many L* of a full mark: what a practitioner
/// no longer tells apart, and the margin by which the best patch of a wedge is picked.
pub const FULL_WITHIN_LSTAR: f64 = 2.0;
/// Planes up to this many dots are searched whole, larger ones on a window around the worst spot.
const SEARCHED_WHOLE: usize = 1_500_000;
/// Side of that window, dots.
const WINDOW: usize = 1024;

/// One change of the job, to be tried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change {
    /// Another optical power.
    Power(Watts),
    /// Another speed.
    Speed(MmPerS),
    /// Another pitch, across the lines (along them in proportion).
    Pitch(Mm),
    /// Coverage held to a share.
    Ceiling(Share),
}

/// The job worked through again with a change: what the same command with that value would lay down.
#[derive(Debug, Clone)]
pub struct Remade {
    /// The dots.
    pub dots: Dots,
    /// Their pitches.
    pub grid: Grid,
    /// The burn.
    pub burn: Burn,
}

/// Works the job through with a change up to the dots; `None` where it cannot be done or is to stop.
pub type Remake<'a> = dyn Fn(Change) -> Option<Remade> + 'a;

/// What the findings are about.
#[derive(Clone, Copy)]
pub struct Scene<'a> {
    /// The dots.
    pub dots: &'a Dots,
    /// Where they lie.
    pub rect: &'a DotRect,
    /// On what.
    pub blank: &'a Blank,
    /// The beam.
    pub beam: Beam,
    /// The setting.
    pub setting: Setting,
    /// The coating.
    pub response: Response,
    /// The laser's full optical power; remedies name a share of it.
    pub rated_power: Watts,
    /// The fastest the machine marks.
    pub top_speed: MmPerS,
    /// Motor steps per mm across the lines.
    pub steps_per_mm: f64,
    /// Works the job through again.
    pub remake: &'a Remake<'a>,
}

impl Scene<'_> {
    fn burn(&self) -> Burn {
        Burn::new(self.beam, self.setting, self.response)
    }
}

/// What the forecast says about over-burn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verdict {
    /// Charred area, mm².
    pub charred_mm2: f64,
    /// Charred area as a share of the marked area.
    pub share: f64,
    /// The largest connected charred patch, mm².
    pub patch_mm2: f64,
}

impl Verdict {
    /// Reads a summary; `cell_mm2` is the area of a dot's cell.
    pub fn new(summary: &Summary, cell_mm2: f64) -> Self {
        Verdict {
            charred_mm2: summary.charred * cell_mm2,
            share: if summary.charred > 0.0 { summary.charred / summary.marked } else { 0.0 },
            patch_mm2: summary.largest.map_or(0.0, |p| p.area) * cell_mm2,
        }
    }

    /// Whether nothing need be said.
    pub fn clear(&self) -> bool {
        self.share <= CHARRED_SHARE && self.patch_mm2 <= CHARRED_PATCH_MM2
    }

    /// How serious it is.
    pub fn severity(&self) -> Severity {
        if self.patch_mm2 > CHARRED_PATCH_MM2 || self.share > RUINED_SHARE {
            Severity::Stop
        } else {
            Severity::Caution
        }
    }
}

fn cell_mm2(grid: &Grid) -> f64 {
    grid.along.0 * grid.across.0
}

/// `over-burn`: the charred area (char of 5 % and more) is above 0.1 % of the marked area, or a connected
/// patch is above 1 mm². `summary` is that of the scene's dots under its burn.
pub fn over_burn(scene: &Scene, summary: &Summary) -> Option<Finding> {
    let verdict = Verdict::new(summary, cell_mm2(&scene.rect.grid));
    if verdict.clear() {
        return None;
    }
    let worst = summary.largest.map_or(summary.peak_at, |p| p.worst);
    let at = scene.rect.centre(scene.blank, worst.0, worst.1);
    let exposure = f64::from(summary.peak) * scene.burn().x_solid;
    let message = format!(
        "{} mm2 will char, {}% of what is marked; the largest patch {} mm2, worst at {} mm from the left and {} mm from the bottom of the blank (exposure {} J/mm2, char from {} J/mm2)",
        short(verdict.charred_mm2, 2),
        short(verdict.share * 100.0, 2),
        short(verdict.patch_mm2, 2),
        short(at.0, 1),
        short(at.1, 1),
        short(exposure, 2),
        short(scene.response.exposure_at_char(crate::mark::response::OVER_BURN), 2)
    );
    let mut finding = Finding::new("over-burn", verdict.severity(), message);
    finding.area_mm2 = Some(verdict.charred_mm2);
    finding.at_mm = Some(at);
    finding.remedies = cooler(scene, worst);
    Some(finding)
}

/// The share of the dose at which the dots as they are no longer over-burn, 0.05 to 1: by bisection to
/// about one in a hundred, on the whole plane or on a window around the worst spot.
fn cool_enough(scene: &Scene, worst: (usize, usize)) -> Option<f64> {
    let cut;
    let dots = if scene.dots.width() * scene.dots.height() <= SEARCHED_WHOLE {
        scene.dots
    } else {
        cut = window(scene.dots, worst);
        &cut
    };
    let burn = scene.burn();
    let cell = cell_mm2(&scene.rect.grid);
    let clear = |f: f64| {
        let burn = Burn { x_solid: burn.x_solid * f, ..burn };
        Verdict::new(&summary(dots, &Forecast::new(&burn)), cell).clear()
    };
    let (mut low, mut high) = (0.05f64, 1.0f64);
    if !clear(low) {
        return None;
    }
    while high / low > 1.01 {
        let middle = (low * high).sqrt();
        if clear(middle) { low = middle } else { high = middle }
    }
    Some(low)
}

fn window(dots: &Dots, centre: (usize, usize)) -> Dots {
    let (w, h) = (dots.width().min(WINDOW), dots.height().min(WINDOW));
    // From a whole byte on, so that rows are copied as they are.
    let left = centre.0.saturating_sub(w / 2).min(dots.width() - w) / 8 * 8;
    let top = centre.1.saturating_sub(h / 2).min(dots.height() - h);
    let bits = (top..top + h).flat_map(|y| dots.row(y)[left / 8..][..w.div_ceil(8)].iter().copied());
    Dots::from_packed(w, h, bits.collect())
}

/// Remedies for over-burn: faster, weaker, held coverage, wider pitch, each the least change found that
/// clears it when the job is worked through again.
fn cooler(scene: &Scene, worst: (usize, usize)) -> Vec<Remedy> {
    let Some(factor) = cool_enough(scene, worst) else { return Vec::new() };
    let setting = scene.setting;
    let rated = scene.rated_power.0;
    let cleared = |change: Change| -> Option<Remade> {
        let remade = (scene.remake)(change)?;
        let found = summary(&remade.dots, &Forecast::new(&remade.burn));
        Verdict::new(&found, cell_mm2(&remade.grid)).clear().then_some(remade)
    };
    let first = |mut tries: &mut dyn Iterator<Item = (f64, Change)>| {
        Iterator::find_map(&mut tries, |(value, change)| cleared(change).map(|remade| (value, remade)))
    };
    // A remedy that leaves solids pale comes after those that do not.
    let mut found: Vec<(bool, Remedy)> = Vec::new();
    let offer = |change, value: f64, unit, text: String, burn: &Burn| {
        let pale = shortfall(burn);
        let text = match pale {
            Some(mark) => {
                format!("{text}; solids then reach {}% of a full mark only", short(mark * 100.0, 0))
            }
            None => text,
        };
        (pale.is_some(), Remedy { change, value, unit, text, verified: true })
    };

    let percent = setting.power.0 * factor / rated * 100.0;
    let mut tries = [1.0, 0.97, 0.93, 0.88, 0.8]
        .into_iter()
        .map(|s| (percent * s).floor())
        .filter(|&p| p >= 1.0)
        .map(|p| (p, Change::Power(Watts(rated * p / 100.0))));
    if let Some((p, remade)) = first(&mut tries) {
        let watts = Watts(rated * p / 100.0);
        found.push(offer(
            "power",
            p,
            "%",
            format!("lower the power to {}% ({watts})", short(p, 0)),
            &remade.burn,
        ));
    }

    // X goes with v to the power of −s at a given power.
    let s = scene.response.schwarzschild;
    if s > 0.01 {
        let speed = setting.speed.0 * factor.powf(-1.0 / s);
        let step = if speed < 50.0 { 0.1 } else { 1.0 };
        let mut tries = [1.0, 1.03, 1.07, 1.14, 1.25]
            .into_iter()
            .map(|k| ((speed * k / step).ceil() * step * 10.0).round() / 10.0)
            .filter(|&v| v <= scene.top_speed.0)
            .map(|v| (v, Change::Speed(MmPerS(v))));
        if let Some((v, remade)) = first(&mut tries) {
            found.push(offer("speed", v, "mm/s", format!("scan faster, at {}", MmPerS(v)), &remade.burn));
        }
    }

    // Dots cluster, so a ceiling may have to lie well below the dose's share: by halving, in steps of 5 %.
    let (mut low, mut high, mut held) = (3u32, 20u32, None);
    while high - low > 1 {
        let middle = (low + high) / 2;
        match cleared(Change::Ceiling(Share(f64::from(middle) / 20.0))) {
            Some(remade) => (low, held) = (middle, Some(remade)),
            None => high = middle,
        }
    }
    if let Some(remade) = held {
        let c = f64::from(low * 5);
        let text = format!("hold the coverage to {}%", short(c, 0));
        found.push(offer("ceiling", c, "%", text, &remade.burn));
    }

    let steps_per_mm = scene.steps_per_mm;
    if steps_per_mm.is_finite() && steps_per_mm > 0.0 {
        let steps = (setting.pitch_across.0 / factor * steps_per_mm - 1e-6).ceil();
        let mut tries =
            (0..4).map(|i| (steps + f64::from(i)) / steps_per_mm).map(|p| (p, Change::Pitch(Mm(p))));
        // Lines that lie apart would only put one finding in the place of another.
        if let Some((p, remade)) =
            first(&mut tries).filter(|(_, remade)| advise::lines_apart(&remade.burn).is_none())
        {
            let dpi = short(crate::units::MM_PER_INCH / p, 1);
            found.push(offer(
                "pitch",
                p,
                "mm",
                format!("widen the pitch to {} ({dpi} dpi)", Mm(p)),
                &remade.burn,
            ));
        }
    }
    found.sort_by_key(|(pale, _)| *pale);
    found.into_iter().map(|(_, r)| r).collect()
}

/// The mark a solid reaches, 0 to 1, where it falls short of a full mark by more than 2 L*; by the rise
/// alone, for char is another finding.
pub fn shortfall(burn: &Burn) -> Option<f64> {
    let r = &burn.response;
    // On the lines and between them, as far as the mean exposure of a solid goes.
    let reached = r.r(burn.x_solid);
    let look = r.y_unmarked + reached * (r.y_marked - r.y_unmarked);
    ((lstar(look) - lstar(r.y_marked)).abs() > FULL_WITHIN_LSTAR).then_some(reached)
}

/// `under-burn`: a solid does not reach a full mark (within 2 L*) under the burn.
pub fn under_burn(scene: &Scene, summary: &Summary) -> Option<Finding> {
    if summary.dots == 0 {
        return None;
    }
    let burn = scene.burn();
    let reached = shortfall(&burn)?;
    let message = format!(
        "solids reach {}% of a full mark: their exposure of {} J/mm2 is too low for this coating (half a mark at {} J/mm2)",
        short(reached * 100.0, 0),
        short(burn.x_solid, 2),
        short(scene.response.x_half, 2)
    );
    let mut finding = Finding::new("under-burn", Severity::Caution, message);
    if summary.solid_cells > 0 {
        finding.area_mm2 = Some(summary.solid_cells as f64 * cell_mm2(&scene.rect.grid));
        finding.at_mm = summary.solid_at.map(|(x, y)| scene.rect.centre(scene.blank, x, y));
    }
    finding.remedies = hotter(scene, &burn);
    Some(finding)
}

/// Remedies for under-burn: more power, slower, more passes, a closer pitch.
fn hotter(scene: &Scene, burn: &Burn) -> Vec<Remedy> {
    // The exposure at which the shortfall ends, as a multiple of today's, by bisection.
    let full = |f: f64| shortfall(&Burn { x_solid: burn.x_solid * f, ..*burn }).is_none();
    let (mut low, mut high) = (1.0f64, 1000.0f64);
    if !full(high) {
        return Vec::new();
    }
    while high / low > 1.001 {
        let middle = (low * high).sqrt();
        if full(middle) { high = middle } else { low = middle }
    }
    let setting = scene.setting;
    let mut remedies = Vec::new();
    let mut offer =
        |change: &'static str, value: f64, unit: &'static str, text: String, made: Option<Remade>| {
            let verified = made.is_some_and(|m| {
                let found = Verdict::new(&summary(&m.dots, &Forecast::new(&m.burn)), cell_mm2(&m.grid));
                shortfall(&m.burn).is_none() && found.clear()
            });
            // What would clear this but char elsewhere is no remedy.
            if verified {
                remedies.push(Remedy { change, value, unit, text, verified });
            }
        };
    let percent = (setting.power.0 * high / scene.rated_power.0 * 100.0 - 1e-9).ceil();
    if percent <= 100.0 {
        let watts = Watts(scene.rated_power.0 * percent / 100.0);
        let text = format!("raise the power to {}% ({watts})", short(percent, 0));
        offer("power", percent, "%", text, (scene.remake)(Change::Power(watts)));
    }
    let s = scene.response.schwarzschild;
    if s > 0.01 {
        let speed = setting.speed.0 * high.powf(-1.0 / s);
        let slower =
            if speed >= 2.0 { (speed * 10.0).floor() / 10.0 } else { (speed * 100.0).floor() / 100.0 };
        if slower >= 0.05 {
            let text = format!("scan slower, at {}", MmPerS(slower));
            offer("speed", slower, "mm/s", text, (scene.remake)(Change::Speed(MmPerS(slower))));
        }
    }
    let steps_per_mm = scene.steps_per_mm;
    if steps_per_mm.is_finite() && steps_per_mm > 0.0 {
        let pitch = (setting.pitch_across.0 / high * steps_per_mm + 1e-6).floor() / steps_per_mm;
        if pitch > 0.0 && advise::lines_crowded(scene.beam.across, Mm(pitch)).is_none() {
            let dpi = short(crate::units::MM_PER_INCH / pitch, 1);
            let text = format!("narrow the pitch to {} ({dpi} dpi)", Mm(pitch));
            offer("pitch", pitch, "mm", text, (scene.remake)(Change::Pitch(Mm(pitch))));
        }
    }
    remedies
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::response::tests::{POSTER_PAINT, setting};
    use crate::progress::Silent;
    use crate::screen;
    use crate::tone::dot_gain;

    const BLANK: Blank = Blank {
        shape: crate::blank::Shape::Rect { width: Mm(60.0), height: Mm(40.0), radius: Mm(0.0) },
        margin: Mm(2.0),
    };
    const BEAM: Beam = Beam { along: Mm(0.12), across: Mm(0.12) };

    /// A job of a few words: a ramp from light to full with a solid disc, on the blank, by Bayer's screen.
    struct Small {
        setting: Setting,
        response: Response,
    }

    impl Small {
        fn make(&self, change: Option<Change>) -> (Dots, DotRect, Setting) {
            let mut s = self.setting;
            let mut share = 1.0;
            match change {
                Some(Change::Power(w)) => s.power = w,
                Some(Change::Speed(v)) => s.speed = v,
                Some(Change::Pitch(p)) => (s.pitch_along, s.pitch_across) = (p, p),
                Some(Change::Ceiling(c)) => share = c.0,
                None => {}
            }
            let p = s.pitch_across.0;
            let (columns, rows) = ((30.0 / p).round() as usize, (20.0 / p).round() as usize);
            let tone = (0..columns * rows).map(|i| {
                let (x, y) = ((i % columns) as f64 * p, (i / columns) as f64 * p);
                let disc = (x - 8.0).powi(2) + (y - 10.0).powi(2) < 25.0;
                if disc { 1.0 } else { (x / 40.0) as f32 }
            });
            let tone = crate::plane::Tone::from_vec(columns, rows, tone.collect());
            let options = screen::Options::new(Burn::new(BEAM, s, self.response), p, p);
            let bayer = &screen::ordered::BAYER;
            let curve = dot_gain::forecast(bayer, &options);
            let tone = dot_gain::ceiling(curve.apply(tone), share);
            let dots = (bayer.make)(&tone, &options, &Silent);
            let grid = Grid { along: Mm(p), across: Mm(p) };
            (dots, DotRect { left: Mm(15.0), top: Mm(10.0), columns, rows, grid }, s)
        }

        fn findings(&self) -> (Option<Finding>, Option<Finding>) {
            let (dots, rect, setting) = self.make(None);
            let remake = |change| {
                let (dots, rect, setting) = self.make(Some(change));
                Some(Remade { dots, grid: rect.grid, burn: Burn::new(BEAM, setting, self.response) })
            };
            let scene = Scene {
                dots: &dots,
                rect: &rect,
                blank: &BLANK,
                beam: BEAM,
                setting,
                response: self.response,
                rated_power: Watts(5.0),
                top_speed: MmPerS(100.0),
                steps_per_mm: 80.0,
                remake: &remake,
            };
            let s = summary(&dots, &Forecast::new(&scene.burn()));
            (over_burn(&scene, &s), under_burn(&scene, &s))
        }
    }

    fn at(dpi: f64) -> Small {
        Small { setting: setting(4.5, dpi), response: POSTER_PAINT }
    }

    #[test]
    fn at_304_dpi_poster_paint_is_fully_marked_and_not_charred() {
        // Fact of the trade (common practice): 304 dpi, 5 W at 90 %, 12.5 mm/s.
        assert_eq!(at(304.0).findings(), (None, None));
    }

    #[test]
    fn doubled_density_chars_and_each_remedy_really_clears_it() {
        let small = at(608.0);
        let finding = small.findings().0.unwrap();
        assert_eq!((finding.name, finding.severity), ("over-burn", Severity::Stop));
        // The disc of 78.5 mm2 is charred through; its middle lies 23 mm from the left, 20 from the bottom.
        let (x, y) = finding.at_mm.unwrap();
        assert!(finding.area_mm2.unwrap() > 60.0 && (x - 23.0).hypot(y - 20.0) < 5.5, "{finding:?}");
        for change in ["power", "speed", "pitch", "ceiling"] {
            let found = finding.remedies.iter().find(|r| r.change == change);
            let remedy = found.unwrap_or_else(|| panic!("no {change} in {finding:#?}"));
            assert!(remedy.verified, "{remedy:?}");
            let change = match change {
                "power" => Change::Power(Watts(5.0 * remedy.value / 100.0)),
                "speed" => Change::Speed(MmPerS(remedy.value)),
                "pitch" => Change::Pitch(Mm(remedy.value)),
                _ => Change::Ceiling(Share(remedy.value / 100.0)),
            };
            let (dots, rect, setting) = small.make(Some(change));
            let burn = Burn::new(BEAM, setting, POSTER_PAINT);
            let v = Verdict::new(&summary(&dots, &Forecast::new(&burn)), cell_mm2(&rect.grid));
            assert!(v.clear(), "{remedy:?} {v:?}");
        }
        let power = finding.remedies.iter().find(|r| r.change == "power").unwrap();
        // Solids char from 6.23 J/mm2 (9 * 19^(-1/8)) at the ripple's crest; 8.62 J/mm2 at 90 %.
        assert!((60.0..=66.0).contains(&power.value), "{power:?}");
    }

    #[test]
    fn a_coating_that_wants_more_is_under_burnt_and_slower_clears_it() {
        // Zinc spray wants about twice the dose (common practice).
        let zinc = Response { y_marked: 0.42, x_half: 5.0, x_char: 20.0, ..POSTER_PAINT };
        let (over, under) = Small { setting: setting(4.5, 304.0), response: zinc }.findings();
        let under = under.unwrap();
        assert!(over.is_none() && under.message.contains("28% of a full mark"), "{}", under.message);
        assert!(
            !under.remedies.is_empty() && under.remedies.iter().all(|r| r.verified && r.change != "power")
        );
        assert!(under.remedies.iter().any(|r| r.change == "speed" && r.value < 12.5));
    }

    #[test]
    fn a_window_keeps_the_worst_spot() {
        let mut dots = Dots::off(3000, 2000);
        dots.set(2990, 5, true);
        assert_eq!((window(&dots, (2990, 5)).count(), window(&dots, (5, 5)).count()), (1, 0));
    }
}
