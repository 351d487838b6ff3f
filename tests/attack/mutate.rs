//! Spoiling files: bytes, numbers, lines, checksums.

use crate::chance::Chance;

/// What kind of file it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Form {
    /// Bytes.
    Bytes,
    /// A PNG, whose checksums are put right again half of the time, so that the trouble comes later.
    Png,
    /// Text of lines and numbers.
    Text,
    /// Text of elements.
    Elements,
}

/// Numbers at the ends of what numbers can be.
const NUMBERS: &[&str] = &[
    "0",
    "-0",
    "-1",
    "1",
    "0.0000001",
    "1e-9",
    "1e9",
    "-1e9",
    "1e38",
    "1e39",
    "1e308",
    "1e999",
    "nan",
    "inf",
    "-inf",
    "255",
    "256",
    "32767",
    "65535",
    "65536",
    "2147483647",
    "2147483648",
    "4294967295",
    "4294967296",
    "99999",
    "9223372036854775807",
    "18446744073709551616",
    "0.1",
    "0.5",
    "2",
    "3",
    "7",
    "100",
    "1000",
    "0x10",
    "1_000",
    "٣",
    "½",
];

/// Words that do not belong.
const WORDS: &[&str] = &[
    "",
    "\0",
    "\u{1b}[31m",
    "\u{7f}",
    "\u{202e}",
    "\r",
    "\u{feff}",
    "'",
    "\"",
    "\"\"\"",
    "{",
    "}",
    "[",
    "]",
    "[[",
    "(",
    ")",
    "%",
    "#",
    ";",
    "=",
    ",",
    "..",
    "../../etc/passwd",
    "/dev/zero",
    "-",
    "--out",
    "mm",
    "dpi",
    "true",
    "false",
    "never",
    "off",
    "auto",
    "power",
    "ä",
    "漢字",
    "🛟",
    "<",
    ">",
    "&amp;",
    "&#0;",
    "<!--",
    "<![CDATA[",
    "<!DOCTYPE x [<!ENTITY a 'b'>]>",
];

/// Elements that cost much or refer to themselves.
const ELEMENTS: &[&str] = &[
    "<path d='M0 0 L1e9 0 L1e9 1e9 Z' transform='rotate(135)'/>",
    "<path d='M0 0 L-1e30 7 Q 1e38 1e38 4 4' stroke='#000' stroke-width='1e20'/>",
    "<rect width='1e9' height='1e9' rx='1e-9' transform='scale(1e9)'/>",
    "<g transform='matrix(0 0 0 0 0 0)'><circle r='9'/></g>",
    "<g transform='skewX(90) scale(-1e7 1e-7)'><circle r='9'/></g>",
    "<filter id='fa'><feTurbulence numOctaves='99999' baseFrequency='0.9'/></filter><rect width='40' height='40' filter='url(#fa)'/>",
    "<filter id='fb'><feMorphology operator='dilate' radius='300'/></filter><rect width='40' height='40' filter='url(#fb)'/>",
    "<filter id='fc'><feGaussianBlur stdDeviation='900'/></filter><rect width='40' height='40' filter='url(#fc)'/>",
    "<filter id='fd' x='-1e6' y='-1e6' width='1e9' height='1e9'><feFlood/></filter><rect width='4' height='4' filter='url(#fd)'/>",
    "<filter id='fe'><feConvolveMatrix order='99' kernelMatrix='1'/></filter><rect width='40' height='40' filter='url(#fe)'/>",
    "<pattern id='pa' width='1e-6' height='1e-6' patternUnits='userSpaceOnUse'><rect width='1' height='1'/></pattern><rect width='40' height='40' fill='url(#pa)'/>",
    "<pattern id='pb' width='1' height='1'><rect width='9' height='9' fill='url(#pb)'/></pattern><rect width='40' height='40' fill='url(#pb)'/>",
    "<mask id='ma'><rect width='9' height='9' mask='url(#ma)'/></mask><rect width='40' height='40' mask='url(#ma)'/>",
    "<clipPath id='ca'><rect width='9' height='9' clip-path='url(#ca)'/></clipPath><rect width='40' height='40' clip-path='url(#ca)'/>",
    "<g id='ua'><use href='#ua'/></g>",
    "<linearGradient id='ga' href='#ga'/><rect width='40' height='40' fill='url(#ga)'/>",
    "<radialGradient id='gb' r='1e-30' fx='1e30'><stop offset='-5'/></radialGradient><rect width='40' height='40' fill='url(#gb)'/>",
    "<path d='M0 0H40' stroke='#000' stroke-dasharray='1e-9 1e-9'/>",
    "<text font-size='1e6'>A</text><text font-size='1e-6'>A</text><text>\u{202e}\u{0}\u{fffd}</text>",
    "<svg width='1e-9' height='1e9' viewBox='0 0 0 0'><rect width='1' height='1'/></svg>",
    "<image href='data:image/png;base64,iVBORw0KGgo=' width='9' height='9'/>",
    "<image href='file:///etc/passwd' width='9' height='9'/>",
    "<style>* { fill: url(#x) !important; font: 1e9px serif }</style>",
    "<switch><foreignObject/></switch><marker id='k'/><path d='M0 0L1 1L2 2' marker-mid='url(#k)'/>",
];

/// A spoiled copy of a file; `others` are files that parts are taken from.
pub fn spoiled(chance: &mut Chance, file: &[u8], others: &[Vec<u8>], form: Form) -> Vec<u8> {
    let mut bytes = file.to_vec();
    for _ in 0..[1, 1, 2, 3, 8][chance.below(5)] {
        match (form, chance.below(4)) {
            (Form::Text, 0..3) => text(chance, &mut bytes),
            (Form::Elements, 0) => text(chance, &mut bytes),
            (Form::Elements, 1..3) => elements(chance, &mut bytes),
            _ => plain(chance, &mut bytes, others),
        }
        bytes.truncate(4 << 20);
    }
    if form == Form::Png && chance.below(2) == 0 {
        put_right(&mut bytes);
    }
    bytes
}

fn part(chance: &mut Chance, bytes: &[u8], most: usize) -> std::ops::Range<usize> {
    let at = chance.below(bytes.len() + 1);
    at..(at + chance.below(most)).min(bytes.len())
}

/// Bytes changed, lost, repeated, moved or taken from elsewhere.
fn plain(chance: &mut Chance, bytes: &mut Vec<u8>, others: &[Vec<u8>]) {
    let at = chance.below(bytes.len());
    match chance.below(9) {
        0 if !bytes.is_empty() => bytes[at] ^= 1 << chance.below(8),
        1 if !bytes.is_empty() => bytes[at] = *chance.of(&[0, 1, 0x7f, 0x80, 0xff, b'0', b'9', b'-', b'\n']),
        2 if bytes.len() > 4 => {
            // A length or size, big or little end first.
            let at = chance.below(bytes.len() - 4);
            let value = *chance.of(&[0u32, 1, 0xffff, 0x10000, 0x7fff_ffff, 0x8000_0000, 0xffff_ffff, 15000]);
            let four = if chance.below(2) == 0 { value.to_be_bytes() } else { value.to_le_bytes() };
            bytes[at..at + 4].copy_from_slice(&four);
        }
        3 => bytes.truncate(at),
        4 => drop(bytes.drain(part(chance, bytes, 64))),
        5 => {
            let again = bytes[part(chance, bytes, 64)].repeat(*chance.of(&[1, 1, 2, 50]));
            bytes.splice(at..at, again);
        }
        6 if !others.is_empty() => {
            let other = chance.of(others);
            let taken = other[part(chance, other, 4096)].to_vec();
            let over = part(chance, bytes, 4096);
            bytes.splice(over, taken);
        }
        7 => {
            let noise: Vec<u8> = (0..chance.below(32)).map(|_| chance.next() as u8).collect();
            bytes.splice(at..at, noise);
        }
        _ => {
            let from = part(chance, bytes, 256);
            let taken = bytes[from.clone()].to_vec();
            bytes.drain(from);
            let at = chance.below(bytes.len() + 1);
            bytes.splice(at..at, taken);
        }
    }
}

/// Numbers, words and lines changed.
fn text(chance: &mut Chance, bytes: &mut Vec<u8>) {
    let whole = String::from_utf8_lossy(bytes).into_owned();
    let mut lines: Vec<&str> = whole.split('\n').collect();
    let line = chance.below(lines.len());
    match chance.below(9) {
        0..3 => {
            if let Some(at) = numbers(&whole, chance) {
                let new = chance.of(NUMBERS);
                *bytes = format!("{}{new}{}", &whole[..at.start], &whole[at.end..]).into_bytes();
            }
            return;
        }
        3 => {
            let mut at = chance.below(whole.len() + 1);
            while !whole.is_char_boundary(at) {
                at -= 1;
            }
            *bytes = format!("{}{}{}", &whole[..at], chance.of(WORDS), &whole[at..]).into_bytes();
            return;
        }
        4 => {
            // A key with another's value.
            let other = lines[chance.below(lines.len())];
            if let (Some((key, _)), Some((_, value))) = (lines[line].split_once('='), other.split_once('=')) {
                let new = format!("{key}={value}");
                lines[line] = &new;
                *bytes = lines.join("\n").into_bytes();
            }
            return;
        }
        5 => {
            let nested = match chance.below(4) {
                0 => format!("a = {}1{}", "[".repeat(20_000), "]".repeat(20_000)),
                1 => format!("[{}a]", "a.".repeat(20_000)),
                2 => format!("{}a = 1{}", "a = {".repeat(300), "}".repeat(300)),
                _ => format!("a = '{}'", "z".repeat(200_000)),
            };
            lines.insert(line, &nested);
            *bytes = lines.join("\n").into_bytes();
            return;
        }
        6 => drop(lines.remove(line)),
        7 => {
            let again = chance.below(lines.len());
            for _ in 0..*chance.of(&[1, 1, 1, 2000]) {
                lines.insert(line, lines[again.min(lines.len() - 1)]);
            }
        }
        _ => {
            let other = chance.below(lines.len());
            lines.swap(line, other);
        }
    }
    *bytes = lines.join("\n").into_bytes();
}

/// A number somewhere in a text.
fn numbers(text: &str, chance: &mut Chance) -> Option<std::ops::Range<usize>> {
    let digit = |c: char| c.is_ascii_digit() || c == '.';
    let mut all = Vec::new();
    let mut begun = None;
    for (at, c) in text.char_indices().chain([(text.len(), ' ')]) {
        match (begun, digit(c)) {
            (None, true) => begun = Some(at),
            (Some(from), false) => {
                all.push(from..at);
                begun = None;
            }
            _ => {}
        }
    }
    (!all.is_empty()).then(|| chance.of(&all).clone())
}

/// Elements added, nested deep, or repeated.
fn elements(chance: &mut Chance, bytes: &mut Vec<u8>) {
    let whole = String::from_utf8_lossy(bytes).into_owned();
    let ends: Vec<usize> = whole.match_indices('>').map(|(at, _)| at + 1).collect();
    if ends.is_empty() {
        return;
    }
    let at = *chance.of(&ends);
    let new = match chance.below(8) {
        0 => {
            let deep = *chance.of(&[30, 300, 20_000]);
            format!("{}<circle r='5'/>{}", "<g opacity='.9'>".repeat(deep), "</g>".repeat(deep))
        }
        1 => "<circle cx='9' cy='9' r='5'/>".repeat(*chance.of(&[10, 1000, 20_000])),
        2 => format!("<text y='20'>{}</text>", "harbour ".repeat(*chance.of(&[10, 1000, 40_000]))),
        3 => format!("<path d='M0 0{}'/>", "l1 1-1 2".repeat(*chance.of(&[10, 1000, 100_000]))),
        _ => {
            let mut element = (*chance.of(ELEMENTS)).to_string();
            if chance.below(2) == 0
                && let Some(at) = numbers(&element, chance)
            {
                let new = *chance.of(NUMBERS);
                element.replace_range(at, new);
            }
            element
        }
    };
    *bytes = format!("{}{new}{}", &whole[..at], &whole[at..]).into_bytes();
}

/// Puts the checksums of a PNG's chunks right.
fn put_right(bytes: &mut [u8]) {
    let mut at = 8;
    while let Some(head) = bytes.get(at..at + 8) {
        let long = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
        let Some(end) = long.checked_add(at + 8).filter(|end| end + 4 <= bytes.len()) else { return };
        let mut crc = flate2::Crc::new();
        crc.update(&bytes[at + 4..end]);
        bytes[end..end + 4].copy_from_slice(&crc.sum().to_be_bytes());
        at = end + 4;
    }
}
