//! Errors of this room: why a file cannot be opened, and why art cannot be rendered.

use crate::said::Said;
use crate::texts::text;

/// A file that cannot be opened as a picture: which, why, and what to do, in one sentence.
#[derive(Debug, thiserror::Error)]
#[error("{}", text!("art.why", name = .name, why = .why))]
pub struct OpenError {
    /// The file as named by the person, in quotes; or what stands for it.
    pub name: String,
    /// The reason.
    #[source]
    pub why: Why,
}

/// Why a file cannot be opened.
#[derive(Debug, thiserror::Error)]
pub enum Why {
    /// The file system refused.
    #[error("{}", text!("art.why.unreadable", reason = crate::cause::of(.0)))]
    Unreadable(std::io::Error),
    /// No byte in it.
    #[error("{}", text!("art.why.empty"))]
    Empty,
    /// Not a known kind of picture.
    #[error("{}", text!("art.why.not-a-picture"))]
    NotAPicture,
    /// A known kind of something else.
    #[error("{}", text!("art.why.something-else", what = .0))]
    SomethingElse(&'static str),
    /// Not a known kind of picture, where only a photo will do.
    #[error("{}", text!("art.why.nothing-seen"))]
    NothingSeen,
    /// A drawing where only a photo will do.
    #[error("{}", text!("art.why.not-a-photo"))]
    NotAPhoto,
    /// The data end before the picture does.
    #[error("{}", text!("art.why.cut-off"))]
    CutOff,
    /// The data contradict themselves.
    #[error("{}", text!("art.why.damaged", reason = .0))]
    Damaged(String),
    /// A variant that no decoder here reads.
    #[error("{}", text!("art.why.unsupported", reason = .0))]
    Unsupported(String),
    /// A photo of a telephone that no decoder here reads.
    #[error("{}", text!("art.why.unusual-photo", reason = .0))]
    UnusualPhoto(String),
    /// Beyond the bounds.
    #[error("{}", text!(
        "art.why.too-large",
        width = .width,
        height = .height,
        megapixels = format_args!("{:.0}", *width as f64 * *height as f64 / 1e6),
        memory = format_args!("{:.1}", *need as f64 / (1u64 << 30) as f64),
    ))]
    TooLarge {
        /// Columns claimed.
        width: u64,
        /// Rows claimed.
        height: u64,
        /// Bytes it would take to open.
        need: u64,
    },
    /// More picture elements than the file's bytes can hold.
    #[error("{}", text!("art.why.hollow", width = .width, height = .height, bytes = .bytes))]
    Hollow {
        /// Columns claimed.
        width: u64,
        /// Rows claimed.
        height: u64,
        /// Bytes of the file, or of the picture embedded in a drawing.
        bytes: u64,
    },
    /// More bytes than are read.
    #[error("{}", text!("art.why.too-long"))]
    TooLong,
    /// No columns or no rows.
    #[error("{}", text!("art.why.no-size"))]
    NoSize,
    /// A document that opens only with a password.
    #[error("{}", text!("art.why.locked"))]
    Locked,
    /// A page that is not there.
    #[error("{}", no_page(*asked, *pages))]
    NoPage {
        /// The page asked for, counted from 1.
        asked: usize,
        /// Pages there are.
        pages: usize,
    },
    /// Another frame of a moving picture than the first.
    #[error("{}", text!("art.why.no-frame", frame = .0))]
    NoFrame(usize),
    /// A drawing with a reference outside itself.
    #[error("{}", text!("art.why.refers", target = .0))]
    Refers(String),
    /// A drawing that is not well-formed, or that the drawing library refuses.
    #[error("{}", text!("art.why.bad-drawing", reason = .0))]
    BadDrawing(String),
    /// A drawing beyond the bounds.
    #[error("{}", text!("art.why.too-complex", complaint = .0))]
    TooComplex(String),
    /// A drawing that takes longer than is allowed.
    #[error("{0}")]
    Late(#[source] Said),
}

/// Why art cannot be rendered.
#[derive(Debug, thiserror::Error)]
pub enum RenderError {
    /// The crop or window is empty or reaches outside.
    #[error("{}", text!("art.render.outside", left = .0, right = .1, top = .2, bottom = .3))]
    Outside(f64, f64, f64, f64),
    /// No dots asked for, or more than can be counted.
    #[error("{}", text!("art.render.dots", columns = .0, rows = .1))]
    Dots(usize, usize),
    /// The resampler failed, or no memory can be had.
    #[error("{}", text!("art.render.failed", reason = .0))]
    Failed(String),
    /// A shape too far away to be drawn.
    #[error("{}", text!("art.render.far-away"))]
    FarAway,
    /// Layers, filters and patterns that need too much memory.
    #[error("{}", text!("art.render.memory", columns = .0, rows = .1))]
    Memory(usize, usize),
    /// More work than the time allows.
    #[error("{0}")]
    Late(#[source] Said),
    /// The drawing library gave up.
    #[error("{}", text!("art.render.gave-up", reason = .0))]
    GaveUp(String),
}

/// Why there is no such page.
fn no_page(asked: usize, pages: usize) -> String {
    match pages {
        0 => text!("art.why.no-page.none").into(),
        1 => text!("art.why.no-page.one", asked),
        pages => text!("art.why.no-page.many", pages, asked),
    }
}

impl RenderError {
    /// More work than the seconds allow, at so many dots.
    pub(super) fn late(seconds: f64, columns: usize, rows: usize) -> Self {
        RenderError::Late(Said::two(
            text!("art.render.late.line", seconds, columns, rows),
            text!("art.render.late.page", seconds, columns, rows),
        ))
    }
}

impl Why {
    /// A drawing that takes more than the seconds that are allowed.
    pub(super) fn late(seconds: f64) -> Self {
        Why::Late(Said::two(text!("art.why.late.line", seconds), text!("art.why.late.page", seconds)))
    }

    /// A decoder's complaint: cut off where it met the end, damaged otherwise.
    pub(super) fn damaged(complaint: impl std::fmt::Display) -> Self {
        let text = complaint.to_string();
        let low = text.to_lowercase();
        let ended = [
            "unexpected end",
            "premature end",
            "unexpected eof",
            "no more bytes",
            "failed to fill",
            "exhausted",
            "not enough",
        ];
        if ended.iter().any(|t| low.contains(t)) { Why::CutOff } else { Why::Damaged(one_line(&text)) }
    }
}

/// At most 160 printable characters on one line.
pub(super) fn one_line(text: &str) -> String {
    let flat: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(160).collect();
    flat.trim().trim_end_matches('.').to_string()
}
