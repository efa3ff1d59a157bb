//! Escaping and small pieces of markup. Every text that comes from a file or its name passes [`esc`] or `href`.

use std::fmt;

/// Writes into a `String`; such a write cannot fail.
macro_rules! put {
    ($out:expr, $($arg:tt)*) => {{
        use std::fmt::Write as _;
        let _ = write!($out, $($arg)*);
    }};
}
pub(crate) use put;

/// Text made safe for element content and for quoted attributes; control characters, which HTML does not allow,
/// become the replacement character.
#[must_use]
pub fn esc<T: fmt::Display + ?Sized>(text: &T) -> Escaped<'_, T> {
    Escaped(text)
}

/// See [`esc`].
pub struct Escaped<'a, T: fmt::Display + ?Sized>(&'a T);

impl<T: fmt::Display + ?Sized> fmt::Display for Escaped<'_, T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use fmt::Write as _;
        struct Filter<'a, 'b>(&'a mut fmt::Formatter<'b>);
        impl fmt::Write for Filter<'_, '_> {
            fn write_str(&mut self, s: &str) -> fmt::Result {
                for c in s.chars() {
                    match c {
                        '&' => self.0.write_str("&amp;")?,
                        '<' => self.0.write_str("&lt;")?,
                        '>' => self.0.write_str("&gt;")?,
                        '"' => self.0.write_str("&quot;")?,
                        '\'' => self.0.write_str("&#39;")?,
                        // Marks that reverse the reading direction could make one file name look like another.
                        '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => self.0.write_char('\u{fffd}')?,
                        c if c.is_control() && c != '\n' && c != '\t' => self.0.write_char('\u{fffd}')?,
                        c => self.0.write_char(c)?,
                    }
                }
                Ok(())
            }
        }
        write!(Filter(f), "{}", self.0)
    }
}

/// The head that every page begins with. `root` leads to the top of the folder: "" or "../".
pub(crate) fn open_page(out: &mut String, root: &str, title: &str, body_class: &str) {
    // default-src 'none' leaves no way out of the folder: no request, no form, no frame, no inline script or style.
    put!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; script-src 'self'; style-src 'self'; \
         img-src 'self'; base-uri 'none'; form-action 'none'\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n\
         <meta name=\"referrer\" content=\"no-referrer\">\n\
         <title>{}</title>\n<link rel=\"stylesheet\" href=\"{root}rawassay.css\">\n\
         <script src=\"{root}rawassay.js\" defer></script>\n</head>\n<body class=\"{body_class}\">\n\
         <a class=\"skip\" href=\"#main\">Skip to the content</a>\n",
        esc(title)
    );
}

/// The foot that every page ends with.
pub(crate) fn close_page(out: &mut String, root: &str) {
    put!(
        out,
        "<footer class=\"foot\"><p>Made by rawassay {} from the raw data. Nothing here was loaded from a network, and no raw \
         file was changed. <a href=\"{root}words.html\">What the words and numbers mean</a>.</p></footer>\n</body>\n</html>\n",
        env!("CARGO_PKG_VERSION")
    );
}

/// A name for the pages of one file: its stem in plain letters and digits, and a digest of the whole path, so that
/// any path gives a safe, stable name of its own.
#[must_use]
pub fn page_id(path: &str) -> String {
    let name = path.rsplit(['/', '\\']).next().unwrap_or(path);
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let mut id: String = stem.chars().filter(char::is_ascii_alphanumeric).take(24).collect();
    id.make_ascii_lowercase();
    if !id.is_empty() {
        id.push('-');
    }
    put!(id, "{:012x}", digest(path.as_bytes()) & 0xffff_ffff_ffff);
    id
}

/// FNV-1a, 64 bit (Fowler, Noll, Vo): names and change marks, nothing that guards against an attacker.
#[must_use]
pub fn digest(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, &byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

/// The last part of a path, as shown.
#[must_use]
pub fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().filter(|n| !n.is_empty()).unwrap_or(path)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn markup_in_names_is_text() {
        assert_eq!(esc("<script>alert(\"1\")&'").to_string(), "&lt;script&gt;alert(&quot;1&quot;)&amp;&#39;");
        assert_eq!(esc("Größe 雪 📷.dng").to_string(), "Größe 雪 📷.dng");
        assert_eq!(esc("a\u{0}b\u{1b}[31m\u{202e}gnd").to_string(), "a\u{fffd}b\u{fffd}[31m\u{fffd}gnd");
    }

    #[test]
    fn page_names_are_plain_stable_and_differ() {
        let id = page_id("shoot/<script>alert(1)</script>.dng");
        assert!(id.chars().all(|c| c.is_ascii_alphanumeric() || c == '-'), "{id}");
        assert_ne!(page_id("a/one.dng"), page_id("b/one.dng"));
        assert_eq!(page_id("a/one.dng"), page_id("a/one.dng"));
        assert!(page_id("雪").len() == 12);
        assert!(page_id(&"x".repeat(5000)).len() < 40);
    }

    #[test]
    fn digest_is_fnv_1a() {
        // Test vectors of the authors' reference: "" and "a", "foobar".
        assert_eq!(digest(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(digest(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(digest(b"foobar"), 0x8594_4171_f739_67e8);
    }
}
