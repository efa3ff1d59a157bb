//! Names of raw files.

use std::path::Path;

/// Extensions of raw files, lower case.
const EXTENSIONS: [&str; 37] = [
    "3fr", "ari", "arw", "bay", "cap", "cr2", "cr3", "crw", "dcr", "dcs", "dng", "erf", "fff", "gpr", "iiq", "k25",
    "kdc", "mdc", "mef", "mos", "mrw", "nef", "nrw", "orf", "ori", "pef", "qtk", "raf", "raw", "rw2", "rwl", "rwz",
    "sr2", "srf", "srw", "tfr", "x3f",
];

/// True where the file's extension is one of a raw format, in any case. For choosing files in a folder; what a file is,
/// its content decides.
#[must_use]
pub fn is_raw_name(path: &Path) -> bool {
    let extension = path.extension().and_then(|e| e.to_str()).map(str::to_ascii_lowercase);
    extension.is_some_and(|e| EXTENSIONS.contains(&e.as_str()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn by_extension_in_any_case() {
        assert!(is_raw_name(Path::new("a/b.CR2")));
        assert!(is_raw_name(Path::new("b.Dng")));
        assert!(!is_raw_name(Path::new("b.jpg")));
        assert!(!is_raw_name(Path::new("dng")));
    }
}
