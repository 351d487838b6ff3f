//! Every picture format is read back by a reader that is not ours: same dots, same size, same density.

use std::io::Read;

use dotwright::kernels::encode::{BeamOn, bmp, png, tiff};
use dotwright::kernels::parallel;
use dotwright::kernels::placement::Grid;
use dotwright::kernels::plane::Dots;
use dotwright::kernels::units::Mm;

/// A made-up dither: an ordered pattern over a ramp, with noise from a small linear congruence.
fn dither(width: usize, height: usize) -> Dots {
    let mut d = Dots::off(width, height);
    let mut seed = 12345u32;
    for y in 0..height {
        for x in 0..width {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let want = x as f64 / width as f64;
            d.set(x, y, want > f64::from(seed >> 8) / f64::from(1u32 << 24));
        }
    }
    d
}

fn grid() -> Grid {
    Grid { along: Mm(25.4 / 304.0), across: Mm(25.4 / 254.0) }
}

#[test]
fn a_png_is_read_back_with_the_same_dots_and_density() {
    for (w, h) in [(1, 1), (7, 3), (1017, 1017), (4001, 2500)] {
        let d = dither(w, h);
        for beam_on in [BeamOn::Black, BeamOn::White] {
            let bytes = png::dots(&d, grid(), beam_on).unwrap();
            let back = png::read_dots(&bytes, beam_on).unwrap();
            assert!(back.dots == d, "{w} x {h}");
            // check value U04 along; 254 dpi is exactly 10000 a metre (U06) across.
            assert_eq!(back.pixels_per_metre, Some((11969, 10000)));
        }
    }
}

#[test]
fn a_sample_of_zero_is_black_and_the_beam() {
    // check value U13: 0 is black, the leftmost pixel is the high-order bit.
    let mut d = Dots::off(9, 2);
    d.set(0, 0, true);
    d.set(8, 1, true);
    let read = |b: &[u8]| image::load_from_memory(b).unwrap().to_luma8();
    let black = read(&png::dots(&d, grid(), BeamOn::Black).unwrap());
    assert_eq!((black.get_pixel(0, 0).0[0], black.get_pixel(1, 0).0[0]), (0, 255));
    assert_eq!((black.get_pixel(8, 1).0[0], black.get_pixel(0, 1).0[0]), (0, 255));
    let white = read(&png::dots(&d, grid(), BeamOn::White).unwrap());
    assert_eq!((white.get_pixel(0, 0).0[0], white.get_pixel(1, 0).0[0]), (255, 0));
}

/// The type and data of each chunk.
fn chunks(file: &[u8]) -> Vec<(String, Vec<u8>)> {
    let (mut at, mut all) = (8, Vec::new());
    while at < file.len() {
        let len = u32::from_be_bytes(file[at..at + 4].try_into().unwrap()) as usize;
        let name = String::from_utf8(file[at + 4..at + 8].to_vec()).unwrap();
        all.push((name, file[at + 8..at + 8 + len].to_vec()));
        at += len + 12;
    }
    all
}

#[test]
fn the_pieces_join_to_one_zlib_stream_with_the_right_checksum() {
    let d = dither(5000, 3000);
    let file = png::dots(&d, grid(), BeamOn::Black).unwrap();
    let parts: Vec<Vec<u8>> = chunks(&file).into_iter().filter(|c| c.0 == "IDAT").map(|c| c.1).collect();
    assert!(parts.len() > 4, "the stream is cut into pieces");
    let mut raw = Vec::new();
    // This reader refuses a stream whose Adler-32 is wrong.
    flate2::read::ZlibDecoder::new(parts.concat().as_slice()).read_to_end(&mut raw).unwrap();
    assert_eq!(raw.len(), 3000 * (1 + 625));
    assert!(raw.chunks(626).all(|row| row[0] == 0), "no row filter");
    let mut broken = parts.concat();
    *broken.last_mut().unwrap() ^= 1;
    assert!(flate2::read::ZlibDecoder::new(broken.as_slice()).read_to_end(&mut Vec::new()).is_err());
}

#[test]
fn cutting_into_pieces_costs_less_than_half_a_percent() {
    let d = dither(5000, 3000);
    let file = png::dots(&d, grid(), BeamOn::Black).unwrap();
    let raw: Vec<u8> =
        (0..3000).flat_map(|y| std::iter::once(0).chain(d.row(y).iter().map(|b| !b))).collect();
    let mut whole = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::new(2));
    std::io::Write::write_all(&mut whole, &raw).unwrap();
    let whole = whole.finish().unwrap().len();
    assert!((file.len() as f64) < 1.005 * whole as f64, "{} against {whole} in one piece", file.len());
}

#[test]
fn the_thread_count_does_not_change_a_byte() {
    let d = dither(5000, 3000);
    let one = parallel::with_threads(1, || png::dots(&d, grid(), BeamOn::Black).unwrap());
    for n in [2, 3, 7] {
        assert!(one == parallel::with_threads(n, || png::dots(&d, grid(), BeamOn::Black).unwrap()), "{n}");
    }
}

#[test]
fn pictures_are_read_back_exactly() {
    let (w, h) = (301, 503);
    let rgb: Vec<u8> = (0..w * h * 3).map(|i| (i * i / 97 + i / 1000) as u8).collect();
    let bytes = png::picture(w, h, png::Samples::Rgb, &rgb, Some(grid())).unwrap();
    let read = image::load_from_memory(&bytes).unwrap();
    assert!(read.as_rgb8().unwrap().as_raw() == &rgb);
    let grey = &rgb[..w * h];
    let bytes = png::picture(w, h, png::Samples::Grey, grey, None).unwrap();
    assert!(image::load_from_memory(&bytes).unwrap().as_luma8().unwrap().as_raw() == grey);
    assert!(png::picture(w, h, png::Samples::Rgb, grey, None).is_err());
    assert!(png::picture(0, 3, png::Samples::Rgb, &[], None).is_err());
}

#[test]
fn a_file_that_is_not_one_bit_grey_is_not_read_as_dots() {
    let bytes = png::picture(2, 2, png::Samples::Grey, &[0, 255, 0, 255], None).unwrap();
    let e = png::read_dots(&bytes, BeamOn::Black).unwrap_err().to_string();
    assert!(e.contains("not a 1-bit grey picture"), "{e}");
    assert!(png::read_dots(b"not a picture", BeamOn::Black).is_err());
    let whole = png::dots(&dither(100, 100), grid(), BeamOn::Black).unwrap();
    assert!(png::read_dots(&whole[..whole.len() / 2], BeamOn::Black).is_err());
}

#[test]
fn a_tiff_states_its_resolution_as_an_exact_fraction() {
    use ::tiff::decoder::Decoder;
    use ::tiff::tags::Tag;
    let d = dither(1017, 2100);
    for (packing, code) in [(tiff::Packing::Group4, 4), (tiff::Packing::PackBits, 32773)] {
        for (beam_on, photometric) in [(BeamOn::Black, 0), (BeamOn::White, 1)] {
            let bytes = tiff::dots(&d, grid(), beam_on, packing).unwrap();
            let mut reader = Decoder::new(std::io::Cursor::new(&bytes)).unwrap();
            assert_eq!(reader.dimensions().unwrap(), (1017, 2100));
            // check values U08, U09 (TIFF 6.0).
            let list = |r: &mut Decoder<_>, tag| r.get_tag(tag).unwrap().into_u32_vec().unwrap();
            assert_eq!(format!("{:?}", reader.get_tag(Tag::XResolution).unwrap()), "Rational(304, 1)");
            assert_eq!(format!("{:?}", reader.get_tag(Tag::YResolution).unwrap()), "Rational(254, 1)");
            assert_eq!(list(&mut reader, Tag::ResolutionUnit), [2]);
            assert_eq!(list(&mut reader, Tag::PhotometricInterpretation), [photometric]);
            assert_eq!(list(&mut reader, Tag::Compression), [code]);
            assert!(list(&mut reader, Tag::StripOffsets).len() > 1);
        }
    }
}

#[test]
fn empty_dots_are_refused_in_one_sentence() {
    let none = Dots::off(0, 0);
    for e in [
        png::dots(&none, grid(), BeamOn::Black).unwrap_err(),
        tiff::dots(&none, grid(), BeamOn::Black, tiff::Packing::Group4).unwrap_err(),
        bmp::dots(&none, grid(), BeamOn::Black).unwrap_err(),
    ] {
        assert!(e.to_string().starts_with("0 x 0 pixels"), "{e}");
    }
}
