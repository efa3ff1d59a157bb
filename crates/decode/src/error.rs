//! What can go wrong between a file and a frame. Each message says what is wrong and what to do, in one line and
//! without the file's name (the program puts it in front).

use std::io;

/// Why a file gave no frame.
#[derive(Debug, thiserror::Error)]
pub enum DecodeError {
    /// The operating system refused.
    #[error("cannot be read ({0}); check the card, the path and the permissions")]
    Io(#[from] io::Error),
    /// Not a raw file.
    #[error("is not a raw file ({0}); leave it out or give the camera's original")]
    NotRaw(String),
    /// A raw file of a kind that no reader here understands.
    #[error("cannot be decoded ({0}); convert it to an uncompressed or lossless DNG and audit that")]
    Unsupported(String),
    /// Something the file points to lies beyond its end.
    #[error("is cut short ({}; {what} is missing); copy it again from the card", cut(*length, *needed))]
    Truncated {
        /// What lies beyond the end.
        what: String,
        /// Where it should end, bytes from the start.
        needed: u64,
        /// Length of the file, bytes.
        length: u64,
    },
    /// The file contradicts itself.
    #[error("is corrupt at byte {offset}: {what}; copy it again from the card")]
    Corrupt {
        /// Where, bytes from the start.
        offset: u64,
        /// What is wrong.
        what: String,
    },
    /// The file asks for more than any camera makes.
    #[error("asks for {what}, more than the limit of {limit}; it is broken or not from a camera")]
    LimitExceeded {
        /// What it asks for.
        what: String,
        /// What is allowed.
        limit: String,
    },
    /// A reader failed on it.
    #[error("could not be decoded ({0}); copy it again from the card, or convert it to DNG")]
    Decoder(String),
}

/// "4.8 of 7.9 MB": how much of a file is there.
fn cut(length: u64, needed: u64) -> String {
    let (have, whole) = (size(length), size(needed));
    match (have.split_once(' '), whole.split_once(' ')) {
        (Some((number, unit)), Some((_, other))) if unit == other && have != whole => format!("{number} of {whole}"),
        _ if have == whole => format!("{} bytes of {whole} too few", needed.saturating_sub(length)),
        _ => format!("{have} of {whole}"),
    }
}

/// A size in the unit that people read: bytes, kB, MB (powers of 1000, as cards are sold).
fn size(bytes: u64) -> String {
    match bytes {
        0..1_000 => format!("{bytes} bytes"),
        1_000..1_000_000 => format!("{:.1} kB", bytes as f64 / 1e3),
        _ => format!("{:.1} MB", bytes as f64 / 1e6),
    }
}

/// One line, of a readable length, from a reader's own message.
pub(crate) fn one_line(message: &str) -> String {
    let mut line = String::new();
    for word in message.split_whitespace() {
        // Readers ask for samples and bug reports: not our user's business.
        if word.starts_with("http") || word == "Please" {
            break;
        }
        if line.len() + word.len() > 160 {
            line.push_str(" ...");
            break;
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    line.trim_end_matches([';', '.', ':', ' ']).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cut_file_says_how_much_is_there() {
        for (length, needed, text) in [
            (4_819_172, 7_899_966, "4.8 of 7.9 MB"),
            (900, 7_899_966, "900 bytes of 7.9 MB"),
            (7_899_900, 7_899_966, "66 bytes of 7.9 MB too few"),
        ] {
            assert_eq!(cut(length, needed), text);
        }
    }
}
