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
    #[error("is cut short: {what} should reach byte {needed}, the file has {length}; copy it again from the card")]
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
