//! The small words of a job: each is read from and printed as the same short text, on the command line
//! and in job files alike.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::art::{Kind, Window};
pub use crate::encode::BeamOn;
pub use crate::encode::tiff::Packing;
pub use crate::placement::{Align, Along, Anchor, Offset};
pub use crate::scan::limits::PowerMode;
pub use crate::scan::raster::Ways;
use crate::texts::{self, text};
use crate::units::{Mm, Share};

/// Serialises through `Display` and `FromStr`.
macro_rules! as_text {
    ($($name:ty),+) => {$(
        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
                s.collect_str(self)
            }
        }
        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
                String::deserialize(d)?.parse().map_err(serde::de::Error::custom)
            }
        }
    )+};
}

/// Gives an enum its words: `Display` and `FromStr`; the text of its name says of another word that it is none of them.
macro_rules! worded {
    ($name:ty, $what:literal { $($value:ident = $word:literal),+ $(,)? }) => {
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(match self { $(<$name>::$value => $word),+ })
            }
        }
        impl FromStr for $name {
            type Err = String;
            fn from_str(text: &str) -> Result<Self, String> {
                match text.trim() {
                    $($word => Ok(<$name>::$value),)+
                    other => Err(texts::filled(
                        &format!("job.choose.{}", $what),
                        &[("text", &other), ("words", &[$($word),+].join(", "))],
                    )),
                }
            }
        }
    };
}

/// An enum whose values are single words.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident, $what:literal { $($(#[$vdoc:meta])* $value:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum $name { $($(#[$vdoc])* $value),+ }

        worded!($name, $what { $($value = $word),+ });
        as_text!($name);
    };
}

words! {
    /// How the art is read.
    ReadAs, "read-as" {
        /// Decided from the file.
        Auto = "auto",
        /// The look of its tones is kept.
        Photo = "photo",
        /// Its ink is marked.
        Drawing = "drawing",
        /// It is drawn or printed on paper: shadow and colour of the paper are taken away, its ink is marked.
        Paper = "paper",
    }
}

impl From<Kind> for ReadAs {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Photo => ReadAs::Photo,
            Kind::Drawing => ReadAs::Drawing,
            Kind::Paper => ReadAs::Paper,
        }
    }
}

words! {
    /// A value of a job that is filled in where nobody asks for it.
    #[derive(PartialOrd, Ord)]
    FilledIn, "unsaid" {
        /// The machine.
        Machine = "machine",
        /// The coating.
        Coating = "coating",
        /// The outline of the blank.
        Blank = "blank",
        /// What the blank's surface looks like.
        Surface = "surface",
        /// The pitch along the lines.
        Pitch = "pitch",
        /// The power setting.
        Power = "power",
        /// The speed while marking.
        Speed = "speed",
        /// The passes over each line.
        Passes = "passes",
    }
}

words! {
    /// How tones are made.
    ToneBy, "tone-by" {
        /// By dots of one power.
        Dots = "dots",
        /// By the power of the moment, without dots.
        Power = "power",
    }
}

/// How long a burn may take.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum BurnTime {
    /// As short as it can be while it looks as good.
    #[default]
    Auto,
    /// No more than this share of the time with dots on all lines, above 0 and at most 1.
    Share(Share),
}

impl fmt::Display for BurnTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            BurnTime::Auto => f.write_str("auto"),
            BurnTime::Share(share) => write!(f, "{share}"),
        }
    }
}

impl FromStr for BurnTime {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        match text.trim() {
            "auto" => Ok(BurnTime::Auto),
            text => {
                let share: Share = text.parse().map_err(|e: crate::units::UnitError| e.to_string())?;
                if share.0 > 0.0 && share.0 <= 1.0 {
                    Ok(BurnTime::Share(share))
                } else {
                    Err(text!("job.word.time", share))
                }
            }
        }
    }
}

as_text!(BurnTime);

worded!(BeamOn, "beam-on" { Black = "black", White = "white" });
worded!(Packing, "packing" { Group4 = "group4", PackBits = "packbits" });
worded!(Ways, "direction" { Both = "both", One = "one", Back = "back" });
worded!(Along, "axis" { X = "x", Y = "y" });
worded!(Anchor, "anchor" {
    Middle = "middle",
    Top = "top",
    Bottom = "bottom",
    Left = "left",
    Right = "right",
    TopLeft = "top-left",
    TopRight = "top-right",
    BottomLeft = "bottom-left",
    BottomRight = "bottom-right",
});
worded!(Align, "align" { Left = "left", Middle = "middle", Right = "right" });
worded!(PowerMode, "power-mode" { Constant = "constant", SpeedScaled = "speed-scaled" });

/// Stretching the tones before all else.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Levels {
    /// As they are.
    Off,
    /// What a photo lacks, within bounds; drawings are left alone.
    Fitting,
    /// The darkest and lightest tones become black and white, after clipping this share at either end.
    Auto(Share),
    /// These lightnesses (L* as a share of 100) become black and white.
    Given(Share, Share),
}

impl fmt::Display for Levels {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Levels::Off => f.write_str("off"),
            Levels::Fitting => f.write_str("auto"),
            Levels::Auto(clip) => write!(f, "auto:{clip}"),
            Levels::Given(a, b) => write!(f, "{a},{b}"),
        }
    }
}

impl FromStr for Levels {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let share = |t: &str| t.parse::<Share>().map_err(|e| e.to_string());
        let t = text.trim();
        match t {
            "off" => return Ok(Levels::Off),
            "auto" => return Ok(Levels::Fitting),
            _ => {}
        }
        if let Some(clip) = t.strip_prefix("auto:") {
            let clip = share(clip)?;
            return if clip.0 <= 0.2 {
                Ok(Levels::Auto(clip))
            } else {
                Err(text!("job.word.levels.clip", text = t))
            };
        }
        let (a, b) = t.split_once(',').ok_or_else(|| text!("job.word.levels", text = t))?;
        let (a, b) = (share(a)?, share(b)?);
        if b.0 - a.0 >= 0.05 { Ok(Levels::Given(a, b)) } else { Err(text!("job.word.levels.near", text = t)) }
    }
}

/// More or less of something, by hand: from −100 % to 100 %, held as −1 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Nudge(pub f64);

impl fmt::Display for Nudge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 == 0.0 {
            f.write_str("off")
        } else {
            write!(f, "{}%", crate::units::short(self.0 * 100.0, 6))
        }
    }
}

impl FromStr for Nudge {
    type Err = String;
    /// `20`, `20%`, `+20 %`, `-12,5` and `off` are all taken.
    fn from_str(text: &str) -> Result<Self, String> {
        let t = text.trim();
        if t == "off" {
            return Ok(Nudge(0.0));
        }
        let number =
            t.trim_end_matches('%').trim_end().trim_start_matches('+').replace(',', ".").replace('−', "-");
        match number.parse::<f64>() {
            Ok(n) if (-100.0..=100.0).contains(&n) => Ok(Nudge(n / 100.0)),
            Ok(n) if n.is_finite() => Err(text!("job.word.nudge.range", text = t)),
            _ => Err(text!("job.word.nudge", text = t)),
        }
    }
}

/// An amount that may be off: local contrast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Amount(pub Share);

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0.0 == 0.0 { f.write_str("off") } else { write!(f, "{}", self.0) }
    }
}

impl FromStr for Amount {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        match text.trim() {
            "off" => Ok(Amount(Share(0.0))),
            t => t.parse().map(Amount).map_err(|e: crate::units::UnitError| e.to_string()),
        }
    }
}

/// Sharpening: off, or a radius in mm and an amount.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sharpen {
    /// None.
    Off,
    /// Unsharp masking.
    Mask {
        /// Radius (standard deviation of the blur) on the piece.
        radius: Mm,
        /// How much of the difference is added, 0 to 3 (300 %).
        amount: f64,
    },
}

impl fmt::Display for Sharpen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Sharpen::Off => f.write_str("off"),
            Sharpen::Mask { radius, amount } => {
                write!(f, "{}mm,{}%", radius.0, crate::units::short(amount * 100.0, 6))
            }
        }
    }
}

impl FromStr for Sharpen {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let t = text.trim();
        if t == "off" {
            return Ok(Sharpen::Off);
        }
        let (radius, amount) = match t.split_once(',') {
            None => (t, 1.0),
            Some((r, a)) => {
                let a = a.trim().strip_suffix('%').and_then(|n| n.trim().parse::<f64>().ok());
                (r, a.ok_or_else(|| text!("job.word.sharpen", text = t))? / 100.0)
            }
        };
        let radius: Mm = radius.parse().map_err(|e: crate::units::UnitError| e.to_string())?;
        if !(0.01..=5.0).contains(&radius.0) || !(0.0..=3.0).contains(&amount) {
            return Err(text!("job.word.sharpen.range", text = t));
        }
        Ok(Sharpen::Mask { radius, amount })
    }
}

/// A tone curve over lightness (L* as a share of 100): points `in:out`, or straight.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CurvePoints(pub Vec<(Share, Share)>);

impl fmt::Display for CurvePoints {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0.is_empty() {
            return f.write_str("off");
        }
        let points: Vec<String> = self.0.iter().map(|(a, b)| format!("{a}:{b}")).collect();
        f.write_str(&points.join(","))
    }
}

impl FromStr for CurvePoints {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let t = text.trim();
        if t == "off" {
            return Ok(CurvePoints::default());
        }
        let mut points = Vec::new();
        for p in t.split(',') {
            let (a, b) = p.split_once(':').ok_or_else(|| text!("job.word.curve.point", point = p))?;
            let share = |t: &str| t.parse::<Share>().map_err(|e| e.to_string());
            points.push((share(a)?, share(b)?));
        }
        let rising = points.windows(2).all(|w| w[1].0.0 > w[0].0.0 && w[1].1.0 >= w[0].1.0);
        if points.len() < 2 || points.len() > 32 || !rising {
            return Err(text!("job.word.curve", text = t));
        }
        Ok(CurvePoints(points))
    }
}

/// Which part of the art is used: fractions of its width and height from the upper left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crop {
    /// Left edge.
    pub left: Share,
    /// Top edge.
    pub top: Share,
    /// Width.
    pub width: Share,
    /// Height.
    pub height: Share,
}

impl Crop {
    /// All of it.
    pub const WHOLE: Crop = Crop { left: Share(0.0), top: Share(0.0), width: Share(1.0), height: Share(1.0) };

    /// The same as a window on the art.
    pub fn window(self) -> Window {
        let (left, top) = (self.left.0, self.top.0);
        let end = |v: f64| v.min(1.0);
        Window { left, top, right: end(left + self.width.0), bottom: end(top + self.height.0) }
    }
}

impl fmt::Display for Crop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if *self == Crop::WHOLE {
            return f.write_str("off");
        }
        let p = |s: Share| format!("{}%", crate::units::short(s.0 * 100.0, 10));
        write!(f, "{},{},{},{}", p(self.left), p(self.top), p(self.width), p(self.height))
    }
}

impl FromStr for Crop {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let t = text.trim();
        if t == "off" {
            return Ok(Crop::WHOLE);
        }
        let parts: Vec<Share> =
            t.split(',').map(|p| p.parse::<Share>().map_err(|e| e.to_string())).collect::<Result<_, _>>()?;
        let [left, top, width, height] = parts[..] else {
            return Err(text!("job.word.crop", text = t));
        };
        let fits = |start: Share, size: Share| size.0 >= 0.001 && start.0 + size.0 <= 1.0 + 1e-9;
        if fits(left, width) && fits(top, height) {
            Ok(Crop { left, top, width, height })
        } else {
            Err(text!("job.word.crop.past", text = t))
        }
    }
}

/// Where the dot-gain curve comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum DotGain {
    /// None: coverage is the wanted mark.
    Off,
    /// Forecast on flat patches, or the process's own measured curve for this screen.
    Forecast,
    /// A measured tone curve in a file.
    File(String),
}

impl fmt::Display for DotGain {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            DotGain::Off => f.write_str("off"),
            DotGain::Forecast => f.write_str("forecast"),
            DotGain::File(path) => f.write_str(path),
        }
    }
}

impl FromStr for DotGain {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        Ok(match text.trim() {
            "off" => DotGain::Off,
            "forecast" => DotGain::Forecast,
            "" => return Err(text!("job.word.dot-gain").into()),
            path => DotGain::File(path.to_string()),
        })
    }
}

as_text!(Ways, Along, PowerMode, Anchor, Align, Offset);
as_text!(Levels, Nudge, Amount, Sharpen, CurvePoints, Crop, DotGain, crate::placement::Place);

#[cfg(test)]
mod tests {
    use super::*;

    fn same<T: FromStr + fmt::Display>(text: &str)
    where
        T::Err: fmt::Debug,
    {
        assert_eq!(text.parse::<T>().unwrap().to_string(), text);
    }

    #[test]
    fn words_are_printed_as_they_are_read() {
        same::<Levels>("off");
        same::<Levels>("auto");
        same::<Levels>("auto:0.5%");
        same::<Levels>("5%,95%");
        same::<Amount>("30%");
        same::<Nudge>("-20%");
        for text in ["20", "20%", "+20%", " 20 %", "20,0", "+20"] {
            assert_eq!(text.parse::<Nudge>(), Ok(Nudge(0.2)), "{text}");
        }
        same::<Sharpen>("0.2mm,80%");
        same::<CurvePoints>("0%:0%,50%:60%,100%:100%");
        same::<Crop>("10%,0%,80%,100%");
        same::<DotGain>("forecast");
        same::<ReadAs>("drawing");
    }

    #[test]
    fn wrong_words_say_what_to_write() {
        for e in [
            "maybe".parse::<ReadAs>().unwrap_err(),
            "95%,5%".parse::<Levels>().unwrap_err(),
            "200".parse::<Nudge>().unwrap_err(),
            "much".parse::<Nudge>().unwrap_err(),
            "NaN".parse::<Nudge>().unwrap_err(),
            "0.2".parse::<Sharpen>().unwrap_err(),
            "0%:50%,50%:10%".parse::<CurvePoints>().unwrap_err(),
            "50%,0%,80%,100%".parse::<Crop>().unwrap_err(),
        ] {
            assert!(e.len() > 30 && e.len() < 200, "{e}");
        }
    }
}
