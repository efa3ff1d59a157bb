//! Paths in a record: readable for people, exact for the program.

use std::cmp::Ordering;
use std::path::{Component, Path, PathBuf};

/// The path as text: what is no Unicode is shown as U+FFFD.
#[must_use]
pub fn display_name(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}

/// The absolute path as a file URI (RFC 8089): every byte outside the unreserved set is percent-encoded, so that
/// names which are not UTF-8 come back as they were. `.` and `..` are resolved by name, without asking the disk.
/// `None` where the working folder is not known.
#[must_use]
pub fn uri_of_path(path: &Path) -> Option<String> {
    let absolute = if path.is_absolute() { path.to_path_buf() } else { std::env::current_dir().ok()?.join(path) };
    let mut plain = PathBuf::new();
    for part in absolute.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir => {
                plain.pop();
            }
            part => plain.push(part),
        }
    }
    let mut uri = String::from("file://");
    encode(&plain, &mut uri);
    Some(uri)
}

/// What names a file within a record ([`super::Record::key`]): its URI, or its name where the working folder is not known.
#[must_use]
pub fn key_of_path(path: &Path) -> String {
    uri_of_path(path).unwrap_or_else(|| display_name(path))
}

fn push_bytes(bytes: &[u8], uri: &mut String) {
    const HEX: &[u8; 16] = b"0123456789ABCDEF";
    for &byte in bytes {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            uri.push(char::from(byte));
        } else {
            uri.push('%');
            uri.push(char::from(HEX[usize::from(byte >> 4)]));
            uri.push(char::from(HEX[usize::from(byte & 15)]));
        }
    }
}

#[cfg(unix)]
fn encode(path: &Path, uri: &mut String) {
    use std::os::unix::ffi::OsStrExt;
    push_bytes(path.as_os_str().as_bytes(), uri);
}

#[cfg(not(unix))]
fn encode(path: &Path, uri: &mut String) {
    uri.push('/');
    push_bytes(path.to_string_lossy().replace('\\', "/").as_bytes(), uri);
}

/// The path of a file URI made by [`uri_of_path`]; `None` for anything else.
#[must_use]
pub fn path_of_uri(uri: &str) -> Option<PathBuf> {
    let encoded = uri.strip_prefix("file://")?.as_bytes();
    let mut bytes = Vec::with_capacity(encoded.len());
    let mut at = 0;
    while at < encoded.len() {
        if encoded[at] == b'%' {
            let digits = std::str::from_utf8(encoded.get(at + 1..at + 3)?).ok()?;
            bytes.push(u8::from_str_radix(digits, 16).ok()?);
            at += 3;
        } else {
            bytes.push(encoded[at]);
            at += 1;
        }
    }
    decode(bytes)
}

#[cfg(unix)]
fn decode(bytes: Vec<u8>) -> Option<PathBuf> {
    use std::os::unix::ffi::OsStringExt;
    Some(PathBuf::from(std::ffi::OsString::from_vec(bytes)))
}

#[cfg(not(unix))]
fn decode(bytes: Vec<u8>) -> Option<PathBuf> {
    let text = String::from_utf8(bytes).ok()?;
    Some(PathBuf::from(text.strip_prefix('/')?.replace('/', "\\")))
}

/// Name order of two paths: part by part, so that a folder's files stay together (`a/z` before `a-b/c`).
#[must_use]
pub fn name_order(a: &str, b: &str) -> Ordering {
    a.split(['/', '\\']).cmp(b.split(['/', '\\']))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn a_uri_gives_the_path_back() {
        for name in ["/shoot/IMG 1.dng", "/a/100%/ü=#?.cr2", "/=x"] {
            let uri = uri_of_path(Path::new(name)).unwrap();
            assert!(uri.starts_with("file:///"), "{uri}");
            assert!(uri.is_ascii());
            assert_eq!(path_of_uri(&uri).unwrap(), Path::new(name));
        }
        // RFC 8089, appendix A: the minimal form of a local file.
        assert_eq!(uri_of_path(Path::new("/path/to/file")).unwrap(), "file:///path/to/file");
        assert_eq!(uri_of_path(Path::new("/a/./b/../c")).unwrap(), "file:///a/c");
        assert_eq!(path_of_uri("http://a"), None);
        assert_eq!(path_of_uri("file:///a%2"), None);
    }

    #[cfg(unix)]
    #[test]
    fn names_that_are_no_text_come_back_byte_by_byte() {
        use std::ffi::OsStr;
        use std::os::unix::ffi::OsStrExt;
        let path = Path::new(OsStr::from_bytes(b"/shoot/\xff\xfe\x80.dng"));
        assert_eq!(path_of_uri(&uri_of_path(path).unwrap()).unwrap(), path);
        assert_eq!(display_name(path), "/shoot/\u{fffd}\u{fffd}\u{fffd}.dng");
    }

    #[test]
    fn a_folder_stays_together() {
        let mut names = ["a-b/c", "a/z", "a/b", "b"];
        names.sort_by(|a, b| name_order(a, b));
        assert_eq!(names, ["a/b", "a/z", "a-b/c", "b"]);
    }
}
