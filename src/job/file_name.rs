//! A file's name as text, so that a job file can hold any name that a system can.
//!
//! A name that is text is kept as it is. One that is not (its bytes are no UTF-8) becomes `file:` and the
//! name with its odd bytes, and `%` itself, percent-encoded (RFC 3986, section 2.1); so does a name that
//! begins with `file:`, so that every text means one name.

use std::path::{Path, PathBuf};

const SIGN: &str = "file:";

/// A file's name as text.
pub fn text(path: &Path) -> String {
    match path.to_str() {
        Some(text) if !text.starts_with(SIGN) => text.to_string(),
        _ => SIGN.to_string() + &encoded(path.as_os_str().as_encoded_bytes()),
    }
}

/// The file's name that a text stands for.
pub fn path(text: &str) -> PathBuf {
    match text.strip_prefix(SIGN) {
        Some(rest) => from_bytes(decoded(rest)),
        None => PathBuf::from(text),
    }
}

fn encoded(bytes: &[u8]) -> String {
    let mut text = String::new();
    for chunk in bytes.utf8_chunks() {
        text.push_str(&chunk.valid().replace('%', "%25"));
        text.extend(chunk.invalid().iter().map(|b| format!("%{b:02X}")));
    }
    text
}

/// The bytes; a `%` that is not followed by two digits stands for itself.
fn decoded(text: &str) -> Vec<u8> {
    let (mut bytes, mut rest) = (Vec::new(), text.as_bytes());
    while let Some((&first, after)) = rest.split_first() {
        let code = after.get(..2).and_then(|d| std::str::from_utf8(d).ok());
        match code.filter(|_| first == b'%').and_then(|d| u8::from_str_radix(d, 16).ok()) {
            Some(byte) => {
                bytes.push(byte);
                rest = &after[2..];
            }
            None => {
                bytes.push(first);
                rest = after;
            }
        }
    }
    bytes
}

#[cfg(unix)]
fn from_bytes(bytes: Vec<u8>) -> PathBuf {
    use std::os::unix::ffi::OsStringExt;
    PathBuf::from(std::ffi::OsString::from_vec(bytes))
}

#[cfg(not(unix))]
fn from_bytes(bytes: Vec<u8>) -> PathBuf {
    PathBuf::from(String::from_utf8_lossy(&bytes).into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_are_text_stay_as_they_are() {
        for name in ["harbour.jpg", "../a b/100%.png", r"C:\art\x.png", "灯台.jpg", "-"] {
            assert_eq!(text(Path::new(name)), name);
            assert_eq!(path(name), Path::new(name));
        }
    }

    #[cfg(unix)]
    #[test]
    fn any_name_comes_back_from_its_text() {
        use std::os::unix::ffi::OsStrExt;
        let names: [&[u8]; 5] =
            [b"caf\xe9.jpg", b"\xff\xfe/100%\xe9", b"file:x.png", b"file:%41", b"\xe4\xb8\xad\x80%zz"];
        for bytes in names {
            let name = Path::new(std::ffi::OsStr::from_bytes(bytes));
            assert_eq!(path(&text(name)), name, "{}", text(name));
        }
        assert_eq!(text(Path::new(std::ffi::OsStr::from_bytes(b"caf\xe9%.jpg"))), "file:caf%E9%25.jpg");
    }
}
