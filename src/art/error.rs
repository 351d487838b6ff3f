//! Errors of this room: why a file cannot be opened, and why art cannot be rendered.

use crate::said::Said;

/// A file that cannot be opened as a picture: which, why, and what to do, in one sentence.
#[derive(Debug, thiserror::Error)]
#[error("{name} {why}")]
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
    #[error("cannot be read ({}); check its name and its permissions", crate::cause::of(.0))]
    Unreadable(std::io::Error),
    /// No byte in it.
    #[error("is empty; copy or export it again")]
    Empty,
    /// Not a known kind of picture.
    #[error("is not a picture; give a JPEG, PNG, TIFF, WebP, HEIC, BMP, GIF, SVG or PDF file")]
    NotAPicture,
    /// A known kind of something else.
    #[error(
        "is {0}, which cannot be opened; export it as a JPEG, PNG, TIFF, WebP, BMP, GIF, SVG or PDF file"
    )]
    SomethingElse(&'static str),
    /// Not a known kind of picture, where only a photo will do.
    #[error("is not a picture; give a JPEG, PNG, TIFF or WebP photo")]
    NothingSeen,
    /// A drawing where only a photo will do.
    #[error("is a drawing, not a photo; give a JPEG, PNG, TIFF or WebP photo")]
    NotAPhoto,
    /// The data end before the picture does.
    #[error("is cut off: it ends before its picture does; copy or export it again")]
    CutOff,
    /// The data contradict themselves.
    #[error("is damaged ({0}); copy or export it again")]
    Damaged(String),
    /// A variant that no decoder here reads.
    #[error("is of a kind that cannot be read ({0}); save it as PNG or TIFF with 8 or 16 bits a channel")]
    Unsupported(String),
    /// A photo of a telephone that no decoder here reads.
    #[error("is a HEIC photo of a kind that cannot be read ({0}); export or share it as JPEG")]
    UnusualPhoto(String),
    /// Beyond the bounds.
    #[error(
        "claims {width} x {height} picture elements, {:.0} megapixels that need {:.1} GiB; \
         at most 250 megapixels and 2 GiB are opened, so scale it down first",
        *width as f64 * *height as f64 / 1e6, *need as f64 / (1u64 << 30) as f64
    )]
    TooLarge {
        /// Columns claimed.
        width: u64,
        /// Rows claimed.
        height: u64,
        /// Bytes it would take to open.
        need: u64,
    },
    /// More picture elements than the file's bytes can hold.
    #[error(
        "claims {width} x {height} picture elements, more than its {bytes} bytes can hold; \
         copy or export it again"
    )]
    Hollow {
        /// Columns claimed.
        width: u64,
        /// Rows claimed.
        height: u64,
        /// Bytes of the file, or of the picture embedded in a drawing.
        bytes: u64,
    },
    /// More bytes than are read.
    #[error("is longer than 2 GiB; at most 250 megapixels and 2 GiB are opened, so scale it down first")]
    TooLong,
    /// No columns or no rows.
    #[error("has no width or no height; export it again")]
    NoSize,
    /// A document that opens only with a password.
    #[error("is locked with a password; save it without one, or export the page as SVG")]
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
    #[error(
        "is a moving picture, and only the first of its frames can be read; save frame {0} as a PNG, or leave --page out"
    )]
    NoFrame(usize),
    /// A drawing with a reference outside itself.
    #[error(
        "refers to '{0}' outside itself, which is never followed; embed that picture in the SVG or remove it"
    )]
    Refers(String),
    /// A drawing that is not well-formed, or that the drawing library refuses.
    #[error("is not a valid SVG ({0}); export it again")]
    BadDrawing(String),
    /// A drawing beyond the bounds.
    #[error("{0}; simplify the drawing, or export it as PNG")]
    TooComplex(String),
    /// A drawing that takes longer than is allowed.
    #[error("{0}")]
    Late(#[source] Said),
}

/// Why art cannot be rendered.
#[derive(Debug, thiserror::Error)]
pub enum RenderError {
    /// The crop or window is empty or reaches outside.
    #[error(
        "the part from {0}% to {1}% across and {2}% to {3}% down is empty or lies outside the art; \
         give a part between 0% and 100%"
    )]
    Outside(f64, f64, f64, f64),
    /// No dots asked for, or more than can be counted.
    #[error("{0} x {1} dots cannot be rendered; give at least one dot each way")]
    Dots(usize, usize),
    /// The resampler failed, or no memory can be had.
    #[error("the art cannot be rendered at this size ({0}); choose a smaller size or density")]
    Failed(String),
    /// A shape too far away to be drawn.
    #[error(
        "a shape of the drawing reaches more than ten million dots beyond the art at this density; \
         shorten or remove it, or export the drawing as PNG"
    )]
    FarAway,
    /// Layers, filters and patterns that need too much memory.
    #[error(
        "the drawing's layers, filters and patterns need more than 2 GiB at {0} x {1} dots; \
         simplify the drawing, or export it as PNG"
    )]
    Memory(usize, usize),
    /// More work than the time allows.
    #[error("{0}")]
    Late(#[source] Said),
    /// The drawing library gave up.
    #[error("the drawing cannot be drawn: {0}; simplify it, or export it as PNG")]
    GaveUp(String),
}

/// Why there is no such page.
fn no_page(asked: usize, pages: usize) -> String {
    match pages {
        0 => "has no page; export it again".into(),
        1 => format!("has one page only, so there is no page {asked}; leave --page out"),
        n => format!("has {n} pages, so there is no page {asked}; choose one of --page 1 to --page {n}"),
    }
}

/// What to do with a drawing that takes longer than is allowed.
fn quicker(takes: String) -> Said {
    Said::from(takes)
        .line(", export it as PNG, or allow it more time with --drawing-time")
        .page(", or export it as PNG")
}

impl RenderError {
    /// More work than the seconds allow, at so many dots.
    pub(super) fn late(seconds: f64, columns: usize, rows: usize) -> Self {
        let takes = format!("the drawing takes more than {seconds} s to draw at {columns} x {rows} dots");
        RenderError::Late(quicker(format!("{takes}; simplify it")))
    }
}

impl Why {
    /// A drawing that takes more than the seconds that are allowed.
    pub(super) fn late(seconds: f64) -> Self {
        Why::Late(quicker(format!("takes more than {seconds} s to read; simplify the drawing")))
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
