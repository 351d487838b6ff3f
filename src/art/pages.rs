//! Pages: the pictures of a TIFF, of which one is taken; the frames of a moving picture, of which the first is.

use std::borrow::Cow;
use std::io::Cursor;

use tiff::decoder::Decoder;
use tiff::tags::Tag;

use super::Format;
use super::error::Why;
use crate::note::Note;
use crate::said::Said;
use crate::texts::text;

/// The most pages that are counted.
const MOST_PAGES: usize = 10_000;

/// A TIFF with one of its pages in front, where its decoders look, and how many pages there are.
///
/// # Errors
/// Where there is no such page. What cannot be counted is left to the decoder to complain of.
pub(super) fn in_front(bytes: &[u8], page: usize) -> Result<(Cow<'_, [u8]>, usize), Why> {
    let pages = pages(bytes);
    let count = pages.len().max(1);
    if pages.is_empty() && page == 1 {
        return Ok((Cow::Borrowed(bytes), count));
    }
    let Some(&offset) = page.checked_sub(1).and_then(|i| pages.get(i)) else {
        return Err(Why::NoPage { asked: page, pages: count });
    };
    // The header says where the first directory lies, in 4 bytes behind a number of 2 (TIFF 6.0, section 2), or in 8 behind
    // three such (BigTIFF).
    let big = bytes.get(2..4).is_some_and(|version| version.contains(&43));
    let place = if big { 8..16 } else { 4..8 };
    let little = bytes.starts_with(b"II");
    let header = match (big, little) {
        (true, true) => offset.to_le_bytes().to_vec(),
        (true, false) => offset.to_be_bytes().to_vec(),
        (false, true) => (offset as u32).to_le_bytes().to_vec(),
        (false, false) => (offset as u32).to_be_bytes().to_vec(),
    };
    if bytes.get(place.clone()) == Some(header.as_slice()) {
        return Ok((Cow::Borrowed(bytes), count));
    }
    let mut moved = bytes.to_vec();
    if let Some(first) = moved.get_mut(place) {
        first.copy_from_slice(&header);
    }
    Ok((Cow::Owned(moved), count))
}

/// Where the directories of a TIFF's pages lie. Small views and masks of other pages are none.
fn pages(bytes: &[u8]) -> Vec<u64> {
    let Ok(mut file) = Decoder::new(Cursor::new(bytes)) else { return Vec::new() };
    let mut all: Vec<(u64, bool)> = Vec::new();
    let mut next = file.ifd_pointer();
    while let Some(at) = next.filter(|at| all.len() < MOST_PAGES && !all.iter().any(|(o, _)| *o == at.0)) {
        let Ok(directory) = file.read_directory(at) else { break };
        let kind = file.read_directory_tags(&directory).find_tag_unsigned::<u32>(Tag::NewSubfileType);
        // Bit 0: a smaller view of another picture; bit 2: its mask (TIFF 6.0, section 8).
        let apart = kind.ok().flatten().is_some_and(|bits| bits & 0b101 != 0);
        all.push((at.0, apart));
        next = directory.next();
    }
    let whole = all.iter().any(|(_, apart)| !apart);
    all.into_iter().filter(|(_, apart)| !(whole && *apart)).map(|(at, _)| at).collect()
}

/// What is said of the page that was taken.
pub(super) fn taken(page: usize, pages: usize) -> Option<Note> {
    (pages > 1).then(|| {
        Note::choice(Said::two(
            text!("art.pages.taken.line", pages, page),
            text!("art.pages.taken.page", pages, page),
        ))
    })
}

/// Whether a picture moves: its file holds more than one frame.
pub(super) fn moves(bytes: &[u8], format: Format) -> bool {
    match format {
        Format::WebP => bytes.get(12..16) == Some(b"VP8X") && bytes.get(20).is_some_and(|f| f & 2 != 0),
        Format::Gif => gif_moves(bytes),
        Format::Png => bytes.get(37..41) == Some(b"acTL"),
        _ => false,
    }
}

/// Whether a GIF has a second picture (GIF89a, sections 18 to 26).
fn gif_moves(bytes: &[u8]) -> bool {
    /// The bytes of a table of colours, by the flags before it.
    fn table(flags: u8) -> usize {
        if flags & 0x80 == 0 { 0 } else { 3 << ((flags & 7) + 1) }
    }
    /// Behind the blocks of data that begin at `at`.
    fn behind(bytes: &[u8], mut at: usize) -> Option<usize> {
        loop {
            let length = usize::from(*bytes.get(at)?);
            at += 1 + length;
            if length == 0 {
                return Some(at);
            }
        }
    }
    let second = || -> Option<bool> {
        let mut at = 13 + table(*bytes.get(10)?);
        let mut pictures = 0;
        loop {
            match *bytes.get(at)? {
                0x21 => at = behind(bytes, at + 2)?,
                0x2C => {
                    pictures += 1;
                    if pictures > 1 {
                        return Some(true);
                    }
                    at = behind(bytes, at + 11 + table(*bytes.get(at + 9)?))?;
                }
                _ => return Some(false),
            }
        }
    };
    second().unwrap_or(false)
}

#[cfg(test)]
mod tests {
    use super::super::bounds::Opening;
    use super::super::{Art, open::open_as};
    use super::*;

    /// A TIFF of grey pages of 2 x 1, one tone each; a kind of subfile where it is not 0.
    fn tif(pages: &[(u8, u32)], big: bool) -> Vec<u8> {
        let mut out: Vec<u8> = if big { b"II\x2b\0\x08\0\0\0".to_vec() } else { b"II\x2a\0".to_vec() };
        let number = |out: &mut Vec<u8>, v: u64| {
            let bytes = v.to_le_bytes();
            out.extend_from_slice(if big { &bytes } else { &bytes[..4] });
        };
        let mut at = if big { 16 } else { 8 };
        number(&mut out, at);
        for (i, &(tone, kind)) in pages.iter().enumerate() {
            let tags = [
                (254, kind),
                (256, 2),
                (257, 1),
                (258, 8),
                (259, 1),
                (262, 1),
                (273, 0),
                (277, 1),
                (278, 1),
                (279, 2),
            ];
            let (entry, around) = if big { (20, 16) } else { (12, 6) };
            let data = at + around + entry * tags.len() as u64;
            out.extend_from_slice(&(tags.len() as u64).to_le_bytes()[..if big { 8 } else { 2 }]);
            for (tag, value) in tags {
                out.extend_from_slice(&(tag as u16).to_le_bytes());
                out.extend_from_slice(&4u16.to_le_bytes());
                number(&mut out, 1);
                number(&mut out, if tag == 273 { data } else { value.into() });
            }
            at = data + 2;
            number(&mut out, if i + 1 == pages.len() { 0 } else { at });
            out.extend_from_slice(&[tone, tone]);
        }
        out
    }

    fn opened(bytes: &[u8], page: u32) -> Result<(f32, Vec<Note>), String> {
        let how = Opening { page, ..Opening::default() };
        match open_as(bytes, "'pages.tif'", &how).map_err(|e| e.to_string())? {
            Art::Raster(art) => Ok((art.light.row(0)[0], art.facts.notes)),
            Art::Vector(_) => Err("a drawing".into()),
        }
    }

    #[test]
    fn the_page_that_is_asked_for_is_taken_and_said() {
        for big in [false, true] {
            let file = tif(&[(0, 0), (255, 0), (0, 0)], big);
            assert_eq!(opened(&file, 1).unwrap().0, 0.0);
            let (light, notes) = opened(&file, 2).unwrap();
            assert!(light > 0.99);
            let says: Vec<Said> = notes.into_iter().map(|note| note.says).collect();
            assert_eq!(says, ["it has 3 pages; page 2 was taken, choose another with --page"]);
            assert_eq!(says[0].on_page(), "it has 3 pages; page 2 was taken");
            assert!(opened(&file, 4).unwrap_err().contains("has 3 pages, so there is no page 4"));
        }
        let photo = super::super::open_photo(&tif(&[(0, 0), (255, 0)], false), "'wedge.tif'").unwrap();
        assert_eq!(photo.facts.notes, [Note::fact("it has 2 pages; page 1 was taken")]);
        let one = tif(&[(255, 0)], false);
        assert!(opened(&one, 1).unwrap().1.is_empty());
        assert!(opened(&one, 2).unwrap_err().contains("one page only"));
    }

    #[test]
    fn a_small_view_of_a_picture_is_no_page() {
        let file = tif(&[(0, 1), (255, 0)], false);
        let (light, notes) = opened(&file, 1).unwrap();
        assert!(light > 0.99 && notes.is_empty());
        assert!(opened(&tif(&[(255, 1)], false), 1).unwrap().0 > 0.99);
    }

    #[test]
    fn a_gif_moves_where_it_has_a_second_picture() {
        let gif = |pictures: usize| {
            let mut out = b"GIF89a\x01\0\x01\0\x80\0\0\0\0\0\xff\xff\xff".to_vec();
            out.extend_from_slice(b"\x21\xf9\x04\0\0\0\0\0");
            for _ in 0..pictures {
                out.extend_from_slice(b"\x2c\0\0\0\0\x01\0\x01\0\0\x02\x02\x44\x01\0");
            }
            out.push(0x3b);
            out
        };
        assert!(!moves(&gif(1), Format::Gif) && moves(&gif(2), Format::Gif));
        let said = opened(&gif(2), 2).unwrap_err();
        assert!(said.contains("only the first of its frames can be read"), "{said}");
        assert!(opened(&gif(2), 1).unwrap().1[0].says.contains("the first was taken"));
        // Cut off within.
        assert!((0..gif(1).len()).all(|end| !moves(&gif(1)[..end], Format::Gif)));
    }
}
