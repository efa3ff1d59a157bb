//! What can be wrong with a brief: one line that names the file, what is wrong and what to do.

/// Errors of briefs.
#[derive(Debug, thiserror::Error)]
pub enum BriefError {
    /// Neither a built-in brief nor a file.
    #[error(
        "{name}: no such brief or file; {hint}built in are {known}; else give the path of a TOML file, or the size and distance themselves, such as \"100 x 75 cm at 1 m\""
    )]
    Unknown {
        /// As asked for.
        name: String,
        /// Nearest name, with a trailing blank, or empty.
        hint: String,
        /// Names of the built-in briefs.
        known: String,
    },
    /// A size and a distance in words that cannot be read.
    #[error(
        "brief {what}; write the size and from where it is seen, such as \"100 x 75 cm at 1 m\" or \"A2 from 60 cm\""
    )]
    Words {
        /// As asked for.
        text: String,
        /// What is wrong.
        what: String,
    },
    /// The file cannot be read.
    #[error("{file}: cannot be read: {source}; name a TOML file")]
    Io {
        /// The file.
        file: String,
        /// The cause.
        source: std::io::Error,
    },
    /// The file is no brief at all.
    #[error("{file}: {what}")]
    NotBrief {
        /// The file.
        file: String,
        /// What is wrong and what to do.
        what: String,
    },
    /// A line of it is wrong.
    #[error("{file}: line {line}: {what}")]
    Line {
        /// The file.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What is wrong and what to do.
        what: String,
    },
}
