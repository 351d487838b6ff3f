//! What a program says of itself that whoever replays it reads: its blank, where its dots lie, its run-up, its lag and its
//! full power and the watts of that; each as it is written and as it is read.

use crate::blank::{Blank, Shape};
use crate::placement::{DotRect, Grid};
use crate::scan::limits::{BeamLag, Limits};
use crate::scan::number::thousandths;
use crate::scan::raster::RasterPath;
use crate::units::{Mm, Share, Watts, short};

const BLANK: &str = "blank: ";
const MARGIN: &str = ", margin ";
const GRID: &str = "grid: ";
const SPEED: &str = "speed ";
const LEVEL: &str = ", S ";
const OF_FULL: &str = " of ";
const RUN_UP: &str = ", run-up ";
const FULL_POWER: &str = "full power is S ";
const LAG: &str = "lag ";
const POWER: &str = "power ";
const POWER_OF_PIECES: &str = ", power ";

/// Its blank.
pub fn blank(blank: &Blank) -> String {
    format!("{BLANK}{}{MARGIN}{}", blank.shape, blank.margin)
}

/// Where its dots lie.
pub fn grid(rect: &DotRect) -> String {
    format!(
        "{GRID}{} x {} dots, pitch {} x {} mm, left {} mm, top {} mm",
        rect.columns,
        rect.rows,
        // Over 10 000 dots seven decimals come to half a µm.
        short(rect.grid.along.0, 7),
        short(rect.grid.across.0, 7),
        short(rect.left.0, 7),
        short(rect.top.0, 7)
    )
}

/// Its speed, power, passes and run-up.
pub fn speed(path: &RasterPath) -> String {
    format!(
        "{SPEED}{} mm/s{LEVEL}{}{OF_FULL}{}, passes {}{RUN_UP}{} mm",
        short(path.scan.speed, 4),
        path.level,
        path.limits.full_scale_s,
        path.scan.passes,
        thousandths(path.run_up.into())
    )
}

/// The full power of its machine, where it has parts of several speeds and powers.
pub fn full_power(limits: &Limits) -> String {
    format!("{FULL_POWER}{}", limits.full_scale_s)
}

/// Its power as a share of that of its laser.
pub fn power(power: Share, laser: Watts) -> String {
    format!("{POWER}{power}{OF_FULL}{laser}")
}

/// The lag that it takes up: a program of one speed says how far, one of several speeds how late. `None`: none.
pub fn lag(lag: BeamLag) -> Option<String> {
    let (value, unit) = match lag {
        BeamLag::Seconds(s) => (s * 1000.0, "ms"),
        BeamLag::Mm(mm) => (mm, "mm"),
    };
    (value != 0.0)
        .then(|| format!("{LAG}{} {unit} along the motion, taken up in the coordinates", short(value, 3)))
}

/// What the comments of a program's head say.
#[derive(Debug)]
pub struct Heard {
    /// Its blank.
    pub blank: Option<Blank>,
    /// Where its dots lie.
    pub rect: Option<DotRect>,
    /// Its run-up, mm; 0 where nothing is said of it.
    pub run_up: f64,
    /// The lag that it takes up.
    pub lag: BeamLag,
    /// The S word that is full power on the machine that it was written for.
    pub full_scale_s: Option<u32>,
    /// The power of its laser.
    pub laser: Option<Watts>,
}

impl Default for Heard {
    fn default() -> Self {
        Heard { blank: None, rect: None, run_up: 0.0, lag: BeamLag::Mm(0.0), full_scale_s: None, laser: None }
    }
}

impl Heard {
    /// Takes in one comment.
    pub fn hear(&mut self, text: &str) {
        if let Some(said) = text.strip_prefix(BLANK) {
            self.blank = read_blank(said).or(self.blank);
        } else if let Some(said) = text.strip_prefix(GRID) {
            self.rect = read_grid(said).or(self.rect);
        } else if let Some(said) = text.strip_prefix(LAG) {
            self.lag = read_lag(said).unwrap_or(self.lag);
        } else if let Some(said) = text.strip_prefix(FULL_POWER) {
            self.full_scale_s = self.full_scale_s.or(full_scale(said));
        } else if let Some((said, run_up)) = text.strip_prefix(SPEED).and_then(|t| t.split_once(RUN_UP)) {
            self.run_up = numbers(run_up).next().unwrap_or(0.0).clamp(0.0, 2000.0);
            let full = said.split_once(LEVEL).and_then(|(_, level)| level.split_once(OF_FULL));
            self.full_scale_s = self.full_scale_s.or(full.and_then(|(_, full)| full_scale(full)));
        } else if let Some(said) = text.strip_prefix(POWER) {
            self.laser = self.laser.or(read_laser(said));
        } else if let Some((_, said)) = text.split_once(POWER_OF_PIECES).filter(|_| text.starts_with("piece"))
        {
            self.laser = self.laser.or(read_laser(said));
        }
    }
}

/// The numbers among the words of a comment.
fn numbers(text: &str) -> impl Iterator<Item = f64> {
    let words = text.split([' ', ',']).filter(|w| w.starts_with(|c: char| c.is_ascii_digit() || c == '-'));
    words.filter_map(|w| w.parse().ok())
}

fn read_blank(said: &str) -> Option<Blank> {
    let mut words = said.split([',', ' ']).filter(|w| !w.is_empty());
    let shape: Shape = words.next()?.parse().ok()?;
    // A program of another origin may name its blank alone.
    let margin: Option<Mm> = words.next_back().and_then(|w| w.parse().ok());
    Some(Blank { shape, margin: margin.unwrap_or(Mm(0.0)) })
}

fn read_grid(said: &str) -> Option<DotRect> {
    let numbers: Vec<f64> = numbers(said).collect();
    let [columns, rows, along, across, left, top] = numbers[..] else { return None };
    let real = (1.0..=1e6).contains(&columns)
        && (1.0..=1e6).contains(&rows)
        && columns * rows <= 1e10
        && (0.001..=1000.0).contains(&along)
        && (0.001..=1000.0).contains(&across);
    let grid = Grid { along: Mm(along), across: Mm(across) };
    let (columns, rows) = (columns as usize, rows as usize);
    real.then_some(DotRect { left: Mm(left), top: Mm(top), columns, rows, grid })
}

fn read_lag(said: &str) -> Option<BeamLag> {
    let mut words = said.split([' ', ',']);
    let value: f64 = words.next()?.parse().ok()?;
    match words.next()? {
        "ms" => Some(BeamLag::Seconds(value.clamp(-50.0, 50.0) / 1000.0)),
        "mm" => Some(BeamLag::Mm(value.clamp(-5.0, 5.0))),
        _ => None,
    }
}

/// The power of a laser of which a text names a share: `90 percent of 5W, assumed`.
fn read_laser(said: &str) -> Option<Watts> {
    let (share, rest) = said.split_once(OF_FULL)?;
    let (number, _) = share.split_once(" percent").filter(|(_, rest)| rest.is_empty())?;
    number.parse::<f64>().ok()?;
    let laser: Watts = rest.split([' ', ',']).next()?.parse().ok()?;
    (laser.0 > 0.0).then_some(laser)
}

/// The full power that a text begins with.
fn full_scale(said: &str) -> Option<u32> {
    let digits = said.find(|c: char| !c.is_ascii_digit()).map_or(said, |end| &said[..end]);
    digits.parse().ok().filter(|s| (1..=100_000).contains(s))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::placement::Along;
    use crate::scan::comments::{Notes, comments};
    use crate::scan::raster::Scan;
    use proptest::prelude::*;

    /// What is heard of comment lines, with their parentheses.
    fn heard(lines: &[String]) -> Heard {
        let mut heard = Heard::default();
        for line in lines {
            heard.hear(line.strip_prefix('(').and_then(|l| l.strip_suffix(')')).unwrap());
        }
        heard
    }

    #[test]
    fn what_only_sounds_like_it_is_not_taken_for_it() {
        let mut lines = Vec::new();
        for text in [
            "speed 12.5mm/s, assumed",
            "speed from a run-up of 9 mm",
            "blank 3",
            "lag measured by a comb",
            "lag 3 parts of 4",
            "grid: three by four",
            "full power is S 0",
            "full moon at 9",
            "patch a1: power 54%, speed 12.5 mm/s",
            "power 54% of what it has",
            "power from 3 of 5W",
            "power 54% of 0W",
            "job: piece 3, power 54% of 5W",
        ] {
            comments(text, &mut lines);
        }
        let heard = heard(&lines);
        assert!(heard.blank.is_none() && heard.rect.is_none() && heard.full_scale_s.is_none(), "{heard:?}");
        assert_eq!((heard.run_up, heard.lag, heard.laser), (0.0, BeamLag::Mm(0.0), None));
    }

    #[test]
    fn the_power_of_its_laser_is_read_back() {
        let own = format!("{}, assumed", power(Share(0.825), Watts(7.5)));
        for text in [own.clone(), format!("pieces 1 to 3: slate on diode, {own}, speed 9mm/s")] {
            let mut lines = Vec::new();
            comments(&text, &mut lines);
            assert_eq!(heard(&lines).laser, Some(Watts(7.5)), "{lines:?}");
        }
    }

    fn shape() -> impl Strategy<Value = Shape> {
        // Whole micrometres.
        let mm = || (20_000..200_000u32).prop_map(|um| Mm(f64::from(um) / 1000.0));
        prop_oneof![
            mm().prop_map(|diameter| Shape::Round { diameter }),
            (mm(), mm(), 0..10_000u32).prop_map(|(width, height, r)| Shape::Rect {
                width,
                height,
                radius: Mm(f64::from(r) / 1000.0)
            }),
            (mm(), any::<bool>()).prop_map(|(height, closed)| Shape::Cylinder {
                diameter: Mm(60.5),
                height,
                closed
            }),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(500))]

        #[test]
        fn what_a_program_says_of_itself_is_read_back(
            (shape, margin) in (shape(), 0..50u32),
            (columns, rows) in (1..2000usize, 1..2000usize),
            (along, across) in (0.01..0.3f64, 0.01..0.3f64),
            (left, top) in (-20.0..20.0f64, -20.0..20.0f64),
            (speed, power, passes) in (0.1..150.0f64, 0.01..1.0f64, 1..=20u32),
            (run_up, trim) in (proptest::option::of(0.0..60.0f64), 0.0..0.04f64),
            (full_scale_s, lag_ms) in (1..=100_000u32, prop_oneof![Just(0.0), -9.0..9.0f64]),
            (backwards, upright) in any::<(bool, bool)>(),
            (job, setting, caution) in ("\\PC{0,80}", "\\PC{0,80}", "\\PC{0,300}"),
        ) {
            let mut limits = Limits { full_scale_s, lag: BeamLag::Seconds(lag_ms / 1000.0), ..Limits::default() };
            limits.x.backwards = backwards;
            let scan = Scan {
                passes,
                run_up,
                trim,
                along: if upright { Along::Y } else { Along::X },
                ..Scan::new(speed, power)
            };
            let blank = Blank { shape, margin: Mm(f64::from(margin) / 10.0) };
            let grid = Grid { along: Mm(along), across: Mm(across) };
            let rect = DotRect { left: Mm(left), top: Mm(top), columns, rows, grid };
            let path = RasterPath::new(&limits, scan, rect, blank).unwrap();
            let notes = Notes { job, settings: vec![setting], cautions: vec![caution] };
            let heard = heard(&notes.of_raster(&path));
            prop_assert_eq!(heard.blank, Some(blank));
            let found = heard.rect.unwrap();
            prop_assert_eq!((found.columns, found.rows), (columns, rows));
            let of = |r: &DotRect| [r.grid.along.0, r.grid.across.0, r.left.0, r.top.0];
            for (found, meant) in of(&found).into_iter().zip(of(&path.rect)) {
                prop_assert!((found - meant).abs() <= 0.51e-7, "{} {}", found, meant);
            }
            prop_assert!((heard.run_up - f64::from(path.run_up) / 1000.0).abs() < 1e-9);
            let BeamLag::Mm(lag) = heard.lag else { panic!("{heard:?}") };
            let own = if path.grows() { path.lag } else { -path.lag };
            prop_assert!((lag - f64::from(own) / 1000.0).abs() < 1e-9, "{} {}", lag, own);
            prop_assert_eq!(heard.full_scale_s, Some(full_scale_s));
        }

        #[test]
        fn a_program_of_several_speeds_says_its_full_power_and_how_late_its_beam_is(
            full_scale_s in 1..=100_000u32,
            us in prop_oneof![-50_000..0i32, 1..50_000i32],
        ) {
            let late = BeamLag::Seconds(f64::from(us) / 1e6);
            let lines = [full_power(&Limits { full_scale_s, ..Limits::default() }), lag(late).unwrap()];
            let heard = heard(&lines.map(|said| format!("({said})")));
            prop_assert_eq!(heard.full_scale_s, Some(full_scale_s));
            let BeamLag::Seconds(found) = heard.lag else { panic!("{heard:?}") };
            prop_assert!((found - f64::from(us) / 1e6).abs() < 1e-12);
        }
    }
}
